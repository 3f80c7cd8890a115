"""Simulated coverage of every interval of a group: ``python -m benchmarks.coverage group``.

Normal groups of a rig with sigma 1 (across, where it is longer than wide) are measured by the
product's own functions, and each interval is asked whether it holds the truth. Truths that are
expected values (extreme spread, mean radius, ...) are the averages over the run itself, not the
constants that the intervals use.
"""

import math
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from benchmarks.coverage.rows import SIZES, Row, share_held
from benchmarks.extreme_spread import extreme_spreads
from groupscan.stats import constants
from groupscan.stats.group.circles import ROUND_LEVEL, SHARES, elliptical_radius
from groupscan.stats.group.ends import (
    NOTED_WANDER_P,
    end_squares,
    total_limits,
    wander_limits,
    wander_p,
)
from groupscan.stats.group.flyers import FLYER_LEVEL, flyer_p
from groupscan.stats.group.hoyt import hoyt_radius
from groupscan.stats.group.shape import (
    PATTERN_LEVEL,
    axis_slack,
    height_ratio_limits,
    pitman_morgan_p,
    principal_axes,
    sphericity_p,
)
from groupscan.stats.group.spread import implied_sigma_limits
from groupscan.stats.intervals import (
    hotelling_factor,
    mean_interval,
    offset_holds,
    sd_limits,
    without_noise,
)

__all__ = ["circle_rows", "end_rows", "group_shares", "rows"]

LEVEL = 0.95
#: True distances of the centre from the aim, in standard errors of the centre, so that every size
#: meets the hard region.
AWAY = (0.0, 0.5, 1.0, 2.0, 3.0, 6.0)
PHOTO_SE = 0.3
#: How many times as long as wide a rig is.
LONG = (1.0, 1.5, 2.0)
ENDS = ((3,) * 2, (3,) * 4, (3,) * 10, (6,) * 3, (6,) * 10, (2, 3, 3, 4, 6))
WANDER = (0.5, 1.0)
#: Groups at a time, so that what a step needs stays near the processor.
CHUNK = 5000

Array = NDArray[np.float64]


def _scatter(shots: Array) -> tuple[Array, Array]:
    """Return the centres and the sums of squares and products about them."""
    centre = shots.mean(axis=-2)
    away = shots - centre[..., None, :]
    return centre, np.swapaxes(away, -1, -2) @ away


def _chunked(of: Callable[..., Array], *arrays: Array) -> Array:
    """Return `of` the arrays, worked out so many groups at a time."""
    parts = math.ceil(len(arrays[0]) / CHUNK)
    cut = [np.array_split(array, parts) for array in arrays]
    return np.concatenate([of(*some) for some in zip(*cut, strict=True)], axis=-1)


def group_shares(shots: Array, blurred: Array) -> Iterator[tuple[str, str, float]]:
    """Yield (what, kind, share) for groups of a round rig with sigma 1 about (0, 0).

    Parameters
    ----------
    shots : (groups, n, 2) array
    blurred : (groups, n, 2) array
        The same with a photo's error of `PHOTO_SE`.
    """
    n = shots.shape[1]
    centre, scatter = _scatter(shots)
    xx, yy = scatter[:, 0, 0], scatter[:, 1, 1]
    unit = mean_interval(0.0, 1.0, n, LEVEL)
    sd_x, root = np.sqrt(xx / (n - 1)), np.sqrt(xx + yy)
    x = centre[:, 0]
    yield "centre x", "exact", share_held(0.0, x + unit.low * sd_x, x + unit.high * sd_x)
    distance = np.einsum("gi,gij,gj->g", centre, np.linalg.inv(scatter / (n - 1)), centre)
    yield "centre ellipse", "exact", float((distance <= hotelling_factor(n, LEVEL)).mean())

    low, high = sd_limits(1.0, 2 * (n - 1), LEVEL)
    low_x, high_x = sd_limits(1.0, n - 1, LEVEL)
    yield "sigma", "exact", share_held(1.0, low * root, high * root)
    yield "sigma x", "exact", share_held(1.0, low_x * np.sqrt(xx), high_x * np.sqrt(xx))

    away = shots - centre[:, None]
    spread = extreme_spreads(shots[..., 0] + 1j * shots[..., 1])
    width, height = np.ptp(shots, axis=1).T
    radii = np.hypot(away[..., 0], away[..., 1])
    for what, seen, constant in (
        ("extreme spread", spread, constants.extreme_spread_constant),
        ("mean radius", radii.mean(axis=1), constants.mean_radius_constant),
        ("figure of merit", (width + height) / 2, constants.range_constant),
        ("diagonal", np.hypot(width, height), constants.diagonal_constant),
        ("radial SD", root / math.sqrt(n - 1), constants.radial_sd_constant),
    ):
        yield what, "exact", share_held(seen.mean(), *(constant(n) * e * root for e in (low, high)))
    limits = (constants.range_constant(n) * e * np.sqrt(xx) for e in (low_x, high_x))
    yield "width", "exact", share_held(width.mean(), *limits)
    yield "sigma from the spread", "exact", share_held(1.0, *implied_sigma_limits(spread, n, LEVEL))
    ratio = height_ratio_limits(scatter, n - 1, LEVEL)
    yield "height ratio", "exact", share_held(1.0, *ratio)

    blurred_root = np.sqrt(_scatter(blurred)[1].trace(axis1=1, axis2=2))
    limits = (without_noise(e * blurred_root, PHOTO_SE**2) for e in (low, high))
    yield f"sigma, photo se {PHOTO_SE}", "approximate", share_held(1.0, *limits)
    sd = root / math.sqrt(2 * (n - 1))
    for se in AWAY:
        truth = se / math.sqrt(n)
        far = np.hypot(centre[:, 0] - truth, centre[:, 1])
        holds = _chunked(
            lambda far, sd, truth=truth: offset_holds(far, sd, n, LEVEL, truth), far, sd
        )
        yield f"offset {se:g} se away", "approximate", float(holds.mean())


