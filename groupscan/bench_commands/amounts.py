"""Amounts that the options of the bench take, with their unit."""

from __future__ import annotations

import math
from typing import Final

from groupscan.errors import GroupscanError

__all__ = [
    "altitude_in",
    "angle_mrad",
    "distances_in",
    "length_in",
    "number_in",
    "speed_in",
    "steps_to",
]


_ANGLES: Final = {"mrad": 1.0, "moa": 1e3 * math.pi / 10_800}


def length_in(text: str) -> float:
    """Return a length, mm; its unit must be said."""
    from groupscan.units import parse_length

    return parse_length(text)


def speed_in(text: str) -> float:
    """Return a speed, m/s; its unit must be said."""
    from groupscan.units import parse_quantity

    return parse_quantity(text.strip(), "speed")


def distances_in(text: str) -> list[float]:
    """Return distances, m, from a list such as ``20yd,30yd``."""
    from groupscan.units import parse_distance

    return [parse_distance(one.strip()) for one in text.split(",")]


def steps_to(nearest: str, farthest: str, step: str) -> list[float]:
    """Return distances, m, from the nearest to the farthest.

    Examples
    --------
    >>> steps_to("10m", "25m", "5m")
    [10.0, 15.0, 20.0, 25.0]
    """
    (near,), (far,), (by,) = distances_in(nearest), distances_in(farthest), distances_in(step)
    if not near < far:
        raise GroupscanError(f"--from {nearest} must be nearer than --to {farthest}")
    count = math.floor((far - near) / by + 1e-9)
    if count > 500:
        raise GroupscanError(f"--step {step} makes {count} rows: give a longer step")
    return [near + by * i for i in range(count + 1)]


def angle_mrad(text: str) -> float:
    """Return an angle, mrad, from text such as ``1.2mrad`` or ``4moa``.

    Examples
    --------
    >>> angle_mrad("1.2mrad"), round(angle_mrad("4 MOA"), 3)
    (1.2, 1.164)
    """
    low = text.strip().casefold()
    for unit, factor in _ANGLES.items():
        if low.endswith(unit):
            return number_in(low.removesuffix(unit), "an angle") * factor
    raise GroupscanError(f"{text!r} is no angle; write it like 1.2mrad or 4moa")


def number_in(text: str, what: str) -> float:
    """Return a number; `what` names it where it is none."""
    try:
        return float(text)
    except ValueError as err:
        raise GroupscanError(f"{what} {text!r} is no number") from err


def altitude_in(text: str) -> float:
    """Return a height above sea level, m; it may be nothing or below."""
    sign = -1.0 if text.strip().startswith("-") else 1.0
    bare = text.strip().lstrip("+-")
    if bare.rstrip("mftyd ").strip("0.") == "":
        return 0.0
    return sign * length_in(bare) / 1e3
