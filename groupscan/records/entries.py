"""What is kept: a session, its scans and their shots, as plain frozen values.

Lengths are in mm and distances in m; positions on the sheet have their origin at the sheet's
centre, x right and y up; pixel positions are those of the upright photo, x right and y down.
"""

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
    place, shooter, rig, notes : str
        Free text; empty where not said.
    distance_m : float, optional
        Shooting distance, m.
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
    notes: str = ""
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
    head, arrow : str
        The shooter's labels for the head and the arrow; empty where not said.
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
    head: str = ""
    arrow: str = ""
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
    """One photo of one end, with its scale, its aim and its shots.

    Attributes
    ----------
    session_id : int
        The session that the end belongs to.
    photo_sha256 : str
        Identity of the photo, as `add_photo` returned it.
    image_size_px : (int, int)
        Width and height of the upright photo, pixels.
    photo_name : str
        Name that the photo came with; shown, never used as a path.
    sheet : str, optional
        Identifier of the sheet.
    scale_source : str
        What gave the scale, such as ``"rings"`` or ``"corners"``.
    mm_per_px, mm_per_px_se, tilt_deg, residual_px : float, optional
        Scale at the sheet's centre, its standard error, tilt and residual; None where not known.
    mm_to_px : 3x3 nested tuple
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
    id : int, optional
        Given by the store; None for a scan that was never saved.
    revision : int, optional
        Counts the savings; given by the store and compared when a scan is saved again.
    """

    session_id: int
    photo_sha256: str
    image_size_px: tuple[int, int]
    photo_name: str = ""
    sheet: str | None = None
    scale_source: str = ""
    mm_per_px: float | None = None
    mm_per_px_se: float | None = None
    tilt_deg: float | None = None
    residual_px: float | None = None
    mm_to_px: tuple[tuple[float, float, float], ...]
    lens: dict[str, float] | None = None
    bend: dict[str, Any] | None = None
    aim_mm: tuple[float, float] = (0.0, 0.0)
    aims_mm: tuple[tuple[float, float], ...] = ()
    warnings: tuple[str, ...] = ()
    shaft_mm: float | None = None
    shots: tuple[ShotRecord, ...] = ()
    id: int | None = None
    revision: int | None = None
