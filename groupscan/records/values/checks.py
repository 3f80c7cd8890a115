"""One value at a time: made storable, or refused with a message that names it."""

import json
import math
import unicodedata
from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from groupscan.errors import StoreError

__all__ = ["choice", "day", "folded", "missing", "name", "nested", "number", "numbers"]
__all__ += ["plain_json", "positive", "reference", "uid", "whole_number", "words"]

_LARGEST = 2**31 - 1  # PostgreSQL's INTEGER
_HEX = frozenset("0123456789abcdef")


def words(value: str) -> str:
    """Return `value` as text that any database holds: no NUL, no half of a character pair."""
    if value.isascii() and "\0" not in value:  # nearly all
        return value
    return value.replace("\0", "\N{REPLACEMENT CHARACTER}").encode("utf-8", "replace").decode()


def name(value: str, what: str) -> str:
    """Return `value` as a name: text without blanks around it, and not empty."""
    text = words(value).strip()
    if not text:
        raise StoreError(f"{what} is empty: give one")
    return text


def folded(value: str) -> str:
    """Return a name as those compare that differ in case, or in how accents were typed, only."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", value).casefold())


def missing(value: Any) -> bool:
    """Return whether `value` is None, NaN or what pandas puts where nothing is known."""
    try:
        return value is None or bool(value != value)
    except TypeError:  # pandas' NA will not say
        return True


def choice(value: str, choices: Sequence[str], what: str) -> str:
    """Return `value`, or raise StoreError if it is none of `choices`."""
    if value not in choices:
        listed = ", ".join(one for one in choices if one)
        raise StoreError(f"{what} is {value!r}: give one of {listed}")
    return value


def day(value: Any, what: str) -> date:
    """Return `value`, or raise StoreError if it is no date or carries a time."""
    if isinstance(value, datetime) or not isinstance(value, date):
        raise StoreError(f"{what} is {value!r}: give a date without a time")
    return value


def whole_number(value: Any, what: str) -> int:
    """Return `value` as an int from 1, or raise StoreError naming `what`."""
    if type(value) is int and 1 <= value <= _LARGEST:
        return value
    try:
        found = int(value)
    except (TypeError, ValueError, OverflowError):
        found = 0
    if found != value or not 1 <= found <= _LARGEST:
        raise StoreError(f"{what} is {value!r}: give a whole number from 1")
    return found


def reference(value: Any, what: str) -> int | None:
    """Return the id `value`, or None where there is none."""
    return None if missing(value) else whole_number(value, what)


def uid(value: str | None) -> dict[str, str]:
    """Return the column of a given identity; none where the store is to give one."""
    if value is None:
        return {}
    if len(value) != 32 or not _HEX.issuperset(value):
        raise StoreError(f"the identity {value!r} cannot be stored: give 32 hexadecimal digits")
    return {"uid": value}


def number(value: Any, what: str, *, may_miss: bool = False) -> float | None:
    """Return `value` as a finite float; None for None and NaN where it `may_miss`."""
    if may_miss and missing(value):
        return None
    try:
        found = float(value)
    except (TypeError, ValueError, OverflowError) as err:
        raise StoreError(f"{what} is {value!r}: give a number") from err
    if not math.isfinite(found):
        raise StoreError(f"{what} is {value!r}: give a finite number")
    return found


def positive(value: Any, what: str, *, zero: bool = False) -> float | None:
    """Return `value` as a float above zero, or from `zero` on; None where it is not known."""
    found = number(value, what, may_miss=True)
    if found is not None and (found < 0 or (found == 0 and not zero)):
        allowed = "from zero up" if zero else "above zero"
        raise StoreError(f"{what} is {found:g}: give one {allowed}, or leave it out")
    return found


def numbers(values: Any, count: int, what: str) -> list[float | None]:
    """Return `count` finite floats."""
    found = [number(value, what) for value in values]
    if len(found) != count:
        raise StoreError(f"{what} has {len(found)} numbers in a row: give {count}")
    return found


def nested(value: Any, what: str) -> Any:
    """Return a number, or a list of numbers or of such lists."""
    if isinstance(value, list | tuple):
        return [nested(item, what) for item in value]
    return number(value, what)


def plain_json(value: Any, what: str) -> Any:
    """Return `value` as JSON would give it back."""
    if value is None:
        return None
    try:
        return json.loads(words(json.dumps(value, allow_nan=False)))
    except (TypeError, ValueError) as err:
        raise StoreError(f"{what} cannot be stored ({err}): give plain values") from err
