"""Many sessions with their ends at once: all of them or none."""

from collections.abc import Sequence
from dataclasses import dataclass

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.connect import Store, writing
from groupscan.records.entries.shooting import ScanRecord, Session
from groupscan.records.files import Progress, share_of
from groupscan.records.names import Names
from groupscan.records.rows import Row, insert_many, insert_rows, live_row, uncollected
from groupscan.records.scans import new_shots, photo_is_there
from groupscan.records.schema import scan, session, shot
from groupscan.records.sessions import session_columns
from groupscan.records.values.shooting import scan_row, session_row, shot_rows

__all__ = ["Outing", "insert_outings", "save_outings"]


@dataclass(frozen=True)
class Outing:
    """A session with its ends.

    Attributes
    ----------
    session : Session
        One never saved; or one with its ``id``, which stays as it is and gets the ends.
    scans : sequence of ScanRecord
        The ends, never saved; their ``session_id`` is not looked at.
    """

    session: Session
    scans: Sequence[ScanRecord] = ()


def save_outings(store: Store, outings: Sequence[Outing]) -> list[int]:
    """Save sessions with their ends in one transaction.

    Parameters
    ----------
    store : Store
        The records.
    outings : sequence of Outing
        In the order in which they are to be numbered.

    Returns
    -------
    list of int
        The ids of the sessions, in the same order.

    Raises
    ------
    StoreError
        A value cannot be stored, a session or photo is not there, a scan was saved before, or an
        identity is taken. Nothing is changed then.

    Examples
    --------
    >>> from contextlib import closing
    >>> from datetime import date
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> from groupscan.records.entries import ScanRecord, Session, ShotRecord
    >>> from groupscan.records.store import open_store, shots_frame
    >>> end = ScanRecord(session_id=0, shots=(ShotRecord(number=1, x_mm=3.0, y_mm=-4.0),))
    >>> with TemporaryDirectory() as folder, closing(open_store(Path(folder))) as store:
    ...     _ = save_outings(store, [Outing(Session(held_on=date(2026, 5, 3)), [end, end])])
    ...     len(shots_frame(store))
    2
    """
    with writing(store) as connection, uncollected():
        return insert_outings(connection, Names(connection), outings)


def insert_outings(
    connection: sa.Connection,
    names: Names,
    outings: Sequence[Outing],
    *,
    progress: Progress | None = None,
) -> list[int]:
    """Do what `save_outings` does, inside the caller's transaction."""
    preparing = share_of(progress, 0.0, 0.5)
    known = next((one.id for o in outings for one in o.scans if one.id is not None), None)
    if known is not None:
        raise StoreError(f"scan {known} is in the records: give a copy of it id=None")
    sessions = [None if o.session.id else session_row(o.session) for o in outings]
    ends = []
    for done, outing in enumerate(outings):
        preparing(done, len(outings))
        ends.append([(scan_row(one), shot_rows(one.shots)) for one in outing.scans])
    rows = [
        session_columns(connection, names, values) if values is not None else
        live_row(connection, session, outing.session.id or 0)
        for values, outing in zip(sessions, outings, strict=True)
    ]  # fmt: skip
    new = iter(insert_rows(connection, session, [row for row in rows if "id" not in row]))
    keys = [int(row["id"]) if "id" in row else next(new) for row in rows]
    scans: list[Row] = []
    shots: list[tuple[Row, list[Row]]] = []
    seen: set[str | None] = {None}
    for key, row, own in zip(keys, rows, ends, strict=True):
        for values, of_end in own:
            if values["photo_sha256"] not in seen:
                photo_is_there(connection, values)
                seen.add(values["photo_sha256"])
            scans.append({**values, "session_id": key})
            shots.append((row, of_end))
    ids = insert_rows(connection, scan, scans, progress=share_of(progress, 0.5, 0.7))
    insert = [
        one
        for scan_id, (row, of_end) in zip(ids, shots, strict=True)
        for one in new_shots(names, row, scan_id, of_end)
    ]
    insert_many(connection, shot, insert, progress=share_of(progress, 0.7, 1.0))
    return keys
