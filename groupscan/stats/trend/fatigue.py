"""Within a session: sigma and centre by end, and whether they change from end to end."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from groupscan.stats.constants import c4
from groupscan.stats.inputs import read_level
from groupscan.stats.intervals import Estimate, mean_interval, sd_limits
from groupscan.stats.plain import json_safe
from groupscan.stats.trend.effects import Effects, fit_effects
from groupscan.stats.trend.season import Season
from groupscan.stats.trend.sessions import log_bias, log_variance, scatter_in

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["EndOfSession", "Fatigue", "measure_fatigue", "slope_within"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

FEWEST = 3
UNKNOWN = Estimate(math.nan)


@dataclass(frozen=True)
class EndOfSession:
    """All sessions' ends of one number.

    Attributes
    ----------
    number : int
        1 for the first end of a session.
    ends : int
        How many sessions have it, at each of their distances.
    sigma : Estimate
        Per-axis scatter about the end's own centre, the median over sessions.
    x, y : Estimate
        Where the end's centre lies from its session's centre, the mean over sessions.
    """

    number: int
    ends: int
    sigma: Estimate
    x: Estimate
    y: Estimate


@dataclass(frozen=True)
class Fatigue:
    """Change from end to end within sessions.

    Attributes
    ----------
    unit : {'rad', 'mm'}
    sessions : int
        Sessions (at each of their distances) whose ends tell a slope of sigma.
    log_sigma : Estimate
        Change of log sigma from one end to the next: above 0 is opening up.
    percent : Estimate
        The same in per cent of sigma.
    log_sigma_p : float
        Two-sided p-value of no change.
    x, y : Estimate
        Drift of the centre from one end to the next.
    by_end : tuple of EndOfSession
        The table behind it.
    notes : tuple of str
        What these sessions cannot say.
    """

    unit: Literal["rad", "mm"]
    sessions: int
    log_sigma: Estimate
    percent: Estimate
    log_sigma_p: float
    x: Estimate
    y: Estimate
    by_end: tuple[EndOfSession, ...]
    notes: tuple[str, ...]

    def to_frame(self) -> "pd.DataFrame":
        """Return the table by end: one row an end number."""
        import pandas as pd

        rows = []
        for end in self.by_end:
            row: dict[str, float] = {"ends": end.ends}
            for name in ("sigma", "x", "y"):
                estimate: Estimate = getattr(end, name)
                row[name] = estimate.value
                row[f"{name}_low"], row[f"{name}_high"] = estimate.low, estimate.high
            rows.append(row)
        numbers = pd.Index([end.number for end in self.by_end], name="end")
        return pd.DataFrame(rows, index=numbers)

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values."""
        table: dict[str, Any] = json_safe(self)
        return table


def slope_within(values: Array, variances: Array, group: Index, number: Array) -> Effects | None:
    """Fit one slope on the end's number within all groups, each with a level of its own.

    Parameters
    ----------
    values, variances : (b,) arrays
        One an end, and their known sampling variances.
    group : (b,) array of int
        The session (at one distance) of each end.
    number : (b,) array
        Number of each end.

    Returns
    -------
    Effects or None
        The slope is the last coefficient. None if the ends cannot tell one.

    Notes
    -----
    With three groups or more, each group's own weighted slope is one value of a random-effects
    mean, so that slopes may differ from session to session. With fewer, one regression with a
    level for each group and wander between ends.
    """
    w = 1 / variances
    total = np.bincount(group, w)

    def mean_of(column: Array) -> Array:
        return (np.bincount(group, w * column) / np.maximum(total, 1e-300))[group]

    along = number - mean_of(number)
    reach = np.bincount(group, w * along**2)
    # What rounding leaves of one end alone is no reach.
    telling = reach > 1e-9 * np.maximum(total, 1e-300)
    if telling.sum() >= FEWEST:
        slopes = np.bincount(group, w * along * values)[telling] / reach[telling]
        return fit_effects(slopes, 1 / reach[telling])
    rows = telling[group]
    levels = np.unique(group[rows], return_inverse=True)[1]
    count = int(telling.sum())
    if rows.sum() <= count + 1:
        return None
    design = np.column_stack([levels[:, None] == np.arange(count), along[rows]]).astype(float)
    return fit_effects(values[rows], variances[rows], design)


