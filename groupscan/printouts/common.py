"""What all printouts share: units and dates as the reader likes them, cautions, counts in words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Final

from groupscan.records.preferences import Preferences
from groupscan.report.cautions import CAUTIONS
from groupscan.report.pages.page import PAPERS, Paper

if TYPE_CHECKING:
    from groupscan.records.store import Store

__all__ = ["EVERY_PAGE", "counted", "for_reader", "paper_of", "place_of"]

#: On every page: they hold for whoever reads it and has never seen the screen.
EVERY_PAGE: Final = (CAUTIONS["range"], CAUTIONS["group"])


# Options of the command line that notes and messages point to; names may hold two dashes as well.
_OPTIONS: Final = (
    *("build", "by", "distance", "head", "reference", "rig", "scatter", "session", "setup"),
    *("shooter", "without-flyers"),
)
_POINTER: Final = re.compile(
    rf"(; | with |, or give )--({'|'.join(_OPTIONS)})(?![\w-])[^.;,]*(, such as --[^.;]*)?"
)


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


def for_reader(words: str, preferences: Preferences) -> str:
    """Return a note or message as its reader is told it, on the screen and on paper.

    The quantities in it are said in the units preferred, and the options of the command line that
    it may name are left out.

    Examples
    --------
    >>> for_reader("Shots with 2 heads are pooled (A 3, B 4); --head chooses one.", Preferences())
    'Shots with 2 heads are pooled (A 3, B 4).'
    >>> for_reader("the shots are of 2 rigs: choose one with --rig", Preferences())
    'the shots are of 2 rigs: choose one'
    """
    return preferences.told(_POINTER.sub("", words))


def place_of(store: Store) -> str:
    """Say whose records they are: a club has several folders, and a page leaves its machine."""
    return f"the records in {store.home.name}"
