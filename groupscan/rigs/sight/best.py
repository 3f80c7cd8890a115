"""The best pins for a range of distances: least in the largest miss.

Holding a position t (mm below the peep's line) an arrow misses the aim at distance D by no more
than m where t lies in an interval about the pin for D. Pins that miss nowhere by more than m are
therefore points such that each of these intervals holds one, and fewest points that do so are found
from the top down: the first as low as the interval that ends highest allows, each next one as low
as the intervals that begin below it allow. For half-way holds the same, with the hold between the
two pins first. The least m for a number of pins then follows by bisection.

Distances are looked at where it matters: those of the largest misses are added until the largest
miss anywhere is the one found (the exchange algorithm of minimax approximation).
"""

from bisect import bisect_right
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from groupscan.errors import RigError
from groupscan.rigs.given import Array
from groupscan.rigs.sight.bands import read_range
from groupscan.rigs.sight.landing import heights_held, hold_positions, pins_and_gaps
from groupscan.rigs.sight.places import Sight, pin_distances, pin_positions

__all__ = ["PinPlan", "best_pins"]

Held = Literal["pins", "pins and gaps"]

MOST_PINS = 9
# Distances to begin with, and to look for the largest misses at.
COARSE, FINE = 65, 1025
# Of the miss, mm: far below what any sight can be set to.
TOLERANCE_MM = 1e-4
# Misses as large as the largest, for all that anyone can see.
AS_LARGE_MM = 0.1
MOST_ROUNDS = 30
# A step of the position, mm, over which heights are differenced.
STEP_MM = 1.0


@dataclass(frozen=True)
class PinPlan:
    """Pins for a range of distances.

    Attributes
    ----------
    pins_m : (p,) array
        Distances at which the pins are right.
    positions_mm : (p,) array
        Below the peep's line.
    held : {'pins', 'pins and gaps'}
        What may be held on the aim: pins only, or half-way between neighbours too.
    miss_mm : float
        The largest miss: the height from the aim, at any distance of the range, with the hold that
        lands nearest to it. No other pins make it smaller.
    worst_m : (w,) array
        Distances at which it occurs.
    """

    pins_m: Array
    positions_mm: Array
    held: Held
    miss_mm: float
    worst_m: Array


def best_pins(
    sight: Sight,
    count: int,
    *,
    nearest_m: float,
    farthest_m: float,
    held: Held = "pins",
) -> PinPlan:
    """Return the pins whose largest miss over a range of distances is least.

    The criterion is the height from the aim, in mm at the target, with the hold that lands nearest
    to it, at the distance where this is largest. The distance is taken for known, and scatter is
    left out.

    Parameters
    ----------
    sight : Sight
    count : int
        How many pins, 1 to 9.
    nearest_m, farthest_m : float, m
        The range of distances wanted.
    held : {'pins', 'pins and gaps'}
        Whether half-way between neighbouring pins is held too.

    Returns
    -------
    PinPlan

    Raises
    ------
    RigError
        If the range or the number of pins makes no sense.

    Notes
    -----
    Exact for pins only, whatever the range. With gaps each pin is set as low as it can be, which is
    best as long as the bands that neighbouring holds cover are of like width (wherever the pins go
    down with distance: beyond `turning_distance`).

    Examples
    --------
    >>> sight = Sight(85.344, 0.001, 101.6, 863.6)
    >>> plan = best_pins(sight, 3, nearest_m=18.0, farthest_m=55.0)
    >>> plan.pins_m.round(1).tolist(), round(plan.miss_mm)
    ([32.1, 43.2, 51.5], 133)
    """
    near, far = read_range(nearest_m, farthest_m)
    if count not in range(1, MOST_PINS + 1):
        raise RigError(f"count is {count!r}; it must be a whole number of pins, 1 to {MOST_PINS}")
    if held not in ("pins", "pins and gaps"):
        raise RigError(f"held is {held!r}; say 'pins' or 'pins and gaps'")
    gaps = held == "pins and gaps" and count > 1
    holds = pins_and_gaps(count) if gaps else np.arange(float(count))
    distance = np.linspace(near, far, COARSE)
    for _ in range(MOST_ROUNDS):
        positions, least = _least_miss(*_intervals(sight, distance), count, gaps)
        _, tried = hold_positions(positions, holds)
        worst, miss = _largest_misses(sight, tried, near, far)
        if miss.max() - least < TOLERANCE_MM:
            break
        distance = np.union1d(distance, worst[miss > least])
    largest = float(miss.max())
    return PinPlan(
        pin_distances(sight, positions),
        positions,
        held,
        largest,
        worst[miss > largest - AS_LARGE_MM],
    )


