"""Photos on disk, each in a file named by the checksum of its content.

A photo is written beside its final place, forced to the disk and only then renamed, so that a
file under a checksum is whole or absent whatever happens. The name that a photo came with is
data in the database and never becomes part of a path.
"""

import hashlib
import re
from datetime import UTC, datetime
from pathlib import Path

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.connect import Store, writing
from groupscan.records.files import disk_advice, sync_folder, whole_file
from groupscan.records.schema import photo
from groupscan.records.values.checks import whole_number, words

__all__ = ["add_photo", "keep_file", "photo_bytes", "photo_path"]


def add_photo(
    store: Store, data: bytes, *, name: str, size_px: tuple[int, int] | None = None
) -> str:
    """Keep a photo, unless it is already kept.

    Parameters
    ----------
    store : Store
        The records.
    data : bytes
        The file as it came.
    name : str
        The name it came with. The first name given for the same content stays.
    size_px : (int, int), optional
        Width and height of the upright photo; saving a scan of it fills them in as well.

    Returns
    -------
    str
        The photo's identity: the SHA-256 of `data` in hexadecimal.

    Raises
    ------
    StoreError
        `data` is empty, or the disk is full or may not be written to.

    Examples
    --------
    >>> from contextlib import closing
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> from groupscan.records.store import add_photo, open_store, photo_bytes
    >>> with TemporaryDirectory() as folder, closing(open_store(Path(folder))) as store:
    ...     sha256 = add_photo(store, b"not really a photo", name="end 1.jpg")
    ...     photo_bytes(store, sha256)
    b'not really a photo'
    """
    if not data:
        raise StoreError(f"photo {name!r} is empty (0 bytes): choose the file again")
    sha256 = hashlib.sha256(data).hexdigest()
    keep_file(photo_path(store, sha256), data, root=store.photo_dir, name=name)
    width, height = size_px or (None, None)
    values = {
        "width_px": whole_number(width, "photo width") if width is not None else None,
        "height_px": whole_number(height, "photo height") if height is not None else None,
    }
    with writing(store) as connection:
        known = connection.scalar(sa.select(photo.c.sha256).where(photo.c.sha256 == sha256))
        if known is None:
            connection.execute(
                sa.insert(photo).values(
                    sha256=sha256,
                    name=words(name),
                    size_bytes=len(data),
                    added_at=datetime.now(UTC),
                    **values,
                )
            )
        elif size_px is not None:
            connection.execute(
                sa.update(photo)
                .where(photo.c.sha256 == sha256, photo.c.width_px.is_(None))
                .values(values)
            )
    return sha256


def photo_bytes(store: Store, sha256: str) -> bytes:
    """Return the photo whose checksum is `sha256`, after checking that it is undamaged.

    Raises
    ------
    StoreError
        There is no such photo, or its file is missing or damaged.
    """
    path = photo_path(store, sha256)
    try:
        data = path.read_bytes()
    except FileNotFoundError as err:
        raise StoreError(
            f"photo {sha256} is not in {store.photo_dir}: put its file back as {path} from a "
            "backup, or add the same photo again"
        ) from err
    except OSError as err:
        raise StoreError(
            f"photo {path} cannot be read ({err.strerror}): check the disk and your rights to the "
            "file"
        ) from err
    if hashlib.sha256(data).hexdigest() != sha256:
        raise StoreError(
            f"photo {path} is damaged: its content no longer matches its checksum. Put the file "
            "back from a backup, or add the same photo again"
        )
    return data


def photo_path(store: Store, sha256: str) -> Path:
    """Return where the photo `sha256` lies, whether or not it does.

    Raises
    ------
    StoreError
        `sha256` is not a checksum.
    """
    if not re.fullmatch(r"[0-9a-f]{64}", sha256):
        raise StoreError(
            f"{sha256!r} does not identify a photo: give the 64 digits that add_photo returned"
        )
    return store.photo_dir / sha256[:2] / sha256[2:4] / sha256


def keep_file(path: Path, data: bytes, *, root: Path, name: str) -> None:
    """Put a photo's file in place, unless it is there undamaged. StoreError if that fails."""
    try:
        # Reading it back tells a good file from a damaged one, which is then replaced.
        if path.is_file() and path.read_bytes() == data:
            return
        path.parent.mkdir(parents=True, exist_ok=True)
        with whole_file(path) as file:
            file.write(data)
        for folder in (path.parent, path.parent.parent, root):
            sync_folder(folder)
    except OSError as err:
        what = disk_advice(err, otherwise="set GROUPSCAN_HOME to a folder of your own")
        raise StoreError(
            f"photo {name!r} was not stored in {root}: {what}, then add it again. Everything "
            "stored before is intact"
        ) from err
