"""What a page of some shots is about: who shot them, with what, when, and in which sessions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from groupscan.records.preferences import Preferences

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["line_about", "particulars_of", "sessions_of"]

_MANY_SESSIONS: Final = 6
_BETWEEN: Final = " · "
_TOLD: Final = (
    ("shooter", "Shooter"), ("rig", "Rig"), ("build", "Arrow build"), ("head", "Head"),
)  # fmt: skip


def particulars_of(
    rows: pd.DataFrame, preferences: Preferences, *, parted_by: str = "", told_above: str = ""
) -> list[tuple[str, str]]:
    """Return what a table of shots is about, by the names that it has on a page.

    Parameters
    ----------
    rows : DataFrame
        As `groupscan.decisions.shot_table` lays it out.
    preferences : Preferences
        How to write days.
    parted_by : str
        A column that the page tells elsewhere.
    told_above : str
        The line of `line_about`, which need not be said twice.
    """
    told, above = [], told_above.split(_BETWEEN)
    for column, title in _TOLD:
        names = _names(rows, column)
        if names and column != parted_by and (len(names) > 1 or names[0] not in above):
            told.append((title, names[0] if len(names) == 1 else f"{len(names)} kinds"))
    days = rows["day"].dropna()
    if len(days):
        first, last = days.min().date(), days.max().date()
        said = preferences.day_text(first)
        told.append(
            ("Shot on", said if first == last else f"{said} to {preferences.day_text(last)}")
        )
    sessions, ends = rows["session"].nunique(), rows["end"].replace("", None).nunique()
    told.append(("Sessions, ends, shots", f"{sessions}, {ends}, {len(rows)}"))
    return told


def line_about(rows: pd.DataFrame, distance: str = "") -> str:
    """Return in a line what all the shots share; a distance in the reader's words."""
    shared = (names[0] for column, _ in _TOLD if len(names := _names(rows, column)) == 1)
    return _BETWEEN.join((*shared, *([distance] if distance else [])))


def sessions_of(rows: pd.DataFrame) -> str:
    """Name the sessions of the shots, the first few of many."""
    names = [str(name) for name in rows["session"].unique()]
    shown = ", ".join(names[:_MANY_SESSIONS]) + (", …" if len(names) > _MANY_SESSIONS else "")
    return f"{'session' if len(names) == 1 else f'{len(names)} sessions'} {shown}"


def _names(rows: pd.DataFrame, column: str) -> list[str]:
    return [str(name) for name in rows[column].unique() if name] if column in rows else []
