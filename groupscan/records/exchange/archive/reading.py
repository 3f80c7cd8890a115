"""An archive opened: all of it checked before any of it is used.

Names in the zip never become part of a path. What a file says of its size is what it may unpack
to, and all of it must find room on the disk, so that no small file can fill it.
"""

import csv
import hashlib
import io
import shutil
import sys
import zipfile
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from operator import getitem
from pathlib import Path
from typing import Any, Final, TypeVar

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.exchange.archive.cells import decoder
from groupscan.records.exchange.archive.columns import Field, fields, key_of, tables_in_order
from groupscan.records.exchange.archive.manifest import (
    MANIFEST,
    ArchiveError,
    Manifest,
    Member,
    photo_file,
    table_file,
)
from groupscan.records.files import Counter, Progress

__all__ = ["Archive", "check_tables", "chunks", "open_archive", "read_manifest"]

T = TypeVar("T")
Row = dict[str, Any]

_LARGEST_MANIFEST: Final = 256 * 2**20
"""Bytes; about 200 for each photo, so that of a million photos."""
_LARGEST_ID: Final = 2**30
"""Half of what PostgreSQL can number, so that numbers are left for new rows."""
_AT_ONCE: Final = 2**20
_REMEMBERED: Final = 5000
_STEP: Final = 500  # rows between two looks whether to go on


@dataclass(frozen=True)
class Archive:
    """An archive whose files are what its manifest says.

    Attributes
    ----------
    path : Path
        The file, for messages.
    manifest : Manifest
        What is in it.
    tables, pictures : zipfile.ZipFile
        Where the tables are read from, and where the photos are.
    photos : tuple of str
        Checksums of the photos that it holds.
    """

    path: Path
    manifest: Manifest
    tables: zipfile.ZipFile
    pictures: zipfile.ZipFile
    photos: tuple[str, ...]

    def rows(self, table: sa.Table, *, strict: bool = False) -> Iterator[Row]:
        """Yield the rows of a table by names of columns, references as identities.

        Parameters
        ----------
        table : sqlalchemy.Table
            The table.
        strict : bool
            Refuse cells that are not as `export_archive` writes them.
        """
        name = table_file(table.name)
        expected = fields(table)
        memories = [_Memory(decoder(_in_file(field), strict=strict)) for field in expected]
        names = [field.name for field in expected]
        for number, cells in enumerate(self._cells(name), 1):
            if number == 1:
                _check_heads(name, cells, [field.head for field in expected])
                continue
            if len(cells) != len(names):
                raise ArchiveError(
                    f"row {number} of {name} has {len(cells)} cells, not {len(names)}"
                )
            try:
                values = map(getitem, memories, cells)
                yield dict(zip(names, values, strict=True))
            except (ValueError, OverflowError) as err:
                raise ArchiveError(f"row {number} of {name} cannot be understood: {err}") from err

    def photo(self, sha256: str) -> bytes:
        """Return a photo."""
        data = self.pictures.read(photo_file(sha256))
        if hashlib.sha256(data).hexdigest() != sha256:
            raise ArchiveError(f"photo {sha256} has changed since it was checked")
        return data

    def _cells(self, name: str) -> Iterator[list[str]]:
        # Plans and bends are long; a file is never larger than it says it is.
        csv.field_size_limit(sys.maxsize if sys.maxsize < 2**31 else 2**31 - 1)
        with (
            self.tables.open(name) as raw,
            io.TextIOWrapper(raw, "utf-8", newline="") as text,
        ):
            yield from csv.reader(text, strict=True)


@contextmanager
def open_archive(
    path: Path, *, room_in: Path | None = None, progress: Progress | None = None
) -> Iterator[Archive]:
    """Open an archive and check its files against its manifest.

    Parameters
    ----------
    path : Path
        The zip file.
    room_in : Path, optional
        Folder on whose disk everything must find room.
    progress : callable, optional
        Called with how many bytes are checked and how many there are.

    Raises
    ------
    StoreError
        It is no archive, damaged, or holds what does not belong there; also raised from the block
        where the file fails later.
    """
    path = Path(path)
    with _told(path), zipfile.ZipFile(path) as opened:
        manifest = _manifest(opened)
        _check_names(opened, manifest)
        if room_in is not None:
            _check_room(manifest, room_in)
        counter = Counter(progress, sum(member.size_bytes for member in manifest.members))
        for member in manifest.members:
            _check_content(opened, member, counter)
        yield Archive(path, manifest, opened, opened, manifest.photos)


