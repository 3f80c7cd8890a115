"""The units, the date style and the paper of every screen."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any, Final, get_args

import streamlit as st

from groupscan.records.connect import Store
from groupscan.records.preferences import (
    AngleUnit,
    DateStyle,
    DistanceUnit,
    LengthUnit,
    MassUnit,
    SpeedUnit,
)
from groupscan.screens.data_parts.wording import in_rows
from groupscan.screens.one_of import one_of
from groupscan.screens.preferences import keep, preferences
from groupscan.screens.report_button import ask_paper
from groupscan.units import yd_to_m

__all__ = ["draw_units"]

_ASKED: Final[dict[str, tuple[str, Any, dict[str, str]]]] = {
    "length": ("Lengths on the target", LengthUnit, {"mm": "mm", "in": "inches"}),
    "distance": ("Shooting distances", DistanceUnit, {"m": "metres", "yd": "yards"}),
    "angle": ("Angles", AngleUnit, {"moa": "MOA", "mrad": "mrad"}),
    "speed": ("Arrow speeds", SpeedUnit, {}),
    "mass": ("Arrow and head masses", MassUnit, {"gr": "grains", "g": "grams"}),
    "date_style": ("Dates", DateStyle, {}),
}


def _worded(words: Mapping[str, str]) -> Callable[[str], str]:
    return lambda unit: words.get(unit, unit)


def _keep(name: str, key: str) -> None:
    keep(**{name: st.session_state[key]})


def draw_units(store: Store) -> None:
    """Ask for units, date style and paper; they are kept at once."""
    st.write("How every screen writes what it shows. Kept for next time; the records stay as is.")
    now = preferences()
    for (name, (title, choices, words)), place in zip(_ASKED.items(), in_rows(2), strict=False):
        key = f"prefer_{name}"
        one_of(
            title,
            get_args(choices),
            start=getattr(now, name),
            show=_worded(words),
            key=key,
            place=place,
            on_change=_keep,
            args=(name, key),
        )
    ask_paper("units")
    st.caption(
        f"Like this: {now.day_text(date(2026, 5, 3))}, {now.distance_text(yd_to_m(40))}, a group "
        f"of {now.length_text(63.5)}, {now.angle_text(0.0009)} to the right, an arrow of "
        f"{now.mass_text(26.0)} at {now.speed_text(85.0)}."
    )
