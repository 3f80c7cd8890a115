"""What the picture of a season shows, before either plotting library draws it.

Three panels over one line of time: sigma, and the centre's two coordinates; each with the
sessions and their intervals, what is usual, the limits of a usual session, and what changed.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from groupscan.report.season.gear import Flag, GearMark, flags_of, gear_marks
from groupscan.report.season.reading import Reading
from groupscan.stats.trend import (
    Changes,
    Chart,
    Levels,
    Sessions,
    Trend,
    centre_levels,
    sigma_levels,
)

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Panel", "SeasonScene", "on_one_scale", "season_scene", "session_names"]

Array = NDArray[np.float64]

_TITLES: Final = (
    "How wide: sigma on each axis", "Where: centre right +, left −", "Where: centre high +, low −",
)  # fmt: skip
_MARGIN: Final = 0.06
# An interval from two or three arrows can be many times its value: it must not flatten the rest.
_LONGEST: Final = 1.6
_HOURS: Final = 5
# A chart that hovers about its limit is in one alarm, not in many.
_QUIET: Final = 5
# What a session without a name of its own is called: its day, and its number where several
# sessions of the records are of that day.
_NUMBER: Final = re.compile(r" \(\d+\)$")


@dataclass(frozen=True)
class Panel:
    """One line of numbers over time, in the reader's unit; NaN where not known.

    Attributes
    ----------
    title : str
    value, low, high : (k,) arrays
        Each session with its interval.
    stretches : tuple of (int, int)
        First and last session of each stretch without a lasting change.
    usual, usual_low, usual_high : (k,) arrays
        The usual level of the stretch, and the limits within which 19 of 20 sessions of so many
        shots lie while nothing changes.
    alarm : (k,) array of bool
        Where a control chart goes into alarm.
    changes : tuple of (int, int, int)
        For each lasting change the first session after it, and the earliest and latest that this
        could be.
    window : (float, float)
        What is shown.
    """

    title: str
    value: Array
    low: Array
    high: Array
    stretches: tuple[tuple[int, int], ...]
    usual: Array
    usual_low: Array
    usual_high: Array
    alarm: NDArray[np.bool_]
    changes: tuple[tuple[int, int, int], ...]
    window: tuple[float, float]


@dataclass(frozen=True)
class SeasonScene:
    """The contents of one season's picture.

    Attributes
    ----------
    title : str
        Plain text; it may come from a user.
    reading : Reading
    names : tuple of str
        The sessions; they may come from a user.
    shots : tuple of int
        Shots of each.
    at : (k,) array
        Where each stands on the line of time: days since 1970, or 1, 2, 3 where none are known.
    dated : bool
        Which of the two.
    panels : tuple of Panel
        Sigma, right, high.
    marks : tuple of GearMark
    window : tuple
        First and last place shown on the line of time.
    level : float
        Of the intervals.
    """

    title: str
    reading: Reading
    names: tuple[str, ...]
    shots: tuple[int, ...]
    at: Array
    dated: bool
    panels: tuple[Panel, Panel, Panel]
    marks: tuple[GearMark, ...]
    window: tuple[float, float]
    level: float

    @property
    def flags(self) -> tuple[Flag, ...]:
        """The names over the changes of gear."""
        return flags_of(self.marks, self.window)

    def shown(self, at: Array | Sequence[float]) -> NDArray[np.generic]:
        """Return places on the line of time as plotting libraries take them: dates or numbers."""
        places = np.asarray(at, float)
        if not self.dated:
            return places
        minutes: NDArray[np.generic] = (places * 24 * 60).astype("datetime64[m]")
        return minutes


def session_names(
    sessions: Sessions, day_text: Callable[[date], str] = date.isoformat
) -> tuple[str, ...]:
    """Return what the sessions are called, with their days as the reader writes them.

    Examples
    --------
    >>> from groupscan.stats.trend import measure_sessions, read_season
    >>> seen = measure_sessions(read_season([(0, 0)], ["2026-05-03"], day=["2026-05-03"]))
    >>> session_names(seen, lambda day: f"{day:%d.%m.%y}")
    ('03.05.26',)
    """
    days = _dates(sessions)
    often = Counter(days)
    names = []
    for label, day in zip(sessions.label, days, strict=True):
        called = _NUMBER.sub("", label)
        if day is None or called not in (day.isoformat(), day_text(day)):
            names.append(label)
        else:
            names.append(day_text(day) + (label[len(called) :] if often[day] > 1 else ""))
    return tuple(names)


def _dates(sessions: Sessions) -> list[date | None]:
    known = np.isfinite(sessions.day)
    days = np.where(known, sessions.day, 0).astype("timedelta64[D]") + np.datetime64(0, "D")
    return [day if there else None for day, there in zip(days.tolist(), known, strict=True)]


def season_scene(
    trend: Trend,
    reading: Reading,
    *,
    gear: pd.DataFrame | None = None,
    title: str = "",
    day_text: Callable[[date], str] = date.isoformat,
) -> SeasonScene:
    """Lay out the picture of a season.

    Parameters
    ----------
    trend : Trend
    reading : Reading
    gear : DataFrame, optional
        Changes of gear: columns day, what and notes.
    title : str
        Plain text.
    day_text : callable
        Writes a day as the reader likes it.
    """
    s = trend.sessions
    place = {label: i for i, label in enumerate(s.label)}
    centres = [s.centre_of(i) for i in range(len(s.label))]
    sigma = _panel(
        0, (s.sigma, s.sigma_low, s.sigma_high), sigma_levels(s, trend.sigma_changes), 0,
        reading.factor, _alarms(place, trend.sigma_ewma, trend.sigma_cusum),
        _changes(place, trend.sigma_changes),
    )  # fmt: skip
    levels = centre_levels(s, trend.centre_changes)
    alarms = _alarms(place, trend.centre_ewma, trend.centre_cusum)
    right, high = (
        _panel(
            1 + axis,
            np.array([(c[axis].value, c[axis].low, c[axis].high) for c in centres]).T,
            levels, axis, reading.factor, alarms, _changes(place, trend.centre_changes),
        )
        for axis in (0, 1)
    )  # fmt: skip
    dated = bool(np.isfinite(s.day).all())
    at = _times(s) if dated else np.arange(1.0, len(s.label) + 1)
    return SeasonScene(
        title=title,
        reading=reading,
        names=session_names(s, day_text),
        shots=tuple(int(n) for n in s.n),
        at=at,
        dated=dated,
        panels=(sigma, right, high),
        marks=gear_marks(gear if dated else None, day_text),
        window=_padded(at, 6.0 if dated else 1.0),
        level=s.confidence,
    )


def on_one_scale(scenes: Sequence[SeasonScene]) -> tuple[SeasonScene, ...]:
    """Return the scenes with the same windows, so that they can be held side by side."""
    if any(scene.dated != scenes[0].dated for scene in scenes):
        windows = [scene.window for scene in scenes]
    else:
        first = min(scene.window[0] for scene in scenes)
        last = max(scene.window[1] for scene in scenes)
        windows = [(first, last)] * len(scenes)
    heights = [
        (min(p.window[0] for p in same), max(p.window[1] for p in same))
        for same in zip(*(scene.panels for scene in scenes), strict=True)
    ]
    told = []
    for scene, window in zip(scenes, windows, strict=True):
        a, b, c = (
            replace(panel, window=height)
            for panel, height in zip(scene.panels, heights, strict=True)
        )
        told.append(replace(scene, window=window, panels=(a, b, c)))
    return tuple(told)


def _panel(
    place: int, told: Sequence[Array] | Array, levels: Levels, axis: int, factor: float,
    alarm: NDArray[np.bool_], changes: tuple[tuple[int, int, int], ...],
) -> Panel:  # fmt: skip
    value, low, high = (factor * np.asarray(one, float) for one in told)
    usual, usual_low, usual_high = (
        factor * one[:, axis] for one in (levels.usual, levels.low, levels.high)
    )
    known = value[np.isfinite(value)]
    bottom, top = (float(known.min()), float(known.max())) if known.size else (0.0, 1.0)
    bottom = 0.0 if place == 0 else bottom
    room = max(top - bottom, 1e-9 * max(abs(top), 1.0)) * _LONGEST
    ends = np.concatenate([low, high, usual_low, usual_high, usual, [bottom, top]])
    ends = ends[np.isfinite(ends)].clip(bottom if place == 0 else bottom - room, top + room)
    bottom, top = min(bottom, float(ends.min())), float(ends.max())
    pad = _MARGIN * (top - bottom) or 1.0
    return Panel(
        title=_TITLES[place],
        value=value, low=low, high=high,
        stretches=levels.stretches, usual=usual, usual_low=usual_low, usual_high=usual_high,
        alarm=alarm, changes=changes,
        window=(0.0 if place == 0 else bottom - pad, top + pad),
    )  # fmt: skip


def _alarms(place: dict[str, int], *charts: Chart) -> NDArray[np.bool_]:
    """Return where a chart goes into alarm: the sessions after that follow from it."""
    begins = np.zeros(len(place), bool)
    for chart in charts:
        beyond = chart.reach > chart.limit
        for i in np.flatnonzero(beyond):
            if not beyond[max(0, i - _QUIET) : i].any():
                begins[place[chart.label[i]]] = True
    return begins


def _changes(place: dict[str, int], changes: Changes) -> tuple[tuple[int, int, int], ...]:
    return tuple(
        (place[change.first_after], place[change.earliest], place[change.latest])
        for change in changes.changes
    )


def _times(sessions: Sessions) -> Array:
    days = np.floor(sessions.day)
    _, first, index = np.unique(days, return_index=True, return_inverse=True)
    within = np.arange(len(days)) - first[index]  # sessions of one day stand beside each other
    at: Array = days + within * _HOURS / 24
    return at


def _padded(at: Array, least: float) -> tuple[float, float]:
    pad = 0.04 * max(float(at[-1] - at[0]), least)
    return float(at[0]) - pad, float(at[-1]) + pad
