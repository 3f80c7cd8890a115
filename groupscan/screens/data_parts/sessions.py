"""The sessions: found, looked at, put right, deleted and brought back."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import streamlit as st

from groupscan.records.changes import change_mark
from groupscan.records.connect import Store
from groupscan.records.entries import Session
from groupscan.records.store import (
    delete_entry,
    get_session,
    list_scans,
    list_sessions,
    restore_entry,
    save_session,
)
from groupscan.screens import group_sheet, photo_desk
from groupscan.screens.chrome import asked_number, plain, told
from groupscan.screens.data_parts.particulars import ask_particulars
from groupscan.screens.data_parts.wording import many
from groupscan.screens.preferences import day_text, distance_text
from groupscan.screens.to_top import go_to_top, show_top

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["draw_sessions", "forget_undo", "session_line"]

_STEP: Final = 20
_LOADED: Final = "data_session"
_UNDO: Final = "data_undo"
_REFUSED: Final = "data_refused"
_SEARCHED: Final = ("place", "shooter", "rig", "build", "purpose")
# Rows read better from the left than centred, as buttons have it.
_ROWS: Final = """<style>.st-key-session_rows button, .st-key-session_rows button > *
{justify-content: flex-start; text-align: left} .st-key-session_rows button p
{text-align: left}</style>"""


@st.cache_resource(max_entries=2, show_spinner="Reading the records")
def _sessions(_store: Store, home: str, mark: tuple[int, ...]) -> pd.DataFrame:
    """Return the sessions with a column of all that a search looks into."""
    table = list_sessions(_store)
    days = table["held_on"].dt
    parts = [table[name] for name in _SEARCHED]
    text = days.strftime("%Y-%m-%d %d %B %Y").str.cat(parts, sep=" ")
    return table.assign(text=text.str.casefold())


def draw_sessions(store: Store) -> None:
    """Draw the list, or one session of it."""
    show_top()
    _undo(store)
    chosen = asked_number("session")
    if chosen is not None:
        _one(store, chosen)
        return
    table = _sessions(store, str(store.home), change_mark(store))
    if table.empty:
        st.info(
            "No session is kept yet. Scan a photo on the Photo desk and save the end, or bring in "
            "a table of shots under Import."
        )
        st.page_link(_page(photo_desk.draw, "photo-desk", default=True), label="Photo desk")
        return
    asked = st.text_input(
        "Search", key="session_search", max_chars=100, icon=":material/search:",
        placeholder="a day, place, shooter, rig, build or purpose",
    )  # fmt: skip
    for word in asked.casefold().split():
        table = table[table["text"].str.contains(word, regex=False)]
    if table.empty:
        st.info("No session has all of these words. Take one away.")
        return
    st.caption(
        f"{many(len(table), 'session')}, {many(int(table['shots'].sum()), 'shot')}. "
        "Tap one to see it, put it right or delete it."
    )
    shown = _STEP * int(st.session_state.get("session_pages", 1))
    st.html(_ROWS)
    with st.container(key="session_rows", gap="xsmall"):
        for row in table.head(shown).to_dict("records"):
            if st.button(
                session_line(row), key=f"open_session_{row['id']}", width="stretch", wrap=True
            ):
                st.query_params["session"] = str(row["id"])
                st.session_state.pop(_UNDO, None)
                st.rerun()
    if len(table) > shown and st.button("Show more", icon=":material/expand_more:"):
        st.session_state["session_pages"] = int(st.session_state.get("session_pages", 1)) + 1
        st.rerun()


def forget_undo() -> None:
    """Speak no more of the last deed: the reader went on, or it holds no longer."""
    st.session_state.pop(_UNDO, None)


def session_line(row: Mapping[Any, Any]) -> str:
    """Return a session's particulars as Markdown, the day in bold; a row of `list_sessions`."""
    distance = None if math.isnan(row["distance_m"]) else row["distance_m"]
    held = f"{many(row['ends'], 'end')}, {many(row['shots'], 'shot')}"
    parts = (
        row["place"], row["shooter"], row["rig"], distance_text(distance), row["purpose"], held,
    )  # fmt: skip
    day = f"**{plain(day_text(row['held_on'].date()))}**"
    return " · ".join([day, *(plain(part) for part in parts if part)])


