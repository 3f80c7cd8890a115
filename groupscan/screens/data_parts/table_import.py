"""A table of shots into the records: columns matched, a dry run shown, then taken in."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import streamlit as st

from groupscan.csvfile import csv_bytes, read_csv
from groupscan.errors import GroupscanError, TableError, UnitError
from groupscan.records.connect import Store
from groupscan.records.exchange.column_map import (
    FIELDS,
    ColumnMap,
    suggest_columns,
    unit_in_name,
)
from groupscan.records.exchange.shots_in import (
    BadCell,
    Defaults,
    ImportPlan,
    commit,
    plan_import,
    read_defaults,
)
from groupscan.records.files import Progress
from groupscan.screens import jobs
from groupscan.screens.chrome import plain
from groupscan.screens.data_parts.undo import imported
from groupscan.screens.data_parts.uploads import Upload
from groupscan.screens.data_parts.wording import ENTRIES, begun, in_rows, many
from groupscan.screens.downloads import Download, offer
from groupscan.screens.numbers import draw_table
from groupscan.screens.one_of import one_of
from groupscan.screens.preferences import distance_text, preferences
from groupscan.units import parse_distance

__all__ = ["LABELS", "bad_table", "draw_table_import"]

#: What each column can say, in words.
LABELS: Final = {
    "right": "Right of the aim",
    "high": "Above the aim",
    "se": "Standard error of the place",
    "date": "Day",
    "session": "Session",
    "end": "End",
    "end_label": "Name of the end",
    "number": "Number of the shot in its end",
    "order": "Place in the order shot",
    "distance": "Distance",
    "shooter": "Shooter",
    "rig": "Rig",
    "build": "Arrow build",
    "head": "Head",
    "arrow": "Arrow number",
    "flyer": "Flyer (yes or no)",
    "removed": "Taken out (yes or no)",
    "flyer_why": "Why a flyer",
    "place": "Place",
    "purpose": "Purpose",
    "notes": "Notes",
}
_FIRST: Final = ("right", "high", "date", "end", "shooter", "rig", "distance", "head", "arrow")
_NONE: Final = ""
_SHOWN_ROWS: Final = 4
_MOST: Final = 1000
_FEW: Final = 8


@dataclass(frozen=True)
class _Table:
    """What a file looks like."""

    heads: tuple[str, ...]
    rows: list[list[str]]
    count: int


def draw_table_import(store: Store, given: Upload) -> None:
    """Match the columns of a given table, say what would happen, and take it in on a tap."""
    table = _table(given)
    if table is None:
        return
    st.write(f"{plain(given.name)}: {many(table.count, 'row')}. It begins like this:")
    _begin(table)
    columns = _columns(table, given.key)
    unit = _unit(columns, given.key)
    try:
        defaults = _defaults(columns, given.key)
    except (TableError, UnitError) as err:
        st.error(plain(str(err)))
        return
    if lacking := [LABELS[name] for name in ("right", "high") if name not in columns.columns]:
        st.info(f"Say which column holds: {', '.join(lacking)}.")
        return
    asked = (given.key, tuple(columns.told().items()), unit, defaults)

    def planned(step: Progress) -> tuple[Any, ImportPlan]:
        with given.as_file() as path, given.naming():
            plan = plan_import(store, path, columns, unit=unit, defaults=defaults, progress=step)
        return asked, plan

    if st.button("See what would happen", type="primary", icon=":material/search:"):
        jobs.start("plan", "Looking through it", planned)
    found = jobs.finished("plan", stopped="Stopped. Nothing was stored.")
    if found is not None:
        st.session_state["import_plan"] = found
    _taking(store, given)
    for_what, plan = st.session_state.get("import_plan", (None, None))
    if plan is not None and for_what == asked:
        _show(store, given, plan)


def _table(given: Upload) -> _Table | None:
    """Return how the file looks, read once; None where it is no table: the reader was told."""
    key, table = st.session_state.get("import_table", ("", None))
    if key != given.key:
        try:
            with given.as_file() as path:
                read = read_csv(path)
        except GroupscanError as err:
            st.error(plain(given.named(str(err))))
            return None
        table = _Table(read.heads, read.rows[:_SHOWN_ROWS], len(read.rows))
        st.session_state["import_table"] = (given.key, table)
    return table  # type: ignore[no-any-return]


def _begin(table: _Table) -> None:
    """Show the first rows; a wide table scrolls in its own box."""
    heads = "".join(f"<th>{html.escape(head)}</th>" for head in table.heads)
    rows = "".join(
        f"<tr>{''.join(f'<td>{html.escape(cell[:80])}</td>' for cell in row)}</tr>"
        for row in table.rows
    )
    st.html(
        "<style>.begin{overflow-x:auto}.begin table{border-collapse:collapse;font-size:.85rem}"
        ".begin th,.begin td{border:1px solid #8888;padding:.2rem .5rem;text-align:left;"
        "white-space:nowrap}</style>"
        '<div class="begin" tabindex="0" role="region" aria-label="First rows of the file">'
        f"<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table></div>"
    )


def _columns(table: _Table, key: str) -> ColumnMap:
    """Ask which column says what, beginning with what the names suggest."""
    suggested = suggest_columns(table.heads)
    heads = [head for head in table.heads if head]
    st.markdown("**Which column says what**")
    columns: dict[str, str] = {}

    def ask(names: list[str]) -> None:
        for name, place in zip(names, in_rows(3), strict=False):
            start = suggested.columns.get(name, _NONE)
            chosen = place.selectbox(
                LABELS[name],
                options := [_NONE, *heads],
                index=options.index(start),
                format_func=lambda head: head or "no column",
                key=f"column_{name}_{key}",
            )
            if chosen:
                columns[name] = chosen

    ask([name for name in FIELDS if name in _FIRST])
    with st.expander("More columns"):
        ask([name for name in FIELDS if name not in _FIRST])
    a, b = st.columns(2)
    left = a.toggle(
        "Right of the aim: its numbers grow to the left", suggested.left_is_plus, key=f"left_{key}"
    )
    down = b.toggle(
        "Above the aim: its numbers grow downwards", suggested.down_is_plus, key=f"down_{key}"
    )
    ordered = {name: columns[name] for name in FIELDS if name in columns}
    return ColumnMap(ordered, left_is_plus=left, down_is_plus=down)


def _unit(columns: ColumnMap, key: str) -> str | None:
    """Ask for the unit of the places; None where the columns' names say it."""
    named = [unit_in_name(columns.columns.get(name, ""))[1] for name in ("right", "high")]
    if all(named):
        return None
    options = ["mm", "cm", "in"]
    return one_of(
        "The places are in",
        options,
        start=next((unit for unit in named if unit in options), preferences().length),
        show=lambda unit: "inches" if unit == "in" else unit,
        key=f"unit_{key}",
    )


