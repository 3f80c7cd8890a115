"""EWMA and CUSUM charts of sigma and of the centre, with a stated run length to a false alarm."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.errors import StatisticsError
from groupscan.stats.plain import json_safe
from groupscan.stats.trend.effects import fit_effects
from groupscan.stats.trend.even import even_out
from groupscan.stats.trend.runlength import ChartKind, alarm_chance, limit_for
from groupscan.stats.trend.scores import known_scores, own_scores, scatter_scores
from groupscan.stats.trend.sessions import Sessions

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "Chart",
    "centre_chart",
    "chart",
    "cusum",
    "ewma",
    "lag_one",
    "sigma_chart",
    "vector_cusum",
]

Array = NDArray[np.float64]

# The weight and the allowance suit a lasting change of about one standard deviation of a session's
# value, which is what matters to a shooter; see the textbooks on these charts.
EWMA_WEIGHT = 0.2
CUSUM_ALLOWANCE = 0.5
# Two seasons of two sessions a week.
ARL = 200.0


@dataclass(frozen=True)
class Chart:
    """A control chart of sessions.

    Attributes
    ----------
    kind : {'EWMA', 'CUSUM'}
    about : {'sigma', 'centre'}
    label : tuple of str
        The sessions on the chart.
    score : (k, a) array
        How far each session lies from the usual, in standard deviations; NaN while the usual is
        still being learnt. One column for sigma (above 0 is wider), two for the centre.
    path : (k, a) array
        The EWMA, or the CUSUM (sigma: its upper and its lower side).
    reach : (k,) array
        What is compared with the limit: the size of the path.
    limit : float
        Alarm where the reach is beyond it.
    arl : float
        Average number of sessions to a false alarm while nothing changes.
    false_alarm_chance : float
        Chance of at least one false alarm on a chart of so many sessions.
    alarms : tuple of str
        Sessions where the chart is beyond its limit. The first is the one to heed.
    notes : tuple of str
        What to know before heeding it.
    """

    kind: ChartKind
    about: Literal["sigma", "centre"]
    label: tuple[str, ...]
    score: Array
    path: Array
    reach: Array
    limit: float
    arl: float
    false_alarm_chance: float
    alarms: tuple[str, ...]
    notes: tuple[str, ...]

    def to_frame(self) -> "pd.DataFrame":
        """Return the chart: one row a session."""
        import pandas as pd

        columns: dict[str, NDArray[np.generic]] = {}
        for name in ("score", "path"):
            for number, column in enumerate(getattr(self, name).T, start=1):
                columns[f"{name}_{number}"] = column
        columns |= {"reach": self.reach, "alarm": self.reach > self.limit}
        return pd.DataFrame(columns, index=pd.Index(self.label, name="session"))

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values."""
        table: dict[str, Any] = json_safe(self)
        return table


def ewma(scores: ArrayLike, weight: float = EWMA_WEIGHT, start: float = 0.0) -> Array:
    """Return the exponentially weighted moving average; NaN scores leave it as it is.

    Parameters
    ----------
    scores : (k, ...) array_like
    weight : float
        Of the newest score.
    start : float
        Value before the first.

    Returns
    -------
    (k, ...) array

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4.

    Examples
    --------
    >>> ewma([1.0, 0.0], 0.5).tolist()
    [0.5, 0.25]
    """
    z = np.asarray(scores, float)
    path = np.empty_like(z)
    last = np.full(z.shape[1:], float(start))
    for i, score in enumerate(z):
        last = np.where(np.isnan(score), last, weight * score + (1 - weight) * last)
        path[i] = last
    return path


def cusum(scores: ArrayLike, allowance: float = CUSUM_ALLOWANCE) -> tuple[Array, Array]:
    """Return the upper and lower cumulative sums; NaN scores leave them as they are.

    Parameters
    ----------
    scores : (k, ...) array_like
    allowance : float
        Taken off at each step.

    Returns
    -------
    upper, lower : (k, ...) arrays

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.3.

    Examples
    --------
    >>> [side.tolist() for side in cusum([1.0, 2.0, -1.0])]
    [[0.5, 2.0, 0.5], [0.0, 0.0, 0.5]]
    """
    z = np.asarray(scores, float)
    upper, lower = np.empty_like(z), np.empty_like(z)
    up = down = np.zeros(z.shape[1:])
    for i, score in enumerate(z):
        known = ~np.isnan(score)
        up = np.where(known, np.maximum(0.0, up + score - allowance), up)
        down = np.where(known, np.maximum(0.0, down - score - allowance), down)
        upper[i], lower[i] = up, down
    return upper, lower


