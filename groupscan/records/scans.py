"""The ends of sessions: scans with their shots, saved and read without losing what was found."""

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.connect import Store, reading, writing
from groupscan.records.entries.shooting import ScanRecord
from groupscan.records.journal import note_changes
from groupscan.records.names import Names
from groupscan.records.rows import Row, any_row, insert_row, live_row, update_row
from groupscan.records.schema import arrow, head, photo, scan, session, shot
from groupscan.records.schema.base import new_uid
from groupscan.records.values.checks import whole_number
from groupscan.records.values.shooting import scan_from_row, scan_row, shot_from_row, shot_rows

__all__ = ["load_scan", "new_shots", "photo_is_there", "save_scan"]

_NEVER_CHANGED = frozenset(
    {"id", "uid", "scan_id", "auto_x_mm", "auto_y_mm", "auto_se_mm", "auto_shared_se_mm"}
)
_CHANGING = tuple(column.name for column in shot.c if column.name not in _NEVER_CHANGED)


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
    removed. A scan that goes to a session of another shooter or build gets the arrows of the same
    numbers there.
    """
    values = scan_row(record)
    values["session_id"] = whole_number(record.session_id, "session_id of the scan")
    shots = shot_rows(record.shots)
    with writing(store) as connection:
        names = Names(connection)
        outing = live_row(connection, session, values["session_id"])
        photo_is_there(connection, values)
        if record.id is None:
            scan_id = insert_row(connection, scan, values)
            insert = new_shots(names, outing, scan_id, shots)
            if insert:
                connection.execute(sa.insert(shot), insert)
            return scan_id
        kept = live_row(connection, scan, record.id)
        values.pop("uid", None)
        update_row(connection, scan, kept, values, record.revision)
        moved = kept["session_id"] != outing["id"] and _of_other_arrows(connection, kept, outing)
        _write_shots(connection, names, outing, record.id, shots, moved=moved)
    return record.id


def load_scan(store: Store, scan_id: int) -> ScanRecord:
    """Return one scan with all its shots in the order of their numbers, those removed included.

    Raises
    ------
    StoreError
        There is no such scan, or it or its session is deleted.
    """
    with reading(store) as connection:
        row = live_row(connection, scan, scan_id)
        live_row(connection, session, row["session_id"])
        return scan_from_row(row, [shot_from_row(one) for one in _rows(connection, scan_id)])


def photo_is_there(connection: sa.Connection, values: Mapping[str, Any]) -> None:
    """Raise StoreError if a scan's photo is not in the records; fill in its size if it is."""
    sha256 = values["photo_sha256"]
    if sha256 is None:
        return
    kept = connection.execute(sa.select(photo).where(photo.c.sha256 == sha256)).mappings().first()
    if kept is None:
        raise StoreError(f"photo {sha256!r} of the scan is not in the records: add_photo first")
    if kept["width_px"] is None:
        connection.execute(
            sa.update(photo)
            .where(photo.c.sha256 == sha256)
            .values(width_px=values["width_px"], height_px=values["height_px"])
        )


def new_shots(names: Names, outing: Mapping[str, Any], scan_id: int, rows: list[Row]) -> list[Row]:
    """Return the rows to insert for shots that are new to a scan of the session `outing`."""
    for row in rows:
        if row["id"] is not None:
            raise _stranger(row, scan_id)
    return [{**_columns(names, outing, row), "uid": new_uid(), "scan_id": scan_id} for row in rows]


