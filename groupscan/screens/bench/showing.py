"""How the sections of the bench show a picture, notes and files."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import streamlit as st

from groupscan.csvfile import csv_bytes
from groupscan.report.axes import CHART_CONFIG
from groupscan.report.bench import Chart, chart_key, draw_chart, plot_chart
from groupscan.screens.bench.fields import in_words
from groupscan.screens.chrome import on_phone, plain, reader_theme
from groupscan.screens.downloads import Download, csv_download, offer, picture_downloads

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["downloads", "lead", "notes", "picture"]


def lead(sentence: str) -> None:
    """Say the one sentence that a section begins with."""
    st.markdown(f"**{plain(sentence)}**")


def picture(chart: Chart, key: str, *, height_px: int = 420) -> None:
    """Draw a picture and its key."""
    tall = min(height_px, 310 if chart.equal else 360) if on_phone() else height_px
    st.plotly_chart(
        plot_chart(chart, theme=reader_theme(), height_px=tall),
        theme=None,
        key=f"bench_picture_{key}",
        config=CHART_CONFIG,
    )
    st.html(chart_key(chart, theme=reader_theme()))


def notes(said: Iterable[str], *, title: str = "What to know about these numbers") -> None:
    """Put notes behind a heading; nothing where there are none."""
    own = [note for note in dict.fromkeys(said) if note]
    if own:
        with st.expander(title):
            for note in own:
                st.markdown(plain(in_words(note)))


def downloads(
    name: str,
    chart: Chart | None,
    frame: pd.DataFrame | None,
    *,
    caption: str = "",
    what: str = "Picture",
) -> None:
    """Offer the picture and the numbers as files."""
    files: list[Download] = []
    if chart is not None:
        drawn = chart
        files += picture_downloads(name, lambda: draw_chart(drawn, caption=caption), what=what)
    if frame is not None:
        numbers = frame
        label = "Numbers as CSV" if what == "Picture" else f"{what} as CSV"
        files.append(csv_download(label, name, lambda: csv_bytes(numbers)))
    offer(name, files)
