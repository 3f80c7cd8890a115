"""One student's page: the season, the last sessions, what to work on, goals and notes."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import streamlit as st

from groupscan.decisions.roster import main_shots
from groupscan.errors import GroupscanError, StoreError
from groupscan.records.connect import Store
from groupscan.records.store import Shooter, get_shooter, save_shooter
from groupscan.report.season import work_on
from groupscan.screens.choosing import on_screen
from groupscan.screens.chrome import CAUTIONS, plain, told
from groupscan.screens.links import link_to_desk
from groupscan.screens.report_button import student_report
from groupscan.screens.season_view import (
    ask_reading,
    details,
    files,
    gear_list,
    measured,
    picture,
    sentence,
    session_table,
    shown,
)

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["draw_student", "open_student"]

_NO_COACH = 0


def draw_student(
    store: Store, key: int, shooters: pd.DataFrame, table: pd.DataFrame | None
) -> None:
    """Draw the page of one student.

    Parameters
    ----------
    store : Store
        The records.
    key : int
        The student's id.
    shooters : DataFrame
        All shooters.
    table : DataFrame or None
        All shots of the records.
    """
    name = str(shooters.loc[shooters["id"] == key, "name"].iloc[0])
    st.title(plain(name), anchor=False)
    with st.container(horizontal=True):
        st.button("All students", icon=":material/arrow_back:", on_click=_back)
        student_report(store, key)
    own = None if table is None else table[table["shooter"] == name]
    left, right = st.columns([3, 2], gap="large")
    with right:
        _words(store, key, shooters)
    with left:
        if own is None or own.empty:
            st.info(
                "No shot of this student is in the records. Save an end on the Photo desk with "
                "this name as the shooter; four sessions on different days show a change."
            )
            link_to_desk()
        else:
            _season(store, name, own)
    st.caption(CAUTIONS["group"])


def _season(store: Store, name: str, own: pd.DataFrame) -> None:
    kept, notes = main_shots(own)
    try:
        seasoned, gear = measured(store, kept)
    except GroupscanError as err:
        st.info(plain(on_screen(str(err))))
        return
    rig, head = (str(kept[column].iloc[0]) for column in ("rig", "head"))
    title = " · ".join(filter(None, (name, rig, head)))
    reading = ask_reading(seasoned.distances_m)
    one = shown(seasoned, gear, reading, title=title)
    sentence(one, todo=False)
    picture(one.scene, key="student_picture")
    gear_list(one.scene)
    st.subheader("What to work on", anchor=False)
    for place, words in enumerate(work_on(one.found), 1):
        st.markdown(f"{place}. {plain(words)}" if one.found else plain(words))
    session_table(one, last=5)
    details(one, key="student")
    for note in notes:
        st.caption(plain(note))
    files(one, "student")


# ------------------------------------------------------------------------- goals, notes and coach


def open_student(key: int) -> None:
    """Open a student's page as it is stored now, but for words that nobody has saved yet."""
    if _draft(key) not in st.session_state:
        _forget(key)
    st.query_params["student"] = str(key)


def _forget(key: int) -> None:
    """Forget the copy of a student that is being edited, so that the newest is shown."""
    for name in (_copy(key), _draft(key), _undo(key), _said(key)):
        st.session_state.pop(name, None)


def _copy(key: int) -> str:
    return f"student_copy_{key}"


def _draft(key: int) -> str:
    return f"student_draft_{key}"


def _undo(key: int) -> str:
    return f"student_undo_{key}"


def _said(key: int) -> str:
    return f"student_said_{key}"


def _refused(key: int) -> str:
    return f"student_refused_{key}"


def _back() -> None:
    st.query_params.pop("student", None)


