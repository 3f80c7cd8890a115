"""Deleting, which only hides, and taking it back."""

from typing import Literal, get_args

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.connect import Store, writing
from groupscan.records.gear_rules import check_name, check_shaft, check_sight
from groupscan.records.rows import mark_deleted
from groupscan.records.schema import arrow, metadata, pin

__all__ = ["Entry", "delete_entry", "restore_entry"]

Entry = Literal[
    "shooter", "rig", "setup", "build", "arrow", "head", "speed", "pin", "session", "scan"
]


def delete_entry(store: Store, entry: Entry, *keys: int) -> None:
    """Hide entries until `restore_entry`, all at once; sessions that name them keep them.

    Parameters
    ----------
    store : Store
        The records.
    entry : str
        What they are. A deleted session hides its scans with it.
    *keys : int
        Their ids.

    Raises
    ------
    StoreError
        There never was one.
    """
    with writing(store) as connection:
        for key in keys:
            mark_deleted(connection, _table(entry), key, deleted=True)


def restore_entry(store: Store, entry: Entry, *keys: int) -> None:
    """Bring back deleted entries, all of them or, where one raises, none.

    Raises
    ------
    StoreError
        There never was one, its name is taken, it is an arrow that is built anew by now, or a pin
        of a day of which another sight is kept.
    """
    table = _table(entry)
    with writing(store) as connection:
        for key in keys:
            kept = mark_deleted(connection, table, key, deleted=False)
            check_name(connection, table, kept, key)
            if table is arrow:
                check_shaft(connection, kept, kept["state"])
            if table is pin:
                check_sight(connection, kept)


def _table(entry: str) -> sa.Table:
    if entry not in get_args(Entry):
        raise StoreError(f"{entry!r} cannot be deleted: give one of {', '.join(get_args(Entry))}")
    return metadata.tables[entry]
