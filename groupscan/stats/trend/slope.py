"""Is the shooter getting steadier, is the centre drifting: slopes over a season."""

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from groupscan.stats.intervals import Estimate
from groupscan.stats.plain import json_safe
from groupscan.stats.trend.effects import Effects, fit_effects
from groupscan.stats.trend.sessions import Sessions

__all__ = ["DAYS_A_MONTH", "Slope", "measure_slope", "slope_of"]

Array = NDArray[np.float64]

DAYS_A_MONTH = 365.2425 / 12
FEWEST = 4


@dataclass(frozen=True)
class Slope:
    """Change over the season, a month; NaN where the sessions cannot say.

    Attributes
    ----------
    unit : {'rad', 'mm'}
        Of the centre.
    log_sigma : Estimate
        Change of log sigma a month: negative is getting tighter.
    percent : Estimate
        The same as a change of sigma a month, in per cent.
    log_sigma_p : float
        Two-sided p-value of no change.
    wander : float
        Standard deviation of log sigma from session to session about the line.
    centre_x, centre_y : Estimate
        Drift of the centre a month.
    notes : tuple of str
        What these sessions cannot say.
    """

    unit: Literal["rad", "mm"]
    log_sigma: Estimate
    percent: Estimate
    log_sigma_p: float
    wander: float
    centre_x: Estimate
    centre_y: Estimate
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values."""
        table: dict[str, Any] = json_safe(self)
        return table


def slope_of(values: Array, variances: Array, months: Array) -> Effects:
    """Fit a line through values with known variances and wander; coefficient 1 is its slope.

    Parameters
    ----------
    values, variances : (..., k) arrays
    months : (k,) array

    Returns
    -------
    Effects
    """
    # Centred, so that the inverse is well conditioned whatever the date.
    line = np.column_stack([np.ones_like(months), months - months.mean()])
    return fit_effects(values, variances, np.broadcast_to(line, (*values.shape, 2)))


def measure_slope(sessions: Sessions) -> Slope:
    """Measure the change of sigma and of the centre over the season.

    Parameters
    ----------
    sessions : Sessions
        From `measure_sessions`, with days.

    Returns
    -------
    Slope

    Notes
    -----
    Weighted regression of log sigma, and of the centre in each axis, on the day. A session's
    weight is one over the sum of its sampling variance and of the wander between sessions (REML),
    and the intervals are Student t on two fewer degrees of freedom than sessions
    (`fit_effects`). They take sessions as independent; good and bad spells that last several
    sessions make them too short.

    References
    ----------
    See `fit_effects`.

    Examples
    --------
    >>> from groupscan.stats.trend.season import read_season
    >>> from groupscan.stats.trend.sessions import measure_sessions
    >>> rng = np.random.default_rng(2)
    >>> day = np.repeat(np.arange(0, 200, 5), 24)
    >>> shots = 10 * np.exp(-0.05 * day / DAYS_A_MONTH)[:, None] * rng.normal(size=(day.size, 2))
    >>> slope = measure_slope(measure_sessions(read_season(shots, day, day=day)))
    >>> slope.log_sigma.low < -0.05 < slope.log_sigma.high < 0
    True
    """
    level, unknown = sessions.confidence, Estimate(math.nan)
    notes = list(sessions.notes)
    known = sessions.with_sigma()
    if not np.isfinite(sessions.day).all():
        notes.append("No days were given: no change a month can be told.")
    elif np.unique(known.day).size < FEWEST:
        notes.append(
            f"Sessions on {np.unique(known.day).size} different days: four are needed for a "
            "change over the season with an interval."
        )
    else:
        fit = slope_of(known.log_sigma, known.log_variance, known.day / DAYS_A_MONTH)
        log_sigma = fit.estimate(1, level)
        t = log_sigma.value / math.sqrt(max(float(fit.covariance[1, 1]), 1e-300))
        months = sessions.day / DAYS_A_MONTH
        x, y = (
            slope_of(axis, sessions.centre_variance, months).estimate(1, level)
            for axis in sessions.centre.T
        )
        return Slope(
            sessions.unit,
            log_sigma,
            Estimate(*(100 * math.expm1(e) for e in _triple(log_sigma))),
            2 * float(stdtr(fit.df, -abs(t))),
            math.sqrt(float(fit.variance)),
            x,
            y,
            tuple(notes),
        )
    return Slope(
        sessions.unit, unknown, unknown, math.nan, math.nan, unknown, unknown, tuple(notes)
    )


def _triple(estimate: Estimate) -> tuple[float, float, float]:
    return estimate.value, estimate.low, estimate.high
