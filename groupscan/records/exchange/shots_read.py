"""A table of shots from a file, every cell read or told what is wrong with it."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any, Final, Literal, TypeVar

from groupscan.csvfile import CsvTable, read_day, read_number
from groupscan.errors import TableError, UnitError
from groupscan.records.exchange.column_map import FIELDS, ColumnMap, mm_per, unit_in_name
from groupscan.records.files import Progress
from groupscan.units import parse_distance

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["BadCell", "Defaults", "Whence", "position_units", "read_defaults", "read_shots"]

#: What tells a unit: the column's name, somebody, or nothing.
Whence = Literal["name", "given", "assumed"]
Value = TypeVar("Value", bound=Hashable)

#: No target is that far from its aim; keeps slips of the keyboard out of the records.
FARTHEST_MM: Final = 10_000.0
_POSITIONS: Final = ("right", "high", "se")
_LARGEST: Final = 2**31 - 1  # whole number that every database holds
_YES: Final = frozenset(("1", "true", "yes", "y", "x", "flyer"))
_NO: Final = frozenset(("", "0", "false", "no", "n"))
_TEXTS: Final = (
    *("session", "end", "end_label", "shooter", "rig", "build", "head", "arrow", "flyer_why"),
    *("place", "purpose", "notes"),
)


@dataclass(frozen=True)
class BadCell:
    """What is wrong with one cell.

    Attributes
    ----------
    row : int
        As a spreadsheet counts it.
    column : str
        Name of the column; empty where the whole row is meant.
    wrong : str
        What is wrong.
    todo : str
        What to do.
    """

    row: int
    column: str
    wrong: str
    todo: str

    def __str__(self) -> str:
        """Return one line for people."""
        at = f"row {self.row}" + (f", {self.column}" if self.column else "")
        return f"{at}: {self.wrong}; {self.todo}"


@dataclass(frozen=True, kw_only=True)
class Defaults:
    """What holds where a table has no column for it, or an empty cell.

    Attributes
    ----------
    day : date, optional
    distance_m : float, optional
        In m.
    shooter, rig, build, head, place, purpose : str
    """

    day: date | None = None
    distance_m: float | None = None
    shooter: str = ""
    rig: str = ""
    build: str = ""
    head: str = ""
    place: str = ""
    purpose: str = ""


def read_defaults(*, day: str = "", distance: str = "", **names: str) -> Defaults:
    """Return defaults from text; those left empty are not known.

    Parameters
    ----------
    day : str
        Year-month-day.
    distance : str
        With its unit.
    **names
        The other fields of `Defaults`.

    Raises
    ------
    TableError, UnitError
        The day or the distance cannot be read.

    Examples
    --------
    >>> read_defaults(day="2026-05-03", distance="20yd", shooter="Ada").distance_m
    18.288
    """
    when = read_day(day.strip())
    if day.strip() and when is None:
        raise TableError(f"{day!r} is no date: write year-month-day, like 2026-05-03")
    far = parse_distance(distance) if distance.strip() else None
    return Defaults(day=when, distance_m=far, **{k: v.strip() for k, v in names.items()})


def read_shots(
    file: CsvTable,
    columns: ColumnMap,
    *,
    unit: str | None,
    defaults: Defaults,
    progress: Progress | None = None,
) -> tuple[pd.DataFrame, list[BadCell]]:
    """Return the shots of a table, and all that is wrong with it.

    Parameters
    ----------
    file : CsvTable
    columns : ColumnMap
    unit : str, optional
        Of positions whose column does not name one; left out: mm.
    defaults : Defaults
    progress : callable, optional
        Called with how many columns are read and how many there are.

    Returns
    -------
    DataFrame
        A row a shot without fault: ``row`` (as a spreadsheet counts), ``right_mm``, ``high_mm``,
        ``se_mm``, ``distance_m`` (NaN where not known), ``day`` (date), ``order``, ``number`` (0
        where not said), ``flyer`` and the texts.
    list of BadCell
        Sorted by row.

    Raises
    ------
    TableError
        The table as a whole cannot be read: it has no column for the positions, nothing says the
        date, or the unit is none or contradicts a column's name.
    """
    import numpy as np
    import pandas as pd

    cells = file.columns()
    _check_columns(file, columns, cells, defaults)
    reader = _Reader(file, columns, cells, progress)
    for number, width in file.too_long.items():
        reader.bad.append(
            BadCell(
                number,
                "",
                f"has {width} cells for {len(file.heads)} columns",
                "write decimals with a point, or put text with commas in quotes",
            )
        )
    found: dict[str, Sequence[Any]] = {"row": file.numbers}
    for name, turned in (("right", columns.left_is_plus), ("high", columns.down_is_plus)):
        scale = _scale(columns.columns[name], unit) * (-1.0 if turned else 1.0)
        found[f"{name}_mm"] = reader.positions(name, scale)
    own = columns.columns.get("se")
    found["se_mm"] = reader.errors(_scale(own, unit) if own else 1.0)
    missing = math.nan if defaults.distance_m is None else defaults.distance_m
    found["distance_m"] = reader.distances(missing)
    found["day"] = reader.days(defaults.day)
    found["order"] = reader.counts("order")
    found["number"] = reader.counts("number")
    found["flyer"] = reader.marks("flyer")
    for name in _TEXTS:
        found[name] = reader.texts(name, str(getattr(defaults, name, "")))
    removed = np.array(reader.marks("removed"), bool)
    bad = sorted(reader.bad, key=lambda one: one.row)
    table = pd.DataFrame(found)
    # What was taken out of other records is no shot, and neither is a row with a fault.
    left_out = removed | table["row"].isin({one.row for one in bad})
    return table[~left_out].reset_index(drop=True), bad


def _check_columns(
    file: CsvTable, columns: ColumnMap, cells: dict[str, list[str]], defaults: Defaults
) -> None:
    there = ", ".join(head for head in file.heads if head)[:300]
    for name, example in (("right", "right=x"), ("high", "high=y")):
        if name not in columns.columns:
            raise TableError(
                f"{file.path}: no column says how far {name} a shot is; say which one, such as "
                f"{example} (there are {there})"
            )
    for name, head in columns.columns.items():
        if head not in cells:
            raise TableError(
                f"{file.path} has no column {head!r} to take the {name} from; there are {there}"
            )
    if "date" not in columns.columns and defaults.day is None:
        raise TableError(
            f"{file.path}: no column says the date; say which one, such as date=day, or give one "
            "date for all shots"
        )


def position_units(columns: ColumnMap, unit: str | None) -> dict[str, tuple[str, Whence]]:
    """Return the unit in which `read_shots` reads each column of positions, and what tells it.

    Parameters
    ----------
    columns : ColumnMap
    unit : str, optional
        Of positions whose column does not name one; left out: mm.

    Examples
    --------
    >>> columns = ColumnMap({"right": "x_in", "high": "y"})
    >>> position_units(columns, None)
    {'x_in': ('in', 'name'), 'y': ('mm', 'assumed')}
    """
    heads = [columns.columns[name] for name in _POSITIONS if name in columns.columns]
    return {head: _unit_of(head, unit) for head in heads}


def _unit_of(head: str, unit: str | None) -> tuple[str, Whence]:
    if named := unit_in_name(head)[1]:
        return named, "name"
    return (unit, "given") if unit else ("mm", "assumed")


def _scale(head: str, unit: str | None) -> float:
    named = unit_in_name(head)[1]
    if named and unit and mm_per(named) != mm_per(unit):
        raise TableError(
            f"the column {head} is in {named} by its name, and {unit!r} was asked for: leave the "
            "unit out, or rename the column"
        )
    return mm_per(_unit_of(head, unit)[0])


class _Reader:
    """Reads one column after another and gathers what is wrong."""

    def __init__(
        self,
        file: CsvTable,
        columns: ColumnMap,
        cells: dict[str, list[str]],
        progress: Progress | None,
    ) -> None:
        self.bad: list[BadCell] = []
        self._progress = progress
        self._done = 0
        self._file = file
        self._heads = columns.columns
        self._cells = cells

    def positions(self, name: str, scale: float) -> list[float]:
        def position(text: str) -> float | str:
            if not text:
                return "the cell is empty"
            mm = self._number(text) * scale
            if math.isnan(mm):
                return f"{_short(text)} is no number"
            if abs(mm) > FARTHEST_MM:
                return f"{_short(text)} is more than 10 m from the aim"
            return mm + 0.0  # a turned zero would be -0.0

        return self._read(name, position, math.nan, "correct it, or leave the row out")

    def errors(self, scale: float) -> list[float]:
        def error(text: str) -> float | str:
            if not text:
                return math.nan
            mm = self._number(text) * scale
            if math.isnan(mm) or not 0 <= mm <= FARTHEST_MM:
                return f"{_short(text)} is no standard error"
            return mm

        return self._read("se", error, math.nan, "give one from 0 up, or leave the cell empty")

    def distances(self, missing: float) -> list[float]:
        head = self._heads.get("distance", "")
        named = unit_in_name(head)[1] or None

        def distance(text: str) -> float | str:
            if not text:
                return missing
            plain = text.replace(",", ".") if self._file.decimal_comma else text
            try:
                return parse_distance(plain, default_unit=named)
            except UnitError as err:
                return str(err)

        todo = "correct it, or name the unit in the column's name, such as distance_m"
        return self._read("distance", distance, missing, todo)

    def days(self, missing: date | None) -> list[date | None]:
        def day(text: str) -> date | str | None:
            if not text:
                return missing or "the cell is empty"
            return read_day(text) or f"{_short(text)} is no date"

        return self._read("date", day, missing, "write year-month-day, like 2026-05-03")

    def counts(self, name: str) -> list[int]:
        def count(text: str) -> int | str:
            if not text:
                return 0
            number = self._number(text)
            if not (1 <= number <= _LARGEST and number.is_integer()):
                return f"{_short(text)} is no whole number from 1"
            return int(number)

        return self._read(name, count, 0, "correct it, or leave the cell empty")

    def marks(self, name: str) -> list[bool]:
        def mark(text: str) -> bool | str:
            plain = text.casefold()
            if plain not in _YES | _NO:
                return f"{_short(text)} is neither yes nor no"
            return plain in _YES

        return self._read(name, mark, False, "write yes or no, or leave the cell empty")

    def _step(self) -> None:
        if self._progress is not None:
            self._progress(self._done, len(FIELDS))
        self._done += 1

    def texts(self, name: str, missing: str) -> list[str]:
        self._step()
        if name not in self._heads:
            return [missing] * len(self._file.rows)
        return [cell.strip() or missing for cell in self._cells[self._heads[name]]]

    def _number(self, text: str) -> float:
        return read_number(text, decimal_comma=self._file.decimal_comma)

    def _read(
        self, name: str, parse: Callable[[str], Value | str], missing: Value, todo: str
    ) -> list[Value]:
        """Read each different cell once; a text that `parse` returns says what is wrong."""
        self._step()
        if name not in self._heads:
            return [missing] * len(self._file.rows)
        head = self._heads[name]
        cells = self._cells[head]
        known = {text: parse(text) for text in set(cells)}
        wrong = {text: told for text, told in known.items() if isinstance(told, str)}
        if wrong:
            self.bad += [
                BadCell(row, head, wrong[text], todo)
                for row, text in zip(self._file.numbers, cells, strict=True)
                if text in wrong
            ]
        good = {text: missing if isinstance(told, str) else told for text, told in known.items()}
        return [good[text] for text in cells]


def _short(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:37] + "...")