def _write_shots(
    connection: sa.Connection,
    names: Names,
    outing: Mapping[str, Any],
    scan_id: int,
    rows: list[Row],
    *,
    moved: bool,
) -> None:
    """Bring the shots of a scan to `rows`, inside the caller's transaction, and note changes.

    Shots known already keep their id and their automatic position; those that `rows` leaves out
    are marked removed. Where the scan `moved` to a session of other arrows, they get those.
    """
    kept = {row["id"]: row for row in _rows(connection, scan_id)}
    owners = _owners(kept, rows, scan_id)
    changes, notes = [], []
    for key, was in kept.items():
        position = owners.get(key)
        row = {**was, "removed": True} if position is None else rows[position]
        now = _columns(names, outing, row, was, moved=moved)
        now = {name: now.get(name, was[name]) for name in _CHANGING}
        if any(now[name] != was[name] for name in _CHANGING):
            changes.append({"key": key, **now})
            notes.append((was, now))
    if changes:
        note_changes(connection, shot, notes)
        # Out of the way first: renumbering passes through states where two shots share a number.
        keys = [change["key"] for change in changes]
        connection.execute(sa.update(shot).where(shot.c.id.in_(keys)).values(number=-shot.c.id))
        connection.execute(
            sa.update(shot)
            .where(shot.c.id == sa.bindparam("key"))
            .values({name: sa.bindparam(name) for name in _CHANGING}),
            changes,
        )
    taken = set(owners.values())
    fresh = [row for position, row in enumerate(rows) if position not in taken]
    if insert := new_shots(names, outing, scan_id, fresh):
        connection.execute(sa.insert(shot), insert)


def _of_other_arrows(connection: sa.Connection, kept: Row, outing: Mapping[str, Any]) -> bool:
    before = any_row(connection, session, kept["session_id"])
    return any(before[name] != outing[name] for name in ("shooter_id", "build_id"))


def _columns(
    names: Names,
    outing: Mapping[str, Any],
    row: Row,
    kept: Row | None = None,
    *,
    moved: bool = False,
) -> dict[str, Any]:
    """Return the columns of a shot; an unchanged name keeps its entry, even a deleted one."""
    columns = {name: value for name, value in row.items() if name not in ("id", "head", "arrow")}
    if kept is not None and kept["head"] == row["head"]:
        columns["head_id"] = kept["head_id"]
    else:
        columns["head_id"] = names.head(row["head"])
    if kept is not None and kept["arrow"] == row["arrow"] and not moved:
        columns["arrow_id"] = kept["arrow_id"]
    else:
        columns["arrow_id"] = names.arrow(
            row["arrow"], outing["build_id"], outing["shooter_id"], held_on=outing["held_on"]
        )
    return columns


def _rows(connection: sa.Connection, scan_id: int) -> list[Row]:
    """Return a scan's shots with the names of head and arrow, by number."""
    query = (
        sa.select(
            shot,
            sa.func.coalesce(head.c.name, "").label("head"),
            sa.func.coalesce(arrow.c.number, "").label("arrow"),
        )
        .outerjoin(head)
        .outerjoin(arrow)
        .where(shot.c.scan_id == scan_id)
        .order_by(shot.c.number, shot.c.id)
    )
    return [dict(row) for row in connection.execute(query).mappings()]


def _owners(kept: Mapping[int, Row], rows: list[Row], scan_id: int) -> dict[int, int]:
    """Return which of `rows`, by its place in the list, belongs to which kept shot, by its id."""
    owners: dict[int, int] = {}
    for position, row in enumerate(rows):
        if row["id"] in kept:
            owners[row["id"]] = position
        elif row["id"] is not None:
            raise _stranger(row, scan_id)
    for position, row in enumerate(rows):
        if row["id"] is None:
            free = (key for key in kept if key not in owners and _is_same(kept[key], row))
            if (key := next(free, None)) is not None:
                owners[key] = position
    return owners


def _stranger(row: Row, scan_id: int) -> StoreError:
    return StoreError(
        f"shot {row['number']} carries the id {row['id']}, which is no shot of scan {scan_id}: "
        "give a new shot id=None"
    )


def _is_same(kept: Row, row: Row) -> bool:
    by_hand = kept["auto_x_mm"] is None
    names = ("auto_x_mm", "auto_y_mm", "number") if by_hand else ("auto_x_mm", "auto_y_mm")
    return all(kept[name] == row[name] for name in names)