def _defaults(columns: ColumnMap, key: str) -> Defaults:
    """Ask for what holds where the table says nothing."""
    have = columns.columns
    with st.expander("Where the file says nothing", expanded="date" not in have):
        st.caption("Taken for every shot without it.")
        places = in_rows(2)

        def ask(name: str, example: str) -> str:
            said: str = next(places).text_input(
                LABELS[name], key=f"default_{name}_{key}", placeholder=example, max_chars=120
            )
            return said

        day = ask("date", "2026-05-03")
        distance = ask("distance", "20 yd")
        asked = ("shooter", "rig", "build", "head", "place", "purpose")
        names = {name: ask(name, "") for name in asked}
    if distance.strip():
        distance = f"{parse_distance(distance, default_unit=preferences().distance)!r} m"
    return read_defaults(day=day, distance=distance, **names)


def _show(store: Store, given: Upload, plan: ImportPlan) -> None:
    """Show what would happen, all that is wrong, and the button."""
    st.markdown("**What would happen**")
    st.write(plain(_read_as(plan)))
    if None in plan.distances_m:
        st.caption("A distance for shots without one is asked under 'Where the file says nothing'.")
    rows = [
        ("New sessions", str(plan.sessions)),
        ("Sessions that get more ends", str(plan.continued)),
        ("New ends", str(plan.ends)),
        ("New shots", str(plan.shots)),
        ("New ends of one or two shots, just where others of the file are", str(plan.alike)),
        ("Ends that are here already, left out", str(len(plan.skipped))),
        ("Rows or cells that are wrong", str(len(plan.bad))),
    ]
    rows += [
        (f"New {ENTRIES[kind]}s", plain(", ".join(names)))
        for kind, names in plan.new.items() if names
    ]  # fmt: skip
    draw_table(("What", "How many"), [row for row in rows if row[1] != "0"])
    if plan.not_taken:
        with st.expander(f"Not taken, since a session keeps its own ({len(plan.not_taken)})"):
            kept: list[tuple[str, ...]] = [
                (str(one.session), LABELS[one.what], plain(one.said), plain(one.ours))
                for one in plan.not_taken[:_MOST]
            ]
            draw_table(("Session", "What", "The file says", "The session says"), kept)
    if differing := [one for one in plan.skipped if one.differs]:
        st.warning(
            f"{many(len(differing), 'end')} left out with other heads or arrow numbers in the "
            "file: what is in the records is kept. If the file is right, undo the import that "
            "brought them, under Deleted and corrected, and import the file again."
        )
    if plan.skipped:
        with st.expander(f"Ends left out ({len(plan.skipped)})"):
            lines: list[tuple[str, ...]] = [
                (str(one.row), str(one.shots), plain(one.why)) for one in plan.skipped[:_MOST]
            ]
            draw_table(("Row", "Shots", "Why"), lines)
    if plan.bad:
        st.error(
            f"{many(len(plan.bad), 'thing')} to put right in the file first; nothing can be "
            "imported before. Then give the file again."
        )
        bad: list[tuple[str, ...]] = [
            (str(one.row), plain(one.column), plain(begun(one.wrong)), plain(begun(one.todo)))
            for one in plan.bad[:_MOST]
        ]
        draw_table(("Row", "Column", "What is wrong", "What to do"), bad)
        if len(plan.bad) > _MOST:
            st.caption(f"and {len(plan.bad) - _MOST} more, all of them in the table below.")
        wrong = Download(
            "Download all that is wrong (CSV)", f"{given.stem} - what is wrong.csv", "text/csv",
            lambda: bad_table(plan.bad), icon=":material/download:",
        )  # fmt: skip
        offer("import_wrong", [wrong])
    elif not plan.ends:
        st.info("Nothing of it is new: there is nothing to import.")
    elif st.button(f"Import {many(plan.shots, 'shot')}", icon=":material/download_done:"):
        jobs.start(
            "take",
            "Storing the shots",
            lambda step: (plan, commit(store, plan, name=given.name, progress=step)),
        )
        st.rerun()


