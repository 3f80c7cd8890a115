"""What happened to the records lately, with names for people: deletions and corrections."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, cast, get_args

import sqlalchemy as sa

from groupscan.records.connect import Store, reading
from groupscan.records.journal import undone_imports
from groupscan.records.lists import list_corrections
from groupscan.records.removal import Entry
from groupscan.records.schema import metadata
from groupscan.records.titles import titles

__all__ = ["Correction", "Deleted", "lately_corrected", "lately_deleted"]


@dataclass(frozen=True)
class Deleted:
    """A hidden entry.

    Attributes
    ----------
    entry : str
        What it is, as `groupscan.records.removal.restore_entry` takes it.
    id : int
        Its number.
    title : str
        What it is called.
    at : datetime
        When it was deleted, UTC.
    """

    entry: Entry
    id: int
    title: str
    at: datetime


@dataclass(frozen=True)
class Correction:
    """What happened to one entry.

    Attributes
    ----------
    at : datetime
        When, UTC.
    actor : str
        Who, as the computer calls them; may be empty.
    action : str
        ``changed``, ``deleted`` or ``restored``; of an import also ``imported`` or ``undone``.
    entry : str
        The table; ``import`` for an import.
    title : str
        What the entry is called now; empty where it is not here.
    before, after : dict
        The columns that differ. References are told by what they refer to.
    """

    at: datetime
    actor: str
    action: str
    entry: str
    title: str
    before: Mapping[str, Any]
    after: Mapping[str, Any]


def lately_deleted(
    store: Store, *, last: int = 20, day_text: Callable[[date], str] = date.isoformat
) -> list[Deleted]:
    """Return the hidden entries, those deleted last first.

    Parameters
    ----------
    store : Store
        The records.
    last : int
        Only so many.
    day_text : callable
        Writes the days in titles.

    Notes
    -----
    Ends of a hidden session are told only once it is back, since they come back with it. What was
    hidden with an import that was undone comes back with that import, and is not told either.

    Examples
    --------
    >>> from contextlib import closing
    >>> from datetime import date
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> from groupscan.records.store import Session, delete_entry, open_store, save_session
    >>> with TemporaryDirectory() as folder, closing(open_store(Path(folder))) as store:
    ...     delete_entry(store, "session", save_session(store, Session(held_on=date(2026, 5, 3))))
    ...     [one.title for one in lately_deleted(store)]
    ['session 1 of 2026-05-03']
    """
    found: list[tuple[datetime, Entry, int, str]] = []
    with reading(store) as connection:
        undone = set(undone_imports(connection).values())
        for entry in get_args(Entry):
            table = metadata.tables[entry]
            query = sa.select(table.c.deleted_at, table.c.id, table.c.uid)
            query = query.where(table.c.deleted_at.is_not(None), table.c.deleted_at.not_in(undone))
            if entry == "scan":
                session = metadata.tables["session"]
                query = query.join(session).where(session.c.deleted_at.is_(None))
            query = query.order_by(table.c.deleted_at.desc()).limit(last)
            for at, key, uid in connection.execute(query):
                found.append((at, cast(Entry, entry), key, uid))
    found = sorted(found, key=lambda one: one[0], reverse=True)[:last]
    wanted = _by_table((entry, uid) for _, entry, _, uid in found)
    named = titles(store, wanted, day_text=day_text)
    return [Deleted(entry, key, named[uid], at) for at, entry, key, uid in found]


def lately_corrected(
    store: Store, *, last: int = 200, day_text: Callable[[date], str] = date.isoformat
) -> list[Correction]:
    """Return the newest corrections, with what their entries are called.

    Parameters
    ----------
    store : Store
        The records.
    last : int
        Only so many.
    day_text : callable
        Writes the days in titles.
    """
    lines = list_corrections(store, last=last).to_dict("records")
    wanted = {(line["entry"], line["entry_uid"]) for line in lines}
    for line in lines:
        for values in (line["before"], line["after"]):
            for name, value in values.items():
                if (target := _target(line["entry"], name)) and isinstance(value, str):
                    wanted.add((target, value))
    named = titles(store, _by_table(wanted), day_text=day_text)

    def told(entry: str, values: Mapping[str, Any]) -> dict[str, Any]:
        return {
            name: named.get(value, "") if _target(entry, name) and value else value
            for name, value in values.items()
        }

    return [
        Correction(
            line["at"].to_pydatetime(), line["actor"], line["action"], line["entry"],
            named.get(line["entry_uid"], ""),
            told(line["entry"], line["before"]), told(line["entry"], line["after"]),
        )
        for line in lines
    ]  # fmt: skip


def _target(entry: str, name: str) -> str:
    """Return the table that a value of the journal refers to by its identity; empty if none."""
    table = metadata.tables.get(entry)  # None for an import
    column = None if table is None else table.c.get(f"{name}_id")
    if column is None:
        return ""
    tables = [key.column.table for key in column.foreign_keys]
    return tables[0].name if tables else ""


def _by_table(pairs: Iterable[tuple[str, str]]) -> dict[str, set[str]]:
    wanted: dict[str, set[str]] = defaultdict(set)
    for entry, uid in pairs:
        wanted[entry].add(uid)
    return wanted
