"""What a group asks of the sight: how far and which way, where the evidence carries it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

from groupscan.errors import UnitError
from groupscan.report.scene import LengthUnit
from groupscan.report.words import SIDES, Unit, express
from groupscan.stats.group import Estimate, Group
from groupscan.units import (
    RAD_PER_MOA,
    RAD_PER_MRAD,
    angle_rad,
    parse_distance,
    parse_length,
)

__all__ = ["CLICKS_OF_RIGS", "CLICK_EXAMPLE", "kept_click", "parse_click", "sight_move"]

#: Where the reader's answers are kept: by the rig's id, as text since JSON has no other keys.
CLICKS_OF_RIGS: Final = "sight_clicks_of_rigs"
# Earlier versions kept them by name alone, and two shooters may call a rig the same.
_CLICKS_OF_NAMES: Final = "sight_clicks"

CLICK_EXAMPLE: Final = "0.5 mm at 20 yd, 0.25 MOA or 0.1 mrad"

_ANGLES: Final = {"moa": RAD_PER_MOA, "mrad": RAD_PER_MRAD, "mil": RAD_PER_MRAD}
_ANGLE: Final = re.compile(r"\s*(?P<number>\d+\.?\d*|\.\d+)\s*(?P<unit>[a-z]+)\s*", re.IGNORECASE)
# A hundredth of a minute moves nothing, a degree is no click.
_LEAST_RAD: Final = 0.01 * RAD_PER_MOA
_MOST_RAD: Final = 60 * RAD_PER_MOA

_OPPOSITE: Final = {"right": "left", "left": "right", "high": "down", "low": "up"}
_AFTER: Final = {"right": "right", "left": "left", "high": "up", "low": "down"}


def kept_click(remembered: Mapping[str, Any], rig_id: int | None, rig: str) -> str:
    """Return what the reader once said of a click of a rig's sight; empty where nothing.

    Parameters
    ----------
    remembered : mapping
        The reader's kept answers.
    rig_id : int or None
        None for shots of which no rig is said.
    rig : str
        Its name.

    Examples
    --------
    >>> kept_click({"sight_clicks_of_rigs": {"7": "0.1 mrad"}}, 7, "Kite")
    '0.1 mrad'
    >>> kept_click({"sight_clicks": {"Kite": "0.25 MOA"}}, 7, "Kite")
    '0.25 MOA'
    """
    for name, key in ((CLICKS_OF_RIGS, str(rig_id or "")), (_CLICKS_OF_NAMES, rig)):
        clicks = remembered.get(name)
        if isinstance(clicks, dict) and key in clicks:
            return clicks[key] if isinstance(clicks[key], str) else ""
    return ""


def parse_click(text: str) -> float:
    """Read how far one click of a sight moves the impact.

    Parameters
    ----------
    text : str
        A length at a distance, or an angle: ``"0.5 mm at 20 yd"``, ``"0.25 MOA"``.

    Returns
    -------
    float
        The angle of one click, rad.

    Raises
    ------
    UnitError
        If the text cannot be read or is no click of any sight.

    Examples
    --------
    >>> round(1e6 * parse_click("0.5 mm at 10 m"), 3)
    50.0
    >>> round(1e3 * parse_click("0.1 mrad"), 3)
    0.1
    """
    length, at, distance = text.partition(" at ")
    if at:
        rad = angle_rad(parse_length(length), parse_distance(distance))
    else:
        read = _ANGLE.fullmatch(text)
        unit = read["unit"].lower() if read else ""
        if read is None or unit not in _ANGLES:
            raise UnitError(
                f"{text.strip()!r} is no click: say how far it moves the impact, such as "
                f"{CLICK_EXAMPLE}"
            )
        rad = float(read["number"]) * _ANGLES[unit]
    if not _LEAST_RAD <= rad <= _MOST_RAD:
        raise UnitError(
            f"one click of {text.strip()} would be {rad / RAD_PER_MOA:.3g} MOA, and no sight has "
            f"such: give something like {CLICK_EXAMPLE}"
        )
    return rad


def sight_move(
    group: Group,
    unit: Unit = "mm",
    *,
    click_rad: float | None = None,
    sight_radius_mm: float | None = None,
    pin_unit: LengthUnit = "mm",
) -> str:
    """Say in one sentence how to move the sight; nothing where the evidence does not carry it.

    Parameters
    ----------
    group : Group
        The group about its aim.
    unit : {"mm", "inch", "moa", "mrad"}
        What to say it in where neither of the following is known.
    click_rad : float, optional
        What one click moves the impact by, rad.
    sight_radius_mm : float, optional
        Sight pin to eye, mm: the pin moves by the offset times this over the distance.
    pin_unit : {"mm", "inch"}
        What to say the pin's own way in.

    Returns
    -------
    str
        Empty unless the intervals leave out 0: that of the centre's distance from the aim, and
        that of the axis along which to move; of ends where their centres wander.

    Notes
    -----
    A pin follows the arrows: it moves to the side on which they land. Common practice, and the
    geometry of a line from the eye over the pin.

    Examples
    --------
    >>> from groupscan.stats.group import measure_group
    >>> shots = [(38, 1), (42, -3), (40, 2), (41, 0)]
    >>> sight_move(measure_group(shots, distance_m=18.0), click_rad=parse_click("0.5 mm at 18 m"))
    'Bring the impact 80 clicks left (75 to 86); a pin goes right, after the arrows.'
    >>> sight_move(measure_group([(4, 2), (-5, 1), (1, -4)]))
    ''
    """
    offset = group.offset_by_ends
    if not offset.low > 0:
        return ""
    away = group.distance_m
    ways: list[tuple[str, str]] = []
    for name, estimate in (("offset_x", offset.x), ("offset_y", offset.y)):
        if estimate.low <= 0 <= estimate.high:
            continue
        side = SIDES[name][0] if estimate.value > 0 else SIDES[name][1]
        size = estimate
        if estimate.value < 0:
            size = Estimate(-estimate.value, -estimate.high, -estimate.low)
        if away is not None and click_rad is not None:
            text = _clicks(size, click_rad, away)
        elif away is not None and sight_radius_mm is not None:
            text = express(size.scaled(sight_radius_mm / (1000 * away)), pin_unit)
        else:
            text = express(size, unit, distance_m=away)
        ways.append((side, text))
    if not ways:
        return ""
    if away is not None and click_rad is None and sight_radius_mm is not None:
        moves = " and ".join(_said(text, _AFTER[side]) for side, text in ways)
        return f"Move the sight pin {moves}, after the arrows."
    moves = " and ".join(_said(text, _OPPOSITE[side]) for side, text in ways)
    pin = " and ".join(_AFTER[side] for side, _ in ways)
    return f"Bring the impact {moves}; a pin goes {pin}, after the arrows."


def _clicks(size: Estimate, click_rad: float, distance_m: float) -> str:
    value, low, high = (
        angle_rad(mm, distance_m) / click_rad for mm in (size.value, size.low, size.high)
    )
    if round(value) < 1:
        return "less than one click"
    word = "click" if round(value) == 1 else "clicks"
    return f"{value:.0f} {word} ({low:.0f} to {high:.0f})"


def _said(text: str, way: str) -> str:
    """Put the way between a size and its interval."""
    size, bracket, interval = text.partition(" (")
    return f"{size} {way}{bracket}{interval}"
