"""Sessions: saved and read again."""

from typing import Any

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.connect import Store, reading, writing
from groupscan.records.entries.shooting import Session
from groupscan.records.journal import note_changes
from groupscan.records.names import Names
from groupscan.records.rows import Row, any_row, insert_row, live_row, update_row
from groupscan.records.schema import arrow, build, rig, scan, session, setup, shooter, shot
from groupscan.records.values.shooting import session_from_row, session_row

__all__ = ["get_session", "save_session", "session_columns"]


def save_session(store: Store, entry: Session) -> int:
    """Save a session; with an ``id``, in place of what was saved under it.

    Returns
    -------
    int
        The session's id.

    Raises
    ------
    StoreError
        A value cannot be stored, the session, setup or build is not there, or somebody saved the
        session after this copy was loaded. Nothing is changed then.

    Notes
    -----
    Where the shooter or the build of a saved session changes, its shots' arrows become those of
    the same numbers of that shooter and build. Where its day is corrected, a setup that was found
    by the mistyped day becomes that of the right one; one that was chosen otherwise stays.
    """
    values = session_row(entry)
    with writing(store) as connection:
        names = Names(connection)
        if entry.id is None:
            return insert_row(connection, session, session_columns(connection, names, values))
        kept = live_row(connection, session, entry.id)
        values.pop("uid", None)
        values = session_columns(connection, names, values, kept)
        update_row(connection, session, kept, values, entry.revision)
        _change_arrows(connection, names, kept, values)
    return entry.id


def get_session(store: Store, session_id: int) -> Session:
    """Return one session.

    Raises
    ------
    StoreError
        There is no such session, or it is deleted.
    """
    with reading(store) as connection:
        row = live_row(connection, session, session_id)
        return session_from_row({**row, **_names(connection, row)})


def session_columns(
    connection: sa.Connection, names: Names, values: Row, kept: Row | None = None
) -> Row:
    """Return a session's columns with the rows that its names mean.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction that saves it.
    names : Names
        Of that transaction.
    values : dict
        As `session_row` returned them.
    kept : dict, optional
        The row that is saved anew. Its shooter and rig stay where their names do, even if
        another entry has come to have the same name.
    """
    was = {"shooter": None, "rig": None} if kept is None else _names(connection, kept)
    row = {name: value for name, value in values.items() if name not in ("shooter", "rig")}
    if kept is not None and was["shooter"] == values["shooter"]:
        row["shooter_id"] = kept["shooter_id"]
    else:
        row["shooter_id"] = names.shooter(values["shooter"])
    same_shooter = kept is not None and kept["shooter_id"] == row["shooter_id"]
    if kept is not None and same_shooter and was["rig"] == values["rig"]:
        row["rig_id"] = kept["rig_id"]
    else:
        row["rig_id"] = names.rig(values["rig"], row["shooter_id"])
    _settle_setup(connection, names, row, kept)
    return row


def _settle_setup(connection: sa.Connection, names: Names, row: Row, kept: Row | None) -> None:
    """Fill in setup and build where they are not said, or were those of another rig or day."""
    if row["build_id"] is not None:
        any_row(connection, build, row["build_id"])
    moved = kept is not None and _is_outdated(names, row, kept)
    if moved and kept is not None and row["setup_id"] == kept["setup_id"]:
        row["setup_id"] = None
        if row["build_id"] == kept["build_id"]:
            row["build_id"] = None
    if row["setup_id"] is None and (kept is None or moved) and row["rig_id"] is not None:
        row["setup_id"], build_id = names.setup(row["rig_id"], row["held_on"])
        row["build_id"] = row["build_id"] or build_id
    elif row["setup_id"] is not None:
        chosen = any_row(connection, setup, row["setup_id"])
        if chosen["rig_id"] != row["rig_id"]:
            raise StoreError(
                f"setup {row['setup_id']} is one of another rig: give one of this rig, or leave it "
                "out for the one of that day"
            )
        if kept is None and row["build_id"] is None:
            row["build_id"] = chosen["build_id"]


def _is_outdated(names: Names, row: Row, kept: Row) -> bool:
    """Return whether the setup of `kept` was one of another rig, or found by a mistyped day."""
    if row["rig_id"] != kept["rig_id"]:
        return True
    if row["held_on"] == kept["held_on"] or row["rig_id"] is None:
        return False
    found, _ = names.setup(kept["rig_id"], kept["held_on"])
    return bool(found == kept["setup_id"])


def _change_arrows(connection: sa.Connection, names: Names, kept: Row, row: Row) -> None:
    """Point the session's shots to the arrows of its new shooter and build, and note it."""
    owner = (row["shooter_id"], row["build_id"])
    if owner == (kept["shooter_id"], kept["build_id"]):
        return
    ends = sa.select(scan.c.id).where(scan.c.session_id == kept["id"])
    shots = connection.execute(
        sa.select(shot.c.uid, shot.c.arrow_id, arrow.c.number)
        .join(arrow)
        .where(shot.c.scan_id.in_(ends))
        .order_by(shot.c.id)
    ).all()
    now = {
        key: names.arrow(number, owner[1], owner[0], held_on=row["held_on"])
        for key, number in dict.fromkeys((one.arrow_id, one.number) for one in shots)
    }
    note_changes(
        connection,
        shot,
        [({"uid": uid, "arrow_id": was}, {"arrow_id": now[was]}) for uid, was, _ in shots],
    )
    changes = [{"was": was, "now": key} for was, key in now.items() if was != key]
    if changes:
        connection.execute(
            sa.update(shot)
            .where(shot.c.scan_id.in_(ends), shot.c.arrow_id == sa.bindparam("was"))
            .values(arrow_id=sa.bindparam("now")),
            changes,
        )


def _names(connection: sa.Connection, row: Row) -> dict[str, Any]:
    told = {}
    for name, table in (("shooter", shooter), ("rig", rig)):
        query = sa.select(table.c.name).where(table.c.id == row[f"{name}_id"])
        told[name] = connection.scalar(query) or ""
    return told
