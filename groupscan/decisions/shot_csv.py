"""CSV files of shots: those that the app writes, and those typed by hand or from a spreadsheet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Final

from groupscan.csvfile import CsvTable, read_csv, read_day, read_number
from groupscan.errors import TableError, UnitError
from groupscan.units import parse_distance

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["read_files"]

#: The names that a column may have in a CSV file, the surest first.
NAMES: Final = {
    "session": ("session_id", "session"),
    "day": ("held_on", "date", "day"),
    "end": ("scan_id", "end"),
    "name": ("number", "shot"),
}
TEXTS: Final = ("session", "end", "name", "rig", "shooter", "head", "arrow")
NUMBERS: Final = ("distance_m", "order", "se_mm", "auto_se_mm", "auto_shared_se_mm")


def read_files(paths: Sequence[Path]) -> pd.DataFrame:
    """Read files into one table; see `groupscan.decisions.shot_table.read_shot_csv`.

    Parameters
    ----------
    paths : sequence of Path

    Returns
    -------
    DataFrame
        With all columns of the module `shot_table`; ends and sessions labelled as in the files.

    Raises
    ------
    TableError
        If a file cannot be read, or has no shot.
    """
    import pandas as pd

    files = [Path(path) for path in paths]
    whole = [path.resolve() for path in files]
    for path, file in zip(files, whole, strict=True):
        if whole.count(file) > 1:
            raise TableError(f"{path} is given twice: its shots would count twice; give it once")
    stems = [path.stem for path in files]
    # What is known of neither session nor date is a session of its own in each file.
    names = [
        stem if stems.count(stem) == 1 else str(file)
        for stem, file in zip(stems, whole, strict=True)
    ]
    tables = [
        _read_file(path, name if len(files) > 1 else "")
        for path, name in zip(files, names, strict=True)
    ]
    table = pd.concat(tables, ignore_index=True)
    texts = [name for name in table.columns if table[name].dtype.kind == "O"]
    table[texts] = table[texts].fillna("")
    _check_no_shot_twice(table)
    return table


def _read_file(path: Path, session: str) -> pd.DataFrame:
    import pandas as pd

    file = read_csv(path)
    _check_no_row_is_too_long(file)
    cells = file.columns()
    rows = file.rows
    at = [f"{path}, row {number}" for number in file.numbers]
    right, high = _places(path, file.heads)

    def numbers(column: str, *, needed: bool = False) -> list[float]:
        column_cells = cells.get(column, [""] * len(rows))
        return [
            _number(text, column, where, comma=file.decimal_comma, needed=needed)
            for text, where in zip(column_cells, at, strict=True)
        ]

    columns: dict[str, object] = {
        head: values for head, values in cells.items() if head not in (right, high)
    }
    for name, choices in NAMES.items():
        columns[name] = next((cells[c] for c in choices if c in cells), [""] * len(rows))
    for name in TEXTS:
        columns.setdefault(name, [""] * len(rows))
    for name in NUMBERS:
        columns[name] = numbers(name)
    if "distance" in cells and "distance_m" not in cells:
        columns["distance_m"] = [
            _distance(text, where) for text, where in zip(cells["distance"], at, strict=True)
        ]
    columns |= {"right_mm": numbers(right, needed=True), "high_mm": numbers(high, needed=True)}
    days = [_day(text, where) for text, where in zip(columns["day"], at, strict=True)]  # type: ignore[call-overload]
    columns["day"] = pd.Series(days, dtype="datetime64[s]")
    table = pd.DataFrame(columns)
    if "removed" in cells:
        table = table[~table["removed"].str.lower().isin(("true", "1"))]
    dates = table["day"].dt.strftime("%Y-%m-%d").fillna(session)
    table["session"] = table["session"].mask(table["session"] == "", dates)
    if not {"order", "scan_id"} & cells.keys():
        table["order"] = range(1, len(table) + 1)  # as typed; photos know no order
    return table


def _places(path: Path, heads: Sequence[str]) -> tuple[str, str]:
    for right, high in (("right_mm", "high_mm"), ("x_mm", "y_mm")):
        if right in heads and high in heads:
            return right, high
    raise TableError(
        f"{path} has no columns right_mm and high_mm; give both, mm from the point of aim, "
        f"left and low with a minus; its first row reads: {', '.join(heads)[:200]}"
    )


def _check_no_row_is_too_long(file: CsvTable) -> None:
    for number, cells in file.too_long.items():
        raise TableError(
            f"{file.path}, row {number} has {cells} cells for {len(file.heads)} columns; write "
            "decimals with a point"
        )


def _number(text: str, column: str, where: str, *, comma: bool, needed: bool) -> float:
    if not text and not needed:
        return math.nan
    number = read_number(text, decimal_comma=comma)
    if math.isnan(number):
        said = f"{text!r} is no number" if text else "the cell is empty"
        todo = "fill it in" if not text else "correct it"
        raise TableError(f"{where}, {column}: {said}; {todo} or leave the row out")
    return number


def _distance(text: str, where: str) -> float:
    try:
        return parse_distance(text) if text else math.nan
    except UnitError as err:
        raise TableError(f"{where}: {err}") from err


def _day(text: str, where: str) -> date | None:
    if not text:
        return None
    day = read_day(text)
    if day is None:
        raise TableError(f"{where}: {text!r} is no date; write year-month-day, like 2026-05-03")
    return day


def _check_no_shot_twice(table: pd.DataFrame) -> None:
    if not {"scan_id", "number"} <= set(table.columns):
        return
    known = table[(table["scan_id"] != "") & (table["number"] != "")]
    twice = known[known.duplicated(["scan_id", "number"])]
    if len(twice):
        first = twice.iloc[0]
        raise TableError(
            f"shot {first['number']} of the end with scan_id {first['scan_id']} is there twice: "
            "give each end once; shots of different records cannot be put together"
        )
