"""Backup and restore: an archive that was read back, and records put back exactly.

A restore is one transaction, before which the photos are put in place and what the records held
is itself backed up: whatever happens, they are the old ones or the new ones, whole. Others may save
while that backup is made; only if somebody did is it made again, while nobody can.
"""

import contextlib
from collections.abc import Iterator
from contextlib import closing
from datetime import datetime
from pathlib import Path

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.address import describe
from groupscan.records.changes import change_mark
from groupscan.records.connect import Store, reading, writing
from groupscan.records.exchange.archive import export_archive
from groupscan.records.exchange.archive.importing import put_photos
from groupscan.records.exchange.archive.older import open_current
from groupscan.records.exchange.archive.replacing import holds_rows, put_rows
from groupscan.records.files import Progress, disk_advice, share_of, sync_folder
from groupscan.records.schema import metadata
from groupscan.records.store import open_store

__all__ = ["backup", "backup_folder", "restore"]


def backup_folder(store: Store) -> Path:
    """Return the folder of backups without a name of their own."""
    return store.home / "backups"


def backup(store: Store, path: Path | None = None, *, progress: Progress | None = None) -> Path:
    """Write everything into one archive, and read it back to be sure of it.

    Parameters
    ----------
    store : Store
        The records, as they are at one moment; others may write meanwhile.
    path : Path, optional
        The file; what was there is replaced once the new one is sound. Left out: one named by the
        day and time in the folder ``backups`` beside the records.
    progress : callable, optional
        Called with how much of the work is done and how much there is; what it raises ends it, and
        no file is left.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    StoreError
        The disk is full, the folder cannot be written to, or the archive does not read back. What
        was at `path` is left as it was.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder, closing(open_store(Path(folder))) as store:
    ...     backup(store, Path(folder, "safe.zip")).name
    'safe.zip'
    """
    if path is None:
        path = _free_name(backup_folder(store), "backup")
    path = Path(path)
    beside = path.with_name(f".{path.name}.part")
    try:
        export_archive(store, beside, progress=share_of(progress, 0.0, 0.6))
        with open_current(beside, progress=share_of(progress, 0.6, 1.0)):
            pass
        beside.replace(path)
        sync_folder(path.parent)
    except OSError as err:
        advice = disk_advice(err, otherwise="choose another folder")
        raise StoreError(f"{path} was not written: {advice}, then do it again") from err
    finally:
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)
    return path


def restore(
    home_or_store: Path | Store,
    path: Path,
    *,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> Path | None:
    """Make the records those of an archive, ids included.

    Parameters
    ----------
    home_or_store : Path or Store
        The records, or their folder.
    path : Path
        A file that `backup` or `export_archive` wrote, in this version or an older one.
    overwrite : bool
        Put it in place of what the records hold. Without it only empty records are filled.
    progress : callable, optional
        Called with how much of the work is done and how much there is, and once more before the
        rows are kept; what it raises ends the work, and the records are as they were.

    Returns
    -------
    Path or None
        Backup of what the records held before; None where they were empty.

    Raises
    ------
    StoreError
        The archive cannot be used, the records hold something and are not to be overwritten, or
        they cannot be written. They are then as they were.

    Notes
    -----
    Files of photos that the archive does not name stay on the disk; ``groupscan check`` tells of
    them.
    """
    parts = ((0.0, 0.3), (0.3, 0.4), (0.4, 0.7), (0.7, 1.0))
    checking, photos, keeping, rows = (share_of(progress, *part) for part in parts)
    with (
        _opened(home_or_store) as store,
        open_current(path, room_in=store.home, progress=checking) as archive,
    ):
        with reading(store) as connection:  # refuse before anything is put anywhere
            filled = _check_overwriting(connection, store, overwrite)
        put_photos(store, archive, progress=photos)
        mark = change_mark(store)
        before = _backed_up_before(store, keeping) if filled else None
        with writing(store) as connection:
            # Nobody else can write now: what is backed up must be what is replaced.
            if change_mark(store) != mark and _check_overwriting(connection, store, overwrite):
                stale, before = before, _backed_up_before(store, keeping)
                if stale is not None:
                    stale.unlink(missing_ok=True)
            put_rows(connection, archive, metadata, progress=rows)
            share_of(progress, 0.0, 1.0)(1, 1)
        return before


@contextlib.contextmanager
def _opened(home_or_store: Path | Store) -> Iterator[Store]:
    if isinstance(home_or_store, Store):
        yield home_or_store
    else:
        with closing(open_store(home_or_store)) as store:
            yield store


def _check_overwriting(connection: sa.Connection, store: Store, overwrite: bool) -> bool:
    """Return whether there is something that may be overwritten; StoreError if it may not be."""
    filled = holds_rows(connection, metadata)
    if filled and not overwrite:
        raise StoreError(
            f"the records in {describe(store.engine.url)} are not empty: restoring would put the "
            "archive in their place. Nothing was changed: add to them with 'groupscan import', or "
            "say --overwrite (what is there is backed up first)"
        )
    return filled


def _backed_up_before(store: Store, progress: Progress) -> Path:
    name = _free_name(backup_folder(store), "before-restore")
    return backup(store, name, progress=progress)


def _free_name(folder: Path, what: str) -> Path:
    """Return a name for a new file in a folder, which is made if need be."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as err:
        advice = disk_advice(err, otherwise="name a file elsewhere")
        raise StoreError(f"{folder} was not made: {advice}") from err
    stem = f"{what}-{datetime.now():%Y-%m-%d-%H%M%S}"
    number = 1
    path = folder / f"{stem}.zip"
    while path.exists():
        number += 1
        path = folder / f"{stem}-{number}.zip"
    return path
