"""Work on a photo that nobody has saved yet: one small file each, beside the records.

A draft is JSON-safe values under the checksum of its photo. It is written whole or not at all, at
every correction, so that a closed tab or a flat battery loses none. It leaves the records proper
alone: what nobody has saved is no end of any session.
"""

import json
import os
import re
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import Any

from groupscan.errors import StoreError
from groupscan.records.connect import Store

__all__ = ["drop_draft", "keep_draft", "list_drafts", "read_draft"]


def keep_draft(store: Store, photo_sha256: str, draft: dict[str, Any]) -> None:
    """Keep a draft in place of the one before.

    Parameters
    ----------
    store : Store
        The records.
    photo_sha256 : str
        Identity of the photo, as `add_photo` returned it.
    draft : dict
        JSON-safe values.

    Raises
    ------
    StoreError
        The draft cannot be written; the one before is left as it was.

    Examples
    --------
    >>> from contextlib import closing
    >>> from tempfile import TemporaryDirectory
    >>> from groupscan.records.store import open_store
    >>> with TemporaryDirectory() as folder, closing(open_store(Path(folder))) as store:
    ...     keep_draft(store, "0" * 64, {"arrows": 6})
    ...     read_draft(store, "0" * 64), len(list_drafts(store))
    ({'arrows': 6}, 1)
    """
    path = _path(store, photo_sha256)
    text = json.dumps(draft, allow_nan=False)
    temporary = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(prefix=".", suffix=".part", dir=path.parent)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        Path(temporary).replace(path)
    except OSError as err:
        if temporary is not None:
            with suppress(OSError):
                Path(temporary).unlink()
        raise StoreError(
            f"the last change was not kept in {path.parent} ({err.strerror}): check the disk and "
            "your rights to the folder, then make the change again"
        ) from err


def read_draft(store: Store, photo_sha256: str) -> dict[str, Any] | None:
    """Return the draft of a photo; None if there is none or it cannot be read."""
    try:
        draft = json.loads(_path(store, photo_sha256).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return draft if isinstance(draft, dict) else None


def list_drafts(store: Store) -> dict[str, dict[str, Any]]:
    """Return every draft that can be read, by the checksum of its photo."""
    names = sorted(path.stem for path in (store.home / "drafts").glob("*.json"))
    drafts = {name: read_draft(store, name) for name in names if _is_checksum(name)}
    return {name: draft for name, draft in drafts.items() if draft is not None}


def drop_draft(store: Store, photo_sha256: str) -> None:
    """Remove the draft of a photo, if there is one. The photo stays."""
    _path(store, photo_sha256).unlink(missing_ok=True)


def _is_checksum(text: str) -> bool:
    return re.fullmatch(r"[0-9a-f]{64}", text) is not None


def _path(store: Store, photo_sha256: str) -> Path:
    if not _is_checksum(photo_sha256):
        raise StoreError(
            f"{photo_sha256!r} does not identify a photo: give the 64 digits that add_photo "
            "returned"
        )
    return store.home / "drafts" / f"{photo_sha256}.json"
