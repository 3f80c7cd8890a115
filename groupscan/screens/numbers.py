"""A group's numbers as a small table."""

from __future__ import annotations

import math

import streamlit as st

from groupscan.report.words import (
    MAIN,
    STATISTICS,
    Unit,
    meaning,
    shape_rows,
    statistic_text,
)
from groupscan.screens.chrome import on_phone, plain
from groupscan.stats.group import Group

__all__ = [
    "FEW",
    "draw_table",
    "end_line",
    "ends_table",
    "flyer_table",
    "group_notes",
    "group_table",
    "more_table",
    "side_by_side",
]

_MOST_ON_PHONE = 7
# The distance from the aim decides about the sight, whatever each axis shows alone.
_DECIDE = ("offset", "offset_x", "offset_y", "extreme_spread", "sigma", "r50", "r90")
_ENDS = ("offset_x", "offset_y", "extreme_spread", "sigma")

#: The statistics that stand beside the photo; the Group sheet has all of them.
FEW = ("offset_x", "offset_y", "extreme_spread", "mean_radius", "sigma", "r50", "r90")


def group_table(group: Group, unit: Unit, *, names: tuple[str, ...] = MAIN) -> None:
    """Draw the table of a group: value and interval of each statistic that its holes can tell."""
    estimates = group.estimates()
    if on_phone():  # where a table is cut short, after the rows that decide
        names = (*(n for n in _DECIDE if n in names), *(n for n in names if n not in _DECIDE))
    told = [n for n in names if n in estimates and math.isfinite(estimates[n].value)]
    draw_table(
        (f"{group.n} {'hole' if group.n == 1 else 'holes'}", _valued(group)),
        [(STATISTICS[name][0], statistic_text(group, name, unit)) for name in told],
    )


def _valued(group: Group) -> str:
    return "value" if group.n == 1 else f"value ({group.confidence:.0%} interval)"


def more_table(group: Group, unit: Unit) -> None:
    """Draw the rows that `group_table` leaves out, and the group's shape."""
    group_table(group, unit, names=tuple(name for name in STATISTICS if name not in MAIN))
    shape: list[tuple[str, ...]] = [(a, plain(b)) for a, b in shape_rows(group, unit)]
    if shape:
        draw_table(("Shape", ""), shape)
    st.caption(plain(group.circles.why))


def flyer_table(group: Group, unit: Unit) -> None:
    """Draw the group with and without the flyer flagged, side by side; nothing where none is."""
    without = group.without_flyer
    if group.flyer is None or without is None:
        return
    side_by_side({f"all {group.n}": group, f"without {plain(group.flyer.name)}": without}, unit)


def side_by_side(groups: dict[str, Group], unit: Unit) -> None:
    """Draw the same numbers of several groups, a column each under what it is called."""
    draw_table(
        ("", *groups),
        [
            (STATISTICS[name][0], *(statistic_text(g, name, unit) for g in groups.values()))
            for name in FEW
        ],
    )


def ends_table(groups: dict[str, Group], unit: Unit) -> None:
    """Draw a row for each group under what it is called: where it sits and how tight it is."""
    draw_table(
        ("", *(STATISTICS[name][0] for name in _ENDS)),
        [
            (name, *(statistic_text(group, one, unit) for one in _ENDS))
            for name, group in groups.items()
        ],
    )


def end_line(group: Group, unit: Unit) -> str:
    """Return the same as `ends_table` in one line of Markdown, for a narrow page."""
    cells = [statistic_text(group, one, unit) for one in _ENDS]
    sides, rest = cells[:2], zip(_ENDS[2:], cells[2:], strict=True)
    named = (f"{STATISTICS[one][0].lower()} {cell}" for one, cell in rest)
    return plain("; ".join((", ".join(sides), *named)))


def draw_table(heads: tuple[str, ...], rows: list[tuple[str, ...]]) -> None:
    """Draw a table of Markdown cells; a user's text in them goes through `plain` first.

    Its first rows are those that matter most: on a phone the others of a long one fold away.
    """
    short = on_phone() and len(rows) > _MOST_ON_PHONE + 2  # two rows are no taller than the fold
    first = rows[:_MOST_ON_PHONE] if short else rows
    _markdown_table(heads, first)
    if short:
        with st.expander(f"{len(rows) - len(first)} more rows"):
            _markdown_table(heads, rows[len(first) :])


def _markdown_table(heads: tuple[str, ...], rows: list[tuple[str, ...]]) -> None:
    lines = [heads, ("---",) * len(heads), *rows]
    st.markdown("\n".join(f"| {' | '.join(line)} |" for line in lines))


def group_notes(group: Group, unit: Unit) -> None:
    """Say what the group means, and what it cannot say."""
    st.markdown(f"**{plain(meaning(group, unit))}**")
    for note in group.notes:
        st.caption(plain(note))
