"""From a result of Point match to the plan of what is shot next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import streamlit as st

from groupscan.report.match.scene import MatchOffset
from groupscan.screens.chrome import plain
from groupscan.screens.to_top import go_to_top

__all__ = ["next_shoot_button", "next_to_plan", "view_key"]

_PLANNED: Final = {"head": "heads", "build": "builds"}  # what an order can be written for
_NEXT: Final = "match_next"
_TURN: Final = "match_view_turn"


def view_key() -> str:
    """Return the key of the row of buttons between result and plan: a new one shows the plan."""
    return f"ask_match_view_{st.session_state.get(_TURN, 0)}"


def next_to_plan(what: str) -> list[str] | None:
    """Return the reference and what the last result leaves to be shot again, for a plan of it.

    Parameters
    ----------
    what : {"heads", "builds"}
    """
    names: dict[str, list[str]] = st.session_state.get(_NEXT, {})
    return names.get(what)


def next_shoot_button(by: str, reference: str, offsets: Sequence[MatchOffset]) -> None:
    """Offer to plan the next shoot of the one that is apart the most, or else not settled.

    Parameters
    ----------
    by : str
        What the shots are parted by; nothing is offered where no order can be written for it.
    reference : str
    offsets : sequence of MatchOffset
    """
    what = _PLANNED.get(by)
    if what is None:
        return
    told = {one.name: one for one in offsets if one.verdict != "together"}
    if not told:
        st.session_state.pop(_NEXT, None)
        return
    name = max(told, key=lambda one: (told[one].verdict == "apart", told[one].distance.value))
    st.session_state[_NEXT] = {what: [reference, name]}
    st.button(
        plain(f"Plan the next shoot of {name}"),
        icon=":material/event:",
        key="plan_next_shoot",
        on_click=_to_plan,
        args=(what,),
    )


def _to_plan(what: str) -> None:
    st.session_state.pop(f"plan_{what}", None)
    st.session_state["chosen_plan_what"] = what
    st.session_state["match_view"] = "plan"
    st.session_state[_TURN] = st.session_state.get(_TURN, 0) + 1
    st.query_params["show"] = "plan"
    go_to_top()
