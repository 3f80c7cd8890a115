"""The Rig bench: gear, builds, launch, flight, pins, the fit to groups, two rigs side by side."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import streamlit as st

from groupscan.decisions.rig_bench import NO_LICENCE
from groupscan.screens.bench.asking import Bench, ask_rig
from groupscan.screens.bench.build import draw_build
from groupscan.screens.bench.compare import draw_compare
from groupscan.screens.bench.fit import draw_fit
from groupscan.screens.bench.flight import draw_flight
from groupscan.screens.bench.gear import draw_first_rig, draw_gear
from groupscan.screens.bench.launch import draw_launch
from groupscan.screens.bench.pins import draw_pins
from groupscan.screens.bench.saving import forget_undo, undo_bar
from groupscan.screens.chrome import page_style, plain, records
from groupscan.screens.one_of import one_of
from groupscan.screens.to_top import show_top

__all__ = ["draw"]

_SECTIONS: Final[dict[str, Callable[[Bench], None]]] = {
    "Gear": draw_gear,
    "Build": draw_build,
    "Launch": draw_launch,
    "Flight": draw_flight,
    "Pins": draw_pins,
    "Fit": draw_fit,
    "Compare": draw_compare,
}


def draw() -> None:
    """Draw the Rig bench."""
    page_style()
    st.title("Rig bench", anchor=False)
    store = records()
    news = st.session_state.pop("bench_news", None)
    if news is not None:
        st.session_state["bench_news_count"] = st.session_state.get("bench_news_count", 0) + 1
    if news:
        st.toast(plain(news), icon=":material/check:")
    show_top()
    bar = st.container()
    bench = ask_rig(store)
    section = "Gear" if bench is None else _section()
    with bar:
        undo_bar(store)
    if bench is None:
        draw_first_rig(store)
        return
    if section != "Gear":
        st.caption(plain(NO_LICENCE))
    _SECTIONS[section](bench)


def _section() -> str:
    """Ask for the section; it stands in the page's address and is remembered."""
    asked = st.query_params.get("section", "").capitalize()
    kept = st.session_state.get("chosen_bench_section", "Gear")
    start = asked if asked in _SECTIONS else kept
    section = one_of(
        "Section", list(_SECTIONS), start=start, key="bench_section", label_visibility="collapsed"
    )
    if section != kept:
        forget_undo()
    st.session_state["chosen_bench_section"] = section
    if st.query_params.get("section") != section.lower():
        st.query_params["section"] = section.lower()
    return section
