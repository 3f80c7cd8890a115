"""What was shot: sessions, their scans and their shots."""

import math
from dataclasses import dataclass
from datetime import date
from typing import Any

__all__ = ["CUTS", "STATES", "ScanRecord", "Session", "ShotRecord"]

CUTS = ("round", "two-blade", "three-blade", "four-blade")
STATES = ("open", "arrow", "patched")


@dataclass(frozen=True, kw_only=True)
class Session:
    """One outing: a day, a place, a shooter and a rig.

    Attributes
    ----------
    held_on : date
        The day, by the shooter's own calendar.
    shooter, rig : str
        Names, empty where not said. Saving finds their entries, or makes them.
    place, purpose, weather, notes : str
        Free text; empty where not said.
    distance_m : float, optional
        Shooting distance, m.
    temperature_c, pressure_pa, humidity, wind_m_s : float, optional
        Of the air: degrees Celsius, pascals, 0 to 1, metres a second.
    plan : dict, optional
        The shooting plan that the session follows; JSON-safe.
    setup_id : int, optional
        How the rig was set up. Left out when the session is first saved: the rig's setup of that
        day. It stays when the rig is later set up anew, even where that is dated before.
    build_id : int, optional
        The arrow build that was shot. Left out when the session is first saved: the setup's.
    shooter_id, rig_id : int, optional
        Given by the store: the entries behind the two names.
    uid : str, optional
        Identity to give to a new entry, 32 hexadecimal digits, by which other stores know it; the
        store makes one where it is left out. None in what was loaded, so that a copy is new.
    id : int, optional
        Given by the store; None for a session that was never saved.
    revision : int, optional
        Counts the savings; given by the store and compared when a session is saved again.
    """

    held_on: date
    place: str = ""
    shooter: str = ""
    rig: str = ""
    distance_m: float | None = None
    purpose: str = ""
    weather: str = ""
    temperature_c: float | None = None
    pressure_pa: float | None = None
    humidity: float | None = None
    wind_m_s: float | None = None
    plan: dict[str, Any] | None = None
    notes: str = ""
    setup_id: int | None = None
    build_id: int | None = None
    shooter_id: int | None = None
    rig_id: int | None = None
    uid: str | None = None
    id: int | None = None
    revision: int | None = None


@dataclass(frozen=True, kw_only=True)
class ShotRecord:
    """One hole: where the scan found it and where the shooter says it is.

    Attributes
    ----------
    number : int
        Number within the end, from 1; unique among the shots that are not removed.
    x_mm, y_mm : float
        Position that counts, mm: the automatic one until somebody corrects it.
    auto_x_mm, auto_y_mm : float, optional
        Position that the scan found, mm. None for a shot added by hand. Written once: saving the
        scan again never changes it.
    auto_se_mm : float, optional
        Standard error of that position, mm on each axis; written once like it. None also where
        the scan gave none.
    auto_shared_se_mm : float, optional
        The part of `auto_se_mm` that all shots of the photo share, since it is the sheet's; written
        once like it.
    x_px, y_px : float, optional
        Position in the upright photo, pixels.
    se_mm : float, optional
        Standard error of the position that counts, mm on each axis.
    diameter_mm : float, optional
        Diameter of the hole, mm.
    cut : str
        One of `CUTS`.
    confidence : float, optional
        Confidence of the scan, 0 to 1.
    state : str
        One of `STATES`.
    order : int, optional
        Place in the session in the order shot, from 1; a photo does not tell it.
    head, arrow : str
        Name of the head and number of the arrow; empty where not said. Saving finds their entries,
        or makes them. A shot that is saved again under an unchanged name keeps its entries.
    flyer : bool
        True where the shooter marked it as a flyer. It stays in the record and in the numbers
        unless somebody asks for them without.
    flyer_why : str
        Why, such as ``"let go early"``.
    removed : bool
        True where the shooter took the shot out. The record keeps it.
    id : int, optional
        Given by the store. A shot that carries its id can be renumbered and moved and still be
        known again when the scan is saved.
    """

    number: int
    x_mm: float
    y_mm: float
    auto_x_mm: float | None = None
    auto_y_mm: float | None = None
    auto_se_mm: float | None = None
    auto_shared_se_mm: float | None = None
    x_px: float | None = None
    y_px: float | None = None
    se_mm: float | None = None
    diameter_mm: float | None = None
    cut: str = "round"
    confidence: float | None = None
    state: str = "open"
    order: int | None = None
    head: str = ""
    arrow: str = ""
    flyer: bool = False
    flyer_why: str = ""
    removed: bool = False
    id: int | None = None

    @property
    def own_se_mm(self) -> float | None:
        """Standard error against the photo's other shots: without what all of them share."""
        if self.se_mm is None or self.auto_shared_se_mm is None or self.se_mm != self.auto_se_mm:
            return self.se_mm
        return math.sqrt(max(self.se_mm**2 - self.auto_shared_se_mm**2, 0.0))