def rate_shares(shots: Array) -> Iterator[tuple[str, str, float, float]]:
    """Yield (what, kind, stated, share) of wrong decisions for groups of a round rig."""
    n = shots.shape[1]
    _, scatter = _scatter(shots)
    # Three shots are given no pattern and no flyer.
    enough = n >= 4
    pattern = (sphericity_p(scatter, n - 1) < PATTERN_LEVEL).mean() if enough else math.nan
    yield "pattern told of a round rig", "rate", PATTERN_LEVEL, float(pattern)
    unequal = (pitman_morgan_p(scatter, n - 1) < 0.05).mean()
    yield "height told from width, Pitman-Morgan", "rate", 0.05, float(unequal)
    away = shots - shots.mean(axis=1, keepdims=True)
    flagged = (flyer_p(away).min(axis=1) < FLYER_LEVEL).mean() if enough else math.nan
    yield "flyer flagged where there is none", "rate", FLYER_LEVEL, float(flagged)


def _circles(scatter: Array, n: int, share: float) -> Array:
    """Return limits by the circle, limits by the ellipse, and the sphericity p, (5, groups)."""
    root = np.sqrt(scatter.trace(axis1=1, axis2=2)) * constants.radius_constant(share)
    low, high = sd_limits(1.0, 2 * (n - 1), LEVEL)
    _, below, above, _ = elliptical_radius(scatter, n - 1, share, LEVEL)
    return np.stack([low * root, high * root, below, above, sphericity_p(scatter, n - 1)])


def circle_rows(groups: int, seed: int) -> list[Row]:
    """Return the coverage of R50, R90, R95 as chosen or by the ellipse, and of the main axis."""
    held: dict[tuple[str, str], dict[int | str, float]] = {}
    for n in SIZES:
        shots = np.random.default_rng([seed, n, 1]).standard_normal((groups, n, 2))
        for long in (*LONG, 3.0):
            _, scatter = _scatter(shots * (1.0, long))
            for name, share in SHARES.items():
                truth = float(hoyt_radius(share, long**2, 1.0))
                low, high, below, above, p = _chunked(
                    lambda some, n=n, share=share: _circles(some, n, share), scatter
                )
                if long == 3.0:
                    what = f"{name.upper()} by the ellipse, rig 3 : 1"
                    held.setdefault((what, "approximate"), {})[n] = share_held(truth, below, above)
                    continue
                chosen = np.where(p < ROUND_LEVEL, (below, above), (low, high))
                what = f"{name.upper()} as chosen, rig {long:g} : 1"
                held.setdefault((what, "approximate"), {})[n] = share_held(truth, *chosen)
            if long > LONG[1]:
                angle, slack = principal_axes(scatter)[2], axis_slack(scatter, n - 1, LEVEL)
                off = np.abs(np.abs(angle) - math.pi / 2)
                what = f"main axis, rig {long:g} : 1"
                held.setdefault((what, "approximate"), {})[n] = float(
                    (np.isnan(slack) | (off <= slack)).mean()
                )
    return [Row(what, kind, LEVEL, by_size) for (what, kind), by_size in held.items()]


def end_rows(groups: int, seed: int) -> list[Row]:
    """Return the coverage of wander and total sigma over several ends, by their sizes."""
    names = [f"{len(e)} x {e[0]}" if len(set(e)) == 1 else "+".join(map(str, e)) for e in ENDS]
    wander: dict[float, dict[int | str, float]] = {size: {} for size in WANDER}
    total: dict[float, dict[int | str, float]] = {size: {} for size in (0.0, *WANDER)}
    found: dict[int | str, float] = {}
    for name, ends in zip(names, ENDS, strict=True):
        rng = np.random.default_rng([seed, len(ends), sum(ends), 2])
        codes = np.repeat(np.arange(len(ends)), ends)
        shots = rng.standard_normal((groups, len(codes), 2))
        centres = rng.standard_normal((groups, len(ends), 2))[:, codes]
        for size in (0.0, *WANDER):
            squares = end_squares(shots + size * centres, codes)
            total[size][name] = share_held(math.hypot(1, size), *total_limits(squares, LEVEL))
            if size:
                wander[size][name] = share_held(size, *wander_limits(squares, LEVEL))
            else:
                found[name] = float((wander_p(squares) < NOTED_WANDER_P).mean())
    return [
        *(Row(f"wander {s:g} sigma", "approximate", LEVEL, by) for s, by in wander.items()),
        *(Row(f"total, wander {s:g} sigma", "approximate", LEVEL, by) for s, by in total.items()),
        Row("wander told where there is none", "rate", NOTED_WANDER_P, found),
    ]


def rows(groups: int, seed: int) -> list[Row]:
    """Return the coverage of each interval of a group, by number of shots."""
    found: dict[tuple[str, str, float], dict[int | str, float]] = {}
    for n in SIZES:
        rng = np.random.default_rng([seed, n])
        shots = rng.standard_normal((groups, n, 2))
        blurred = shots + PHOTO_SE * rng.standard_normal((groups, n, 2))
        for what, kind, share in group_shares(shots, blurred):
            found.setdefault((what, kind, LEVEL), {})[n] = share
        for what, kind, stated, share in rate_shares(shots):
            found.setdefault((what, kind, stated), {})[n] = share
    by_shots = [Row(what, kind, stated, by) for (what, kind, stated), by in found.items()]
    by_shots.sort(key=lambda row: row.kind == "rate")
    return [*by_shots, *circle_rows(groups, seed), *end_rows(groups, seed)]
