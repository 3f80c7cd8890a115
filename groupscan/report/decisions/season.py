"""A season, as a person reads it."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from groupscan.errors import UnitError
from groupscan.report.decisions.layout import (
    Part,
    line,
    notes_part,
    table,
    titled,
)
from groupscan.report.season.reading import Reading
from groupscan.report.words import Unit
from groupscan.stats.trend import Changes, Chart, Today, Trend
from groupscan.telling import chance
from groupscan.units import decimals_supported, format_estimate, m_to_yd

__all__ = ["season_parts"]

#: Sessions in the table; those before are in the JSON.
SHOWN = 12


def season_parts(
    trend: Trend,
    *,
    today: Today | None,
    order_known: bool,
    distances_m: tuple[float, ...],
    unit: Unit | None = None,
    notes: tuple[str, ...] = (),
) -> list[Part]:
    """Lay a season out: the usual, the last session, changes, the table, within a session.

    Parameters
    ----------
    trend : Trend
    today : Today or None
        The last session against those before it.
    order_known : bool
        Whether the cold arrow can be told.
    distances_m : tuple of float
        Distances shot; with one alone angles are shown as mm there.
    unit : {"mm", "inch", "moa", "mrad"}, optional
        What to show instead; lengths are as at the first distance.

    Raises
    ------
    UnitError
        If it is an angle, and the season has no distance.
    notes : tuple of str
        What was pooled or left out.
    """
    shown = _reading(trend, distances_m, unit)
    parts = [*_usual(trend, today, shown), *_sessions(trend, shown), *_changed(trend, shown)]
    parts += _within(trend, shown, order_known)
    of_parts = (trend.baseline, trend.slope, trend.fatigue)
    all_notes = [*notes, *(note for part in of_parts for note in part.notes)]
    for chart in (trend.sigma_ewma, trend.centre_ewma):
        all_notes += [f"Chart of {chart.about}: {note}" for note in chart.notes]
    return [*parts, *notes_part(all_notes)]


def _reading(trend: Trend, distances_m: tuple[float, ...], unit: Unit | None) -> Reading:
    if trend.sessions.unit == "mm":
        if unit in ("moa", "mrad"):
            raise UnitError(f"{unit} is an angle, and this season has no distance: use mm or inch")
        return Reading(unit or "mm", None)
    away = distances_m[0]
    unit = unit or ("mm" if len(distances_m) == 1 else "moa")
    if unit in ("moa", "mrad"):
        return Reading(unit, away)
    return Reading(unit, away, f"{away:.4g} m ({m_to_yd(away):.4g} yd)")


def _where(shown: Reading) -> str:
    """Say where these numbers hold."""
    if shown.unit in ("moa", "mrad"):
        return ", all distances as angles"
    return f" at {shown.at}" if shown.at else ""


def _usual(trend: Trend, today: Today | None, shown: Reading) -> Iterator[Part]:
    base, sessions = trend.baseline, trend.sessions
    shots = int(sessions.n.sum())
    held = f"{len(sessions.label)} sessions" if len(sessions.label) > 1 else "One session"
    yield titled(f"{held}, {shots} shots{_where(shown)}")
    yield line(f"Usual sigma, per axis: {shown.text(base.sigma)}.")
    wander = base.wander.scaled(100)
    if math.isfinite(wander.low):
        said = format_estimate(wander.value, wander.low, wander.high, "%")
        yield line(f"From session to session it varies by {said}, beyond what chance explains.")
    yield line(f"Usual centre: {shown.sides(base.centre_x, base.centre_y)}.")
    last = sessions.label[-1]
    if today is None or today.verdict == "not enough sessions":
        yield line(f"Whether {last} was usual needs three sessions before it.")
        return
    usual = today.usual.scaled(shown.factor)
    decimals = max(0, decimals_supported(usual.value, usual.low, usual.high))
    ends = f"{usual.low:.{decimals}f} to {usual.high:.{decimals}f} {shown.short}"
    yield line(
        f"The last session, {last}: sigma {shown.text(sessions.sigma_of(-1))} is "
        f"{'as usual' if today.verdict == 'usual' else today.verdict + ' than usual'}; "
        f"the sessions before it lead one to expect {ends} ({chance(today.p)})."
    )


def _sessions(trend: Trend, shown: Reading) -> Iterator[Part]:
    s = trend.sessions
    first = max(0, len(s.label) - SHOWN)
    alarms = {label: [] for label in s.label}  # type: dict[str, list[str]]
    for chart in (trend.sigma_ewma, trend.sigma_cusum, trend.centre_ewma, trend.centre_cusum):
        for label in chart.alarms:
            if chart.about not in alarms[label]:
                alarms[label].append(chart.about)
    rows = [
        (
            " ".join((s.label[i], *(about[0].upper() for about in alarms[s.label[i]]))),
            str(int(s.n[i])),
            shown.bare(s.sigma_of(i)),
            # Two of these and a sigma have to fit beside a date in 80 columns.
            *(shown.bare(at).replace(" to ", ", ") for at in s.centre_of(i)),
        )
        for i in range(first, len(s.label))
    ]
    before = f"; {first} earlier ones left out here" if first else ""
    yield table(
        f"Sessions, {shown.short}{_where(shown)}; in brackets the 95% interval{before}",
        ("session", "shots", "sigma", "right +", "high +"),
        rows,
    )
    if any(alarms.values()):
        yield line(_alarm_words(trend), "dim")


def _alarm_words(trend: Trend) -> str:
    charts: tuple[Chart, ...] = (
        trend.sigma_ewma,
        trend.sigma_cusum,
        trend.centre_ewma,
        trend.centre_cusum,
    )
    chance = max(chart.false_alarm_chance for chart in charts)
    return (
        "S, C: alarm, sigma or centre has moved off its usual (four charts, EWMA and CUSUM of "
        f"each; each gives a false alarm in one session of {charts[0].arl:.0f}, in a season as "
        f"long as this with a chance of up to {chance:.0%}). Heed the first; those after it follow."
    )


def _changed(trend: Trend, shown: Reading) -> Iterator[Part]:
    yield titled("What changed")
    for changes in (trend.sigma_changes, trend.centre_changes):
        yield from _steps(changes, shown)
    slope = trend.slope
    if math.isnan(slope.percent.low):
        yield line("A steady change over the season cannot be told.")
        return
    percent = format_estimate(slope.percent.value, slope.percent.low, slope.percent.high, "%")
    clear = slope.percent.low > 0 or slope.percent.high < 0
    words = "getting wider" if slope.percent.value > 0 else "getting tighter"
    verdict = words if clear else "no steady change shows"
    yield line(
        f"Sigma over the season: {verdict}; {percent} a month ({chance(slope.log_sigma_p)})."
    )
    yield line(f"Drift of the centre a month: {shown.sides(slope.centre_x, slope.centre_y)}.")


def _steps(changes: Changes, shown: Reading) -> Iterator[Part]:
    about = "Sigma" if changes.about == "sigma" else "The centre"
    if math.isnan(changes.p):
        yield line(f"{about}: too few sessions to look for a lasting change.")
        return
    if not changes.changes:
        yield line(f"{about}: no lasting change shows ({chance(changes.p)}).")
    for change in changes.changes:
        place = f"from {change.first_after} on"
        if change.earliest != change.latest:
            place += f" (first session after it: {change.earliest} to {change.latest})"
        if change.ratio is not None:
            ratio = format_estimate(change.ratio.value, change.ratio.low, change.ratio.high, "")
            what = f"{ratio} times what it was"
        else:
            assert change.shift_x is not None
            assert change.shift_y is not None
            what = f"moved {shown.sides(change.shift_x, change.shift_y)}"
        yield line(f"{about} changed {place}: {what} ({chance(change.p)}).")


def _within(trend: Trend, shown: Reading, order_known: bool) -> Iterator[Part]:
    yield titled("Within a session")
    cold = trend.cold_arrow
    if not order_known:
        yield line("First arrow: a photo does not tell which arrow was shot first.")
    elif math.isnan(cold.x.low):
        yield line("First arrow: too few sessions to tell.")
    else:
        verdict = (
            "lands apart from the rest" if cold.offset_p < 0.05 else "cannot be told from the rest"
        )
        ratio = format_estimate(
            cold.scatter_ratio.value, cold.scatter_ratio.low, cold.scatter_ratio.high, ""
        )
        yield line(
            f"First arrow of {cold.sessions} sessions {verdict}: {shown.sides(cold.x, cold.y)} "
            f"({chance(cold.offset_p)}); it scatters {ratio} times as widely."
        )
        for note in cold.notes:
            yield line(f"- {note}")
    tired = trend.fatigue
    if math.isnan(tired.percent.low):
        yield line("From end to end: too few ends to tell a change.")
        return
    percent = format_estimate(tired.percent.value, tired.percent.low, tired.percent.high, "%")
    clear = tired.percent.low > 0 or tired.percent.high < 0
    words = "opens up" if tired.percent.value > 0 else "tightens"
    verdict = f"the group {words}" if clear else "no steady change of the group shows"
    yield line(f"From end to end {verdict}: sigma {percent} an end ({chance(tired.log_sigma_p)}).")
    if np.isfinite(tired.x.low):
        yield line(f"The centre moves {shown.sides(tired.x, tired.y)} an end.")
