r"""Values as text and back: each value has exactly one text, and each text one value.

Nothing known is ``\N``; text that begins with a backslash gets one more in front. Numbers are in
the shortest digits that give them back, instants in UTC, JSON without blanks and with sorted keys.
"""

import json
import math
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any, Final, NoReturn

import sqlalchemy as sa

__all__ = ["NULL", "decoder", "encoder"]

NULL: Final = r"\N"
_LARGEST_INTEGER: Final = 2**31 - 1  # PostgreSQL's INTEGER
_LARGEST_BIG: Final = 2**63 - 1  # and its BIGINT


def encoder(column: sa.Column[Any]) -> Callable[[Any], str]:
    r"""Return what writes the values of a column.

    Examples
    --------
    >>> write = encoder(sa.Column("notes", sa.Text))
    >>> write("=1+1"), write(""), write(None), write(r"\N")
    ('=1+1', '', '\\N', '\\\\N')
    """
    write, _ = _forms(column)

    def cell(value: Any) -> str:
        return NULL if value is None else write(value)

    if isinstance(column.type, sa.JSON) and not column.nullable:
        return write  # None is JSON's own null here
    return cell


def decoder(column: sa.Column[Any], *, strict: bool = True) -> Callable[[str], Any]:
    """Return what reads the cells of a column.

    Parameters
    ----------
    column : sqlalchemy.Column
        The column.
    strict : bool
        Refuse a cell that `encoder` would have written otherwise.

    Returns
    -------
    callable
        From a cell to its value; raises ValueError where the cell has none.

    Examples
    --------
    >>> decoder(sa.Column("x_mm", sa.Double))("-2.5")
    -2.5
    """
    _, read = _forms(column)
    write = encoder(column)
    nullable = column.nullable

    def value(text: str) -> Any:
        if text == NULL:
            if not nullable:
                raise ValueError("nothing stands where something must")
            return None
        found = read(text)
        if strict and write(found) != text:
            raise ValueError(f"{text[:40]!r} is not how this value is written")
        return found

    return value


def _forms(column: sa.Column[Any]) -> tuple[Callable[[Any], str], Callable[[str], Any]]:
    kind = column.type
    if isinstance(kind, sa.JSON):
        return _write_json, _read_json
    if isinstance(kind, sa.Boolean):
        return (lambda value: "true" if value else "false"), lambda text: text == "true"
    if isinstance(kind, sa.Integer):
        limit = _LARGEST_BIG if isinstance(kind, sa.BigInteger) else _LARGEST_INTEGER
        return str, lambda text: _read_integer(text, limit)
    if isinstance(kind, sa.Float):
        return _write_float, _read_float
    if isinstance(kind, sa.Date):
        return date.isoformat, date.fromisoformat
    if isinstance(kind, sa.DateTime) or isinstance(
        getattr(kind, "impl_instance", None), sa.DateTime
    ):
        return _write_instant, datetime.fromisoformat
    if isinstance(kind, sa.String):
        length = kind.length or math.inf
        return _write_text, lambda text: _read_text(text, length)
    raise TypeError(f"no way is known to write a column of type {kind!r} ({column})")


def _write_float(value: float) -> str:
    return repr(float(value) + 0.0)  # SQLite keeps no sign of zero


def _read_float(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"{text!r} is no finite number")
    return value


def _read_integer(text: str, limit: int) -> int:
    if len(text) > 20:
        raise ValueError("a number is too large")
    value = int(text)
    if not -limit - 1 <= value <= limit:
        raise ValueError(f"{value} is too large")
    return value


def _write_instant(value: datetime) -> str:
    utc = value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)
    return utc.isoformat(timespec="microseconds").replace("+00:00", "Z")


def _write_text(value: str) -> str:
    return "\\" + value if value.startswith("\\") else value


def _read_text(text: str, length: float) -> str:
    if "\0" in text:
        raise ValueError("text holds a NUL")
    if text.startswith("\\"):
        text = text[1:]
        if not text.startswith("\\"):
            raise ValueError("a backslash stands alone where text begins")
    if len(text) > length:
        raise ValueError(f"{text[:40]!r} is longer than {length:.0f}")
    return text


def _write_json(value: Any) -> str:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), allow_nan=False)


def _read_json(text: str) -> Any:
    try:
        return json.loads(text, parse_constant=_no_constant)
    except RecursionError as err:
        raise ValueError("JSON is nested too deep") from err


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"JSON knows no {name}")
