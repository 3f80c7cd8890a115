"""The particulars of a session that is kept, asked for in one form."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from groupscan.errors import UnitError
from groupscan.records.connect import Store
from groupscan.records.entries import Session
from groupscan.records.store import list_builds, list_rigs, list_setups, list_shooters
from groupscan.records.titles import setup_title
from groupscan.screens.chrome import plain
from groupscan.screens.preferences import date_input_format, day_text, preferences
from groupscan.screens.session_fields import LONGEST_NAME, ask_amount, ask_distance, ask_name

__all__ = ["ask_particulars"]


def ask_particulars(store: Store, was: Session) -> Session | None:
    """Ask for the particulars of a session, and return it as the reader has put it.

    Parameters
    ----------
    store : Store
        The records: they know names, setups and builds to choose from.
    was : Session
        As it was loaded. What the reader leaves alone stays, to the last digit.

    Returns
    -------
    Session or None
        None where something typed cannot be read; the reader has been told.
    """
    key = f"{was.id}_{was.revision}"
    a, b, c = st.columns(3)
    held_on = a.date_input(
        "Day", was.held_on, format=date_input_format(), key=f"day_{key}",
        min_value="1900-01-01", max_value="2200-12-31",
    )  # fmt: skip
    place = b.text_input("Place", was.place, key=f"place_{key}", max_chars=LONGEST_NAME)
    distance = ask_distance("Distance", c, was.distance_m, f"distance_{key}")
    a, b, c = st.columns(3)
    shooter = ask_name("Shooter", a, was.shooter, list_shooters(store)["name"], f"shooter_{key}")
    rig = ask_name("Rig", b, was.rig, list_rigs(store)["name"], f"rig_{key}")
    purpose = c.text_input("Purpose", was.purpose, key=f"purpose_{key}", max_chars=LONGEST_NAME)
    setup_id, build_id = _gear(store, was, rig, key)
    a, b, c = st.columns(3)
    weather = a.text_input("Weather", was.weather, key=f"weather_{key}", max_chars=LONGEST_NAME)
    air = ask_amount("Temperature", b, was.temperature_c, "temperature", "c", f"air_{key}")
    wind = ask_amount("Wind", c, was.wind_m_s, "speed", preferences().wind, f"wind_{key}")
    notes = st.text_area("Notes", was.notes, key=f"notes_{key}", max_chars=2000, height=100)
    try:
        return replace(
            was, held_on=held_on or was.held_on, place=place.strip(), shooter=shooter, rig=rig,
            distance_m=distance(), purpose=purpose.strip(), setup_id=setup_id, build_id=build_id,
            weather=weather.strip(), temperature_c=air(), wind_m_s=wind(), notes=notes.strip(),
        )  # fmt: skip
    except UnitError as err:
        st.error(plain(str(err)))
        return None


def _gear(store: Store, was: Session, rig: str, key: str) -> tuple[int | None, int | None]:
    """Ask for setup and build, where there is a choice; those of another rig follow its name."""
    if rig != was.rig:
        st.caption("The setup will be the one that this rig had on that day.")
        return was.setup_id, was.build_id
    a, b = st.columns(2)
    setups = {
        int(row["id"]): setup_title(
            row["rig"], row["since"].date(), row["changed"], day_text=day_text
        )
        for row in list_setups(store, was.rig_id or -1).to_dict("records")
    }
    builds = {
        int(row["id"]): row["name"] + (f" ({row['shooter']})" if row["shooter"] else "")
        for row in list_builds(store).to_dict("records")
    }
    return (
        _one_of("Setup", a, was.setup_id, setups, f"setup_{key}"),
        _one_of("Arrow build", b, was.build_id, builds, f"build_{key}"),
    )


def _one_of(label: str, place: Any, now: int | None, names: dict[int, str], key: str) -> int | None:
    if not names and now is None:
        return None
    if now is not None and now not in names:
        names = {**names, now: "one that is deleted"}
    options = [0, *names]
    chosen = place.selectbox(
        label,
        options,
        index=options.index(now or 0),
        format_func=lambda one: names.get(one, "not said"),
        key=key,
    )
    return chosen or None
