"""How far one click of a rig's sight moves the impact: asked once, kept over restarts."""

from __future__ import annotations

import streamlit as st

from groupscan.errors import UnitError
from groupscan.report.sight import CLICK_EXAMPLE, CLICKS_OF_RIGS, kept_click, parse_click
from groupscan.screens.opened import plain
from groupscan.screens.preferences import preferences, recall, remember

__all__ = ["click_asked", "click_of"]


def click_of(rig_id: int | None, rig: str) -> float | None:
    """Return the angle of one click of a rig's sight, rad; None where nobody has said."""
    text = kept_click(preferences().remembered, rig_id, rig)
    try:
        return parse_click(text) if text else None
    except UnitError:
        return None


def click_asked(rig_id: int | None, rig: str) -> None:
    """Ask for the click of a rig's sight; what cannot be read is told and not kept."""
    known = kept_click(preferences().remembered, rig_id, rig)
    title = f"One click is {plain(known)}" if known else "Say it in clicks of the sight"
    with st.popover(title, icon=":material/tune:"):
        whose = f"the sight of {plain(rig)}" if rig else "this sight"
        st.write(f"How far does one click of {whose} move the impact?")
        text = st.text_input(
            "One click", known, key=f"click_{rig_id}", placeholder=CLICK_EXAMPLE, max_chars=40,
            help="Leave it empty for a sight without clicks.",
        ).strip()  # fmt: skip
        if text == known:
            return
        try:
            if text:
                parse_click(text)
        except UnitError as err:
            st.error(plain(str(err)))
            return
        remember(CLICKS_OF_RIGS, {**recall(CLICKS_OF_RIGS, {}), str(rig_id or ""): text})
        st.rerun()
