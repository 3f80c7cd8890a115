"""An archive of an older version, brought to the tables of this one."""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import sqlalchemy as sa

from groupscan.records.connect import Store, make_engine, transaction
from groupscan.records.exchange.archive.manifest import ArchiveError
from groupscan.records.exchange.archive.reading import Archive, check_tables, open_archive
from groupscan.records.exchange.archive.replacing import put_rows
from groupscan.records.exchange.archive.writing import export_archive
from groupscan.records.files import Progress, share_of
from groupscan.records.schema import REVISION, metadata
from groupscan.records.upgrade import known_revisions, prepare, step_to

__all__ = ["open_current"]


@contextmanager
def open_current(
    path: Path, *, room_in: Path | None = None, progress: Progress | None = None
) -> Iterator[Archive]:
    """Open an archive, check all of it, and give it the tables of this version.

    Parameters
    ----------
    path : Path
        The zip file.
    room_in : Path, optional
        Folder on whose disk everything must find room.
    progress : callable, optional
        Called with how much is checked and how much there is.

    Raises
    ------
    StoreError
        The archive cannot be used, or a newer version wrote it.

    Notes
    -----
    The rows of an older archive are put into an empty database of its own revision, aside from
    the records, and go through the same migrations as a database of that age would.
    """
    content, tables = share_of(progress, 0.0, 0.3), share_of(progress, 0.3, 1.0)
    with open_archive(path, room_in=room_in, progress=content) as archive:
        revision = archive.manifest.schema_revision
        if revision == REVISION:
            check_tables(archive, metadata, progress=tables)
            yield archive
        elif revision in known_revisions():
            with _upgraded(archive, tables) as newer:
                yield newer
        else:
            raise ArchiveError(
                f"it was written by a newer version of groupscan "
                f"({archive.manifest.program_version}; its tables are at {revision}, this version "
                f"knows up to {REVISION}): install the newer version"
            )


@contextmanager
def _upgraded(archive: Archive, progress: Progress) -> Iterator[Archive]:
    with TemporaryDirectory(prefix="groupscan-", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        url = sa.URL.create("sqlite", database=str(folder / "older.db"))
        with transaction(make_engine(url, "upgrade")) as connection:
            step_to(connection, archive.manifest.schema_revision)
            older = sa.MetaData()
            older.reflect(connection)
            _plain_null(older)
            check_tables(archive, older, progress=share_of(progress, 0.0, 0.3))
            put_rows(connection, archive, older, progress=share_of(progress, 0.3, 0.6))
        prepare(url)
        aside = Store(make_engine(url, "write"), make_engine(url, "read"), folder, folder)
        with closing(aside):
            # Without photos: those stay where they are.
            export_archive(aside, folder / "newer.zip", progress=share_of(progress, 0.6, 0.8))
        with open_archive(folder / "newer.zip") as newer:
            check_tables(newer, metadata, progress=share_of(progress, 0.8, 1.0))
            yield replace(
                newer, path=archive.path, pictures=archive.pictures, photos=archive.photos
            )


def _plain_null(tables: sa.MetaData) -> None:
    # A database does not tell whether None is JSON's null or nothing at all.
    for table in tables.tables.values():
        for column in table.c:
            if isinstance(column.type, sa.JSON):
                column.type = sa.JSON(none_as_null=bool(column.nullable))
