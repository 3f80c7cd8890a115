"""Statistics of one group of shots, each with its confidence interval.

The model: n independent shots about one centre, normal, with the same standard deviation sigma
in x and y (circular); `sigma_x`, `sigma_y`, the centre's coordinates and its ellipse do without
the circle. What the interval of each statistic is about:

===================  ============================  ========================================
statistic            value                         95 % interval for
===================  ============================  ========================================
centre, offset x, y  mean of the shots             the rig's true centre (Student t)
centre ellipse       mean of the shots             the same, jointly (Hotelling)
offset               distance of centre from aim   the true centre's distance from the aim
sigma                unbiased estimate, pooled     the rig's per-axis sigma (chi-square)
sigma_x, sigma_y     unbiased estimate, one axis   the rig's sigma in that axis (chi-square)
extreme_spread       largest distance seen         its expected value for n shots of this rig
mean_radius          mean distance from centre     its expected value for n shots of this rig
figure_of_merit      mean of width and height      its expected value for n shots of this rig
width, height        range of one axis             its expected value for n shots (chi-square)
diagonal, radial_sd  as seen                       its expected value for n shots of this rig
sigma_from_spread    extreme spread over its       the rig's sigma, from the extreme spread's own
                     constant for n                distribution (spread.py)
r50, r90, r95        Rayleigh's or Hoyt's radius   the radius about the true centre that holds
                                                   50, 90, 95 % of this rig's shots (circles.py)
height_ratio         sigma_y over sigma_x          the rig's ratio (Pitman-Morgan, shape.py)
sigma_within,        analysis of variance of       the rig's sigma within ends, of its end
wander, sigma_total  several ends                  centres, of both together (ends.py)
===================  ============================  ========================================

The expected values are sigma times a constant of n (`groupscan.stats.constants`), so that
their intervals are sigma's exact one times that constant. They ask "what would groups of this
size average?", and one group's own figure may fall outside; `Group.notes` then says so.

Where the standard error of each located hole is given, its share is taken out of sigma, and so
out of all that rests on sigma; the extreme spread, mean radius and the like *seen* are
left as seen.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.stats.constants import (
    c4,
    diagonal_constant,
    extreme_spread_constant,
    mean_radius_constant,
    radial_sd_constant,
    range_constant,
)
from groupscan.stats.group.circles import measure_circles
from groupscan.stats.group.ends import measure_ends
from groupscan.stats.group.flyers import find_flyer
from groupscan.stats.group.notes import group_notes
from groupscan.stats.group.results import UNKNOWN, Centre, Group, Offset
from groupscan.stats.group.robust import spatial_median
from groupscan.stats.group.shape import measure_shape
from groupscan.stats.group.spread import extreme_spread, implied_sigma_limits
from groupscan.stats.inputs import (
    read_aim,
    read_distance,
    read_labels,
    read_level,
    read_names,
    read_noise_variance,
    read_shots,
)
from groupscan.stats.intervals import (
    Ellipse,
    Estimate,
    centre_ellipse,
    mean_interval,
    offset_interval,
    sd_limits,
    without_noise,
)

__all__ = ["Centre", "Ellipse", "Estimate", "Group", "Offset", "measure_group"]

ROUNDING_MM = 1e-9

Array = NDArray[np.float64]


def measure_group(
    xy_mm: ArrayLike,
    *,
    aim_mm: tuple[float, float] = (0.0, 0.0),
    se_mm: ArrayLike | None = None,
    distance_m: float | None = None,
    confidence: float = 0.95,
    ends: Sequence[object] | None = None,
    names: Sequence[object] | None = None,
) -> Group:
    """Measure one group of shots.

    Parameters
    ----------
    xy_mm : (n, 2) array_like, mm
        Positions of the shots, x right, y up; n >= 1. No shot is dropped.
    aim_mm : tuple of float, default (0, 0)
        Point of aim in the same coordinates.
    se_mm : float or (n,) array_like, optional
        Per-axis standard error of each position, mm, independent from shot to shot.
    distance_m : float, optional
        Shooting distance, m, for angles.
    confidence : float, default 0.95
        Level of the intervals, 0.5 to 0.9999.
    ends : (n,) sequence, optional
        Which end each shot belongs to, a number or a word each; gives the scatter within and
        between ends.
    names : (n,) sequence, optional
        What each shot is called where one is spoken of; its place in the order otherwise.

    Returns
    -------
    Group
        Values, intervals and notes on what these shots cannot say.

    Raises
    ------
    StatisticsError
        If there is no shot, the shape is wrong, or a number is not finite or not sensible.

    Notes
    -----
    Sigma is s/c4 on 2 (n - 1) degrees of freedom (n - 1 for one axis); with standard errors,
    their mean square is first subtracted from s^2 and from the squares of its limits. Where it is
    as large as s^2, sigma is 0 and its upper limit is left as it was, which is then too wide.

    References
    ----------
    F. E. Grubbs, "Statistical Measures of Accuracy for Riflemen and Missile Engineers" (1964).
    NIST/SEMATECH e-Handbook of Statistical Methods, sections 1.3.5.2, 6.3.2 and 7.2.3.

    Examples
    --------
    >>> group = measure_group([(12, -7), (-5, 10), (3, 4), (-14, -2), (9, 15)], distance_m=18.0)
    >>> group.centre.x.value, group.centre.y.value
    (1.0, 4.0)
    >>> sigma = group.sigma
    >>> round(sigma.value, 2), round(sigma.low, 2), round(sigma.high, 2)
    (10.08, 6.6, 18.72)
    """
    xy, aim = read_shots(xy_mm), read_aim(aim_mm)
    noise = read_noise_variance(se_mm, len(xy))
    distance, level = read_distance(distance_m), read_level(confidence)
    codes = None if ends is None else read_labels(ends, len(xy), "end")[1]
    group, deviation = _measure(xy, aim, noise, distance, level, codes)
    flyer = find_flyer(deviation, read_names(names, len(xy)))
    if flyer is not None and flyer.flagged:
        kept = np.arange(len(xy)) != flyer.shot - 1
        if codes is not None:
            codes = np.unique(codes[kept], return_inverse=True)[1]
        if se_mm is not None and np.ndim(se_mm):
            noise = read_noise_variance(np.asarray(se_mm)[kept], len(xy) - 1)
        without, _ = _measure(xy[kept], aim, noise, distance, level, codes)
        group = replace(group, without_flyer=without)
    group = replace(group, flyer=flyer)
    return replace(group, notes=tuple(group_notes(group)))


def _measure(
    xy: Array,
    aim: tuple[float, float],
    noise: float | None,
    distance: float | None,
    level: float,
    ends: NDArray[np.intp] | None,
) -> tuple[Group, Array]:
    """Return the group but for its flyer and its notes, and the shots about their centre."""
    n = len(xy)
    mean = xy.mean(axis=0)
    deviation = xy - mean
    # What rounding leaves of coordinates that are all the same is no scatter.
    deviation[:, np.abs(deviation).max(axis=0) <= ROUNDING_MM] = 0.0
    scatter = deviation.T @ deviation
    square_x, square_y = float(scatter[0, 0]), float(scatter[1, 1])
    square, df = square_x + square_y, 2 * (n - 1)

    x = mean_interval(float(mean[0]), _sd(square_x, n - 1), n, level)
    y = mean_interval(float(mean[1]), _sd(square_y, n - 1), n, level)
    away = math.hypot(x.value - aim[0], y.value - aim[1])
    offset = offset_interval(away, _sd(square, df), n, level)
    sigma = _sigma(square, df, noise, level)
    sigma_x, sigma_y = (_sigma(one, n - 1, noise, level) for one in (square_x, square_y))
    width, height = (float(size) for size in np.ptp(deviation, axis=0))
    spread = extreme_spread(deviation)
    circles = measure_circles(scatter, n, sigma, noise or 0.0, level)
    group = Group(
        n=n,
        aim_mm=aim,
        distance_m=distance,
        confidence=level,
        centre=Centre(x, y),
        centre_ellipse=centre_ellipse(mean, scatter / max(n - 1, 1), n, level),
        offset=Offset(
            offset.value, offset.low, offset.high, _moved(x, -aim[0]), _moved(y, -aim[1])
        ),
        extreme_spread=_seen(spread, extreme_spread_constant, n, sigma),
        mean_radius=_seen(float(np.hypot(*deviation.T).mean()), mean_radius_constant, n, sigma),
        sigma=sigma,
        sigma_x=sigma_x,
        sigma_y=sigma_y,
        figure_of_merit=_seen((width + height) / 2, range_constant, n, sigma),
        r50=circles.chosen["r50"],
        r90=circles.chosen["r90"],
        r95=circles.chosen["r95"],
        width=_seen(width, range_constant, n, sigma_x),
        height=_seen(height, range_constant, n, sigma_y),
        diagonal=_seen(math.hypot(width, height), diagonal_constant, n, sigma),
        radial_sd=_seen(_sd(square, n - 1), radial_sd_constant, n, sigma),
        sigma_from_spread=_sigma_from_spread(spread, n, noise or 0.0, level),
        spatial_median_mm=spatial_median(xy),
        circles=circles,
        shape=measure_shape(scatter, n, level),
        measurement_share=noise * df / square if noise is not None and square > 0 else None,
        notes=(),
        ends=None if ends is None else measure_ends(xy, ends, noise or 0.0, level),
    )
    return group, deviation


def _sd(square: float, df: int) -> float:
    return math.sqrt(square / max(df, 1))


def _moved(estimate: Estimate, by: float) -> Estimate:
    return Estimate(estimate.value + by, estimate.low + by, estimate.high + by)


def _sigma(square: float, df: int, noise: float | None, confidence: float) -> Estimate:
    if df == 0:
        return UNKNOWN
    if square == 0:
        return Estimate(0.0)
    noise, variance = noise or 0.0, square / df
    low, high = sd_limits(square, df, confidence)
    if noise >= variance:
        return Estimate(0.0, 0.0, high)
    value, low, high = without_noise([math.sqrt(variance), low, high], noise).tolist()
    return Estimate(value / c4(df), low, high)


def _sigma_from_spread(spread: float, n: int, noise: float, confidence: float) -> Estimate:
    if n < 2:
        return UNKNOWN
    if spread == 0:
        return Estimate(0.0)
    seen = spread / extreme_spread_constant(n)
    low, high = (float(limit) for limit in implied_sigma_limits(spread, n, confidence))
    if noise >= seen**2:
        return Estimate(0.0, 0.0, high)
    return Estimate(*without_noise([seen, low, high], noise).tolist())


def _seen(value: float, constant: Callable[[int], float], n: int, sigma: Estimate) -> Estimate:
    if n < 2:
        return UNKNOWN
    expected = sigma.scaled(constant(n))
    return Estimate(value, expected.low, expected.high)
