"""The bow and the drawing hand that shots were shot with, as the records say them."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.records.store import Store

__all__ = ["bow_of_shots"]


def bow_of_shots(store: Store, table: pd.DataFrame) -> tuple[str, str]:
    """Return the bow and the hand of the rigs that shot; empty where not said, or not one.

    A rig whose record does not say the hand is drawn by that of its session's shooter.

    Parameters
    ----------
    store : Store
        The records.
    table : DataFrame
        Shots of the records: ``rig_id`` and ``shooter_id``, since two shooters may call two
        different rigs by one name.
    """
    from groupscan.records.store import list_rigs, list_shooters

    rigs, hands = {}, {}
    for deleted in (False, True):  # a session keeps a rig and a shooter that were deleted
        for row in list_rigs(store, deleted=deleted).to_dict("records"):
            rigs[row["id"]] = (str(row["bow"]), str(row["hand"]))
        for row in list_shooters(store, deleted=deleted).to_dict("records"):
            hands[row["id"]] = str(row["hand"])
    bow, hand = set(), set()
    used = table[["rig_id", "shooter_id"]].drop_duplicates()
    for rig_id, shooter_id in used.itertuples(index=False, name=None):
        of_rig = rigs.get(rig_id, ("", ""))
        bow.add(of_rig[0])
        hand.add(of_rig[1] or hands.get(shooter_id, ""))
    return bow.pop() if len(bow) == 1 else "", hand.pop() if len(hand) == 1 else ""
