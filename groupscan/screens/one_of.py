"""A row of buttons of which one is lit: the one way in which the screens ask so."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from typing import Any, Literal, TypeVar, cast

import streamlit as st

__all__ = ["one_of"]

_T = TypeVar("_T", bound=Hashable)


def one_of(
    title: str,
    options: Sequence[_T],
    *,
    start: _T,
    show: Callable[[Any], str] = str,
    key: str | None = None,
    place: Any = None,
    look: Literal["segmented_control", "pills"] = "segmented_control",
    **more: Any,
) -> _T:
    """Ask for one of several by a row of buttons; a tap on the lit one changes nothing.

    Parameters
    ----------
    title : str
        Label of the row.
    options : sequence
    start : object
        What is lit to begin with; None for none, until one is tapped.
    show : callable
        Turns an option into text, which is read as Markdown.
    key : str, optional
        Of the widget.
    place : optional
        A column or another part of the page to draw in.
    look : {"segmented_control", "pills"}
        Joined buttons, or buttons that wrap one by one.
    **more
        As Streamlit takes it: ``help``, ``label_visibility``, ``on_change`` and its ``args``.

    Returns
    -------
    object
        The one that is lit; `start` while nothing is.
    """
    ask = getattr(st if place is None else place, look)
    chosen = ask(title, options, default=start, format_func=show, key=key, required=True, **more)
    return start if chosen is None else cast(_T, chosen)
