"""A screen's choices in the page's address, so that a link or a reload shows the same."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import streamlit as st

__all__ = ["choices_from_address", "choices_to_address"]


def choices_from_address(texts: Sequence[str], numbers: Sequence[str] = ()) -> None:
    """Remember the choices that the address gives, for `groupscan.screens.choosing.ask_one`.

    Parameters
    ----------
    texts, numbers : sequence of str
        Names of the choices, as they are remembered. Where the address gives any, what it leaves
        out is not chosen; where it gives none, what was chosen on another screen holds.
    """
    if not any(name in st.query_params for name in (*texts, *numbers)):
        return
    for name in texts:
        _remember(name, st.query_params.get(name))
    for name in numbers:
        _remember(name, _number(st.query_params.get(name)))


def choices_to_address(choices: Mapping[str, str | float | None]) -> None:
    """Give the choices to the address.

    Parameters
    ----------
    choices : mapping
        By the names of `choices_from_address`; None where nothing is chosen.
    """
    told = {
        name: value if isinstance(value, str) else repr(float(value)).removesuffix(".0")
        for name, value in choices.items()
        if value is not None
    }
    if dict(st.query_params) != told:
        st.query_params.from_dict(told)


def _remember(name: str, value: str | float | None) -> None:
    if value is None:
        st.session_state.pop(f"chosen_{name}", None)
    else:
        st.session_state[f"chosen_{name}"] = value


def _number(text: str | None) -> float | None:
    """Read a number of the address, which anybody can type."""
    try:
        value = float(text or "")
    except ValueError:
        return None
    return value if math.isfinite(value) else None
