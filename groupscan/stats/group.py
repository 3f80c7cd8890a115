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
r50, r90             constant times sigma          the radius about the true centre that holds
                                                   50 %, 90 % of this rig's shots
===================  ============================  ========================================

The three expected values are sigma times a constant of n (`groupscan.stats.constants`), so that
their intervals are sigma's exact one times that constant. They ask "what would groups of this
size average?", and one group's own figure may fall outside; `Group.notes` then says so.

Where the standard error of each located hole is given, its share is taken out of sigma, and so
out of all that rests on sigma; the extreme spread, mean radius and figure of merit *seen* are
left as seen.
"""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.stats.constants import (
    c4,
    extreme_spread_constant,
    mean_radius_constant,
    radius_constant,
    range_constant,
)
from groupscan.stats.inputs import (
    read_aim,
    read_distance,
    read_level,
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
)
from groupscan.stats.notes import group_notes
from groupscan.stats.results import UNKNOWN, Centre, Group, Offset

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
    n = len(xy)
    noise = read_noise_variance(se_mm, n)
    distance, level = read_distance(distance_m), read_level(confidence)

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
    radii = np.hypot(deviation[:, 0], deviation[:, 1])
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
        extreme_spread=_seen(_extreme_spread(deviation, radii), extreme_spread_constant, n, sigma),
        mean_radius=_seen(float(radii.mean()), mean_radius_constant, n, sigma),
        sigma=sigma,
        sigma_x=_sigma(square_x, n - 1, noise, level),
        sigma_y=_sigma(square_y, n - 1, noise, level),
        figure_of_merit=_seen(float(np.ptp(deviation, axis=0).mean()), range_constant, n, sigma),
        r50=sigma.scaled(radius_constant(0.5)),
        r90=sigma.scaled(radius_constant(0.9)),
        measurement_share=noise * df / square if noise is not None and square > 0 else None,
        notes=(),
    )
    return replace(group, notes=tuple(group_notes(group, scatter)))


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
    value = math.sqrt(variance - noise) / c4(df)
    return Estimate(value, math.sqrt(max(low**2 - noise, 0.0)), math.sqrt(high**2 - noise))


def _seen(value: float, constant: Callable[[int], float], n: int, sigma: Estimate) -> Estimate:
    if n < 2:
        return UNKNOWN
    expected = sigma.scaled(constant(n))
    return Estimate(value, expected.low, expected.high)


def _extreme_spread(deviation: Array, radii: Array) -> float:
    """Return the largest distance between two shots."""
    z = deviation[:, 0] + 1j * deviation[:, 1]
    outermost = radii.argmax()
    # A pair further apart than this has both shots at least (this - r_max) from the centre.
    lower_bound = np.abs(z - z[outermost]).max()
    z = z[radii >= (lower_bound - radii[outermost]) * (1 - 1e-12)]
    blocks = np.array_split(z, math.ceil(z.size**2 / 1e6))
    return float(max(np.abs(block[:, None] - z).max() for block in blocks))