def _intervals(sight: Sight, distance: Array) -> tuple[Array, Array, Array]:
    """Return each distance's pin, and how its height grows with position: slope and curvature."""
    middle = pin_positions(sight, distance)
    above = heights_held(sight, middle + STEP_MM, distance)
    below = heights_held(sight, middle - STEP_MM, distance)
    return middle, (above - below) / (2 * STEP_MM), (above + below) / (2 * STEP_MM**2)


def _least_miss(
    middle: Array, slope: Array, curvature: Array, count: int, gaps: bool
) -> tuple[Array, float]:
    """Return positions of the pins, from the top down, and their largest miss."""
    low, high = 0.0, float((slope * np.ptp(middle)).max()) + 1.0

    def pins(miss: float) -> list[float] | None:
        # The height is all but linear in the position: the square is the last that matters.
        bend = curvature * miss**2 / slope**3
        begin, end = middle - miss / slope - bend, middle + miss / slope - bend
        order = np.argsort(begin)
        lowest = np.minimum.accumulate(end[order][::-1])[::-1]
        return _from_the_top(begin[order].tolist(), lowest.tolist(), count, gaps)

    found = pins(high)
    while high - low > TOLERANCE_MM / 100:
        half = (low + high) / 2
        tried = pins(half)
        if tried is None:
            low = half
        else:
            high, found = half, tried
    assert found is not None, "one pin can miss by the whole range"
    return np.array(found), high


def _from_the_top(
    begin: list[float], lowest: list[float], count: int, gaps: bool
) -> list[float] | None:
    """Return positions such that each interval holds one that is held, or None.

    Parameters
    ----------
    begin : list of float
        Where intervals begin, sorted.
    lowest : list of float
        The first end among an interval and those that begin after it.
    """

    def next_at_most(position: float) -> float:
        """Return how low the next hold may be: no interval may lie wholly between the two."""
        place = bisect_right(begin, position)
        return lowest[place] if place < len(lowest) else float("inf")

    pins = [lowest[0]]
    while len(pins) < count:
        last = pins[-1]
        end = next_at_most(last)
        if end == float("inf"):
            # All is covered already: what is left over lies where it does no harm.
            pins.append(last + STEP_MM)
            continue
        if gaps:
            # The hold between the two comes first, then the pin.
            end = 2 * end - last
            while (bound := next_at_most((last + end) / 2)) < end:
                end = bound
        pins.append(end)
    return pins if next_at_most(pins[-1]) == float("inf") else None


def _largest_misses(
    sight: Sight, tried: Array, near: float, far: float
) -> tuple[Array, NDArray[np.float64]]:
    """Return the distances where the best hold's miss is larger than nearby, and the misses."""

    def miss_at(distance: Array) -> Array:
        heights = heights_held(sight, tried[:, np.newaxis, np.newaxis], distance)
        miss: Array = np.abs(heights).min(axis=0)
        return miss

    distance = np.linspace(near, far, FINE)[np.newaxis]
    miss = miss_at(distance)
    step = (far - near) / (FINE - 1)
    padded = np.pad(miss[0], 1, constant_values=-1.0)
    peak = (padded[1:-1] >= padded[:-2]) & (padded[1:-1] >= padded[2:])
    centre = distance[0, peak]
    while step > 1e-6:
        around = np.clip(centre[:, np.newaxis] + step * np.linspace(-1, 1, 33), near, far)
        miss = miss_at(around)
        centre = np.take_along_axis(around, miss.argmax(axis=1)[:, np.newaxis], 1)[:, 0]
        step /= 16
    return centre, miss.max(axis=1)
