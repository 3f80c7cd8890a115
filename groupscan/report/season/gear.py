"""Changes of gear on the line of time of a season, and the flags that name them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Flag", "GearMark", "flags_of", "gear_marks"]

# A phone's picture is some 300 px wide inside its axes, a bold letter of 13 px up to 10, and a
# flag has 6 around its words.
_WIDE_PX: Final = 300.0
_LETTER_PX: Final = 10.0
_AROUND_PX: Final = 6.0
_EPOCH: Final = date(1970, 1, 1)


@dataclass(frozen=True)
class GearMark:
    """What was changed on one day; ``what`` and ``notes`` may come from a user."""

    letter: str
    at: float
    day: str
    what: str
    notes: str


@dataclass(frozen=True)
class Flag:
    """The name over one change of gear, or over several that stand too close for a name each.

    Attributes
    ----------
    text : str
        A letter, or the first and last of several.
    at : float
        Its middle on the line of time.
    marks : tuple of GearMark
    """

    text: str
    at: float
    marks: tuple[GearMark, ...]


def gear_marks(gear: pd.DataFrame | None, day_text: Callable[[date], str]) -> tuple[GearMark, ...]:
    """Return the changes of gear with a letter for each day.

    Parameters
    ----------
    gear : DataFrame or None
        Columns day, what and notes, the earliest first.
    day_text : callable
        Writes a day as the reader likes it.

    Examples
    --------
    >>> import pandas as pd
    >>> days = pd.to_datetime(["2026-05-01", "2026-05-01", "2026-05-08"])
    >>> gear = pd.DataFrame({"day": days, "what": ["string", "rest", "limbs"], "notes": ""})
    >>> [(mark.letter, mark.what) for mark in gear_marks(gear, date.isoformat)]
    [('A', 'string; rest'), ('B', 'limbs')]
    """
    rows = [] if gear is None else gear.to_dict("records")
    days = [(day, list(of_it)) for day, of_it in groupby(rows, lambda row: row["day"].date())]
    return tuple(
        GearMark(
            letter=chr(ord("A") + i) if i < 26 else str(i + 1),
            at=float((day - _EPOCH).days),
            day=day_text(day),
            what="; ".join(str(row["what"]) for row in of_it),
            notes=" ".join(str(row["notes"]) for row in of_it if row["notes"]),
        )
        for i, (day, of_it) in enumerate(days)
    )


def flags_of(marks: Sequence[GearMark], window: tuple[float, float]) -> tuple[Flag, ...]:
    """Return the flags over the picture: none covers another, and none leaves it.

    Parameters
    ----------
    marks : sequence of GearMark
        In the order of their days.
    window : (float, float)
        First and last place shown on the line of time.

    Examples
    --------
    >>> marks = [GearMark(letter, at, "", "", "") for letter, at in zip("ABC", (10.0, 80.0, 82.0))]
    >>> [flag.text for flag in flags_of(marks, (0.0, 100.0))]
    ['A', 'B–C']
    """
    flags: list[Flag] = []
    for mark in marks:
        flag = _flag((mark,), window)
        while (
            flags and flag.at - flags[-1].at < (_wide(flag, window) + _wide(flags[-1], window)) / 2
        ):
            flag = _flag((*flags.pop().marks, *flag.marks), window)
        flags.append(flag)
    return tuple(flags)


def _flag(marks: tuple[GearMark, ...], window: tuple[float, float]) -> Flag:
    first, last = marks[0], marks[-1]
    text = first.letter if len(marks) == 1 else f"{first.letter}–{last.letter}"
    flag = Flag(text, (first.at + last.at) / 2, marks)
    half = _wide(flag, window) / 2
    return Flag(text, min(max(flag.at, window[0] + half), window[1] - half), marks)


def _wide(flag: Flag, window: tuple[float, float]) -> float:
    pixels = _LETTER_PX * len(flag.text) + _AROUND_PX
    return pixels * (window[1] - window[0]) / _WIDE_PX
