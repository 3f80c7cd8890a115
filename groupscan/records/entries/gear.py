"""Who shoots, and with what: shooters, rigs, setups, builds, arrows and heads."""

from dataclasses import dataclass
from datetime import date

__all__ = [
    "ARROW_STATES",
    "BOWS",
    "HANDS",
    "HEAD_KINDS",
    "RETIRED",
    "Arrow",
    "Build",
    "Head",
    "Rig",
    "Setup",
    "Shooter",
]

HANDS = ("", "right", "left")
BOWS = ("", "compound", "recurve", "longbow", "crossbow")
HEAD_KINDS = ("", "field point", "fixed-blade", "expandable", "bare shaft")
"""A bare shaft is no head, but it is shot and compared like one."""
ARROW_STATES = ("in use", "pulled", "broken", "rebuilt")
RETIRED = ("broken", "rebuilt")
"""States in which an arrow gives its number free."""


@dataclass(frozen=True, kw_only=True)
class Shooter:
    """Somebody who shoots, and perhaps coaches others.

    Attributes
    ----------
    name : str
        Unlike that of any other shooter who is not deleted.
    hand : str
        One of `HANDS`: the hand that draws the string.
    coach_id : int, optional
        The shooter who coaches this one.
    goals, notes : str
        Free text.
    id, revision : int, optional
        Given by the store; None for an entry that was never saved.
    """

    name: str
    hand: str = ""
    coach_id: int | None = None
    goals: str = ""
    notes: str = ""
    id: int | None = None
    revision: int | None = None


@dataclass(frozen=True, kw_only=True)
class Rig:
    """A bow as somebody calls it; how it is set up is told by its `Setup` entries.

    Attributes
    ----------
    name : str
        Unlike that of any other rig of the same owner that is not deleted.
    shooter_id : int, optional
        The owner; None for a rig that several share.
    bow : str
        One of `BOWS`.
    hand : str
        One of `HANDS`.
    notes : str
        Free text.
    id, revision : int, optional
        Given by the store; None for an entry that was never saved.
    """

    name: str
    shooter_id: int | None = None
    bow: str = ""
    hand: str = ""
    notes: str = ""
    id: int | None = None
    revision: int | None = None


@dataclass(frozen=True, kw_only=True)
class Setup:
    """How a rig was set up from a day on. It is never changed: a change makes a new setup.

    Attributes
    ----------
    rig_id : int
        The rig.
    since : date
        First day of this setup.
    changed : str
        What was changed against the setup before.
    draw_weight_n : float, optional
        Peak draw force, N.
    draw_length_mm, sight_radius_mm, peep_height_mm : float, optional
        Draw length; sight pin to peep (or eye); peep above the arrow; mm.
    build_id : int, optional
        The arrow build that it shoots.
    rest, sight, notes : str
        Free text.
    id : int, optional
        Given by the store; None for an entry that was never saved.
    """

    rig_id: int
    since: date
    changed: str = ""
    draw_weight_n: float | None = None
    draw_length_mm: float | None = None
    sight_radius_mm: float | None = None
    peep_height_mm: float | None = None
    build_id: int | None = None
    rest: str = ""
    sight: str = ""
    notes: str = ""
    id: int | None = None


@dataclass(frozen=True, kw_only=True)
class Build:
    """A way of building arrows: the parts, and what the scale says of the whole.

    Attributes
    ----------
    name : str
        Unlike that of any other build of the same owner that is not deleted.
    shooter_id : int, optional
        The owner; None for a build that several share.
    shaft, insert, fletching, nock : str
        What the parts are.
    shaft_mm, length_mm : float, optional
        Outer diameter of the shaft and its cut length, mm.
    spine : float, optional
        Static spine as the trade numbers it: deflection in thousandths of an inch, such as 340.
    shaft_g_per_m : float, optional
        Mass of the shaft for each metre, g.
    insert_g, collar_g, point_g, fletching_g, wrap_g, nock_g : float, optional
        Masses of the parts, g; of the fletching all vanes together.
    mass_g : float, optional
        Mass of the whole arrow on a scale, g.
    balance_mm : float, optional
        Balance point measured from the throat of the nock, mm.
    notes : str
        Free text.
    id, revision : int, optional
        Given by the store; None for an entry that was never saved.
    """

    name: str
    shooter_id: int | None = None
    shaft: str = ""
    shaft_mm: float | None = None
    length_mm: float | None = None
    spine: float | None = None
    shaft_g_per_m: float | None = None
    insert: str = ""
    insert_g: float | None = None
    collar_g: float | None = None
    point_g: float | None = None
    fletching: str = ""
    fletching_g: float | None = None
    wrap_g: float | None = None
    nock: str = ""
    nock_g: float | None = None
    mass_g: float | None = None
    balance_mm: float | None = None
    notes: str = ""
    id: int | None = None
    revision: int | None = None


@dataclass(frozen=True, kw_only=True)
class Arrow:
    """One numbered arrow of a build.

    Attributes
    ----------
    number : str
        What is written on it, such as ``"3"``.
    build_id : int, optional
        How it is built; None where not said.
    shooter_id : int, optional
        Whose it is.
    state : str
        One of `ARROW_STATES`; ``"rebuilt"`` for what it was before it was built anew.
    state_since : date, optional
        Since when.
    state_why : str
        Why, such as ``"cracked behind the insert"``.
    first_id : int, optional
        Given by the store to an arrow that was built anew: the entry that it was first.
    mass_g : float, optional
        Mass on a scale, g.
    notes : str
        Free text.
    id, revision : int, optional
        Given by the store; None for an entry that was never saved.
    """

    number: str
    build_id: int | None = None
    shooter_id: int | None = None
    state: str = "in use"
    state_since: date | None = None
    state_why: str = ""
    first_id: int | None = None
    mass_g: float | None = None
    notes: str = ""
    id: int | None = None
    revision: int | None = None


@dataclass(frozen=True, kw_only=True)
class Head:
    """A point or head that arrows are shot with.

    Attributes
    ----------
    name : str
        Unlike that of any other head that is not deleted.
    kind : str
        One of `HEAD_KINDS`.
    blades : int, optional
        How many blades.
    cut_mm : float, optional
        Cutting diameter, mm.
    mass_g : float, optional
        Mass, g.
    notes : str
        Free text.
    id, revision : int, optional
        Given by the store; None for an entry that was never saved.
    """

    name: str
    kind: str = ""
    blades: int | None = None
    cut_mm: float | None = None
    mass_g: float | None = None
    notes: str = ""
    id: int | None = None
    revision: int | None = None
