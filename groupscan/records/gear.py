"""Shooters, rigs, setups, builds, arrows and heads: saved and read again."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.connect import Store, reading, writing
from groupscan.records.entries.gear import RETIRED, Arrow, Build, Head, Rig, Setup, Shooter
from groupscan.records.rows import Row, any_row, insert_row, live_row, update_row
from groupscan.records.schema import arrow, build, head, rig, setup, shooter
from groupscan.records.values.checks import day, folded
from groupscan.records.values.gear import Gear, gear_from_row, gear_row

__all__ = [
    "CALLED",
    "add_setup",
    "check_name",
    "check_shaft",
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

# What tells an entry from the others of its table, beside its owner.
CALLED: dict[str, tuple[str, tuple[str, ...]]] = {
    "shooter": ("name", ()),
    "rig": ("name", ("shooter_id",)),
    "build": ("name", ("shooter_id",)),
    "head": ("name", ()),
    "arrow": ("number", ("shooter_id", "build_id")),
}


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


def check_name(connection: sa.Connection, table: sa.Table, values: Row, key: int | None) -> None:
    """Raise StoreError if a row that is not deleted is called as `values` are, but for row `key`.

    Arrows that are broken or rebuilt give their number free.
    """
    if table.name not in CALLED:
        return
    name, owners = CALLED[table.name]
    query = sa.select(table.c.id, table.c[name]).where(table.c.deleted_at.is_(None))
    for owner in owners:
        query = query.where(table.c[owner].is_not_distinct_from(values[owner]))
    if table is arrow:
        if values["state"] in RETIRED:
            return
        query = query.where(table.c.state.not_in(RETIRED))
    wanted = folded(values[name])
    for other, called in connection.execute(query):
        if other != key and folded(called) == wanted:
            raise StoreError(
                f"there is a {table.name} {called!r} already (its id is {other}): use that one, or "
                f"give another {name}"
            )


def check_shaft(connection: sa.Connection, kept: Row, state: str) -> None:
    """Raise StoreError if an arrow in this `state` would be a shaft that is another arrow now."""
    if state == "rebuilt":
        return
    first = kept["first_id"] or kept["id"]
    other = connection.scalar(
        sa.select(arrow.c.id).where(
            sa.or_(arrow.c.id == first, arrow.c.first_id == first),
            arrow.c.id != kept["id"],
            arrow.c.state != "rebuilt",
            arrow.c.deleted_at.is_(None),
        )
    )
    if other is not None:
        raise StoreError(
            f"arrow {kept['id']} was built anew and is arrow {other} now: change that one, or "
            "delete it first to take the rebuilding back"
        )


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
    _check_references(connection, table, values, kept)
    check_name(connection, table, values, entry.id)
    if kept is None:
        return insert_row(connection, table, values)
    update_row(connection, table, kept, values, revision)
    return int(kept["id"])


def _check_references(
    connection: sa.Connection, table: sa.Table, values: Row, kept: Row | None
) -> None:
    for name in (column.name for column in table.c if column.foreign_keys):
        key = values.get(name)
        if key is None or (kept is not None and kept[name] == key):
            continue
        target = next(iter(table.c[name].foreign_keys)).column.table
        live_row(connection, target, key)
    if table is arrow:
        _check_arrow(connection, values, kept)
    if table is shooter and kept is not None:
        _check_coach(connection, int(kept["id"]), values["coach_id"])


def _check_arrow(connection: sa.Connection, values: Row, kept: Row | None) -> None:
    if kept is not None and kept["build_id"] not in (None, values["build_id"]):
        raise StoreError(
            f"arrow {kept['id']} keeps its build, since its shots were shot with it: rebuild it "
            "for another"
        )
    if values["state"] == "rebuilt" and (kept is None or kept["state"] != "rebuilt"):
        raise StoreError("an arrow becomes rebuilt by rebuild_arrow, which takes its next build")
    if kept is not None:
        check_shaft(connection, kept, values["state"])


def _check_coach(connection: sa.Connection, key: int, coach_id: int | None) -> None:
    seen: Sequence[Any] = ()
    while coach_id is not None and coach_id not in seen:
        if coach_id == key:
            raise StoreError("a shooter cannot be their own coach's coach: choose another coach")
        seen = (*seen, coach_id)
        coach_id = any_row(connection, shooter, coach_id)["coach_id"]


def _get(store: Store, table: sa.Table, key: int) -> Row:
    with reading(store) as connection:
        return live_row(connection, table, key)
