"""Lengths that Point match asks for, kept for next time."""

from __future__ import annotations

from typing import Final

import streamlit as st

from groupscan.errors import UnitError
from groupscan.screens.chrome import plain
from groupscan.screens.preferences import (
    length_text,
    preferences,
    recall,
    remember,
    round_length,
)
from groupscan.units import parse_length

__all__ = ["ask_length", "ask_tolerance"]

# A round number to begin with, so that there is a circle to look at; no source: it is the tuner's.
_TOLERANCE_MM: Final = 30.0
_NONE: Final = -1.0


def ask_length(name: str, title: str, start_mm: float | None, *, help: str) -> float | None:
    """Ask for a length that may be left out, and keep it for next time.

    Parameters
    ----------
    name : str
        What it is kept under.
    title : str
        Label of the field.
    start_mm : float, optional
        What it begins with where nothing is kept.
    help : str
        Beside the label.

    Returns
    -------
    float or None
        Millimetres; None where it is left out or makes no sense, which the reader is told.
    """
    kept = recall(name, _NONE if start_mm is None else start_mm)
    shown = length_text(kept) if kept > 0 else ""
    unit = preferences().length
    text = st.text_input(
        title, shown, key=f"ask_{name}_{unit}", max_chars=20, help=help,
        placeholder=length_text(round_length(_TOLERANCE_MM)),
    )  # fmt: skip
    if text == shown:
        return kept if kept > 0 else None  # to the last digit
    if not text.strip():
        remember(name, _NONE)
        return None
    try:
        length = parse_length(text, default_unit=unit)
    except UnitError as err:
        st.error(plain(str(err)))
        return None
    if length > 0:
        remember(name, length)
        return length
    st.error("That must be more than zero.")
    return None


def ask_tolerance() -> float | None:
    """Ask within which distance centres count as together."""
    return ask_length(
        "tolerance_mm", "Tolerance", round_length(_TOLERANCE_MM),
        help="Yours to set: centres closer than this count as together. Left empty, none do.",
    )  # fmt: skip
