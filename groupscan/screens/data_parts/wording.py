"""Words and places that the parts of the Data screen share."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Any, Final

import streamlit as st

from groupscan.screens.preferences import day_text

__all__ = ["ENTRIES", "in_rows", "instant_text", "many"]

#: What the kinds of entries are called.
ENTRIES: Final = {
    "shooter": "shooter", "rig": "rig", "setup": "setup", "build": "arrow build",
    "arrow": "arrow", "head": "head", "session": "session", "scan": "end", "shot": "shot",
    "photo": "photo", "audit": "correction",
}  # fmt: skip


def many(count: int, one: str) -> str:
    """Return a count with its noun.

    Examples
    --------
    >>> many(1, "end"), many(3, "end")
    ('1 end', '3 ends')
    """
    return f"{count} {one}" if count == 1 else f"{count} {one}s"


def in_rows(across: int) -> Iterator[Any]:
    """Yield places for widgets, row by row: a phone, which stacks columns, keeps their order."""
    while True:
        yield from st.columns(across, gap="small")


def instant_text(at: datetime) -> str:
    """Return an instant by the clock of the machine that serves the page."""
    here = at.astimezone()
    return f"{day_text(here.date())}, {here:%H:%M}"
