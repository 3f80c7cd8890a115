"""What an archive says of itself: what made it, of which tables, and the checksum of each file."""

import json
import re
from dataclasses import asdict, dataclass
from typing import Any, Final

from groupscan.errors import StoreError

__all__ = ["MANIFEST", "ArchiveError", "Manifest", "Member", "photo_file", "table_file"]

MANIFEST: Final = "manifest.json"
KIND: Final = "groupscan archive"
FORMAT: Final = 1
"""Counts up when what is in the zip changes its form; new columns are a new schema revision."""


class ArchiveError(StoreError):
    """What is wrong with an archive; told with its name where it was opened."""


@dataclass(frozen=True)
class Member:
    """One file of an archive.

    Attributes
    ----------
    name : str
        Its name in the zip.
    size_bytes : int
        Its size unpacked, bytes.
    sha256 : str
        Checksum of its content.
    rows : int, optional
        How many rows a table has; None for a photo.
    """

    name: str
    size_bytes: int
    sha256: str
    rows: int | None = None


@dataclass(frozen=True)
class Manifest:
    """What is in an archive.

    Attributes
    ----------
    schema_revision : str
        The tables that the rows come from.
    program_version : str
        The version of groupscan that wrote it.
    made_at : str
        When, in UTC.
    members : tuple of Member
        Every file but the manifest itself.
    missing_photos : tuple of str
        Checksums of photos that the records name and whose files were missing or damaged.
    """

    schema_revision: str
    program_version: str
    made_at: str
    members: tuple[Member, ...]
    missing_photos: tuple[str, ...] = ()

    @property
    def photos(self) -> tuple[str, ...]:
        """Checksums of the photos that it holds."""
        return tuple(one.sha256 for one in self.members if one.rows is None)

    @property
    def rows(self) -> dict[str, int]:
        """How many rows each table has."""
        named = {one.name.removeprefix("tables/"): one.rows for one in self.members}
        return {name.removesuffix(".csv"): rows for name, rows in named.items() if rows is not None}

    def to_json(self) -> bytes:
        """Return it as the file in the zip."""
        told = {"kind": KIND, "format": FORMAT, **asdict(self)}
        return (json.dumps(told, indent=1, allow_nan=False) + "\n").encode()

    @classmethod
    def from_json(cls, data: bytes) -> "Manifest":
        """Read the file back. ArchiveError if it is none, or that of a newer version."""
        try:
            told = json.loads(data)
            if told["kind"] != KIND:
                raise ValueError(f"its kind is {told['kind']!r}")
            if type(told["format"]) is not int or told["format"] < 1:
                raise ValueError(f"its format is {told['format']!r}")
            if told["format"] > FORMAT:
                raise ArchiveError(
                    f"it was written by a newer version of groupscan "
                    f"({str(told['program_version'])[:20]}, format {told['format']}; this version "
                    f"knows format {FORMAT}): install the newer version"
                )
            found = cls(
                _text(told["schema_revision"], r"[0-9A-Za-z_]{1,32}"),
                _text(told["program_version"], r".{1,100}"),
                _text(told["made_at"], r".{1,100}"),
                tuple(_member(one) for one in told["members"]),
                tuple(_text(one, "[0-9a-f]{64}") for one in told["missing_photos"]),
            )
        except (ValueError, KeyError, TypeError, RecursionError) as err:
            raise ArchiveError(
                f"it is no archive of groupscan's: its {MANIFEST} cannot be understood ({err!r}). "
                "Choose a file that 'groupscan export' or 'groupscan backup' wrote"
            ) from err
        names = [one.name for one in found.members]
        if len(set(names)) != len(names):
            raise ArchiveError("it names a file twice: choose another copy of the archive")
        return found


def table_file(name: str) -> str:
    """Return the name in the zip of a table."""
    return f"tables/{name}.csv"


def photo_file(sha256: str) -> str:
    """Return the name in the zip of a photo."""
    return f"photos/{sha256}"


def _member(told: Any) -> Member:
    rows = told["rows"]
    for number in (told["size_bytes"], 0 if rows is None else rows):
        if type(number) is not int or number < 0:
            raise ValueError(f"{number!r} is no number of bytes or rows")
    sha256 = _text(told["sha256"], "[0-9a-f]{64}")
    allowed = re.escape(photo_file(sha256)) if rows is None else r"tables/[a-z_]{1,63}\.csv"
    return Member(_text(told["name"], allowed), told["size_bytes"], sha256, rows)


def _text(value: Any, pattern: str) -> str:
    if not isinstance(value, str) or not re.fullmatch(pattern, value):
        raise ValueError(f"{str(value)[:80]!r} may not stand there")
    return value
