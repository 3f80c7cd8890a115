"""A line for each correction: what a row was, what it became, when, and by whom."""

import getpass
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from typing import Any

import sqlalchemy as sa

from groupscan.records.schema import audit
from groupscan.records.schema.base import new_uid

__all__ = ["note", "note_changes"]

_Line = tuple[str, Mapping[str, Any], Mapping[str, Any]]
# Kept by the store itself: what they say is said by the line.
_SILENT = frozenset({"revision", "updated_at", "created_at"})


def note_changes(
    connection: sa.Connection,
    table: sa.Table,
    changes: Iterable[tuple[Mapping[str, Any], Mapping[str, Any]]],
) -> None:
    """Note rows that were changed, with the columns that differ; nothing where none does.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction of the change.
    table : sqlalchemy.Table
        Their table.
    changes : iterable of (mapping, mapping)
        Each row as it was, at least its ``uid`` and what is told anew, and its new values; columns
        left out stay.
    """
    lines: list[_Line] = []
    for before, after in changes:
        changed = [name for name, value in after.items() if value != before[name]]
        changed = [name for name in changed if name not in _SILENT]
        if changed:
            was, now = ({name: row[name] for name in changed} for row in (before, after))
            lines.append((before["uid"], was, now))
    _write(connection, table, "changed", lines)


def note(connection: sa.Connection, table: sa.Table, uid: str, action: str) -> None:
    """Note what happened to a whole row."""
    _write(connection, table, action, [(uid, {}, {})])


def _write(connection: sa.Connection, table: sa.Table, action: str, lines: list[_Line]) -> None:
    if not lines:
        return
    told = _identities(connection, table, [values for _, *both in lines for values in both])
    now, actor = datetime.now(UTC), _actor()
    rows = [
        {
            "uid": new_uid(), "at": now, "actor": actor, "action": action, "entry": table.name,
            "entry_uid": uid, "before": _portable(before, told), "after": _portable(after, told),
        }
        for uid, before, after in lines
    ]  # fmt: skip
    connection.execute(sa.insert(audit), rows)


def _actor() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # a user without a name, as in some containers
        return ""


def _identities(
    connection: sa.Connection, table: sa.Table, values: list[Mapping[str, Any]]
) -> dict[str, dict[int, str]]:
    """Return the identities of the rows that `values` refer to, by column and id."""
    told: dict[str, dict[int, str]] = {}
    for name in {name for row in values for name in row}:
        target = next((key.column.table for key in table.c[name].foreign_keys), None)
        if target is not None and "uid" in target.c:
            keys = {row[name] for row in values if row.get(name) is not None}
            query = sa.select(target.c.id, target.c.uid).where(target.c.id.in_(keys))
            told[name] = {row.id: row.uid for row in connection.execute(query)}
    return told


def _portable(values: Mapping[str, Any], told: Mapping[str, Mapping[int, str]]) -> dict[str, Any]:
    """Return values as JSON holds them; references to rows by their identity in any store."""
    plain = {}
    for name, value in values.items():
        if name in told:
            plain[name.removesuffix("_id")] = None if value is None else told[name][value]
        else:
            plain[name] = value.isoformat() if isinstance(value, date | datetime) else value
    return plain