def _read_as(plan: ImportPlan) -> str:
    """Return in which unit and from where the shots are read: no count would show it wrong."""
    alike: dict[tuple[str, str], list[str]] = {}
    for head, read_as in plan.units.items():
        alike.setdefault(read_as, []).append(head)
    told = []
    for (unit, whence), heads in alike.items():
        name = "inches" if unit == "in" else unit
        by = ", by name" if whence == "name" else ""
        told.append(f"{' and '.join(heads)} in {name}{by}")
    far = [distance_text(one) or "an unsaid distance" for one in plan.distances_m]
    more = f" and {len(far) - _FEW} more distances" if len(far) > _FEW else ""
    if far:
        told.append(f"shot from {', '.join(far[:_FEW])}{more}")
    return f"Read as: {'; '.join(told)}."


def bad_table(bad: Sequence[BadCell]) -> bytes:
    """Return all that is wrong as a table for a spreadsheet, in the order of the file's rows."""
    import pandas as pd

    rows = [(one.row, one.column, one.wrong, one.todo) for one in bad]
    heads = ("row", "column", "what is wrong", "what to do")
    return csv_bytes(pd.DataFrame(rows, columns=list(heads)))


def _taking(store: Store, given: Upload) -> None:
    taken = jobs.finished("take", stopped="Stopped. Nothing was stored.")
    if taken is None:
        return
    plan, ids = taken
    st.session_state.pop("import_plan", None)
    imported(
        f"Stored: {many(plan.shots, 'shot')} in {many(plan.ends, 'end')} of "
        f"{many(len(set(ids)), 'session')}.",
        plan.uid,
        given.key,
    )
    st.rerun()
