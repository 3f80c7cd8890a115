"""Point match as a page, driven without a browser."""

import re
from dataclasses import replace
from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from groupscan.decisions.planning import kept_plan, order_of
from groupscan.records.entries import Rig, Shooter
from groupscan.records.preferences import Preferences, save_preferences
from groupscan.records.store import (
    get_session,
    list_sessions,
    save_rig,
    save_session,
    save_shooter,
)
from groupscan.stats.plan import rotate_heads
from tests.screens.match_records import FIELD, keep_match

HOSTILE = "<img src=q onerror=alert(1)> **b** [x](y)"


def page(show="result", **kept):
    def script():
        from groupscan.screens import point_match

        point_match.draw()

    at = AppTest.from_function(script, default_timeout=60)
    at.query_params["show"] = show
    for key, value in kept.items():
        at.session_state[key] = value
    at.run()
    assert not at.exception
    return at


def press(at, label):
    (button,) = [button for button in at.button if button.label == label]
    button.click().run()
    assert not at.exception


def choose(at, title, option):
    (choice,) = [choice for choice in at.button_group if choice.label == title]
    choice.set_value(option).run()
    assert not at.exception


def raw(at):
    """What Markdown would read as markup: user text must not be in it."""
    shown = " ".join(element.value for kind in (at.markdown, at.caption) for element in kind)
    return re.sub(r"\\.", "", shown)


def words(at):
    kinds = (at.markdown, at.info, at.caption, at.error, at.warning, at.success)
    return " ".join(element.value for kind in kinds for element in kind).replace("\\", "")


def test_an_empty_screen_teaches(home):
    said = words(page())
    assert "nothing to compare yet" in said
    assert "shooting plan" in said


def test_one_head_alone_teaches_too(store):
    keep_match(store, others={})
    assert "nothing to compare yet" in words(page())


def test_heads_apart_are_told_with_what_to_move_and_the_cautions(store):
    keep_match(store, others={"fixed-blade": (40, -25), "expandable": (1, 1)})
    said = words(page())
    assert "fixed-blade hits low right of field point: apart." in said
    assert "expandable hits together with field point, within 30 mm." in said
    assert "Move first: the rest up, 0.5 to 1 mm" in said
    assert "For a right-handed compound bow; common practice" in said
    assert "Never shoot a cracked shaft" in said
    assert "Of 100 verdicts of apart at most 5 are wrong" in said


def test_a_left_handed_recurve_is_told_by_its_own_rules(store):
    keep_match(store, others={"fixed-blade": (40, 0)}, bow="recurve", hand="left")
    said = words(page())
    # Right of the field points: weak for a right-handed bow, stiff for a left-handed one.
    assert "plunger to a softer spring" in said


def test_where_the_record_does_not_say_the_bow_it_is_asked_for(store):
    keep_match(store, others={"fixed-blade": (40, -25)}, bow="", hand="")
    at = page()
    assert "do not say the bow and hand" in words(at)
    assert "Move first" not in words(at)
    assert "Choose the bow and hand below" in words(at)
    choose(at, "Bow", "compound")
    assert "Move first" not in words(at)
    choose(at, "Drawing hand", "right")
    assert "Move first: the rest up" in words(at)


SHOOTER = "Ola <b>"  # of `keep_match`


def test_the_hand_is_the_shooters_where_the_rig_does_not_say_it(store):
    save_shooter(store, Shooter(name=SHOOTER, hand="left"))
    keep_match(store, others={"fixed-blade": (40, 0)}, bow="recurve", hand="")
    at = page()
    assert "plunger to a softer spring" in words(at)
    assert "For a left-handed recurve bow" in words(at)
    assert not [choice for choice in at.button_group if choice.label == "Drawing hand"]


def test_a_hand_that_nobody_said_is_asked_for_and_never_taken_for_right(store):
    keep_match(store, others={"fixed-blade": (40, 0)}, bow="recurve", hand="")
    at = page()
    assert "do not say the hand" in words(at)
    assert "Move first" not in words(at)
    assert not [choice for choice in at.button_group if choice.label == "Bow"]
    choose(at, "Drawing hand", "left")
    assert "plunger to a softer spring" in words(at)


