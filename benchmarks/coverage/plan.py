"""Simulated power of plans, and error rates of planned orders: ``... coverage plan``.

Each power that a plan states is simulated with the decision that it is stated for. In planned
orders every end and every arrow has a centre of its own, far from the others, which must not
change any rate.
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from benchmarks.coverage.rows import Row
from groupscan.stats.offset.contrast import contrast
from groupscan.stats.offset.distance import farthest, nearest
from groupscan.stats.offset.sequential import plan_boundary
from groupscan.stats.plan import ShootingOrder, alternate_builds, rotate_heads
from groupscan.stats.plan.analysis import fit_order, order_power
from groupscan.stats.power import power_equivalence, power_offset, power_sigma_ratio
from groupscan.stats.scatter import f_ratio

LEVEL = 0.05

# Arrows each, and what is to be seen in sigmas, with a power neither near 0 nor near 1.
OFFSETS = ((5, 2.0), (10, 1.0), (20, 0.75))
RATIOS = ((5, 2.0), (10, 1.5), (20, 1.5))
TOLERANCES = ((5, 2.2), (10, 1.3), (20, 1.0))

ORDERS = {
    "2 heads": rotate_heads(["a", "b"], 6, 4),
    "3 heads": rotate_heads(["a", "b", "c"], 6, 4),
    "4 heads": rotate_heads(["a", "b", "c", "d"], 4, 6),
    "2 builds": alternate_builds({"a": range(6), "b": range(6, 12)}, 3),
}
# Of the ends' and the arrows' own centres, in sigmas of a shot.
END_WANDER, ARROW_WANDER = 3.0, 2.0
CHUNK = 10_000

Array = NDArray[np.float64]


def _share(hits: Sequence[Array]) -> float:
    return float(np.mean(np.concatenate(hits)))


def _chunks(groups: int) -> list[int]:
    return [min(CHUNK, groups - first) for first in range(0, groups, CHUNK)]


def _power_rows(groups: int, rng: np.random.Generator) -> list[Row]:
    boundary = plan_boundary(LEVEL, None)
    found = []
    for n, offset in OFFSETS:
        hits = []
        for count in _chunks(groups):
            first, second = rng.standard_normal((2, count, n, 2))
            hits.append(nearest(contrast(first, second + [offset, 0.0]).pooled, boundary) > 0)
        stated = power_offset(n, n, offset, 1.0)
        found.append(Row(f"sees an offset of {offset:g} sigma", "exact", stated, {n: _share(hits)}))
    for n, ratio in RATIOS:
        df = 2 * (n - 1)
        wide, tight = ratio**2 * rng.chisquare(df, groups), rng.chisquare(df, groups)
        _, low, high, _ = f_ratio((wide, df), (tight, df), 1 - LEVEL)
        stated = power_sigma_ratio(n, n, ratio)
        seen = float(np.mean((low > 1) | (high < 1)))
        found.append(Row(f"sees a sigma ratio of {ratio:g}", "exact", stated, {n: seen}))
    for n, tolerance in TOLERANCES:
        hits = []
        for count in _chunks(groups):
            first, second = rng.standard_normal((2, count, n, 2))
            hits.append(farthest(contrast(first, second).pooled, boundary) <= tolerance)
        stated = power_equivalence(n, n, 0.0, tolerance, 1.0)
        what = f"says together within {tolerance:g} sigma"
        found.append(Row(what, "exact", stated, {n: _share(hits)}))
    return found


def _landed(
    order: ShootingOrder, build: str, offset: float, count: int, rng: np.random.Generator
) -> Array:
    """Return stacks of an order's shots, one build an offset higher than the others."""
    ends, arrows = (
        wander * rng.standard_normal((count, many, 2))
        for wander, many in ((END_WANDER, order.ends), (ARROW_WANDER, len(order.arrows)))
    )
    end = [shot.end - 1 for shot in order.shots]
    arrow = [order.arrows.index(shot.arrow) for shot in order.shots]
    lifted = np.array([[0.0, offset * (s.build == build)] for s in order.shots])
    return ends[:, end] + arrows[:, arrow] + lifted + rng.standard_normal((count, len(end), 2))


def _order_shares(
    order: ShootingOrder, groups: int, rng: np.random.Generator
) -> tuple[float, float, float, float]:
    """Return rates of any false "apart" and "together", power stated and simulated."""
    boundary = plan_boundary(LEVEL / (len(order.builds) - 1), None)
    # A shot's own scatter; where arrows stay with their build, that of their centres.
    sigma = 1.0 if order.rotated else math.hypot(ARROW_WANDER, 1 / math.sqrt(order.ends))
    each = min(sum(s.build == build for s in order.shots) for build in order.builds)
    offset = 3.5 * sigma * math.sqrt(2 / (each if order.rotated else each / order.ends))
    # The power stated is that of the build that the order tells worst.
    units = [one.unit for one in fit_order(order, order.shots, np.zeros((len(order.shots), 2)))]
    place = int(np.argmax(units))
    worst = order.builds[1 + place]
    apart, together, seen = [], [], []
    for count in _chunks(groups):
        none = fit_order(order, order.shots, _landed(order, worst, 0.0, count, rng))
        apart.append(np.any([nearest(one, boundary) > 0 for one in none], axis=0))
        one = fit_order(order, order.shots, _landed(order, worst, offset, count, rng))[place]
        together.append(farthest(one, boundary) <= offset)
        seen.append(nearest(one, boundary) > 0)
    return (
        _share(apart),
        _share(together),
        order_power(order, sigma, offset_mm=offset),
        _share(seen),
    )


def rows(groups: int, seed: int) -> list[Row]:
    """Return the simulated powers and rates."""
    rng = np.random.default_rng(seed)
    found = _power_rows(groups, rng)
    shares = {name: _order_shares(order, groups, rng) for name, order in ORDERS.items()}
    apart: dict[int | str, float] = {name: share[0] for name, share in shares.items()}
    together: dict[int | str, float] = {name: share[1] for name, share in shares.items()}
    found.append(Row("planned order: any apart falsely", "rate", LEVEL, apart))
    found.append(Row("planned order: together falsely", "rate", LEVEL, together))
    found += [
        Row("planned order: sees an offset", "exact", stated, {name: seen})
        for name, (_, _, stated, seen) in shares.items()
    ]
    return found
