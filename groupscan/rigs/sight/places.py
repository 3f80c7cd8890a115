"""Where pins belong: from sight radius, peep height and flight to mm below the peep's line.

The line of sight runs from the peep through the pin. A pin lies S tan(a) below the line through
the peep along the arrow, with S the sight radius and a the angle between arrow and line of sight.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import elementwise, minimize_scalar

from groupscan.errors import RigError
from groupscan.rigs.flight import fly, sight_angle
from groupscan.rigs.given import Array, read_number, read_values

__all__ = [
    "FARTHEST_M",
    "Sight",
    "angles_of",
    "pin_distances",
    "pin_gaps",
    "pin_positions",
    "read_distances",
    "turning_distance",
]

# No arrow is aimed farther than this; it bounds the search for a pin's distance.
FARTHEST_M = 300.0
# Nor farther than the air leaves it a fifth of its speed.
MOST_SLOWING = 1.5


def read_distances(given: ArrayLike, field: str) -> Array:
    """Return one or more distances to aim at, m, or raise RigError."""
    distances = read_values(
        given, field, "m", positive=True, most=FARTHEST_M, advice="is it in metres?"
    )
    if distances.size == 0:
        raise RigError(f"{field} is empty; give at least one distance in m")
    return distances


@dataclass(frozen=True)
class Sight:
    """The rig as its sight sees it.

    Attributes
    ----------
    speed_mps : float
        Launch speed.
    drag_per_m : float
        Loss of speed by drag, a share per metre.
    peep_mm : float
        Height of the peep above the arrow, at the peep and square to the line of sight.
    radius_mm : float
        Sight radius: from the peep to the pins, along the arrow.

    Raises
    ------
    RigError
        If a number is not finite or beyond reason.

    Examples
    --------
    >>> Sight(85.3, 0.001, 101.6, 34)
    Traceback (most recent call last):
        ...
    groupscan.errors.RigError: radius_mm is 34 mm: it must be at least 200 and at most 2000; \
give the way from peep to pin, about 850 mm
    """

    speed_mps: float
    drag_per_m: float
    peep_mm: float
    radius_mm: float

    def __post_init__(self) -> None:
        read_number(self.speed_mps, "speed_mps", "m/s", least=20, most=200, advice="is it in ft/s?")
        read_number(self.drag_per_m, "drag_per_m", "1/m", least=0, most=0.05, advice="about 0.001")
        read_number(
            self.peep_mm,
            "peep_mm",
            "mm",
            least=0,
            most=300,
            advice="give the height of the peep above the arrow, about 100 mm",
        )
        read_number(
            self.radius_mm,
            "radius_mm",
            "mm",
            least=200,
            most=2000,
            advice="give the way from peep to pin, about 850 mm",
        )


def pin_positions(sight: Sight, distance_m: ArrayLike, *, slope_rad: float = 0.0) -> Array:
    """Return how far below the peep's line a pin lies that is right at each distance.

    Parameters
    ----------
    sight : Sight
    distance_m : array_like, m
        Distances along the line of sight.
    slope_rad : float, default 0
        Angle of the line of sight above level.

    Returns
    -------
    array, mm
        In the shape of `distance_m`.

    Raises
    ------
    RigError
        If a distance is not positive and finite, or out of the arrow's reach.

    Examples
    --------
    A 280 ft/s arrow without drag, peep 4 in above it, 34 in before the pins, at 20 and 30 yards:

    >>> sight = Sight(85.344, 0.0, 101.6, 863.6)
    >>> np.round(pin_positions(sight, [18.288, 27.432]), 2).tolist()
    [15.43, 19.15]
    """
    distance = read_distances(distance_m, "distance_m")
    angle = sight_angle(
        sight.speed_mps,
        sight.drag_per_m,
        distance,
        peep_m=sight.peep_mm / 1000,
        slope_rad=slope_rad,
    )
    position: Array = sight.radius_mm * np.tan(angle)
    return position


def pin_gaps(sight: Sight, distance_m: ArrayLike) -> Array:
    """Return the gaps between neighbouring pins, mm; a farther pin lies lower.

    Parameters
    ----------
    sight : Sight
    distance_m : (n,) array_like, m
        Distances of the pins, in order.

    Returns
    -------
    (n - 1,) array, mm

    Raises
    ------
    RigError
        If a distance is not positive and finite, or out of the arrow's reach.

    Examples
    --------
    >>> pin_gaps(Sight(85.344, 0.0, 101.6, 863.6), [18.288, 27.432]).round(3).tolist()
    [3.721]
    """
    return np.diff(pin_positions(sight, distance_m))


def angles_of(sight: Sight, position_mm: ArrayLike) -> Array:
    """Return the angle between arrow and line of sight, rad, of positions below the peep's line."""
    angle: Array = np.arctan(np.asarray(position_mm, float) / sight.radius_mm)
    return angle


