"""CSV files: read with the row of each cell, and written so that no spreadsheet runs them."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Final

from groupscan.errors import TableError
from groupscan.telling import retold

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "CsvTable",
    "csv_bytes",
    "defused",
    "plain_head",
    "read_csv",
    "read_day",
    "read_number",
    "undefused",
]

# What a spreadsheet takes for the beginning of a formula, as OWASP lists it, wide forms included.
_FORMULA: Final = "[=+\\-@＝＋－＠]"
# Where a cell may begin: at its own beginning, where a tab or line end is dangerous as well and
# blanks may be skipped; and after what a spreadsheet of another locale takes for its end.
_BEGINS: Final = rf"(?:^(?=['\s]*{_FORMULA}|'*[\t\r\n])|(?<=[,;\t\r\n])(?='*{_FORMULA}))"
_PUT: Final = re.compile(_BEGINS)
_TAKE: Final = re.compile(_BEGINS + "'")


def defused(text: str) -> str:
    r"""Return `text` with an apostrophe wherever a spreadsheet might begin a formula.

    References
    ----------
    OWASP Foundation, "CSV Injection".

    Examples
    --------
    >>> defused("=1+1"), defused("A7"), defused("far;=1+1")
    ("'=1+1", 'A7', "far;'=1+1")
    """
    return _PUT.sub("'", text)


def undefused(text: str) -> str:
    """Return what `defused` was given: exactly, whatever the text.

    Examples
    --------
    >>> undefused("'=1+1"), undefused("A7"), undefused("'tis")
    ('=1+1', 'A7', "'tis")
    """
    return _TAKE.sub("", text) if "'" in text else text


def csv_bytes(table: pd.DataFrame) -> bytes:
    r"""Return a table as CSV that no spreadsheet takes for formulas.

    Text that might begin a formula gets an apostrophe in front, see `defused`; quantities in
    sentences stay in mm and m, with plain spaces; numbers stay as they are, in the shortest digits
    that give them back exactly. The file starts with a byte order mark, by which spreadsheets know
    UTF-8.

    Examples
    --------
    >>> import pandas as pd
    >>> csv_bytes(pd.DataFrame({"arrow": ["=1+1", "A7"], "x_mm": [-2.5, 1.0]})).decode("utf-8-sig")
    "arrow,x_mm\r\n'=1+1,-2.5\r\nA7,1.0\r\n"
    """
    known: dict[str, str] = {}

    def safe_cell(cell: object) -> object:
        if not isinstance(cell, str):
            return cell
        if cell not in known:
            known[cell] = defused(retold(cell, {}))
        return known[cell]

    safe = table.copy()
    for name in safe.columns:
        if safe[name].dtype.kind not in "biufM":
            safe[name] = safe[name].astype(object).map(safe_cell)
    safe.columns = [defused(str(name)) for name in safe.columns]
    text: str = safe.to_csv(index=False, lineterminator="\r\n")
    return text.encode("utf-8-sig")


@dataclass(frozen=True)
class CsvTable:
    """What a CSV file holds, as text.

    Attributes
    ----------
    path : Path
        The file.
    heads : tuple of str
        Names of the columns, as `plain_head` gives them.
    rows : list of list of str
        Cells without blanks around them, each row as long as `heads`; empty rows are left out.
    numbers : list of int
        Of each row, as a spreadsheet counts them.
    decimal_comma : bool
        Whether numbers may have a comma for decimals: where semicolons part the cells.
    too_long : dict
        How many cells a row has, by its number, where it has more than there are columns.
    """

    path: Path
    heads: tuple[str, ...]
    rows: list[list[str]]
    numbers: list[int]
    decimal_comma: bool
    too_long: Mapping[int, int] = field(default_factory=dict)

    def columns(self) -> dict[str, list[str]]:
        """Return the cells of each column that has a name."""
        cells = zip(*self.rows, strict=True) if self.rows else ([] for _ in self.heads)
        return {head: list(column) for head, column in zip(self.heads, cells, strict=True) if head}


def read_csv(path: Path) -> CsvTable:
    r"""Read a CSV file: UTF-8; commas, semicolons or tabs, whichever its first row has most of.

    Raises
    ------
    TableError
        The file cannot be read, is no CSV text, has one column twice or no row but the first.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     path = Path(folder, "shots.csv")
    ...     _ = path.write_text("Right mm;Head\n\n-1,5;'=x\n", encoding="utf-8-sig")
    ...     table = read_csv(path)
    >>> table.heads, table.rows, table.numbers, table.decimal_comma
    (('right_mm', 'head'), [['-1,5', '=x']], [3], True)
    """
    text = _text(path)
    first = next((line for line in text.splitlines() if line.strip()), "")
    between = max(";\t,", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=between, strict=True)
    try:
        filled = list(_filled(reader))
    except csv.Error as err:
        raise TableError(
            f"{path} is no CSV table: {err} (line {reader.line_num}); check the quotes there"
        ) from err
    if not filled:
        raise TableError(f"{path} is empty: give a first row of column names and a row a shot")
    heads = tuple(plain_head(cell) for cell in filled[0][1])
    twice = [head for head in heads if head and heads.count(head) > 1]
    if twice:
        raise TableError(f"{path} has the column {twice[0]} twice: leave one out")
    if len(filled) == 1:
        raise TableError(f"{path} has column names and no shot: give a row a shot")
    width = len(heads)
    return CsvTable(
        path=path,
        heads=heads,
        rows=[(row + [""] * (width - len(row)))[:width] for _, row in filled[1:]],
        numbers=[number for number, _ in filled[1:]],
        decimal_comma=between == ";",
        too_long={number: len(row) for number, row in filled[1:] if any(row[width:])},
    )


def plain_head(text: str) -> str:
    """Return the name of a column as programs compare it.

    Examples
    --------
    >>> plain_head(" Right mm ")
    'right_mm'
    """
    return "_".join(text.lower().split())


def read_number(text: str, *, decimal_comma: bool = False) -> float:
    """Return the number that a cell states; NaN where it is none, or not finite.

    Examples
    --------
    >>> read_number("-1,5", decimal_comma=True), read_number("−3"), read_number("1_000")
    (-1.5, -3.0, nan)
    """
    text = text.replace("−", "-")
    if decimal_comma:
        text = text.replace(",", ".")
    try:
        number = float(text) if "_" not in text else math.nan
    except ValueError:
        return math.nan
    return number if math.isfinite(number) else math.nan


def read_day(text: str) -> date | None:
    """Return the day that a cell states, year-month-day with or without a time; None if it is none.

    Examples
    --------
    >>> read_day("2026-05-03 10:15:00"), read_day("3.5.26")
    (datetime.date(2026, 5, 3), None)
    """
    try:
        return date.fromisoformat(text.replace("T", " ").split(" ")[0])
    except ValueError:
        return None


def _text(path: Path) -> str:
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as err:
        raise TableError(f"{path} cannot be read: {err.strerror or err}") from err
    except UnicodeDecodeError as err:
        raise TableError(f"{path} is not UTF-8 text: save the table as CSV UTF-8") from err
    if "\0" in text:
        raise TableError(f"{path} is no text (it holds NUL): save the table as CSV UTF-8")
    return text


def _filled(records: Iterator[list[str]]) -> Iterator[tuple[int, list[str]]]:
    for number, row in enumerate(records, 1):
        cells = [_cell(cell) for cell in row]
        if any(cells):
            yield number, cells


def _cell(cell: str) -> str:
    plain = undefused(cell)
    return plain if plain is not cell and plain != cell else cell.strip()
