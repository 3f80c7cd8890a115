"""Backups: make one, see what there is, put one back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import streamlit as st

from groupscan.errors import StoreError
from groupscan.records.connect import Store
from groupscan.records.exchange.archive import Manifest, read_manifest
from groupscan.records.files import Progress
from groupscan.records.upkeep.backup import backup, backup_folder, restore
from groupscan.screens import jobs
from groupscan.screens.chrome import plain
from groupscan.screens.data_parts.uploads import Upload, upload
from groupscan.screens.data_parts.wording import instant_text, many
from groupscan.screens.downloads import offer_file

__all__ = ["draw_backups"]

_MOST = 30
_DONE = "restore_done"
_MADE = "backup_made"


@dataclass(frozen=True)
class _Kept:
    """One backup on the disk."""

    path: Path
    at: datetime
    size_mb: float
    manifest: Manifest | None

    @property
    def label(self) -> str:
        """When it was made and what it holds, in plain text."""
        before = ", made before a restore" if self.path.name.startswith("before-restore") else ""
        held = "damaged" if self.manifest is None else _held(self.manifest)
        return f"{instant_text(self.at)}{before} · {held} · {self.size_mb:.1f} MB"


def draw_backups(store: Store) -> None:
    """Offer a backup, the list of them and the way back."""
    if told := st.session_state.pop(_DONE, ""):
        st.success(told, icon=":material/check:")
    st.write("One file with everything, read back to be sure. Others may go on working meanwhile.")
    if st.button("Back up now", type="primary", icon=":material/backup:"):
        st.session_state.pop(_MADE, None)
        jobs.start("backup", "Backing up", lambda step: backup(store, progress=step))
    made = jobs.finished("backup", stopped="Stopped. No backup was made.")
    if made is not None:
        st.session_state.pop("backup_chosen", None)  # the new one is the first of the list
        st.session_state[_MADE] = made.name
    if _MADE in st.session_state:
        st.success(
            f"{plain(st.session_state[_MADE])} is written and sound. Keep a copy on another disk: "
            "this one may fail as a whole.",
            icon=":material/check:",
        )
    kept = list(_kept(backup_folder(store)))
    st.subheader("Put one back", anchor=False)
    _result(store)
    if kept:
        names = {one.path.name: one for one in kept}
        chosen = st.selectbox(
            "Backups, the newest first",
            list(names),
            format_func=lambda name: names[name].label,
            key="backup_chosen",
        )
        one = names[chosen]
        offer_file(one.path, "application/zip")
        if one.manifest is not None:
            _restoring(store, chosen, one.path, one.manifest)
    else:
        st.info("There is no backup yet. Make the first one above.")
    with st.expander("From a file that lies elsewhere"):
        if given := upload("Backup or archive (.zip)", ["zip"], key="restore_file"):
            _from_upload(store, given)


def _kept(folder: Path) -> Iterator[_Kept]:
    found = sorted(folder.glob("*.zip"), key=lambda path: path.stat().st_mtime, reverse=True)
    for path in found[:_MOST]:
        facts = path.stat()
        try:
            manifest = read_manifest(path)
        except StoreError:
            manifest = None
        at = datetime.fromtimestamp(facts.st_mtime, UTC)
        yield _Kept(path, at, facts.st_size / 1e6, manifest)


def _from_upload(store: Store, given: Upload) -> None:
    try:
        with given.as_file() as path:
            manifest = read_manifest(path)
    except StoreError as err:
        st.error(plain(given.named(str(err))))
        return
    st.write(f"{plain(given.name)}: {_held(manifest)}.")
    _restoring(store, given.key, given, manifest)


def _restoring(store: Store, key: str, source: Path | Upload, manifest: Manifest) -> None:
    """Ask for a clear yes, then put the file in place of the records."""
    sure = st.checkbox(
        f"Yes: take away what is in the records now, and put this in its place "
        f"({_held(manifest)}). What is there now is backed up first.",
        key=f"sure_{key}",
    )
    if st.button(
        "Restore", disabled=not sure, icon=":material/settings_backup_restore:", key=f"put_{key}"
    ):
        jobs.start("restore", "Restoring", lambda step: _restored(store, source, step))
        st.rerun()


def _restored(store: Store, source: Path | Upload, step: Progress) -> str:
    if isinstance(source, Path):
        before, name = restore(store, source, overwrite=True, progress=step), source.name
    else:
        name = source.name
        with source.as_file() as path, source.naming():
            before = restore(store, path, overwrite=True, progress=step)
    told = f"The records are those of {plain(name)} now."
    if before is not None:
        told += f" What was there before is in {plain(before.name)}, the newest of the list."
    return told


def _result(store: Store) -> None:
    told = jobs.finished("restore", stopped="Stopped. The records are as they were.")
    if told is None:
        return
    for key in list(st.session_state):  # what was chosen from other records means nothing now
        if str(key).startswith(("chosen_", "ends_", "sure_", "check_found")):
            del st.session_state[key]
    st.session_state[_DONE] = told
    st.rerun()


def _held(manifest: Manifest) -> str:
    rows = manifest.rows
    return (
        f"{many(rows.get('session', 0), 'session')}, {many(rows.get('shot', 0), 'shot')}, "
        f"{many(len(manifest.photos), 'photo')}"
    )