def read_manifest(path: Path) -> Manifest:
    """Return what an archive says of itself, without checking the rest. Raises `StoreError`."""
    path = Path(path)
    with _told(path), zipfile.ZipFile(path) as opened:
        return _manifest(opened)


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Tell with the name of the file what is wrong with it."""
    try:
        yield
    except ArchiveError as err:
        raise StoreError(f"{path}: {err}. Nothing was changed") from err
    except OSError as err:
        raise StoreError(
            f"{path}: it cannot be read ({err.strerror or err}): check its name and your rights to "
            "it. Nothing was changed"
        ) from err
    except _BROKEN as err:
        raise StoreError(
            f"{path}: it is no archive, or damaged ({' '.join(str(err).split())}): choose another "
            "copy of it. Nothing was changed"
        ) from err


_BROKEN: Final = (
    zipfile.BadZipFile,
    zipfile.LargeZipFile,
    zlib.error,
    csv.Error,
    UnicodeError,
    EOFError,
    NotImplementedError,
)


def check_tables(
    archive: Archive, metadata: sa.MetaData, *, progress: Progress | None = None
) -> None:
    """Check every cell and every reference of an archive of the tables in `metadata`.

    Raises
    ------
    StoreError
        A table or column is unknown or not there, a cell cannot be understood, an identity comes
        twice, or a row refers to one that is not in the archive.
    """
    tables = tables_in_order(metadata)
    expected = {table.name for table in tables}
    found = set(archive.manifest.rows)
    if found != expected:
        names = ", ".join(sorted(found ^ expected))
        raise ArchiveError(f"its tables are not those of revision "
                         f"{archive.manifest.schema_revision} ({names})")  # fmt: skip
    keys: dict[str, set[str]] = {}
    counter = Counter(progress, sum(archive.manifest.rows.values()))
    for table in tables:
        keys[table.name] = _check_table(archive, table, keys, counter)
    photos = {*archive.photos, *archive.manifest.missing_photos}
    if photos != keys["photo"]:
        raise ArchiveError("its photos are not those that its table of photos names")


def chunks(rows: Iterator[T], size: int) -> Iterator[list[T]]:
    """Yield lists of `size`, the last one shorter.

    Examples
    --------
    >>> list(chunks(iter("abcde"), 2))
    [['a', 'b'], ['c', 'd'], ['e']]
    """
    while chunk := list(islice(rows, size)):
        yield chunk


class _Memory(dict[str, Any]):
    """What cells of one column mean; most cells of a table are like others above them."""

    def __init__(self, read: Callable[[str], Any]) -> None:
        super().__init__()
        self._read = read

    def __missing__(self, text: str) -> Any:
        value = self._read(text)
        if len(self) >= _REMEMBERED:
            self.clear()
        self[text] = value
        return value


def _in_file(field: Field) -> sa.Column[Any]:
    if field.target is None:
        return field.column
    return sa.Column(field.name, sa.String(32), nullable=field.column.nullable)


def _manifest(opened: zipfile.ZipFile) -> Manifest:
    try:
        entry = opened.getinfo(MANIFEST)
    except KeyError as err:
        raise ArchiveError(
            f"it is no archive of groupscan's, since it holds no {MANIFEST}: choose a file that "
            "'groupscan export' or 'groupscan backup' wrote"
        ) from err
    if entry.file_size > _LARGEST_MANIFEST:
        raise ArchiveError(f"its {MANIFEST} is {entry.file_size} bytes large: it is no archive")
    _check_packing(entry)
    return Manifest.from_json(opened.read(entry))


def _check_packing(entry: zipfile.ZipInfo) -> None:
    if entry.flag_bits & 0x1:
        raise ArchiveError("it is encrypted: decrypt it first")
    if entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise ArchiveError(f"{entry.filename!r} is packed in a way that archives are not")


def _check_names(opened: zipfile.ZipFile, manifest: Manifest) -> None:
    names = [entry.filename for entry in opened.infolist()]
    if len(set(names)) != len(names):
        raise ArchiveError("it holds a file twice: choose another copy of it")
    expected = {MANIFEST, *(one.name for one in manifest.members)}
    if strange := sorted(set(names) - expected):
        raise ArchiveError(f"it holds a file that its {MANIFEST} does not name, {strange[0]!r}")
    if lost := sorted(expected - set(names)):
        raise ArchiveError(f"it lacks {lost[0]!r}: choose another copy of it")
    for member in manifest.members:
        entry = opened.getinfo(member.name)
        _check_packing(entry)
        if entry.file_size != member.size_bytes:
            raise ArchiveError(
                f"{member.name} is {entry.file_size} bytes large, not {member.size_bytes}: choose "
                "another copy of it"
            )
        if member.rows is None and entry.compress_type != zipfile.ZIP_STORED:
            raise ArchiveError(f"{member.name!r} is packed in a way that photos are not")


def _check_room(manifest: Manifest, folder: Path) -> None:
    needed = sum(member.size_bytes for member in manifest.members)
    free = shutil.disk_usage(folder).free
    if needed > free:
        raise ArchiveError(
            f"what it holds needs {needed / 1e6:.0f} MB and the disk of {folder} has "
            f"{free / 1e6:.0f} MB left: free some space"
        )


def _check_content(opened: zipfile.ZipFile, member: Member, counter: Counter) -> None:
    checksum = hashlib.sha256()
    with opened.open(member.name) as file:
        while data := file.read(_AT_ONCE):
            counter.add(len(data))
            checksum.update(data)
    if checksum.hexdigest() != member.sha256:
        raise ArchiveError(
            f"{member.name} is damaged, since it does not match its checksum: choose another copy"
        )


def _check_heads(name: str, found: Sequence[str], expected: Sequence[str]) -> None:
    if list(found) != list(expected):
        names = ", ".join(sorted(set(found) ^ set(expected))) or "their order"
        raise ArchiveError(f"the columns of {name} are not those of its revision ({names[:200]})")


def _check_table(
    archive: Archive, table: sa.Table, keys: dict[str, set[str]], counter: Counter
) -> set[str]:
    name = table_file(table.name)
    key = key_of(table).name
    digits = frozenset("0123456789abcdef")
    own: set[str] = set()
    numbers: set[int] = set()
    later: list[tuple[int, str]] = []
    references = [field for field in fields(table) if field.target is not None]
    photos = [column.name for column in table.c if _names_photo(column)]
    for number, row in enumerate(archive.rows(table, strict=True), 2):
        if number % _STEP == 0:
            counter.add(_STEP)
        uid = row[key]
        length = 64 if key == "sha256" else 32
        if len(uid) != length or not digits.issuperset(uid) or uid in own:
            raise ArchiveError(f"the identity in row {number} of {name} is none, or comes twice")
        own.add(uid)
        if "id" in row:
            if not 1 <= row["id"] <= _LARGEST_ID or row["id"] in numbers:
                raise ArchiveError(f"the id in row {number} of {name} is too large or comes twice")
            numbers.add(row["id"])
        for field in references:
            value = row[field.name]
            if value is None:
                continue
            if field.of_own_table:
                later.append((number, value))
            elif field.target is not None and value not in keys[field.target.name]:
                _missing(number, name)
        for column in photos:
            if row[column] is not None and row[column] not in keys["photo"]:
                _missing(number, name)
    for number, value in later:
        if value not in own:
            _missing(number, name)
    if len(own) != archive.manifest.rows[table.name]:
        raise ArchiveError(f"{name} has {len(own)} rows, not those that {MANIFEST} says")
    return own


def _names_photo(column: sa.Column[Any]) -> bool:
    return any(key.column.table.name == "photo" for key in column.foreign_keys)


def _missing(number: int, name: str) -> None:
    raise ArchiveError(f"row {number} of {name} refers to an entry that is not in the archive")
