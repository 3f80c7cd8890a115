"""Shots of the records as one table, with what is known of their gear in words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from datetime import date
from typing import TYPE_CHECKING, Final

from groupscan.errors import TableError

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.records.store import Store

__all__ = ["read_records"]

_TEXTS: Final = ("rig", "shooter", "head", "arrow", "build", "purpose", "place")


def read_records(store: Store, day_text: Callable[[date], str] = date.isoformat) -> pd.DataFrame:
    """Read all shots; see `groupscan.decisions.shot_table.shots_of_store`.

    Parameters
    ----------
    store : Store
        The records.
    day_text : callable
        Writes a day as the reader likes it.

    Returns
    -------
    DataFrame
        With all columns of the module `shot_table`; ends and sessions called by their ids.

    Raises
    ------
    TableError
        If they hold none.
    StoreError
        If they cannot be read.
    """
    import pandas as pd

    from groupscan.records.aimed import aimed_shots
    from groupscan.records.store import list_arrows

    table = aimed_shots(store)
    if table.empty:
        raise TableError(
            f"the records in {store.home} hold no shot: scan and save an end in the app, or give a "
            "CSV file of shots"
        )
    setups = _setup_labels(store, day_text)
    shafts = {
        int(arrow): int(shaft)
        for deleted in (False, True)
        for arrow, shaft in list_arrows(store, deleted=deleted)[["id", "shaft_id"]].to_numpy()
    }
    for name in _TEXTS:
        table[name] = table[name].fillna("").astype(object)
    return table.assign(
        session=table["session_id"].astype(str),
        end=table["scan_id"].astype(str),
        name=table["number"].astype(str),
        day=table["held_on"],
        setup=pd.Series([setups.get(key, "") for key in table["setup_id"]], dtype=object),
        shaft=pd.array([shafts.get(key) for key in table["arrow_id"]], dtype="Int64"),
    )


def _setup_labels(store: Store, day_text: Callable[[date], str]) -> dict[int, str]:
    """Call each setup by rig, day and change; those of one rig, day and change by their id too."""
    from groupscan.records.store import list_setups
    from groupscan.records.titles import setup_title

    titles: dict[int, str] = {}
    for deleted in (False, True):  # sessions keep a setup that was deleted
        for row in list_setups(store, deleted=deleted).to_dict("records"):
            titles[row["id"]] = setup_title(
                row["rig"], row["since"].date(), row["changed"], day_text=day_text
            )
    alike = Counter(titles.values())
    return {
        key: title if alike[title] == 1 else f"{title} ({key})" for key, title in titles.items()
    }
