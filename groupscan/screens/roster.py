"""Roster: a coach's students at a glance, each with their season and a word for it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import streamlit as st

from groupscan.csvfile import csv_bytes
from groupscan.decisions.roster import WORDS, Standing, roster_frame, roster_of
from groupscan.records.store import list_shooters
from groupscan.report.palette import Palette, palette
from groupscan.report.season import Reading, progress_words, spark_svg, spark_words, svg_image
from groupscan.screens.choosing import RecordsKey, ask_one, recorded_shots, records_key
from groupscan.screens.chrome import (
    CAUTIONS,
    asked_number,
    page_style,
    plain,
    reader_theme,
    records,
)
from groupscan.screens.downloads import csv_download, offer
from groupscan.screens.links import link_to_desk
from groupscan.screens.preferences import day_text, preferences, read_unit
from groupscan.screens.student import draw_student, open_student

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["draw"]

_EMPTY = """
**Nobody is in the records yet.**

This screen shows a coach's students side by side: who gets steadier, who gets wider, whose centre
drifts, and who has shot too few arrows to say. Save an end on the Photo desk with a shooter's name;
then open that shooter here and say who coaches them.
"""
_NO_COACH = (
    "Nobody has a coach yet, so everybody is listed. Open a student and choose the coach there; "
    "then this list is that coach's own."
)
_EVERYBODY: Final = "everybody"
_ICONS: Final = {
    "wider": "M2 12H22M8 6L2 12L8 18M16 6L22 12L16 18",
    "drifting": "M4 12H20M13 5L20 12L13 19",
    "too few arrows": "M5 12H7M11 12H13M17 12H19",
    "steady": "M4 9H20M4 15H20",
    "steadier": "M2 12H9M5 8L9 12L5 16M22 12H15M19 8L15 12L19 16",
}


def draw() -> None:
    """Draw the Roster screen, or the page of the student whom the address names."""
    page_style()
    store = records()
    shooters = list_shooters(store)
    table = recorded_shots(store)
    asked = asked_number("student")
    if asked is not None and asked in set(shooters["id"]):
        draw_student(store, asked, shooters, table)
        return
    st.title("Roster", anchor=False)
    if shooters.empty:
        st.markdown(_EMPTY)
        link_to_desk()
        return
    students = _students(shooters)
    standings = _standings(table, records_key(store), tuple(str(n) for n in students["name"]))
    ids = dict(zip(students["name"], students["id"], strict=True))
    _counts(standings)
    for one in sorted(standings, key=lambda one: (WORDS.index(one.word), one.name.casefold())):
        _row(one, int(ids[one.name]))
    st.caption(
        "The line is sigma from session to session, up is wider, dashed is its middle; of who "
        "drifts it is how far the centre came along the drift, dashed is where it began. The last "
        "session has the large dot. A word is wrong in at most one season of twenty in which "
        "nothing changed."
    )
    mine = preferences()
    roster = csv_download(
        "Roster as CSV",
        "roster",
        lambda: csv_bytes(roster_frame(standings, shooters, angle=mine.angle, length=mine.length)),
    )
    offer("roster", [roster])
    st.caption(CAUTIONS["group"])


def _students(shooters: pd.DataFrame) -> pd.DataFrame:
    """Ask whose students, where several coach."""
    coaches = [str(name) for name in dict.fromkeys(shooters["coach"]) if name]
    if not coaches:
        st.info(_NO_COACH)
        return shooters
    coach = ask_one("coach", "Coach", [*sorted(coaches), _EVERYBODY])
    return shooters if coach == _EVERYBODY else shooters[shooters["coach"] == coach]


@st.cache_resource(max_entries=4, show_spinner="Measuring the seasons")
def _standings(
    _table: pd.DataFrame | None, records: RecordsKey, names: tuple[str, ...]
) -> list[Standing]:
    return roster_of(_table, names)


def _counts(standings: list[Standing]) -> None:
    """Say in one sentence how all of them stand."""
    words = [one.word for one in standings]
    told = [f"{words.count(word)} {word}" for word in WORDS if word in words]
    look = [one.name for one in standings if one.word in ("wider", "drifting")]
    todo = (
        f"look at {' and '.join(look)} first" if 0 < len(look) < 3
        else "begin with those on top" if look
        else "nobody needs to be looked at first"
    )  # fmt: skip
    many = f"{len(words)} student{'' if len(words) == 1 else 's'}"
    sentence = f"{many}: {', '.join(told)}; {todo}."
    st.markdown(f"**{plain(sentence)}**")


def _row(one: Standing, key: int) -> None:
    """Draw one student: name, season and word with its evidence."""
    p = palette(reader_theme())
    with st.container(border=True):
        a, b, c = st.columns([4, 7, 8], vertical_alignment="center")
        with a:
            st.button(
                plain(one.name), key=f"student_{key}", width="stretch", icon=":material/person:",
                on_click=open_student, args=(key,),
            )  # fmt: skip
        sessions = len(one.sessions.label) if one.sessions else 0
        with b:
            shown = spark_words(one.progress)
            line = svg_image(
                spark_svg(one.sessions, one.progress, theme=reader_theme()),
                f"{shown} over {sessions} sessions",
            )
            st.html(
                '<div style="display:flex;flex-wrap:wrap;align-items:center;gap:.2rem 1rem">'
                f'<span style="display:inline-flex;flex-direction:column;max-width:100%">{line}'
                f'<span style="font-size:.8rem;color:{p.quiet}">{shown}</span></span>'
                f"{_word(one.word, p)}</div>"
            )
        with c:
            st.markdown(plain(_evidence(one, sessions)))


def _word(word: str, p: Palette) -> str:
    colour = {"wider": p.moved, "drifting": p.centre, "steadier": p.aim}.get(word, p.ink)
    icon = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="24" height="24" viewBox="0 0 24 24" '
        f'fill="none" stroke="{colour}" stroke-width="2.6"><path d="{_ICONS[word]}"/></svg>'
    )
    return (
        '<span style="display:inline-flex;align-items:center;gap:.45rem;font-weight:700;'
        f'font-size:1.1rem;color:{p.ink}">{svg_image(icon, "")}{word}</span>'
    )


def _evidence(one: Standing, sessions: int) -> str:
    if one.sessions is None:
        return one.notes[-1] if one.notes else "no shots yet"
    known = one.sessions.unit == "rad"
    # Without one distance for all students, an angle is what can be compared.
    unit = preferences().angle if known else read_unit(angles=False)
    words = progress_words(one.progress, Reading(unit, 1.0 if known else None))
    last = f"; last shot {day_text(one.last.date())}" if one.last is not None else ""
    held = f"{sessions} session{'' if sessions == 1 else 's'}, {one.shots} shots"
    return f"{words}; {held}{last}"
