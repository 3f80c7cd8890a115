"""A group's table for the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from groupscan.report.words import MAIN, STATISTICS, UNITS, Unit, express, shape_rows
from groupscan.stats.group import Group

if TYPE_CHECKING:
    from rich.table import Table

__all__ = ["group_tables", "summary_table"]

#: Rows whose numbers carry a sign, and what plus means.
_SIGNED = {"offset_x": "Offset, right +", "offset_y": "Offset, high +"}


def group_tables(group: Group) -> list[Table]:
    """Lay a group's statistics out, one row each, with their intervals.

    Parameters
    ----------
    group : Group

    Returns
    -------
    list of rich.table.Table
        Lengths; where the distance is known, angles; the shape; and where a
        flyer is flagged, the group with it and without it. Each fits a terminal 80 columns wide.
    """
    tables = [_table(group, ("mm", "inch"))]
    if group.distance_m is not None:
        tables.append(_table(group, ("moa", "mrad")))
    rows = shape_rows(group)
    if rows:
        tables.append(_plain_table("Shape", rows))
    if group.without_flyer is not None:
        tables.append(_flyer_table(group, group.without_flyer))
    return tables


def summary_table(rows: Sequence[tuple[str, str, Group | None]]) -> Table:
    """Lay many groups out, one row a photo.

    Parameters
    ----------
    rows : sequence of (photo, sheet, group)
        The group is None where a photo shows no shot.

    Returns
    -------
    rich.table.Table
        Millimetres, with the 95 % interval in brackets.
    """
    from rich import box
    from rich.markup import escape
    from rich.table import Table

    title = "Groups, mm; in brackets the 95% interval"
    table = Table(title=title, title_justify="left", header_style="bold", box=box.SIMPLE)
    table.padding = (0, 1, 0, 0)
    table.add_column("photo", overflow="fold")
    table.add_column("shots", justify="right")
    for heading in ("off the aim", "mean radius", "extreme spread"):
        table.add_column(heading, justify="right", no_wrap=True)
    for photo, _, group in rows:
        if group is None:
            table.add_row(escape(Path(photo).stem), "0", "–", "–", "–")
            continue
        cells = [
            _short(express(e, "mm")).replace(" to ", "–")
            for e in (group.offset, group.mean_radius, group.extreme_spread)
        ]
        table.add_row(escape(Path(photo).stem), str(group.n), *cells)
    return table


def _plain_table(title: str, rows: Sequence[tuple[str, str]]) -> Table:
    from rich import box
    from rich.markup import escape
    from rich.table import Table

    table = Table(title=title, title_justify="left", show_header=False, box=box.SIMPLE_HEAD)
    for words, text in rows:
        table.add_row(words, escape(text))
    return table


def _flyer_table(group: Group, without: Group) -> Table:
    from rich import box
    from rich.markup import escape
    from rich.table import Table

    name = escape(group.flyer.name) if group.flyer is not None else ""
    title = f"With and without shot {name}, mm; nothing is removed"
    table = Table(title=title, title_justify="left", header_style="bold", box=box.SIMPLE_HEAD)
    table.add_column("", no_wrap=True)
    for heading in (f"all {group.n}", f"without {name}"):
        table.add_column(heading, justify="right", no_wrap=True, min_width=18)
    here, there = group.estimates(), without.estimates()
    for statistic in MAIN:
        words = _SIGNED.get(statistic, STATISTICS[statistic][0])
        table.add_row(words, *(_short(express(e[statistic], "mm")) for e in (here, there)))
    return table


def _table(group: Group, units: tuple[Unit, ...]) -> Table:
    from rich import box
    from rich.table import Table

    title = f"{group.n} shots; in brackets the {group.confidence:.0%} interval"
    table = Table(title=title, title_justify="left", header_style="bold", box=box.SIMPLE_HEAD)
    table.add_column("", no_wrap=True)
    for unit in units:
        table.add_column(UNITS[unit], justify="right", no_wrap=True, min_width=18)
    estimates = group.estimates()
    for name, (words, _) in STATISTICS.items():
        if name not in estimates:
            continue
        cells = [express(estimates[name], unit, distance_m=group.distance_m) for unit in units]
        table.add_row(_SIGNED.get(name, words), *(_short(cell) for cell in cells))
    return table


def _short(text: str) -> str:
    """Shorten ``"8.2 in (5.3 to 10.9)"`` to fit a column whose head tells the unit."""
    value, bracket, interval = text.partition(" (")
    return value.split(" ")[0] + bracket + interval