@dataclass(frozen=True, kw_only=True)
class ScanRecord:
    """One end, with its photo, its scale, its aim and its shots; or one typed, without a photo.

    Attributes
    ----------
    session_id : int
        The session that the end belongs to.
    photo_sha256 : str, optional
        Identity of the photo, as `add_photo` returned it. None for an end without one, which has
        neither ``image_size_px`` nor ``mm_to_px``.
    image_size_px : (int, int), optional
        Width and height of the upright photo, pixels.
    label : str
        What the end is called in its session; empty where it has no name.
    photo_name : str
        Name that the photo came with; shown, never used as a path.
    sheet : str, optional
        Identifier of the sheet.
    scale_source : str
        What gave the scale, such as ``"rings"`` or ``"corners"``.
    mm_per_px, mm_per_px_se, tilt_deg, residual_px : float, optional
        Scale at the sheet's centre, its standard error, tilt and residual; None where not known.
    mm_to_px : 3x3 nested tuple, optional
        Homography from sheet mm to photo pixels.
    lens : dict, optional
        Lens terms by name, such as ``{"k1": -0.02}``.
    bend : dict, optional
        How the sheet departs from its plane, as numbers and lists of numbers by name; None for a
        flat one.
    aim_mm : (float, float)
        Point of aim on the sheet, mm.
    aims_mm : tuple of (float, float)
        All points of aim that the sheet offers, mm.
    warnings : tuple of str
        What the scan warned about.
    shaft_mm : float, optional
        Shaft diameter that the scan was given, mm.
    shots : tuple of ShotRecord
        The shots, those removed included.
    uid : str, optional
        Identity to give to a new entry, 32 hexadecimal digits, by which other stores know it; the
        store makes one where it is left out. None in what was loaded, so that a copy is new.
    id : int, optional
        Given by the store; None for a scan that was never saved.
    revision : int, optional
        Counts the savings; given by the store and compared when a scan is saved again.
    """

    session_id: int
    photo_sha256: str | None = None
    image_size_px: tuple[int, int] | None = None
    label: str = ""
    photo_name: str = ""
    sheet: str | None = None
    scale_source: str = ""
    mm_per_px: float | None = None
    mm_per_px_se: float | None = None
    tilt_deg: float | None = None
    residual_px: float | None = None
    mm_to_px: tuple[tuple[float, float, float], ...] | None = None
    lens: dict[str, float] | None = None
    bend: dict[str, Any] | None = None
    aim_mm: tuple[float, float] = (0.0, 0.0)
    aims_mm: tuple[tuple[float, float], ...] = ()
    warnings: tuple[str, ...] = ()
    shaft_mm: float | None = None
    shots: tuple[ShotRecord, ...] = ()
    uid: str | None = None
    id: int | None = None
    revision: int | None = None
