"""The reader's units and dates, for every screen: ask here, never print a unit of your own.

Values go in as the records keep them (mm, m, rad, m/s, g, date) and come out as text::

    from groupscan.screens.preferences import day_text, distance_text, preferences, recall, remember

    day_text(session.held_on)            # "2026-05-03", "3 May 2026" or "05/03/2026"
    distance_text(18.288)                # "20 yd" or "18.3 m (20 yd)"; also length_text,
                                         # angle_text, speed_text, mass_text; "" for None
    parse_distance(text, default_unit=preferences().distance)   # what a bare number means
    st.date_input("Day", day, format=date_input_format())
    st.column_config.DateColumn("Day", format=date_column_format())

    tolerance_mm = recall("tolerance_mm", 30.0)   # kept over restarts, under a name of your own
    remember("tolerance_mm", tolerance_mm)        # does nothing where it is kept so already

Estimates with an interval are still written by `groupscan.report.words.express`: give it
`read_unit()`, or what `groupscan.screens.chrome.unit_choice` returns, which asks for it and keeps
the answer. Text may hold what Markdown reads as markup only where a user typed it; none of these
does.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any, Final

import streamlit as st

from groupscan.errors import StoreError
from groupscan.records.preferences import Preferences, read_preferences, save_preferences
from groupscan.report.scene import LengthUnit
from groupscan.report.words import Unit
from groupscan.screens.opened import records
from groupscan.units import MM_PER_INCH, unit_of

__all__ = [
    "angle_text",
    "axis_unit",
    "date_column_format",
    "date_input_format",
    "day_text",
    "distance_text",
    "keep",
    "keep_read_unit",
    "length_text",
    "mass_text",
    "preferences",
    "read_unit",
    "recall",
    "remember",
    "remember_length",
    "round_length",
    "speed_text",
]

_STATE: Final = "kept_preferences"


def preferences() -> Preferences:
    """Return what the reader prefers."""
    kept = st.session_state.get(_STATE)
    if isinstance(kept, Preferences):  # could not be written to the disk: good for this visit
        return kept
    return read_preferences(records())


def keep(**changes: Any) -> None:
    """Change what is preferred, by the names of `Preferences`, and keep it over restarts.

    Where the disk refuses it, it holds until the page is loaded again.
    """
    now = preferences()
    new = replace(now, **changes)
    if new == now:
        return
    try:
        save_preferences(records(), new)
        st.session_state.pop(_STATE, None)
    except StoreError:
        st.session_state[_STATE] = new


def recall(name: str, default: Any) -> Any:
    """Return an answer that was kept under a name, if it is of the default's type; else that."""
    kept = preferences().remembered.get(name, default)
    if isinstance(default, float) and type(kept) is int:
        return float(kept)
    return kept if default is None or isinstance(kept, type(default)) else default


def remember(name: str, value: Any) -> None:
    """Keep an answer over restarts: a JSON-safe value under a name that says whose it is."""
    remembered = preferences().remembered
    if name not in remembered or remembered[name] != value:
        keep(remembered={**remembered, name: value})


def remember_length(name: str, text: str) -> None:
    """Keep a length as it was typed; a bare number with its unit, whatever is preferred later."""
    bare = bool(text.strip()) and not unit_of(text, "length")
    remember(name, f"{text.strip()} {preferences().length}" if bare else text)


def round_length(mm: float) -> float:
    """Return a length to begin with, mm, as a round number of the reader's unit.

    In inches the nearest quarter, as a tape has it; what is written in mm is round there.
    """
    quarter = MM_PER_INCH / 4
    return max(1, round(mm / quarter)) * quarter if preferences().length == "in" else mm


def axis_unit(unit: Unit) -> LengthUnit:
    """Return the length beside what is read in a unit: axes and sight pins have no angles."""
    return preferences().axis_unit(unit)


def length_text(mm: float | None) -> str:
    """Return a length, mm, in the reader's unit."""
    return preferences().length_text(mm)


def distance_text(metres: float | None) -> str:
    """Return a shooting distance, m, in the reader's unit."""
    return preferences().distance_text(metres)


def angle_text(rad: float | None) -> str:
    """Return an angle, rad, in the reader's unit."""
    return preferences().angle_text(rad)


def speed_text(metres_a_second: float | None) -> str:
    """Return a speed, m/s, in the reader's unit."""
    return preferences().speed_text(metres_a_second)


def mass_text(grams: float | None) -> str:
    """Return a mass, g, in the reader's unit."""
    return preferences().mass_text(grams)


def day_text(day: date | None) -> str:
    """Return a day in the reader's style."""
    return preferences().day_text(day)


def date_input_format() -> str:
    """Return what `st.date_input` takes as ``format``: the nearest that it knows."""
    style = preferences().date_style
    return {"3 May 2026": "DD/MM/YYYY", "05/03/2026": "MM/DD/YYYY"}.get(style, "YYYY-MM-DD")


def date_column_format() -> str:
    """Return what ``st.column_config.DateColumn`` takes as ``format``."""
    style = preferences().date_style
    return {"3 May 2026": "D MMM YYYY", "05/03/2026": "MM/DD/YYYY"}.get(style, "YYYY-MM-DD")


def read_unit(*, angles: bool) -> Unit:
    """Return the unit that groups are read in, as `groupscan.report.words` names it.

    Parameters
    ----------
    angles : bool
        Whether the distance is known, so that an angle means something.
    """
    return preferences().read_unit(angles=angles)


def keep_read_unit(unit: Unit, *, angles: bool) -> None:
    """Keep the unit that groups are read in; one of its kind is from now on the one preferred."""
    changes: dict[str, Any] = {}
    if unit in ("moa", "mrad"):
        changes["angle"] = unit
    else:
        changes["length"] = "in" if unit == "inch" else "mm"
    if angles:  # where there was no choice of an angle, nobody decided against one
        read_in = "angle" if "angle" in changes else "length"
        changes["remembered"] = {**preferences().remembered, "read_in": read_in}
    keep(**changes)
