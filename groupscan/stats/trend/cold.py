"""The first arrow of a session against the rest of it, pooled over sessions."""

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc, fdtri

from groupscan.stats.inputs import read_level
from groupscan.stats.intervals import Ellipse, Estimate, centre_ellipse, mean_interval
from groupscan.stats.plain import json_safe
from groupscan.stats.trend.season import Season

__all__ = ["ColdArrow", "measure_cold_arrow", "scatter_ratio"]

Array = NDArray[np.float64]

HALVINGS = 60
WIDEST = 1e6


@dataclass(frozen=True)
class ColdArrow:
    """First arrows against the rest of their sessions.

    Attributes
    ----------
    unit : {'rad', 'mm'}
        Of the offset.
    sessions : int
        Sessions with a first arrow and two others or more at its distance.
    x, y : Estimate
        Mean offset of the first arrow from the centre of the rest.
    ellipse : Ellipse
        Joint confidence region of the offset (its fields are in `unit`).
    offset_p : float
        Hotelling's p-value of no offset; NaN with fewer than three sessions.
    scatter_ratio : Estimate
        Sigma of first arrows over sigma of the rest.
    scatter_p : float
        Two-sided p-value of the same sigma.
    notes : tuple of str
        What these sessions cannot say.
    """

    unit: Literal["rad", "mm"]
    sessions: int
    x: Estimate
    y: Estimate
    ellipse: Ellipse
    offset_p: float
    scatter_ratio: Estimate
    scatter_p: float
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values."""
        table: dict[str, Any] = json_safe(self)
        return table


def measure_cold_arrow(season: Season, *, confidence: float = 0.95) -> ColdArrow:
    """Compare the first arrow of each session with the rest of it.

    Parameters
    ----------
    season : Season
        From `read_season`; the first row of each session is its first arrow. Where the order of
        the shots was not kept, this says nothing.
    confidence : float, default 0.95
        Level of the intervals.

    Returns
    -------
    ColdArrow

    Raises
    ------
    StatisticsError
        If the level is not sensible.

    Notes
    -----
    Each session gives one difference, first arrow less centre of the rest (at the first arrow's
    distance). Their mean is tested by Hotelling's T^2 and its coordinates get t intervals, which
    hold whatever the scatter of first arrows. The ratio of scatters inverts an F test: with rho
    the ratio of variances, the differences of a session with m other arrows have the variance
    sigma^2 (rho + 1/m). It is exact where all sessions have the same sigma and wrong by as much
    as sessions differ.

    References
    ----------
    H. Hotelling, "The generalization of Student's ratio", Annals of Mathematical Statistics 2
    (1931) 360-378.

    Examples
    --------
    >>> from groupscan.stats.trend.season import read_season
    >>> rng = np.random.default_rng(1)
    >>> shots = 10 * rng.standard_normal((20, 12, 2))
    >>> shots[:, 0, 1] += 15
    >>> cold = measure_cold_arrow(read_season(shots.reshape(-1, 2), np.arange(240) // 12))
    >>> cold.y.low < 15 < cold.y.high, cold.offset_p < 0.01
    (True, True)
    """
    level = read_level(confidence)
    difference, others, square = _differences(season)
    k = len(difference)
    notes = []
    if k < season.sessions:
        notes.append(
            f"{season.sessions - k} of {season.sessions} sessions have fewer than two arrows "
            "besides the first and are left out."
        )
    notes.append("Right only where the first arrow listed of each session was shot first.")
    unknown = Estimate(math.nan)
    if k == 0:
        blank = Ellipse(math.nan, math.nan, math.nan, math.nan, math.nan)
        return ColdArrow(
            season.unit, 0, unknown, unknown, blank, math.nan, unknown, math.nan, tuple(notes)
        )
    mean = difference.mean(axis=0)
    away = difference - mean
    covariance = away.T @ away / max(1, k - 1)
    sd = np.sqrt(np.diag(covariance))
    x, y = (mean_interval(float(mean[a]), float(sd[a]), k, level) for a in (0, 1))
    p = math.nan
    if k < 3:
        notes.append("Three sessions are needed to test the first arrow, and some ten to trust it.")
    elif np.linalg.det(covariance) > 1e-12 * np.trace(covariance) ** 2:
        t2 = k * float(mean @ np.linalg.solve(covariance, mean))
        p = float(fdtrc(2, k - 2, t2 * (k - 2) / (2 * (k - 1))))
    else:
        notes.append("The first arrows differ along one line only: no joint test.")
    ratio, ratio_p = unknown, math.nan
    if k >= 2 and square > 0:
        ratio, ratio_p = scatter_ratio(difference, others, square, level)
    return ColdArrow(
        season.unit,
        k,
        x,
        y,
        centre_ellipse(mean, covariance, k, level),
        p,
        ratio,
        ratio_p,
        tuple(notes),
    )


def _differences(season: Season) -> tuple[Array, Array, float]:
    """Return first arrow less centre of the rest, how many the rest are, and their scatter."""
    first = season.start
    here = season.distance == season.distance[first][season.session]
    rest = here.copy()
    rest[first] = False
    owner, at = season.session[rest], season.at[rest]
    others = np.bincount(owner, minlength=season.sessions)
    usable = others >= 2
    sums = np.column_stack([np.bincount(owner, axis, minlength=season.sessions) for axis in at.T])
    centre = sums / np.maximum(others, 1)[:, None]
    away = ((at - centre[owner]) ** 2).sum(axis=1)
    square = float(away[usable[owner]].sum())
    difference = season.at[first] - centre
    return difference[usable], others[usable].astype(float), square


def scatter_ratio(
    difference: Array, others: Array, square: float, confidence: float
) -> tuple[Estimate, float]:
    """Return sigma of first arrows over sigma of the rest, and the p-value of a ratio of 1.

    Parameters
    ----------
    difference : (k, 2) array
        First arrow less centre of the rest, of each session; k >= 2.
    others : (k,) array
        How many arrows the rest are.
    square : float
        Sum of squared distances of the rest from their centres.
    confidence : float
        Level of the interval.

    Returns
    -------
    Estimate, float
        A limit of 0 says that first arrows may well scatter not at all.

    Examples
    --------
    >>> rng = np.random.default_rng(0)
    >>> ratio, p = scatter_ratio(2 * rng.standard_normal((300, 2)), np.full(300, 50.0), 3e4, 0.95)
    >>> ratio.low < 2 < ratio.high, p < 0.001
    (True, True)
    """
    df = 2 * (len(difference) - 1)
    rest_df = float((2 * (others - 1)).sum())
    variance = square / rest_df

    def spread(rho: float) -> float:
        """F of the differences if first arrows have rho times the variance; falls with rho."""
        w = 1 / (rho + 1 / others)
        mean = w @ difference / w.sum()
        return float(w @ ((difference - mean) ** 2).sum(axis=1)) / df / variance

    def crossing(target: float) -> float:
        if spread(0.0) <= target:
            return 0.0
        low, high = 0.0, 1.0
        while spread(high) > target and high < WIDEST:
            low, high = high, 2 * high
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            low, high = (middle, high) if spread(middle) > target else (low, middle)
        return math.sqrt((low + high) / 2)

    tail = (1 - confidence) / 2
    upper, lower = float(fdtri(df, rest_df, 1 - tail)), float(fdtri(df, rest_df, tail))
    one_sided = float(fdtrc(df, rest_df, spread(1.0)))
    estimate = Estimate(crossing(1.0), crossing(upper), crossing(lower))
    return estimate, min(1.0, 2 * min(one_sided, 1 - one_sided))
