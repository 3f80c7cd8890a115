"""Gear and corrections as tables for pandas: same columns and types whether empty or full."""

from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from groupscan.records.connect import Store, reading
from groupscan.records.journal import NAMED
from groupscan.records.schema import (
    arrow,
    audit,
    build,
    head,
    metadata,
    pin,
    rig,
    setup,
    shooter,
    speed,
)
from groupscan.records.tables import frame

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "list_arrows",
    "list_builds",
    "list_corrections",
    "list_heads",
    "list_identities",
    "list_pins",
    "list_rigs",
    "list_setups",
    "list_shooters",
    "list_speeds",
]

_KEPT_BY_STORE = ("uid", "created_at", "updated_at", "deleted_at", "revision")


def list_shooters(store: Store, *, deleted: bool = False) -> "pd.DataFrame":
    """Return the shooters by name, each with the name of its ``coach``; or the deleted ones."""
    coach = shooter.alias("coach_of")
    query = _select(shooter, coach=coach.c.name).outerjoin(coach, shooter.c.coach_id == coach.c.id)
    return frame(store, _live(query, shooter, deleted).order_by(shooter.c.name))


def list_rigs(store: Store, *, deleted: bool = False) -> "pd.DataFrame":
    """Return the rigs by name, each with the name of its ``shooter``; or the deleted ones."""
    query = _select(rig, shooter=shooter.c.name).outerjoin(shooter)
    return frame(store, _live(query, rig, deleted).order_by(rig.c.name, rig.c.id))


def list_setups(
    store: Store, rig_id: int | None = None, *, deleted: bool = False
) -> "pd.DataFrame":
    """Return the setups of a rig, or of all, with names of ``rig`` and ``build``, oldest first."""
    query = _select(setup, rig=rig.c.name, build=build.c.name).join(rig).outerjoin(build)
    if rig_id is not None:
        query = query.where(setup.c.rig_id == rig_id)
    return frame(store, _live(query, setup, deleted).order_by(setup.c.since, setup.c.id))


def list_builds(store: Store, *, deleted: bool = False) -> "pd.DataFrame":
    """Return the arrow builds by name, each with the name of its ``shooter``."""
    query = _select(build, shooter=shooter.c.name).outerjoin(shooter)
    return frame(store, _live(query, build, deleted).order_by(build.c.name, build.c.id))


def list_arrows(
    store: Store, build_id: int | None = None, *, deleted: bool = False
) -> "pd.DataFrame":
    """Return the arrows of a build, or of all, with names of ``shooter`` and ``build``.

    Rows that are one shaft, built anew in between, have the same ``shaft_id``.
    """
    query = (
        _select(arrow, shooter=shooter.c.name, build=build.c.name)
        .add_columns(sa.func.coalesce(arrow.c.first_id, arrow.c.id).label("shaft_id"))
        .outerjoin(shooter, arrow.c.shooter_id == shooter.c.id)
        .outerjoin(build, arrow.c.build_id == build.c.id)
    )
    if build_id is not None:
        query = query.where(arrow.c.build_id == build_id)
    return frame(store, _live(query, arrow, deleted).order_by(arrow.c.id), shaft_id="int64")


def list_heads(store: Store, *, deleted: bool = False) -> "pd.DataFrame":
    """Return the heads by name; or the deleted ones."""
    return frame(store, _live(_select(head), head, deleted).order_by(head.c.name))


def list_speeds(
    store: Store, rig_id: int | None = None, *, deleted: bool = False
) -> "pd.DataFrame":
    """Return a rig's chronograph readings, or all, with names of ``rig`` and ``build``, by day."""
    query = _select(speed, rig=rig.c.name, build=build.c.name).join(rig).outerjoin(build)
    if rig_id is not None:
        query = query.where(speed.c.rig_id == rig_id)
    return frame(store, _live(query, speed, deleted).order_by(speed.c.taken_on, speed.c.id))


def list_pins(store: Store, rig_id: int | None = None, *, deleted: bool = False) -> "pd.DataFrame":
    """Return the pins of a rig's sight, or of all, with the name of ``rig``, by day and distance.

    Those of the newest day are the sight as it is; older ones are what it was.
    """
    query = _select(pin, rig=rig.c.name).join(rig)
    if rig_id is not None:
        query = query.where(pin.c.rig_id == rig_id)
    by = (pin.c.set_on, pin.c.distance_m, pin.c.id)
    return frame(store, _live(query, pin, deleted).order_by(*by))


def list_corrections(
    store: Store, *, uid: str | None = None, last: int | None = None
) -> "pd.DataFrame":
    """Return the lines of corrections, the newest first.

    Parameters
    ----------
    store : Store
        The records.
    uid : str, optional
        Only those of the entry with this identity.
    last : int, optional
        Only so many of the newest.

    Returns
    -------
    DataFrame
        Columns at (UTC), actor, action (``changed``, ``deleted``, ``restored``), entry (which
        table), entry_uid, and before and after, dicts of what differs. An import is an entry
        ``import`` that was ``imported``, ``undone`` or ``restored``.
    """
    names = ("at", "actor", "action", "entry", "entry_uid", "before", "after")
    query = sa.select(*[audit.c[name] for name in names]).where(audit.c.action != NAMED)
    query = query.order_by(audit.c.id.desc()).limit(last)
    if uid is not None:
        query = query.where(audit.c.entry_uid == uid)
    lines = frame(store, query, before="object", after="object")
    for side in ("before", "after"):  # an archive of somebody else's may hold any JSON here
        lines[side] = lines[side].map(lambda told: told if isinstance(told, dict) else {})
    return lines


def list_identities(store: Store, entry: str) -> dict[str, int]:
    """Return the ids of all entries of a kind by their identity in any store, deleted ones too.

    Parameters
    ----------
    store : Store
        The records.
    entry : str
        As `groupscan.records.removal.delete_entry` takes it.
    """
    table = metadata.tables[entry]
    with reading(store) as connection:
        rows = connection.execute(sa.select(table.c.uid, table.c.id))
        return {row.uid: row.id for row in rows}


def _select(table: sa.Table, **names: sa.Column[Any]) -> sa.Select[Any]:
    columns = [column for column in table.c if column.name not in _KEPT_BY_STORE]
    joined = [sa.func.coalesce(column, "").label(name) for name, column in names.items()]
    return sa.select(*columns, *joined).select_from(table)


def _live(query: sa.Select[Any], table: sa.Table, deleted: bool) -> sa.Select[Any]:
    gone = table.c.deleted_at
    return query.where(gone.is_not(None) if deleted else gone.is_(None))
