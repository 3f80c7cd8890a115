"""What of the undone imports may come back, and which of them are undone still."""

from collections.abc import Mapping
from datetime import datetime
from typing import Final, get_args

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.exchange.known_shots import next_uid, taken_uids
from groupscan.records.gear_rules import check_name, check_shaft, check_sight
from groupscan.records.journal import note_of_import, undone_imports
from groupscan.records.removal import Entry
from groupscan.records.rows import Row
from groupscan.records.schema import arrow, metadata, pin

__all__ = ["ends_in_otherwise", "may_return", "settle_undone"]

_VERSION: Final = 12
"""Which digit of an identity is its version (RFC 9562, section 4.2); 5 where made of a content."""


def ends_in_otherwise(connection: sa.Connection) -> set[str]:
    """Return the identities of the hidden ends that came in with another import, and stand there.

    Of the same end that came in again and again after its import was undone, one at most stands.
    """
    ends, _ = taken_uids(connection)
    after = {uid: next_uid(uid) for uid in ends if uid[_VERSION : _VERSION + 1] == "5"}
    found: set[str] = set()
    for first in after.keys() - set(after.values()):
        same = [first]
        while (later := after[same[-1]]) in ends:
            same.append(later)
        hidden = [uid for uid in same if ends[uid] is None]
        if len(hidden) < len(same):
            found.update(hidden)
    return found


def may_return(connection: sa.Connection, table: sa.Table, hidden: Row) -> bool:
    """Return whether nothing has taken the place of a hidden row by now."""
    try:
        check_name(connection, table, hidden, hidden["id"])
        if table is arrow:
            check_shaft(connection, hidden, hidden["state"])
        if table is pin:
            check_sight(connection, hidden)
    except StoreError:
        return False
    return True


def settle_undone(connection: sa.Connection, before: Mapping[str, datetime]) -> None:
    """Let the journal say of each import what is so here, after lines from elsewhere came in.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction.
    before : mapping
        The imports that were undone before those lines, and when. They are so still where anything
        of them is hidden; others are only if something came in that is hidden with them.
    """
    now = undone_imports(connection)
    hidden = {at for at in {*before.values(), *now.values()} if _hides(connection, at)}
    for uid in {**before, **now}:
        if before.get(uid) in hidden:
            if now.get(uid) != before[uid]:
                note_of_import(connection, uid, "undone", at=before[uid])
        elif uid in now and now[uid] not in hidden:
            note_of_import(connection, uid, "restored")


def _hides(connection: sa.Connection, at: datetime) -> bool:
    tables = [metadata.tables[name] for name in get_args(Entry)]
    rows = (sa.exists(sa.select(table.c.id).where(table.c.deleted_at == at)) for table in tables)
    return bool(connection.scalar(sa.select(sa.or_(*rows))))
