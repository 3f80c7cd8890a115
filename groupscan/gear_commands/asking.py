"""What these commands share: the records they open, and what is typed for a field."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer
from typer.core import TyperGroup

from groupscan.errors import GroupscanError
from groupscan.units import Kind, express, parse_quantity, unit_of

if TYPE_CHECKING:
    from groupscan.records.store import Store

__all__ = [
    "AMOUNTS",
    "MAKERS_LIMITS",
    "Deleted",
    "Given",
    "Home",
    "Notes",
    "Whose",
    "application",
    "day_of",
    "read_given",
    "records",
    "value_words",
]

Home = Annotated[Path | None, typer.Option(metavar="FOLDER", help="Records to use; else your own.")]
Whose = Annotated[
    str | None,
    typer.Option("--shooter", metavar="NAME", help="Whose it is; needed where names repeat."),
]
Notes = Annotated[str | None, typer.Option(metavar="TEXT", help="Anything else.")]
Deleted = Annotated[bool, typer.Option("--deleted", help="What was deleted and can be restored.")]

#: Said where draw weights, spines and masses are entered.
MAKERS_LIMITS: Final = (
    "The limits that the makers of bow and arrows set come first: a shaft too weak, or an arrow "
    "too light, can break on the bow."
)


@dataclass(frozen=True)
class _Amount:
    """A field that has a unit: its name in words, the unit to list it in, that of a bare number."""

    words: str
    kind: Kind
    unit: str
    bare: str | None = None
    per: float = 1.0


#: The fields with a unit, as the trade tells them.
AMOUNTS: Final[Mapping[str, _Amount]] = {
    "draw_weight_n": _Amount("draw weight", "force", "lb"),
    "draw_length_mm": _Amount("draw length", "length", "in"),
    "sight_radius_mm": _Amount("sight radius", "length", "in"),
    "peep_height_mm": _Amount("peep height", "length", "in"),
    "shaft_mm": _Amount("shaft diameter", "length", "mm"),
    "length_mm": _Amount("length", "length", "in"),
    "shaft_g_per_m": _Amount("shaft mass", "mass a length", "gpi", bare="gpi"),
    **{
        f"{part}_g": _Amount(f"{part} mass", "mass", "gr")
        for part in ("insert", "collar", "point", "fletching", "wrap", "nock")
    },
    "mass_g": _Amount("mass", "mass", "gr"),
    "balance_mm": _Amount("balance from the nock", "length", "in"),
    "cut_mm": _Amount("cutting diameter", "length", "in"),
    "distance_m": _Amount("distance", "length", "m", per=1000.0),
    "speed_mps": _Amount("speed", "speed", "ft/s"),
    "below_mm": _Amount("below the first pin", "length", "mm"),
    "temperature_c": _Amount("temperature", "temperature", "c"),
    "pressure_pa": _Amount("air pressure", "pressure", "hpa"),
    "humidity": _Amount("humidity", "share", "%"),
    "wind_m_s": _Amount("wind", "speed", "m/s"),
}
_NUMBERS: Final = ("spine", "blades")


@dataclass(frozen=True)
class Given:
    """What was typed: values by field, and the units they were typed in."""

    values: dict[str, Any] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)


def read_given(texts: Mapping[str, str | None]) -> Given:
    """Read what was typed for fields; None leaves a field alone, an empty text empties it.

    Raises
    ------
    UnitError, GroupscanError
        If a text is no amount of its field's kind, or no number.

    Examples
    --------
    >>> given = read_given({"draw_weight_n": "60lb", "rest": "", "notes": None})
    >>> round(given.values["draw_weight_n"], 3), given.values["rest"], given.units
    (266.893, '', {'draw_weight_n': 'lb'})
    """
    given = Given()
    for name, text in texts.items():
        if text is None:
            continue
        text = text.strip()
        amount = AMOUNTS.get(name)
        if amount is not None and text:
            value = parse_quantity(text, amount.kind, default_unit=amount.bare)
            given.values[name] = value / amount.per
            given.units[name] = unit_of(text, amount.kind, default_unit=amount.bare or "")
        elif name in _NUMBERS and text:
            given.values[name] = _number(name, text)
        else:
            given.values[name] = None if amount is not None or name in _NUMBERS else text
    return given


def value_words(name: str, value: Any, units: Mapping[str, str] | None = None) -> str:
    """Return a field's value as a person reads it, in the unit typed or else the trade's.

    Examples
    --------
    >>> value_words("mass_g", 25.919564), value_words("rest", "")
    ('400 gr', 'not said')
    """
    if value is None or value == "":
        return "not said"
    if name in AMOUNTS:
        amount = AMOUNTS[name]
        return express(value * amount.per, amount.kind, (units or {}).get(name, amount.unit))
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)


def day_of(text: str | None) -> date:
    """Return the day that a text names; today where there is none."""
    if text is None:
        return date.today()
    try:
        return date.fromisoformat(text.strip())
    except ValueError as err:
        raise GroupscanError(f"{text!r} is no date; write year-month-day: 2026-05-03") from err


def _number(name: str, text: str) -> float:
    try:
        return float(text)
    except ValueError as err:
        raise GroupscanError(f"{name} {text!r} is no number") from err


@contextmanager
def records(home: Path | None) -> Iterator[Store]:
    """Open the records for one command."""
    from groupscan.records.store import open_store

    with closing(open_store(home)) as store:
        yield store


class _ListsFirst(TyperGroup):
    """An application that lists what there is, where no command is named."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        first = args[0] if args else ""
        if not first or first.isdecimal() or (first[0] == "-" and first != "--help"):
            args = ["list", *args]
        return super().parse_args(ctx, args)


def application(name: str, words: str, commands: tuple[Callable[..., None], ...]) -> typer.Typer:
    """Return an application of commands, the one called ``list`` first and by default."""
    app = typer.Typer(
        name=name, help=words, cls=_ListsFirst, rich_markup_mode=None, no_args_is_help=False
    )
    for command in commands:
        app.command(command.__name__.rstrip("_"))(command)
    return app
