"""The records: open them, save, load, list, delete and restore.

Each function is one transaction: it happens whole or not at all. Nothing is ever erased here. A
deletion hides an entry until it is restored, a removed shot stays with its mark, and the position
that the scan found stays beside the corrected one.
"""

import os
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.connect import Store, make_engine, reading, writing
from groupscan.records.entries import ScanRecord, Session, ShotRecord
from groupscan.records.frames import list_scans, list_sessions, shots_frame
from groupscan.records.photos import add_photo, photo_bytes
from groupscan.records.schema import photo, scan, session
from groupscan.records.shots import read_shots, write_shots
from groupscan.records.upgrade import prepare
from groupscan.records.values import (
    scan_from_row,
    scan_row,
    session_from_row,
    session_row,
    shot_rows,
    whole_number,
)

__all__ = [
    "ScanRecord",
    "Session",
    "ShotRecord",
    "Store",
    "add_photo",
    "delete_scan",
    "delete_session",
    "get_session",
    "list_scans",
    "list_sessions",
    "load_scan",
    "open_store",
    "photo_bytes",
    "restore_scan",
    "restore_session",
    "save_scan",
    "save_session",
    "shots_frame",
]


def open_store(home: Path | None = None, *, database_url: str | None = None) -> Store:
    """Open the records, creating them or bringing their tables up to date first.

    Parameters
    ----------
    home : Path, optional
        Folder of the records; made if need be. Left out: ``GROUPSCAN_HOME``, or else the
        platform's folder for user data.
    database_url : str, optional
        Address of the database for SQLAlchemy, such as ``sqlite:////srv/club/records.db``. Left
        out: ``GROUPSCAN_DATABASE_URL`` where `home` is left out too, or else the file
        ``groupscan.db`` in the folder.

    Returns
    -------
    Store
        Handle for the other functions. Close it with its ``close()`` when done.

    Raises
    ------
    StoreError
        The folder cannot be made or written to, the address makes no sense, or the database is
        damaged, too new or not groupscan's. What was there is left as it was.

    Examples
    --------
    >>> from contextlib import closing
    >>> from datetime import date
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder, closing(open_store(Path(folder))) as store:
    ...     saved = save_session(store, Session(held_on=date(2026, 5, 3), place="North butts"))
    ...     get_session(store, saved).place
    'North butts'
    """
    if home is None:
        database_url = database_url or os.environ.get("GROUPSCAN_DATABASE_URL") or None
    home = _home(home)
    photo_dir = home / "photos"
    try:
        home.mkdir(mode=0o700, parents=True, exist_ok=True)
        photo_dir.mkdir(exist_ok=True)
    except OSError as err:
        raise StoreError(
            f"the folder of the records, {home}, cannot be made or written to "
            f"({err.strerror}): give your user the right to write there, or set GROUPSCAN_HOME to "
            "a folder of your own"
        ) from err
    if database_url is None:
        url = sa.URL.create("sqlite", database=str(home / "groupscan.db"))
    else:
        url = _parse_url(database_url)
    prepare(url)
    return Store(make_engine(url, "write"), make_engine(url, "read"), photo_dir, home)


def save_session(store: Store, entry: Session) -> int:
    """Save a session; with an ``id``, in place of what was saved under it.

    Returns
    -------
    int
        The session's id.

    Raises
    ------
    StoreError
        A value cannot be stored, the session is not there, or somebody saved it after this copy
        was loaded. Nothing is changed then.
    """
    values = session_row(entry)
    with writing(store) as connection:
        return _save_row(connection, session, values, entry.id, entry.revision)


def get_session(store: Store, session_id: int) -> Session:
    """Return one session.

    Raises
    ------
    StoreError
        There is no such session, or it is deleted.
    """
    with reading(store) as connection:
        return session_from_row(_live_row(connection, session, session_id))


def save_scan(store: Store, record: ScanRecord) -> int:
    """Save a scan with its shots; with an ``id``, in place of what was saved under it.

    Parameters
    ----------
    store : Store
        The records.
    record : ScanRecord
        The scan. To save it again, change what `load_scan` returned with `dataclasses.replace`:
        it carries the ``id`` and the ``revision`` that tell whether it is still current.

    Returns
    -------
    int
        The scan's id.

    Raises
    ------
    StoreError
        A value cannot be stored, the session or photo is not there, or somebody saved the scan
        after this copy was loaded. Nothing is changed then.

    Notes
    -----
    When a scan is saved again, each shot is known by its ``id``; without one by the position that
    the scan found; a shot added by hand by its number. The automatic positions stay as they were
    first saved, whatever the new record says, and a shot that the new record leaves out is marked
    removed.
    """
    values = scan_row(record)
    shots = shot_rows(record.shots)
    with writing(store) as connection:
        _live_row(connection, session, values["session_id"])
        _photo_is_there(connection, values)
        scan_id = _save_row(connection, scan, values, record.id, record.revision)
        write_shots(connection, scan_id, shots)
    return scan_id


