"""Deleting, which only hides, and taking it back."""

from typing import Literal, get_args

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.connect import Store, writing
from groupscan.records.gear import check_name, check_shaft
from groupscan.records.rows import mark_deleted
from groupscan.records.schema import arrow, metadata

__all__ = ["Entry", "delete_entry", "restore_entry"]

Entry = Literal["shooter", "rig", "setup", "build", "arrow", "head", "session", "scan"]


def delete_entry(store: Store, entry: Entry, key: int) -> None:
    """Hide an entry until `restore_entry`; sessions that name it keep it.

    Parameters
    ----------
    store : Store
        The records.
    entry : str
        What it is. A deleted session hides its scans with it.
    key : int
        Its id.

    Raises
    ------
    StoreError
        There never was one.
    """
    with writing(store) as connection:
        mark_deleted(connection, _table(entry), key, deleted=True)


def restore_entry(store: Store, entry: Entry, key: int) -> None:
    """Bring back a deleted entry.

    Raises
    ------
    StoreError
        There never was one, its name is taken, or it is an arrow that is built anew by now.
    """
    table = _table(entry)
    with writing(store) as connection:
        kept = mark_deleted(connection, table, key, deleted=False)
        check_name(connection, table, kept, key)
        if table is arrow:
            check_shaft(connection, kept, kept["state"])


def _table(entry: str) -> sa.Table:
    if entry not in get_args(Entry):
        raise StoreError(f"{entry!r} cannot be deleted: give one of {', '.join(get_args(Entry))}")
    return metadata.tables[entry]
