"""Tables of the rig bench on a terminal, in the trade's units or in SI."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Final, Literal, NamedTuple

from groupscan.report.decisions.layout import Part, line, table
from groupscan.units import (
    decimals_supported,
    g_to_grain,
    joule_to_ftlbf,
    kgmps_to_slugftps,
    m_to_yd,
    mm_to_inch,
    mps_to_fps,
    newton_to_lbf,
)

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["ShownUnits", "caution_part", "rig_table", "shown_amount", "shown_cells"]

ShownUnits = Literal["archery", "si"]


class _Shown(NamedTuple):
    """A unit as it is shown: its name, its size in ours, decimals."""

    name: str
    factor: float
    decimals: int


# By the ending that a column's name has, and by the names that tables with a column of units use.
_SI: Final[Mapping[str, _Shown]] = {
    "g": _Shown("g", 1, 2),
    "mm": _Shown("mm", 1, 1),
    "m": _Shown("m", 1, 1),
    "mps": _Shown("m/s", 1, 1),
    "j": _Shown("J", 1, 1),
    "kgmps": _Shown("kg m/s", 1, 3),
    "n": _Shown("N", 1, 1),
    "s": _Shown("s", 1, 3),
    "pct": _Shown("%", 1, 1),
    "mrad": _Shown("mrad", 1, 2),
    "grains_per_pound": _Shown("gr/lb", 1, 2),
    "1/m": _Shown("1/m", 1, 6),
    "ft-lbf": _Shown("ft-lbf", 1, 1),
}
_ARCHERY: Final[Mapping[str, _Shown]] = {
    **_SI,
    "g": _Shown("gr", g_to_grain(1), 1),
    "mm": _Shown("in", mm_to_inch(1), 2),
    "m": _Shown("yd", m_to_yd(1), 1),
    "mps": _Shown("ft/s", mps_to_fps(1), 1),
    "j": _Shown("ft-lbf", joule_to_ftlbf(1), 1),
    "kgmps": _Shown("slug ft/s", kgmps_to_slugftps(1), 3),
    "n": _Shown("lb", newton_to_lbf(1), 1),
}
_BY_UNIT: Final = {
    "m/s": "mps", "J": "j", "kg m/s": "kgmps", "N": "n", "%": "pct", "gr/lb": "grains_per_pound",
}  # fmt: skip
# Lengths on a sight or an arrow; all others are on the target, where a tenth of a mm is nothing.
_FINE: Final = ("position", "gap", "mark", "pin", "balance", "length", "draw_length")
_SHARES: Final = ("probability",)
# No number of shots that anyone shoots tells one in a thousand from fewer.
_CERTAIN: Final = 0.999
_HEADS: Final = {
    "foc": "front of centre",
    "shoot_as": "shoot as",
    "lower": "turbulent lower",
    "higher": "laminar higher",
    "grains_per_pound": "per pound",
    "near": "from",
    "far": "to",
    "sd": "spread (sd)",
}


def rig_table(
    title: str,
    frame: pd.DataFrame,
    units: ShownUnits,
    *,
    words: int = 0,
    heads: Mapping[str, str] | None = None,
) -> Part:
    """Return a table whose columns say their units by their names' endings.

    Columns ``low_...`` and ``high_...`` stand in brackets behind the column before them that has
    the same unit. A table with a column ``unit`` has its unit row by row.

    Parameters
    ----------
    title : str
        Empty for none.
    frame : DataFrame
    units : {'archery', 'si'}
        What to show in.
    words : int
        How many columns from the left are words.
    heads : mapping, optional
        Other heads by column, for a table with a unit in each row.
    """
    if "unit" in frame:
        return table(title, *_by_row(frame, units, heads or {}), words=1)
    return table(title, *shown_cells(frame, units), words=words)


def shown_cells(frame: pd.DataFrame, units: ShownUnits) -> tuple[list[str], list[list[str]]]:
    """Return heads and cells of a table, as `rig_table` shows them."""
    shown = [name for name in frame.columns if not str(name).startswith(("low", "high_"))
             and name != "high"]  # fmt: skip
    limits = _limits(frame)
    heads = [_head(str(name), units) for name in shown]
    rows = []
    for _, row in frame.iterrows():
        cells = []
        for name in shown:
            low, high = (row[end] for end in limits[name]) if name in limits else (math.nan,) * 2
            cells.append(_cell(str(name), row[name], low, high, units))
        rows.append(cells)
    return heads, rows


def shown_amount(value: float, ending: str, units: ShownUnits) -> str:
    """Return an amount with its unit.

    Examples
    --------
    >>> shown_amount(85.344, "mps", "archery"), shown_amount(85.344, "mps", "si")
    ('280.0 ft/s', '85.3 m/s')
    """
    unit = _units(units)[ending]
    return f"{value * unit.factor:.{unit.decimals}f} {unit.name}"


def caution_part(caution: str) -> Part:
    """Return the caution that stands below every table of the bench."""
    return line(f"\n! {caution}", "yellow")


def _units(units: ShownUnits) -> Mapping[str, _Shown]:
    return _ARCHERY if units == "archery" else _SI


def _parted(name: str) -> tuple[str, str]:
    """Return a column's stem and the ending that says its unit."""
    if name in _SI:
        return name, name
    stem, _, ending = name.rpartition("_")
    return (stem, ending) if stem and ending in _SI else (name, "")


