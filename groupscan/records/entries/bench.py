"""What was measured of a rig: a chronograph's readings, and the pins of its sight."""

from dataclasses import dataclass
from datetime import date

__all__ = ["Pin", "Speed"]


@dataclass(frozen=True, kw_only=True)
class Speed:
    """One reading of a chronograph. It is never changed: a mistyped one is deleted, kept anew.

    Attributes
    ----------
    rig_id : int
        The bow that shot.
    taken_on : date
        The day.
    mass_g : float
        Mass of the arrow, g.
    speed_mps : float
        What the chronograph showed, m/s.
    distance_m : float, optional
        From where the arrow leaves the string to the middle of the chronograph, m; not said counts
        as at the bow.
    setup_id : int, optional
        How the rig was set up; left out: the setup of that day.
    build_id : int, optional
        How the arrow was built; None where not said.
    source : str
        Where the number comes from, such as ``"club's chronograph"``.
    notes : str
        Free text.
    id : int, optional
        Given by the store; None for an entry that was never saved.
    uid : str, optional
        Identity in any store: 32 hexadecimal digits. Left out: the store gives one.
    """

    rig_id: int
    taken_on: date
    mass_g: float
    speed_mps: float
    distance_m: float | None = None
    setup_id: int | None = None
    build_id: int | None = None
    source: str = ""
    notes: str = ""
    id: int | None = None
    uid: str | None = None


@dataclass(frozen=True, kw_only=True)
class Pin:
    """One pin of a sight, or one mark of its tape. It is never changed: a moved one is another.

    Attributes
    ----------
    rig_id : int
        The rig. Its pins of one day are one sight.
    set_on : date
        The day on which it was set.
    distance_m : float
        Where it is right, m.
    below_mm : float, optional
        How far it stands below the first pin on the sight, mm; 0 for the first.
    setup_id : int, optional
        How the rig was set up; left out: the setup of that day.
    notes : str
        Free text.
    id : int, optional
        Given by the store; None for an entry that was never saved.
    uid : str, optional
        Identity in any store: 32 hexadecimal digits. Left out: the store gives one.
    """

    rig_id: int
    set_on: date
    distance_m: float
    below_mm: float | None = None
    setup_id: int | None = None
    notes: str = ""
    id: int | None = None
    uid: str | None = None
