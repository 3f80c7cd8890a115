"""The parts of an arrow: what they weigh, where they lie, how they balance.

Places are measured from the throat of the nock (the bottom of its groove) forwards. The length of
an arrow is the distance from there to the front end of the shaft, the point not counted, and front
of centre is how far ahead of the middle of that length the whole arrow balances, as a share of it
(ASTM F1435; the formula after AMO's Field Publication FP-3).
"""

from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from groupscan.errors import RigError
from groupscan.rigs.given import (
    HEAVIEST_G,
    LIGHTEST_G,
    Array,
    read_number,
    read_values,
)

__all__ = ["ArrowParts", "Part", "balance_of", "front_of_centre", "place_parts"]

# Where parts sit where it is not said: common practice, no source. The throat of the nock lies a
# quarter of an inch behind the shaft; vanes are centred 2 in from it, a wrap 2 3/4 in; an insert
# goes 3/4 in deep, a collar sits round the front end, a point's mass 1/2 in before it.
USUAL_NOCK_MM: Final = 6.35
USUAL_FLETCHING_AT_MM: Final = 51.0
USUAL_WRAP_AT_MM: Final = 70.0
USUAL_INSERT_BEHIND_MM: Final = 19.0
USUAL_COLLAR_BEHIND_MM: Final = 5.0
USUAL_POINT_AHEAD_MM: Final = 12.7

# More than any part of its kind weighs, and less than the usual one's grains taken for grams.
MOST_G: Final = {
    "insert_g": 20.0,
    "collar_g": 12.0,
    "point_g": 40.0,
    "fletching_g": 8.0,
    "wrap_g": 4.0,
    "nock_g": 4.0,
}
#: Without these no arrow flies: their masses must be known for a total, 0 for a bare shaft's vanes.
NEEDED: Final = ("shaft_g_per_m", "cut_mm", "point_g", "fletching_g", "nock_g")

# Cut shafts, from a child's to a flagpole: inches and centimetres fall outside.
SHORTEST_MM: Final = 300.0
LONGEST_MM: Final = 1100.0
# The lightest and heaviest shafts made, with room: the usual grains per inch fall below.
LIGHTEST_SHAFT_G_PER_M: Final = 10.0
HEAVIEST_SHAFT_G_PER_M: Final = 80.0
LONGEST_NOCK_MM: Final = 40.0

BALANCE_HELP: Final = "measure from the throat of the nock to where the whole arrow balances, in mm"


@dataclass(frozen=True, kw_only=True)
class ArrowParts:
    """What an arrow is made of, and what scale and balance say of the whole.

    Attributes
    ----------
    shaft_g_per_m : float, optional
        Mass of the shaft for each metre, g.
    cut_mm : float, optional
        Cut length of the shaft, mm.
    insert_g, collar_g, point_g, fletching_g, wrap_g, nock_g : float, optional
        Masses, g; the point or head that is shot, and all vanes together. 0 where there is none.
    mass_g : float, optional
        The whole arrow on a scale, g.
    balance_mm : float, optional
        Where the whole arrow balances, from the throat of the nock, mm.
    nock_mm : float, optional
        From the throat of the nock to the rear end of the shaft, mm.
    insert_at_mm, collar_at_mm, point_at_mm, fletching_at_mm, wrap_at_mm : float, optional
        Where the masses of the parts lie, from the throat of the nock, mm; usual places if None.
    """

    shaft_g_per_m: float | None = None
    cut_mm: float | None = None
    insert_g: float | None = None
    collar_g: float | None = None
    point_g: float | None = None
    fletching_g: float | None = None
    wrap_g: float | None = None
    nock_g: float | None = None
    mass_g: float | None = None
    balance_mm: float | None = None
    nock_mm: float | None = None
    insert_at_mm: float | None = None
    collar_at_mm: float | None = None
    point_at_mm: float | None = None
    fletching_at_mm: float | None = None
    wrap_at_mm: float | None = None

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if value is not None:
                _check_part(field.name, value)
        length, balance = self.length_mm, self.balance_mm
        if balance is not None and length is not None and balance >= length:
            raise RigError(
                f"balance_mm is {balance:g} mm, outside an arrow of {length:g} mm; measure it from"
                " the throat of the nock to where the whole arrow balances"
            )

    @property
    def length_mm(self) -> float | None:
        """Throat of the nock to front end of the shaft, mm; None where the cut is not known."""
        if self.cut_mm is None:
            return None
        return self.cut_mm + (USUAL_NOCK_MM if self.nock_mm is None else self.nock_mm)

    @property
    def missing(self) -> tuple[str, ...]:
        """Fields without which the parts have no total."""
        return tuple(name for name in NEEDED if getattr(self, name) is None)


@dataclass(frozen=True)
class Part:
    """One part: what it is, its mass in g, and where that lies, mm from the throat of the nock."""

    what: str
    mass_g: float
    at_mm: float


