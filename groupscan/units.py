"""Quantities and their units: read, convert and print them, in one place.

Inside groupscan lengths are in mm, distances in m and angles in radians. Archery units enter and
leave through this module. The conversions are exact by definition: one inch is 25.4 mm, one foot
12 inches, one yard 3 feet, one grain 64.79891 mg (international yard and pound, 1959); one
minute of angle is 1/60 degree and one mrad 1/1000 radian.
"""

import math
import re
from typing import Final

from groupscan.errors import UnitError

__all__ = [
    "MM_PER_INCH",
    "M_PER_YARD",
    "angle_rad",
    "decimals_supported",
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
    "parse_size",
    "to_moa",
    "to_mrad",
    "yd_to_m",
]

MM_PER_INCH: Final = 25.4
M_PER_FOOT: Final = 0.3048
M_PER_YARD: Final = 0.9144
G_PER_GRAIN: Final = 0.06479891
NEWTON_PER_LBF: Final = 0.45359237 * 9.80665
RAD_PER_MOA: Final = math.pi / 10_800
RAD_PER_MRAD: Final = 1e-3

_MM_PER_UNIT: Final = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), 1.0),
    **dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), 10.0),
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 1000.0),
    **dict.fromkeys(("in", "inch", "inches", '"', "″", "”"), MM_PER_INCH),
    **dict.fromkeys(("ft", "foot", "feet", "'", "′", "’"), 1000 * M_PER_FOOT),
    **dict.fromkeys(("yd", "yds", "yard", "yards"), 1000 * M_PER_YARD),
}
_NUMBER: Final = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?"
_QUANTITY: Final = re.compile(
    rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>[^\s\d.+-]*)\s*", re.IGNORECASE
)


def _quantity_mm(text: str, what: str, default_unit: str | None, example: str) -> float:
    """Return the length in mm that the text states, or raise UnitError that says what to write."""
    found = _QUANTITY.fullmatch(text)
    if found is None:
        raise UnitError(
            f"{what} {text!r} is not a number and a unit; write it like {example!r}"
            " (a point for decimals)"
        )
    unit = found["unit"].lower() or default_unit
    if unit is None:
        raise UnitError(f"{what} {text!r} has no unit; write it like {example!r}")
    if unit not in _MM_PER_UNIT:
        raise UnitError(
            f"{what} {text!r} has the unit {unit!r}, which is not a length known here;"
            " use mm, cm, m, in, ft or yd"
        )
    value = float(found["number"]) * _MM_PER_UNIT[unit]
    if not (math.isfinite(value) and value > 0):
        raise UnitError(f"{what} {text!r} must be more than zero and finite")
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
    return _quantity_mm(text, "length", default_unit, "300mm")


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
    return _quantity_mm(text, "distance", default_unit, "40yd") / 1000


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
    height = _QUANTITY.fullmatch(parts[1])
    shared = (height["unit"].lower() if height else "") or default_unit
    width_mm = _quantity_mm(parts[0], "width", shared, "279.4x215.9mm")
    return width_mm, _quantity_mm(parts[1], "height", default_unit, "279.4x215.9mm")


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
