"""What a group's numbers mean, said as a coach would say it."""

from __future__ import annotations

import math
from typing import Final, Literal

from groupscan.stats.group import Estimate, Group
from groupscan.telling import chance
from groupscan.units import angle_rad, format_estimate, mm_to_inch, to_moa, to_mrad

__all__ = [
    "MAIN",
    "SHORT",
    "SIDES",
    "STATISTICS",
    "UNITS",
    "Unit",
    "bare_number",
    "direction",
    "express",
    "express_sides",
    "meaning",
    "shape_rows",
    "statistic_text",
]

Unit = Literal["mm", "inch", "moa", "mrad"]

#: Units a reader may choose, with the words to show.
UNITS: Final[dict[Unit, str]] = {"mm": "mm", "inch": "inches", "moa": "MOA", "mrad": "mrad"}

#: The same as written after a number.
SHORT: Final[dict[Unit, str]] = {"mm": "mm", "inch": "in", "moa": "MOA", "mrad": "mrad"}

#: Statistics by name, in the order of the table: (title, what it says). Those of several ends are
#: there only for groups of several.
STATISTICS: Final[dict[str, tuple[str, str]]] = {
    "offset": ("Offset", "how far the centre lies from the aim"),
    "offset_x": ("Offset, sideways", "how far right (+) or left (-) of the aim the centre lies"),
    "offset_y": ("Offset, height", "how far above (+) or below (-) the aim the centre lies"),
    "extreme_spread": ("Extreme spread", "the two holes farthest apart, centre to centre"),
    "mean_radius": ("Mean radius", "average distance of a hole from the centre"),
    "sigma": ("Sigma, per axis", "spread of this rig along one axis, both pooled"),
    "sigma_x": ("Sigma, sideways", "spread of this rig left to right"),
    "sigma_y": ("Sigma, up and down", "spread of this rig in height"),
    "figure_of_merit": ("Figure of merit", "mean of the group's width and height"),
    "r50": ("R50", "circle about the centre that holds half of the arrows"),
    "r90": ("R90", "circle about the centre that holds nine arrows in ten"),
    "r95": ("R95", "circle about the centre that holds nineteen arrows in twenty"),
    "width": ("Width", "from the hole farthest left to the one farthest right"),
    "height": ("Height", "from the lowest hole to the highest"),
    "diagonal": ("Diagonal", "corner to corner of the box of width and height"),
    "radial_sd": ("Radial SD", "root of the mean squared distance from the centre (n - 1)"),
    "sigma_from_spread": (
        "Sigma from the spread",
        "sigma that the extreme spread implies for its number of arrows; less sure than sigma",
    ),
    "sigma_within": ("Sigma within ends", "spread along one axis about each end's own centre"),
    "wander": ("Wander of the ends", "spread along one axis of the ends' centres themselves"),
    "sigma_total": (
        "Sigma of any one arrow",
        "both together: one arrow of any end, as a hunter shoots it",
    ),
}

#: The rows that stand first; the others are for who asks.
MAIN: Final = (
    *("offset", "offset_x", "offset_y", "extreme_spread", "mean_radius"),
    *("sigma", "sigma_x", "sigma_y", "r50", "r90"),
)


#: Words for the two directions of the offset's coordinates: (positive, negative).
SIDES: Final[dict[str, tuple[str, str]]] = {
    "offset_x": ("right", "left"),
    "offset_y": ("high", "low"),
}


def _in(mm: float, unit: Unit, distance_m: float | None) -> float:
    if unit == "mm":
        return mm
    if unit == "inch":
        return mm_to_inch(mm)
    if distance_m is None:
        return math.nan
    angle = angle_rad(mm, distance_m)
    return to_moa(angle) if unit == "moa" else to_mrad(angle)


def express(estimate: Estimate, unit: Unit, *, distance_m: float | None = None) -> str:
    """Print an estimate in a unit, with its interval and the digits that it supports.

    Parameters
    ----------
    estimate : Estimate
        Value and limits, mm.
    unit : {"mm", "inch", "moa", "mrad"}
        The unit to print; angles need the distance.
    distance_m : float, optional
        Shooting distance, m.

    Returns
    -------
    str
        A dash where the value is not known.

    Examples
    --------
    >>> express(Estimate(25.4, 12.7, 50.8), "inch")
    '1.0 in (0.5 to 2.0)'
    >>> express(Estimate(25.4), "moa")
    '–'
    """
    value, low, high = (
        _in(mm, unit, distance_m) for mm in (estimate.value, estimate.low, estimate.high)
    )
    return format_estimate(value, low, high, SHORT[unit])


