"""Which cells stand for a row: those of every column, whatever columns a table has.

A reference to another row goes by that row's ``uid``, in a column named for it: ``rig_uid`` for
``rig_id``. A photo's checksum is its identity already.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import sqlalchemy as sa

from groupscan.records.exchange.archive.cells import NULL, encoder

__all__ = ["Field", "fields", "key_of", "row_writer", "tables_in_order"]


@dataclass(frozen=True)
class Field:
    """One column of a file.

    Attributes
    ----------
    head : str
        What it is called in the file.
    column : sqlalchemy.Column
        The column of the table.
    target : sqlalchemy.Table, optional
        The table that it refers to by number; the file has the identity instead.
    """

    head: str
    column: sa.Column[Any]
    target: sa.Table | None

    @property
    def name(self) -> str:
        """Name of the column in the database."""
        return self.column.name

    @property
    def of_own_table(self) -> bool:
        """Whether it refers to rows of the same table."""
        return self.target is not None and self.target.name == self.column.table.name


@cache
def fields(table: sa.Table) -> tuple[Field, ...]:
    """Return the columns of a table's file, in the order of the table's own.

    Examples
    --------
    >>> from groupscan.records.schema import setup
    >>> [field.head for field in fields(setup)][:3]
    ['id', 'uid', 'rig_uid']
    """
    return tuple(_field(column) for column in table.columns)


def _field(column: sa.Column[Any]) -> Field:
    for key in column.foreign_keys:
        target = key.column.table
        if key.column.name == "id" and "uid" in target.c:
            return Field(column.name.removesuffix("_id") + "_uid", column, target)
    return Field(column.name, column, None)


def key_of(table: sa.Table) -> sa.Column[Any]:
    """Return the column that says in every store which row this is."""
    return table.c["uid" if "uid" in table.c else "sha256"]


def tables_in_order(metadata: sa.MetaData) -> list[sa.Table]:
    """Return the tables, each after those that it refers to."""
    return [table for table in metadata.sorted_tables if table.name != "alembic_version"]


def row_writer(
    table: sa.Table, uids: Mapping[str, Mapping[int, str]]
) -> Callable[[sa.Row[Any]], list[str]]:
    """Return what turns a row of `table` into cells.

    Parameters
    ----------
    table : sqlalchemy.Table
        The table.
    uids : mapping
        For each table that it refers to, from the number of a row to its identity. A row that is
        not there is a KeyError.
    """
    writers = [
        encoder(field.column) if field.target is None else _uid_writer(uids[field.target.name])
        for field in fields(table)
    ]
    return lambda row: [write(value) for write, value in zip(writers, row, strict=True)]


def _uid_writer(known: Mapping[int, str]) -> Callable[[int | None], str]:
    return lambda key: NULL if key is None else known[key]
