"""The forms of numbered arrows: added, weighed, broken, built anew."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import streamlit as st

from groupscan.errors import UnitError
from groupscan.records.entries.gear import ARROW_STATES, Arrow, Build
from groupscan.records.store import get_arrow, rebuild_arrow, save_arrow
from groupscan.screens.bench.asking import today
from groupscan.screens.bench.fields import field_text, read_field
from groupscan.screens.bench.forms import form_key, one_of
from groupscan.screens.bench.saving import save
from groupscan.screens.preferences import date_input_format

if TYPE_CHECKING:
    from groupscan.records.connect import Store

__all__ = ["add_arrows_form", "arrow_form", "arrow_numbers"]


_MOST_ARROWS: Final = 48


def add_arrows_form(store: Store, build: Build) -> None:
    """Ask for arrows of a build by their numbers."""
    key = f"form_arrows_{build.id}"
    with st.form(key, clear_on_submit=True):
        text = st.text_input(
            "Numbers of the arrows", key=f"{key}_n", max_chars=200, placeholder="1-6, 8, A",
            help="As they are written on the shafts; 1-6 is six arrows.",
        )  # fmt: skip
        if st.form_submit_button("Add these arrows", type="primary"):

            def act() -> None:
                for number in arrow_numbers(text):
                    save_arrow(
                        store,
                        Arrow(number=number, build_id=build.id, shooter_id=build.shooter_id),
                    )

            save(act, "The arrows are kept.")


def arrow_form(store: Store, arrow_id: int, builds: Mapping[int, str]) -> None:
    """Ask for mass and state of one arrow, or for the build that it was built anew to."""
    arrow = get_arrow(store, arrow_id)
    key = form_key("arrow", arrow)
    if arrow.state == "rebuilt":
        st.caption("This arrow was built anew: its next build has it now.")
        return
    states = [one for one in ARROW_STATES if one != "rebuilt"]
    with st.form(key):
        a, b, c = st.columns(3)
        state = one_of(a, "State", states, arrow.state, f"{key}_s")
        since = b.date_input(
            "Since",
            arrow.state_since or today(),
            key=f"{key}_d",
            format=date_input_format(),
        )
        mass = c.text_input("Mass on a scale", field_text("mass_g", arrow.mass_g), key=f"{key}_m")
        why = st.text_input("Why", arrow.state_why, max_chars=300, key=f"{key}_w")
        st.caption(
            "Flex and look over carbon shafts after every hard hit; never shoot a cracked one."
        )
        if st.form_submit_button("Save this arrow", type="primary"):

            def act() -> None:
                moved = state != arrow.state
                entry = replace(
                    arrow, state=state, state_why=why.strip(),
                    state_since=since if moved else arrow.state_since,
                    mass_g=read_field("mass_g", mass, arrow.mass_g),
                )  # fmt: skip
                save_arrow(store, entry)

            save(act, "The arrow is kept.")
    if not builds:
        return
    with st.form(f"{key}_anew"):
        a, b = st.columns(2)
        to = a.selectbox(
            "Built anew as", list(builds), format_func=lambda one: builds[one], key=f"{key}_to"
        )
        on = b.date_input("On the day", today(), key=f"{key}_on", format=date_input_format())
        if st.form_submit_button("It was built anew"):
            save(lambda: rebuild_arrow(store, arrow_id, to, on=on), "The arrow is built anew.")


def arrow_numbers(text: str) -> list[str]:
    """Read numbers of arrows: single ones and ranges between commas.

    Examples
    --------
    >>> arrow_numbers("1-3, 8, A")
    ['1', '2', '3', '8', 'A']
    """
    found: list[str] = []
    for part in filter(None, (one.strip() for one in text.split(","))):
        span = re.fullmatch(r"(\d{1,4})\s*-\s*(\d{1,4})", part)
        if span is None:
            found.append(part)
            continue
        low, high = int(span[1]), int(span[2])
        if high - low >= _MOST_ARROWS or high < low:
            raise UnitError(f"{part!r} is no range of arrows: write it like 1-6")
        found += [str(one) for one in range(low, high + 1)]
    if not 0 < len(found) <= _MOST_ARROWS:
        raise UnitError(f"give 1 to {_MOST_ARROWS} numbers of arrows, such as 1-6, 8")
    return found
