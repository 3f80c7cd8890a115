"""What all printouts share: units and dates as the reader likes them, cautions, counts in words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Final

from groupscan.records.preferences import Preferences
from groupscan.report.cautions import CAUTIONS
from groupscan.report.pages.page import PAPERS, Paper
from groupscan.report.words import Unit

if TYPE_CHECKING:
    from groupscan.records.store import Store

__all__ = ["EVERY_PAGE", "counted", "on_paper", "paper_of", "place_of", "reading_unit"]

#: On every page: they hold for whoever reads it and has never seen the screen.
EVERY_PAGE: Final = (CAUTIONS["range"], CAUTIONS["group"])


def reading_unit(preferences: Preferences, *, angles: bool) -> Unit:
    """Return the unit that a page is written in.

    Parameters
    ----------
    preferences : Preferences
    angles : bool
        Whether the distance is known, so that an angle means something.
    """
    if angles and preferences.remembered.get("read_in") == "angle":
        return preferences.angle
    return "inch" if preferences.length == "in" else "mm"


def paper_of(preferences: Preferences) -> Paper:
    """Return the paper that was chosen last; else Letter for who reads inches, and A4.

    Examples
    --------
    >>> paper_of(Preferences()), paper_of(Preferences(length="in"))
    ('a4', 'letter')
    """
    kept = preferences.remembered.get("paper")
    usual: Paper = "letter" if preferences.length == "in" else "a4"
    return next((paper for paper in PAPERS if paper == kept), usual)


def counted(counts: Mapping[str, int] | Iterable[tuple[str, int]]) -> str:
    """Say how many there are of each.

    Examples
    --------
    >>> counted({"field point": 12, "broadhead": 6})
    'field point 12, broadhead 6'
    """
    rows = counts.items() if isinstance(counts, Mapping) else counts
    return ", ".join(f"{name} {count}" for name, count in rows)


def on_paper(words: str) -> str:
    """Return a note without the options of the command line that it may name.

    Examples
    --------
    >>> on_paper("Shots with 2 heads are pooled (A 3, B 4); --head chooses one.")
    'Shots with 2 heads are pooled (A 3, B 4).'
    """
    return re.sub(r"(; | with |, or give )--[a-z-]+[^.;,]*(, such as --[^.;]*)?", "", words)


def place_of(store: Store) -> str:
    """Say whose records they are: a club has several folders, and a page leaves its machine."""
    return f"the records in {store.home.name}"
