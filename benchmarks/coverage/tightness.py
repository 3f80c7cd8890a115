"""Simulated coverage and error rates of tightness: ``python -m benchmarks.coverage tightness``.

Builds of n shots each; elliptical groups are twice as long as wide, each build's turned its own
way.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from benchmarks.coverage.rows import SIZES, Row, share_held
from groupscan.stats.multiplicity import holm
from groupscan.stats.scatter import (
    Shape,
    bartlett,
    brown_forsythe,
    f_ratio,
    radii,
    reduced,
    scatter_about,
)
from groupscan.stats.tightness import WORTH_RATIO

LEVEL = 0.95
FALSE = 0.05
BUILDS = 4
ENDS = 4
# The longer axis over the geometric mean of both, where one is twice the other.
LONG = np.array([2**0.5, 0.5**0.5])

Array = NDArray[np.float64]


def rows(groups: int, seed: int) -> list[Row]:
    """Return coverage and error rates."""
    found: dict[str, Row] = {}
    for n in SIZES:
        rng = np.random.default_rng([seed, n])
        for row in (*_intervals(n, groups, rng), *_decisions(n, groups, rng)):
            found.setdefault(row.what, row).by_size.update(row.by_size)
    return list(found.values())


def _build(n: int, groups: int, rng: np.random.Generator, size: float, turn: float | None) -> Array:
    """Return groups of a build: circular, or elliptical and turned."""
    shots = rng.standard_normal((groups, n, 2))
    if turn is not None:
        cosine, sine = np.cos(turn), np.sin(turn)
        shots = (shots * LONG) @ np.array([[cosine, sine], [-sine, cosine]])
    return np.asarray(size * shots)


def _pair(shape: Shape, *builds: tuple[Array, int]) -> tuple[Array, Array, Array, Array]:
    first, second = (reduced(*build, shape) for build in builds)
    return f_ratio(first, second, LEVEL)


def _compared(*builds: tuple[Array, int]) -> tuple[Array, Array, Array]:
    """Return limits of the ratio and its two-sided p-value, as a comparison makes them."""
    _, low, high, p = _pair("elliptical", *builds)
    return low, high, 2 * np.minimum(p, 1 - p)


def _intervals(n: int, groups: int, rng: np.random.Generator) -> Iterator[Row]:
    circles = [scatter_about(_build(n, groups, rng, size, None)) for size in (1.5, 1.0)]
    ovals = [scatter_about(_build(n, groups, rng, 1.5 - i / 2, 0.3 + 2 * i)) for i in (0, 1)]
    for what, builds in (("circular", circles), ("elliptical", ovals)):
        low, high, _ = _compared(*builds)
        held = share_held(1.5, low, high)
        yield Row(f"sigma ratio, {what} groups", "exact", LEVEL, {n: held})
    _, low, high, _ = _pair("circular", *circles)
    yield Row("sigma ratio, taken for circular", "exact", LEVEL, {n: share_held(1.5, low, high)})
    axis = [(scatter[:, 0, 0], df) for scatter, df in circles]
    _, low, high, _ = f_ratio(*axis, LEVEL)
    yield Row("sigma ratio of x", "exact", LEVEL, {n: share_held(1.5, low, high)})
    blocks = np.repeat(np.arange(ENDS), n)
    inside = []
    for size in (1.5, 1.0):
        wander = 3 * rng.standard_normal((groups, ENDS, 2))[:, blocks]
        inside.append(scatter_about(_build(n * ENDS, groups, rng, size, None) + wander, blocks))
    _, low, high, _ = _pair("circular", *inside)
    yield Row("sigma ratio within ends", "exact", LEVEL, {n: share_held(1.5, low, high)})


def _decisions(n: int, groups: int, rng: np.random.Generator) -> Iterator[Row]:
    for what, turn in (("circular", None), ("elliptical", 0.3)):
        alike = [scatter_about(_build(n, groups, rng, 1.0, turn)) for _ in range(2)]
        wrong = float((_compared(*alike)[2] <= FALSE).mean())
        yield Row(f"one called tighter, alike, {what}", "rate", FALSE, {n: wrong})
    near = [scatter_about(_build(n, groups, rng, size, None)) for size in (1.1, 1.0)]
    _, high, p = _compared(*near)
    wrong = float(((p <= FALSE) & (high < 1)).mean())
    yield Row("the wider called tighter", "rate", FALSE / 2, {n: wrong})
    edge = [scatter_about(_build(n, groups, rng, size, None)) for size in (WORTH_RATIO, 1.0)]
    low, high, _ = _compared(*edge)
    within = float(((low > 1 / WORTH_RATIO) & (high < WORTH_RATIO)).mean())
    yield Row("called together at the ratio that matters", "rate", FALSE / 2, {n: within})

    shots = [_build(n, groups, rng, 1.0, None) for _ in range(BUILDS)]
    builds = [scatter_about(build) for build in shots]
    pairs = [(i, j) for i in range(BUILDS) for j in range(i)]
    p = np.stack([_compared(builds[i], builds[j])[2] for i, j in pairs], axis=-1)
    any_of = float((holm(p) <= FALSE).any(axis=-1).mean())
    yield Row("any of four called tighter, alike (Holm)", "rate", FALSE, {n: any_of})
    squares, dfs = zip(*(reduced(*build, "elliptical") for build in builds), strict=True)
    overall = float((bartlett(squares, dfs)[1] <= FALSE).mean())
    yield Row("four called unlike, alike (Bartlett)", "rate", FALSE, {n: overall})
    robust = float((brown_forsythe([radii(build) for build in shots])[1] <= FALSE).mean())
    yield Row("four called unlike, alike (robust)", "rate", FALSE, {n: robust})
