"""Whether the records have changed: a mark that is another one after each saving."""

import sqlalchemy as sa

from groupscan.records.connect import Store, reading
from groupscan.records.schema import metadata

__all__ = ["change_mark"]


def change_mark(store: Store) -> tuple[int, ...]:
    """Return a mark of all that the records hold, at next to no cost.

    Whatever is added is the newest row of its table, and whatever is changed, deleted or restored
    leaves a line of its own among the corrections; so the identities of the newest rows are others
    after each saving, by this program or by another. Records put back from a backup have the mark
    that they had then.

    Examples
    --------
    >>> from contextlib import closing
    >>> from datetime import date
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> from groupscan.records.store import Session, open_store, save_session
    >>> with TemporaryDirectory() as folder, closing(open_store(Path(folder))) as store:
    ...     before = change_mark(store)
    ...     _ = save_session(store, Session(held_on=date(2026, 5, 3)))
    ...     before == change_mark(store)
    False
    """
    newest = [
        sa.select(table.c.uid).order_by(table.c.id.desc()).limit(1).scalar_subquery()
        for table in metadata.sorted_tables
        if "id" in table.c
    ]
    with reading(store) as connection:
        row = connection.execute(sa.select(*newest)).one()
        return tuple(0 if uid is None else int(uid, 16) for uid in row)