def _one(store: Store, session_id: int) -> None:
    """Draw one session: its ends and particulars."""
    if st.button("All sessions", icon=":material/arrow_back:"):
        _close()
        st.rerun()
    loaded = _loaded(store, session_id)
    if loaded is None:
        st.caption("If it was deleted lately, 'Deleted and corrected' brings it back.")
        return
    heading = (day_text(loaded.held_on), loaded.place)
    st.subheader(plain(" · ".join(part for part in heading if part)), anchor=False)
    _ends(store, session_id)
    with st.container(border=True):
        new = ask_particulars(store, loaded)
        _refused()
        if new is not None and new != loaded:
            if st.button("Save these particulars", type="primary", icon=":material/save:"):
                _save(store, loaded, new)
        elif new is not None:
            st.caption("Change what is wrong; then save it here.")
    with st.popover("Delete this session", icon=":material/delete:"):
        st.write("It leaves every screen with all its ends. It can be brought back at any time.")
        if st.button("Delete it", key="delete_session"):
            title = f"The session of {day_text(loaded.held_on)}"
            _delete(store, "session", session_id, title)


def _loaded(store: Store, session_id: int) -> Session | None:
    """Return the session as this reader loaded it: what others save meanwhile is a conflict."""
    loaded = st.session_state.get(_LOADED)
    if isinstance(loaded, Session) and loaded.id == session_id:
        return loaded
    st.session_state.pop(_REFUSED, None)
    loaded = None
    with told():
        loaded = get_session(store, session_id)
    st.session_state[_LOADED] = loaded
    return loaded


def _save(store: Store, loaded: Session, new: Session) -> None:
    with told(later=_REFUSED):
        save_session(store, new)
        now = get_session(store, loaded.id or 0)
        st.session_state[_LOADED] = now
        back = replace(loaded, revision=now.revision)
        st.session_state[_UNDO] = ("saved", back, "The particulars are saved.")
        st.session_state.pop(_REFUSED, None)
    st.rerun()


def _refused() -> None:
    """Tell why nothing was saved; what was typed stays until the reader gives it up."""
    if _REFUSED not in st.session_state:
        return
    st.error(plain(st.session_state[_REFUSED]))
    if st.button("Drop what I typed, show what is kept", icon=":material/refresh:"):
        del st.session_state[_REFUSED]
        st.session_state.pop(_LOADED, None)
        st.rerun()


def _ends(store: Store, session_id: int) -> None:
    scans = list_scans(store, session_id).to_dict("records")
    if not scans:
        st.write("It has no end.")
        return
    if any(row["shots"] for row in scans):
        st.page_link(
            _page(group_sheet.draw, "group-sheet"),
            label="See it on the Group sheet",
            icon=":material/adjust:",
            query_params={"session": str(session_id)},
        )
    with st.expander(f"Its ends ({len(scans)})"):
        for number, row in enumerate(scans, 1):
            name = row["label"] or f"End {number}"
            photo = row["photo_name"] or ("a photo" if row["photo_sha256"] else "typed")
            words, button = st.columns([3, 1], vertical_alignment="center")
            words.markdown(plain(f"{name}: {many(row['shots'], 'shot')}, {photo}"))
            if button.button(
                "Delete", key=f"delete_scan_{row['id']}", icon=":material/delete:",
                width="stretch", help=f"Delete end {number}",
            ):  # fmt: skip
                _delete(store, "scan", int(row["id"]), f"End {number}")


def _delete(store: Store, entry: Any, key: int, title: str) -> None:
    done = False
    with told():
        delete_entry(store, entry, key)
        done = True
    if done:
        if entry == "session":
            _close()
        st.session_state[_UNDO] = (entry, key, f"{title} is deleted.")
        go_to_top()  # there stands the way back
        st.rerun()


def _undo(store: Store) -> None:
    """Offer to take back the last deed, until the next one."""
    if _UNDO not in st.session_state:
        return
    deed, what, words = st.session_state[_UNDO]
    said, button = st.columns([3, 1], vertical_alignment="center")
    said.success(plain(words), icon=":material/check:")
    if button.button("Undo", icon=":material/undo:", key="undo_deed", width="stretch"):
        done = False
        with told():
            if deed == "saved":
                save_session(store, what)
                st.session_state.pop(_LOADED, None)
            else:
                restore_entry(store, deed, what)
            done = True
        if done:
            del st.session_state[_UNDO]
            st.rerun()


def _close() -> None:
    st.session_state.pop(_LOADED, None)
    st.session_state.pop(_UNDO, None)
    if "session" in st.query_params:
        del st.query_params["session"]


def _page(draw: Any, path: str, *, default: bool = False) -> Any:
    return st.Page(draw, url_path=path, default=default)
