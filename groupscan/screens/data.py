"""Data: the sessions that are kept, tables and archives in and out, backups, units and dates."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

import streamlit as st

from groupscan.records.connect import Store
from groupscan.screens import jobs
from groupscan.screens.chrome import page_style, records
from groupscan.screens.data_parts import (
    backups,
    check,
    export,
    imports,
    log,
    sessions,
    undo,
    units,
)
from groupscan.screens.one_of import one_of

__all__ = ["draw"]

_PARTS: Final[Mapping[str, tuple[str, Callable[[Store], None]]]] = {
    "sessions": ("Sessions", sessions.draw_sessions),
    "import": ("Import", imports.draw_import),
    "export": ("Export", export.draw_export),
    "backup": ("Backup", backups.draw_backups),
    "check": ("Check", check.draw_check),
    "log": ("Deleted and corrected", log.draw_log),
    "units": ("Units and dates", units.draw_units),
}


def draw() -> None:
    """Draw the Data screen."""
    page_style()
    st.title("Data", anchor=False)
    asked = st.query_params.get("part", "")
    kept = st.session_state.get("data_part", "sessions")
    start = asked if asked in _PARTS else kept
    chosen = one_of(
        "What to do",
        list(_PARTS),
        start=start,
        show=lambda name: _PARTS[name][0],
        key="data_parts",
        label_visibility="collapsed",
        look="pills",
    )
    if chosen != kept:
        undo.forget_import()
        sessions.forget_undo()
        jobs.forget()
        st.session_state.pop("backup_made", None)
    st.session_state["data_part"] = chosen
    if asked not in _PARTS:
        st.query_params["part"] = chosen
    elif chosen != asked:  # what else the address says was about the other part
        st.query_params.from_dict({"part": chosen})
    _PARTS[chosen][1](records())
