"""A picture as files, drawn when they are asked for."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Literal

import streamlit as st

from groupscan.report.figures import figure_bytes

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["picture_files"]


def picture_files(draw: Callable[[], Figure], name: str) -> None:
    """Offer a picture as PNG and SVG.

    Parameters
    ----------
    draw : callable
        Draws it; called on a click alone, since that takes longer than the rest of a page.
    name : str
        Of the files; no other picture of the page has it.

    Notes
    -----
    Call it in a horizontal container: the two buttons stand beside each other and what else is in
    it.
    """

    def drawn(kind: Literal["png", "svg"]) -> bytes:
        return figure_bytes(draw(), kind)

    kinds: dict[Literal["png", "svg"], str] = {"png": "image/png", "svg": "image/svg+xml"}
    for kind, mime in kinds.items():
        st.download_button(
            f"Picture as {kind.upper()}",
            data=partial(drawn, kind),
            file_name=f"{name}.{kind}",
            mime=mime,
            key=f"{name}_{kind}",
            width="stretch",
            on_click="ignore",
        )
