"""Where, when and with what: the session that an end is saved in."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import islice
from typing import Any

import streamlit as st

from groupscan.errors import UnitError
from groupscan.records.connect import Store
from groupscan.records.entries import Session
from groupscan.records.preferences import Preferences
from groupscan.records.store import (
    get_session,
    list_rigs,
    list_sessions,
    list_shooters,
    save_session,
)
from groupscan.screens.chrome import plain, told
from groupscan.screens.desk import Desk, Item
from groupscan.screens.gear_choice import gear_choice
from groupscan.screens.preferences import date_input_format, preferences
from groupscan.screens.session_fields import ask_amount, ask_distance, ask_name
from groupscan.screens.to_top import go_to_top

__all__ = ["SessionLine", "session_form", "session_lines"]

_RECENT = 20


@dataclass(frozen=True)
class SessionLine:
    """One session of the list, with how much it holds."""

    session: Session
    ends: int
    shots: int
    preferred: Preferences

    @property
    def title(self) -> str:
        """Day, place, shooter and rig in one line of plain text."""
        s, day_text = self.session, self.preferred.day_text
        return " · ".join(part for part in (day_text(s.held_on), s.place, s.shooter, s.rig) if part)

    @property
    def label(self) -> str:
        """The title, with distance and number of ends."""
        ends = "1 end" if self.ends == 1 else f"{self.ends} ends"
        parts = (self.title, self.preferred.distance_text(self.session.distance_m), ends)
        return " · ".join(part for part in parts if part)


def session_lines(store: Store) -> dict[int, SessionLine]:
    """Return the sessions by id, newest first."""
    lines, preferred = {}, preferences()
    for row in list_sessions(store).to_dict("records"):
        session = Session(
            id=int(row["id"]), held_on=row["held_on"].date(), place=row["place"],
            shooter=row["shooter"], rig=row["rig"],
            distance_m=None if math.isnan(row["distance_m"]) else float(row["distance_m"]),
        )  # fmt: skip
        lines[int(row["id"])] = SessionLine(session, int(row["ends"]), int(row["shots"]), preferred)
    return lines


def session_form(store: Store, desk: Desk, item: Item) -> None:
    """Ask for the session's particulars and save the end."""
    with st.container(border=True):
        st.subheader("Saved in the records" if item.saved else "Save this end", anchor=False)
        session = _which(store, item) if not item.saved else item.session
        if session is None or item.saved:
            session = _particulars(store, desk, item)
        elif session.distance_m != item.session.distance_m:
            read_at = replace(item.session, distance_m=session.distance_m)
            with told():
                desk.put(store, replace(item, session=read_at))
                st.rerun()  # the numbers above are read at this distance
        pressed = _pressed(item)
        if session is None:
            st.session_state.pop(pressed, None)
            return
        if not item.saved:
            st.button(
                "Save to the records", type="primary", icon=":material/save:",
                key=f"save_{item.key}", on_click=_note_press, args=(pressed,),
            )  # fmt: skip
            if st.session_state.get(pressed):
                _save(store, desk, item, session)
        elif session != item.session and st.button("Save these particulars", type="primary"):
            _update(store, desk, item, session)
        if item.saved and item.record:
            st.success(
                f"End {item.record.id} is in the records. Corrections you make now are saved too.",
                icon=":material/check:",
            )


def _which(store: Store, item: Item) -> Session | None:
    """Return the known session that this end belongs to, or None for a new one."""
    lines = dict(islice(session_lines(store).items(), _RECENT))
    if not lines:
        return None
    options = [0, *lines]
    day = item.session.held_on
    same_day = [key for key, line in lines.items() if line.session.held_on == day]
    chosen = st.selectbox(
        "Session",
        options,
        index=options.index(same_day[0]) if same_day else 0,
        format_func=lambda key: lines[key].label if key else "A new session",
        key=f"session_{item.key}",
        help="An end shot on the same day with the same rig and distance belongs together.",
    )
    return get_session(store, chosen) if chosen else None


def _particulars(store: Store, desk: Desk, item: Item) -> Session | None:
    """Ask for when, where, who and with what; keep each answer as it is typed."""
    was, key = item.session, item.key
    a, b, c = st.columns(3)
    held_on = a.date_input("Date", was.held_on, format=date_input_format(), key=f"date_{key}")
    place = b.text_input("Place", was.place, key=f"place_{key}", max_chars=120)
    shooter = ask_name("Shooter", c, was.shooter, list_shooters(store)["name"], f"shooter_{key}")
    a, b = st.columns([2, 1])
    rig = ask_name("Rig", a, was.rig, list_rigs(store)["name"], f"rig_{key}")
    distance = ask_distance("Distance", b, was.distance_m, f"far_{key}")
    geared = gear_choice(store, replace(was, shooter=shooter, rig=rig), key)
    more = _more_particulars(was, key)
    notes = st.text_area("Notes", was.notes, key=f"notes_{key}", max_chars=2000, height=80)
    try:
        distance_m = distance()
        session = replace(geared, **{name: read() for name, read in more.items()})
    except UnitError as err:
        st.error(plain(str(err)))
        return None
    session = replace(
        session, held_on=held_on, place=place.strip(), shooter=shooter, rig=rig,
        distance_m=distance_m, notes=notes.strip(),
    )  # fmt: skip
    if session != was and not item.saved:
        with told():
            desk.put(store, replace(item, session=session))
            if session.distance_m != was.distance_m:
                st.rerun()  # the numbers above are read at this distance
    return session


def _more_particulars(was: Session, key: str) -> dict[str, Callable[[], Any]]:
    """Ask for what is less often said; return how to read each answer, by its field."""
    with st.expander("Purpose and weather"):
        a, b = st.columns(2)
        purpose = a.text_input(
            "Purpose", was.purpose, key=f"purpose_{key}", max_chars=120,
            placeholder="tuning, practice, a comparison",
        )  # fmt: skip
        weather = b.text_input(
            "Weather", was.weather, key=f"weather_{key}", max_chars=120, placeholder="gusts, sun"
        )
        a, b = st.columns(2)
        air = ask_amount("Temperature", a, was.temperature_c, "temperature", "c", f"air_{key}")
        wind = ask_amount("Wind", b, was.wind_m_s, "speed", preferences().wind, f"wind_{key}")
    return {
        "purpose": purpose.strip,
        "weather": weather.strip,
        "temperature_c": air,
        "wind_m_s": wind,
    }


def _pressed(item: Item) -> str:
    """Return where it is noted that the save was pressed.

    A tap right after typing comes with what was typed, in one run; the form may end that run to
    have the numbers read anew, and what `st.button` returns does not outlive it. A note does.
    """
    return f"saving_{item.key}"


def _note_press(pressed: str) -> None:
    st.session_state[pressed] = True


def _save(store: Store, desk: Desk, item: Item, session: Session) -> None:
    st.session_state.pop(_pressed(item), None)
    with told():
        desk.save(store, desk.items[item.sha256], session)
        desk.news.append(("ok", "The end is saved."))
        go_to_top()
        st.rerun()


def _update(store: Store, desk: Desk, item: Item, session: Session) -> None:
    with told():
        save_session(store, session)
        assert session.id is not None
        desk.items[item.sha256] = replace(item, session=get_session(store, session.id))
        st.rerun()
