"""A whole season in one call."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.stats.trend.baseline import Baseline, measure_baseline
from groupscan.stats.trend.change import Changes, centre_changes, sigma_changes
from groupscan.stats.trend.charts import Chart, centre_chart, sigma_chart
from groupscan.stats.trend.cold import ColdArrow, measure_cold_arrow
from groupscan.stats.trend.fatigue import Fatigue, measure_fatigue
from groupscan.stats.trend.season import read_season
from groupscan.stats.trend.sessions import Sessions, measure_sessions
from groupscan.stats.trend.slope import Slope, measure_slope

__all__ = ["Trend", "measure_trend"]

Labels = Sequence[object] | NDArray[np.generic]


@dataclass(frozen=True)
class Trend:
    """Everything that is told of a season; each part has its own table and notes."""

    sessions: Sessions
    baseline: Baseline
    slope: Slope
    sigma_ewma: Chart
    sigma_cusum: Chart
    centre_ewma: Chart
    centre_cusum: Chart
    sigma_changes: Changes
    centre_changes: Changes
    cold_arrow: ColdArrow
    fatigue: Fatigue

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values: None for what is not known."""
        return {name: getattr(self, name).to_dict() for name in self.__dataclass_fields__}


def measure_trend(
    xy_mm: ArrayLike,
    session: Labels,
    *,
    end: Labels | None = None,
    distance_m: ArrayLike | None = None,
    day: ArrayLike | None = None,
    confidence: float = 0.95,
) -> Trend:
    """Measure a whole season of shots.

    Parameters
    ----------
    xy_mm, session, end, distance_m, day
        As for `read_season`.
    confidence : float, default 0.95
        Level of the intervals.

    Returns
    -------
    Trend

    Raises
    ------
    StatisticsError
        If the shots, labels, distances, days or the level cannot be read.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> session = np.repeat(np.arange(20), 12)
    >>> trend = measure_trend(rng.normal(0, 10, (240, 2)), session, day=7 * session)
    >>> trend.sigma_changes.changes, trend.sigma_ewma.alarms
    ((), ())
    """
    season = read_season(xy_mm, session, end=end, distance_m=distance_m, day=day)
    sessions = measure_sessions(season, confidence=confidence)
    return Trend(
        sessions=sessions,
        baseline=measure_baseline(sessions),
        slope=measure_slope(sessions),
        sigma_ewma=sigma_chart(sessions),
        sigma_cusum=sigma_chart(sessions, kind="CUSUM"),
        centre_ewma=centre_chart(sessions),
        centre_cusum=centre_chart(sessions, kind="CUSUM"),
        sigma_changes=sigma_changes(sessions),
        centre_changes=centre_changes(sessions),
        cold_arrow=measure_cold_arrow(season, confidence=confidence),
        fatigue=measure_fatigue(season, confidence=confidence),
    )