def load_scan(store: Store, scan_id: int) -> ScanRecord:
    """Return one scan with all its shots in the order of their numbers, those removed included.

    Raises
    ------
    StoreError
        There is no such scan, or it or its session is deleted.
    """
    with reading(store) as connection:
        row = _live_row(connection, scan, scan_id)
        _live_row(connection, session, row["session_id"])
        return scan_from_row(row, read_shots(connection, scan_id))


def delete_session(store: Store, session_id: int) -> None:
    """Hide a session and its scans until `restore_session`. StoreError if it is not there."""
    _mark_deleted(store, session, session_id, datetime.now(UTC))


def restore_session(store: Store, session_id: int) -> None:
    """Bring back a deleted session, with the scans it had. StoreError if it never was."""
    _mark_deleted(store, session, session_id, None)


def delete_scan(store: Store, scan_id: int) -> None:
    """Hide a scan until `restore_scan`. StoreError if it is not there."""
    _mark_deleted(store, scan, scan_id, datetime.now(UTC))


def restore_scan(store: Store, scan_id: int) -> None:
    """Bring back a deleted scan. StoreError if it never was."""
    _mark_deleted(store, scan, scan_id, None)


def _home(home: Path | None) -> Path:
    if home is None:
        if named := os.environ.get("GROUPSCAN_HOME"):
            home = Path(named)
        else:
            from platformdirs import user_data_path

            home = user_data_path("groupscan", appauthor=False)
    return Path(home).expanduser().absolute()


def _parse_url(text: str) -> sa.URL:
    hint = (
        "give one such as sqlite:////home/me/groupscan.db, or unset GROUPSCAN_DATABASE_URL to use "
        "the file in the folder of the records"
    )
    try:
        url = sa.make_url(text)
        sa.create_engine(url)
    except (sa.exc.ArgumentError, ValueError) as err:
        # The text itself stays out of the message: it may hold a password.
        raise StoreError(f"the address of the database cannot be understood: {hint}") from err
    except ImportError as err:
        raise StoreError(
            f"the database {url.drivername} needs the Python package {err.name}, which is not "
            f"installed: install it, or {hint}"
        ) from err
    in_memory = url.database in (None, "", ":memory:") or "uri" in url.query
    if url.get_backend_name() == "sqlite" and in_memory:
        raise StoreError(f"a database in memory would forget everything: {hint}")
    return url


def _row(connection: sa.Connection, table: sa.Table, key: int) -> dict[str, Any]:
    key = whole_number(key, f"id of the {table.name}")
    row = connection.execute(sa.select(table).where(table.c.id == key)).mappings().first()
    if row is None:
        raise StoreError(f"there is no {table.name} {key} in the records: list them and choose one")
    return dict(row)


def _live_row(connection: sa.Connection, table: sa.Table, key: int) -> dict[str, Any]:
    row = _row(connection, table, key)
    if row["deleted_at"] is not None:
        raise StoreError(
            f"{table.name} {key} was deleted on {row['deleted_at']:%Y-%m-%d}: restore it first"
        )
    return row


def _save_row(
    connection: sa.Connection,
    table: sa.Table,
    values: dict[str, Any],
    key: int | None,
    revision: int | None,
) -> int:
    now = datetime.now(UTC)
    if key is None:
        new = sa.insert(table).values(**values, revision=1, created_at=now, updated_at=now)
        return int(connection.execute(new.returning(table.c.id)).scalar_one())
    kept = _live_row(connection, table, key)
    changed = connection.execute(
        sa.update(table)
        .where(table.c.id == key, table.c.revision == revision)
        .values(**values, revision=table.c.revision + 1, updated_at=now)
    )
    if changed.rowcount != 1:
        raise StoreError(
            f"{table.name} {key} has been changed since this copy was loaded (it is at revision "
            f"{kept['revision']}, the copy at {revision}). Nothing was stored: load it again and "
            "repeat the change"
        )
    return key


def _photo_is_there(connection: sa.Connection, values: Mapping[str, Any]) -> None:
    sha256 = values["photo_sha256"]
    kept = connection.execute(sa.select(photo).where(photo.c.sha256 == sha256)).mappings().first()
    if kept is None:
        raise StoreError(f"photo {sha256!r} of the scan is not in the records: add_photo first")
    if kept["width_px"] is None:
        connection.execute(
            sa.update(photo)
            .where(photo.c.sha256 == sha256)
            .values(width_px=values["width_px"], height_px=values["height_px"])
        )


def _mark_deleted(store: Store, table: sa.Table, key: int, when: datetime | None) -> None:
    with writing(store) as connection:
        _row(connection, table, key)
        changed = sa.update(table).where(table.c.id == key).values(deleted_at=when)
        if when is not None:
            changed = changed.where(table.c.deleted_at.is_(None))  # keep the first deletion's day
        connection.execute(changed)
