"""Whether the database is whole, and each row refers to rows that are there."""

import re
from collections.abc import Iterator

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.connect import Store, reading, writing
from groupscan.records.schema import metadata
from groupscan.records.upkeep.finding import Finding

__all__ = ["check_tables"]

_BACKUP = "bring back a backup: what was stored since is kept in the damaged file, so keep that too"
_SHOWN = 5
"""Of many rows with the same trouble so many are named; the rest are counted."""

# What integrity_check says of an index that does not tell what its table holds. One whose entries
# should be unlike and are not is no such case: it cannot be built anew.
_INDEX_ONLY = re.compile(
    r"row \d+ missing from index (?P<missing>\S+)"
    r"|wrong # of entries in index (?P<count>\S+)"
    r"|row \d+ values differ from index (?P<differs>\S+)"
)

_NOT_HELD = sa.text(
    "SELECT conrelid::regclass::text, conname FROM pg_constraint "
    "WHERE connamespace = current_schema()::regnamespace AND NOT convalidated ORDER BY 1, 2"
)
_UNFINISHED = sa.text(
    "SELECT i.indexrelid::regclass::text FROM pg_index i JOIN pg_class c ON c.oid = i.indexrelid "
    "WHERE c.relnamespace = current_schema()::regnamespace AND NOT i.indisvalid ORDER BY 1"
)


def check_tables(store: Store, *, repair: bool = False) -> list[Finding]:
    """Return what is wrong inside the database; build indexes anew where told to `repair`."""
    if store.engine.dialect.name == "sqlite":
        found = list(_whole_file(store, repair=repair))
    else:
        found = list(_whole_server(store, repair=repair))
    if any(finding.kind == "database damaged" for finding in found):
        return found  # what damaged pages say of references says nothing
    with reading(store) as connection:
        return found + list(_references(connection))


def _whole_file(store: Store, *, repair: bool) -> Iterator[Finding]:
    said = _integrity(store)
    indexes = [_index_of(line) for line in said]
    if said and all(indexes):
        names = sorted({index for index in indexes if index})
        mended = repair and _rebuild(store, names) and not _integrity(store)
        yield from (_index(name, mended=mended) for name in names)
    else:
        for line in said[:_SHOWN]:
            yield Finding(kind="database damaged", what=line, advice=_BACKUP)


def _integrity(store: Store) -> list[str]:
    try:
        with reading(store) as connection:
            rows = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
    except StoreError as err:  # too damaged to look at
        return [str(err)]
    return [line for row in rows for line in str(row).splitlines() if line != "ok"]


def _index_of(line: str) -> str | None:
    match = _INDEX_ONLY.fullmatch(line.strip())
    return match and next(name for name in match.groups() if name)


def _index(name: str, *, mended: bool) -> Finding:
    return Finding(
        kind="index damaged",
        what=f"the index {name} does not tell what its table holds",
        safe=True,
        repaired=mended,
        advice="it was built anew" if mended else "let it be built anew; no entry is touched",
    )


def _rebuild(store: Store, names: list[str]) -> bool:
    known = {index.name for table in metadata.tables.values() for index in table.indexes}
    try:
        with writing(store) as connection:
            quote = connection.dialect.identifier_preparer.quote
            for name in names:
                # SQLite has no other name for an index that a constraint brought along.
                own = name in known or name.startswith("sqlite_autoindex_")
                if not own and connection.dialect.name == "sqlite":
                    return False
                word = "REINDEX" if connection.dialect.name == "sqlite" else "REINDEX INDEX"
                connection.exec_driver_sql(f"{word} {quote(name)}")
    except StoreError:
        return False
    return True


def _whole_server(store: Store, *, repair: bool) -> Iterator[Finding]:
    with reading(store) as connection:
        not_held = connection.execute(_NOT_HELD).all()
        unfinished = list(connection.scalars(_UNFINISHED))
    for table, name in not_held:
        yield Finding(
            kind="rule not held",
            what=f"the database does not hold the rule {name} of the table {table}",
            advice=f"ask who runs the server for ALTER TABLE {table} VALIDATE CONSTRAINT {name}",
        )
    for name in unfinished:
        yield _index(name, mended=repair and _rebuild(store, [name]))


def _references(connection: sa.Connection) -> Iterator[Finding]:
    """Find rows whose parent is not there; the database itself forbids them while it can."""
    for table in metadata.sorted_tables:
        for key in sorted(table.foreign_keys, key=lambda key: key.parent.name):
            parent = key.column.table.alias("parent")
            lost = (
                sa.select(table.c.id)
                .select_from(table.outerjoin(parent, key.parent == parent.c[key.column.name]))
                .where(key.parent.is_not(None), parent.c[key.column.name].is_(None))
                .order_by(table.c.id)
            )
            if ids := connection.scalars(lost).all():
                named = ", ".join(map(str, ids[:_SHOWN])) + (" ..." if len(ids) > _SHOWN else "")
                target = key.column.table.name
                yield Finding(
                    kind="entry missing",
                    what=f"{len(ids)} of the table {table.name} refer to a {target} that is not "
                    f"there (id {named})",
                    advice=f"bring the {target} back from a backup; nothing is taken away here",
                )
