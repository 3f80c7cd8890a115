"""The Roster and a student's page, driven without a browser."""

import csv
import io
import re
from dataclasses import replace

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from groupscan.csvfile import csv_bytes
from groupscan.decisions.roster import roster_frame, roster_of
from groupscan.decisions.shot_table import shots_of_store
from groupscan.records.store import (
    Shooter,
    delete_entry,
    get_shooter,
    list_shooters,
    save_shooter,
)
from groupscan.units import RAD_PER_MOA
from tests.screens.season_records import keep_season

NUMBERS = (
    *("months", "sigma_last_MOA", "sigma_last_low_MOA", "sigma_last_high_MOA"),
    *("sigma_ratio", "sigma_ratio_low", "sigma_ratio_high"),
    *("drift_right_MOA", "drift_right_low_MOA", "drift_up_MOA", "drift_up_high_MOA"),
)
HOSTILE = "<img src=q onerror=x> **[a](b)** $x$"


def page(**asked):
    def script():
        from groupscan.screens import roster

        roster.draw()

    at = AppTest.from_function(script, default_timeout=60)
    for name, value in asked.items():
        at.query_params[name] = str(value)
    at.run()
    assert not at.exception
    return at


def words(at):
    kinds = (at.markdown, at.info, at.caption, at.error, at.warning, at.success)
    return " ".join(element.value for kind in kinds for element in kind).replace("\\", "")


def field(at, label):
    return next(box for box in at.text_area if box.label == label)


def save_button(at):
    return next(button for button in at.button if button.label == "Save goals and notes")


def press(at, label):
    next(button for button in at.button if button.label == label).click().run()
    assert not at.exception


@pytest.fixture
def coach(store):
    return save_shooter(store, Shooter(name="Coach Ula"))


def student(store, name, coach_id, **fields):
    return save_shooter(store, Shooter(name=name, coach_id=coach_id, **fields))


def test_without_records_the_screen_teaches(store):
    at = page()
    assert "say who coaches them" in words(at)
    assert [link.proto.label for link in at.get("page_link")] == ["Go to the Photo desk"]


def test_without_a_coach_everybody_is_listed_and_told_how_to_choose_one(store):
    keep_season(store, [20.0] * 2)
    at = page()
    assert "Nobody has a coach yet" in words(at)
    assert [b.label for b in at.button if b.key.startswith("student_")] == ["Ada"]


def test_each_student_has_a_word_and_what_it_rests_on(store, coach):
    for name in ("Wide", "Tight", "Creep", "Same", "New"):
        student(store, name, coach)
    keep_season(store, np.geomspace(15, 45, 6), shooter="Wide", shots=36)
    keep_season(store, np.geomspace(45, 15, 6), shooter="Tight", shots=36)
    keep_season(store, [20.0] * 6, shooter="Creep", shots=36, right=np.linspace(0, 60, 6))
    keep_season(store, [20.0] * 6, shooter="Same", shots=36, seed=4)
    keep_season(store, [20.0], shooter="New")
    at = page()
    shown = " ".join(box.body for box in at.html)
    order = ["wider", "drifting", "too few arrows", "steady", "steadier"]
    places = [shown.index(f">{word}</span>") for word in order]
    assert places == sorted(places)
    lines = re.findall(r'alt="(\w[^"]*) over', shown)  # each shows what its word is about
    assert lines == ["sigma", "how far the centre came", "sigma", "sigma", "sigma"]
    said = words(at)
    assert "5 students: 1 wider, 1 drifting, 1 too few arrows, 1 steady, 1 steadier" in said
    assert "look at Creep and Wide first" in said
    assert "centre crept" in said
    assert "sessions on four different days are needed; 1 session, 12 shots" in said
    labels = [b.label for b in at.button if b.key.startswith("student_")]
    assert labels == ["Wide", "Creep", "New", "Same", "Tight"]


def test_each_coach_has_students_of_their_own(store, coach):
    other = save_shooter(store, Shooter(name="Coach Bo"))
    student(store, "Ann", coach)
    student(store, "Eve", other)
    at = page()
    assert [b.label for b in at.button if b.key.startswith("student_")] == ["Eve"]
    at.selectbox[0].select("Coach Ula").run()
    assert [b.label for b in at.button if b.key.startswith("student_")] == ["Ann"]
    at.selectbox[0].select("everybody").run()
    assert len([b for b in at.button if b.key.startswith("student_")]) == 4


