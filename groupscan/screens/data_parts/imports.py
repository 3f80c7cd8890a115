"""A file into the records: first what would happen, then on a tap."""

from __future__ import annotations

from typing import Final

import streamlit as st

from groupscan.records.connect import Store
from groupscan.records.exchange.archive import ImportReport, import_archive
from groupscan.records.files import Progress
from groupscan.screens import jobs
from groupscan.screens.chrome import plain
from groupscan.screens.data_parts.table_import import draw_table_import
from groupscan.screens.data_parts.undo import imported, just_imported, offer_undo
from groupscan.screens.data_parts.uploads import Upload, upload
from groupscan.screens.data_parts.wording import ENTRIES, came, many
from groupscan.screens.numbers import draw_table
from groupscan.screens.to_top import show_top

__all__ = ["draw_import"]

_MOST_LINES: Final = 200


def draw_import(store: Store) -> None:
    """Ask for a file, say what would happen, and take it in on a tap."""
    show_top()
    offer_undo(store)
    given = upload(
        "An archive (.zip) from Export or Backup, or a table of shots (.csv)",
        ["zip", "csv", "tsv", "txt"],
        key="import_file",
    )
    if given is None:
        st.info(
            "Nothing is stored before you have seen what would happen. An archive is added to "
            "what is here: what is the same stays once, and where the two differ, yours is kept. "
            "A table needs a row a shot, with how far it hit right of and above the aim; the other "
            "columns you match to ours in the next step. What came with a file can be undone in "
            "one step, at once or later under 'Deleted and corrected'."
        )
    elif just_imported(given.key):
        st.caption(
            f"{plain(given.name)} is in the records. Take it away here, and give the next file."
        )
    elif given.suffix == ".zip":
        _archive(store, given)
    else:
        draw_table_import(store, given)


def _archive(store: Store, given: Upload) -> None:
    def taken(step: Progress, *, dry_run: bool) -> ImportReport:
        with given.as_file() as path, given.naming():
            return import_archive(store, path, name=given.name, dry_run=dry_run, progress=step)

    look, take = f"look_{given.key}", f"take_{given.key}"
    state = f"import_report_{given.key}"
    if state not in st.session_state:
        st.session_state[state] = None
        jobs.start(look, "Looking through it", lambda step: taken(step, dry_run=True))
    report = jobs.finished(look, stopped="Stopped. Nothing was stored.")
    if report is not None:
        st.session_state[state] = report
    done = jobs.finished(take, stopped="Stopped. No entry was stored.")
    if done is not None:
        del st.session_state[state]
        imported(f"{_stored(done)} The sessions are in the list now.", done.uid, given.key)
        st.rerun()
    if (report := st.session_state.get(state)) is None:
        if not jobs.going(look) and st.button("Look through it again", icon=":material/search:"):
            del st.session_state[state]
            st.rerun()
        return
    _show(report)
    if not report.brings_anything:
        st.info("Nothing of it is new: there is nothing to import.")
    elif st.button("Import", type="primary", icon=":material/download_done:"):
        jobs.start(take, "Importing", lambda step: taken(step, dry_run=False))
        st.rerun()


def _stored(report: ImportReport) -> str:
    new = {name: counts.new + counts.back for name, counts in report.counts.items()}
    return f"Stored: {came(new)}."


def _show(report: ImportReport) -> None:
    st.markdown("**What would happen**")
    rows = []
    for name, counts in report.counts.items():
        numbers = (counts.new, counts.back, counts.known, counts.joined, counts.kept)
        if any(numbers):
            title = ENTRIES.get(name, name).capitalize() + "s"
            rows.append((title, *(str(number) if number else "" for number in numbers)))
    heads = ("", "new", "undone before: brought back", "here already", "ours by name",
             "differ: ours kept")  # fmt: skip
    used = [k for k, _ in enumerate(heads) if k < 2 or any(row[k] for row in rows)]
    draw_table(tuple(heads[k] for k in used), [tuple(row[k] for k in used) for row in rows])
    _lines(
        "Not the same here and in the file: ours is kept",
        [f"{one.name}: {', '.join(one.differs)}" for one in report.conflicts],
    )
    _lines(
        "Taken for ours, by name",
        [f"{ENTRIES.get(one.entry, one.entry)} {one.name}" for one in report.namesakes
         if not one.why],
    )  # fmt: skip
    _lines(
        "Of the name of one of ours, but another: put in under a new name",
        [f"{ENTRIES.get(one.entry, one.entry)} {one.name} as {one.now_called} "
         f"({'; '.join(one.why)})" for one in report.namesakes if one.why],
    )  # fmt: skip
    if report.missing_photos:
        st.warning(
            f"The file lacks {many(len(report.missing_photos), 'photo')} that it names: its maker "
            "had lost them. The holes come in all the same."
        )


def _lines(title: str, lines: list[str]) -> None:
    if not lines:
        return
    with st.expander(f"{title} ({len(lines)})"):
        st.markdown("\n".join(f"- {plain(line)}" for line in lines[:_MOST_LINES]))
        if len(lines) > _MOST_LINES:
            st.caption(f"and {len(lines) - _MOST_LINES} more")
