"""Bring the page's top into view: after a long act what matters next stands there."""

from __future__ import annotations

from typing import Final

import streamlit as st

__all__ = ["go_to_top", "show_top"]

_WANTED: Final = "top_wanted"

# Streamlit keeps the place to which the reader had scrolled, whatever is drawn anew.
_SCRIPT: Final = """
export default function ({ data }) {
  if (data.turn) document.querySelector('[data-testid="stMain"]')?.scrollTo(0, 0);
}
"""

_mount = st.components.v2.component("groupscan_to_top", js=_SCRIPT)


def go_to_top() -> None:
    """Let the next page begin at its top."""
    st.session_state[_WANTED] = st.session_state.get(_WANTED, 0) + 1


def show_top() -> None:
    """Scroll there where `go_to_top` asked for it since the last page."""
    _mount(key="to_top", data={"turn": st.session_state.get(_WANTED, 0)})
