"""The arrows of some shots in the records: what each is and was."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from groupscan.records.store import list_arrows

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.records.connect import Store

__all__ = ["Shafts", "shafts_of"]


@dataclass(frozen=True)
class Shafts:
    """The arrows of a table of shots in the records.

    Attributes
    ----------
    ids : mapping
        The shaft of each arrow, by the name that it has in the table.
    rows : mapping
        All that a shaft is and was, the oldest first, by shaft.
    """

    ids: Mapping[str, int]
    rows: Mapping[int, list[dict[str, Any]]]

    def now(self, name: str) -> dict[str, Any] | None:
        """Return what an arrow is now; None where it is not in the records any more."""
        rows = self.rows.get(self.ids.get(name, -1), [])
        return next((row for row in reversed(rows) if row["state"] != "rebuilt"), None)

    def states(self) -> dict[str, str]:
        """Return the state of each arrow, by its name."""
        return {name: row["state"] for name in self.ids if (row := self.now(name)) is not None}


def shafts_of(store: Store, shots: pd.DataFrame) -> Shafts:
    """Find the arrows of these shots in the records.

    Parameters
    ----------
    store : Store
    shots : DataFrame
        With the columns ``arrow`` and ``shaft``.
    """
    known = shots[["arrow", "shaft"]].dropna().drop_duplicates("arrow")
    rows: dict[int, list[dict[str, Any]]] = {}
    for row in list_arrows(store).to_dict("records"):
        named = {str(column): value for column, value in row.items()}
        rows.setdefault(int(row["shaft_id"]), []).append(named)
    ids = {str(name): int(key) for name, key in known.itertuples(index=False)}
    return Shafts(ids, rows)
