"""What entries of gear must keep to: own names, references that are there, one shaft, one sight."""

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.entries.gear import RETIRED
from groupscan.records.rows import Row, any_row, live_row
from groupscan.records.schema import arrow, pin, rig, shooter
from groupscan.records.values.checks import folded

__all__ = ["CALLED", "check_name", "check_references", "check_shaft", "check_sight"]


# What tells an entry from the others of its table, beside its owner.
CALLED: dict[str, tuple[str, tuple[str, ...]]] = {
    "shooter": ("name", ()),
    "rig": ("name", ("shooter_id",)),
    "build": ("name", ("shooter_id",)),
    "head": ("name", ()),
    "arrow": ("number", ("shooter_id", "build_id")),
}


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


def check_sight(connection: sa.Connection, one: Row) -> None:
    """Raise StoreError if the rig of a pin has other pins of its day.

    Those of one day are one sight: pins of two, mixed, stand where no sight ever had them. What
    was kept at once belongs together.
    """
    query = (
        sa.select(rig.c.name)
        .select_from(pin.join(rig))
        .where(
            pin.c.rig_id == one["rig_id"],
            pin.c.set_on == one["set_on"],
            pin.c.deleted_at.is_(None),
        )
    )
    if "created_at" in one:
        query = query.where(pin.c.created_at != one["created_at"])
    name = connection.scalar(query.limit(1))
    if name is not None:
        raise StoreError(
            f"pins of {name} are kept of {one['set_on']} already, and those of one day are one "
            "sight: delete those first, or give another day"
        )


def check_references(
    connection: sa.Connection, table: sa.Table, values: Row, kept: Row | None
) -> None:
    """Raise StoreError if values name what is not there, or what this entry cannot have."""
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
