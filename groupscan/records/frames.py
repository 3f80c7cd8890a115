"""Sessions, ends and shots as tables for pandas."""

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from groupscan.records.connect import Store, reading
from groupscan.records.schema import (
    arrow,
    build,
    head,
    rig,
    scan,
    session,
    shooter,
    shot,
)
from groupscan.records.tables import frame, frame_in, listed

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["list_scans", "list_sessions", "shots_frame"]


def list_sessions(
    store: Store, *, deleted: bool = False, last: int | None = None
) -> "pd.DataFrame":
    """Return the sessions, newest first.

    Parameters
    ----------
    store : Store
        The records.
    deleted : bool
        List the deleted sessions instead, for choosing which to restore.
    last : int, optional
        Only so many of the newest.

    Returns
    -------
    DataFrame
        Columns id, held_on, place, shooter, rig, distance_m (m, NaN where not said), ends (scans
        not deleted), shots (not removed), purpose, build (name), shooter_id, rig_id, setup_id and
        build_id (missing where not said).
    """
    ends = sa.select(sa.func.count()).where(
        scan.c.session_id == session.c.id, scan.c.deleted_at.is_(None)
    )
    query = (
        sa.select(
            session.c.id,
            session.c.held_on,
            session.c.place,
            _name(shooter.c.name, "shooter"),
            _name(rig.c.name, "rig"),
            session.c.distance_m,
            ends.correlate(session).scalar_subquery().label("ends"),
            ends.join_from(scan, shot).where(_STANDS).correlate(session).label("shots"),
            session.c.purpose,
            _name(build.c.name, "build"),
            session.c.shooter_id,
            session.c.rig_id,
            session.c.setup_id,
            session.c.build_id,
        )
        .select_from(session)
        .outerjoin(shooter, session.c.shooter_id == shooter.c.id)
        .outerjoin(rig, session.c.rig_id == rig.c.id)
        .outerjoin(build, session.c.build_id == build.c.id)
        .where(_deleted(session, deleted))
        .order_by(session.c.held_on.desc(), session.c.id.desc())
        .limit(last)
    )
    return frame(store, query, ends="int64", shots="int64")


def list_scans(
    store: Store,
    session_id: int | None = None,
    *,
    photo_sha256: str | None = None,
    deleted: bool = False,
    last: int | None = None,
) -> "pd.DataFrame":
    """Return the scans of one session, or of all, in the order they were first saved.

    Parameters
    ----------
    store : Store
        The records.
    session_id : int, optional
        Only the scans of this session. Scans of a deleted session are listed for no session.
    photo_sha256 : str, optional
        Only the scans of this photo.
    deleted : bool
        List the deleted scans instead, for choosing which to restore.
    last : int, optional
        Only so many of those saved last.

    Returns
    -------
    DataFrame
        Columns id, session_id, held_on, label, photo_name, photo_sha256 and sheet (empty where
        none), scale_source, mm_per_px, shots (not removed), created_at and updated_at (UTC).
    """
    shots = sa.select(sa.func.count()).where(shot.c.scan_id == scan.c.id, _STANDS)
    query = (
        sa.select(
            scan.c.id,
            scan.c.session_id,
            session.c.held_on,
            scan.c.label,
            scan.c.photo_name,
            _name(scan.c.photo_sha256, "photo_sha256"),
            _name(scan.c.sheet, "sheet"),
            scan.c.scale_source,
            scan.c.mm_per_px,
            shots.correlate(scan).scalar_subquery().label("shots"),
            scan.c.created_at,
            scan.c.updated_at,
        )
        .select_from(scan)
        .join(session)
        .where(_deleted(scan, deleted), session.c.deleted_at.is_(None))
        .order_by(scan.c.id.desc())
        .limit(last)
    )
    if session_id is not None:
        query = query.where(scan.c.session_id == session_id)
    if photo_sha256 is not None:
        query = query.where(scan.c.photo_sha256 == photo_sha256)
    return frame(store, query, shots="int64").iloc[::-1].reset_index(drop=True)