def bare_number(estimate: Estimate, unit: Unit, *, distance_m: float | None = None) -> str:
    """Print an estimate as `express` does, without its unit: for a column whose head tells it.

    Examples
    --------
    >>> bare_number(Estimate(25.4, 12.7, 50.8), "inch")
    '1.0 (0.5 to 2.0)'
    """
    value, low, high = (
        _in(mm, unit, distance_m) for mm in (estimate.value, estimate.low, estimate.high)
    )
    return format_estimate(value, low, high, "")


def express_sides(
    estimate: Estimate, unit: Unit, sides: tuple[str, str], *, distance_m: float | None = None
) -> str:
    """Print a signed estimate with words for its directions instead of signs.

    Parameters
    ----------
    estimate : Estimate
        Value and limits, mm.
    unit : {"mm", "inch", "moa", "mrad"}
    sides : (str, str)
        Words for positive and negative, such as ``SIDES["offset_x"]``.
    distance_m : float, optional
        Shooting distance, m.

    Examples
    --------
    >>> express_sides(Estimate(-25.0, -40.0, -10.0), "mm", ("right", "left"))
    '25 mm left (10 to 40)'
    >>> express_sides(Estimate(-5.0, -20.0, 10.0), "mm", ("right", "left"))
    '5 mm left (10 right to 20 left)'
    """
    plus, minus = sides
    side = plus if estimate.value >= 0 else minus
    if side == minus:
        estimate = Estimate(-estimate.value, -estimate.high, -estimate.low)
    text = express(estimate, unit, distance_m=distance_m)
    size, bracket, interval = text.partition(" (")
    if not math.isfinite(estimate.value):
        return size
    low, _, high = interval.rstrip(")").partition(" to ")
    if low.startswith("-"):
        other = minus if side == plus else plus
        interval = f"{low[1:]} {other} to {high} {side})"
    return f"{size} {side}{bracket}{interval}"


def statistic_text(group: Group, name: str, unit: Unit) -> str:
    """Print one statistic of a group with its interval, for a table; a dash where it has none.

    What was seen of these shots may lie outside the interval of what such groups average: then
    the interval is called what it is.

    Examples
    --------
    >>> from groupscan.stats.group import measure_group
    >>> group = measure_group([(-40, 1), (-30, -4), (-38, 3), (-44, -1)])
    >>> statistic_text(group, "offset_x", "mm")
    '38 mm left (29 to 47)'
    """
    estimate, away = group.estimates().get(name), group.distance_m
    if estimate is None:
        return "–"
    if name in SIDES:
        return express_sides(estimate, unit, SIDES[name], distance_m=away)
    text = express(estimate, unit, distance_m=away)
    if estimate.low <= estimate.value <= estimate.high or not math.isfinite(estimate.low):
        return text
    seen, _, interval = text.partition(" (")
    return f"{seen}, expected {interval.rstrip(')')}"


def direction(group: Group, unit: Unit = "mm") -> str:
    """Say where the centre lies from the aim, such as ``"38 mm left and 22 mm low"``.

    Examples
    --------
    >>> from groupscan.stats.group import measure_group
    >>> direction(measure_group([(-40, 1), (-30, -4), (-38, 3), (-44, -1)]))
    '38 mm left and 0 mm low'
    """
    parts = [
        express_sides(estimate, unit, SIDES[name], distance_m=group.distance_m).split(" (")[0]
        for name, estimate in (("offset_x", group.offset.x), ("offset_y", group.offset.y))
    ]
    return " and ".join(parts)


