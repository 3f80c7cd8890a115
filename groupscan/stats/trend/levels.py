"""What is usual in each stretch of a season between lasting changes, with control limits."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from groupscan.stats.trend.baseline import Baseline, measure_baseline
from groupscan.stats.trend.change import Changes
from groupscan.stats.trend.sessions import Sessions

__all__ = ["Levels", "centre_levels", "sigma_levels"]

Array = NDArray[np.float64]
# Usual, low and high in each axis of each session of one stretch.
Told = Callable[[Baseline, Sessions], list[list[tuple[float, float, float]]]]


@dataclass(frozen=True)
class Levels:
    """The usual level and the limits of a usual session, session by session.

    Attributes
    ----------
    stretches : tuple of (int, int)
        First and last session of each stretch in which nothing changed for good.
    usual, low, high : (k, a) arrays
        One column for sigma, two for the centre; limits are NaN where a stretch is too short.
    """

    stretches: tuple[tuple[int, int], ...]
    usual: Array
    low: Array
    high: Array


def sigma_levels(sessions: Sessions, changes: Changes) -> Levels:
    """Return what sigma is usual, and between which limits sessions of so many shots lie.

    Parameters
    ----------
    sessions : Sessions
    changes : Changes
        Lasting changes of sigma: each begins a stretch with a level of its own, as a control
        chart's limits are set anew after a change that was found.

    Returns
    -------
    Levels
        Limits are those of `Baseline.next_sigma` at the level of the sessions: 19 in 20 sessions
        lie within while nothing changes. They are wider for sessions of fewer shots.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2, on setting limits.

    Examples
    --------
    >>> from groupscan.stats.trend.change import sigma_changes
    >>> from groupscan.stats.trend.season import read_season
    >>> from groupscan.stats.trend.sessions import measure_sessions
    >>> rng = np.random.default_rng(1)
    >>> session = np.repeat(np.arange(20), 30)
    >>> shots = np.where(session < 10, 10, 30)[:, None] * rng.standard_normal((600, 2))
    >>> seen = measure_sessions(read_season(shots, session))
    >>> levels = sigma_levels(seen, sigma_changes(seen))
    >>> levels.stretches, bool(levels.low[0, 0] < 10 < levels.high[0, 0] < 30 < levels.high[-1, 0])
    (((0, 9), (10, 19)), True)
    """

    def of(base: Baseline, rows: Sessions) -> list[list[tuple[float, float, float]]]:
        sizes = [rows.shots_for_sigma(i) for i in range(len(rows.label))]
        by_size = {n: base.next_sigma(n) for n in set(sizes)}
        return [[(base.sigma.value, by_size[n].low, by_size[n].high)] for n in sizes]

    return _levels(sessions, changes, of)


def centre_levels(sessions: Sessions, changes: Changes) -> Levels:
    """Return where the centre usually lies, and between which limits; see `sigma_levels`."""

    def of(base: Baseline, rows: Sessions) -> list[list[tuple[float, float, float]]]:
        usual = (base.centre_x.value, base.centre_y.value)
        variances = rows.centre_variance.tolist()
        by_variance = {v: base.next_centre(v) for v in set(variances)}
        return [
            [(at, e.low, e.high) for at, e in zip(usual, by_variance[v], strict=True)]
            for v in variances
        ]

    return _levels(sessions, changes, of)


def _levels(sessions: Sessions, changes: Changes, of: Told) -> Levels:
    place = {label: i for i, label in enumerate(sessions.label)}
    begins = [0, *(place[change.first_after] for change in changes.changes)]
    ends = [*(begin - 1 for begin in begins[1:]), len(sessions.label) - 1]
    number = np.arange(len(sessions.label))
    rows = []
    for begin, end in zip(begins, ends, strict=True):
        part = sessions.only((number >= begin) & (number <= end))
        rows += of(measure_baseline(part), part)
    usual, low, high = np.moveaxis(np.array(rows, float), -1, 0)
    return Levels(tuple(zip(begins, ends, strict=True)), usual, low, high)
