"""The bands of distance that each pin, or gap between two, covers inside a circle."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import elementwise

from groupscan.errors import RigError
from groupscan.rigs.given import Array, read_number
from groupscan.rigs.sight.landing import (
    heights_held,
    hold_name,
    hold_positions,
    read_pins,
)
from groupscan.rigs.sight.places import FARTHEST_M, Sight, pin_positions

__all__ = ["Band", "bands_held", "read_range", "uncovered"]

# Distances at which a flight is looked at for where it enters and leaves the circle: a band, or a
# break in one, that is shorter than a thousandth of the range can be overlooked.
STEPS = 1001
# Nearer than this nobody aims.
NEAREST_M = 0.5


@dataclass(frozen=True)
class Band:
    """Distances over which an arrow stays inside the circle with one hold.

    Attributes
    ----------
    hold : float
        0 is the first pin, 1 the second, 0.5 half-way between them.
    near_m, far_m : float
        Where the flight enters and leaves the circle, or the range ends.
    """

    hold: float
    near_m: float
    far_m: float

    @property
    def held(self) -> str:
        """The hold in words."""
        return hold_name(self.hold)


def bands_held(
    sight: Sight,
    pins_m: ArrayLike,
    circle_mm: float,
    *,
    nearest_m: float,
    farthest_m: float,
    hold: ArrayLike | None = None,
) -> list[Band]:
    """Return the bands of distance over which each hold lands inside a circle about the aim.

    Scatter is left out: it is the middle of the groups that stays inside.

    Parameters
    ----------
    sight : Sight
    pins_m : (p,) array_like, m
        Distances at which the pins are right, nearest first.
    circle_mm : float, mm
        Radius of the circle.
    nearest_m, farthest_m : float, m
        The range looked at.
    hold : (h,) array_like, optional
        By default all pins and half-way between neighbours.

    Returns
    -------
    list of Band
        In the order of the holds, then of distance. A flight that rises above the circle before
        it falls through it has two bands.

    Raises
    ------
    RigError
        If the circle, the range, the pins or the holds make no sense.

    Examples
    --------
    A 20 yard pin at 280 ft/s, inside 50 mm:

    >>> sight = Sight(85.344, 0.001, 101.6, 863.6)
    >>> band, = bands_held(sight, [18.288], 50.0, nearest_m=2.0, farthest_m=60.0)
    >>> band.held, round(band.near_m, 2), round(band.far_m, 2)
    ('pin 1', 3.26, 23.08)
    """
    pins = read_pins(pins_m)
    read_number(circle_mm, "circle_mm", "mm", positive=True, most=10_000)
    near, far = read_range(nearest_m, farthest_m)
    holds, held = hold_positions(pin_positions(sight, pins), hold)

    def inside(metres: Array, position: Array) -> Array:
        left: Array = circle_mm - np.abs(heights_held(sight, position, metres))
        return left

    distance = np.linspace(near, far, STEPS)
    within = inside(distance, held[:, np.newaxis]) >= 0
    which, step = np.nonzero(within[:, 1:] != within[:, :-1])
    edges = np.empty(0)
    if len(which):
        bracket = (distance[step], distance[step + 1])
        edges = elementwise.find_root(inside, bracket, args=(held[which],)).x
    found = []
    for place, one in enumerate(holds):
        own = [*([near] if within[place, 0] else []), *edges[which == place]]
        own += [far] if within[place, -1] else []
        found += [
            Band(float(one), float(a), float(b)) for a, b in zip(own[::2], own[1::2], strict=True)
        ]
    return found


def uncovered(
    bands: Sequence[Band], *, nearest_m: float, farthest_m: float
) -> list[tuple[float, float]]:
    """Return the stretches of a range that no band covers.

    Parameters
    ----------
    bands : sequence of Band
    nearest_m, farthest_m : float, m
        The range.

    Returns
    -------
    list of tuple of float, m
        Beginning and end of each stretch.

    Examples
    --------
    >>> uncovered([Band(0, 5, 22), Band(1, 25, 30)], nearest_m=5, farthest_m=40)
    [(22, 25), (30, 40)]
    """
    near, far = read_range(nearest_m, farthest_m)
    open_, reached = [], near
    for band in sorted(bands, key=lambda one: one.near_m):
        if band.near_m > min(reached, far):
            open_.append((reached, min(band.near_m, far)))
        reached = max(reached, band.far_m)
    return [*open_, (reached, far)] if reached < far else open_


def read_range(nearest_m: float, farthest_m: float) -> tuple[float, float]:
    """Return a range of distances, m, or raise RigError."""
    for given, field in ((nearest_m, "nearest_m"), (farthest_m, "farthest_m")):
        read_number(given, field, "m", least=NEAREST_M, most=FARTHEST_M, advice="is it in metres?")
    if not nearest_m < farthest_m:
        raise RigError(
            f"nearest_m {nearest_m:g} must be less than farthest_m {farthest_m:g}; exchange them"
        )
    return nearest_m, farthest_m
