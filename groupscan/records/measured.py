"""What was measured of rigs, saved: readings of a chronograph, and the pins of a sight."""

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.connect import Store, writing
from groupscan.records.entries.bench import Pin, Speed
from groupscan.records.gear_rules import check_sight
from groupscan.records.names import Names
from groupscan.records.rows import Row, insert_rows, live_row
from groupscan.records.schema import build, pin, rig, setup, speed
from groupscan.records.values.bench import pin_row, speed_row

__all__ = ["add_pins", "add_speeds"]


def add_speeds(store: Store, entries: Sequence[Speed]) -> list[int]:
    """Keep readings of a chronograph, all of them or, where one raises, none.

    Parameters
    ----------
    store : Store
        The records.
    entries : sequence of Speed
        One a reading. A setup that is left out is the rig's of that day.

    Returns
    -------
    list of int
        Their ids, in order.

    Raises
    ------
    StoreError
        A value cannot be stored, rig, setup or build is not there, or an entry was saved before.

    Examples
    --------
    >>> from contextlib import closing
    >>> from datetime import date
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> from groupscan.records.store import Rig, list_speeds, open_store, save_rig
    >>> with TemporaryDirectory() as folder, closing(open_store(Path(folder))) as store:
    ...     rig = save_rig(store, Rig(name="Heron"))
    ...     one = Speed(rig_id=rig, taken_on=date(2026, 5, 3), mass_g=26.7, speed_mps=85.3)
    ...     _ = add_speeds(store, [one])
    ...     list_speeds(store, rig)[["mass_g", "speed_mps"]].to_numpy().tolist()
    [[26.7, 85.3]]
    """
    rows = [speed_row(_unsaved(entry, "reading")) for entry in entries]
    with writing(store) as connection:
        return insert_rows(connection, speed, _settled(connection, rows, "taken_on"))


def add_pins(store: Store, entries: Sequence[Pin]) -> list[int]:
    """Keep the pins of a sight, or marks of its tape; returns and raises as `add_speeds`.

    All of one rig and day are one sight and are kept at once: where some are, StoreError is raised.
    """
    rows = [pin_row(_unsaved(entry, "pin")) for entry in entries]
    with writing(store) as connection:
        for row in rows:
            check_sight(connection, row)
        return insert_rows(connection, pin, _settled(connection, rows, "set_on"))


def _unsaved(entry: Any, what: str) -> Any:
    if entry.id is not None:
        raise StoreError(
            f"{what} {entry.id} is in the records and never changes: delete it and keep the right "
            "one, with id=None"
        )
    return entry


def _settled(connection: sa.Connection, rows: list[Row], day: str) -> list[Row]:
    """Return rows whose rig, setup and build are there; each with the setup of its day."""
    names = Names(connection)
    for key in {row["rig_id"] for row in rows}:
        live_row(connection, rig, key)
    for key in {row["build_id"] for row in rows if row.get("build_id") is not None}:
        live_row(connection, build, key)
    for row in rows:
        if row["setup_id"] is None:
            row["setup_id"], _ = names.setup(row["rig_id"], row[day])
        elif live_row(connection, setup, row["setup_id"])["rig_id"] != row["rig_id"]:
            raise StoreError(
                f"setup {row['setup_id']} is one of another rig: give one of this rig, or leave it "
                "out for the one of that day"
            )
    return rows
