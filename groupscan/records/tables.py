"""What a query finds, as a table for pandas: same columns and types whether empty or full."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from groupscan.records.connect import Store, reading
from groupscan.records.rows import uncollected
from groupscan.records.schema import UtcDateTime

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["frame", "frame_in", "listed"]


def frame(store: Store, query: sa.Select[Any], **types: str) -> "pd.DataFrame":
    """Return what a query finds as a table.

    Parameters
    ----------
    store : Store
        The records.
    query : sqlalchemy.Select
        The query.
    **types : str
        Type of a column by its name; left out: that of the column in the schema. A number that may
        miss is a float, a reference that may miss one of pandas' own whole numbers.
    """
    with reading(store) as connection:
        return frame_in(connection, query, **types)


def frame_in(connection: sa.Connection, query: sa.Select[Any], **types: str) -> "pd.DataFrame":
    """Return what a query finds within a transaction; see `frame`."""
    import pandas as pd
    from pandas.api.types import pandas_dtype

    found = query.selected_columns
    with uncollected():
        rows = connection.execute(query).all()
        columns = list(zip(*rows, strict=True)) or [()] * len(found)
    # By way of object, so that pandas guesses nothing from the values that happen to be there.
    return pd.DataFrame(
        {
            name: pd.Series(list(values), dtype=object).astype(
                pandas_dtype(types.get(name) or _dtype(column))
            )
            for (name, column), values in zip(found.items(), columns, strict=True)
        }
    )


def _dtype(column: sa.ColumnElement[Any]) -> str:
    kind = column.type
    if isinstance(kind, UtcDateTime):
        return "datetime64[us, UTC]"
    if isinstance(kind, sa.Date):
        return "datetime64[s]"
    if isinstance(kind, sa.Boolean):
        return "bool"
    if isinstance(kind, sa.Integer):
        origin = next(iter(column.base_columns), column)
        return "Int64" if getattr(origin, "nullable", False) else "int64"
    return "float64" if isinstance(kind, sa.Float) else "string"


def listed(ids: Iterable[int]) -> sa.BindParameter[Sequence[int]]:
    """Return ids for an IN, however many: written out, since a database takes only so many values.

    SQLite takes 32,766 and PostgreSQL 65,535.
    """
    whole = [int(item) for item in ids]
    return sa.bindparam(None, whole, expanding=True, literal_execute=True)
