"""A season as the screens Season and Roster show it: the sentence, the picture, the details."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import streamlit as st

from groupscan.csvfile import csv_bytes
from groupscan.decisions.gear_changes import gear_changes
from groupscan.decisions.season import Seasoned, season_of
from groupscan.records.connect import Store
from groupscan.records.store import list_setups
from groupscan.report.axes import CHART_CONFIG
from groupscan.report.season import (
    Finding,
    Reading,
    SeasonScene,
    draw_season,
    findings,
    plot_season,
    season_key,
    season_scene,
    season_sentence,
    session_rows,
)
from groupscan.screens.choosing import RecordsKey, ask_one, on_screen, records_key, rows_key
from groupscan.screens.chrome import on_phone, plain, reader_theme, unit_choice
from groupscan.screens.downloads import csv_download, offer, picture_downloads
from groupscan.screens.numbers import draw_table
from groupscan.screens.preferences import distance_text, preferences
from groupscan.screens.season_within import within_session

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "Shown",
    "ask_reading",
    "details",
    "files",
    "gear_list",
    "measured",
    "picture",
    "sentence",
    "session_table",
    "shown",
]

_ROWS, _CHANGES = 8, 6


@dataclass(frozen=True)
class Shown:
    """One season, measured and laid out in the reader's unit."""

    seasoned: Seasoned
    scene: SeasonScene
    found: Sequence[Finding]

    @property
    def sentence(self) -> str:
        """What changed and what to do; it may hold a user's text."""
        return season_sentence(self.found, self.seasoned.trend)


def measured(store: Store, table: pd.DataFrame) -> tuple[Seasoned, pd.DataFrame]:
    """Measure a season and list its changes of gear, anew only after a change of the records.

    Parameters
    ----------
    store : Store
        The records.
    table : DataFrame
        Some rows of `groupscan.screens.choosing.recorded_shots`.

    Raises
    ------
    TableError, StatisticsError
        If the shots cannot be one season.
    """
    return _measured(store, table, records_key(store), rows_key(table))


@st.cache_resource(max_entries=16, show_spinner="Measuring the season")
def _measured(
    _store: Store, _table: pd.DataFrame, records: RecordsKey, rows: bytes
) -> tuple[Seasoned, pd.DataFrame]:
    return season_of(_table), gear_changes(_table, list_setups(_store))


def ask_reading(distances: Sequence[float]) -> Reading:
    """Ask for the unit to read in, and where lengths need one, for one of the distances shot."""
    a, b = st.columns(2)
    with a:
        unit = unit_choice(angles=bool(distances))
    if not distances:
        return Reading(unit, None)
    if unit in ("mm", "inch") and len(distances) > 1:
        with b:
            at = ask_one(
                "season_at",
                "Lengths as they would be at",
                distances,
                show=distance_text,
                help="Several distances are compared as angles, and shown as at one of them.",
            )
        return Reading(unit, at, distance_text(at))
    return Reading(unit, distances[0], distance_text(distances[0]))


def shown(seasoned: Seasoned, gear: pd.DataFrame, reading: Reading, *, title: str) -> Shown:
    """Lay out a season that was measured."""
    scene = season_scene(
        seasoned.trend,
        reading,
        gear=gear,
        title=title,
        day_text=preferences().day_text,
    )
    found = findings(
        seasoned.trend,
        seasoned.progress,
        scene.names,
        reading,
        today=seasoned.today,
        gear=gear,
        order_known=seasoned.order_known,
    )
    return Shown(seasoned, scene, found)


def sentence(one: Shown, *, todo: bool = True) -> None:
    """Say what changed, what to do unless a list below does, and what else could look so."""
    said = season_sentence(one.found, one.seasoned.trend, todo=todo)
    st.markdown(f"**{plain(said)}**")
    if len(one.seasoned.distances_m) > 1 and any(
        finding.kind in ("sigma", "slope") for finding in one.found
    ):
        st.caption(
            "Several distances stand together here, and arrows often scatter more in angle farther "
            "out: choose one distance to rule out that it made the change."
        )


