"""Quantities in sentences that are written before anybody knows who reads them.

What the statistics say of a group is written once, in mm and m, and read by people who think in
inches and yards. A quantity in such a sentence is `tied`: a no-break space stands between number
and unit, so that no line end parts them, and beside it a word joiner, which cannot be seen and
which no keyboard writes. By that `retold` finds the quantity again and says it in the unit of
whoever reads it; words that a user typed, of any spaces, stay as they are.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Final, Literal

from groupscan.units import m_to_yd, mm_to_inch

__all__ = ["chance", "retold", "tied"]

_TIE: Final = "\u00a0\u2060"
_NUMBER: Final = r"[+-]?\d+(?:\.\d+)?(?:e[+-]?\d+)?"
_QUANTITY: Final = re.compile(
    rf"(?<![\w.])(?P<first>{_NUMBER})(?P<between> to )?(?(between)(?P<second>{_NUMBER}))"
    rf"{_TIE}(?P<unit>mm|m)\b"
)
_INTO: Final = {"in": mm_to_inch, "yd": m_to_yd}
# A single digit of mm is an error of up to a third in tenths of an inch.
_LEAST_DIGITS: Final = 2
# Decimals beyond those it was said with: a hundredth of an inch is a quarter of a mm, a tenth of a
# yard is 9 cm, and more would be made up.
_FINER: Final = {"in": 2, "yd": 1}


def tied(value: float | str, unit: Literal["mm", "m"], spec: str = ".3g") -> str:
    r"""Write a quantity for a reader who is not known yet.

    Parameters
    ----------
    value : float or str
        In the unit; words such as ``"0.5 to 1"`` stay as they are.
    unit : {"mm", "m"}
    spec : str
        How to write the number, as `format` takes it.

    Examples
    --------
    >>> tied(18.288, "m", ".4g") == "18.29\u00a0\u2060m", tied("0.5 to 1", "mm").split()
    (True, ['0.5', 'to', '1', '\u2060mm'])
    """
    number = value if isinstance(value, str) else format(value, spec)
    return f"{number}{_TIE}{unit}"


def chance(p: float) -> str:
    """Write a p-value: two digits, and no further than a test's assumptions carry.

    Examples
    --------
    >>> chance(0.0312), chance(2.3e-25)
    ('p = 0.031', 'p < 0.001')
    """
    return "p < 0.001" if p < 0.001 else f"p = {p:.2g}"


def retold(words: str, units: Mapping[str, str]) -> str:
    """Say the quantities of a sentence in other units, as exactly as they were said.

    Parameters
    ----------
    words : str
        Any text; only what `tied` wrote in it changes.
    units : mapping
        By ``"mm"`` and ``"m"``: what to say instead, ``"in"`` and ``"yd"``; a unit that is not
        there, or is the same, stays.

    Returns
    -------
    str
        With plain spaces where a quantity was.

    Examples
    --------
    >>> said = f"{tied(25, 'mm')} low at {tied(18.288, 'm', '.4g')}"
    >>> retold(said, {"mm": "in", "m": "yd"}), retold(said, {"mm": "mm"})
    ('0.98 in low at 20 yd', '25 mm low at 18.29 m')
    >>> retold("rest up, " + tied("0.5 to 1", "mm"), {"mm": "in"})
    'rest up, 0.02 to 0.04 in'
    """

    def told(found: re.Match[str]) -> str:
        numbers = [text for text in (found["first"], found["second"]) if text is not None]
        unit = found["unit"]
        into = _INTO.get(units.get(unit, unit))
        if into is not None:
            unit = units[unit]
            values = [into(float(text)) for text in numbers]
            places = [
                min(_decimals(value, text, len(values)), _said(text) + _FINER[unit])
                for value, text in zip(values, numbers, strict=True)
            ]
            decimals = min(places)
            numbers = [_written(value, decimals) for value in values]
        return f"{(found['between'] or '').join(numbers)} {unit}"

    return _QUANTITY.sub(told, words) if _TIE in words else words


def _decimals(value: float, text: str, several: int) -> int:
    """Return how many decimals a converted number is worth: as many digits as it was said with."""
    if value == 0:
        return 0
    digits = sum(sign.isdigit() for sign in text.split("e")[0].lstrip("+-0."))
    least = 1 if several > 1 else _LEAST_DIGITS
    return max(digits, least) - 1 - math.floor(math.log10(abs(value)))


def _said(text: str) -> int:
    """Return how many decimals a number was said with; below zero where it was in tens."""
    return -int(Decimal(text).as_tuple().exponent)


def _written(value: float, decimals: int) -> str:
    text = f"{round(value, decimals) + 0.0:.{max(decimals, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
