"""Shooters, rigs, setups, builds, arrows and heads: saved and read again."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.connect import Store, reading, writing
from groupscan.records.entries.gear import Arrow, Build, Head, Rig, Setup, Shooter
from groupscan.records.gear_rules import check_name, check_references
from groupscan.records.rows import Row, insert_row, live_row, update_row
from groupscan.records.schema import arrow, build, head, rig, setup, shooter
from groupscan.records.values.checks import day
from groupscan.records.values.gear import Gear, gear_from_row, gear_row

__all__ = [
    "add_setup",
    "get_arrow",
    "get_build",
    "get_head",
    "get_rig",
    "get_setup",
    "get_shooter",
    "rebuild_arrow",
    "rebuild_arrows",
    "save_arrow",
    "save_arrows",
    "save_build",
    "save_head",
    "save_rig",
    "save_shooter",
]


def save_shooter(store: Store, entry: Shooter) -> int:
    """Save a shooter; with an ``id``, in place of what was saved under it.

    Returns
    -------
    int
        The shooter's id.

    Raises
    ------
    StoreError
        A value cannot be stored, the name is taken, the coach is coached by this shooter, or
        somebody saved the entry after this copy was loaded. Nothing is changed then.
    """
    return _save(store, shooter, entry, entry.revision)


def save_rig(store: Store, entry: Rig) -> int:
    """Save a rig; with an ``id``, in place of what was saved under it. Raises as `save_shooter`."""
    return _save(store, rig, entry, entry.revision)


def save_build(store: Store, entry: Build) -> int:
    """Save a build; with an ``id``, in place of what was saved under it. Raises as `save_shooter`.

    Saving again is for what was mistyped or measured later. Arrows that are built in another way
    are another build: see `rebuild_arrow`.
    """
    return _save(store, build, entry, entry.revision)


def save_arrow(store: Store, entry: Arrow) -> int:
    """Save an arrow; with an ``id``, in place of what was saved under it. Raises as `save_shooter`.

    An arrow keeps its build: see `rebuild_arrow` for one that is built anew.
    """
    return save_arrows(store, [entry])[0]


def save_arrows(store: Store, entries: Sequence[Arrow]) -> list[int]:
    """Save arrows as `save_arrow` does, all of them or, where one raises, none."""
    with writing(store) as connection:
        return [_save_in(connection, arrow, entry, entry.revision) for entry in entries]


def save_head(store: Store, entry: Head) -> int:
    """Save a head; with an ``id``, in place of what was saved so. Raises as `save_shooter`."""
    return _save(store, head, entry, entry.revision)


def add_setup(store: Store, entry: Setup) -> int:
    """Keep how a rig is set up from a day on.

    A setup is never changed, so that sessions keep theirs: what changes on the rig is a new one.
    One that was mistyped is deleted and added anew.

    Returns
    -------
    int
        The setup's id.

    Raises
    ------
    StoreError
        A value cannot be stored, the rig or build is not there, or the entry was saved before.
        Nothing is changed then.
    """
    if entry.id is not None:
        raise StoreError(
            f"setup {entry.id} is in the records and never changes: add the new state of the rig "
            "as a setup of its own, with id=None"
        )
    return _save(store, setup, entry, None)


def rebuild_arrow(store: Store, arrow_id: int, build_id: int, *, on: date, why: str = "") -> int:
    """Turn an arrow into one of another build, with one history.

    Parameters
    ----------
    store : Store
        The records.
    arrow_id : int
        The arrow as it was. It stays in the records as ``"rebuilt"``, with its shots.
    build_id : int
        How it is built now.
    on : date
        The day.
    why : str
        What for.

    Returns
    -------
    int
        The id of the arrow as it is now; its number is the same.

    Raises
    ------
    StoreError
        The arrow or build is not there, the arrow was rebuilt before or has that build already,
        or `on` lies before the day since when it is what it is.
    """
    return rebuild_arrows(store, [arrow_id], build_id, on=on, why=why)[0]


def rebuild_arrows(
    store: Store, arrow_ids: Sequence[int], build_id: int, *, on: date, why: str = ""
) -> list[int]:
    """Rebuild arrows as `rebuild_arrow` does, all of them or, where one raises, none."""
    with writing(store) as connection:
        live_row(connection, build, build_id)
        return [_rebuild(connection, key, build_id, on, why) for key in arrow_ids]


def get_shooter(store: Store, key: int) -> Shooter:
    """Return one shooter. StoreError if there is none, or it is deleted."""
    return gear_from_row(Shooter, _get(store, shooter, key))


def get_rig(store: Store, key: int) -> Rig:
    """Return one rig. StoreError if there is none, or it is deleted."""
    return gear_from_row(Rig, _get(store, rig, key))


def get_setup(store: Store, key: int) -> Setup:
    """Return one setup. StoreError if there is none, or it is deleted."""
    return gear_from_row(Setup, _get(store, setup, key))


def get_build(store: Store, key: int) -> Build:
    """Return one build. StoreError if there is none, or it is deleted."""
    return gear_from_row(Build, _get(store, build, key))


def get_arrow(store: Store, key: int) -> Arrow:
    """Return one arrow. StoreError if there is none, or it is deleted."""
    return gear_from_row(Arrow, _get(store, arrow, key))


def get_head(store: Store, key: int) -> Head:
    """Return one head. StoreError if there is none, or it is deleted."""
    return gear_from_row(Head, _get(store, head, key))


def _rebuild(connection: sa.Connection, arrow_id: int, build_id: int, on: date, why: str) -> int:
    was = live_row(connection, arrow, arrow_id)
    now = replace(
        gear_from_row(Arrow, was),
        build_id=build_id, state="in use", state_since=day(on, "the day of the rebuilding"),
        state_why=why, mass_g=None,
    )  # fmt: skip
    values = gear_row(now)
    _check_rebuilding(was, values)
    check_name(connection, arrow, values, None)
    retired = {name: values[name] for name in ("state_since", "state_why")}
    update_row(connection, arrow, was, {**retired, "state": "rebuilt"}, was["revision"])
    first = was["first_id"] or was["id"]
    return insert_row(connection, arrow, {**values, "first_id": first})


def _check_rebuilding(was: Row, now: Row) -> None:
    if was["state"] == "rebuilt":
        raise StoreError(
            f"arrow {was['id']} was built anew already: rebuild the entry that is in use"
        )
    if was["build_id"] == now["build_id"]:
        raise StoreError(
            f"arrow {was['id']} is of build {was['build_id']} already: give another build"
        )
    if was["state_since"] is not None and now["state_since"] < was["state_since"]:
        raise StoreError(
            f"arrow {was['id']} is {was['state']} since {was['state_since']}: it cannot have been "
            f"built anew on {now['state_since']}, before that"
        )


def _save(store: Store, table: sa.Table, entry: Gear, revision: int | None) -> int:
    with writing(store) as connection:
        return _save_in(connection, table, entry, revision)


def _save_in(connection: sa.Connection, table: sa.Table, entry: Gear, revision: int | None) -> int:
    values = gear_row(entry)
    kept = None if entry.id is None else live_row(connection, table, entry.id)
    check_references(connection, table, values, kept)
    check_name(connection, table, values, entry.id)
    if kept is None:
        return insert_row(connection, table, values)
    update_row(connection, table, kept, values, revision)
    return int(kept["id"])


def _get(store: Store, table: sa.Table, key: int) -> Row:
    with reading(store) as connection:
        return live_row(connection, table, key)