def test_what_was_answered_of_one_rig_is_not_taken_for_another(store):
    keep_match(store, others={"fixed-blade": (40, 0)}, bow="recurve", hand="")
    keep_match(store, others={"fixed-blade": (40, 0)}, bow="recurve", hand="", rig="Tern")
    at = page(chosen_rig="Kite")
    choose(at, "Drawing hand", "left")
    assert "For a left-handed recurve bow" in words(at)
    next(box for box in at.selectbox if box.label == "Rig").select("Tern").run()
    assert not at.exception
    assert "do not say the hand" in words(at)
    assert "Move first" not in words(at)


def test_a_rig_of_the_same_name_of_somebody_else_says_nothing(store):
    ann = save_shooter(store, Shooter(name="Ann"))
    ola = save_shooter(store, Shooter(name=SHOOTER))
    save_rig(store, Rig(name="Wren", shooter_id=ann, bow="compound", hand="right"))
    keep_match(
        store, others={"fixed-blade": (40, 0)}, rig="Wren", bow="recurve", hand="left",
        owner=ola,
    )  # fmt: skip
    said = words(page())
    assert "For a left-handed recurve bow" in said
    assert "plunger to a softer spring" in said


def test_too_few_arrows_move_nothing(store):
    keep_match(store, others={"fixed-blade": (10, 0)}, ends=2, each=2)
    said = words(page())
    assert "Not enough arrows" in said
    assert "Nothing yet: shoot more arrows first." in said


def test_the_tolerance_is_the_readers_and_is_kept(store):
    keep_match(store, others={"expandable": (12, 0)}, ends=20)
    at = page()
    assert "together with field point, within 30 mm" in words(at)
    (tolerance,) = [box for box in at.text_input if box.label == "Tolerance"]
    tolerance.set_value("5 mm").run()
    assert "expandable hits right of field point: apart" in words(at)
    assert "apart" in words(page())  # another visit
    tolerance.set_value("a lot").run()
    assert not at.exception
    assert at.error


def test_what_a_field_begins_with_is_round_in_inches_too(store):
    keep_match(store, others={"expandable": (12, 0)})
    save_preferences(store, Preferences(length="in"))
    asked = {box.label: box.value for box in page("plan").text_input}
    assert asked["Tolerance"] == "1.25 in"
    assert asked["Offset worth seeing"] == "1.25 in"


def test_looking_after_every_end_shows_when_it_was_settled(store):
    keep_match(store, others={"fixed-blade": (60, 0)}, ends=9)
    at = page()
    assert "After each end" not in words(at)
    at.toggle(key="ask_match_looks").set_value(True).run()
    assert not at.exception
    assert "fixed-blade against field point was settled after end" in words(at)


def test_names_from_users_are_shown_as_text(store):
    keep_match(store, others={HOSTILE: (40, -25)}, rig=HOSTILE)
    at = page()
    assert HOSTILE in words(at)
    assert "<" not in raw(at)
    assert "**b**" not in raw(at)
    assert "](" not in raw(at)


def test_ends_of_one_head_are_left_out_and_that_is_said(store):
    keep_match(store, others={"fixed-blade": (40, -25)}, alone=2)
    at = page()
    assert "12 shots are not drawn: their ends hold one kind only" in words(at)
    folded = {box.label: " ".join(m.value for m in box.markdown) for box in at.expander}
    assert "12 shots are left out" in folded["What was pooled, and what these arrows cannot say"]


def test_rigs_that_share_no_end_are_compared_with_a_warning(store):
    keep_match(store, others={})
    keep_match(store, others={}, rig="Wren", seed=3, held_on=date(2026, 5, 9))
    said = words(page(chosen_match_by="rig"))
    assert "Wren" in said
    assert "No end holds both" in said


def planned(store, **more):
    order = rotate_heads([FIELD, "fixed-blade"], 6, 6)
    return keep_match(
        store, others={"fixed-blade": (40, -25)}, plan=kept_plan(order, tolerance_mm=30.0), **more
    )


def test_a_session_with_a_plan_is_read_by_its_own_fit(store):
    planned(store)
    at = page()
    (toggle,) = [box for box in at.toggle if "fit of the shooting plan" in box.label]
    assert toggle.value is True
    said = words(at)
    assert "fixed-blade hits low right of field point: apart" in said
    assert "Head, end and arrow fitted together" in said
    assert "The tolerance that its plan set beforehand: 30 mm" in said
    toggle.set_value(False).run()
    assert "Head, end and arrow fitted together" not in words(at)


