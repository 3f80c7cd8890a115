"""Every row of an archive as it stands there, numbers included, in place of all that is kept."""

from typing import Any

import sqlalchemy as sa

from groupscan.records.exchange.archive.columns import fields, key_of, tables_in_order
from groupscan.records.exchange.archive.reading import Archive, chunks
from groupscan.records.files import Counter, Progress

__all__ = ["ROWS_AT_ONCE", "holds_rows", "link_within", "number_on", "put_rows"]

ROWS_AT_ONCE = 500
"""SQLite took at most 999 values in one statement before 3.32; 500 identities fit in any."""


def put_rows(
    connection: sa.Connection,
    archive: Archive,
    metadata: sa.MetaData,
    *,
    progress: Progress | None = None,
) -> None:
    """Replace every row of every table by those of a checked archive, in the caller's transaction.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction.
    archive : Archive
        The rows.
    metadata : sqlalchemy.MetaData
        The tables, those of the archive's revision.
    progress : callable, optional
        Called with how many rows are in place and how many there are.
    """
    counter = Counter(progress, sum(archive.manifest.rows.values()))
    tables = tables_in_order(metadata)
    for table in reversed(tables):
        connection.execute(sa.delete(table))
    ids: dict[str, dict[str, int]] = {}
    for table in tables:
        known = ids.setdefault(table.name, {})
        references = [field for field in fields(table) if field.target is not None]
        links: list[dict[str, Any]] = []
        for rows in chunks(archive.rows(table), ROWS_AT_ONCE):
            counter.add(len(rows))
            for row in rows:
                link: dict[str, Any] = {}
                for field in references:
                    uid = row[field.name]
                    if uid is None or field.target is None:
                        continue
                    if field.of_own_table:  # the row that it names may come later
                        link[field.name], row[field.name] = uid, None
                    else:
                        row[field.name] = ids[field.target.name][uid]
                if link:
                    links.append({"id": row["id"], **link})
                if "id" in row:
                    known[row[key_of(table).name]] = row["id"]
            connection.execute(sa.insert(table), rows)
        link_within(connection, table, links, known)
        number_on(connection, table)


def link_within(
    connection: sa.Connection,
    table: sa.Table,
    links: list[dict[str, Any]],
    ids: dict[str, int],
) -> None:
    """Let rows refer to others of their own table.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction.
    table : sqlalchemy.Table
        The table.
    links : list of dict
        The id of a row, and the identities that its columns refer to, by their names.
    ids : dict
        From identities to ids.
    """
    for link in links:
        values = {name: ids[uid] for name, uid in link.items() if name != "id"}
        connection.execute(sa.update(table).where(table.c.id == link["id"]).values(values))


def number_on(connection: sa.Connection, table: sa.Table) -> None:
    """Let the database number new rows after those that came with their numbers."""
    if connection.dialect.name == "postgresql" and "id" in table.c:
        last = sa.func.max(table.c.id)
        sequence = sa.func.pg_get_serial_sequence(table.name, "id")
        connection.execute(
            sa.select(sa.func.setval(sequence, sa.func.coalesce(last, 1), last.is_not(None)))
        )


def holds_rows(connection: sa.Connection, metadata: sa.MetaData) -> bool:
    """Return whether any table has a row."""
    return any(
        connection.scalar(sa.select(sa.exists(sa.select(table)))) for table in
        tables_in_order(metadata)
    )  # fmt: skip
