"""A line for each correction: what a row was, what it became, when, and by whom."""

import getpass
from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Any

import sqlalchemy as sa

from groupscan.records.schema import audit

__all__ = ["note", "note_change"]

# Kept by the store itself: what they say is said by the line.
_SILENT = frozenset({"revision", "updated_at", "created_at"})


def note_change(
    connection: sa.Connection, table: sa.Table, before: Mapping[str, Any], after: Mapping[str, Any]
) -> None:
    """Note that a row was changed, with the columns that differ; nothing where none does.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction of the change.
    table : sqlalchemy.Table
        Its table.
    before : mapping
        The whole row as it was.
    after : mapping
        Its new values; columns left out stay.
    """
    changed = [name for name, value in after.items() if value != before[name]]
    changed = [name for name in changed if name not in _SILENT]
    if changed:
        was = {name: before[name] for name in changed}
        note(connection, table, before["uid"], "changed", was, {n: after[n] for n in changed})


def note(
    connection: sa.Connection,
    table: sa.Table,
    uid: str,
    action: str,
    before: Mapping[str, Any],
    after: Mapping[str, Any],
) -> None:
    """Note one line; references to other rows are told by their identity in any store."""
    connection.execute(
        sa.insert(audit).values(
            at=datetime.now(UTC),
            actor=_actor(),
            action=action,
            entry=table.name,
            entry_uid=uid,
            before=_portable(connection, table, before),
            after=_portable(connection, table, after),
        )
    )


def _actor() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # a user without a name, as in some containers
        return ""


def _portable(
    connection: sa.Connection, table: sa.Table, values: Mapping[str, Any]
) -> dict[str, Any]:
    told = {}
    for name, value in values.items():
        target = next((key.column.table for key in table.c[name].foreign_keys), None)
        if value is not None and target is not None and "uid" in target.c:
            query = sa.select(target.c.uid).where(target.c.id == value)
            told[name.removesuffix("_id")] = connection.scalar(query)
        elif target is not None and "uid" in target.c:
            told[name.removesuffix("_id")] = None
        else:
            told[name] = value.isoformat() if isinstance(value, date | datetime) else value
    return told
