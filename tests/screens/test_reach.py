"""The Reach as a page, driven without a browser."""

import re
from dataclasses import replace

import pytest
from streamlit.testing.v1 import AppTest

from groupscan.printouts import print_distances
from groupscan.records.entries import ScanRecord, Session, ShotRecord
from groupscan.records.preferences import Preferences, read_preferences, save_preferences
from groupscan.records.store import save_scan, save_session
from tests.printed_pages import words_of
from tests.screens.arrow_records import FIRST, SIX, shoot

HOME = dict.fromkeys(SIX, (0, 0))


def page():
    def script():
        from groupscan.screens import reach

        reach.draw()

    at = AppTest.from_function(script, default_timeout=60)
    at.run()
    assert not at.exception
    return at


def words(at):
    kinds = (at.markdown, at.info, at.caption, at.error, at.warning)
    return " ".join(element.value for kind in kinds for element in kind)


def reliable(at):
    """The distance that the page says to rely on."""
    (line,) = [box.value for box in at.markdown if "Rely on" in box.value]
    return int(line.split("Rely on ")[1].split()[0])


def two_distances(store, **session):
    shoot(store, HOME, sigma=14, sessions=3, ends=5, **session)
    shoot(store, HOME, sigma=21, sessions=3, ends=5, distance_m=27.432, seed=2, **session)


def test_an_empty_reach_teaches_and_cautions(home):
    said = words(page())
    assert "No shot says how far it was shot from yet" in said
    assert "not a licence for a shot at game" in said


def test_shots_without_a_distance_teach(store):
    shoot(store, HOME, distance_m=None)
    assert "No shot says how far" in words(page())


def test_the_distance_that_follows_is_said_with_the_caution(store):
    two_distances(store)
    at = page()
    said = words(at)
    # Sigma is 0.77 mm a metre; 9 in 10 of a round group are inside 2.15 sigma (Rayleigh): a circle
    # of 75 mm radius holds that as far as 45 m, which no honest bound may pass.
    assert 18 < reliable(at) < 45
    assert "not a licence for a shot at game" in said
    assert "no licence for a shot at game" in said
    assert "90 arrows shot from there" in said
    assert "extrapolated" in said
    assert "Few arrows" not in said


def test_a_wider_circle_and_a_lower_standard_reach_farther_and_are_remembered(store):
    two_distances(store)
    at = page()
    first = reliable(at)
    circle = next(box for box in at.text_input if box.label.startswith("Circle"))
    circle.set_value("7 in").run()
    wider = reliable(at)
    assert wider > first
    next(box for box in at.selectbox if "must land inside" in box.label).set_value(60).run()
    assert reliable(at) > wider
    assert "6 arrows in 10" in words(at)
    again = page()  # another visit
    assert reliable(again) == reliable(at)
    circle.set_value("seven").run()
    assert not at.exception
    assert "stays" in words(at)


def test_a_bare_number_keeps_the_unit_that_it_was_typed_in(store):
    two_distances(store)
    at = page()
    box = next(one for one in at.text_input if one.label.startswith("Circle"))
    box.set_value("180").run()
    first = reliable(at)
    save_preferences(store, replace(read_preferences(store), length="in"))
    # 180 mm is 7.09 in; read as inches it would be five yards across.
    for again in (at.run(), page()):
        assert "inside a circle 7.09 in across" in words(again).replace("\\", "")
        assert reliable(again) == first
    assert "7.09 in across" in words_of(print_distances(store))


def test_metres_or_yards_as_the_reader_likes(store):
    two_distances(store)
    at = page()
    unit = next(one for one in at.button_group if one.label == "Distances in")
    assert unit.value == "m"
    metres = reliable(at)
    assert " m across" not in words(at)
    unit.set_value("yd").run()
    assert 0.9144 * reliable(at) == pytest.approx(metres, abs=1)
    assert "yd | " in words(at)
    assert read_preferences(store).distance == "yd"  # for every screen


def test_few_arrows_are_warned_about(store):
    shoot(store, {"1": (0, 0), "2": (0, 0)}, sessions=1, ends=3)
    said = words(page())
    assert "Only 6 arrows: too few to rely on any distance" in said
    assert "not a licence" in said


def test_few_arrows_from_one_of_the_distances_are_warned_about(store):
    two_distances(store)
    shoot(store, {"1": (0, 0)}, sessions=1, ends=4, distance_m=36.576)
    save_preferences(store, Preferences(distance="yd"))
    assert "Few arrows from 40 yd (4)" in words(page()).replace("\\", "")


def test_one_arrow_gives_no_chance(store):
    session = save_session(store, Session(held_on=FIRST, distance_m=18.0))
    save_scan(store, ScanRecord(session_id=session, shots=(ShotRecord(number=1, x_mm=1, y_mm=2),)))
    at = page()
    assert "Only 1 arrow" in words(at)
    assert "No distance can be relied on yet" in words(at)


def test_no_name_becomes_markup(store):
    two_distances(store, rig="<img src=q>", shooter="[x](http://y)")
    at = page()
    for element in (*at.markdown, *at.caption, *at.warning):
        assert not re.search(r"(?<!\\)<img|(?<!\\)\[x\]", element.value)
