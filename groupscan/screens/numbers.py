"""A group's numbers as a small table."""

from __future__ import annotations

import streamlit as st

from groupscan.report.words import SIDES, STATISTICS, Unit, express, express_sides, meaning
from groupscan.screens.chrome import plain
from groupscan.stats.group import Group

__all__ = ["FEW", "group_notes", "group_table"]

#: The statistics that stand beside the photo; the Group sheet has all of them.
FEW = ("offset_x", "offset_y", "extreme_spread", "mean_radius", "sigma", "r50", "r90")


def group_table(group: Group, unit: Unit, *, names: tuple[str, ...] = tuple(STATISTICS)) -> None:
    """Draw the table of a group: value and interval of each statistic."""
    estimates = group.estimates()
    lines = [f"| {group.n} holes | value ({group.confidence:.0%} interval) |", "| --- | --- |"]
    for name in names:
        title, _ = STATISTICS[name]
        if name in SIDES:
            text = express_sides(estimates[name], unit, SIDES[name], distance_m=group.distance_m)
        else:
            text = express(estimates[name], unit, distance_m=group.distance_m)
        lines.append(f"| {title} | {text} |")
    st.markdown("\n".join(lines))


def group_notes(group: Group, unit: Unit) -> None:
    """Say what the group means, and what it cannot say."""
    st.markdown(f"**{plain(meaning(group, unit))}**")
    for note in group.notes:
        st.caption(plain(note))
