"""Whether each photo lies where it should, undamaged, and nothing else beside them.

Photos are read in pieces: however large and many, memory does not grow with them.
"""

import hashlib
import os
import re
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import sqlalchemy as sa

from groupscan.records.connect import Store, reading, writing
from groupscan.records.files import Progress
from groupscan.records.photos import photo_path
from groupscan.records.schema import photo
from groupscan.records.upkeep.finding import Finding

__all__ = ["ASIDE", "SETTLED_S", "check_photos", "left_over", "set_aside"]

SETTLED_S = 3600.0
"""A file that no row names may be one that another program is just bringing in; after so many
seconds it is not. An import of everything takes minutes."""
ASIDE = "set-aside"


def check_photos(
    store: Store, *, repair: bool = False, progress: Progress | None = None
) -> Iterator[Finding]:
    """Find what is wrong with the photos, and put right what is safe where told to `repair`.

    Parameters
    ----------
    store : Store
        The records.
    repair : bool
        Whether to put right what is safe.
    progress : callable, optional
        Called with how many photos were looked at and how many there are.
    """
    with reading(store) as connection:
        rows = connection.execute(sa.select(photo.c.sha256, photo.c.size_bytes))
        known = {row.sha256: int(row.size_bytes) for row in rows}
    for done, (sha256, size) in enumerate(sorted(known.items()), 1):
        if (finding := _known(store, sha256, size, repair=repair)) is not None:
            yield finding
        if progress is not None:
            progress(done, len(known))
    for path in _files(store.photo_dir):
        if (finding := _other(store, path, known, repair=repair)) is not None:
            yield finding


def left_over(path: Path, *, repair: bool) -> Finding | None:
    """Tell of the beginning of a file whose program died; remove it where told to."""
    if not _settled(path):
        return None
    finding = Finding(
        kind="left-over file",
        what=f"{path} is the beginning of a file that was never finished",
        safe=True,
        advice="let it be removed; what it was to become was never stored",
    )
    if repair:
        with suppress(OSError):
            path.unlink()
            return replace(finding, repaired=True, advice="it was removed")
    return finding


def set_aside(finding: Finding, path: Path, folder: Path, *, repair: bool) -> Finding:
    """Return `finding` as one whose file can be moved into `folder`; move it where told to.

    That puts right what does not belong; a damaged photo stays open until it is put back.
    """
    finding = replace(finding, safe=True)
    if not repair:
        return finding
    target = folder / path.name
    count = 1
    while target.exists() or target.is_symlink():
        count += 1
        target = folder / f"{path.name}-{count}"
    try:
        folder.mkdir(exist_ok=True)
        path.rename(target)
    except OSError as err:
        return replace(finding, advice=f"it could not be moved ({err.strerror}): move it yourself")
    if finding.kind == "photo damaged":
        todo = "put the photo back from a backup, or add it again"
        return replace(finding, safe=False, advice=f"it was moved aside to {target}; {todo}")
    return replace(finding, repaired=True, advice=f"it was moved to {target}")


def _known(store: Store, sha256: str, size: int, *, repair: bool) -> Finding | None:
    if not re.fullmatch("[0-9a-f]{64}", sha256):
        return Finding(
            kind="photo damaged",
            what=f"a photo is entered as {sha256!r}, which is no checksum",
            advice="bring back a backup",
        )
    path = photo_path(store, sha256)
    if not path.is_file():
        return Finding(
            kind="photo missing",
            what=f"photo {path} is not there",
            advice="put the file back from a backup, or add the same photo again",
        )
    try:
        there, found = path.stat().st_size, _checksum(path)
    except OSError as err:
        return Finding(
            kind="photo unreadable",
            what=f"photo {path} cannot be read ({err.strerror})",
            advice="check the disk and your rights to the file",
        )
    if found != sha256:
        finding = Finding(
            kind="photo damaged",
            what=f"photo {path} does not match its checksum",
            advice="let it be moved aside, then put the photo back from a backup or add it again",
        )
        return set_aside(finding, path, store.photo_dir / ASIDE, repair=repair)
    if there != size:
        return _size(store, sha256, size, there, repair=repair)
    return None


def _size(store: Store, sha256: str, size: int, there: int, *, repair: bool) -> Finding:
    if repair:
        with writing(store) as connection:
            connection.execute(
                sa.update(photo).where(photo.c.sha256 == sha256).values(size_bytes=there)
            )
    return Finding(
        kind="photo size wrong",
        what=f"photo {sha256} has {there} bytes and is entered with {size}",
        safe=True,
        repaired=repair,
        advice="the entry was corrected" if repair else "let the entry be corrected",
    )


def _files(root: Path) -> Iterator[Path]:
    for folder, folders, names in os.walk(root):
        if Path(folder) == root and ASIDE in folders:
            folders.remove(ASIDE)
        folders.sort()
        yield from (Path(folder, name) for name in sorted(names))


def _other(store: Store, path: Path, known: dict[str, int], *, repair: bool) -> Finding | None:
    """Look at a file that may be no photo of the records."""
    if path.name.startswith(".") and path.suffix == ".part":
        return left_over(path, repair=repair)
    named = re.fullmatch("[0-9a-f]{64}", path.name) and path == photo_path(store, path.name)
    if not named:
        finding = Finding(
            kind="foreign file",
            what=f"{path} is no photo of the records",
            advice="let it be moved aside",
        )
        return set_aside(finding, path, store.photo_dir / ASIDE, repair=repair)
    if path.name in known or not _settled(path):
        return None
    try:
        sound, size = _checksum(path) == path.name, path.stat().st_size
    except OSError:
        sound, size = False, 0
    if not sound:
        finding = Finding(
            kind="foreign file",
            what=f"{path} does not match its checksum, and no entry names it",
            advice="let it be moved aside",
        )
        return set_aside(finding, path, store.photo_dir / ASIDE, repair=repair)
    return _adopt(store, path, size, repair=repair)


def _adopt(store: Store, path: Path, size: int, *, repair: bool) -> Finding | None:
    with (writing if repair else reading)(store) as connection:
        one = photo.c.sha256 == path.name
        if connection.scalar(sa.select(photo.c.sha256).where(one)) is not None:
            return None  # it came while we looked
        if repair:
            values = {"sha256": path.name, "name": "", "size_bytes": size}
            connection.execute(sa.insert(photo).values(added_at=datetime.now(UTC), **values))
    return Finding(
        kind="photo without entry",
        what=f"{path} is a sound photo that no entry names",
        safe=True,
        repaired=repair,
        advice="it was entered again" if repair else "let it be entered again",
    )


def _settled(path: Path) -> bool:
    try:
        return time.time() - path.lstat().st_mtime > SETTLED_S
    except OSError:  # gone meanwhile
        return False


def _checksum(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
