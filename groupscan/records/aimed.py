"""Shots about the aims that they were meant for."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from groupscan.records.connect import Store, reading
from groupscan.records.frames import shots_frame
from groupscan.records.schema import scan
from groupscan.records.tables import listed

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["aimed_shots"]


def aimed_shots(store: Store, **chosen: Any) -> "pd.DataFrame":
    """Return shots with their positions from the aim, whatever sheets they were shot at.

    Parameters
    ----------
    store : Store
        The records.
    **chosen
        Which shots, as `shots_frame` takes it.

    Returns
    -------
    DataFrame
        As `shots_frame` returns it, with the columns right_mm, high_mm and origin of
        `groupscan.aims.about_aim`.

    Examples
    --------
    >>> from contextlib import closing
    >>> from datetime import date
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> from groupscan.records.store import *
    >>> shots = (ShotRecord(number=1, x_mm=52.0, y_mm=3.0),)
    >>> aims = ((-50.0, 0.0), (50.0, 0.0))
    >>> with TemporaryDirectory() as folder, closing(open_store(Path(folder))) as store:
    ...     session_id = save_session(store, Session(held_on=date(2026, 5, 3)))
    ...     end = ScanRecord(session_id=session_id, aim_mm=aims[0], aims_mm=aims, shots=shots)
    ...     _ = save_scan(store, end)
    ...     aimed_shots(store)[["right_mm", "high_mm"]].values.tolist()
    [[2.0, 3.0]]
    """
    from groupscan.aims import about_aim

    shots = shots_frame(store, **chosen)
    return about_aim(shots, aims_mm=_several_aims(store, shots["scan_id"].unique()))


def _several_aims(
    store: Store, scan_ids: Iterable[int]
) -> dict[int, Sequence[tuple[float, float]]]:
    """Return the aims of those ends that are on sheets with more than one, by the end's id."""
    query = sa.select(scan.c.id, scan.c.aims_mm).where(
        scan.c.id.in_(listed(scan_ids)), sa.func.json_array_length(scan.c.aims_mm) > 1
    )
    with reading(store) as connection:
        found = connection.execute(query).all()
    return {key: [(x, y) for x, y in aims] for key, aims in found}