def test_a_student_opens_and_the_list_comes_back(store, coach):
    student(store, "Ann", coach)
    at = page()
    next(b for b in at.button if b.label == "Ann").click().run()
    assert at.title[0].value == "Ann"
    assert "No shot of this student" in words(at)
    next(b for b in at.button if b.label == "All students").click().run()
    assert at.title[0].value == "Roster"


def test_the_page_of_a_student_shows_the_season_and_what_to_work_on(store, coach):
    key = student(store, "Ann", coach)
    keep_season(store, [20.0] * 6, shooter="Ann", shots=36, end_ratio=1.6)
    at = page(student=key)
    said = words(at)
    assert "1. Shoot fewer ends, or rest between them (groups open up from end to end)" in said
    assert len(at.get("plotly_chart")) == 1
    at.session_state["student_within"] = True  # a tap unfolds how a session goes
    at.run()
    assert len(at.get("plotly_chart")) == 3  # the season, from end to end, the first arrow


def test_shots_of_other_rigs_and_heads_are_left_out_and_told(store, coach):
    key = student(store, "Ann", coach)
    keep_season(store, [20.0] * 5, shooter="Ann")
    keep_season(store, [90.0], shooter="Ann", head="wide blade")
    keep_season(store, [90.0], shooter="Ann", rig="Other bow")
    said = words(page(student=key))
    assert "12 shots of other rigs than Heron are left out" in said
    assert "12 shots with other heads than field point are left out" in said


def test_goals_and_notes_are_saved_and_can_be_undone(store, coach):
    key = student(store, "Ann", coach, goals="old goal", notes="old note")
    at = page(student=key)
    field(at, "Goals").set_value("new goal")
    field(at, "Notes").set_value("two\nlines")
    save_button(at).click().run()
    assert not at.exception
    kept = get_shooter(store, key)
    assert (kept.goals, kept.notes, kept.coach_id) == ("new goal", "two\nlines", coach)
    assert "Goals and notes are saved" in words(at)
    next(b for b in at.button if b.label == "Undo the last change").click().run()
    assert get_shooter(store, key).goals == "old goal"
    assert field(at, "Goals").value == "old goal"


def test_words_that_nobody_saved_yet_wait_for_who_comes_back(store, coach):
    key = student(store, "Ann", coach, notes="old")
    student(store, "Eve", coach)
    at = page(student=key)
    assert "Not saved yet" not in words(at)
    field(at, "Notes").set_value("typed, then looked at the others")
    press(at, "All students")
    press(at, "Eve")
    assert field(at, "Notes").value == ""
    assert at.title[0].value == "Eve"
    press(at, "All students")
    press(at, "Ann")
    assert field(at, "Notes").value == "typed, then looked at the others"
    assert "Not saved yet" in words(at)
    assert get_shooter(store, key).notes == "old"
    save_button(at).click().run()
    assert get_shooter(store, key).notes == "typed, then looked at the others"
    assert "Not saved yet" not in words(at)


def test_words_that_nobody_saved_yet_can_be_dropped(store, coach):
    key = student(store, "Ann", coach, notes="old")
    at = page(student=key)
    field(at, "Notes").set_value("no").run()
    press(at, "Drop what is not saved")
    assert field(at, "Notes").value == "old"
    assert "Not saved yet" not in words(at)


def test_what_another_saved_while_words_waited_is_told(store, coach):
    key = student(store, "Ann", coach, notes="old")
    at = page(student=key)
    field(at, "Notes").set_value("mine")
    press(at, "All students")
    save_shooter(store, replace(get_shooter(store, key), notes="theirs"))
    press(at, "Ann")
    save_button(at).click().run()
    assert "Somebody saved this student" in words(at)
    assert get_shooter(store, key).notes == "theirs"


def test_a_coach_is_chosen_on_the_page(store, coach):
    key = student(store, "Ann", None)
    at = page(student=key)
    at.selectbox[0].select(coach)
    save_button(at).click().run()
    assert get_shooter(store, key).coach_id == coach


def test_a_coach_who_was_deleted_stays_the_coach_when_goals_are_saved(store, coach):
    key = student(store, "Ann", coach)
    delete_entry(store, "shooter", coach)
    at = page(student=key)
    assert at.selectbox[0].options[at.selectbox[0].index] == "one that is deleted"
    field(at, "Goals").set_value("stand still")
    save_button(at).click().run()
    assert not at.exception
    kept = get_shooter(store, key)
    assert (kept.goals, kept.coach_id) == ("stand still", coach)


def test_a_coach_who_is_coached_by_the_student_is_refused_in_words(store, coach):
    key = student(store, "Ann", coach)
    at = page(student=coach)
    at.selectbox[0].select(key)
    save_button(at).click().run()
    assert not at.exception
    assert at.error
    assert get_shooter(store, coach).coach_id is None