def picture(scene: SeasonScene, *, key: str) -> None:
    """Draw the picture of a season with its key."""
    st.plotly_chart(
        plot_season(scene, theme=reader_theme(), height_px=600 if on_phone() else 700),
        theme=None,
        key=key,
        config=CHART_CONFIG,
    )
    st.html(season_key(scene, theme=reader_theme()))


def gear_list(scene: SeasonScene) -> None:
    """List the changes of gear by their letters in the picture, the newest first."""
    lines = []
    for mark in reversed(scene.marks):
        notes = f" {plain(mark.notes)}" if mark.notes else ""
        lines.append(f"**{mark.letter}** {plain(mark.day)}: {plain(mark.what)}.{notes}")
    # One element each for 70 changes would take longer than the rest of the page.
    if lines:
        st.markdown("  \n".join(lines[:_CHANGES]))
    if lines[_CHANGES:]:
        with st.expander("Earlier changes of gear"):
            st.markdown("  \n".join(lines[_CHANGES:]))


def session_table(one: Shown, *, last: int = _ROWS) -> None:
    """Draw the table of the last sessions, the rest of them folded."""
    scene = one.scene
    told = session_rows(one.seasoned.trend, scene.names, scene.reading)
    rows = [tuple(_unbroken(plain(cell)) for cell in row) for row in told]
    heads: tuple[str, ...] = ("Session", "Shots", "Sigma", "Right +", "High +")
    if on_phone():  # five columns leave none of them room
        heads, rows = heads[:1] + heads[2:], [row[:1] + row[2:] for row in rows]
    where = plain(scene.reading.where)
    st.markdown(f"**Sessions, {where}; in brackets the {scene.level:.0%} interval**")
    draw_table(heads, rows[:last])
    if len(rows) > last:
        with st.expander("Earlier sessions"):
            draw_table(heads, rows[last:])


def _unbroken(cell: str) -> str:
    r"""Let a narrow cell break before its interval, not within that or within a date.

    Examples
    --------
    >>> _unbroken(plain("12 (9 to 15)")).split(" ")
    ['12', '\\(9\xa0to\xa015\\)']
    >>> _unbroken(plain("2026-05-03"))
    '2026\u201105\u201103'
    """
    return re.sub(r"(?<=\d)\\-(?=\d)", "\u2011", cell.replace(" to ", "\u00a0to\u00a0"))


def details(one: Shown, *, key: str) -> None:
    """Draw what folds away: within a session, how sure all this is, and notes."""
    within_session(one.seasoned, one.scene.reading, title=one.scene.title, key=key)
    trend = one.seasoned.trend
    with st.expander("How sure this is"):
        chance = max(c.false_alarm_chance for c in (trend.sigma_ewma, trend.centre_ewma))
        st.markdown(
            "Sigma is how far shots scatter on each axis: two in three lie within one sigma of "
            "the centre in each direction. A lasting change, a slope over the season, a first "
            "arrow apart or a group that opens up is named wrongly in at most one season of "
            "twenty, each. The limits are those of a usual session of so many shots, set anew "
            "after each lasting change. A control chart adds up small differences; each gives a "
            f"false alarm in one session of {trend.sigma_ewma.arl:.0f}, in a season as long as "
            f"this with a chance of up to {chance:.0%}."
        )
        for note in _notes(one.seasoned):
            st.caption(plain(on_screen(note)))


def _notes(seasoned: Seasoned) -> list[str]:
    trend = seasoned.trend
    parts = (trend.baseline, trend.slope, trend.fatigue, trend.cold_arrow)
    notes = [*seasoned.notes, *(note for part in parts for note in part.notes)]
    return list(dict.fromkeys(notes))


def files(one: Shown, name: str) -> None:
    """Offer the picture and the sessions' table as files."""
    picture = picture_downloads(name, lambda: draw_season(one.scene, caption=one.sentence))
    sessions = one.seasoned.trend.sessions
    table = csv_download(
        "Sessions as CSV", name, lambda: csv_bytes(sessions.to_frame().reset_index())
    )
    offer(name, [*picture, table])
