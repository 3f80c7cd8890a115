"""Reach: how far out arrows can be trusted to land inside the reader's own circle."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import streamlit as st

from groupscan.csvfile import csv_bytes
from groupscan.decisions.questions import reach_of
from groupscan.errors import GroupscanError, UnitError
from groupscan.report.axes import CHART_CONFIG
from groupscan.report.reach import (
    FEW,
    DistanceUnit,
    ReachScene,
    curve_distances,
    draw_reach,
    few_words,
    plot_reach,
    reach_key,
    reach_rows,
    reach_scene,
    reach_sentence,
)
from groupscan.screens.choosing import (
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
)
from groupscan.screens.downloads import csv_download, offer, picture_downloads
from groupscan.screens.links import link_to_desk
from groupscan.screens.numbers import draw_table
from groupscan.screens.one_of import one_of
from groupscan.screens.preferences import (
    keep,
    length_text,
    preferences,
    recall,
    remember,
    remember_length,
)
from groupscan.screens.report_button import reach_report
from groupscan.stats.reach import CAUTION, Reach
from groupscan.units import parse_length

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

__all__ = ["draw"]

_EMPTY = f"""
**No shot says how far it was shot from yet.**

This screen shows how far out your arrows can be trusted to land inside a circle of your own, and
how sure that is. It needs ends whose session has a distance: on the Photo desk fill in "Distance"
before you save. Shoot {FEW} arrows or more from each of two distances that matter to you.
"""
_CIRCLES: Final = {"mm": "150 mm", "in": "6 in"}
_STANDARDS: Final = (50, 60, 70, 75, 80, 85, 90, 95, 98, 99)


def draw() -> None:
    """Draw the Reach screen."""
    page_style()
    st.title("Reach", anchor=False)
    st.warning(CAUTION, icon=":material/warning:")
    store = records()
    table = recorded_shots(store)
    away = None if table is None else table[table["distance_m"].notna()]
    if away is None or away.empty:
        st.markdown(_EMPTY)
        if table is not None:
            st.markdown(f"The records hold {len(table)} shots; none of them has a distance.")
        link_to_desk()
        return
    # On a phone the picture comes before what can be chosen.
    with st.expander("Which shots", expanded=not on_phone(), icon=":material/filter_alt:"):
        chosen = choose_table(
            away, ("shooter", "rig", "head", "build", "period"), any_of=("build",)
        )
    if chosen is None:
        return
    st.caption(plain(chosen.words))
    circle_mm, standard, unit = _asked()
    try:
        reach, notes = _measured(
            chosen.table, records_key(store), rows_key(chosen.table), circle_mm, standard, unit
        )  # fmt: skip
    except GroupscanError as err:
        st.info(plain(on_screen(str(err))))
        return
    scene = reach_scene(reach, chosen.table["distance_m"], unit=unit, title=chosen.words)
    _show(scene, notes)
    reach_report(store, scene, chosen, notes)
    _downloads(scene)
    st.caption(CAUTIONS["group"])


def _asked() -> tuple[float, float, DistanceUnit]:
    """Ask for the circle, the standard and the unit of distances; all are kept over restarts."""
    length = preferences().length
    left, middle, right = st.columns(3)
    with left:
        text = st.text_input(
            "Circle about the aim, across",
            value=recall("reach_circle", _CIRCLES[length]),
            key=f"ask_circle_{length}",
            help=f"Its diameter, such as {_CIRCLES[length]}.",
        )
    with middle:
        kept = recall("reach_standard", 90)
        percent = st.selectbox(
            "Arrows of 100 that must land inside",
            _STANDARDS,
            index=_STANDARDS.index(kept if kept in _STANDARDS else 90),
            key="ask_standard",
            help="Your own standard for a distance that you rely on.",
        )
    with right:
        unit = _unit()
    remember("reach_standard", percent)
    try:
        circle_mm = parse_length(text, default_unit=length)
        remember_length("reach_circle", text)
    except UnitError as err:
        circle = recall("reach_circle", _CIRCLES[length])
        st.warning(plain(f"{err} The circle stays {circle} across."))
        circle_mm = parse_length(circle, default_unit=length)
    return circle_mm, percent / 100, unit


def _unit() -> DistanceUnit:
    """Ask what to read distances in; the answer holds on every screen."""
    kept = preferences().distance
    names: dict[DistanceUnit, str] = {"m": "metres", "yd": "yards"}
    chosen = one_of(
        "Distances in", list(names), start=kept, show=lambda one: names[one],
        key="ask_distance_unit",
    )  # fmt: skip
    keep(distance=chosen)
    return chosen


@st.cache_resource(max_entries=8, show_spinner=False)
def _measured(
    _table: pd.DataFrame,
    records: RecordsKey,
    rows: bytes,
    circle_mm: float,
    standard: float,
    unit: DistanceUnit,
) -> tuple[Reach, tuple[str, ...]]:
    at = curve_distances(sorted(_table["distance_m"].unique()), unit)
    return reach_of(_table, circle_mm=circle_mm, standard=standard, at_m=at)


def _show(scene: ReachScene, pooled: tuple[str, ...]) -> None:
    if few := few_words(scene):
        st.warning(few, icon=":material/hourglass_empty:")
    st.markdown(f"**{plain(reach_sentence(scene, length_text(2 * scene.reach.radius_mm)))}**")
    left, right = st.columns([3, 2], gap="medium")
    with left:
        st.plotly_chart(
            plot_reach(scene, theme=reader_theme(), height_px=378 if on_phone() else 500),
            theme=None,
            key="reach_picture",
            config=CHART_CONFIG,
        )
        st.html(reach_key(scene, theme=reader_theme()))
    with right:
        level = f"{scene.reach.confidence:.0%}"
        draw_table(
            ("From", f"% inside ({level} interval)", "Rests on"),
            [tuple(map(plain, row)) for row in reach_rows(scene)],
        )
        st.caption(
            "Inside: the chance that the next arrow lands in the circle, in brackets the share of "
            "arrows in the long run. The distance to rely on is where the low end of the interval "
            "falls below your standard: few arrows mean a wide interval and less reach."
        )
        for note in scene.reach.notes:
            st.caption(plain(on_screen(note)))
        if pooled:
            with st.expander("What was pooled"):
                for note in pooled:
                    st.markdown(plain(on_screen(note)))


def _downloads(scene: ReachScene) -> None:
    sentence = reach_sentence(scene, length_text(2 * scene.reach.radius_mm))

    def picture() -> Figure:
        return draw_reach(scene, caption=sentence)

    def numbers() -> bytes:
        return csv_bytes(scene.reach.to_frame())

    files = [
        *picture_downloads("reach", picture), csv_download("Numbers as CSV", "reach", numbers),
    ]  # fmt: skip
    offer("reach", files)
