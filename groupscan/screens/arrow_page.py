"""One arrow of the quiver: its state in the records, with undo, and its history over builds."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any, Final

import streamlit as st

from groupscan.decisions.arrow_history import Chapter, arrow_history
from groupscan.decisions.shafts import Shafts
from groupscan.records.connect import Store
from groupscan.records.entries import Arrow
from groupscan.records.store import get_arrow, save_arrow
from groupscan.report.quiver import (
    QuiverScene,
    history_scene,
    plot_quiver,
    quiver_key,
    told_of,
)
from groupscan.report.words import Unit
from groupscan.screens.choosing import RecordsKey, ask_one, records_key
from groupscan.screens.chrome import plain, reader_theme, square_chart, told
from groupscan.screens.numbers import draw_table
from groupscan.screens.one_of import one_of
from groupscan.screens.preferences import axis_unit, date_input_format, day_text, distance_text

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["draw_arrow"]

_STATES: Final = {"in use": "In use", "pulled": "Pulled", "broken": "Broken"}
_MOST_CHAPTERS: Final = 24


def draw_arrow(
    store: Store,
    table: pd.DataFrame,
    scene: QuiverScene,
    shafts: Shafts,
    unit: Unit,
    *,
    worth_mm: float | None,
    distance_m: float | None,
) -> None:
    """Draw what belongs to one arrow: its state to be set, and its history.

    Parameters
    ----------
    store : Store
    table : DataFrame
        All shots of the records.
    scene : QuiverScene
        The picture; its first arrow is the one to begin with.
    shafts : Shafts
    unit : {"mm", "inch", "moa", "mrad"}
    worth_mm, distance_m : float, optional
        As asked for the picture.
    """
    names = [mark.name for mark in scene.marks if mark.name in shafts.ids]
    if not names:
        return
    st.header("One arrow", anchor=False)
    name = ask_one("arrow", "Arrow", names)
    left, right = st.columns(2, gap="medium")
    with left:
        _state(store, name, shafts)
    with right:
        _was(shafts.rows.get(shafts.ids[name], []))
    if st.toggle("History: where it landed, build by build", key="quiver_history"):
        _history(store, table, name, shafts.ids[name], unit, worth_mm, distance_m)


def _state(store: Store, name: str, shafts: Shafts) -> None:
    row = shafts.now(name)
    if row is None:
        st.info(plain(f"Arrow {name} is not among the arrows in the records any more."))
        return
    with told():
        kept = get_arrow(store, int(row["id"]))
        with st.form(f"arrow_{kept.id}_{kept.revision}", border=False):
            state = one_of("State", list(_STATES), start=kept.state, show=lambda one: _STATES[one])
            since = st.date_input(
                "Since", value=kept.state_since or date.today(), format=date_input_format()
            )
            why = st.text_input("Why", value=kept.state_why, placeholder="lands right of the rest")
            if st.form_submit_button("Save the state", type="primary"):
                _save(store, name, kept, state, since, why)
    _undo(store)


def _save(store: Store, name: str, kept: Arrow, state: str, since: date, why: str) -> None:
    now = replace(kept, state=state, state_since=since, state_why=why)
    with told():
        save_arrow(store, now)
        saved = get_arrow(store, int(kept.id or 0))
        st.session_state["arrow_undo"] = (name, kept, saved)
        st.rerun()


def _undo(store: Store) -> None:
    if "arrow_undo" not in st.session_state:
        return
    name, was, saved = st.session_state["arrow_undo"]
    words = f"Arrow {name} is {saved.state}"
    words += f" since {day_text(saved.state_since)}." if saved.state_since else "."
    if saved.state == "broken":
        words += " Never shoot a cracked shaft: break it and bin it, so that nobody does."
    st.success(plain(words), icon=":material/check:")
    if st.button("Undo", icon=":material/undo:", key="arrow_undo_button"):
        with told():
            # With the revision as saved: what somebody changed since then is not overwritten.
            save_arrow(store, replace(was, revision=saved.revision))
            del st.session_state["arrow_undo"]
            st.rerun()


def _was(rows: list[dict[str, Any]]) -> None:
    """Say what the arrow is and was in the records, the newest first."""
    lines = []
    for row in reversed(rows):
        line = f"**{plain(row['build'] or 'no build said')}**: {row['state']}"
        if isinstance(row["state_since"], date):
            line += f" since {day_text(row['state_since'])}"
        if row["state_why"]:
            line += f", {plain(row['state_why'])}"
        lines.append(f"- {line}")
    if lines:
        st.markdown("\n".join(("In the records, the newest first:", "", *lines)))


@st.cache_resource(max_entries=16, show_spinner="Going through its shots")
def _chapters(
    _table: pd.DataFrame, records: RecordsKey, shaft: int, worth_mm: float | None
) -> tuple[Chapter, ...]:
    return arrow_history(_table, shaft, worth_mm=worth_mm)


def _history(
    store: Store,
    table: pd.DataFrame,
    name: str,
    shaft: int,
    unit: Unit,
    worth_mm: float | None,
    distance_m: float | None,
) -> None:
    chapters = _chapters(table, records_key(store), shaft, worth_mm)
    told_ones = [(one, one.arrow) for one in chapters if one.arrow is not None][-_MOST_CHAPTERS:]
    if not told_ones:
        st.info("No end has this arrow beside others yet: nothing to hold it against.")
        return
    scene = history_scene([(arrow, one.distance_m) for one, arrow in told_ones], at_m=distance_m)
    left, right = st.columns(2, gap="medium")
    with left:
        picture = plot_quiver(scene, theme=reader_theme(), unit=axis_unit(unit))
        square_chart(picture, key="history_picture")
        st.html(quiver_key(scene, theme=reader_theme()))
        if distance_m is not None:
            st.caption(
                "The numbers are those of the table's lines, the oldest first; drawn as at "
                f"{distance_text(distance_m)}, whatever they were shot from."
            )
    with right:
        rows = []
        several = len({one.rig for one, _ in told_ones}) > 1
        for number, (one, arrow) in enumerate(told_ones, 1):
            away = None if math.isnan(one.distance_m) else one.distance_m
            read = unit if away or unit == "inch" else "mm"
            sideways, height, known = told_of(arrow, read, distance_m=away)
            words = f"{_called(one, with_rig=several)}: {known}"
            rows.append((str(number), *map(plain, (words, sideways, height))))
        draw_table(("No.", "Shot as", "Sideways", "Height"), rows)
        alone = sum(one.shots for one in chapters if one.arrow is None)
        if alone:
            st.caption(
                f"{alone} of its shots were in ends without another arrow of the same head, and "
                "cannot be held against any."
            )


def _called(one: Chapter, *, with_rig: bool) -> str:
    """Say what a chapter is about."""
    days = day_text(one.since)
    if one.until != one.since:
        days += f" to {day_text(one.until)}"
    away = "" if math.isnan(one.distance_m) else distance_text(one.distance_m)
    rig = one.rig if with_rig else ""
    return ", ".join(part for part in (one.build, rig, one.head, away, days) if part)
