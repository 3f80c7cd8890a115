"""The records as tables for pandas: same columns and types whether empty or full."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from groupscan.records.connect import Store, reading
from groupscan.records.schema import scan, session, shot

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["list_scans", "list_sessions", "shots_frame"]

_DAY = "datetime64[s]"
_INSTANT = "datetime64[us, UTC]"


def list_sessions(store: Store, *, deleted: bool = False) -> "pd.DataFrame":
    """Return the sessions, newest first.

    Parameters
    ----------
    store : Store
        The records.
    deleted : bool
        List the deleted sessions instead, for choosing which to restore.

    Returns
    -------
    DataFrame
        Columns id, held_on, place, shooter, rig, distance_m (m, NaN where not said), ends (scans
        not deleted) and shots (not removed).
    """
    live = scan.c.deleted_at.is_(None)
    query = (
        sa.select(
            session.c.id,
            session.c.held_on,
            session.c.place,
            session.c.shooter,
            session.c.rig,
            session.c.distance_m,
            sa.func.count(sa.distinct(scan.c.id)).label("ends"),
            sa.func.count(shot.c.id).label("shots"),
        )
        .select_from(session)
        .outerjoin(scan, sa.and_(scan.c.session_id == session.c.id, live))
        .outerjoin(shot, sa.and_(shot.c.scan_id == scan.c.id, sa.not_(shot.c.removed)))
        .where(_deleted(session, deleted))
        .group_by(session.c.id)
        .order_by(session.c.held_on.desc(), session.c.id.desc())
    )
    types = {
        "id": "int64",
        "held_on": _DAY,
        "place": "string",
        "shooter": "string",
        "rig": "string",
        "distance_m": "float64",
        "ends": "int64",
        "shots": "int64",
    }
    return _frame(store, query, types)


def list_scans(
    store: Store, session_id: int | None = None, *, deleted: bool = False
) -> "pd.DataFrame":
    """Return the scans of one session, or of all, in the order they were first saved.

    Parameters
    ----------
    store : Store
        The records.
    session_id : int, optional
        Only the scans of this session. Scans of a deleted session are listed for no session.
    deleted : bool
        List the deleted scans instead, for choosing which to restore.

    Returns
    -------
    DataFrame
        Columns id, session_id, held_on, photo_name, photo_sha256, sheet (empty where none),
        scale_source, mm_per_px, shots (not removed), created_at and updated_at (UTC).
    """
    query = (
        sa.select(
            scan.c.id,
            scan.c.session_id,
            session.c.held_on,
            scan.c.photo_name,
            scan.c.photo_sha256,
            sa.func.coalesce(scan.c.sheet, "").label("sheet"),
            scan.c.scale_source,
            scan.c.mm_per_px,
            sa.func.count(shot.c.id).label("shots"),
            scan.c.created_at,
            scan.c.updated_at,
        )
        .select_from(scan)
        .join(session)
        .outerjoin(shot, sa.and_(shot.c.scan_id == scan.c.id, sa.not_(shot.c.removed)))
        .where(_deleted(scan, deleted), session.c.deleted_at.is_(None))
        .group_by(scan.c.id, session.c.id)
        .order_by(scan.c.id)
    )
    if session_id is not None:
        query = query.where(scan.c.session_id == session_id)
    types = {
        "id": "int64",
        "session_id": "int64",
        "held_on": _DAY,
        "photo_name": "string",
        "photo_sha256": "string",
        "sheet": "string",
        "scale_source": "string",
        "mm_per_px": "float64",
        "shots": "int64",
        "created_at": _INSTANT,
        "updated_at": _INSTANT,
    }
    return _frame(store, query, types)


def shots_frame(
    store: Store,
    *,
    session_ids: Sequence[int] | None = None,
    scan_ids: Sequence[int] | None = None,
    removed: bool = False,
) -> "pd.DataFrame":
    """Return the shots, one a row, with what is known of their end and session.

    Parameters
    ----------
    store : Store
        The records.
    session_ids, scan_ids : sequence of int, optional
        Only the shots of these sessions and of these scans. None means all; an empty sequence
        means none. Deleted sessions and scans never take part.
    removed : bool
        List the removed shots as well; the column ``removed`` tells them.

    Returns
    -------
    DataFrame
        Columns session_id, held_on, place, shooter, rig, distance_m, scan_id, photo_name, sheet,
        aim_x_mm, aim_y_mm, shot_id, number, auto_x_mm, auto_y_mm and auto_se_mm (NaN where
        added by hand), x_mm, y_mm (mm from the sheet's centre), x_px, y_px, se_mm, diameter_mm,
        cut, confidence, state, head, arrow, removed, auto_shared_se_mm (the part of auto_se_mm
        that the photo's shots share); ordered by day, session, scan and number.
    """
    query = (
        sa.select(
            session.c.id.label("session_id"),
            session.c.held_on,
            session.c.place,
            session.c.shooter,
            session.c.rig,
            session.c.distance_m,
            scan.c.id.label("scan_id"),
            scan.c.photo_name,
            sa.func.coalesce(scan.c.sheet, "").label("sheet"),
            scan.c.aim_x_mm,
            scan.c.aim_y_mm,
            shot.c.id.label("shot_id"),
            *[column for column in shot.c if column.name not in ("id", "scan_id")],
        )
        .select_from(shot)
        .join(scan)
        .join(session)
        .where(scan.c.deleted_at.is_(None), session.c.deleted_at.is_(None))
        .order_by(session.c.held_on, session.c.id, scan.c.id, shot.c.number, shot.c.id)
    )
    if session_ids is not None:
        query = query.where(session.c.id.in_([int(item) for item in session_ids]))
    if scan_ids is not None:
        query = query.where(scan.c.id.in_([int(item) for item in scan_ids]))
    if not removed:
        query = query.where(sa.not_(shot.c.removed))
    texts = ("place", "shooter", "rig", "photo_name", "sheet", "cut", "state", "head", "arrow")
    special = {
        "held_on": _DAY,
        "removed": "bool",
        **dict.fromkeys(("session_id", "scan_id", "shot_id", "number"), "int64"),
        **dict.fromkeys(texts, "string"),
    }
    names = query.selected_columns.keys()
    return _frame(store, query, {name: special.get(name, "float64") for name in names})


def _deleted(table: sa.Table, deleted: bool) -> sa.ColumnElement[bool]:
    return table.c.deleted_at.is_not(None) if deleted else table.c.deleted_at.is_(None)


def _frame(store: Store, query: sa.Select[Any], types: dict[str, str]) -> "pd.DataFrame":
    import pandas as pd
    from pandas.api.types import pandas_dtype

    with reading(store) as connection:
        rows = connection.execute(query).all()
    columns = list(zip(*rows, strict=True)) or [()] * len(types)
    # By way of object, so that pandas guesses nothing from the values that happen to be there.
    return pd.DataFrame(
        {
            name: pd.Series(list(values), dtype=object).astype(pandas_dtype(dtype))
            for (name, dtype), values in zip(types.items(), columns, strict=True)
        }
    )