def _words(store: Store, key: int, shooters: pd.DataFrame) -> None:
    """Show goals, notes and coach, to be changed here."""
    # The copy stays as it was loaded, so that saving it tells of what others saved since then.
    entry: Shooter = st.session_state.setdefault(_copy(key), get_shooter(store, key))
    new: Shooter = st.session_state.get(_draft(key), entry)
    names = dict(zip(shooters["id"].astype(int), shooters["name"], strict=True))
    for one in (entry, new):
        if one.coach_id is not None:  # a coach who was deleted stays it until changed here
            names.setdefault(one.coach_id, "one that is deleted")
    coaches = [_NO_COACH, *(other for other in names if other != key)]
    at = f"{key}_{entry.revision}"
    # No form: what stands in one is lost to whoever leaves the page without its button.
    fields = {"goals": new.goals, "notes": new.notes, "coach": new.coach_id or _NO_COACH}
    for name, value in fields.items():
        st.session_state.setdefault(f"{name}_{at}", value)
    with st.container(border=True):
        for label, height in (("Goals", 110), ("Notes", 150)):
            st.text_area(
                label, key=f"{label.lower()}_{at}", height=height, on_change=_keep_draft,
                args=(key, entry),
            )  # fmt: skip
        st.selectbox(
            "Coach",
            coaches,
            format_func=lambda other: str(names.get(other, "no coach")),
            key=f"coach_{at}",
            on_change=_keep_draft,
            args=(key, entry),
        )
        asked = st.button(
            "Save goals and notes", key=f"save_{key}", type="primary", width="stretch"
        )
    if asked:
        _save(store, key, new, entry)
    _conflict(store, key, new, entry)
    if _draft(key) in st.session_state and f"student_conflict_{key}" not in st.session_state:
        st.caption("Not saved yet; it stays here until you save or drop it.")
        st.button("Drop what is not saved", on_click=_drop_draft, args=(key,))
    if refused := st.session_state.pop(_refused(key), ""):
        st.error(plain(refused))
    if _said(key) in st.session_state:
        st.success(st.session_state[_said(key)])
    if _undo(key) in st.session_state:
        st.button("Undo the last change", icon=":material/undo:", on_click=_bring_back,
                  args=(store, key))  # fmt: skip


def _keep_draft(key: int, entry: Shooter) -> None:
    """Keep what stands in the fields, which are forgotten as soon as the page is left."""
    at = f"{key}_{entry.revision}"
    goals, notes, coach = (st.session_state[f"{name}_{at}"] for name in ("goals", "notes", "coach"))
    new = replace(entry, goals=goals, notes=notes, coach_id=coach or None)
    if new == entry:
        st.session_state.pop(_draft(key), None)
    else:
        st.session_state[_draft(key)] = new


def _drop_draft(key: int) -> None:
    """Bring back what is stored, in the fields as well."""
    at = f"{key}_{st.session_state[_copy(key)].revision}"
    _forget(key)
    for name in ("goals", "notes", "coach"):
        st.session_state.pop(f"{name}_{at}", None)


def _save(store: Store, key: int, new: Shooter, was: Shooter) -> None:
    try:
        save_shooter(store, new)
    except StoreError as err:
        if get_shooter(store, key).revision == was.revision:
            st.error(plain(str(err)))
        else:
            st.session_state[f"student_conflict_{key}"] = True
        return
    _forget(key)
    st.session_state[_undo(key)] = was
    st.session_state[_said(key)] = "Goals and notes are saved."
    st.rerun()


def _conflict(store: Store, key: int, new: Shooter, was: Shooter) -> None:
    """Where somebody else saved in between, show both and let the reader choose."""
    now = get_shooter(store, key)
    if not st.session_state.get(f"student_conflict_{key}") or now.revision == was.revision:
        st.session_state.pop(f"student_conflict_{key}", None)
        return
    st.warning(
        "Somebody saved this student after you opened the page. Nothing of yours is stored yet: "
        "compare, and choose which to keep."
    )
    st.markdown(f"**Stored now, goals:** {plain(now.goals) or 'none'}")
    st.markdown(f"**Stored now, notes:** {plain(now.notes) or 'none'}")
    a, b = st.columns(2)
    a.button("Save mine instead", width="stretch", on_click=_insist, args=(store, key, new, now))
    b.button("Keep what is stored", width="stretch", on_click=_forget, args=(key,))


def _insist(store: Store, key: int, new: Shooter, now: Shooter) -> None:
    _in_callback(key, "Yours is saved.", store, replace(new, revision=now.revision), now)


def _bring_back(store: Store, key: int) -> None:
    was: Shooter = st.session_state[_undo(key)]
    now = get_shooter(store, key)
    _in_callback(key, "The change is undone.", store, replace(was, revision=now.revision), None)


def _in_callback(key: int, said: str, store: Store, new: Shooter, was: Shooter | None) -> None:
    with told(later=_refused(key)):
        save_shooter(store, new)
        _forget(key)
        st.session_state[_said(key)] = said
        if was is not None:
            st.session_state[_undo(key)] = was
