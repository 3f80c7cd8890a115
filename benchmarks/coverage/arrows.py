"""Simulated coverage and error rates of arrow by arrow: ``python -m benchmarks.coverage arrows``.

Six arrows; the group size is the number of ends. Sigma of the scatter is 1 in x and y (where not
said otherwise); the ends wander. What is left out at random is left out the same in every session.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from benchmarks.coverage.rows import SIZES, Row, share_held
from groupscan.stats.arrows import measure_arrows
from groupscan.stats.arrows.astray import differ_p, hold_against_home, scatter_p
from groupscan.stats.arrows.crossed import Crossed, Told, cross, tell
from groupscan.stats.arrows.mixed import share_limits, shrunken_limits
from groupscan.stats.multiplicity import benjamini_hochberg

ARROWS = 6
LEVEL = 0.95
FALSE = 0.05
WANDER = 2.0
MOST_AT_ONCE = 5_000
# The shrunken interval needs a search for every limit; a whole set of arrows many.
FEWER, FEWEST = 20_000, 1_000
WORTH = 1.5

Array = NDArray[np.float64]


def rows(groups: int, seed: int) -> list[Row]:
    """Return coverage and error rates."""
    found: dict[str, Row] = {}
    for ends in SIZES:
        for missing in (False, True):
            if missing and ends < 5:
                continue
            rng = np.random.default_rng([seed, ends, missing])
            design = _design(ends, missing, rng)
            found_rows = [*_rates(design, groups, rng, ", gaps" if missing else "")]
            if not missing:
                found_rows += _whole(design, groups, rng)
            for row in found_rows:
                found.setdefault(row.what, row).by_size.update(row.by_size)
    return list(found.values())


def _design(ends: int, missing: bool, rng: np.random.Generator) -> Crossed:
    arrow, end = np.tile(np.arange(ARROWS), ends), np.repeat(np.arange(ends), ARROWS)
    if missing:
        # A fifth; never the first two ends, which hold all arrows together.
        kept = (rng.random(arrow.size) > 0.2) | (end < 2)
        arrow, end = arrow[kept], end[kept]
    return cross(arrow, np.unique(end, return_inverse=True)[1])


def _sessions(
    design: Crossed, groups: int, rng: np.random.Generator, offsets: Array, scatter: Array
) -> Iterator[tuple[Told, Array]]:
    """Yield sessions and their true offsets, some at a time.

    `offsets` are the arrows' (m, 2) centres, or the two standard deviations to draw them with;
    `scatter` is one sigma an arrow and axis, broadcast to (m, 2).
    """
    sigma = np.broadcast_to(scatter, (ARROWS, 2))
    shots, ends = len(design.arrow), int(design.end.max()) + 1
    while groups:
        count = min(groups, MOST_AT_ONCE)
        groups -= count
        true = np.broadcast_to(offsets, (count, ARROWS, 2))
        if offsets.ndim == 1:
            true = true * rng.standard_normal(true.shape)
        xy = true[:, design.arrow] + sigma[design.arrow] * rng.standard_normal((count, shots, 2))
        xy = xy + WANDER * rng.standard_normal((count, ends, 2))[:, design.end]
        yield tell(design, xy), true


def _rates(design: Crossed, groups: int, rng: np.random.Generator, gaps: str) -> Iterator[Row]:
    one, plain = np.ones(()), np.zeros((ARROWS, 2))
    df, ends = design.df, int(design.end.max()) + 1

    held: list[list[float]] = [[] for _ in range(4)]
    for told, true in _sessions(design, groups, rng, np.array([0.5, 1.0]), one):
        home = hold_against_home(design, told, FALSE)
        truth = (home.contrasts @ true)[:, 0]
        half = _t(df) * np.sqrt(home.variance[:, :1] * _squares(told) / df)
        seen = home.offsets[:, 0]
        held[0].append(share_held(truth, seen - half, seen + half))
        for axis, tau in ((0, 0.5), (1, 1.0)):
            low, high = share_limits(
                told.canonical[..., axis : axis + 1],
                design.weights,
                _squares(told)[:, axis],
                df,
                LEVEL,
            )
            held[1 + axis].append(share_held(tau**2 / (1 + tau**2), low, high))
    means = [float(np.mean(part)) for part in held[:3]]
    yield Row(f"arrow, seen offset{gaps}", "exact", LEVEL, {ends: means[0]})
    yield Row(f"arrow share of variance, 20 %{gaps}", "exact", LEVEL, {ends: means[1]})
    yield Row(f"arrow share of variance, 50 %{gaps}", "exact", LEVEL, {ends: means[2]})

    fewer = min(groups, FEWER)
    by_axis: list[list[float]] = [[], []]
    for told, true in _sessions(design, fewer, rng, np.array([0.5, 1.0]), one):
        home = hold_against_home(design, told, FALSE)
        truth = (home.contrasts @ true)[:, 0]
        for axis in (0, 1):
            low, high = shrunken_limits(
                told.canonical[..., axis],
                design.weights,
                _squares(told)[:, axis],
                df,
                home.contrasts[:, :1] @ design.axes,
                LEVEL,
            )
            by_axis[axis].append(share_held(truth[:, axis], low[:, 0], high[:, 0]))
    for axis, tau in ((0, 0.5), (1, 1.0)):
        what = f"arrow, shrunken offset, spread {tau:g}{gaps}"
        mean = float(np.mean(by_axis[axis]))
        yield Row(what, "approximate", LEVEL, {ends: mean}, fewer=fewer)

    wide, differ = [], []
    for told, _ in _sessions(design, groups, rng, plain, one):
        p = np.stack([scatter_p(design, told, arrow)[1] for arrow in range(ARROWS)], axis=-1)
        wide.append(float((benjamini_hochberg(p) <= FALSE).any(axis=-1).mean()))
        differ.append(float((differ_p(told, df) <= FALSE).mean()))
    yield Row(f"any arrow called wide, none is{gaps}", "rate", FALSE, {ends: float(np.mean(wide))})
    # An exact test: its rate has to be met from both sides, as an exact interval's coverage is.
    alike = 1 - float(np.mean(differ))
    yield Row(f"arrows not called different, none is{gaps}", "exact", 1 - FALSE, {ends: alike})

    for bad, away in ((0, 0.0), (1, 2.0), (1, 6.0), (2, 4.0)):
        centres = np.zeros((ARROWS, 2))
        centres[:bad] = np.array([[away, 0.0], [-away, away]])[:bad]
        share = []
        for told, _ in _sessions(design, groups, rng, centres, np.array([1.0, 1.5])):
            apart = hold_against_home(design, told, FALSE).adjusted <= FALSE
            false = apart[:, bad:].sum(axis=-1)
            share.append(float((false / np.maximum(apart.sum(axis=-1), 1)).mean()))
        what = f"false among arrows apart, {bad} off by {away:g}{gaps}"
        yield Row(what, "rate", FALSE, {ends: float(np.mean(share))})


def _whole(design: Crossed, groups: int, rng: np.random.Generator) -> Iterator[Row]:
    """Yield what needs a whole set of arrows measured; scatter and arrows differ by axis."""
    tau, sigma = np.array([0.5, 1.0]), np.array([1.0, 1.5])
    truth = (tau**2).sum() / (tau**2 + sigma**2).sum()
    ends, fewest = int(design.end.max()) + 1, min(groups // 4, FEWEST)
    held, beyond, wrong = 0, 0, 0
    for _ in range(fewest):
        true = tau * rng.standard_normal((ARROWS, 2))
        xy = true[design.arrow] + sigma * rng.standard_normal((len(design.arrow), 2))
        quiver = measure_arrows(xy, design.arrow.tolist(), ends=design.end.tolist(), worth_mm=WORTH)
        held += quiver.share.low <= truth <= quiver.share.high
        away = true - true[[int(name) for name in quiver.home]].mean(axis=0)
        off = np.hypot(*away.T) > WORTH
        together = np.array([arrow.verdict == "together" for arrow in quiver.arrows])
        beyond, wrong = beyond + off.sum(), wrong + (off & together).sum()
    what = "arrow share of variance, both axes"
    yield Row(what, "approximate", LEVEL, {ends: held / fewest}, fewer=fewest)
    what = f"arrow off by more than {WORTH:g} called together"
    yield Row(what, "rate", 1 - LEVEL, {ends: float(wrong / beyond)}, fewer=fewest)


def _squares(told: Told) -> Array:
    return np.diagonal(told.scatter, axis1=-2, axis2=-1)


def _t(df: int) -> float:
    return float(stdtrit(df, (1 + LEVEL) / 2))
