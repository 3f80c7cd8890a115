"""What the commands print: a change in words, and tables."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import typer

from groupscan.gear_commands.asking import AMOUNTS, value_words
from groupscan.gear_commands.finding import name_of

if TYPE_CHECKING:
    from rich.table import Table

    from groupscan.records.store import Store

__all__ = ["field_words", "ranges", "say_change", "show", "table", "told_values"]

_SILENT: Final = ("id", "revision", "uid", "name", "number", "first_id")
_DIGITS: Final = 40  # of a number that is put in order; Python reads no 5000
_WORDS: Final = {"state_why": "why", "state_since": "since", "held_on": "date"}


def field_words(name: str) -> str:
    """Return a field's name in words.

    Examples
    --------
    >>> field_words("shaft_g_per_m"), field_words("coach_id")
    ('shaft mass', 'coach')
    """
    if name in AMOUNTS:
        return AMOUNTS[name].words
    return _WORDS.get(name, name.removesuffix("_id").replace("_", " "))


def told_values(store: Store, entry: Any, units: Mapping[str, str]) -> dict[str, str]:
    """Return what an entry says, by field, in words; what it does not say as ``not said``."""
    told = {}
    for name in entry.__dataclass_fields__:
        if name in _SILENT:
            continue
        value = getattr(entry, name)
        if name.endswith("_id"):
            value = name_of(store, name, value)
        told[name] = value_words(name, value, units)
    return told


def say_change(
    store: Store, title: str, was: Any, now: Any, *, units: Mapping[str, str] | None = None
) -> None:
    """Print what an entry became, and what it was where that differs."""
    after = told_values(store, now, units or {})
    if was is None:
        typer.echo(f"{title} is new.")
        lines = {name: text for name, text in after.items() if text != "not said"}
    else:
        before = told_values(store, was, units or {})
        lines = {
            name: f"{text}, was {before[name]}"
            for name, text in after.items()
            if getattr(was, name) != getattr(now, name)
            and not (name.endswith("_id") and name.removesuffix("_id") in after)  # told by its name
        }
        typer.echo(f"{title} is changed." if lines else f"{title} is as it was.")
    width = max((len(field_words(name)) for name in lines), default=0)
    for name, text in lines.items():
        typer.echo(f"  {field_words(name):{width}}  {text}")


def table(title: str, heads: Sequence[str], rows: Iterable[Sequence[object]]) -> Table | None:
    """Return rows as a table without the columns that are empty; None without rows."""
    from rich import box
    from rich.markup import escape
    from rich.table import Table

    cells = [["" if cell is None else str(cell) for cell in row] for row in rows]
    if not cells:
        return None
    used = [i for i in range(len(heads)) if any(row[i] for row in cells)]
    out = Table(title=title, title_justify="left", title_style="bold", box=box.SIMPLE_HEAD)
    for i in used:
        out.add_column(heads[i], overflow="fold")
    for row in cells:
        out.add_row(*(escape(row[i]) for i in used))
    return out


def show(parts: Iterable[Table | None], *, nothing: str) -> None:
    """Print tables; without any, a sentence."""
    from rich.console import Console

    console, shown = Console(), False
    for part in parts:
        if part is not None:
            console.print(part)
            shown = True
    if not shown:
        typer.echo(nothing)


def ranges(numbers: Iterable[str]) -> str:
    """Return arrows' numbers in short.

    Examples
    --------
    >>> ranges(["1", "2", "3", "7", "A", "10", "11"])
    '1-3, 7, 10, 11, A'
    """
    listed = list(dict.fromkeys(numbers))
    counted = [text for text in listed if text.isdecimal() and len(text) <= _DIGITS]
    whole = sorted(map(int, counted))
    runs: list[list[int]] = []
    for number in whole:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    short = [f"{run[0]}-{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs]
    return ", ".join([*short, *(text for text in listed if text not in counted)])
