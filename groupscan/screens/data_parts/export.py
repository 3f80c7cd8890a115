"""The records into a file: everything, or a table of the shots."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

import streamlit as st

from groupscan.records.connect import Store
from groupscan.records.exchange.archive import export_archive
from groupscan.records.exchange.shots_out import write_shots
from groupscan.records.files import Progress
from groupscan.screens import jobs
from groupscan.screens.data_parts.wording import many
from groupscan.screens.one_of import one_of
from groupscan.screens.preferences import recall, remember

__all__ = ["draw_export"]

_KINDS: Final = {
    "zip": ("Everything", "All that is kept, photos and deleted entries too: to take the records "
            "to another computer, or to add them to somebody else's.", "application/zip"),
    "csv": ("CSV", "The shots, one a row, for a spreadsheet.", "text/csv"),
    "json": ("JSON", "The shots, one a line, for a program.", "application/json"),
    "parquet": ("Parquet", "The shots with their types, for data tools.",
                "application/vnd.apache.parquet"),
}  # fmt: skip


def draw_export(store: Store) -> None:
    """Ask for the kind of file, make it and offer it."""
    before = recall("export_kind", "zip")
    kind = one_of(
        "As",
        list(_KINDS),
        start=before if before in _KINDS else "zip",
        show=lambda name: _KINDS[name][0],
        key="export_kind",
        on_change=lambda: remember("export_kind", st.session_state["export_kind"]),
    )
    _, words, mime = _KINDS[kind]
    st.write(words)
    if st.button("Make the file", type="primary", icon=":material/inventory_2:"):
        st.session_state.pop("export_made", None)
        jobs.start("export", "Writing the file", lambda step: _made(store, kind, step))
    made = jobs.finished("export", stopped="Stopped. No file was made.")
    if made is not None:
        st.session_state["export_made"] = made
    if "export_made" in st.session_state:
        name, data, told, lacks = st.session_state["export_made"]
        st.success(told, icon=":material/check:")
        if lacks:
            st.warning(
                f"{many(lacks, 'photo')} could not be put in: missing or damaged on the disk. "
                "Check tells which."
            )
        st.download_button(
            f"Download {name}", data, name, mime, icon=":material/download:", on_click="ignore"
        )


def _made(store: Store, kind: str, step: Progress) -> tuple[str, bytes, str, int]:
    """Return the file's name, its content, what it holds in words, and how many photos it lacks."""
    name = f"groupscan-{date.today():%Y-%m-%d}.{kind}"
    with TemporaryDirectory(prefix="groupscan-") as folder:
        path = Path(folder, name)
        if kind == "zip":
            manifest = export_archive(store, path, progress=step)
            rows = manifest.rows
            told = (
                f"{many(rows['session'], 'session')}, {many(rows['scan'], 'end')}, "
                f"{many(rows['shot'], 'shot')}, {many(len(manifest.photos), 'photo')}"
            )
            lacks = len(manifest.missing_photos)
        else:
            told, lacks = many(write_shots(store, path, progress=step), "shot"), 0
        step(1, 1)
        return name, path.read_bytes(), f"{told}.", lacks
