"""Everything into one zip: each table as CSV, each photo as it came, and the manifest."""

import csv
import hashlib
import io
import itertools
import zipfile
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, BinaryIO, Final

import sqlalchemy as sa

import groupscan
from groupscan.errors import StoreError
from groupscan.records.connect import Store, reading
from groupscan.records.exchange.archive.columns import fields, row_writer, tables_in_order
from groupscan.records.exchange.archive.manifest import (
    MANIFEST,
    Manifest,
    Member,
    photo_file,
    table_file,
)
from groupscan.records.files import (
    Counter,
    Progress,
    disk_advice,
    share_of,
    sync_folder,
    whole_file,
)
from groupscan.records.photos import photo_bytes
from groupscan.records.schema import REVISION, metadata, photo

__all__ = ["export_archive"]

_ROWS_AT_ONCE: Final = 1000


def export_archive(store: Store, path: Path, *, progress: Progress | None = None) -> Manifest:
    r"""Write everything into one zip file: all rows, those deleted included, and all photos.

    Parameters
    ----------
    store : Store
        The records. They are read as they are at one moment; others may write meanwhile.
    path : Path
        The file; what was there is replaced once the new one is whole.
    progress : callable, optional
        Called with how much of the work is done and how much there is; what it raises ends it.

    Returns
    -------
    Manifest
        What is in it. ``missing_photos`` names those whose files are missing or damaged: they are
        the only thing that an archive can lack, and no reason to have none.

    Raises
    ------
    StoreError
        The records cannot be read, the disk is full or the folder cannot be written to. What was
        at `path` is left as it was.

    Notes
    -----
    Two archives of the same records have the same tables and photos byte for byte. The zip holds
    ``manifest.json``, ``tables/NAME.csv`` (UTF-8, RFC 4180) for every table, and
    ``photos/SHA256``. A cell of ``\N`` says that nothing is known; text that begins with a
    backslash has one more in front. These tables are for groupscan; for a spreadsheet there is
    `write_shots`, which also keeps text from being taken for formulas.

    Examples
    --------
    >>> from contextlib import closing
    >>> from tempfile import TemporaryDirectory
    >>> from groupscan.records.store import Shooter, open_store, save_shooter
    >>> with TemporaryDirectory() as folder, closing(open_store(Path(folder))) as store:
    ...     _ = save_shooter(store, Shooter(name="Ada Fenwick"))
    ...     export_archive(store, Path(folder, "all.zip")).rows["shooter"]
    1
    """
    path = Path(path)
    try:
        with whole_file(path) as file:
            manifest = _write(store, file, progress)
        sync_folder(path.parent)
    except OSError as err:
        advice = disk_advice(err, otherwise="choose another folder")
        raise StoreError(
            f"{path} was not written: {advice}, then do it again. The records are as they were"
        ) from err
    return manifest


def _write(store: Store, file: BinaryIO, progress: Progress | None) -> Manifest:
    members = []
    missing = []
    with zipfile.ZipFile(file, "w") as archive:
        with reading(store) as connection:
            uids: dict[str, dict[int, str]] = {}
            tables = tables_in_order(metadata)
            rows = (connection.scalar(sa.select(sa.func.count()).select_from(t)) for t in tables)
            counter = Counter(share_of(progress, 0.0, 0.5), sum(count or 0 for count in rows))
            for table in tables:
                members.append(_write_table(connection, archive, table, uids, counter))
            photos = list(connection.scalars(sa.select(photo.c.sha256).order_by(photo.c.sha256)))
        for done, sha256 in enumerate(photos):
            share_of(progress, 0.5, 1.0)(done, len(photos))
            try:
                data = photo_bytes(store, sha256)
            except StoreError:
                missing.append(sha256)
                continue
            name = photo_file(sha256)
            archive.writestr(_entry(name, zipfile.ZIP_STORED), data)  # a photo is dense already
            members.append(Member(name, len(data), sha256))
        made = datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
        manifest = Manifest(REVISION, groupscan.__version__, made, tuple(members), tuple(missing))
        archive.writestr(_entry(MANIFEST, zipfile.ZIP_DEFLATED), manifest.to_json())
    return manifest


def _write_table(
    connection: sa.Connection,
    archive: zipfile.ZipFile,
    table: sa.Table,
    uids: dict[str, dict[int, str]],
    counter: Counter,
) -> Member:
    name = table_file(table.name)
    for field in fields(table):
        if field.target is not None and field.target.name not in uids:
            pairs = connection.execute(sa.select(field.target.c.id, field.target.c.uid))
            uids[field.target.name] = {row.id: row.uid for row in pairs}
    write = row_writer(table, uids)
    query = sa.select(*table.columns).order_by(*table.primary_key)
    result = connection.execute(query, execution_options={"yield_per": _ROWS_AT_ONCE})
    checksum = hashlib.sha256()
    size = count = 0
    with archive.open(_entry(name, zipfile.ZIP_DEFLATED), "w", force_zip64=True) as out:
        cells = [[field.head for field in fields(table)]]
        for rows in itertools.chain([None], result.partitions()):
            if rows is not None:
                counter.add(len(rows))
                cells = _cells(table, write, rows)
                count += len(cells)
            text = io.StringIO()
            csv.writer(text).writerows(cells)
            data = text.getvalue().encode()
            checksum.update(data)
            size += len(data)
            out.write(data)
    return Member(name, size, checksum.hexdigest(), count)


def _cells(
    table: sa.Table, write: Callable[[sa.Row[Any]], list[str]], rows: Sequence[sa.Row[Any]]
) -> list[list[str]]:
    try:
        return [write(row) for row in rows]
    except KeyError as err:
        raise StoreError(
            f"a {table.name} refers to entry {err}, which is not there: 'groupscan check' tells "
            "more. Nothing was written"
        ) from err


def _entry(name: str, how: int) -> zipfile.ZipInfo:
    """Return a file's entry that says nothing of when and where it was made."""
    entry = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
    entry.compress_type = how
    entry.create_system = 3
    entry.external_attr = 0o600 << 16
    return entry
