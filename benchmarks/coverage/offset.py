"""Error rates of the comparison of two centres: ``python -m benchmarks.coverage offset``.

The groups are normal, with sigmas of their own along x and y. The rates are simulated with the
kernels that `groupscan.stats.offset` reads its verdicts from, on stacks of comparisons; Holm's
steps and the permutation, which have no stacks, on fewer.

=====================  ==============================================================
row                    share of the comparisons that
=====================  ==============================================================
apart falsely          say "apart" though the offset is 0
together falsely       say "together" though the offset is the tolerance
distance missed        have a true distance outside its interval, which holds it in
                       *at least* 95 %: at 0 and far out just so, more often between
offset y, pooled T²    hold the true value in their interval
=====================  ==============================================================

Distances are in standard errors of the offset ("4 se"), so that every size meets the hard ones.
"""

import math
from collections.abc import Callable, Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

from benchmarks.coverage.rows import SIZES, Row
from groupscan.stats.offset import compare_with
from groupscan.stats.offset.contrast import contrast
from groupscan.stats.offset.distance import component_limits, farthest, nearest
from groupscan.stats.offset.hotelling import t2_test
from groupscan.stats.offset.permutation import permute_centres
from groupscan.stats.offset.sequential import plan_boundary

LEVEL = 0.05
CONFIDENCE = 1 - LEVEL

# Sigmas along x and along y of the first and of the second group.
SCATTERS = {
    "alike": ((1.0, 1.0), (1.0, 1.0)),
    "twice as wide": ((1.0, 1.0), (2.0, 2.0)),
    "thrice as wide": ((1.0, 1.0), (3.0, 3.0)),
    "ellipses crossed": ((1.0, 3.0), (3.0, 1.0)),
    "ellipses alike": ((1.0, 3.0), (1.0, 3.0)),
}
UNEQUAL_SIZES = ((3, 4), (3, 6), (6, 3), (3, 20), (20, 3), (5, 10), (10, 5), (10, 20), (20, 10))
AWAY_SE = (1, 2, 3, 4, 8)
FAR_SE = (4, 8)

# Comparisons within ends: shots of the first and of the second group in each, and how many ends.
WITHIN_ENDS = {
    "1+1 x 6": (1, 1, 6),
    "2+2 x 3": (2, 2, 3),
    "3+3 x 4": (3, 3, 4),
    "4+2 x 3": (4, 2, 3),
}
END_WANDER = 4.0

# Someone looks after each of these ends of three and three, and stops at a verdict.
ENDS_LOOKED, SHOTS_AN_END = 10, 3

# Slow methods rest on at most so many comparisons; their standard error at 5 % is 0.22 and 0.5.
FEWER, FEWEST = 10_000, 2_000

# Comparisons simulated at a time: what fits into a few ten MB.
CHUNK = 20_000

Array = NDArray[np.float64]
Sigmas = tuple[tuple[float, float], tuple[float, float]]
Ends = tuple[NDArray[np.intp], NDArray[np.intp]] | None
Shares = dict[str, float]


def _shots(
    rng: np.random.Generator, groups: int, sizes: tuple[int, int], sigmas: Sigmas, ends: Ends
) -> tuple[Array, Array]:
    """Return two stacks of groups; what moves a whole end moves both groups in it."""
    first, second = (
        rng.standard_normal((groups, n, 2)) * sigma for n, sigma in zip(sizes, sigmas, strict=True)
    )
    if ends is not None:
        wander = END_WANDER * rng.standard_normal((groups, int(ends[0].max()) + 1, 2))
        first, second = first + wander[:, ends[0]], second + wander[:, ends[1]]
    return first, second


def _chunks(groups: int) -> Iterator[int]:
    yield from (min(CHUNK, groups - done) for done in range(0, groups, CHUNK))


def _averaged(groups: int, one: Callable[[int], Shares]) -> Shares:
    """Return the shares of all chunks together."""
    total: Shares = {}
    for count in _chunks(groups):
        for name, share in one(count).items():
            total[name] = total.get(name, 0.0) + share * count / groups
    return total


def one_look(
    sizes: tuple[int, int],
    sigmas: Sigmas,
    groups: int,
    rng: np.random.Generator,
    *,
    away_se: Iterable[float] = FAR_SE,
    ends: Ends = None,
) -> Shares:
    """Return the shares of one setting by row: shots counted beforehand, one look."""
    boundary = plan_boundary(LEVEL, None)
    # Ends of m and k shots weigh as m k/(m + k), which these sizes share evenly.
    se = math.sqrt(sum(sigma[1] ** 2 / n for n, sigma in zip(sizes, sigmas, strict=True)))

    def one(count: int) -> Shares:
        first, second = _shots(rng, count, sizes, sigmas, ends)
        both = contrast(first, second, *(ends or ()))
        low_x, high_x = component_limits(both.seen, boundary)
        test = t2_test(both.pooled.offset, both.pooled.variance, both.pooled.dfs[0])
        apart = nearest(both.seen, boundary) > 0
        shares = {
            "offset y": np.mean((low_x[:, 1] <= 0) & (high_x[:, 1] >= 0)),
            "pooled T²": np.mean(test.p > LEVEL),
            "apart falsely": np.mean(apart),
        }
        for away in away_se:
            truth = away * se
            seen = contrast(first, second + [0.0, truth], *(ends or ())).seen
            low, high = nearest(seen, boundary), farthest(seen, boundary)
            shares[f"together falsely {away} se"] = np.mean(high <= truth)
            shares[f"distance {away} se missed"] = np.mean((low > truth) | (high < truth))
        return {name: float(share) for name, share in shares.items()}

    return _averaged(groups, one)