def turning_distance(sight: Sight) -> float:
    """Return the distance of the highest pin.

    Nearer than this the peep's height outweighs the drop, so that a pin must go down again: each
    position below the highest is right at two distances.

    Parameters
    ----------
    sight : Sight

    Returns
    -------
    float
        Distance, m.

    Examples
    --------
    Without drag it is the root of 2 peep v^2 / g, as near as makes no difference:

    >>> round(turning_distance(Sight(85.344, 0.0, 101.6, 863.6)) / 0.9144, 2)
    13.43
    """
    flat = math.sqrt(2 * sight.peep_mm / 1000 / 9.80665) * sight.speed_mps
    if flat == 0:
        return 0.0
    found = minimize_scalar(
        lambda metres: float(pin_positions(sight, metres)),
        bounds=(flat / 3, 1.5 * flat),
        method="bounded",
        options={"xatol": 1e-6 * flat},
    )
    return float(found.x)


def pin_distances(sight: Sight, position_mm: ArrayLike) -> Array:
    """Return the distance at which each pin is right: the farther, where there are two.

    Parameters
    ----------
    sight : Sight
    position_mm : array_like, mm
        Below the peep's line.

    Returns
    -------
    array, m

    Raises
    ------
    RigError
        If a pin is higher than any that an arrow can meet, or right only beyond 300 m (less with
        much drag).

    See Also
    --------
    pin_positions : the other way round.

    Examples
    --------
    >>> sight = Sight(85.344, 0.001, 101.6, 863.6)
    >>> pin_distances(sight, pin_positions(sight, [20.0, 60.0])).round(6).tolist()
    [20.0, 60.0]
    """
    position = read_values(position_mm, "position_mm", "mm")
    nearest = turning_distance(sight)
    top = float(pin_positions(sight, nearest)) if nearest else 0.0
    if (position < top * (1 - 1e-9)).any():
        raise RigError(
            f"position_mm {position.min():g} is above {top:.2f} mm, the highest pin that this arrow"
            " meets at any distance; give positions in mm below the peep's line"
        )
    angle = angles_of(sight, np.maximum(position, top))

    def height(metres: Array, angle: Array) -> Array:
        above: Array = fly(
            sight.speed_mps, angle, sight.drag_per_m, metres, peep_m=sight.peep_mm / 1000
        ).height_m
        return above

    # At the turning distance itself a pin at the top has height zero, give or take rounding.
    low = np.full(angle.shape, max(nearest * (1 - 1e-3), 1e-3))
    farthest = min(FARTHEST_M, MOST_SLOWING / max(sight.drag_per_m, 1e-9))
    high = np.full(angle.shape, farthest)
    if (height(high, angle) > 0).any():
        raise RigError(
            f"position_mm {position.max():g} is right only beyond {farthest:.3g} m;"
            " give positions in mm below the peep's line"
        )
    at_top = height(low, angle) <= 0
    found = elementwise.find_root(height, (low, high), args=(angle,)).x
    distance: Array = np.where(at_top, nearest, found)
    return distance
