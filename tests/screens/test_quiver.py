"""The Quiver as a page, driven without a browser."""

import re
from dataclasses import replace
from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from groupscan.records.entries import Arrow, Build
from groupscan.records.preferences import Preferences, save_preferences
from groupscan.records.store import (
    get_arrow,
    list_arrows,
    rebuild_arrow,
    save_arrow,
    save_build,
)
from tests.screens.arrow_records import SIX, shoot


def page(**state):
    def script():
        from groupscan.screens import quiver

        quiver.draw()

    at = AppTest.from_function(script, default_timeout=60)
    for name, value in state.items():
        at.session_state[name] = value
    at.run()
    assert not at.exception
    return at


def words(at):
    kinds = (at.markdown, at.info, at.caption, at.error, at.success, at.warning)
    return " ".join(element.value for kind in kinds for element in kind)


def pick(at, label):
    return next(box for box in at.selectbox if box.label == label)


def button(at, label):
    return next(one for one in at.button if one.label == label)


def state_of(store, number):
    rows = list_arrows(store)
    return get_arrow(store, int(rows.loc[rows["number"] == number, "id"].iloc[-1]))


def test_an_empty_quiver_teaches(home):
    assert "No arrow has a number yet" in words(page())


def test_shots_without_arrow_numbers_teach_as_well(store):
    shoot(store, {"": (0, 0)})
    said = words(page())
    assert "No arrow has a number yet" in said
    assert "The records hold 8 shots" in said


def test_the_odd_arrow_is_named_first_with_what_to_do(store):
    shoot(store, SIX)
    at = page()
    said = words(at)
    assert "Turn the nock of arrow 4 to the next vane and shoot again" in said
    (table,) = [box.value for box in at.markdown if box.value.startswith("| Arrow |")]
    first, *others = table.splitlines()[2:]
    assert first.startswith("| 4 |")
    assert "flies apart; 8 shots" in first
    assert len(others) == 5
    assert not any("flies apart" in line for line in others)
    assert "never shoot a cracked one" in said
    assert pick(at, "Arrow").value == "4"


def test_the_offset_that_matters_decides_what_is_together(store):
    shoot(store, SIX)
    at = page()
    box = next(one for one in at.text_input if one.label == "Offset that matters to you")
    box.set_value("4 m").run()
    assert "Keep them all" in words(at)
    box.set_value("four").run()
    assert not at.exception
    assert at.warning


def test_a_bare_number_keeps_the_unit_that_it_was_typed_in(store):
    shoot(store, SIX)
    save_preferences(store, Preferences(length="in"))
    at = page()
    next(one for one in at.text_input if one.label.startswith("Offset")).set_value("4").run()
    assert "Keep them all" in words(at)
    next(one for one in at.button_group if one.label == "Read in").set_value("mm").run()
    for again in (at, page()):
        assert "Keep them all" in words(again)  # 4 mm would part arrow 4 from them
        box = next(one for one in again.text_input if one.label.startswith("Offset"))
        assert box.value == "4 in"


def test_a_pulled_arrow_is_saved_and_taken_back(store):
    shoot(store, SIX)
    at = page()
    control = next(one for one in at.button_group if one.label == "State")
    control.set_value("pulled")
    next(one for one in at.text_input if one.label == "Why").set_value("lands right")
    next(one for one in at.date_input if one.label == "Since").set_value(date(2026, 5, 3))
    button(at, "Save the state").click().run()
    assert not at.exception
    kept = state_of(store, "4")
    assert (kept.state, kept.state_since, kept.state_why) == (
        "pulled", date(2026, 5, 3), "lands right",
    )  # fmt: skip
    assert "is out of use" in words(at)
    button(at, "Undo").click().run()
    kept = state_of(store, "4")
    assert (kept.state, kept.state_since, kept.state_why) == ("in use", None, "")
    assert not [one for one in at.button if one.label == "Undo"]


def test_what_somebody_else_changed_is_not_overwritten_by_undo(store):
    shoot(store, SIX)
    at = page()
    next(one for one in at.button_group if one.label == "State").set_value("broken")
    button(at, "Save the state").click().run()
    assert "Never shoot a cracked shaft" in words(at)
    kept = state_of(store, "4")
    save_arrow(store, replace(kept, notes="checked by Tom"))
    button(at, "Undo").click().run()
    assert not at.exception
    assert at.error
    assert state_of(store, "4").notes == "checked by Tom"
    assert state_of(store, "4").state == "broken"