def measure_fatigue(season: Season, *, confidence: float = 0.95) -> Fatigue:
    """Measure how sigma and centre change from end to end within a session.

    Parameters
    ----------
    season : Season
        From `read_season`, with ends.
    confidence : float, default 0.95
        Level of the intervals.

    Returns
    -------
    Fatigue

    Raises
    ------
    StatisticsError
        If the level is not sensible.

    Notes
    -----
    Each end of two shots or more gives a log sigma with known sampling variance, and each end a
    centre. `slope_within` pools their slopes over sessions. A straight line finds a steady
    change; warming up and then tiring may cancel, and shows in the table by end.

    Examples
    --------
    >>> from groupscan.stats.trend.season import read_season
    >>> rng = np.random.default_rng(1)
    >>> end = np.tile(np.repeat(np.arange(10), 6), 15)
    >>> shots = 10 * np.exp(0.05 * end)[:, None] * rng.standard_normal((900, 2))
    >>> fatigue = measure_fatigue(read_season(shots, np.arange(900) // 60, end=end))
    >>> fatigue.log_sigma.low < 0.05 < fatigue.log_sigma.high
    True
    """
    level = read_level(confidence)
    first, count, centre, square = scatter_in(season, ends=True)
    number = season.end[first].astype(float)
    group = np.unique(
        season.session[first] * max(1, len(season.distances_m)) + season.distance[first],
        return_inverse=True,
    )[1]
    df = 2 * (count - 1)
    known = (df > 0) & (square > 0)
    notes = []
    if not season.has_ends:
        notes.append("No ends were given: nothing can be told of a change within a session.")
    elif not known.any():
        notes.append("No end has two shots with scatter: nothing can be told of sigma by end.")
    drift, log_sigma, p, sessions = [UNKNOWN, UNKNOWN], UNKNOWN, math.nan, 0
    d = df[known].astype(float)
    logs = np.log(square[known] / d) / 2 - log_bias(d)
    if known.any():
        pooled = square.sum() / df.sum()
        fit = slope_within(logs, log_variance(d), group[known], number[known])
        if fit is not None:
            last = fit.coefficients.size - 1
            log_sigma = fit.estimate(last, level)
            unit = math.sqrt(max(float(fit.covariance[last, last]), 1e-300))
            p = 2 * float(stdtr(fit.df, -abs(log_sigma.value) / unit))
            sessions = int(np.unique(group[known]).size)
        elif season.has_ends:
            notes.append("Too few ends: three in one session, or two in each of three, are needed.")
        for axis in (0, 1):
            moved = slope_within(centre[:, axis], pooled / count, group, number)
            if moved is not None:
                drift[axis] = moved.estimate(moved.coefficients.size - 1, level)
    percent = (100 * math.expm1(e) for e in (log_sigma.value, log_sigma.low, log_sigma.high))
    return Fatigue(
        season.unit,
        sessions,
        log_sigma,
        Estimate(*percent),
        p,
        drift[0],
        drift[1],
        _table(number, count, centre, square, group, level) if season.has_ends else (),
        tuple(notes),
    )


def _table(
    number: Array, count: Index, centre: Array, square: Array, group: Index, level: float
) -> tuple[EndOfSession, ...]:
    shots = np.bincount(group, count)
    own = np.column_stack([np.bincount(group, count * axis) / shots for axis in centre.T])
    away = centre - own[group]
    rows = []
    for end in np.unique(number):
        here = number == end
        n = int(here.sum())
        x, y = (
            mean_interval(float(axis.mean()), float(axis.std(ddof=1)) if n > 1 else 0.0, n, level)
            for axis in away[here].T
        )
        sigma = _median_sigma(square[here], 2 * (count[here] - 1), level)
        rows.append(EndOfSession(int(end) + 1, n, sigma, x, y))
    return tuple(rows)


def _median_sigma(square: Array, df: Index, level: float) -> Estimate:
    """Return the median sigma over sessions of ends of one number."""
    known = (df > 0) & (square > 0)
    squares, d = square[known], df[known].astype(float)
    if not known.any():
        return UNKNOWN
    if known.sum() == 1:
        s2, freedom = float(squares[0]), int(d[0])
        return Estimate(math.sqrt(s2 / freedom) / c4(freedom), *sd_limits(s2, freedom, level))
    logs, variances = np.log(squares / d) / 2 - log_bias(d), log_variance(d)
    if known.sum() < FEWEST:
        return Estimate(math.exp(float(np.average(logs, weights=1 / variances))))
    middle = fit_effects(logs, variances).estimate(0, level)
    return Estimate(math.exp(middle.value), math.exp(middle.low), math.exp(middle.high))
