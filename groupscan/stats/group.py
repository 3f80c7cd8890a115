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
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.errors import StatisticsError
from groupscan.stats.constants import (
    c4,
    extreme_spread_constant,
    mean_radius_constant,
    radius_constant,
    range_constant,
)
from groupscan.stats.intervals import (
    Ellipse,
    Estimate,
    centre_ellipse,
    mean_interval,
    offset_interval,
    sd_limits,
)
from groupscan.units import angle_rad, mm_to_inch, to_moa, to_mrad

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Centre", "Ellipse", "Estimate", "Group", "Offset", "measure_group"]

FARTHEST_MM = 1e6
NOTED_SHARE = 0.01
NOTED_CIRCULARITY_P = 0.01

UNKNOWN = Estimate(math.nan)

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Centre:
    """The group's centre, mm, in the coordinates of the shots."""

    x: Estimate
    y: Estimate


@dataclass(frozen=True)
class Offset(Estimate):
    """The distance of the centre from the aim, mm, with its two coordinates `x` and `y`."""

    x: Estimate = UNKNOWN
    y: Estimate = UNKNOWN


@dataclass(frozen=True)
class Group:
    """One group's statistics; lengths in mm.

    Attributes
    ----------
    n : int
        Number of shots.
    aim_mm : tuple of float
        Point of aim, in the coordinates of the shots.
    distance_m : float or None
        Shooting distance; without it no angles are given.
    confidence : float
        Level of every interval.
    centre : Centre
        Group centre, in the coordinates of the shots.
    centre_ellipse : Ellipse
        Joint confidence region of the centre.
    offset : Offset
        Distance of the centre from the aim, and its x and y.
    extreme_spread, mean_radius, figure_of_merit : Estimate
        As seen; the interval is for the expected value for n shots of this rig.
    sigma, sigma_x, sigma_y : Estimate
        Per-axis standard deviation of the rig: both axes pooled, and each alone.
    r50, r90 : Estimate
        Radius about the true centre that holds 50 % and 90 % of the rig's shots.
    measurement_share : float or None
        Part of the observed variance that is the photo's own error; None if `se_mm` was not given
        or there is no scatter.
    notes : tuple of str
        What these shots cannot say, and why.
    """

    n: int
    aim_mm: tuple[float, float]
    distance_m: float | None
    confidence: float
    centre: Centre
    centre_ellipse: Ellipse
    offset: Offset
    extreme_spread: Estimate
    mean_radius: Estimate
    sigma: Estimate
    sigma_x: Estimate
    sigma_y: Estimate
    figure_of_merit: Estimate
    r50: Estimate
    r90: Estimate
    measurement_share: float | None
    notes: tuple[str, ...]

    def estimates(self) -> dict[str, Estimate]:
        """Return every estimate by name, in the order of the table."""
        return {
            "centre_x": self.centre.x,
            "centre_y": self.centre.y,
            "offset": self.offset,
            "offset_x": self.offset.x,
            "offset_y": self.offset.y,
            "extreme_spread": self.extreme_spread,
            "mean_radius": self.mean_radius,
            "sigma": self.sigma,
            "sigma_x": self.sigma_x,
            "sigma_y": self.sigma_y,
            "figure_of_merit": self.figure_of_merit,
            "r50": self.r50,
            "r90": self.r90,
        }

    def to_frame(self) -> "pd.DataFrame":
        """Return the table: one row a statistic, columns mm, inch, moa and mrad with limits.

        Returns
        -------
        DataFrame
            Index ``statistic``; columns ``mm, mm_low, mm_high, inch, ..., mrad_high``; NaN where
            not known. Angles need the distance.
        """
        import pandas as pd

        rows = {name: self._in_units(estimate) for name, estimate in self.estimates().items()}
        frame = pd.DataFrame.from_dict(rows, orient="index", dtype=float)
        return frame.rename_axis(index="statistic")

    def to_dict(self) -> dict[str, Any]:
        """Return the group as JSON-safe values: None for what is not known, lists for tuples."""
        table = {name: _no_nan(self._in_units(e)) for name, e in self.estimates().items()}
        centre: dict[str, Any] = {}
        for axis in ("x", "y"):
            for key, number in table.pop(f"centre_{axis}").items():
                centre[f"{axis}_{key}"] = number
            for key, number in table.pop(f"offset_{axis}").items():
                table["offset"][f"{axis}_{key}"] = number
        ellipse = self.centre_ellipse
        centre["ellipse"] = _no_nan(
            {
                "semi_major_mm": ellipse.semi_major_mm,
                "semi_minor_mm": ellipse.semi_minor_mm,
                "angle_deg": math.degrees(ellipse.angle_rad),
            }
        )
        return {
            "n": self.n,
            "aim_mm": list(self.aim_mm),
            "distance_m": self.distance_m,
            "confidence": self.confidence,
            "centre": centre,
            **table,
            "measurement_share": self.measurement_share,
            "notes": list(self.notes),
        }

    def _in_units(self, estimate: Estimate) -> dict[str, float]:
        limits = {"": estimate.value, "_low": estimate.low, "_high": estimate.high}
        row = {f"mm{end}": mm for end, mm in limits.items()}
        row |= {f"inch{end}": mm_to_inch(mm) for end, mm in limits.items()}
        away = self.distance_m
        angles = {
            end: math.nan if away is None else angle_rad(mm, away) for end, mm in limits.items()
        }
        row |= {f"moa{end}": to_moa(angle) for end, angle in angles.items()}
        row |= {f"mrad{end}": to_mrad(angle) for end, angle in angles.items()}
        return row