def shots_frame(
    store: Store,
    *,
    session_ids: Sequence[int] | None = None,
    scan_ids: Sequence[int] | None = None,
    shooter_id: int | None = None,
    rig_id: int | None = None,
    shaft_id: int | None = None,
    since: date | None = None,
    until: date | None = None,
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
    shooter_id, rig_id : int, optional
        Only the shots of this shooter, of this rig.
    shaft_id : int, optional
        Only the shots of this shaft, whatever its build was then: the ``shaft_id`` of
        `groupscan.records.lists.list_arrows`.
    since, until : date, optional
        Only the shots of sessions from this day on, up to this day.
    removed : bool
        List the removed shots as well; the column ``removed`` tells them.

    Returns
    -------
    DataFrame
        Columns session_id, held_on, place, purpose, shooter, rig, build, distance_m, shooter_id,
        rig_id, setup_id, build_id (missing where not said), scan_id, label, photo_name, sheet,
        aim_x_mm, aim_y_mm, shot_id, number, order (NaN where not known), auto_x_mm, auto_y_mm,
        auto_se_mm and auto_shared_se_mm (the part of auto_se_mm that the photo's shots share;
        NaN where added by hand), x_mm, y_mm (mm from the sheet's centre), x_px, y_px, se_mm,
        diameter_mm, cut, confidence, state, head, head_kind, arrow, arrow_id, shaft_id (one for
        all that a shaft was built as), flyer, flyer_why and removed; ordered by day, session, scan
        and number.
    """
    import pandas as pd

    chosen: list[sa.ColumnElement[bool]] = [
        scan.c.deleted_at.is_(None),
        session.c.deleted_at.is_(None),
    ]
    if session_ids is not None:
        chosen.append(session.c.id.in_(listed(session_ids)))
    if scan_ids is not None:
        chosen.append(scan.c.id.in_(listed(scan_ids)))
    for column, wanted in ((session.c.shooter_id, shooter_id), (session.c.rig_id, rig_id)):
        if wanted is not None:
            chosen.append(column == wanted)
    if since is not None:
        chosen.append(session.c.held_on >= since)
    if until is not None:
        chosen.append(session.c.held_on <= until)
    ends = _ends().where(*chosen)
    if shaft_id is None:
        # By way of the ends: SQLite, asked to join them, looks through all shots for a year's.
        of_ends = sa.select(scan.c.id).join(session).where(*chosen)
        shots = _shots().where(shot.c.scan_id.in_(of_ends))
    else:
        one_shaft = sa.select(arrow.c.id).where(
            sa.or_(arrow.c.id == int(shaft_id), arrow.c.first_id == int(shaft_id))
        )
        of_shaft = shot.c.arrow_id.in_(one_shaft)
        ends = ends.where(scan.c.id.in_(sa.select(shot.c.scan_id).where(of_shaft)))
        shots = _shots().join(scan, shot.c.scan_id == scan.c.id).join(session)
        shots = shots.where(*chosen, of_shaft)
    if not removed:
        shots = shots.where(_STANDS)
    with reading(store) as connection:
        by_end = frame_in(connection, ends)
        by_shot = frame_in(connection, shots, order="float64", shaft_id="Int64")
    # What the shots of an end share is fetched once and laid beside each of them, sooner than the
    # database repeats it.
    place = pd.Series(range(len(by_end)), index=by_end["scan_id"], dtype="int64")
    by_shot.insert(0, "place", place.loc[by_shot.pop("scan_id")].to_numpy())
    by_shot = by_shot.sort_values(["place", "number", "shot_id"], ignore_index=True)
    shared = by_end.take(by_shot.pop("place").to_numpy()).reset_index(drop=True)
    return pd.concat([shared, by_shot], axis=1)


def _ends() -> sa.Select[Any]:
    """Return the query of what the shots of an end share, in the order of the ends."""
    return (
        sa.select(
            session.c.id.label("session_id"),
            session.c.held_on,
            session.c.place,
            session.c.purpose,
            _name(shooter.c.name, "shooter"),
            _name(rig.c.name, "rig"),
            _name(build.c.name, "build"),
            session.c.distance_m,
            session.c.shooter_id,
            session.c.rig_id,
            session.c.setup_id,
            session.c.build_id,
            scan.c.id.label("scan_id"),
            scan.c.label,
            scan.c.photo_name,
            _name(scan.c.sheet, "sheet"),
            scan.c.aim_x_mm,
            scan.c.aim_y_mm,
        )
        .select_from(scan)
        .join(session)
        .outerjoin(shooter, session.c.shooter_id == shooter.c.id)
        .outerjoin(rig, session.c.rig_id == rig.c.id)
        .outerjoin(build, session.c.build_id == build.c.id)
        .order_by(session.c.held_on, session.c.id, scan.c.id)
    )


def _shots() -> sa.Select[Any]:
    """Return the query of what each shot has of its own, and the end that it is of."""
    return (
        sa.select(
            shot.c.scan_id,
            shot.c.id.label("shot_id"),
            shot.c.number,
            shot.c.shot_order.label("order"),
            *[shot.c[name] for name in _MEASURED],
            _name(head.c.name, "head"),
            _name(head.c.kind, "head_kind"),
            _name(arrow.c.number, "arrow"),
            shot.c.arrow_id,
            sa.func.coalesce(arrow.c.first_id, arrow.c.id).label("shaft_id"),
            shot.c.flyer,
            shot.c.flyer_why,
            shot.c.removed,
        )
        .select_from(shot)
        .outerjoin(head, shot.c.head_id == head.c.id)
        .outerjoin(arrow, shot.c.arrow_id == arrow.c.id)
    )


# In the words of the index of such shots, so that counting them need not read the shots.
_STANDS = sa.text("NOT shot.removed")
_MEASURED = (
    *("auto_x_mm", "auto_y_mm", "auto_se_mm", "auto_shared_se_mm", "x_mm", "y_mm", "x_px", "y_px"),
    *("se_mm", "diameter_mm", "cut", "confidence", "state"),
)


def _name(column: sa.Column[Any], label: str) -> sa.Label[Any]:
    return sa.func.coalesce(column, "").label(label)


def _deleted(table: sa.Table, deleted: bool) -> sa.ColumnElement[bool]:
    return table.c.deleted_at.is_not(None) if deleted else table.c.deleted_at.is_(None)
