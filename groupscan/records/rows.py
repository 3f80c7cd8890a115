"""Rows of any table that the store keeps: found, saved, hidden and brought back."""

import gc
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.files import Progress
from groupscan.records.journal import note, note_changes
from groupscan.records.schema.base import new_uid
from groupscan.records.values.checks import whole_number

__all__ = [
    "any_row",
    "insert_many",
    "insert_row",
    "insert_rows",
    "live_row",
    "mark_deleted",
    "uncollected",
    "update_row",
]

Row = dict[str, Any]
_AT_ONCE = 5000
"""Rows in one statement: a small part of a second, after which work can be stopped."""
_MANY = 1000
"""From so many on, asking once for all ids is quicker than letting each statement return its own
(half the time at 100,000)."""


@contextmanager
def uncollected() -> Iterator[None]:
    """Keep Python from looking for cycles, of which rows have none, again and again among them.

    It takes nearly half of the time that ten thousand rows take otherwise.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def any_row(connection: sa.Connection, table: sa.Table, key: int) -> Row:
    """Return one row, deleted or not. StoreError if there is none."""
    key = whole_number(key, f"id of the {table.name}")
    row = connection.execute(sa.select(table).where(table.c.id == key)).mappings().first()
    if row is None:
        raise StoreError(f"there is no {table.name} {key} in the records: list them and choose one")
    return dict(row)


def live_row(connection: sa.Connection, table: sa.Table, key: int) -> Row:
    """Return one row that is not deleted. StoreError if there is none."""
    row = any_row(connection, table, key)
    if row["deleted_at"] is not None:
        raise StoreError(
            f"{table.name} {key} was deleted on {row['deleted_at']:%Y-%m-%d}: restore it first"
        )
    return row


def insert_row(connection: sa.Connection, table: sa.Table, values: Row) -> int:
    """Insert one row with its stamps and return its id."""
    return insert_rows(connection, table, [values])[0]


def insert_rows(
    connection: sa.Connection,
    table: sa.Table,
    rows: Sequence[Row],
    *,
    progress: Progress | None = None,
) -> list[int]:
    """Insert rows with their stamps, in few statements, and return their ids in order."""
    if not rows:
        return []
    now = datetime.now(UTC)
    stamps: Row = {"created_at": now}  # and an identity of its own, where a row brings none
    if "revision" in table.c:
        stamps |= {"revision": 1, "updated_at": now}
    new = [{**stamps, **row, "uid": row.get("uid") or new_uid()} for row in rows]
    if len(new) < _MANY:
        insert = sa.insert(table).returning(table.c.id, sort_by_parameter_order=True)
        return list(connection.scalars(insert, new))
    last = connection.scalar(sa.select(sa.func.max(table.c.id))) or 0
    insert_many(connection, table, new, progress=progress)
    found = connection.execute(sa.select(table.c.uid, table.c.id).where(table.c.id > last))
    ids = dict(found.all())
    return [ids[row["uid"]] for row in new]


def insert_many(
    connection: sa.Connection,
    table: sa.Table,
    rows: Sequence[Row],
    *,
    progress: Progress | None = None,
) -> None:
    """Insert rows as they are, some thousands at once."""
    for start in range(0, len(rows), _AT_ONCE):
        if progress is not None:
            progress(start, len(rows))
        connection.execute(sa.insert(table), rows[start : start + _AT_ONCE])


def update_row(
    connection: sa.Connection, table: sa.Table, kept: Row, values: Row, revision: int | None
) -> None:
    """Change the row `kept` to `values` unless it is not at `revision` any more; note it.

    Raises
    ------
    StoreError
        Somebody saved the row after the copy at `revision` was loaded.
    """
    changed = connection.execute(
        sa.update(table)
        .where(table.c.id == kept["id"], table.c.revision == revision)
        .values(**values, revision=table.c.revision + 1, updated_at=datetime.now(UTC))
    )
    if changed.rowcount != 1:
        raise StoreError(
            f"{table.name} {kept['id']} has been changed since this copy was loaded (it is at "
            f"revision {kept['revision']}, the copy at {revision}). Nothing was stored: load it "
            "again and repeat the change"
        )
    note_changes(connection, table, [(kept, values)])


def mark_deleted(connection: sa.Connection, table: sa.Table, key: int, *, deleted: bool) -> Row:
    """Hide a row, or bring it back, and note it; return the row as it was.

    What is hidden already keeps the day on which it was.
    """
    kept = any_row(connection, table, key)
    if (kept["deleted_at"] is not None) != deleted:
        when = datetime.now(UTC) if deleted else None
        connection.execute(sa.update(table).where(table.c.id == key).values(deleted_at=when))
        note(connection, table, kept["uid"], "deleted" if deleted else "restored")
    return kept
