"""Which setup and which arrow build were shot: chosen among those that the records know."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from groupscan.records.connect import Store
from groupscan.records.entries import Session
from groupscan.records.store import list_builds, list_rigs, list_setups
from groupscan.screens.preferences import day_text

__all__ = ["gear_choice"]


def gear_choice(store: Store, session: Session, key: str) -> Session:
    """Ask for setup and build, and return the session with them.

    Parameters
    ----------
    store : Store
        The records.
    session : Session
        Its rig and shooter say which setups there are to choose from.
    key : str
        Short name of what is asked about, for the widgets.

    Notes
    -----
    Where nothing is chosen, saving a new session takes the rig's setup of that day and the build
    of that setup.
    """
    setups = _setups(store, session)
    builds = {
        int(row["id"]): str(row["name"])
        for row in list_builds(store).to_dict("records")
        if row["shooter"] in ("", session.shooter)
    }
    if not setups:
        session = replace(session, setup_id=None)  # it was that of another rig
    if session.build_id not in builds:
        session = replace(session, build_id=None)
    if not setups and not builds:
        return session
    a, b = st.columns(2)
    if setups:
        session = replace(
            session,
            setup_id=_one_of(
                "Setup", a, setups, session.setup_id, "the rig's setup of that day", session,
                f"setup_{session.rig}_{key}",
            ),
        )  # fmt: skip
    if builds:
        session = replace(
            session,
            build_id=_one_of(
                "Arrow build", b if setups else a, builds, session.build_id,
                "the build of the setup" if setups else "not said", session, f"build_{key}",
            ),
        )  # fmt: skip
    return session


def _setups(store: Store, session: Session) -> dict[int, str]:
    """Return the setups of the session's rig, newest first, in words."""
    if not session.rig:
        return {}
    rigs = [row for row in list_rigs(store).to_dict("records") if row["name"] == session.rig]
    own = [row for row in rigs if row["shooter"] == session.shooter] or [
        row for row in rigs if row["shooter"] == ""
    ]
    if not own:
        return {}
    rows = list_setups(store, int(own[0]["id"])).to_dict("records")
    return {
        int(row["id"]): f"since {day_text(row['since'])}: {row['changed'] or 'first setup'}"
        for row in reversed(rows)
    }


def _one_of(
    label: str,
    place: Any,
    names: dict[int, str],
    now: int | None,
    left_out: str,
    session: Session,
    key: str,
) -> int | None:
    options = [0, *names]
    if now is not None and now not in names:
        now = None
    chosen = place.selectbox(
        label,
        options,
        index=options.index(now or 0),
        format_func=lambda one: (
            names[one] if one else left_out if session.id is None else "not said"
        ),
        key=key,
    )
    return int(chosen) or None