@pytest.mark.parametrize("mine", [True, False])
def test_what_somebody_else_saved_meanwhile_is_not_lost(store, coach, mine):
    key = student(store, "Ann", coach, goals="first")
    at = page(student=key)
    save_shooter(store, replace(get_shooter(store, key), goals="theirs"))
    field(at, "Goals").set_value("mine")
    save_button(at).click().run()
    assert "Somebody saved this student" in words(at)
    assert "Stored now, goals: theirs" in words(at).replace("**", "")
    assert get_shooter(store, key).goals == "theirs"
    assert field(at, "Goals").value == "mine"  # nothing typed is lost
    wanted = "Save mine instead" if mine else "Keep what is stored"
    next(b for b in at.button if b.label == wanted).click().run()
    assert not at.exception
    assert get_shooter(store, key).goals == ("mine" if mine else "theirs")
    assert field(at, "Goals").value == ("mine" if mine else "theirs")
    assert "Somebody saved" not in words(at)


@pytest.mark.parametrize("asked", ["²", "9" * 5000, "-1", "999"])
def test_an_address_that_names_no_student_shows_the_list(store, coach, asked):
    assert page(student=asked).title[0].value == "Roster"


def test_the_roster_as_a_file_tells_lengths_where_no_distance_is_known(store, coach):
    student(store, "Far", coach)
    student(store, "Lost", coach)
    keep_season(store, [20.0] * 5, shooter="Far")
    keep_season(store, [25.4] * 5, shooter="Lost", distance_m=None, shots=36)
    standings = roster_of(shots_of_store(store), ["Far", "Lost"])
    frame = roster_frame(standings, list_shooters(store), angle="mrad", length="in")
    far, lost = frame.to_dict("records")
    assert far["sigma_last_low_mrad"] < 20 / 18 < far["sigma_last_high_mrad"]
    assert np.isnan(far["sigma_last_in"])
    assert lost["sigma_last_low_in"] < 1 < lost["sigma_last_high_in"]
    assert np.isnan(lost["drift_right_mrad"])


def test_a_deleted_student_is_off_the_list(store, coach):
    key = student(store, "Ann", coach)
    student(store, "Eve", coach)
    delete_entry(store, "shooter", key)
    at = page(student=key)
    assert [b.label for b in at.button if b.key.startswith("student_")] == ["Eve"]


def test_no_text_of_a_user_becomes_markup(store, coach):
    key = student(store, HOSTILE, coach, goals=HOSTILE, notes=HOSTILE)
    keep_season(store, [20.0] * 4, shooter=HOSTILE, head=HOSTILE, rig=HOSTILE)
    for at in (page(), page(student=key)):
        texts = (*at.markdown, *at.caption, *at.title, *at.info)
        raw = " ".join([*(e.value for e in texts), *(b.label for b in at.button)])
        assert not re.search(r"(?<!\\)<img", raw)
        assert not re.search(r"(?<!\\)\*\*\[a\]\(b\)", raw)
        assert not re.search(r"(?<!\\)\$x\$", raw)
        assert HOSTILE not in " ".join(box.body for box in at.html)


def test_the_roster_as_a_file_says_what_the_screen_says(store, coach):
    student(store, "=Ann", coach, goals="=1+1")
    student(store, "New", coach)
    keep_season(store, np.geomspace(15, 45, 6), shooter="=Ann", shots=36)
    shooters = list_shooters(store)
    standings = roster_of(shots_of_store(store), ["=Ann", "New"])
    text = csv_bytes(roster_frame(standings, shooters)).decode("utf-8-sig")
    first, second = csv.DictReader(io.StringIO(text))
    assert (first["student"], first["goals"]) == ("'=Ann", "'=1+1")  # no spreadsheet's formula
    assert (first["word"], first["coach"], first["sessions"]) == ("wider", "Coach Ula", "6")
    assert float(first["sigma_ratio_low"]) < 3 < float(first["sigma_ratio_high"])
    sigma = [float(first[f"sigma_last{one}_MOA"]) for one in ("", "_low", "_high")]
    assert sigma[1] < 45 / 18000 / RAD_PER_MOA < sigma[2]
    assert max(len(first[name].lstrip("-")) for name in NUMBERS) <= 5  # no digits made up
    assert not any("mrad" in name or name == "unit" for name in first)
    assert (second["word"], second["sessions"], second["sigma_ratio"]) == (
        "too few arrows", "0", "",
    )  # fmt: skip
