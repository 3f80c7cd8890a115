"""Shots as a table for other programs: CSV for a spreadsheet, JSON, Parquet."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from groupscan.csvfile import csv_bytes
from groupscan.errors import StoreError
from groupscan.records.aimed import aimed_shots
from groupscan.records.connect import Store
from groupscan.records.files import Progress, disk_advice, share_of, whole_file

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["COLUMNS", "FORMATS", "shots_table", "write_shots"]

#: The columns of a table, and the type of each. What is not known is missing, in text empty.
COLUMNS: Final = {
    "session_id": "int64",
    "date": "date",
    "shooter": "string",
    "rig": "string",
    "build": "string",
    "place": "string",
    "purpose": "string",
    "distance_m": "float64",
    "scan_id": "int64",
    "end": "string",
    "photo_name": "string",
    "sheet": "string",
    "number": "int64",
    "order": "Int64",
    "right_mm": "float64",
    "high_mm": "float64",
    "se_mm": "float64",
    "head": "string",
    "head_kind": "string",
    "arrow": "string",
    "flyer": "bool",
    "flyer_why": "string",
    "x_mm": "float64",
    "y_mm": "float64",
    "origin": "string",
    "auto_x_mm": "float64",
    "auto_y_mm": "float64",
    "auto_se_mm": "float64",
    "auto_shared_se_mm": "float64",
    "diameter_mm": "float64",
    "cut": "string",
    "confidence": "float64",
    "state": "string",
}

_OWN_NAMES: Final = {"held_on": "date", "label": "end"}


def shots_table(store: Store, *, session_ids: Sequence[int] | None = None) -> pd.DataFrame:
    """Return the shots as they are written.

    Parameters
    ----------
    store : Store
        The records.
    session_ids : sequence of int, optional
        Only the shots of these sessions. None means all.

    Returns
    -------
    DataFrame
        The columns of `COLUMNS`; ``date`` as midnights. Shots taken out are left out.
    """
    shots = aimed_shots(store, session_ids=session_ids).rename(columns=_OWN_NAMES)
    types = {name: kind for name, kind in COLUMNS.items() if kind != "date"}
    return shots[list(COLUMNS)].astype(types)


def write_shots(
    store: Store,
    path: Path,
    *,
    format: str | None = None,
    session_ids: Sequence[int] | None = None,
    progress: Progress | None = None,
) -> int:
    r"""Write the shots to a file, whole or not at all.

    Parameters
    ----------
    store : Store
        The records.
    path : Path
        The file; one that is there is replaced.
    format : str, optional
        One of `FORMATS`; left out: what the file's name ends in.
    session_ids : sequence of int, optional
        Only the shots of these sessions. None means all.
    progress : callable, optional
        Called with how much of the work is done and how much there is; what it raises ends it.

    Returns
    -------
    int
        How many shots were written.

    Raises
    ------
    StoreError
        The format is not known, or the file cannot be written; what was there is then intact.

    Notes
    -----
    All formats have the columns of `COLUMNS`: ``right_mm`` and ``high_mm`` are the position from
    the shot's own point of aim, ``x_mm`` and ``y_mm`` that on its sheet. In CSV no text can be
    taken for a formula (`groupscan.csvfile.defused`). In JSON (RFC 8259) ``shots`` has an object a
    shot, null for what is not known, empty text included; dates are text as in ISO 8601. Parquet
    keeps the types: dates, whole numbers, floats (IEEE 754 double), text, true and false.

    Examples
    --------
    >>> from contextlib import closing
    >>> from datetime import date
    >>> from tempfile import TemporaryDirectory
    >>> from groupscan.records.store import Outing, ScanRecord, Session, ShotRecord
    >>> from groupscan.records.store import open_store, save_outings
    >>> end = ScanRecord(session_id=0, shots=(ShotRecord(number=1, x_mm=3.0, y_mm=-4.0),))
    >>> with TemporaryDirectory() as folder, closing(open_store(Path(folder))) as store:
    ...     _ = save_outings(store, [Outing(Session(held_on=date(2026, 5, 3)), [end])])
    ...     path = Path(folder, "shots.json")
    ...     written = write_shots(store, path)
    ...     json.loads(path.read_text(encoding="utf-8"))["shots"][0]["high_mm"]
    -4.0
    """
    wanted = (format or path.suffix.lstrip(".")).lower()
    if wanted not in FORMATS:
        listed = ", ".join(FORMATS)
        raise StoreError(f"shots cannot be written as {wanted!r}: give one of {listed}")
    step = share_of(progress, 0.0, 1.0)
    step(0, 10)
    table = shots_table(store, session_ids=session_ids)
    step(5, 10)
    data = FORMATS[wanted](table)
    step(10, 10)
    try:
        with whole_file(path, mode=0o666) as file:
            file.write(data)
    except OSError as err:
        what = disk_advice(err, otherwise="choose another folder")
        raise StoreError(f"{path} was not written: {what}") from err
    return len(table)


def _json(table: pd.DataFrame) -> bytes:
    cells = {name: _plain(table, name) for name in COLUMNS}
    rows = (dict(zip(cells, row, strict=True)) for row in zip(*cells.values(), strict=True))
    # One shot a line, so that two files can be compared line by line.
    lines = ",\n".join(json.dumps(row, ensure_ascii=False, allow_nan=False) for row in rows)
    return f'{{"kind": "groupscan shots", "version": 1, "shots": [\n{lines}\n]}}\n'.encode()


def _plain(table: pd.DataFrame, name: str) -> list[object]:
    """Return a column as values that JSON and Parquet know, None where not known."""
    kind, column = COLUMNS[name], table[name]
    if kind == "date":
        return list(column.dt.strftime("%Y-%m-%d"))
    if kind == "string":
        return [text or None for text in column]
    return list(column.astype(object).mask(column.isna(), None))


def _parquet(table: pd.DataFrame) -> bytes:
    import pyarrow as pa
    import pyarrow.parquet as pq

    types = {"date": pa.date32(), "string": pa.string(), "bool": pa.bool_()}
    types |= {"int64": pa.int64(), "Int64": pa.int64(), "float64": pa.float64()}
    columns = {
        name: pa.array(
            table[name].dt.date.tolist() if kind == "date" else _plain(table, name), types[kind]
        )
        for name, kind in COLUMNS.items()
    }
    sink = pa.BufferOutputStream()
    pq.write_table(pa.table(columns), sink)
    data: bytes = sink.getvalue().to_pybytes()
    return data


#: How a table is turned into the bytes of a file, by the end of its name.
FORMATS: Final[dict[str, Callable[[pd.DataFrame], bytes]]] = {
    "csv": csv_bytes,
    "json": _json,
    "parquet": _parquet,
}