def many_looks(
    looks: float, sigmas: Sigmas, groups: int, rng: np.random.Generator, *, within_ends: bool
) -> Shares:
    """Return how often any look after an end gives a false verdict."""
    boundary = plan_boundary(LEVEL, looks)
    code = np.repeat(np.arange(ENDS_LOOKED), SHOTS_AN_END)
    ends = (code, code) if within_ends else None
    # A tolerance that comes within reach half way through.
    half_way = len(code) / 2
    tolerance = 3 * math.sqrt(sum(sigma[1] ** 2 for sigma in sigmas) / half_way)

    def one(count: int) -> Shares:
        first, second = _shots(rng, count, (len(code), len(code)), sigmas, ends)
        apart, together = np.zeros(count, bool), np.zeros(count, bool)
        for shot in range(SHOTS_AN_END, len(code) + 1, SHOTS_AN_END):
            so_far = (code[:shot], code[:shot]) if within_ends else ()
            left, right = first[:, :shot], second[:, :shot]
            apart |= nearest(contrast(left, right, *so_far).seen, boundary) > 0
            moved = contrast(left, right + [0.0, tolerance], *so_far).seen
            together |= farthest(moved, boundary) <= tolerance
        return {
            "apart falsely": float(apart.mean()),
            "together falsely": float(together.mean()),
        }

    return _averaged(groups, one)


def several(n: int, others: int, groups: int, rng: np.random.Generator) -> Shares:
    """Return how often any of several groups is falsely apart, or falsely together."""
    away = 3 * math.sqrt(2 / n)
    wrong = np.zeros(2)
    for _ in range(groups):
        reference = rng.standard_normal((n, 2))
        same = {str(k): rng.standard_normal((n, 2)) for k in range(others)}
        moved = {name: shots + [0.0, away] for name, shots in same.items()}
        found = compare_with(reference, same)
        wrong[0] += any(one.verdict == "apart" for one in found.against.values())
        found = compare_with(reference, moved, tolerance_mm=away)
        wrong[1] += any(one.verdict == "together" for one in found.against.values())
    return {
        "apart falsely": float(wrong[0] / groups),
        "together falsely": float(wrong[1] / groups),
    }


def permuted(n: int, groups: int, rng: np.random.Generator) -> float:
    """Return how often the permutation p-value of two groups with one centre is below the level."""
    pairs = rng.standard_normal((groups, 2, n, 2)) * [1.0, 3.0]
    return float(np.mean([permute_centres(*pair, splits=499).p <= LEVEL for pair in pairs]))


def _rows(
    shares: dict[str, Shares] | dict[int, Shares],
    setting: str,
    rates: Iterable[str],
    fewer: int | None = None,
) -> Iterator[Row]:
    for what in rates:
        by_size: dict[int | str, float] = {size: found[what] for size, found in shares.items()}
        yield Row(f"{what}, {setting}", "rate", LEVEL, by_size, fewer)


def rows(groups: int, seed: int) -> list[Row]:
    """Return the simulated rates."""
    rng = np.random.default_rng(seed)
    table: list[Row] = []
    together = [f"together falsely {away} se" for away in FAR_SE]

    alike = {n: one_look((n, n), SCATTERS["alike"], groups, rng, away_se=AWAY_SE) for n in SIZES}
    for what, kind in (("pooled T²", "exact"), ("offset y", "approximate")):
        held: dict[int | str, float] = {n: found[what] for n, found in alike.items()}
        table.append(Row(f"{what}, alike", kind, CONFIDENCE, held))  # type: ignore[arg-type]
    table += _rows(alike, "alike", [f"distance {away} se missed" for away in AWAY_SE])
    table += _rows(alike, "alike", ["apart falsely", *together])

    for name in list(SCATTERS)[1:]:
        equal = {n: one_look((n, n), SCATTERS[name], groups, rng) for n in SIZES}
        table += _rows(equal, name, ["apart falsely", *together])

    fewer = min(groups, FEWER)
    for name in ("alike", "twice as wide", "thrice as wide"):
        unequal = {
            f"{a} v {b}": one_look((a, b), SCATTERS[name], fewer, rng) for a, b in UNEQUAL_SIZES
        }
        table += _rows(unequal, name, ["apart falsely", *together], fewer)
    for name in ("alike", "thrice as wide"):
        within = {}
        for what, (a, b, count) in WITHIN_ENDS.items():
            ends = np.repeat(np.arange(count), a), np.repeat(np.arange(count), b)
            sizes = len(ends[0]), len(ends[1])
            within[what] = one_look(sizes, SCATTERS[name], fewer, rng, ends=ends)
        table += _rows(within, f"{name}, ends", ["apart falsely", *together], fewer)

    for name in ("alike", "thrice as wide"):
        looked = {
            f"{looks:g}{' in ends' if within_ends else ''}": many_looks(
                looks, SCATTERS[name], fewer, rng, within_ends=within_ends
            )
            for looks in (10.0, math.inf)
            for within_ends in (False, True)
        }
        table += _rows(looked, f"{name}, looks", ["apart falsely", "together falsely"], fewer)

    fewest = min(groups, FEWEST)
    holm = {f"{others} others": several(6, others, fewest, rng) for others in (2, 4)}
    table += _rows(holm, "any, n = 6", ["apart falsely", "together falsely"], fewest)
    by_permutation: dict[int | str, float] = {n: permuted(n, fewest, rng) for n in SIZES}
    table.append(Row("permutation p, ellipses alike", "rate", LEVEL, by_permutation, fewest))
    return table
