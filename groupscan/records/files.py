"""Files that are whole or not there, whatever happens while they are written."""

import errno
import os
import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

__all__ = ["Counter", "Progress", "disk_advice", "share_of", "sync_folder", "whole_file"]

Progress = Callable[[int, int], None]
"""Called by long work with how much is done and how much there is. What it raises ends the work,
which then leaves everything as it was: so it can be cancelled."""
_FINE = 1000
"""Steps that work of several parts is told in."""


def share_of(progress: Progress | None, start: float, end: float) -> Progress:
    """Return what a part of some work calls, so that the whole is told as one.

    Parameters
    ----------
    progress : Progress, optional
        Of the whole; None where nobody asked.
    start, end : float
        Where the part begins and ends, as shares of the whole.

    Examples
    --------
    >>> told = []
    >>> whole = lambda done, total: told.append(done / total)
    >>> first, second = share_of(whole, 0.0, 0.4), share_of(whole, 0.4, 1.0)
    >>> first(1, 2), second(0, 8), second(8, 8)
    (None, None, None)
    >>> told
    [0.2, 0.4, 1.0]
    """

    def step(done: int, total: int) -> None:
        if progress is not None:
            part = min(done / total, 1.0) if total else 0.0
            progress(round(_FINE * (start + (end - start) * part)), _FINE)

    return step


class Counter:
    """Counts what is done of some work and tells it.

    Parameters
    ----------
    progress : Progress, optional
        Whom to tell; None where nobody asked.
    total : int
        How much there is.
    """

    def __init__(self, progress: Progress | None, total: int) -> None:
        self._progress = progress
        self._done = 0
        self._total = total

    def add(self, count: int) -> None:
        """Tell how much was done before, then count more that is being done."""
        if self._progress is not None:
            self._progress(min(self._done, self._total), self._total)
        self._done += count


@contextmanager
def whole_file(path: Path, *, mode: int = 0o600) -> Iterator[BinaryIO]:
    """Open a file beside `path`; force it to the disk and put it in place when the block ends well.

    What was at `path` stays until then, and for good if the block raises.

    Parameters
    ----------
    path : Path
        Where the file is to be.
    mode : int
        Who may read and write it, as far as the user's mask allows; left out: its owner alone.

    Raises
    ------
    OSError
        The folder cannot be written to, or the disk is full; see `disk_advice`.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     with whole_file(Path(folder, "a.txt")) as file:
    ...         _ = file.write(b"whole")
    ...     [one.name for one in Path(folder).iterdir()]
    ['a.txt']
    """
    temporary = path.parent / f".{secrets.token_hex(8)}.part"
    flags = os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_BINARY", 0)
    handle = os.open(temporary, flags, mode)
    try:
        with os.fdopen(handle, "wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
    except BaseException:
        with suppress(OSError):
            temporary.unlink()
        raise


def sync_folder(folder: Path) -> None:
    """Force a folder's names to the disk: a rename may be lost in a power cut without."""
    if os.name == "posix":  # Windows knows no such call
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def disk_advice(err: OSError, *, otherwise: str) -> str:
    """Return what went wrong with a disk and what to do.

    Parameters
    ----------
    err : OSError
        What writing raised.
    otherwise : str
        What else can be done where the folder may not be written to.

    Examples
    --------
    >>> disk_advice(OSError(errno.ENOSPC, ""), otherwise="choose another folder")
    'the disk is full: free some space'
    """
    if err.errno in (errno.ENOSPC, errno.EDQUOT):
        return "the disk is full: free some space"
    if err.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return (
            "the folder may not be written to: give your user the right to write there, or "
            + otherwise
        )
    return f"writing failed ({err.strerror}): check the disk and the folder"