def front_of_centre(balance_mm: ArrayLike, length_mm: ArrayLike) -> Array:
    """Return front of centre, per cent: 100 (balance - length / 2) / length.

    Parameters
    ----------
    balance_mm : array_like
        From the throat of the nock to where the whole arrow balances, mm.
    length_mm : array_like
        From the throat of the nock to the front end of the shaft, mm; the point is not counted.

    Raises
    ------
    RigError
        If a balance point lies outside its arrow.

    References
    ----------
    ASTM F1435, "Standard Specification for Designation of the Balance Point Location for Archery
    Arrows".

    Examples
    --------
    >>> round(float(front_of_centre(18.6 * 25.4, 30 * 25.4)), 6)
    12.0
    """
    length = read_values(
        length_mm, "length_mm", "mm", least=200.0, most=1200.0, advice="is it in inches or cm?"
    )
    balance = read_values(balance_mm, "balance_mm", "mm", positive=True, advice=BALANCE_HELP)
    if (balance >= length).any():
        raise RigError(f"balance_mm lies outside the arrow; {BALANCE_HELP}")
    share: Array = np.asarray(100 * (balance - length / 2) / length)
    return share


def balance_of(mass_g: ArrayLike, at_mm: ArrayLike) -> tuple[Array, Array]:
    """Return the mass of parts together and where they balance; parts lie along the first axis.

    Examples
    --------
    >>> mass, balance = balance_of([10.0, 30.0], [0.0, 400.0])
    >>> float(mass), float(balance)
    (40.0, 300.0)
    """
    mass = read_values(mass_g, "mass_g", "g", least=0.0)
    at = read_values(at_mm, "at_mm", "mm")
    total: Array = np.asarray(mass.sum(axis=0))
    if (total <= 0).any():
        raise RigError("mass_g sums to nothing: give the mass of at least one part")
    return total, np.asarray((mass * at).sum(axis=0) / total)


def place_parts(parts: ArrowParts) -> tuple[Part, ...]:
    """Return the parts, nock first, each with its mass and place; usual places where not said.

    Raises
    ------
    RigError
        If a part is missing without which no arrow flies.
    """
    if parts.missing:
        raise RigError(
            f"{', '.join(parts.missing)} not given: without it the parts have no total; give it,"
            " and 0 for a part that is not there"
        )
    length, cut, per_metre = parts.length_mm, parts.cut_mm, parts.shaft_g_per_m
    if length is None or cut is None or per_metre is None:  # they are not: `missing` names them
        raise AssertionError
    found = [Part("nock", parts.nock_g or 0.0, 0.0)]
    for what, mass, at, usual in (
        ("fletching", parts.fletching_g, parts.fletching_at_mm, USUAL_FLETCHING_AT_MM),
        ("wrap", parts.wrap_g, parts.wrap_at_mm, USUAL_WRAP_AT_MM),
        ("shaft", per_metre * cut / 1e3, None, length - cut / 2),
        ("insert", parts.insert_g, parts.insert_at_mm, length - USUAL_INSERT_BEHIND_MM),
        ("collar", parts.collar_g, parts.collar_at_mm, length - USUAL_COLLAR_BEHIND_MM),
        ("point", parts.point_g, parts.point_at_mm, length + USUAL_POINT_AHEAD_MM),
    ):
        if mass:
            found.append(Part(what, mass, usual if at is None else at))
    return tuple(found)


def _check_part(name: str, value: float) -> None:
    """Refuse a value of `ArrowParts` that cannot be."""
    if name in MOST_G:
        read_number(value, name, "g", least=0.0, most=MOST_G[name], advice="is it in grains?")
    elif name == "mass_g":
        read_number(value, name, "g", least=LIGHTEST_G, most=HEAVIEST_G, advice="is it in grains?")
    elif name == "shaft_g_per_m":
        read_number(
            value,
            name,
            "g/m",
            least=LIGHTEST_SHAFT_G_PER_M,
            most=HEAVIEST_SHAFT_G_PER_M,
            advice="is it in grains per inch? One is 2.551 g/m",
        )
    elif name == "cut_mm":
        read_number(
            value, name, "mm", least=SHORTEST_MM, most=LONGEST_MM, advice="is it in inches or cm?"
        )
    elif name == "nock_mm":
        read_number(
            value,
            name,
            "mm",
            least=0.0,
            most=LONGEST_NOCK_MM,
            advice="measure from the throat of the nock to the rear end of the shaft",
        )
    elif name == "balance_mm":
        read_number(value, name, "mm", positive=True, most=LONGEST_MM, advice=BALANCE_HELP)
    else:
        read_number(
            value,
            name,
            "mm",
            least=-LONGEST_NOCK_MM,
            most=LONGEST_MM + 100.0,
            advice="measure from the throat of the nock forwards, in mm",
        )
