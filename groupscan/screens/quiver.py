"""Quiver: arrow by arrow, which fly with the others, which to turn, which to pull."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import streamlit as st

from groupscan.csvfile import csv_bytes
from groupscan.decisions.questions import arrows_of
from groupscan.decisions.shafts import shafts_of
from groupscan.errors import GroupscanError, UnitError
from groupscan.report.quiver import (
    QuiverScene,
    arrow_rows,
    draw_quiver,
    plot_quiver,
    quiver_key,
    quiver_scene,
    quiver_sentence,
    todo_lines,
)
from groupscan.report.words import Unit
from groupscan.screens.arrow_page import draw_arrow
from groupscan.screens.choosing import (
    Chosen,
    RecordsKey,
    choose_table,
    on_screen,
    recorded_shots,
    records_key,
    rows_key,
)
from groupscan.screens.chrome import (
    CAUTIONS,
    on_phone,
    page_style,
    plain,
    reader_theme,
    records,
    square_chart,
    unit_choice,
)
from groupscan.screens.downloads import csv_download, offer, picture_downloads
from groupscan.screens.links import link_to_desk
from groupscan.screens.numbers import draw_table
from groupscan.screens.preferences import (
    axis_unit,
    length_text,
    preferences,
    recall,
    remember_length,
    round_length,
)
from groupscan.screens.report_button import quiver_report
from groupscan.stats.arrows import Quiver
from groupscan.units import parse_length

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

__all__ = ["draw"]

_EMPTY = """
**No arrow has a number yet.**

This screen shows where each arrow of your quiver lands from the others, and which to turn or pull.
It needs shots that say which arrow they were: write a number on every shaft, shoot the same arrows
in three ends or more, and on the Photo desk give each hole its arrow with the Label button.
"""
_WORTH_MM = 30.0  # an example of what to type


def draw() -> None:
    """Draw the Quiver screen."""
    page_style()
    st.title("Quiver", anchor=False)
    store = records()
    table = recorded_shots(store)
    numbered = None if table is None else table[table["arrow"] != ""]
    if table is None or numbered is None or numbered.empty:
        st.markdown(_EMPTY)
        if table is not None:
            st.markdown(f"The records hold {len(table)} shots; none of them says its arrow.")
        link_to_desk()
        return
    # On a phone the picture comes before what can be chosen.
    with st.expander("Which shots", expanded=not on_phone(), icon=":material/filter_alt:"):
        chosen = _chosen(numbered)
        worth_mm = _worth()
    if chosen is None:
        return
    st.caption(plain(chosen.words))
    try:
        quiver, notes = _measured(
            chosen.table, records_key(store), rows_key(chosen.table), worth_mm
        )
    except GroupscanError as err:
        st.info(plain(on_screen(str(err))))
        return
    shafts = shafts_of(store, chosen.table)
    scene = quiver_scene(quiver, states=shafts.states(), title=chosen.words)
    unit = unit_choice(angles=chosen.distance_m is not None)
    _show(scene, quiver, notes, unit, chosen)
    quiver_report(store, quiver, chosen, notes, unit=unit)
    _downloads(scene, quiver, unit, chosen)
    draw_arrow(store, table, scene, shafts, unit, worth_mm=worth_mm, distance_m=chosen.distance_m)
    st.caption(CAUTIONS["range"])


def _chosen(numbered: pd.DataFrame) -> Chosen | None:
    """Ask which shots; of several builds those that are shot most, to begin with."""
    first = choose_table(numbered, ("shooter", "rig"))
    if first is None:
        return None
    part = numbered.loc[first.table.index]
    builds = [name for name in part["build"].value_counts().index if name]
    if len(builds) > 1:
        kept = [name for name in st.session_state.get("quiver_builds", []) if name in builds]
        picked = st.pills(
            "Arrow builds",
            builds,
            selection_mode="multi",
            default=kept or builds[:1],
            format_func=plain,  # labels are read as Markdown
            key=f"ask_builds_{hash(tuple(builds))}",
            help="Arrows of the builds chosen are held against one another.",
        )
        st.session_state["quiver_builds"] = picked
        if not picked:
            st.info("Choose at least one build.")
            return None
        part = part[part["build"].isin(picked)]
        builds = picked
    chosen = choose_table(part, ("shooter", "rig", "distance", "head", "period"))
    if chosen is None or not builds:
        return chosen
    return replace(chosen, words=" · ".join((chosen.words, *builds)))


def _worth() -> float | None:
    """Ask for the offset that matters; None where the arrows' own scatter is to say it."""
    unit, such = preferences().length, length_text(round_length(_WORTH_MM))
    text = st.text_input(
        "Offset that matters to you",
        value=recall("quiver_worth", ""),
        placeholder=f"such as {such}; empty: one sigma of these arrows",
        key=f"ask_worth_{unit}",
        help="An arrow that lands closer to the others than this counts as together with them.",
    )
    try:
        worth_mm = parse_length(text, default_unit=unit) if text.strip() else None
    except UnitError as err:
        st.warning(plain(str(err)))
        return None
    remember_length("quiver_worth", text)
    return worth_mm


@st.cache_resource(max_entries=8, show_spinner=False)
def _measured(
    _table: pd.DataFrame, records: RecordsKey, rows: bytes, worth_mm: float | None
) -> tuple[Quiver, tuple[str, ...]]:
    return arrows_of(_table, worth_mm=worth_mm)


def _show(
    scene: QuiverScene, quiver: Quiver, pooled: tuple[str, ...], unit: Unit, chosen: Chosen
) -> None:
    away = chosen.distance_m
    st.markdown(f"**{plain(quiver_sentence(scene, quiver, unit, distance_m=away))}**")
    left, right = st.columns(2, gap="medium")
    with left:
        picture = plot_quiver(scene, theme=reader_theme(), unit=axis_unit(unit))
        square_chart(picture, key="quiver_picture")
        st.html(quiver_key(scene, theme=reader_theme()))
    with right:
        for line in todo_lines(quiver, scene, unit, distance_m=away):
            st.markdown(plain(line))
        heads = ("Arrow", "Sideways", "Height", "Known")
        rows = arrow_rows(scene, quiver, unit, distance_m=away)
        draw_table(heads, [tuple(map(plain, row)) for row in rows])
        ends = f"{quiver.ends} ends" if quiver.ends > 1 else "one end"
        st.caption(
            f"{quiver.n} shots in {ends}. Where each lands from the arrows that fly together, with "
            f"its {scene.confidence:.0%} interval; flagged arrows first, then the farthest."
        )
        for note in quiver.notes:
            st.caption(plain(on_screen(note)))
        if pooled:
            with st.expander("What was pooled"):
                for note in pooled:
                    st.markdown(plain(on_screen(note)))


def _downloads(scene: QuiverScene, quiver: Quiver, unit: Unit, chosen: Chosen) -> None:
    axes = axis_unit(unit)
    caption = quiver_sentence(scene, quiver, unit, distance_m=chosen.distance_m)

    def picture() -> Figure:
        return draw_quiver(scene, unit=axes, caption=caption)

    def numbers() -> bytes:
        return csv_bytes(quiver.to_frame().reset_index())

    files = [
        *picture_downloads("quiver", picture), csv_download("Numbers as CSV", "quiver", numbers),
    ]  # fmt: skip
    offer("quiver", files)
