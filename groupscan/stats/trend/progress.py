"""One word for a shooter's season: steadier, wider, drifting, steady, or too few arrows to say."""

import math
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from groupscan.stats.intervals import Estimate
from groupscan.stats.plain import json_safe
from groupscan.stats.trend.sessions import Sessions
from groupscan.stats.trend.slope import DAYS_A_MONTH, Slope, measure_slope

__all__ = ["FALSE_RATE", "Progress", "ProgressWord", "creep", "measure_progress"]

ProgressWord = Literal["steadier", "wider", "drifting", "steady", "too few arrows"]

FALSE_RATE: Final = 0.05
# A season that leaves open whether sigma has halved or doubled shows nothing steady.
OPEN: Final = 2.0


@dataclass(frozen=True)
class Progress:
    """What a season shows, in a word, and what it rests on.

    Attributes
    ----------
    word : {'wider', 'drifting', 'steadier', 'steady', 'too few arrows'}
        The first of these that holds: what has to be worked on goes before what goes well.
    unit : {'rad', 'mm'}
        Of the drift.
    months : float
        From the first session to the last; NaN without days.
    sigma_ratio : Estimate
        Sigma at the end of the season over sigma at its beginning, along the line.
    drift_x, drift_y : Estimate
        How far the centre moved from the beginning to the end, along the line.
    wider, steadier, drifts : bool
        Which of the changes are beyond chance; sigma and centre may both change.
    notes : tuple of str
        What these sessions cannot say.
    """

    word: ProgressWord
    unit: Literal["rad", "mm"]
    months: float
    sigma_ratio: Estimate
    drift_x: Estimate
    drift_y: Estimate
    wider: bool
    steadier: bool
    drifts: bool
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values."""
        table: dict[str, Any] = json_safe(self)
        return table


def measure_progress(sessions: Sessions) -> Progress:
    """Say in a word whether a shooter gets steadier or wider, drifts, or stays as they are.

    Parameters
    ----------
    sessions : Sessions
        From `measure_sessions`, with days; of one rig and one kind of head.

    Returns
    -------
    Progress
        Intervals at the level of the sessions.

    Notes
    -----
    The slopes of `measure_slope`. A shooter who does not change is called wider, steadier or
    drifting in at most one season of twenty (`FALSE_RATE`): half of that is given to sigma, a
    quarter to each coordinate of the centre (Bonferroni). "Steady" is said only where the interval
    leaves out that sigma has halved or doubled; otherwise the arrows are too few to say.

    Examples
    --------
    >>> from groupscan.stats.trend.season import read_season
    >>> from groupscan.stats.trend.sessions import measure_sessions
    >>> rng = np.random.default_rng(2)
    >>> day = np.repeat(np.arange(0, 200, 20), 24)
    >>> shots = 10 * np.exp(day / 200)[:, None] * rng.normal(size=(day.size, 2))
    >>> measure_progress(measure_sessions(read_season(shots, day, day=day))).word
    'wider'
    """
    slope = measure_slope(sessions)
    days = sessions.day
    months = float(np.ptp(days)) / DAYS_A_MONTH if np.isfinite(days).all() else math.nan
    log_change = slope.log_sigma.scaled(months)
    ratio = Estimate(*(math.exp(e) for e in (log_change.value, log_change.low, log_change.high)))
    told = math.isfinite(slope.log_sigma.low)
    apart = told and slope.log_sigma_p < FALSE_RATE / 2
    wider, steadier = apart and ratio.value > 1, apart and ratio.value < 1
    drifts = told and _drifts(sessions)
    word: ProgressWord
    if wider:
        word = "wider"
    elif drifts:
        word = "drifting"
    elif steadier:
        word = "steadier"
    elif told and ratio.low > 1 / OPEN and ratio.high < OPEN:
        word = "steady"
    else:
        word = "too few arrows"
    return Progress(
        word, sessions.unit, months, ratio, *_moved(slope, months), wider, steadier, drifts,
        slope.notes,
    )  # fmt: skip


def _moved(slope: Slope, months: float) -> tuple[Estimate, Estimate]:
    return slope.centre_x.scaled(months), slope.centre_y.scaled(months)


def _drifts(sessions: Sessions) -> bool:
    strict = measure_slope(replace(sessions, confidence=1 - FALSE_RATE / 4))
    return any(e.low > 0 or e.high < 0 for e in (strict.centre_x, strict.centre_y))


def creep(sessions: Sessions, progress: Progress) -> NDArray[np.float64]:
    """Return how far each session's centre has come along the drift, from where it began.

    Parameters
    ----------
    sessions : Sessions
        With days.
    progress : Progress
        Of the same sessions: the drift in it tells the direction.

    Returns
    -------
    (k,) array, in the sessions' unit
        Zero is where the drift's line through the sessions' mean place is at the first of them;
        NaN where no drift is known.

    Examples
    --------
    >>> from groupscan.stats.trend.season import read_season
    >>> from groupscan.stats.trend.sessions import measure_sessions
    >>> day = np.repeat(np.arange(0, 50, 10), 4)
    >>> shots = np.column_stack([-0.3 * day + np.tile([0, 1, 0, -1], 5), np.tile([1, 0, -1, 0], 5)])
    >>> seen = measure_sessions(read_season(shots, day, day=day))
    >>> creep(seen, measure_progress(seen)).round(6).tolist()
    [0.0, 3.0, 6.0, 9.0, 12.0]
    """
    drift = np.array([progress.drift_x.value, progress.drift_y.value])
    length = float(np.hypot(*drift))
    if not length > 0:
        return np.full(len(sessions.label), np.nan)
    along = sessions.centre @ (drift / length)
    share = (sessions.day - sessions.day[0]) / np.ptp(sessions.day)
    began = np.average(along - length * share, weights=sessions.n)
    told: NDArray[np.float64] = along - began
    return told