def _no_nan(row: dict[str, float]) -> dict[str, Any]:
    return {key: number if math.isfinite(number) else None for key, number in row.items()}


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
    xy, aim = _shots(xy_mm), _aim(aim_mm)
    n = len(xy)
    noise = _noise_variance(se_mm, n)
    distance, level = _distance(distance_m), _level(confidence)

    mean = xy.mean(axis=0)
    deviation = xy - mean
    # What rounding leaves of coordinates that are all the same is no scatter.
    deviation[:, np.abs(deviation).max(axis=0) <= 1e-12 * np.abs(xy).max(axis=0)] = 0.0
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
    return replace(group, notes=tuple(_notes(group, scatter)))


def _numbers(given: ArrayLike, what: str) -> Array:
    """Return a float array of its own, or raise StatisticsError that says what was wanted."""
    try:
        if np.iscomplexobj(given):
            raise TypeError("complex numbers are not places")
        return np.array(given, dtype=float)
    except (TypeError, ValueError) as err:
        raise StatisticsError(f"{what}: {err}") from err


def _shots(xy_mm: ArrayLike) -> Array:
    xy = _numbers(xy_mm, "shots must be pairs of numbers (x, y) in mm")
    if xy.size == 0:
        raise StatisticsError("no shots: a group needs at least one; check that holes were found")
    if xy.ndim != 2 or xy.shape[1] != 2:
        raise StatisticsError(f"shots have shape {xy.shape}; give one row (x, y) in mm a shot")
    _check_places(xy, "shot")
    return xy


def _check_places(xy: Array, what: str) -> None:
    wrong = np.flatnonzero(~(np.abs(xy) <= FARTHEST_MM).all(axis=1))
    if wrong.size:
        first = int(wrong[0])
        raise StatisticsError(
            f"{what} {first + 1} is at ({xy[first, 0]:g}, {xy[first, 1]:g}) mm: "
            "not finite, or more than a kilometre away; remove it or check the units"
        )


def _aim(aim_mm: tuple[float, float]) -> tuple[float, float]:
    aim = _numbers(aim_mm, "aim must be a pair of numbers (x, y) in mm")
    if aim.shape != (2,):
        raise StatisticsError(f"aim has shape {aim.shape}; give one pair (x, y) in mm")
    _check_places(aim[None], "aim")
    return float(aim[0]), float(aim[1])


def _noise_variance(se_mm: ArrayLike | None, n: int) -> float | None:
    """Return the mean square of the standard errors: what they add to s^2, whatever their mix."""
    if se_mm is None:
        return None
    se = _numbers(se_mm, "se_mm must be numbers in mm")
    if se.shape not in ((), (n,)):
        raise StatisticsError(f"se_mm has shape {se.shape}; give one number, or {n}: one a shot")
    if not ((se >= 0) & (se <= FARTHEST_MM)).all():
        raise StatisticsError("se_mm holds a number that is negative, not finite or beyond reason")
    return float((se**2).mean())


def _distance(distance_m: float | None) -> float | None:
    if distance_m is not None and not (math.isfinite(distance_m) and distance_m > 0):
        raise StatisticsError(f"distance {distance_m!r} m must be more than zero and finite")
    return None if distance_m is None else float(distance_m)


def _level(confidence: float) -> float:
    if not 0.5 <= confidence <= 0.9999:
        raise StatisticsError(f"confidence {confidence!r} must lie between 0.5 and 0.9999")
    return float(confidence)


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


def _notes(group: Group, scatter: Array) -> Iterator[str]:
    """Yield what these shots cannot say, and why."""
    n = group.n
    if n == 1:
        yield "One shot: its place is known, but neither the scatter nor the centre's error."
        return
    if not scatter.any():
        yield (
            "All shots lie at one point: no scatter was seen, so that nothing bounds sigma "
            "or the centre's error."
        )
        return
    if n == 2:
        yield "Two shots: no joint ellipse for the centre; the intervals are valid but very wide."
    if n == 3:
        yield "Three shots: the joint ellipse rests on one degree of freedom and is very wide."
    yield from _shape_notes(scatter, n)
    yield from _noise_notes(group)
    for name in ("extreme_spread", "mean_radius", "figure_of_merit"):
        seen: Estimate = getattr(group, name)
        if not seen.low <= seen.value <= seen.high:
            side = "above" if seen.value > seen.high else "below"
            yield (
                f"The {name.replace('_', ' ')} seen lies {side} the interval for what groups of "
                f"{n} are expected to average."
            )


def _shape_notes(scatter: Array, n: int) -> Iterator[str]:
    for axis, name in enumerate("xy"):
        if scatter[axis, axis] == 0:
            yield f"All shots have the same {name}: nothing bounds sigma_{name} or that error."
    small, large = np.linalg.eigvalsh(scatter)
    circular = "sigma, R50, R90, the offset and the expected spreads assume a circular group"
    if n > 2 and small <= 1e-12 * large:
        yield f"All shots lie on one line: the ellipse has no width, and {circular}."
    elif n > 2:
        # Likelihood ratio of a circular against an elliptical normal: exact for two axes.
        p = (2 * math.sqrt(small * large) / (small + large)) ** (n - 2)
        if p < NOTED_CIRCULARITY_P:
            yield (
                f"The group is {math.sqrt(large / small):.1f} times as long as wide, more than "
                f"chance explains (p = {p:.2g}); {circular}."
            )


def _noise_notes(group: Group) -> Iterator[str]:
    share = group.measurement_share
    if share is None or share < NOTED_SHARE:
        return
    if share >= 1:
        yield (
            "The scatter seen is no more than the photo's own error: sigma cannot be told from 0, "
            "and its upper limit is that of the scatter seen."
        )
        return
    yield (
        f"The photo's own error makes up {share:.0%} of the variance seen; it is taken out of "
        "sigma, R50, R90 and the expected spreads, not out of the spreads seen."
    )