def test_a_plan_says_how_many_and_in_which_order(store):
    keep_match(store, others={"fixed-blade": (40, -25)})
    at = page("plan")
    said = words(at)
    assert "Spread of one shot, from Ola <b>" in said
    assert "6 arrows in" in said
    assert "The chance is" in said
    assert "End 1:" in said
    assert "Broadheads cut" in said


def test_the_plan_begins_with_what_is_apart_the_most(store):
    """Not with the first of the alphabet, which here is the one that is settled."""
    keep_match(store, others={"fixed-blade": (40, -25), "expandable": (1, 1)})
    at = page()
    press(at, "Plan the next shoot of fixed\\-blade")  # a label is read as Markdown
    assert at.query_params["show"] == "plan"
    (names,) = [box for box in at.multiselect if box.label.startswith("Which")]
    assert names.value == [FIELD, "fixed-blade"]
    assert "End 1:" in words(at)


def test_the_plan_begins_so_whichever_way_it_is_opened_and_keeps_what_was_chosen(store):
    keep_match(store, others={"fixed-blade": (40, -25), "expandable": (1, 1)})
    at = page()
    choose(at, "Show", "plan")
    (names,) = [box for box in at.multiselect if box.label.startswith("Which")]
    assert names.value == [FIELD, "fixed-blade"]
    names.set_value([FIELD, "expandable"]).run()
    choose(at, "Show", "result")
    choose(at, "Show", "plan")
    (names,) = [box for box in at.multiselect if box.label.startswith("Which")]
    assert names.value == [FIELD, "expandable"]


def test_nothing_is_to_be_shot_again_where_all_is_settled(store):
    keep_match(store, others={"expandable": (1, 1)}, ends=20)
    assert not [button for button in page().button if button.label.startswith("Plan the next")]


def test_a_plan_says_which_shots_its_spread_is_of(store):
    keep_match(store, others={"fixed-blade": (40, -25)})
    said = words(page("plan"))
    assert "20 yd), 2026-05-02: " in said
    assert "36 shots, within ends, each head by itself" in said


def test_without_records_a_plan_can_be_made_too(home):
    at = page("plan", plan_heads=["field point", HOSTILE])
    said = words(at)
    assert "End 1:" in said
    assert HOSTILE in said
    assert "<" not in raw(at)


def test_a_plan_is_kept_with_a_new_session_and_taken_back(store):
    keep_match(store, others={"fixed-blade": (40, -25)})
    at = page("plan")
    before = len(list_sessions(store))
    press(at, "Keep the plan")
    sessions = list_sessions(store)
    assert len(sessions) == before + 1
    kept = get_session(store, int(sessions["id"].iloc[0]))
    order = order_of(kept.plan)
    assert order is not None
    assert order.builds[0] == FIELD
    assert kept.rig == "Kite"
    press(at, "Undo")
    assert len(list_sessions(store)) == before


def test_a_plan_is_kept_with_a_session_that_is_there_and_its_old_one_comes_back(store):
    session_id = planned(store)
    was = get_session(store, session_id).plan
    at = page("plan")
    at.selectbox(key="ask_plan_session").set_value(session_id).run()
    press(at, "Keep the plan")
    assert get_session(store, session_id).plan != was
    press(at, "Undo")
    assert get_session(store, session_id).plan == was


def test_a_session_changed_meanwhile_refuses_the_plan_in_words(store, monkeypatch):
    session_id = planned(store)
    at = page("plan")
    at.selectbox(key="ask_plan_session").set_value(session_id).run()
    from groupscan.screens import match_plan

    real = match_plan.get_session

    def late(opened, key):
        session = real(opened, key)
        save_session(opened, replace(session, notes="changed elsewhere"))
        return session

    monkeypatch.setattr(match_plan, "get_session", late)
    press(at, "Keep the plan")
    assert not at.exception
    assert at.error


@pytest.mark.parametrize("text", ["0", "", "1 1 2", "x" * 300])
def test_arrows_that_cannot_be_are_refused_in_words(store, text):
    keep_match(store, others={"fixed-blade": (40, -25)})
    at = page("plan")
    (arrows,) = [box for box in at.text_input if box.label.startswith("Arrows")]
    arrows.set_value(text).run()
    assert not at.exception