def vector_cusum(scores: Array, allowance: float = CUSUM_ALLOWANCE) -> Array:
    """Return Crosier's cumulative sum of vectors, shortened by the allowance at each step.

    Parameters
    ----------
    scores : (k, 2, ...) array
    allowance : float

    Returns
    -------
    (k, 2, ...) array

    References
    ----------
    R. B. Crosier, "Multivariate generalizations of cumulative sum quality-control schemes",
    Technometrics 30 (1988) 291-303.

    Examples
    --------
    >>> vector_cusum(np.array([(3.0, 4.0), (0.0, 0.0)])).round(2).tolist()
    [[2.7, 3.6], [2.4, 3.2]]
    """
    path = np.empty_like(scores)
    last = np.zeros(scores.shape[1:])
    for i, score in enumerate(scores):
        moved = last + np.where(np.isnan(score), 0.0, score)
        length = np.hypot(moved[0], moved[1])
        kept = np.maximum(0.0, 1 - allowance / np.maximum(length, 1e-12))
        last = np.where(np.isnan(score), last, kept * moved)
        path[i] = last
    return path


def chart(
    scores: ArrayLike,
    label: tuple[str, ...],
    *,
    kind: ChartKind = "EWMA",
    arl: float = ARL,
    setting: float | None = None,
    notes: tuple[str, ...] = (),
) -> Chart:
    """Draw up a chart of scores that are standard normal while nothing changes.

    Parameters
    ----------
    scores : (k,) or (k, 2) array_like
        Of sigma, or of the centre's two coordinates; NaN is skipped.
    label : tuple of str
        The sessions.
    kind : {'EWMA', 'CUSUM'}, default 'EWMA'
    arl : float, default 200
        Average number of sessions to a false alarm; the limit follows from it.
    setting : float, optional
        The EWMA's weight (0.2) or the CUSUM's allowance (0.5).
    notes : tuple of str, optional
        Carried along.

    Returns
    -------
    Chart

    Raises
    ------
    StatisticsError
        If the kind is not known, or the run length or the setting is out of range.

    Notes
    -----
    Limits are constant, and their run length is computed (`runlength.average_run_length`), not
    simulated. In two dimensions the chart is that of Lowry and others, or Crosier's.

    Examples
    --------
    >>> seen = chart([0.1, -0.3, 2.5, 2.2, 2.6, 2.4], tuple("abcdef"))
    >>> seen.alarms, seen.arl
    (('e', 'f'), 200.0)
    """
    if kind not in ("EWMA", "CUSUM"):
        raise StatisticsError(f"chart {kind!r} is not known; ask for 'EWMA' or 'CUSUM'")
    z = np.asarray(scores, float)
    axes = 2 if z.ndim == 2 else 1
    amount = setting or (EWMA_WEIGHT if kind == "EWMA" else CUSUM_ALLOWANCE)
    limit = limit_for(kind, axes, float(amount), float(arl))
    if kind == "EWMA":
        path = ewma(z, amount)
    else:
        path = np.column_stack(cusum(z, amount)) if axes == 1 else vector_cusum(z, amount)
    columns = 2 if axes == 2 or kind == "CUSUM" else 1
    path, z = path.reshape(len(z), columns), z.reshape(len(z), axes)
    reach = np.hypot(path[:, 0], path[:, 1]) if axes == 2 else np.abs(path).max(axis=1)
    on_chart = int(np.isfinite(z).all(axis=1).sum())
    return Chart(
        kind=kind,
        about="sigma" if axes == 1 else "centre",
        label=label,
        score=z,
        path=path,
        reach=reach,
        limit=limit,
        arl=float(arl),
        false_alarm_chance=alarm_chance(kind, axes, float(amount), limit, on_chart),
        alarms=tuple(np.array(label, object)[reach > limit]),
        notes=notes,
    )


