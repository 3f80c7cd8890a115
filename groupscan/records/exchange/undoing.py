"""Imports taken back whole, and brought back whole.

Undone is hidden, as deleted is: nothing is erased, and corrections made since stay with the rows
and come back with them. An import's sessions go with all that they hold, unless ends are in them
that came otherwise: then only its own ends go. Gear that it brought goes where nothing else is
shot with it.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, TypeVar, get_args

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.connect import Store, reading, writing
from groupscan.records.exchange.returning import ends_in_otherwise, may_return
from groupscan.records.journal import (
    IMPORT,
    added_rows,
    counts_of,
    file_of,
    note_of_import,
    undone_imports,
)
from groupscan.records.removal import Entry
from groupscan.records.rows import any_row
from groupscan.records.schema import audit, metadata, scan, session, shot
from groupscan.records.titles import titles

__all__ = [
    "Import",
    "bring_back_import",
    "list_imports",
    "undo_import",
]

_AT_ONCE = 500  # identities in one statement; SQLite before 3.32 took at most 999
Ids = dict[str, set[int]]
T = TypeVar("T")


@dataclass(frozen=True)
class Import:
    """A file that was taken in.

    Attributes
    ----------
    id : int
        Number of the import, in the order of the journal.
    uid : str
        Its identity.
    at : datetime
        When, UTC.
    actor : str
        Who, as the computer calls them; may be empty.
    file : str
        What the file was called.
    new : mapping
        How many rows came in with it, by table.
    undone_at : datetime or None
        When it was undone; None where it is not.
    """

    id: int
    uid: str
    at: datetime
    actor: str
    file: str
    new: Mapping[str, int]
    undone_at: datetime | None = None


def list_imports(store: Store, *, last: int | None = 20) -> list[Import]:
    r"""Return the imports, the newest first; `last`: only so many.

    Examples
    --------
    >>> from contextlib import closing
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> from groupscan.records.exchange.shots_in import commit, plan_import
    >>> from groupscan.records.store import list_sessions, open_store
    >>> with TemporaryDirectory() as folder, closing(open_store(Path(folder))) as store:
    ...     path = Path(folder, "may.csv")
    ...     _ = path.write_text("date,x_mm,y_mm\n2026-05-03,1,-2\n")
    ...     _ = commit(store, plan_import(store, path))
    ...     [taken_in] = list_imports(store)
    ...     hidden = undo_import(store, taken_in.uid)
    ...     taken_in.file, hidden["session"], len(list_sessions(store))
    ('may.csv', 1, 0)
    """
    columns = (audit.c.id, audit.c.entry_uid, audit.c.at, audit.c.actor, audit.c.after)
    query = sa.select(*columns).where(audit.c.entry == IMPORT, audit.c.action == "imported")
    with reading(store) as connection:
        undone = undone_imports(connection)
        return [
            Import(key, uid, at, actor, file_of(after), counts_of(after), undone.get(uid))
            for key, uid, at, actor, after in connection.execute(
                query.order_by(audit.c.id.desc()).limit(last)
            )
        ]


def undo_import(store: Store, uid: str) -> dict[str, int]:
    """Hide what came in with an import, all of it or nothing.

    Parameters
    ----------
    store : Store
        The records.
    uid : str
        The import's identity.

    Returns
    -------
    dict of int
        How many rows were hidden, by table; of an end that stood in a hidden session, too.

    Raises
    ------
    StoreError
        There is no such import, it is undone, nothing of it is left, or the records cannot be
        written to. Nothing is changed then.

    Notes
    -----
    What was deleted before stays deleted when the import is brought back. Photos stay on the disk,
    as those of deleted ends do.
    """
    with writing(store) as connection:
        file = _file(connection, uid)
        if uid in undone_imports(connection):
            raise StoreError(f"the import of {file} is undone already")
        ids = _here(connection, added_rows(connection, uid), deleted_at=None)
        hidden = _outings_to_hide(connection, ids)
        at = datetime.now(UTC)
        ends, shots = _held(connection, hidden)
        for name in ("session", "scan"):
            _mark(connection, name, hidden[name], at)
        for table in reversed(metadata.sorted_tables):
            if table.name in get_args(Entry) and table not in (session, scan):
                hidden[table.name] = _unused(connection, table, ids.get(table.name, set()))
                _mark(connection, table.name, hidden[table.name], at)
        if not any(hidden.values()):
            raise StoreError(f"nothing of the import of {file} is left to undo")
        note_of_import(connection, uid, "undone", at=at)
    return {**{name: len(found) for name, found in hidden.items()}, "scan": ends, "shot": shots}


def bring_back_import(store: Store, uid: str) -> tuple[str, ...]:
    """Bring back what was hidden with an import, as it was then.

    Parameters
    ----------
    store : Store
        The records.
    uid : str
        The import's identity.

    Returns
    -------
    tuple of str
        Gear that stays deleted, since another has its name or day by now. What was shot with it
        says so still.

    Raises
    ------
    StoreError
        There is no such import, it is not undone, or some of its ends stand in the records by
        another import. Nothing is changed then.
    """
    stays: dict[str, list[str]] = {}
    with writing(store) as connection:
        file = _file(connection, uid)
        at = undone_imports(connection).get(uid)
        if at is None:
            raise StoreError(f"the import of {file} is not undone: there is nothing to bring back")
        added = added_rows(connection, uid)
        if twice := len(ends_in_otherwise(connection).intersection(added.get("scan", ()))):
            raise StoreError(
                f"{'one end' if twice == 1 else f'{twice} ends'} of {file} came in with another "
                "import too, and would stand in the records twice: undo that one first"
            )
        ids = _here(connection, added, deleted_at=at)
        for name in ("session", "scan"):
            _mark(connection, name, ids.pop(name, ()), None)
        for name, keys in ids.items():
            table = metadata.tables[name]
            for key in sorted(keys):
                row = any_row(connection, table, key)
                if may_return(connection, table, row):
                    _mark(connection, name, (key,), None)
                else:
                    stays.setdefault(name, []).append(row["uid"])
        note_of_import(connection, uid, "restored")
    named = titles(store, stays)
    return tuple(named[one] for name in get_args(Entry) for one in stays.get(name, ()))


def _file(connection: sa.Connection, uid: str) -> str:
    query = sa.select(audit.c.after).where(
        audit.c.entry == IMPORT, audit.c.entry_uid == uid, audit.c.action == "imported"
    )
    found = connection.execute(query).first()
    if found is None:
        raise StoreError(f"there is no import {uid!r} in the records: list them and choose one")
    return file_of(found.after)


def _here(
    connection: sa.Connection, uids: Mapping[str, list[str]], *, deleted_at: datetime | None
) -> Ids:
    """Return the ids of those rows that are live, or that were hidden at an instant."""
    found: Ids = {}
    for name in set(uids).intersection(get_args(Entry)):
        table, named = metadata.tables[name], uids[name]
        query = sa.select(table.c.id).where(table.c.deleted_at.is_not_distinct_from(deleted_at))
        found[name] = {
            key for some in _some(named) for key in connection.scalars(query.where(
                table.c.uid.in_(some)))
        }  # fmt: skip
    return found


def _outings_to_hide(connection: sa.Connection, ids: Ids) -> Ids:
    """Return which of an import's sessions go whole, and which of its ends go from others.

    Ends of a session that was deleted before are hidden with it already, and stay its own.
    """
    homes: dict[int, set[int]] = {}  # the live ends of each session, which may be the import's
    query = sa.select(scan.c.id, scan.c.session_id).join(session)
    query = query.where(scan.c.deleted_at.is_(None), session.c.deleted_at.is_(None))
    for end, home in connection.execute(query):
        homes.setdefault(home, set()).add(end)
    own = ids.get("scan", set()) & set().union(*homes.values())
    whole = {key for key in ids.get("session", set()) if homes.get(key, set()) <= own}
    gone = {end for key in whole for end in homes.get(key, ())}
    return {"session": whole, "scan": own - gone}


def _held(connection: sa.Connection, hidden: Ids) -> tuple[int, int]:
    """Return how many live ends and shots go with these sessions and ends."""
    ends = shots = 0
    standing = sa.func.count(shot.c.id).filter(sa.not_(shot.c.removed))
    counts = sa.select(sa.func.count(scan.c.id.distinct()), standing).outerjoin_from(scan, shot)
    counts = counts.where(scan.c.deleted_at.is_(None))
    for column, keys in ((scan.c.session_id, hidden["session"]), (scan.c.id, hidden["scan"])):
        for some in _some(sorted(keys)):
            more_ends, more_shots = connection.execute(counts.where(column.in_(some))).one()
            ends, shots = ends + more_ends, shots + more_shots
    return ends, shots


def _unused(connection: sa.Connection, table: sa.Table, keys: set[int]) -> set[int]:
    """Return those of the rows that nothing which stays refers to.

    What goes of the tables that refer to this one is hidden by now.
    """
    if not keys:
        return set()
    kept: set[int] = set()
    within: list[tuple[int, int]] = []  # a row and the one of its own table that it refers to
    for other in metadata.sorted_tables:
        for column in other.c:
            if not any(key.column.table is table for key in column.foreign_keys):
                continue
            if other is table:
                query = sa.select(table.c.id, column).where(table.c.deleted_at.is_(None))
                pairs = connection.execute(query.where(column.is_not(None)))
                within += [(key, target) for key, target in pairs]
            else:
                kept |= keys.intersection(connection.scalars(_live(other, column).distinct()))
    while more := {b for a, b in within if b in keys - kept and (a in kept or a not in keys)}:
        kept |= more
    return keys - kept


def _live(table: sa.Table, column: sa.Column[Any]) -> sa.Select[Any]:
    """Return a query of what a column holds in rows that are not hidden."""
    query = sa.select(column).select_from(table)
    if table is shot:
        query = query.join(scan, shot.c.scan_id == scan.c.id)
    if table in (shot, scan):
        query = query.join(session, scan.c.session_id == session.c.id).where(
            scan.c.deleted_at.is_(None), session.c.deleted_at.is_(None)
        )
    if "deleted_at" in table.c:
        query = query.where(table.c.deleted_at.is_(None))
    return query


def _mark(connection: sa.Connection, name: str, keys: Collection[int], at: datetime | None) -> None:
    table = metadata.tables[name]
    for some in _some(sorted(keys)):
        connection.execute(sa.update(table).where(table.c.id.in_(some)).values(deleted_at=at))


def _some(items: Sequence[T]) -> Iterator[Sequence[T]]:
    for start in range(0, len(items), _AT_ONCE):
        yield items[start : start + _AT_ONCE]
