"""A correction in words: from the columns that differ to what a shooter calls them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any, Final

from groupscan.records.preferences import Preferences
from groupscan.units import express

__all__ = ["change_words"]

_NAMES: Final = {
    "held_on": "day", "distance_m": "distance", "temperature_c": "temperature",
    "pressure_pa": "air pressure", "wind_m_s": "wind", "x_mm": "place across",
    "y_mm": "place up", "x_px": "", "y_px": "", "se_mm": "standard error",
    "diameter_mm": "hole's diameter", "shot_order": "place in the order shot",
    "flyer_why": "why a flyer", "removed": "taken out", "photo_sha256": "photo",
    "photo_name": "photo's name", "aim_x_mm": "aim across", "aim_y_mm": "aim up",
    "aims_mm": "points of aim", "shaft_mm": "shaft's diameter", "mm_per_px": "scale",
    "mm_per_px_se": "scale's standard error", "tilt_deg": "tilt", "mm_to_px": "",
    "residual_px": "", "scale_source": "what gave the scale", "state_since": "state since",
    "state_why": "why that state", "draw_weight_n": "draw weight",
    "draw_length_mm": "draw length", "sight_radius_mm": "sight radius",
    "peep_height_mm": "peep height", "point_g": "point's mass", "insert_g": "insert's mass",
    "collar_g": "collar's mass", "fletching_g": "fletching's mass", "wrap_g": "wrap's mass",
    "nock_g": "nock's mass", "mass_g": "mass", "length_mm": "length", "balance_mm": "balance",
    "shaft_g_per_m": "shaft's mass a length", "cut_mm": "cut", "first": "first row of the shaft",
    "scan": "end", "width_px": "", "height_px": "", "lens": "", "bend": "", "session": "session",
}  # fmt: skip
"""By column; an empty name is not told: it only follows from another."""
_LONGEST: Final = 80


def change_words(
    entry: str, before: Mapping[str, Any], after: Mapping[str, Any], prefer: Preferences
) -> list[str]:
    """Return what changed of one entry, a phrase each, in the reader's units.

    Parameters
    ----------
    entry : str
        The table.
    before, after : mapping
        The columns that differ. With an empty `before` the names alone are told.
    prefer : Preferences
        Units and date style.

    Examples
    --------
    >>> change_words("session", {"distance_m": None}, {"distance_m": 18.288},
    ...              Preferences(distance="yd"))
    ['distance set to 20 yd']
    >>> change_words("shot", {"x_mm": 1.0, "x_px": 500.0}, {"x_mm": 2.5, "x_px": 503.0},
    ...              Preferences())
    ['place across from 1 mm to 2.5 mm']
    """
    words = []
    for column, now in after.items():
        name = _NAMES.get(column, column.replace("_", " "))
        if not name:
            continue
        if not before:
            words.append(name)
            continue
        was, new = _value(column, before.get(column), prefer), _value(column, now, prefer)
        if column in ("plan", "warnings", "aims_mm"):
            words.append(f"{name} changed")
        elif not was:
            words.append(f"{name} set to {new}" if new else f"{name} changed")
        elif not new:
            words.append(f"{name} taken away (was {was})")
        else:
            words.append(f"{name} from {was} to {new}")
    return words


def _value(column: str, value: Any, prefer: Preferences) -> str:
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        if column in ("held_on", "since", "state_since"):
            return prefer.day_text(date.fromisoformat(value))
        return value if len(value) <= _LONGEST else f"{value[:_LONGEST]} …"
    if not isinstance(value, int | float):
        return ""
    for ending, write in _UNITS.items():
        if column.endswith(ending):
            return write(float(value), prefer)
    return f"{value:.6g}"


_UNITS: Final[dict[str, Callable[[float, Preferences], str]]] = {
    "distance_m": lambda value, prefer: prefer.distance_text(value),
    "wind_m_s": lambda value, prefer: prefer.wind_text(value),
    "_mm": lambda value, prefer: prefer.length_text(value),
    "_g": lambda value, prefer: prefer.mass_text(value),
    "temperature_c": lambda value, _: express(value, "temperature", "c"),
    "pressure_pa": lambda value, _: express(value, "pressure", "hpa"),
    "humidity": lambda value, _: express(value, "share", "%"),
    "draw_weight_n": lambda value, _: express(value, "force", "lb"),
}
