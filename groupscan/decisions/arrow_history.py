"""Where one arrow landed from the others, over all that it was built and shot as."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from groupscan.decisions.questions import arrows_of
from groupscan.errors import GroupscanError

if TYPE_CHECKING:
    from datetime import date

    import pandas as pd

    from groupscan.stats.arrows import Arrow

__all__ = ["Chapter", "arrow_history"]

_ALIKE: Final = ["shooter", "rig", "build", "head", "distance_m"]
"""Shots that differ in one of these are not one group."""


@dataclass(frozen=True)
class Chapter:
    """The shots of an arrow that can be pooled.

    Attributes
    ----------
    shooter, rig, build, head : str
        Empty where not said.
    distance_m : float
        NaN where not said.
    since, until : date
        First and last day; None where no shot has one.
    shots : int
        Of this arrow.
    arrow : Arrow or None
        What is known of it beside the arrows that it was shot with; None where nothing can be said.
    """

    shooter: str
    rig: str
    build: str
    head: str
    distance_m: float
    since: date | None
    until: date | None
    shots: int
    arrow: Arrow | None


def arrow_history(
    table: pd.DataFrame, shaft: int, *, worth_mm: float | None = None
) -> tuple[Chapter, ...]:
    """Tell where an arrow landed from the others, chapter by chapter, the oldest first.

    Parameters
    ----------
    table : DataFrame
        All shots, from the records.
    shaft : int
        The arrow's number in the column ``shaft``: one, whatever it was built into.
    worth_mm : float, optional
        The smallest offset that matters.

    Returns
    -------
    tuple of Chapter
        One for each shooter, rig, build, head and distance; empty where it was never shot.
    """
    own = table["shaft"] == shaft
    ends = set(table.loc[own, "end"])
    beside = table[table["end"].isin(ends) & (table["arrow"] != "")]
    chapters = [
        _chapter(part, shaft, worth_mm)
        for _, part in beside.groupby(_ALIKE, sort=False, dropna=False)
        if (part["shaft"] == shaft).any()
    ]
    return tuple(sorted(chapters, key=lambda one: (one.since is None, one.since, one.until)))


def _chapter(part: pd.DataFrame, shaft: int, worth_mm: float | None) -> Chapter:
    # Two arrows may have the same number on them; here each is its shaft.
    named = part.assign(arrow=part["shaft"].astype(str).astype(object))
    mine = named[named["shaft"] == shaft]
    try:
        quiver, _ = arrows_of(named, worth_mm=worth_mm)
        (found,) = (one for one in quiver.arrows if one.name == str(shaft))
        arrow = None if math.isnan(found.seen_x.value) else found
    except GroupscanError:
        arrow = None
    days = mine["day"].dropna()
    first = mine.iloc[0]
    return Chapter(
        shooter=str(first["shooter"]),
        rig=str(first["rig"]),
        build=str(first["build"]),
        head=str(first["head"]),
        distance_m=float(first["distance_m"]),
        since=None if days.empty else days.min().date(),
        until=None if days.empty else days.max().date(),
        shots=len(mine),
        arrow=arrow,
    )
