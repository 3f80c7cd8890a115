"""Files that a reader gives: never stored under the name that the browser says."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory

import streamlit as st

from groupscan.errors import GroupscanError

__all__ = ["Upload", "upload"]

_LARGEST_MB = 4000
"""An archive holds the photos of years."""


@dataclass(frozen=True)
class Upload:
    """A file from the reader.

    Attributes
    ----------
    name : str
        What the browser calls it; shown, never used as a path.
    key : str
        Another one for each file given.
    data : memoryview
        Its bytes.
    """

    name: str
    key: str
    data: memoryview = field(repr=False, compare=False)
    _places: list[str] = field(default_factory=list, repr=False, compare=False)

    @property
    def suffix(self) -> str:
        """The end of its name, in small letters."""
        return Path(self.name).suffix.lower()

    @property
    def stem(self) -> str:
        """Its name without its end: to begin the names of files that are about it."""
        return Path(self.name).stem

    @contextmanager
    def as_file(self) -> Iterator[Path]:
        """Lay it on the disk for as long as the block lasts."""
        with TemporaryDirectory(prefix="groupscan-") as folder:
            path = Path(folder, f"given{'.zip' if self.suffix == '.zip' else '.csv'}")
            path.write_bytes(self.data)
            self._places.append(str(path))
            yield path

    def named(self, words: str) -> str:
        """Return words with the file's own name wherever they say where it was laid."""
        for place in self._places:
            words = words.replace(place, self.name)
        return words

    @contextmanager
    def naming(self) -> Iterator[None]:
        """Tell what goes wrong in the block with the file's own name."""
        try:
            yield
        except GroupscanError as err:
            raise GroupscanError(self.named(str(err))) from err


def upload(label: str, kinds: list[str], *, key: str) -> Upload | None:
    """Ask for a file; None until one is given."""
    given = st.file_uploader(label, type=kinds, key=key, max_upload_size=_LARGEST_MB)
    if given is None:
        return None
    return Upload(given.name, f"{key}_{given.file_id}", given.getbuffer())
