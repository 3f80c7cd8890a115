"""Several ends side by side: each its own group, all at one scale."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import streamlit as st

from groupscan.report.onscreen import key_html, plot_group
from groupscan.report.scene import LengthUnit, Scene
from groupscan.report.shots import group_of_shots
from groupscan.report.words import Unit
from groupscan.screens.chrome import on_phone, plain, reader_theme, square_chart
from groupscan.screens.numbers import end_line, ends_table

if TYPE_CHECKING:
    from groupscan.stats.group import Group

__all__ = ["ends_apart"]

_MOST = 12  # more pictures than these nobody compares, and a phone would draw them slowly


def ends_apart(
    scene: Scene,
    titles: dict[int, str],
    unit: Unit,
    axes: LengthUnit,
    *,
    distance_m: float | None,
) -> None:
    """Draw a picture of each end, all at one scale, and a table with a row for each.

    Parameters
    ----------
    scene : Scene
        All of them pooled: its window and its sheet are those of each picture.
    titles : dict of int to str
        What each end is called, by its id; plain text.
    unit, axes
        What to read in, and what the axes are in.
    distance_m : float, optional
        Shooting distance.
    """
    groups: dict[int, Group] = {}
    scenes: dict[int, Scene] = {}
    for scan_id in titles:
        shots = scene.shots[scene.shots["scan_id"] == scan_id]
        if shots.empty:
            continue
        groups[scan_id] = group_of_shots(shots, distance_m=distance_m)
        scenes[scan_id] = replace(scene, shots=shots, group=groups[scan_id], title=titles[scan_id])
    theme = reader_theme()
    columns = st.columns(3)
    for place, (scan_id, one) in enumerate(list(scenes.items())[:_MOST]):
        with columns[place % 3]:
            st.markdown(f"**{plain(titles[scan_id])}**")
            square_chart(plot_group(one, theme=theme, unit=axes), key=f"end_picture_{scan_id}")
            if on_phone():  # a table of so many columns would be read sideways
                st.caption(end_line(one.group, unit))
    if len(scenes) > _MOST:
        st.caption(f"The first {_MOST} ends are drawn; choose among them above to see the others.")
    st.html(key_html(scene, theme=theme))
    if not on_phone():
        ends_table({plain(titles[key]): group for key, group in groups.items()}, unit)
