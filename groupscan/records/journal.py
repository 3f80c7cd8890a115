"""A line for each correction: what a row was, what it became, when, and by whom.

An import has lines too: one that says what came in, some that name its rows, and one each time it
is undone or brought back.
"""

import getpass
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime
from typing import Any

import sqlalchemy as sa

from groupscan.records.schema import audit
from groupscan.records.schema.base import new_uid

__all__ = [
    "IMPORT",
    "NAMED",
    "added_rows",
    "counts_of",
    "file_of",
    "note",
    "note_changes",
    "note_import",
    "note_of_import",
    "undone_imports",
]

#: What stands for the table in lines about an import.
IMPORT = "import"
#: What stands for the act in lines that only name an import's rows: nothing to tell anybody.
NAMED = "added"
_NAMES_A_LINE = 1000

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


def note_import(
    connection: sa.Connection,
    uid: str,
    *,
    file: str,
    new: Mapping[str, int],
    added: Mapping[str, Sequence[str]],
) -> None:
    """Note what came in with an import, so that it can be undone.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction of the import.
    uid : str
        The import's own identity.
    file : str
        What the file is called.
    new : mapping
        How many rows came in, by table.
    added : mapping
        The identities of those that can be hidden, by table.
    """
    _insert(connection, IMPORT, "imported", [(uid, {}, {"file": file, "new": dict(new)})])
    lines: list[_Line] = [
        (uid, {}, {table: list(uids[start : start + _NAMES_A_LINE])})
        for table, uids in added.items()
        for start in range(0, len(uids), _NAMES_A_LINE)
    ]
    _insert(connection, IMPORT, NAMED, lines)


def note_of_import(
    connection: sa.Connection, uid: str, action: str, *, at: datetime | None = None
) -> None:
    """Note that an import was ``undone``, at the instant its rows were hidden, or ``restored``."""
    _insert(connection, IMPORT, action, [(uid, {}, {})], at=at)


def file_of(after: Any) -> str:
    """Return what the file of an import was called, by its line; lines may be of any archive."""
    return str(after["file"]) if isinstance(after, dict) and "file" in after else "a file"


def counts_of(after: Any) -> dict[str, int]:
    """Return how many rows came in with an import, by table, by its line."""
    new = after.get("new") if isinstance(after, dict) else None
    counts = new.items() if isinstance(new, dict) else ()
    return {name: count for name, count in counts if isinstance(count, int)}


def added_rows(connection: sa.Connection, uid: str) -> dict[str, list[str]]:
    """Return the identities of the rows that came in with an import, by table."""
    query = sa.select(audit.c.after).where(
        audit.c.entry == IMPORT, audit.c.entry_uid == uid, audit.c.action == NAMED
    )
    found: dict[str, list[str]] = {}
    for after in connection.scalars(query.order_by(audit.c.id)):
        for table, uids in after.items() if isinstance(after, dict) else ():
            if isinstance(uids, list):
                found.setdefault(table, []).extend(map(str, uids))
    return found


def undone_imports(connection: sa.Connection) -> dict[str, datetime]:
    """Return when the imports were undone that are so now, by their identities.

    What was hidden with one has that very instant for the time of its deletion.
    """
    query = sa.select(audit.c.entry_uid, audit.c.action, audit.c.at).where(
        audit.c.entry == IMPORT, audit.c.action.in_(("undone", "restored"))
    )
    last = {uid: (action, at) for uid, action, at in connection.execute(query.order_by(audit.c.id))}
    return {uid: at for uid, (action, at) in last.items() if action == "undone"}


def _write(connection: sa.Connection, table: sa.Table, action: str, lines: list[_Line]) -> None:
    if not lines:
        return
    told = _identities(connection, table, [values for _, *both in lines for values in both])
    portable = [(uid, _portable(was, told), _portable(now, told)) for uid, was, now in lines]
    _insert(connection, table.name, action, portable)


def _insert(
    connection: sa.Connection,
    entry: str,
    action: str,
    lines: Sequence[_Line],
    *,
    at: datetime | None = None,
) -> None:
    now, actor = at or datetime.now(UTC), _actor()
    rows = [
        {
            "uid": new_uid(), "at": now, "actor": actor, "action": action, "entry": entry,
            "entry_uid": uid, "before": before, "after": after,
        }
        for uid, before, after in lines
    ]  # fmt: skip
    if rows:
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