def meaning(group: Group, unit: Unit = "mm") -> str:
    """Say in one plain sentence what the group means for the shooter.

    The centre counts as off the aim only where the interval of its distance leaves out zero, by
    ends where these wander.

    Parameters
    ----------
    group : Group
        The group.
    unit : {"mm", "inch", "moa", "mrad"}
        Unit to speak in; falls back to mm where an angle is asked for without a distance.

    Examples
    --------
    >>> from groupscan.stats.group import measure_group
    >>> meaning(measure_group([(4.0, 2.0)]))  # doctest: +ELLIPSIS
    'One hole shows where one arrow went, not what the rig does; shoot at least three ...'
    """
    if unit in ("moa", "mrad") and group.distance_m is None:
        unit = "mm"
    if group.n == 1:
        return (
            "One hole shows where one arrow went, not what the rig does; "
            "shoot at least three more at the same aim to see a group."
        )
    half = express(group.r50, unit, distance_m=group.distance_m)
    if not math.isfinite(group.offset.low):
        return (
            f"These {group.n} arrows sit {direction(group, unit)} of the aim; "
            "the photo cannot say how sure that is."
        )
    spread = f"half of this rig's arrows should land within {half} of the group's centre"
    moved = group.offset_by_ends
    if group.offset.low > 0 and not moved.low > 0:
        return (
            f"The group of {group.n} sits {direction(group, unit)} of the aim, but from end to end "
            f"its centre wanders by as much, so shoot more ends before moving the sight; {spread}."
        )
    if moved.low > 0 and all(e.low <= 0 <= e.high for e in (moved.x, moved.y)):
        return (
            f"The group of {group.n} sits {direction(group, unit)} of the aim, but along neither "
            f"axis is that sure yet, so shoot on before moving the sight; {spread}."
        )
    if moved.low > 0:
        return (
            f"The group of {group.n} sits {direction(group, unit)} of the aim, more than chance "
            f"explains, so a sight correction is worth making; {spread}."
        )
    if alone := _clear_alone(group, unit):
        return (
            f"With these {group.n} arrows {alone} looks real taken alone, but side and height "
            f"judged together are not sure, so shoot on before moving the sight; {spread}."
        )
    return (
        f"With these {group.n} arrows the group's centre cannot be told from the aim, so leave "
        f"the sight alone or shoot more before moving it; {spread}."
    )


def _clear_alone(group: Group, unit: Unit) -> str:
    """Name the axes of which the interval leaves out the aim, with that interval."""
    return " and ".join(
        express_sides(estimate, unit, SIDES[name], distance_m=group.distance_m)
        for name, estimate in (("offset_x", group.offset.x), ("offset_y", group.offset.y))
        if estimate.low > 0 or estimate.high < 0
    )


def shape_rows(group: Group, unit: Unit = "mm") -> list[tuple[str, str]]:
    """Say what no length tells: the group's shape, its robust centre, its farthest shot.

    Parameters
    ----------
    group : Group
    unit : {"mm", "inch", "moa", "mrad"}
        Unit of the robust centre.

    Returns
    -------
    list of (title, text)
        Only what these shots can tell.

    Examples
    --------
    >>> from groupscan.stats.group import measure_group
    >>> shots = [(12, -7), (-5, 10), (3, 4), (-14, -2), (9, 15)]
    >>> shape_rows(measure_group(shots))[0]
    ('Spatial median', '3 mm right, 4 mm high')
    """
    rows = []
    if group.n > 2:
        # It has no interval of its own; the centre's says how many digits are worth printing.
        centre, away = (group.offset.x, group.offset.y), group.distance_m
        places = zip(SIDES.values(), centre, group.spatial_median_mm, group.aim_mm, strict=True)
        sides = (
            express_sides(Estimate(at - aim, e.low, e.high), unit, words, distance_m=away)
            for words, e, at, aim in places
        )
        rows.append(("Spatial median", ", ".join(side.split(" (")[0] for side in sides)))
    shape = group.shape
    if math.isfinite(shape.height_ratio.high):
        ratio = shape.height_ratio
        words = format_estimate(ratio.value, ratio.low, ratio.high, "times")
        rows.append(("Height over width", words))
    if math.isfinite(shape.axis_rad.low):
        axis = shape.axis_rad
        value, low, high = (math.degrees(angle) for angle in (axis.value, axis.low, axis.high))
        rows.append(("Long way, from level", format_estimate(value, low, high, "degrees")))
    elif math.isfinite(shape.length_ratio):
        rows.append(("Long way, from level", "cannot be told"))
    if math.isfinite(shape.round_p) and shape.pattern != "not enough arrows":
        rows.append(("Long by chance alone", chance(shape.round_p)))
    if group.ends is not None and math.isfinite(group.ends.wander_p):
        rows.append(("Ends apart by chance alone", chance(group.ends.wander_p)))
    if group.flyer is not None:
        flagged = "flagged as a flyer" if group.flyer.flagged else "no flyer"
        words = f"shot {group.flyer.name}, {flagged} ({chance(group.flyer.p)})"
        rows.append(("Farthest out", words))
    return rows