def sigma_chart(
    sessions: Sessions,
    *,
    kind: ChartKind = "EWMA",
    arl: float = ARL,
    usual: tuple[float, float] | None = None,
    wander: bool = True,
) -> Chart:
    """Chart the sessions' sigma.

    Parameters
    ----------
    sessions : Sessions
        From `measure_sessions`.
    kind : {'EWMA', 'CUSUM'}, default 'EWMA'
    arl : float, default 200
        Average number of sessions to a false alarm.
    usual : tuple of float, optional
        Sigma, and its wander on the log scale, known beforehand. Left out, the chart learns the
        usual from the sessions themselves.
    wander : bool, default True
        Whether good and bad days, as this shooter has them, count as usual. Without it every
        lasting change beyond the shots' own chance counts, and the false alarm rate is exact for
        sessions of any number of shots.

    Returns
    -------
    Chart

    Raises
    ------
    StatisticsError
        If the kind is not known or the run length out of range.

    Notes
    -----
    Scores: `known_scores`, `scatter_scores` (no wander), or `own_scores` of log sigma with the
    skewness of few shots taken out (`even_out`). With the latter the false alarm rate is
    approximate and tends to be above what is stated: on 40 sessions, where the EWMA states
    15.8 %, simulated seasons alarmed in about 17 % with 3 shots a session or with 3 to 30 mixed,
    and in about 16 % with 5 to 20 shots in each (``python -m benchmarks.coverage trend``).

    Examples
    --------
    >>> from groupscan.stats.trend.season import read_season
    >>> from groupscan.stats.trend.sessions import measure_sessions
    >>> rng = np.random.default_rng(3)
    >>> session = np.repeat(np.arange(40), 18)
    >>> shots = np.where(session < 25, 10, 16)[:, None] * rng.standard_normal((720, 2))
    >>> seen = sigma_chart(measure_sessions(read_season(shots, session)))
    >>> 25 <= int(seen.alarms[0]) < 30
    True
    """
    known = sessions.with_sigma()
    k = len(known.label)
    if k == 0:
        scores = np.zeros(0)
    elif usual is not None:
        sigma, known_wander = usual
        if not (sigma > 0 and known_wander >= 0):
            raise StatisticsError(f"usual {usual!r}: sigma must be above 0, its wander not below")
        scores = known_scores(known.square / known.df, known.df, sigma, known_wander)
    elif not wander:
        scores = scatter_scores(known.square / known.df, known.df)
    elif k < 3:
        scores = np.full(k, math.nan)
    else:
        fit = fit_effects(known.log_sigma, known.log_variance)
        even = even_out(known.log_sigma, known.df, fit.coefficients[0], fit.variance)
        scores = own_scores(even, known.log_variance)
    return chart(scores, known.label, kind=kind, arl=arl, notes=_notes(scores))


def centre_chart(sessions: Sessions, *, kind: ChartKind = "EWMA", arl: float = ARL) -> Chart:
    """Chart the sessions' centre, both coordinates at once.

    Parameters
    ----------
    sessions : Sessions
        From `measure_sessions`.
    kind : {'EWMA', 'CUSUM'}, default 'EWMA'
    arl : float, default 200
        Average number of sessions to a false alarm.

    Returns
    -------
    Chart
        Learns usual centre and wander on the way; x and y are taken as independent.

    Raises
    ------
    StatisticsError
        If the kind is not known or the run length out of range.

    Examples
    --------
    >>> from groupscan.stats.trend.season import read_season
    >>> from groupscan.stats.trend.sessions import measure_sessions
    >>> rng = np.random.default_rng(4)
    >>> session = np.repeat(np.arange(30), 12)
    >>> shots = 10 * rng.standard_normal((360, 2)) + np.where(session < 20, 0, 12)[:, None]
    >>> seen = centre_chart(measure_sessions(read_season(shots, session)))
    >>> 20 <= int(seen.alarms[0]) < 24
    True
    """
    if sessions.centre_variance.all():
        scores = own_scores(sessions.centre.T, sessions.centre_variance).T
    else:
        scores = np.full(sessions.centre.shape, math.nan)
    return chart(scores, sessions.label, kind=kind, arl=arl, notes=_notes(scores))


def lag_one(values: ArrayLike) -> float:
    """Return the correlation of each value with the next.

    Examples
    --------
    >>> round(lag_one([1.0, -1.0, 1.0, -1.0]), 2)
    -0.75
    """
    away = np.asarray(values, float)
    away = away - away.mean()
    return float(away[1:] @ away[:-1] / (away @ away))


def _notes(scores: Array) -> tuple[str, ...]:
    notes = []
    columns = scores.reshape(len(scores), scores.shape[1] if scores.ndim == 2 else 1)
    known = columns[np.isfinite(columns).all(axis=1)]
    if len(known) < 10:
        notes.append(
            f"{len(known)} sessions on the chart so far: it is still learning what is usual, and "
            "sees only great changes."
        )
    elif any(abs(lag_one(column)) > 2.58 / math.sqrt(len(known)) for column in known.T):
        notes.append(
            "Sessions resemble the ones before them more than chance explains (or less): false "
            "alarms come at another rate than stated."
        )
    return tuple(notes)
