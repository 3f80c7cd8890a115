"""A screen's choices in the page's address, so that a link or a reload shows the same."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final

import streamlit as st

__all__ = ["choices_from_address", "choices_to_address"]

_TOLD: Final = "address_told"  # what was written last, and what the address before asked in vain


def choices_from_address(
    texts: Sequence[str],
    numbers: Sequence[str] = (),
    *,
    labels: Mapping[str, Mapping[str, str]] = MappingProxyType({}),
) -> None:
    """Remember the choices that the address gives, for `groupscan.screens.choosing.ask_one`.

    Parameters
    ----------
    texts, numbers : sequence of str
        Names of the choices, as they are remembered. Where the address gives any, what it leaves
        out is not chosen; where it gives none, what was chosen on another screen holds.
    labels : mapping
        By the names of texts that are not as the reader sees them: these, by what the address
        says for them.
    """
    if not any(name in st.query_params for name in (*texts, *numbers)):
        return
    for name in texts:
        given = st.query_params.get(name)
        _remember(name, labels[name].get(given or "") if name in labels else given)
    for name in numbers:
        _remember(name, _number(st.query_params.get(name)))


def choices_to_address(choices: Mapping[str, str | float | None]) -> dict[str, str]:
    """Give the choices to the address, and return what it asked for in vain.

    Parameters
    ----------
    choices : mapping
        By the names of `choices_from_address`; None where nothing is chosen.

    Returns
    -------
    dict
        What an address that somebody typed, kept or sent gave for each choice that could not be
        made; until the reader chooses something else.
    """
    told = {
        name: value if isinstance(value, str) else repr(float(value)).removesuffix(".0")
        for name, value in choices.items()
        if value is not None
    }
    given = dict(st.query_params)
    before, gone = st.session_state.get(_TOLD, ({}, {}))
    if given != before:
        gone = {
            name: value
            for name, value in given.items()
            if name in choices and not _is(value, choices[name])
        }
    elif told != before:
        gone = {}
    st.session_state[_TOLD] = (told, gone)
    if given != told:
        st.query_params.from_dict(told)
    return dict(gone)


def _is(given: str, choice: str | float | None) -> bool:
    return _number(given) == choice if isinstance(choice, float) else given == choice


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
