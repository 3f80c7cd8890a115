"""How a session goes, folded away under a season: from end to end, and the first arrow."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import streamlit as st

from groupscan.decisions.season import Seasoned
from groupscan.report.axes import CHART_CONFIG
from groupscan.report.season import (
    Reading,
    cold_key,
    cold_scene,
    draw_cold,
    draw_ends,
    ends_key,
    ends_scene,
    plot_cold,
    plot_ends,
    within_lines,
)
from groupscan.screens.chrome import plain, reader_theme
from groupscan.screens.downloads import offer, picture_downloads

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["within_session"]


@st.fragment
def within_session(seasoned: Seasoned, reading: Reading, *, title: str, key: str) -> None:
    """Draw what folds away; the pictures are laid out once it is opened.

    Parameters
    ----------
    seasoned : Seasoned
    reading : Reading
    title : str
        Plain text, for the pictures' files.
    key : str
        What tells these widgets from another season's.
    """
    folded = st.expander(
        "From end to end, and the first arrow", key=f"{key}_within", on_change="rerun"
    )
    if not folded.open:
        return
    trend, theme = seasoned.trend, reader_theme()
    order = seasoned.order_known
    said = within_lines(trend, reading, order_known=order)
    ends = ends_scene(trend, reading, title=title)
    cold = cold_scene(trend, reading, title=title) if order else None
    with folded:
        left, right = st.columns(2, gap="medium")
        with left:
            st.markdown(f"**{plain(said[0])}**")
            if ends is not None:
                _picture(plot_ends(ends, theme=theme), ends_key(ends, theme=theme), f"{key}_ends",
                         lambda: draw_ends(ends, caption=said[0]))  # fmt: skip
        with right:
            st.markdown(f"**{plain(said[1])}**")
            if cold is not None:
                _picture(plot_cold(cold, theme=theme), cold_key(cold, theme=theme), f"{key}_cold",
                         lambda: draw_cold(cold, caption=said[1]))  # fmt: skip


def _picture(figure: Any, words: str, key: str, draw: Callable[[], Figure]) -> None:
    st.plotly_chart(figure, theme=None, key=key, config=CHART_CONFIG)
    st.html(words)
    offer(key, picture_downloads(key, draw))