def _head(name: str, units: ShownUnits) -> str:
    stem, ending = _parted(name)
    words = _HEADS.get(stem, stem.replace("_", " "))
    unit = "%" if name in _SHARES else _units(units)[ending].name if ending else ""
    # One word a line, so that many columns stand side by side.
    return "\n".join([*words.split(), unit] if unit else words.split())


def _limits(frame: pd.DataFrame) -> dict[str, tuple[str, str]]:
    """Return which columns hold the limits of which other."""
    found: dict[str, tuple[str, str]] = {}
    names = [str(name) for name in frame.columns]
    for name in names:
        if name != "low" and not name.startswith("low_"):
            continue
        end = name[3:]
        if f"high{end}" not in names:
            continue
        before = [one for one in names[: names.index(name)]
                  if (one.endswith(end) if end else one in _SHARES)]  # fmt: skip
        if before:
            found[before[-1]] = (name, f"high{end}")
    return found


def _cell(name: str, value: object, low: float, high: float, units: ShownUnits) -> str:
    if isinstance(value, str):
        return value
    if value is None:
        return "-"
    if isinstance(value, bool) or type(value).__name__ == "bool_":
        return "yes" if value else ""
    number = float(value)  # type: ignore[arg-type]
    if name in _SHARES:
        if (number if math.isnan(low) else low) > _CERTAIN:
            return "over 99.9"
        return _number(100 * number, 100 * low, 100 * high, 1)
    stem, ending = _parted(name)
    if not ending:
        return "" if math.isnan(number) else f"{number:g}"
    unit = _units(units)[ending]
    value, low, high = (float(one) * unit.factor for one in (number, low, high))
    coarse = ending == "mm" and stem not in _FINE
    return _number(value, low, high, unit.decimals - coarse)


def _number(value: float, low: float, high: float, decimals: int) -> str:
    """Return a number; with its interval, where it has one, to the digits that supports."""
    if math.isnan(value):
        return "-"
    if math.isnan(low) and math.isnan(high):
        return f"{round(value, decimals) + 0.0:.{decimals}f}"  # no minus before nothing
    if math.isfinite(low) and math.isfinite(high):
        places = max(min(decimals_supported(value, low, high), decimals), 0)
        return f"{value:.{places}f} ({low:.{places}f} to {high:.{places}f})"
    bound = [f"{one:.{decimals}f}" if math.isfinite(one) else "?" for one in (low, high)]
    return f"{value:.{decimals}f} ({bound[0]} to {bound[1]})"


def _by_row(
    frame: pd.DataFrame, units: ShownUnits, heads: Mapping[str, str]
) -> tuple[list[str], list[list[str]]]:
    """Lay out a table that names the unit of each row."""
    values = [str(name) for name in frame.columns if name not in ("what", "unit")]
    plain = [name for name in values if name not in ("low", "high")
             and not name.endswith(("_low", "_high"))]  # fmt: skip
    rows = []
    for row in frame.to_dict("records"):
        unit = _units(units).get(_BY_UNIT.get(row["unit"], row["unit"]), _Shown(row["unit"], 1, 2))
        cells = []
        for name in plain:
            ends = ("low", "high") if name == "value" else (f"{name}_low", f"{name}_high")
            low, high = (float(row.get(end, math.nan)) * unit.factor for end in ends)
            cells.append(_number(float(row[name]) * unit.factor, low, high, unit.decimals))
        rows.append([str(row["what"]), *cells, unit.name])
    return ["", *(heads.get(name, name) if name != "value" else "" for name in plain), ""], rows
