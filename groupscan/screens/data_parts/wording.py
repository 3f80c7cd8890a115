"""Words and places that the parts of the Data screen share."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any, Final

import streamlit as st

from groupscan.screens.preferences import day_text

__all__ = ["ENTRIES", "begun", "came", "in_rows", "instant_text", "many"]

#: What the kinds of entries are called.
ENTRIES: Final = {
    "shooter": "shooter", "rig": "rig", "setup": "setup", "build": "arrow build",
    "arrow": "arrow", "head": "head", "session": "session", "scan": "end", "shot": "shot",
    "photo": "photo", "audit": "correction", "speed": "chronograph reading", "pin": "pin",
}  # fmt: skip


def many(count: int, one: str) -> str:
    """Return a count with its noun.

    Examples
    --------
    >>> many(1, "end"), many(3, "end")
    ('1 end', '3 ends')
    """
    return f"{count} {one}" if count == 1 else f"{count} {one}s"


def came(new: Mapping[str, int]) -> str:
    """Return in words how much came in with a file, or went with its undoing.

    Examples
    --------
    >>> came({"session": 1, "scan": 3, "shot": 18, "head": 1}), came({"head": 1})
    ('1 session, 3 ends, 18 shots', '1 head')
    """
    outings = ("session", "scan", "shot")
    kinds = outings if any(new.get(name) for name in outings) else ENTRIES
    return ", ".join(many(new[name], ENTRIES[name]) for name in kinds if new.get(name))


def begun(text: str) -> str:
    """Return a sentence with a capital to begin with.

    Examples
    --------
    >>> begun("let it be moved aside"), begun("")
    ('Let it be moved aside', '')
    """
    return text[:1].upper() + text[1:]


def in_rows(across: int) -> Iterator[Any]:
    """Yield places for widgets, row by row: a phone, which stacks columns, keeps their order."""
    while True:
        yield from st.columns(across, gap="small")


def instant_text(at: datetime) -> str:
    """Return an instant by the clock of the machine that serves the page."""
    here = at.astimezone()
    return f"{day_text(here.date())}, {here:%H:%M}"
