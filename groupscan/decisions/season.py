"""A season of sessions, and the last one against those before it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from groupscan.decisions.pooling import distances_of, need, pooling_notes, xy_of

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    from groupscan.stats.trend import ColdArrow, Progress, Today, Trend

__all__ = ["Seasoned", "season_of"]

_FEWEST_EARLIER: Final = 3


@dataclass(frozen=True)
class Seasoned:
    """A season, and its last session against those before it.

    Attributes
    ----------
    trend : Trend
    today : Today or None
        None where fewer than three sessions came before.
    order_known : bool
        Whether it is known of any session which of these shots was its first.
    distances_m : tuple of float
        The distances shot, m; empty where none were given.
    progress : Progress
        What the season shows in a word.
    notes : tuple of str
    """

    trend: Trend
    today: Today | None
    order_known: bool
    distances_m: tuple[float, ...]
    progress: Progress
    notes: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values; the cold arrow is None where no order is known."""
        season = self.trend.to_dict()
        if not self.order_known:
            season["cold_arrow"] = None
        today = self.today.to_dict() if self.today else None
        return {"season": season, "last_session": today, "notes": list(self.notes)}


def season_of(table: pd.DataFrame) -> Seasoned:
    """Measure a season; see `groupscan.stats.trend.measure_trend`.

    Raises
    ------
    TableError, StatisticsError
        If shots have no session, some but not all have a date or distance, or they cannot be
        pooled.
    """
    import pandas as pd

    from groupscan.stats.trend import measure_progress, measure_trend

    notes = pooling_notes(table)
    need(table["session"] != "", "session or date")
    # By their place, in which they were shot: as words, end 10 would come before end 2.
    ends = pd.factorize(table["end"])[0] if (table["end"] != "").all() else None
    if ends is None and (table["end"] != "").any():
        notes += ("Some shots have no end: no ends are used.",)
    distance = distances_of(table)
    days = None
    if table["day"].notna().any():
        need(table["day"].notna(), "date")
        days = table["day"].to_numpy("datetime64[s]")
    else:
        notes += ("No dates were given: sessions are taken in the order of their labels.",)
    trend = measure_trend(
        xy_of(table),
        table["session"].tolist(),
        end=ends,
        distance_m=distance,
        day=days,
    )
    ordered = table["first"].groupby(table["session"]).transform("any").to_numpy(bool)
    if ordered.any() and not ordered.all():
        trend = replace(trend, cold_arrow=_cold_arrow(table[ordered]))
        notes += (
            f"The first arrow is that of {table['session'][ordered].nunique()} of "
            f"{table['session'].nunique()} sessions: of the others it is not known, or not among "
            "these shots.",
        )
    return Seasoned(
        trend,
        _last_session(table, trend, distance, days),
        bool(ordered.any()),
        () if distance is None else tuple(sorted({float(d) for d in distance})),
        measure_progress(trend.sessions),
        notes,
    )


def _cold_arrow(table: pd.DataFrame) -> ColdArrow:
    from groupscan.stats.trend import measure_cold_arrow, read_season

    return measure_cold_arrow(
        read_season(xy_of(table), table["session"].tolist(), distance_m=distances_of(table))
    )


def _last_session(
    table: pd.DataFrame,
    trend: Trend,
    distance: NDArray[np.float64] | None,
    days: NDArray[np.datetime64] | None,
) -> Today | None:
    """Hold the last session against the usual of those before it."""
    from groupscan.stats.trend import measure_baseline, measure_sessions, read_season

    sessions = trend.sessions
    if len(sessions.label) <= _FEWEST_EARLIER:
        return None
    before = (table["session"] != sessions.label[-1]).to_numpy()
    earlier = read_season(
        xy_of(table)[before],
        table["session"][before].tolist(),
        distance_m=None if distance is None else distance[before],
        day=None if days is None else days[before],
    )
    usual = measure_baseline(measure_sessions(earlier))
    return usual.today(float(sessions.sigma[-1]), sessions.shots_for_sigma(-1))
