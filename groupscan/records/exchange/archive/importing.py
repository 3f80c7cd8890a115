"""An archive into the records: added to them, or in place of them."""

from pathlib import Path

import sqlalchemy as sa

from groupscan.records.connect import Store, writing
from groupscan.records.exchange.archive.merging import merge
from groupscan.records.exchange.archive.older import open_current
from groupscan.records.exchange.archive.reading import Archive, chunks
from groupscan.records.exchange.archive.replacing import ROWS_AT_ONCE
from groupscan.records.exchange.archive.report import Conflict, Counts, ImportReport, Tally
from groupscan.records.files import Progress, share_of
from groupscan.records.journal import note_import
from groupscan.records.photos import keep_file, photo_path
from groupscan.records.schema.base import new_uid
from groupscan.records.titles import titles

__all__ = ["import_archive", "put_photos"]


def import_archive(
    store: Store,
    path: Path,
    *,
    name: str = "",
    dry_run: bool = False,
    progress: Progress | None = None,
) -> ImportReport:
    """Add what an archive holds to the records, all of it or nothing.

    Parameters
    ----------
    store : Store
        The records.
    path : Path
        A zip file that `export_archive` wrote, in this version or an older one.
    name : str
        What the file is called in the journal; left out: its name on the disk.
    dry_run : bool
        Only say what would happen; not a byte of the records is changed.
    progress : callable, optional
        Called with how much of the work is done and how much there is, and once more before the
        rows are kept; what it raises ends the work, and no row comes in.

    Returns
    -------
    ImportReport
        What became of the rows. Entries that are here and the same are left out; those that are
        not the same stay as they are here and are told as conflicts; shooters, rigs, builds,
        arrows and heads that are ours by name are taken for ours.

    Raises
    ------
    StoreError
        The archive is damaged, holds what it should not, or a newer version wrote it; or the
        records cannot be written. Nothing is changed then.

    Notes
    -----
    Everything is checked before anything is stored. The photos come first: alone they change
    nothing. The rows follow in one transaction, in the order of the archive, with their own numbers
    where those are free. What came in is noted in the journal, so that it can be undone by
    `groupscan.records.exchange.undoing.undo_import`.

    Examples
    --------
    >>> from contextlib import closing
    >>> from tempfile import TemporaryDirectory
    >>> from groupscan.records.exchange.archive import export_archive
    >>> from groupscan.records.store import Shooter, open_store, save_shooter
    >>> with TemporaryDirectory() as folder, closing(open_store(Path(folder))) as store:
    ...     _ = save_shooter(store, Shooter(name="Ada Fenwick"))
    ...     _ = export_archive(store, Path(folder, "all.zip"))
    ...     import_archive(store, Path(folder, "all.zip")).counts["shooter"].known
    1
    """
    checking, photos, rows = (0.0, 0.4), (0.4, 0.5), (0.5, 1.0)
    with open_current(path, room_in=store.home, progress=share_of(progress, *checking)) as archive:
        if not dry_run:
            put_photos(store, archive, progress=share_of(progress, *photos))
        with writing(store) as connection:
            tally = merge(connection, archive, progress=share_of(progress, *rows))
            uid = "" if dry_run else _noted(connection, tally, name or path.name)
            share_of(progress, 0.0, 1.0)(1, 1)
            if dry_run:
                connection.rollback()
        return _report(store, archive, tally, uid, dry_run=dry_run)


def _noted(connection: sa.Connection, tally: Tally, file: str) -> str:
    """Note what came in, and return the identity of the import; nothing and none where none did."""
    if not any(tally.added.values()):
        return ""
    uid = new_uid()
    counts = ((name, counter["new"] + counter["back"]) for name, counter in tally.counts.items())
    new = {name: count for name, count in counts if count}
    note_import(connection, uid, file=file, new=new, added=tally.added)
    return uid


def put_photos(store: Store, archive: Archive, *, progress: Progress | None = None) -> None:
    """Put the photos of an archive in place; those that are there and undamaged stay.

    Raises
    ------
    StoreError
        The disk is full or may not be written to.
    """
    for done, sha256 in enumerate(archive.photos):
        if progress is not None:
            progress(done, len(archive.photos))
        keep_file(
            photo_path(store, sha256),
            archive.photo(sha256),
            root=store.photo_dir,
            name=sha256,
        )


def _report(
    store: Store, archive: Archive, tally: Tally, uid: str, *, dry_run: bool
) -> ImportReport:
    named: dict[str, str] = {}
    for conflicts in chunks(iter(tally.conflicts), ROWS_AT_ONCE):
        wanted: dict[str, list[str]] = {}
        for table, uid, _ in conflicts:
            if table != "audit":  # a line of the journal has no name
                wanted.setdefault(table, []).append(uid)
        named |= titles(store, wanted)
    return ImportReport(
        counts={name: Counts(**counter) for name, counter in tally.counts.items()},
        conflicts=tuple(
            Conflict(table, named.get(uid, uid), differs) for table, uid, differs in tally.conflicts
        ),
        namesakes=tuple(tally.namesakes),
        photos=len(archive.photos),
        missing_photos=archive.manifest.missing_photos,
        dry_run=dry_run,
        uid=uid,
    )
