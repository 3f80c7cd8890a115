"""Check the records, and repair what is safe."""

from __future__ import annotations

import os

import streamlit as st

from groupscan.records.connect import Store
from groupscan.records.upkeep.check import check_store
from groupscan.records.upkeep.finding import Finding
from groupscan.screens import jobs
from groupscan.screens.chrome import plain
from groupscan.screens.data_parts.wording import begun
from groupscan.screens.numbers import draw_table

__all__ = ["draw_check"]


def draw_check(store: Store) -> None:
    """Offer to look the records over; show what was found and what to do."""
    st.write(
        "Looks whether the database is whole, every entry refers to one that is there, and every "
        "photo is undamaged. Nothing is changed by looking."
    )
    if st.button("Check the records", type="primary", icon=":material/fact_check:"):
        st.session_state.pop("check_found", None)
        jobs.start("check", "Checking", lambda step: check_store(store, progress=step))
    found = jobs.finished("check", stopped="Stopped. Nothing was changed.")
    if found is not None:
        st.session_state["check_found"] = found
    if "check_found" in st.session_state:
        _show(store, st.session_state["check_found"])


def _show(store: Store, found: list[Finding]) -> None:
    if not found:
        st.success("The records are sound.", icon=":material/verified:")
        return
    rows: list[tuple[str, ...]] = [
        (plain(begun(one.kind)), plain(begun(one.what.replace(f"{store.home}{os.sep}", ""))),
         ("**Repaired**: " if one.repaired else "") + plain(begun(one.advice))) for one in found
    ]  # fmt: skip
    draw_table(("What", "Which", "What to do"), rows)
    if not any(one.safe and not one.repaired for one in found):
        return
    st.caption(
        "A repair loses nothing: what does not belong is moved aside, no shot is taken away."
    )
    if st.button("Repair what is safe", icon=":material/build:"):
        jobs.start(
            "check", "Repairing", lambda step: check_store(store, repair=True, progress=step)
        )
        st.rerun()
