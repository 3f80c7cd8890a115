"""Quantities and their units: read, convert and print them, in one place.

Inside groupscan lengths are in mm, distances in m and angles in radians. Archery units enter and
leave through this module. The conversions are exact by definition: one inch is 25.4 mm, one foot
12 inches, one yard 3 feet, one grain 64.79891 mg (international yard and pound, 1959); one
minute of angle is 1/60 degree and one mrad 1/1000 radian. Gear and air are in g, N, g/m, degrees
Celsius, Pa and m/s.

References
----------
Thompson, A. and Taylor, B. N., "Guide for the Use of the International System of Units (SI)",
NIST Special Publication 811 (2008), appendix B.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from groupscan.errors import UnitError

__all__ = [
    "MM_PER_INCH",
    "M_PER_YARD",
    "Kind",
    "angle_rad",
    "decimals_supported",
    "distance_text",
    "express",
    "format_estimate",
    "fps_to_mps",
    "ft_to_m",
    "g_to_grain",
    "grain_to_g",
    "inch_to_mm",
    "joule_to_ftlbf",
    "kgmps_to_slugftps",
    "lbf_to_newton",
    "length_mm",
    "m_to_ft",
    "m_to_yd",
    "mm_to_inch",
    "moa_to_rad",
    "mps_to_fps",
    "mrad_to_rad",
    "newton_to_lbf",
    "parse_distance",
    "parse_length",
    "parse_quantity",
    "parse_size",
    "to_moa",
    "to_mrad",
    "unit_of",
    "yd_to_m",
]

MM_PER_INCH: Final = 25.4
M_PER_FOOT: Final = 0.3048
M_PER_YARD: Final = 0.9144
G_PER_GRAIN: Final = 0.06479891
NEWTON_PER_LBF: Final = 0.45359237 * 9.80665
RAD_PER_MOA: Final = math.pi / 10_800
RAD_PER_MRAD: Final = 1e-3

#: What `parse_quantity` and `express` know, beside the angle of an offset.
Kind = Literal[
    "length", "mass", "mass a length", "force", "temperature", "pressure", "speed", "share"
]  # fmt: skip


@dataclass(frozen=True)
class _Units:
    """Units of one kind by their first names: the factor to ours, and where their zero lies.

    ``least`` is the bound of what can be; ``at`` tells whether that itself can.
    """

    per_unit: Mapping[str, float]
    others: Mapping[str, str]
    example: str
    zero: Mapping[str, float]
    least: float
    at: bool


def _units(
    example: str,
    per_unit: Mapping[str, float],
    others: str,
    *,
    zero: Mapping[str, float] | None = None,
    least: float = 0.0,
    at: bool = False,
) -> _Units:
    pairs = (pair.rsplit("=", 1) for pair in others.split())
    names = {other: first for several, first in pairs for other in several.split(",")}
    return _Units(per_unit, names, example, zero or {}, least, at)


_KINDS: Final[Mapping[Kind, _Units]] = {
    "length": _units(
        "29in",
        {
            **{"mm": 1.0, "cm": 10.0, "m": 1e3, "in": MM_PER_INCH},
            **{"ft": 1e3 * M_PER_FOOT, "yd": 1e3 * M_PER_YARD},
        },
        "inch,inches,\",″,”=in foot,feet,',′,’=ft yard,yards,yds=yd",
    ),
    "mass": _units(
        "100gr",
        {"g": 1.0, "gr": G_PER_GRAIN, "kg": 1e3, "mg": 1e-3, "oz": 28.349523125, "lb": 453.59237},
        "gram,grams=g grain,grains,grn,gn=gr ounce,ounces=oz pound,pounds,lbs=lb",
        at=True,
    ),
    "mass a length": _units(
        "9.3gpi",
        {"g/m": 1.0, "gpi": 1e3 * G_PER_GRAIN / MM_PER_INCH},
        "gr/in,grains/inch=gpi",
    ),
    "force": _units(
        "60lb",
        {"n": 1.0, "lb": NEWTON_PER_LBF, "kgf": 9.80665},
        "lbf,lbs,#,pound,pounds=lb newton,newtons=n kg,kp=kgf",
    ),
    "temperature": _units(
        "12C",
        {"c": 1.0, "f": 5 / 9, "k": 1.0},
        "°c,celsius=c °f,fahrenheit=f kelvin=k",
        zero={"f": -160 / 9, "k": -273.15},
        least=-273.15,
    ),
    "pressure": _units(
        "1013hPa",
        {"hpa": 100.0, "pa": 1.0, "kpa": 1e3, "inhg": 3386.389},
        "mbar,mb=hpa",
    ),
    "speed": _units(
        "3m/s",
        {
            **{"m/s": 1.0, "km/h": 1 / 3.6, "mph": 0.44704},
            **{"ft/s": M_PER_FOOT, "kn": 1852 / 3600},
        },
        "mps=m/s kmh,kph=km/h fps=ft/s kt,knot,knots=kn",
        at=True,
    ),
    "share": _units("60%", {"%": 0.01}, "percent=%", at=True),
}
_SIGNS: Final = {"n": "N", "c": "°C", "f": "°F", "k": "K", "hpa": "hPa", "pa": "Pa", "kpa": "kPa"}
_NUMBER: Final = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?"
_QUANTITY: Final = re.compile(
    rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>[^\s\d.+-]*)\s*", re.IGNORECASE
)
# A comma before three digits may stand between thousands: nobody can tell, unless a 0 leads.
_COMMA: Final = re.compile(r"(\s*[+-]?(?:0(?=,)|\d+(?=,\d{1,2}(?!\d))|\d+(?=,\d{4}))),(?=\d)")


def _quantity(text: str) -> re.Match[str] | None:
    """Return the number and unit of a text, with a comma for decimals where that is plain."""
    return _QUANTITY.fullmatch(_COMMA.sub(r"\1.", text, count=1))


def _read(
    text: str, kind: Kind, default_unit: str | None, *, what: str = "", example: str = ""
) -> float:
    """Return the quantity that the text states, or raise UnitError that says what to write."""
    units, what = _KINDS[kind], what or kind
    example = example or units.example
    found = _quantity(text)
    if found is None:
        raise UnitError(
            f"{what} {text!r} is not a number and a unit; write it like {example!r}"
            " (a point for decimals)"
        )
    unit = found["unit"].lower() or default_unit
    if unit is None:
        raise UnitError(f"{what} {text!r} has no unit; write it like {example!r}")
    unit = units.others.get(unit, unit)
    if unit not in units.per_unit:
        *most, last = (_SIGNS.get(name, name) for name in units.per_unit)
        raise UnitError(
            f"{what} {text!r} has the unit {unit!r}, which is not a {kind} known here;"
            f" use {', '.join(most)} or {last}"
        )
    value = float(found["number"]) * units.per_unit[unit] + units.zero.get(unit, 0.0)
    if not (math.isfinite(value) and units.least <= value and (value > units.least or units.at)):
        least = f"{units.least:g}" if units.least else "zero"
        bound = f"{least} or more" if units.at else f"more than {least}"
        raise UnitError(f"{what} {text!r} must be {bound} and finite")
    return value


def parse_length(text: str, *, default_unit: str | None = None) -> float:
    """Read a length, such as the known length of a check bar.

    Parameters
    ----------
    text : str
        A positive number and a unit: mm, cm, m, in (inch, "), ft or yd.
    default_unit : str, optional
        The unit of a bare number. Without it a bare number is refused.

    Returns
    -------
    float
        The length, mm.

    Raises
    ------
    UnitError
        If the text is not a positive length.

    Examples
    --------
    >>> parse_length("30 cm")
    300.0
    >>> round(parse_length("11.8in"), 2)
    299.72
    """
    return _read(text, "length", default_unit, example="300mm")


def parse_distance(text: str, *, default_unit: str | None = None) -> float:
    """Read a shooting distance.

    Parameters
    ----------
    text : str
        A positive number and a unit: yd, m, ft (or a shorter length's).
    default_unit : str, optional
        The unit of a bare number. Without it a bare number is refused.

    Returns
    -------
    float
        The distance, m.

    Raises
    ------
    UnitError
        If the text is not a positive distance.

    Examples
    --------
    >>> round(parse_distance("40yd"), 3)
    36.576
    """
    return _read(text, "length", default_unit, what="distance", example="40yd") / 1000


def parse_size(text: str, *, default_unit: str | None = None) -> tuple[float, float]:
    """Read the width and height of a rectangle.

    Parameters
    ----------
    text : str
        Two positive numbers with an x between them; one unit at the end serves both.
    default_unit : str, optional
        The unit where the text has none.

    Returns
    -------
    tuple of float
        Width and height, mm.

    Raises
    ------
    UnitError
        If the text is not two positive lengths.

    Examples
    --------
    >>> parse_size("279.4x215.9mm")
    (279.4, 215.9)
    """
    parts = re.split(r"\s*[x×]\s*", text, flags=re.IGNORECASE)
    if len(parts) != 2:
        raise UnitError(f"size {text!r} is not a width and a height; write it like '279.4x215.9mm'")
    height = _quantity(parts[1])
    shared = (height["unit"].lower() if height else "") or default_unit
    example = "279.4x215.9mm"
    width_mm = _read(parts[0], "length", shared, what="width", example=example)
    return width_mm, _read(parts[1], "length", default_unit, what="height", example=example)


def parse_quantity(
    text: str, kind: Kind, *, default_unit: str | None = None, example: str = ""
) -> float:
    """Read a quantity of gear or air.

    Parameters
    ----------
    text : str
        A number and a unit of that kind: of a mass g, gr (grains), kg, mg, oz or lb; of a force
        lb (pounds of draw weight), N or kgf; of mass a length gpi (grains per inch) or g/m.
    kind : str
        One of `Kind`.
    default_unit : str, optional
        The unit of a bare number. Without it a bare number is refused.
    example : str, optional
        What a message shows; left out: one of that kind.

    Returns
    -------
    float
        In mm, g, g/m, N, degrees Celsius, Pa or m/s.

    Raises
    ------
    UnitError
        If the text is no such quantity, or is less than can be.

    Examples
    --------
    >>> round(parse_quantity("70lb", "force"), 2), parse_quantity("-40F", "temperature")
    (311.38, -40.0)
    >>> round(parse_quantity("28,5 in", "length"), 2)
    723.9
    """
    return _read(text, kind, default_unit, example=example)


def unit_of(text: str, kind: Kind, *, default_unit: str = "") -> str:
    """Return the unit of a quantity that `parse_quantity` reads, by the name `express` takes."""
    found = _quantity(text)
    unit = (found["unit"].lower() if found else "") or default_unit
    return _KINDS[kind].others.get(unit, unit)


def express(value: float, kind: Kind, unit: str, *, digits: int = 5) -> str:
    """Print a quantity in a unit, to five digits or as many as asked for.

    Examples
    --------
    >>> express(311.3755, "force", "lb"), express(6.479891, "mass", "gr")
    ('70 lb', '100 gr')
    """
    units = _KINDS[kind]
    number = (value - units.zero.get(unit, 0.0)) / units.per_unit[unit]
    return f"{number:.{digits}g} {_SIGNS.get(unit, unit)}"


def mm_to_inch(mm: float) -> float:
    """Return inches."""
    return mm / MM_PER_INCH


def inch_to_mm(inch: float) -> float:
    """Return mm."""
    return inch * MM_PER_INCH


def yd_to_m(yd: float) -> float:
    """Return metres."""
    return yd * M_PER_YARD


def m_to_yd(m: float) -> float:
    """Return yards."""
    return m / M_PER_YARD


def ft_to_m(ft: float) -> float:
    """Return metres."""
    return ft * M_PER_FOOT


def m_to_ft(m: float) -> float:
    """Return feet."""
    return m / M_PER_FOOT


def fps_to_mps(fps: float) -> float:
    """Return metres a second from feet a second."""
    return fps * M_PER_FOOT


def mps_to_fps(mps: float) -> float:
    """Return feet a second from metres a second."""
    return mps / M_PER_FOOT


def grain_to_g(grain: float) -> float:
    """Return grams."""
    return grain * G_PER_GRAIN


def g_to_grain(g: float) -> float:
    """Return grains."""
    return g / G_PER_GRAIN


def lbf_to_newton(lbf: float) -> float:
    """Return newtons from pounds of draw weight."""
    return lbf * NEWTON_PER_LBF


def newton_to_lbf(newton: float) -> float:
    """Return pounds of draw weight from newtons."""
    return newton / NEWTON_PER_LBF


def distance_text(distance_m: float | None) -> str:
    """Write a distance in whichever of metres and yards it is a round number of.

    Examples
    --------
    >>> distance_text(18.288), distance_text(18.0), distance_text(None)
    ('20 yd', '18 m', '')
    """
    if distance_m is None:
        return ""
    yards = m_to_yd(distance_m)
    if abs(yards - round(yards)) < 1e-6 and abs(distance_m - round(distance_m)) > 1e-6:
        return f"{yards:.0f} yd"
    return f"{distance_m:.6g} m"


def joule_to_ftlbf(joule: float) -> float:
    """Return foot-pounds (force) of energy from joules."""
    return joule / (NEWTON_PER_LBF * M_PER_FOOT)


def kgmps_to_slugftps(kgmps: float) -> float:
    """Return slug feet a second, which are pound(-force) seconds, from kilogram metres a second."""
    return kgmps / NEWTON_PER_LBF


def angle_rad(length_mm: float, distance_m: float) -> float:
    """Return the angle that an offset on the target makes at the archer.

    Parameters
    ----------
    length_mm : float
        Offset from the line of aim, or any length square to it, mm; its sign is kept.
    distance_m : float
        Distance to the target, m.

    Returns
    -------
    float
        atan(length / distance), rad.

    Raises
    ------
    UnitError
        If the distance is not positive.

    Examples
    --------
    >>> round(to_moa(angle_rad(25.4, yd_to_m(20))), 4)
    4.7746
    """
    if not (math.isfinite(distance_m) and distance_m > 0):
        raise UnitError(f"distance {distance_m!r} m must be more than zero and finite")
    return math.atan(length_mm / (1000 * distance_m))


def length_mm(rad: float, distance_m: float) -> float:
    """Return the offset on the target, mm, that an angle makes; undoes `angle_rad`."""
    return 1000 * distance_m * math.tan(rad)


def to_moa(rad: float) -> float:
    """Return minutes of angle."""
    return rad / RAD_PER_MOA


def to_mrad(rad: float) -> float:
    """Return milliradians."""
    return rad / RAD_PER_MRAD


def moa_to_rad(moa: float) -> float:
    """Return radians from minutes of angle."""
    return moa * RAD_PER_MOA


def mrad_to_rad(mrad: float) -> float:
    """Return radians from milliradians."""
    return mrad * RAD_PER_MRAD


def decimals_supported(value: float, low: float, high: float) -> int:
    """Return how many decimals a value's interval supports; negative means tens, hundreds, ...

    Half the interval's width is the error. If its three leading digits lie between 100 and 354,
    two of its digits are kept; between 355 and 949, one; between 950 and 999 it counts as 1000
    and two are kept. Where no interval is known, or it has no width, the value keeps three
    digits.

    References
    ----------
    Particle Data Group, "Review of Particle Physics", Introduction, section "Rounding".

    Examples
    --------
    >>> decimals_supported(10.08, 6.6, 18.7)
    0
    """
    error = (high - low) / 2
    if not (math.isfinite(error) and error > 0):
        if not math.isfinite(value) or value == 0:
            return 0
        return 2 - math.floor(math.log10(abs(value)))
    power = math.floor(math.log10(error))
    leading = round(error / 10.0 ** (power - 2))
    if leading >= 950:
        return -power
    return 1 - power if leading < 355 else -power


def format_estimate(value: float, low: float, high: float, unit: str) -> str:
    """Print a value and its interval with the digits that the interval supports.

    Parameters
    ----------
    value, low, high : float
        The estimate and its interval, all in `unit`; NaN limits mean that there is none.
    unit : str
        The unit to print; may be empty.

    Returns
    -------
    str
        Such as ``"10 mm (7 to 19)"``; a dash for a value that is not known.

    See Also
    --------
    decimals_supported : the rule of rounding.

    Examples
    --------
    >>> format_estimate(10.08181, 6.600843, 18.7217, "mm")
    '10 mm (7 to 19)'
    >>> format_estimate(12.3456, float("nan"), float("nan"), "mm")
    '12.3 mm'
    """
    if not math.isfinite(value):
        return "–"
    decimals = decimals_supported(value, low, high)

    def digits(number: float) -> str:
        # Adding zero turns a rounded -0.0 into 0.0.
        return f"{round(number, decimals) + 0.0:.{max(decimals, 0)}f}"

    text = f"{digits(value)} {unit}".rstrip()
    if math.isfinite(low) and math.isfinite(high):
        text += f" ({digits(low)} to {digits(high)})"
    return text
