"""Every screen speaks in the units and dates that its reader prefers, and in no other."""

import re
from dataclasses import replace
from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from groupscan.printouts import (
    print_arrows,
    print_comparison,
    print_distances,
    print_session,
    print_student,
)
from groupscan.records.preferences import Preferences, save_preferences
from groupscan.records.store import get_session, list_shooters, save_session
from tests.printed_pages import words_of
from tests.screens.arrow_records import SIX, shoot
from tests.screens.match_records import keep_match
from tests.screens.season_records import keep_season
from tests.screens.seen_words import words_seen

INCHES = Preferences(length="in", distance="yd", date_style="3 May 2026")
METRIC = Preferences(length="mm", distance="m", date_style="05/03/2026")
# With a number before it, or as the head of a column or an axis.
_LENGTHS = {"mm": r"\bmm\b", "m": r"\d\s?m\b(?!/)", "in": r"\d\s?in\b(?! \d+ )|\(in\)"}
_DAYS = {
    "2026-05-03": r"\b\d{4}-\d\d-\d\d\b",
    "3 May 2026": r"\b\d{1,2} [A-Z][a-z]{2} \d{4}\b",
    "05/03/2026": r"\b\d\d/\d\d/\d{4}\b",
}
SCREENS = (
    "photo_desk",
    "group_sheet",
    "point_match",
    "quiver",
    "season",
    "reach",
    "roster",
    "data",
)


@pytest.fixture
def kept(store):
    """A season, a match of heads and a quiver, shot from 20 and 18."""
    keep_season(store, (8, 9, 8, 7, 8, 14, 15, 14), distance_m=18.288)
    shoot(store, SIX, head="")
    return keep_match(store, others={"fixed-blade": (30.0, -25.0)})


def page(name):
    def script(name):
        import importlib

        importlib.import_module(f"groupscan.screens.{name}").draw()

    at = AppTest.from_function(script, kwargs={"name": name}, default_timeout=60).run()
    assert not at.exception
    for switch in at.toggle:
        switch.set_value(True)
    at.run()
    assert not at.exception
    return at


def foreign(prefer):
    """Return what is none of the reader's units and dates."""
    units = [_LENGTHS["in"]] if prefer.length == "mm" else [_LENGTHS["mm"]]
    # What was paced in whole yards is known by that number: it stands behind, in brackets.
    units.append(_LENGTHS["m"] if prefer.distance == "yd" else r"\d\s?yd\b(?!\))")
    days = [words for style, words in _DAYS.items() if style != prefer.date_style]
    return re.compile("|".join(units + days))


@pytest.mark.parametrize("name", SCREENS)
@pytest.mark.parametrize("prefer", [INCHES, METRIC], ids=["inches", "metric"])
def test_a_screen_speaks_in_the_readers_units_and_dates(store, kept, name, prefer):
    save_preferences(store, prefer)
    wrong = foreign(prefer)
    # A sheet is called by the size that it is sold in.
    said = [text for text in words_seen(page(name)) if "Inch grid" not in text]
    assert [text[:200] for text in said if wrong.search(text)] == []
    assert [text[:200] for text in said if "\u2060" in text] == []  # a quantity still tied


@pytest.mark.parametrize("prefer", [INCHES, METRIC], ids=["inches", "metric"])
def test_a_printed_page_speaks_in_the_readers_units_and_dates(store, kept, prefer):
    save_preferences(store, prefer)
    (key,) = list_shooters(store).query("name == 'Ada'")["id"]
    day = date(2026, 6, 1)
    pages = {
        "session": print_session(store, kept, made_on=day),
        "student": print_student(store, int(key), made_on=day),
        "match": print_comparison(
            store, by="head", shooter="Ola <b>", tolerance_mm=30.0, made_on=day
        ),
        "quiver": print_arrows(store, shooter="Ada Moss", worth_mm=2.0, made_on=day),
        "reach": print_distances(store, shooter="Ada Moss", circle_mm=152.4, made_on=day),
    }
    wrong = foreign(prefer)
    told = {name: words_of(made) for name, made in pages.items()}
    assert [(name, wrong.findall(told[name])) for name in told if wrong.search(told[name])] == []
    # The notes that a group or a distance more would tell are there, in the reader's units.
    assert "more ends to see an offset of" in told["quiver"]
    assert re.search(r"Only (20 yd|18\.29 m) was shot", told["reach"])


def test_an_advice_is_in_inches_for_who_reads_inches(store, kept):
    save_preferences(store, INCHES)
    said = " ".join(words_seen(page("point_match")))
    assert "0.02 to 0.04 in" in said  # half a millimetre to one
    assert "3 May 2026" not in said
    assert "2 May 2026" in said


def test_a_distance_left_alone_stays_to_the_last_digit(store, kept):
    """18 m shows as 19.7 yd, which is 18.014 m: to read it back would move it."""
    save_preferences(store, INCHES)
    save_session(store, replace(get_session(store, kept), distance_m=18.0))

    def script():
        import streamlit as st

        from groupscan.screens.session_fields import ask_distance

        st.session_state["read"] = ask_distance("Distance", st, 18.0, "far")()

    at = AppTest.from_function(script).run()
    assert at.text_input[0].value == "19.7 yd"
    assert at.session_state["read"] == 18.0
    at.text_input[0].set_value("20").run()  # a bare number is in the reader's unit
    assert at.session_state["read"] == pytest.approx(18.288)
