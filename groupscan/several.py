"""Several amounts in one line, as people write them: one unit at the end goes for all.

Bare numbers take the unit of the last one, or the reader's where none is said at all. Where the
last number is bare and another is not, or two units are said, nobody can tell which they have:
then they are refused.

Between the amounts stand commas or semicolons, or spaces where all are plain numbers. A comma is
for decimals where something else stands between the amounts.
"""

import re
from typing import Final

from groupscan.errors import UnitError
from groupscan.units import Kind, parse_distance, parse_length, parse_quantity, unit_of

__all__ = ["is_zero", "parse_distances", "parse_places", "parse_readings", "parse_several"]


_POINT: Final = r"\d+(?:\.\d+)?"
_UNIT: Final = r"\s*[^\s\d.,;+-]*"  # behind the last one
_SPACED: Final = re.compile(rf"{_POINT}(?:\s+{_POINT})+{_UNIT}")
# One digit: "20,30 40 yd" is rather three amounts, one of the commas forgotten.
_SPACED_COMMAS: Final = re.compile(rf"\d+,\d(?:\s+\d+,\d)+{_UNIT}")
# With a digit or two behind a comma in any of them, and no space behind it.
_SEMICOLONS: Final = re.compile(rf"\d+(?:,\d\d?)?{_UNIT}(?:\s*;\s*\d+(?:,\d\d?)?{_UNIT})+")


def parse_distances(text: str, *, default_unit: str | None = None) -> list[float]:
    """Read shooting distances between commas.

    Parameters
    ----------
    text : str
        Such as ``20, 30, 40 yd``.
    default_unit : str, optional
        What bare numbers mean where no unit is said; left out: they are refused.

    Returns
    -------
    list of float
        The distances in the order written, m.

    Raises
    ------
    UnitError
        If there is none, or one cannot be read.

    Examples
    --------
    >>> [round(one, 3) for one in parse_distances("20, 30, 40 yd")]
    [18.288, 27.432, 36.576]
    """
    parts = _parts(text, "distances between commas, such as 20, 30, 40 yd")
    unit = _common(parts, "length") or default_unit
    return [parse_distance(part, default_unit=unit) for part in parts]


def parse_several(
    text: str, kind: Kind, *, default_unit: str | None = None, example: str = ""
) -> list[float]:
    """Read amounts between commas, in the unit of `groupscan.units.parse_quantity`.

    Examples
    --------
    >>> [round(one, 2) for one in parse_several("279, 281 fps", "speed")]
    [85.04, 85.65]
    >>> parse_several("85,1 85,4 m/s", "speed")
    [85.1, 85.4]
    """
    parts = _parts(text, "amounts between commas" + (f", such as {example}" if example else ""))
    unit = _common(parts, kind) or default_unit
    return [parse_quantity(part, kind, default_unit=unit, example=example) for part in parts]


def parse_places(text: str, count: int, *, default_unit: str | None = None) -> list[float]:
    """Read how far each of several pins stands below the first one.

    Parameters
    ----------
    text : str
        Such as ``0, 19, 41 mm``: 0 for the first, each farther down than the one before.
    count : int
        How many there must be.
    default_unit : str, optional
        What bare numbers mean where no unit is said; left out: they are refused, but for 0.

    Returns
    -------
    list of float
        The lengths, mm.

    Raises
    ------
    UnitError
        If one cannot be read, or they cannot be places of so many pins.

    Examples
    --------
    >>> parse_places("0, 19, 41 mm", 3)
    [0.0, 19.0, 41.0]
    """
    parts = _parts(text, "lengths between commas, such as 0, 19, 41 mm")
    told = [part for part in parts if not is_zero(part) or unit_of(part, "length")]
    unit = _common(told, "length") or default_unit
    found = [0.0 if is_zero(part) else parse_length(part, default_unit=unit) for part in parts]
    if len(found) != count or found[0] != 0 or found != sorted(set(found)):
        raise UnitError(
            f"places of the pins {text!r}: give {count}, 0 for the first and each farther down than"
            " the one before"
        )
    return found


def is_zero(text: str) -> bool:
    """Whether a length is written as none at all, with a unit or without one.

    Examples
    --------
    >>> is_zero("0"), is_zero("0.0 mm"), is_zero("0.5 mm"), is_zero("mm")
    (True, True, False, False)
    """
    return re.fullmatch(r"0+(\.0*)?\s*[a-z\"]*", text.strip(), re.IGNORECASE) is not None


def parse_readings(
    text: str, *, mass_unit: str | None = None, speed_unit: str | None = None
) -> list[tuple[float, float]]:
    """Read chronograph readings, a line an arrow: its mass, a colon, the speeds between commas.

    Parameters
    ----------
    text : str
        Such as ``530 gr: 279, 281 ft/s``.
    mass_unit, speed_unit : str, optional
        What bare numbers mean; left out: they are refused.

    Returns
    -------
    list of (float, float)
        Mass, g, and speed, m/s, of each reading in the order written; empty without any line.

    Raises
    ------
    UnitError
        If a line cannot be read.

    Examples
    --------
    >>> pairs = parse_readings("530 gr: 279, 281 ft/s")
    >>> [(round(mass, 2), round(speed, 2)) for mass, speed in pairs]
    [(34.34, 85.04), (34.34, 85.65)]
    """
    found: list[tuple[float, float]] = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        mass, colon, speeds = line.partition(":")
        if not colon or not speeds.strip():
            raise UnitError(
                f"line {number} has no mass, colon and speeds: write it like 530 gr: 279, 281"
            )
        grams = parse_quantity(mass, "mass", default_unit=mass_unit)
        found += [(grams, one) for one in parse_several(speeds, "speed", default_unit=speed_unit)]
    return found


def _parts(text: str, what: str) -> list[str]:
    text = text.strip()
    if _SPACED.fullmatch(text) or _SPACED_COMMAS.fullmatch(text):
        parts = re.split(r"(?<=\d)\s+(?=\d)", text)
    elif _SEMICOLONS.fullmatch(text):
        parts = text.split(";")
    else:
        parts = re.split(r"[,;]", text)
    parts = [part.strip() for part in parts if part.strip()]
    if not parts:
        raise UnitError(f"{text!r} holds nothing: give {what}")
    return parts


def _common(parts: list[str], kind: Kind) -> str:
    """Return the unit of the bare numbers: that said at the end, empty where none is said at all.

    Raises
    ------
    UnitError
        If there are bare numbers, and which unit they have cannot be told.
    """
    said = [unit_of(part, kind) for part in parts]
    units = [unit for unit in dict.fromkeys(said) if unit]
    if units and "" in said and (len(units) > 1 or not said[-1]):
        raise UnitError(
            f"{', '.join(parts)!r} has numbers with a unit and without one: give the unit of each, "
            "or one at the end for all"
        )
    return said[-1] if said else ""
