"""Values of gear as the screen calls, shows and reads them."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, Final

from groupscan.errors import UnitError
from groupscan.screens.choosing import on_screen
from groupscan.screens.preferences import preferences
from groupscan.units import Kind, express, parse_quantity

__all__ = ["FIELDS", "Field", "field_text", "in_words", "read_field", "read_fields"]


@dataclass(frozen=True)
class Field:
    """A value of gear: what it is called, its unit in either system, and what is usual.

    What is usual (from memory of common tackle, no source) is only shown as an example.
    """

    label: str
    kind: Kind
    metric: str
    trade: str
    follows: str
    typical: float
    help: str = ""

    @property
    def unit(self) -> str:
        """What a bare number means: the reader's unit."""
        p = preferences()
        trade = p.length == "in" if self.follows == "length" else p.mass == "gr"
        return self.trade if trade else self.metric

    @property
    def example(self) -> str:
        """How a value may be written."""
        return express(self.typical, self.kind, self.unit, digits=3)


#: Values of setups and builds, by the records' own names.
FIELDS: Final[Mapping[str, Field]] = {
    "draw_weight_n": Field("Peak draw weight", "force", "n", "lb", "mass", 266.9),
    "draw_length_mm": Field("Draw length", "length", "mm", "in", "length", 724),
    "sight_radius_mm": Field(
        "Sight radius", "length", "mm", "in", "length", 860, "From the peep to the sight pins."
    ),
    "peep_height_mm": Field(
        "Peep height", "length", "mm", "in", "length", 114,
        "From the arrow to the peep, at full draw.",
    ),
    "shaft_mm": Field("Shaft diameter", "length", "mm", "in", "length", 6, "Outside."),
    "length_mm": Field("Cut length of the shaft", "length", "mm", "in", "length", 711),
    "shaft_g_per_m": Field(
        "Shaft mass", "mass a length", "g/m", "gpi", "mass", 15.3,
        "Grains per inch, or grams per metre.",
    ),
    "insert_g": Field("Insert", "mass", "g", "gr", "mass", 1.3),
    "collar_g": Field("Collar", "mass", "g", "gr", "mass", 0.6),
    "point_g": Field("Point or head", "mass", "g", "gr", "mass", 6.5),
    "fletching_g": Field("Fletching", "mass", "g", "gr", "mass", 1.3, "All vanes together."),
    "wrap_g": Field("Wrap", "mass", "g", "gr", "mass", 0.5),
    "nock_g": Field("Nock", "mass", "g", "gr", "mass", 0.6),
    "mass_g": Field("Whole arrow on the scale", "mass", "g", "gr", "mass", 26),
    "balance_mm": Field(
        "Balance point", "length", "mm", "in", "length", 450,
        "From the throat of the nock to where the whole arrow balances.",
    ),
    "cut_mm": Field("Cutting diameter", "length", "mm", "in", "length", 30),
}  # fmt: skip


# Names of fields that messages of lower floors use, in the words of the screen.
_WORDS: Final[Mapping[str, str]] = {
    **{name: field.label.lower() for name, field in FIELDS.items()},
    "cut_mm": "cut length of the shaft",
    "peep_mm": "peep height",
    "radius_mm": "sight radius",
    "speed_mps": "launch speed",
    "distance_m": "distance",
    "pins_m": "pins",
    "circle_mm": "circle",
    "nearest_m": "nearest distance",
    "farthest_m": "farthest distance",
    "per_m": "drag per metre",
    "drag_per_m": "drag per metre",
    "cd": "drag coefficient",
    "slope_rad": "slope",
    "temperature_c": "temperature",
    "pressure_pa": "air pressure",
    "reference_m": "the mark to begin from",
    "sea_level_pa": "air pressure reduced to sea level",
    "altitude_m": "altitude",
    "head_area_mm2": "extra drag area of the head",
}


def in_words(message: str) -> str:
    """Return a message with the names of fields as the screen calls them.

    Examples
    --------
    >>> in_words("shaft_mm is not known: give it")
    'shaft diameter is not known: give it'
    """
    named = re.sub(r"\b[a-z][a-z0-9]*(?:_[a-z0-9]+)+\b|\bcd\b", _named, message)
    return on_screen(named)


def _named(found: re.Match[str]) -> str:
    return _WORDS.get(found[0], found[0])


def field_text(name: str, value: Any) -> str:
    """Return a value of gear as the reader would type it; empty where it is not known."""
    if value is None or value != value:
        return ""
    if name not in FIELDS:
        return f"{value:g}" if isinstance(value, float) else str(value)
    return express(value, FIELDS[name].kind, FIELDS[name].unit)


def read_field(name: str, text: str, was: Any) -> Any:
    """Read what was typed for a value of gear; to the last digit where it was left as it was."""
    if text.strip() == field_text(name, was):
        return was
    if not text.strip():
        return None
    field = FIELDS[name]
    try:
        return parse_quantity(text, field.kind, default_unit=field.unit, example=field.example)
    except UnitError as err:
        raise UnitError(f"{field.label}: {err}") from err


def read_fields(
    texts: Mapping[str, str], was: Mapping[str, Any], **others: Callable[[], Any]
) -> dict[str, Any]:
    """Read all values of a form, and tell of all that cannot be read.

    Parameters
    ----------
    texts, was : mapping
        What was typed, and the values before, by the records' own names.
    **others : callable
        Read what is no value of `FIELDS`, by name.
    """
    values: dict[str, Any] = {}
    wrong: list[str] = []
    reads: dict[str, Callable[[], Any]] = {
        name: partial(read_field, name, text, was.get(name)) for name, text in texts.items()
    }
    for name, read in (reads | others).items():
        try:
            values[name] = read()
        except UnitError as err:
            wrong.append(str(err))
    if wrong:
        raise UnitError(". ".join(wrong))
    return values
