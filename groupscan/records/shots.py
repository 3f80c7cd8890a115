"""The shots of one scan, read and written again without losing what the scan found."""

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.entries import ShotRecord
from groupscan.records.schema import shot
from groupscan.records.values import shot_from_row

__all__ = ["read_shots", "write_shots"]

Row = dict[str, Any]

_NEVER_CHANGED = frozenset(
    {"id", "scan_id", "auto_x_mm", "auto_y_mm", "auto_se_mm", "auto_shared_se_mm"}
)
_CHANGING = tuple(column.name for column in shot.c if column.name not in _NEVER_CHANGED)


def read_shots(connection: sa.Connection, scan_id: int) -> list[ShotRecord]:
    """Return all shots of a scan by number, those removed included."""
    return [shot_from_row(row) for row in _rows(connection, scan_id)]


def write_shots(connection: sa.Connection, scan_id: int, rows: list[Row]) -> None:
    """Bring the shots of a scan to `rows`, inside the caller's transaction.

    Shots known already keep their id and their automatic position; those that `rows` leaves out
    are marked removed.
    """
    kept = {row["id"]: row for row in _rows(connection, scan_id)}
    owners = _owners(kept, rows, scan_id)
    for key, row in kept.items():
        position = owners.get(key)
        row.update({"removed": True} if position is None else _changing(rows[position]))
    if kept:
        # Out of the way first: renumbering passes through states where two shots share a number.
        connection.execute(
            sa.update(shot).where(shot.c.scan_id == scan_id).values(number=-shot.c.id)
        )
        connection.execute(
            sa.update(shot)
            .where(shot.c.id == sa.bindparam("key"))
            .values({name: sa.bindparam(name) for name in _CHANGING}),
            [{"key": key, **_changing(row)} for key, row in kept.items()],
        )
    taken = set(owners.values())
    new = [
        {**{name: value for name, value in row.items() if name != "id"}, "scan_id": scan_id}
        for position, row in enumerate(rows)
        if position not in taken
    ]
    if new:
        connection.execute(sa.insert(shot), new)


def _rows(connection: sa.Connection, scan_id: int) -> list[Row]:
    query = sa.select(shot).where(shot.c.scan_id == scan_id).order_by(shot.c.number, shot.c.id)
    return [dict(row) for row in connection.execute(query).mappings()]


def _changing(row: Row) -> Row:
    return {name: row[name] for name in _CHANGING}


def _owners(kept: Mapping[int, Row], rows: list[Row], scan_id: int) -> dict[int, int]:
    """Return which of `rows`, by its place in the list, belongs to which kept shot, by its id."""
    owners: dict[int, int] = {}
    for position, row in enumerate(rows):
        if row["id"] in kept:
            owners[row["id"]] = position
        elif row["id"] is not None:
            raise StoreError(
                f"shot {row['number']} carries the id {row['id']}, which is no shot of scan "
                f"{scan_id}: give a new shot id=None"
            )
    for position, row in enumerate(rows):
        if row["id"] is None:
            free = (key for key in kept if key not in owners and _is_same(kept[key], row))
            if (key := next(free, None)) is not None:
                owners[key] = position
    return owners


def _is_same(kept: Row, row: Row) -> bool:
    by_hand = kept["auto_x_mm"] is None
    names = ("auto_x_mm", "auto_y_mm", "number") if by_hand else ("auto_x_mm", "auto_y_mm")
    return all(kept[name] == row[name] for name in names)