def build(store, name, numbers):
    key = save_build(store, Build(name=name))
    return key, {
        number: save_arrow(store, Arrow(number=number, build_id=key)) for number in numbers
    }


def test_the_history_of_a_rebuilt_arrow_goes_over_both_builds(store):
    old, arrows = build(store, "old", SIX)
    new, _ = build(store, "new", ["7", "8"])
    shoot(store, SIX, build_id=old)
    rebuild_arrow(store, arrows["4"], new, on=date(2026, 6, 1), why="brass insert")
    shoot(
        store, {"4": (0, 0), "7": (0, 0), "8": (1, 1)}, build_id=new, start=date(2026, 6, 2), seed=2
    )
    at = page()
    pills = next(one for one in at.button_group if one.label == "Arrow builds")
    assert pills.options == ["old", "new"]
    assert pills.value == ["old"]  # the one shot most
    at.toggle(key="quiver_history").set_value(True).run()
    assert not at.exception
    (table,) = [box.value for box in at.markdown if box.value.startswith("| No. | Shot as")]
    lines = table.splitlines()[2:]
    assert [line.split("|")[2].split(",")[0].strip() for line in lines] == ["old", "new"]
    assert "flies apart" in lines[0]
    assert "flies apart" not in lines[1]
    assert "**old**: rebuilt since 2026" in words(at).replace("\\", "")
    # Chosen together, arrows of both builds are held against one another.
    pills.set_value(["old", "new"]).run()
    assert not at.exception
    assert any("4 \\(old/new\\)" in box.value or "| 7 |" in box.value for box in at.markdown)


def test_arrows_of_different_distances_are_asked_for_apart(store):
    shoot(store, SIX)
    shoot(store, SIX, distance_m=27.432, seed=3)
    at = page()
    assert pick(at, "Shot from").options == ["18.3 m (20 yd)", "27.4 m (30 yd)"]
    assert "48 shots in 8 ends" in words(at)


def test_too_few_arrows_are_said_to_be_too_few(store):
    shoot(store, {"1": (0, 0), "2": (1, 1)}, sessions=1, ends=1)
    at = page()
    assert "too little is known yet" in words(at)
    assert "Shoot two ends or more" in words(at)


def test_a_lone_arrow_is_told_so(store):
    shoot(store, {"1": (0, 0)}, sessions=1, ends=2)
    assert "Only arrow 1 has shots here" in words(page())


@pytest.mark.parametrize("name", ["<img src=q onerror=alert(1)>", "[x](http://y) **b** $a$ | c"])
def test_no_name_becomes_markup(store, name):
    shoot(store, {**SIX, name: (0, 1)}, rig=name)
    at = page()
    at.toggle(key="quiver_history").set_value(True).run()
    pick(at, "Arrow").set_value(name).run()
    assert not at.exception
    for element in (*at.markdown, *at.caption, *at.success):
        assert not re.search(r"(?<!\\)<img|(?<!\\)\[x\]", element.value)
    assert all("onerror" not in box.body for box in at.html)


def test_arrows_of_one_number_keep_their_states_under_another_style_of_dates(store):
    key, arrows = build(store, "old", ["1", "2", "3"])
    three = {"1": (0, 0), "2": (60, 25), "3": (1, 1)}
    shoot(store, three, build_id=key)
    broken = get_arrow(store, arrows["2"])
    save_arrow(store, replace(broken, state="broken", state_since=date(2026, 4, 20)))
    save_arrow(store, Arrow(number="2", build_id=key))
    shoot(store, {**three, "2": (0, 0)}, build_id=key, start=date(2026, 5, 2), seed=2)
    for style, day in (("2026-05-03", "2026-04-04"), ("3 May 2026", "4 Apr 2026")):
        save_preferences(store, Preferences(date_style=style))
        at = page()
        said = words(at).replace("\\", "")
        assert f"2 (old, from {day}) did not fly with the others and is out of use" in said
        assert f"2 (old, from {day})" in pick(at, "Arrow").options
        at.toggle(key="quiver_history").set_value(True).run()
        assert not at.exception
