"""Words that the parts of the Data screen share."""

from __future__ import annotations

from datetime import datetime
from typing import Final

from groupscan.screens.preferences import day_text

__all__ = ["ENTRIES", "instant_text", "many"]

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


def instant_text(at: datetime) -> str:
    """Return an instant by the clock of the machine that serves the page."""
    here = at.astimezone()
    return f"{day_text(here.date())}, {here:%H:%M}"
