"""Entries by the names that people use."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final, Literal

from groupscan.errors import GroupscanError

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from groupscan.records.store import Store

__all__ = ["OWNED", "GearKind", "called", "keep", "name_of", "one", "own_rows", "rows_of"]

GearKind = Literal["shooter", "rig", "setup", "build", "arrow", "head"]
#: Kinds of which each shooter has their own, whose names may repeat from one to another.
OWNED: Final = ("rig", "build")
_GONE: Final = ("broken", "rebuilt")
_LISTED: Final = 20


def rows_of(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Return a table's rows, with None for what is missing."""
    known = table.astype(object)
    return [
        {str(name): value for name, value in row.items()}
        for row in known.where(known.notna(), None).to_dict("records")
    ]


def own_rows(store: Store, kind: GearKind, *, deleted: bool = False) -> list[dict[str, Any]]:
    """Return all entries of a kind, each with the ``shooter`` it belongs to."""
    from groupscan.records import store as kept

    listed = {
        "shooter": kept.list_shooters, "rig": kept.list_rigs, "build": kept.list_builds,
        "arrow": kept.list_arrows, "head": kept.list_heads,
    }  # fmt: skip
    if kind != "setup":
        return rows_of(listed[kind](store, deleted=deleted))
    owners = {
        row["id"]: row["shooter"]
        for gone in (True, False)
        for row in own_rows(store, "rig", deleted=gone)
    }
    return [
        {**row, "shooter": owners.get(row["rig_id"], "")}
        for row in rows_of(kept.list_setups(store, deleted=deleted))
    ]


def called(kind: GearKind, row: Mapping[str, Any]) -> str:
    """Return what to type for an entry: a name, RIG/DAY for a setup, BUILD/NUMBER for an arrow."""
    if kind == "setup":
        return f"{row['rig']}/{row['since']:%Y-%m-%d}"
    return f"{row['build']}/{row['number']}" if kind == "arrow" else str(row["name"])


def one(
    store: Store, kind: GearKind, name: str, *, shooter: str | None = None, deleted: bool = False
) -> dict[str, Any]:
    """Return the one entry that is called so, or has the number as its id.

    Raises
    ------
    GroupscanError
        If there is none, or several; the message says what there is.
    """
    rows = own_rows(store, kind, deleted=deleted)
    found = _matching(kind, rows, name, shooter)
    if not found and name.strip().isdecimal():
        found = [row for row in rows if str(row["id"]) == name.strip()]
    if len(found) > 1 and kind == "arrow":
        found = [row for row in found if row["state"] not in _GONE] or found
    if len(found) == 1:
        return found[0]
    what = f"deleted {kind}" if deleted else kind
    if not found:
        there = list(dict.fromkeys(called(kind, row) for row in rows))
        listed = ", ".join(there[:_LISTED]) + (", ..." if len(there) > _LISTED else "")
        add = "" if deleted or kind in ("setup", "arrow") else f". 'groupscan gear {kind}' adds one"
        raise GroupscanError(f"there is no {what} {name!r}: there is {listed or 'none'}{add}")
    listed = ", ".join(f"{row['id']} ({row.get('shooter') or 'nobody'}'s)" for row in found)
    raise GroupscanError(
        f"there are {len(found)} of the {what}s {name!r}: say whose with --shooter, or give an id "
        f"in place of the name: {listed}"
    )


def keep(
    store: Store, kind: GearKind, name: str, values: Mapping[str, Any], *, shooter: str | None
) -> tuple[Any, Any]:
    """Save an entry under a name, with the given values in place of those it has.

    Parameters
    ----------
    store : Store
        The records.
    kind : str
        What it is; no setup and no arrow.
    name : str
        Of a new entry, or of one that is there.
    values : mapping
        What was given, by field.
    shooter : str, optional
        Whose it is, empty for nobody's. An entry of nobody's becomes this shooter's.

    Returns
    -------
    was, is : entries
        ``was`` is None for a new entry.
    """
    from groupscan.records import store as kept

    kinds: dict[str, tuple[Any, Any, Any]] = {
        "shooter": (kept.Shooter, kept.get_shooter, kept.save_shooter),
        "rig": (kept.Rig, kept.get_rig, kept.save_rig),
        "build": (kept.Build, kept.get_build, kept.save_build),
        "head": (kept.Head, kept.get_head, kept.save_head),
    }
    make, get, save = kinds[kind]
    values = dict(values)
    rows = _matching(kind, own_rows(store, kind), name, None)
    if kind in OWNED and shooter is not None:
        values["shooter_id"] = one(store, "shooter", shooter)["id"] if shooter.strip() else None
        own = [row for row in rows if row["shooter_id"] == values["shooter_id"]]
        unowned = [row for row in rows if row["shooter_id"] is None]
        rows = own or unowned or (rows[:1] if values["shooter_id"] is None else [])
    if len(rows) > 1:
        rows = [one(store, kind, name)]  # which says that it is not one
    was = get(store, rows[0]["id"]) if rows else None
    entry = make(name=name, **values) if was is None else replace(was, **values)
    return was, get(store, save(store, entry))


def name_of(store: Store, column: str, key: int | None) -> str:
    """Return the name of the entry that a reference such as ``coach_id`` means."""
    if key is None:
        return ""
    kind: GearKind = {"coach_id": "shooter", "first_id": "arrow"}.get(
        column, column.removesuffix("_id")
    )  # type: ignore[assignment]
    rows = own_rows(store, kind) + own_rows(store, kind, deleted=True)
    return next((called(kind, row) for row in rows if row["id"] == key), str(key))


def _matching(
    kind: GearKind, rows: list[dict[str, Any]], name: str, shooter: str | None
) -> list[dict[str, Any]]:
    """Return the entries called so: letter by letter, or else whatever the case."""
    if shooter is not None:
        owner = shooter.strip().casefold()
        rows = [row for row in rows if str(row.get("shooter") or "").casefold() == owner]
    from groupscan.records.values.checks import folded

    exact = [row for row in rows if called(kind, row) == name.strip()]
    return exact or [row for row in rows if folded(called(kind, row)) == folded(name)]
