"""The Group sheet as a page, driven without a browser."""

from dataclasses import replace
from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from groupscan.printouts import print_session
from groupscan.records.entries import Rig, ScanRecord, Session, Setup, Shooter, ShotRecord
from groupscan.records.photos import add_photo
from groupscan.records.preferences import Preferences, save_preferences
from groupscan.records.store import add_setup, save_rig, save_scan, save_session, save_shooter
from groupscan.sheets.catalogue import get_sheet
from tests.printed_pages import words_of
from tests.screens.screen_records import scan_record


def page():
    def script():
        from groupscan.screens import group_sheet

        group_sheet.draw()

    at = AppTest.from_function(script, default_timeout=60)
    at.run()
    assert not at.exception
    return at


def words(at):
    kinds = (at.markdown, at.info, at.caption, at.error)
    return " ".join(element.value for kind in kinds for element in kind)


@pytest.fixture
def session_id(store):
    return save_session(
        store,
        Session(held_on=date(2026, 5, 2), place="Alder [x](y)", rig="<img src=q>", distance_m=18.0),
    )


def end(store, session_id, *places, **fields):
    sha256 = add_photo(store, repr((places, fields)).encode(), name="e.jpg", size_px=(1000, 800))
    record = scan_record(*places, photo_sha256=sha256, session_id=session_id, **fields)
    return save_scan(store, record)


def test_an_empty_sheet_teaches(home):
    assert "No end is saved yet" in words(page())


def test_one_end_gives_its_group(store, session_id):
    end(store, session_id, (-5, -5), (-5, 5), (5, 5), (5, -5))
    said = words(page())
    assert "4 holes" in said
    assert "leave the sight alone" in said
    assert "Extreme spread | 14" in said  # the square's diagonal, 14.1 mm
    assert "no licence for a shot at game" in said


def test_ends_are_pooled_about_their_own_aims_and_can_be_read_alone(store, session_id):
    square = [(-5, -5), (-5, 5), (5, 5), (5, -5)]
    end(store, session_id, *square)
    end(store, session_id, *((x + 60, y) for x, y in square), aim_mm=(60.0, 0.0), aims_mm=())
    at = page()
    assert "8 holes" in words(at)
    assert "Extreme spread | 14" in words(at)
    ends = at.button_group[0]
    ends.set_value([ends.value[0]]).run()
    assert "4 holes" in words(at)


def test_the_main_rows_stand_first_and_the_rest_is_folded(store, session_id):
    square = [(-5, -5), (-5, 5), (5, 5), (5, -5)]
    end(store, session_id, *square)
    end(store, session_id, *((x + 1, y) for x, y in square))
    at = page()
    tables = [box.value for box in at.markdown if box.value.startswith("| ")]
    assert "| Extreme spread |" in tables[0]
    assert "Diagonal" not in tables[0]
    folded = {box.label: " ".join(m.value for m in box.markdown) for box in at.expander}
    more = folded["More numbers, and the shape"]
    for title in ("R95", "Diagonal", "Wander of the ends", "Spatial median", "Height over width"):
        assert f"| {title} |" in more
    assert "With and without the flyer" not in folded


def test_a_flyer_is_shown_with_and_without(store, session_id):
    places = [(4, 1), (-3, 5), (0, -6), (-5, -2), (6, -3), (2, 4), (-1, 1), (60, 20)]
    end(store, session_id, *places)
    at = page()
    assert "Shot 8 lies farther out" in words(at)
    box = next(box for box in at.expander if box.label == "With and without the flyer")
    assert "| all 8 | without 8 |" in box.markdown[0].value


def test_several_printed_aims_are_laid_over_one_another(store, session_id):
    aims = ((-50.0, 0.0), (50.0, 0.0))
    places = [(-51, 0), (-49, 0), (49, 0), (51, 0)]
    end(store, session_id, *places, aim_mm=aims[0], aims_mm=aims)
    said = words(page())
    assert "Extreme spread | 2" in said
    assert "laid over one another" not in said  # a ring face has one aim: these are the shooter's


def test_a_sheet_of_several_aims_lies_under_its_pooled_group(store, session_id):
    aims = get_sheet("four-aims-a4").aims_mm
    places = [(x + dx, y) for x, y in aims for dx in (-2, 2)]
    end(store, session_id, *places, sheet="four-aims-a4", aim_mm=aims[0], aims_mm=aims)
    at = page()
    assert "The sheet's aims are laid over one another" in words(at).replace(chr(92), "")
    assert not [switch for switch in at.toggle if switch.label == "Show the whole sheet"]


def test_removed_holes_do_not_count(store, session_id):
    record = scan_record((0, 0), (4, 0), (0, 4), (90, 90))
    out = replace(record.shots[3], removed=True)
    end(store, session_id, shots=(*record.shots[:3], out))
    assert "3 holes" in words(page())


def test_angles_need_a_distance(store):
    bare = save_session(store, Session(held_on=date(2026, 5, 2)))
    end(store, bare, (-5, -5), (-5, 5), (5, 5))
    at = page()
    assert at.button_group[0].options == ["mm", "inches"]


def test_no_text_of_a_user_becomes_markup(store, session_id):
    end(store, session_id, (-5, -5), (-5, 5), (5, 5))
    said = words(page())
    assert "[x](y)" not in said
    assert "<img" not in said


@pytest.mark.parametrize("asked", ["²", "9" * 5000, "-1", "999"])
def test_an_address_that_names_no_session_shows_the_latest(store, session_id, asked):
    def script():
        from groupscan.screens import group_sheet

        group_sheet.draw()

    end(store, session_id, (-5, -5), (-5, 5), (5, 5))
    at = AppTest.from_function(script, default_timeout=60)
    at.query_params["session"] = asked
    at.run()
    assert not at.exception
    assert "3 holes" in words(at)
    assert ("No shot of session 999 is in the records" in words(at)) == (asked == "999")
    at.query_params["session"] = str(session_id)
    assert "No shot of session" not in words(at.run())


def typed(store, session_id, *places, **fields):
    shots = [ShotRecord(number=i, x_mm=x, y_mm=y) for i, (x, y) in enumerate(places, 1)]
    return save_scan(store, ScanRecord(session_id=session_id, shots=tuple(shots), **fields))


def test_a_typed_end_has_its_group_and_no_photo_to_open(store, session_id):
    typed(store, session_id, (-5, -5), (-5, 5), (5, 5), (5, -5))
    at = page()
    assert "Extreme spread | 14" in words(at)
    assert any("typed in, without a photo" in box.body for box in at.html)
    assert not [button for button in at.button if button.key.startswith("open_")]


def test_typed_ends_are_pooled_with_photographed_ones(store, session_id):
    square = [(-5, -5), (-5, 5), (5, 5), (5, -5)]
    typed(store, session_id, *square, sheet="ring-40", aims_mm=((0.0, 0.0),))
    shown = end(store, session_id, *square)
    at = page()
    assert "8 holes" in words(at)
    assert at.button_group[0].options == ["End 1 (4, typed)", "End 2 (4)"]
    (button,) = [button for button in at.button if button.key.startswith("open_")]
    assert (button.key, button.label) == (f"open_{shown}", "End 2")
    assert at.toggle[0].label == "Show the whole sheet"  # theirs is one sheet and one aim


def test_marked_flyers_count_and_are_told(store, session_id):
    record = scan_record((0, 0), (4, 0), (0, 4))
    marked = replace(record.shots[2], flyer=True, flyer_why="let go early")
    end(store, session_id, shots=(*record.shots[:2], marked))
    said = words(page())
    assert "3 holes" in said
    assert "1 hole is marked as a flyer and counts like the others" in said


def test_marked_flyers_are_shown_with_and_without_and_can_be_left_out(store, session_id):
    record = scan_record((-5, -5), (-5, 5), (5, 5), (5, -5), (40, 0))
    marked = replace(record.shots[4], flyer=True, flyer_why="let go <b>early</b>")
    end(store, session_id, shots=(*record.shots[:4], marked))
    at = page()
    box = next(box for box in at.expander if box.label == "With and without the marked flyers")
    assert "| all 5 | without, 4 |" in box.markdown[0].value
    assert "Extreme spread | 14" not in words(at)
    next(t for t in at.toggle if t.label == "Leave out the marked flyers").set_value(True).run()
    said = words(at)
    assert "Extreme spread | 14" in said
    assert "1 hole is marked as a flyer and left out" in said
    assert "<b>" not in said


def test_a_group_of_marked_flyers_alone_is_still_a_group(store, session_id):
    record = scan_record((0, 0), (4, 0))
    flyers = tuple(replace(shot, flyer=True) for shot in record.shots)
    end(store, session_id, shots=flyers)
    assert "2 holes are marked as flyers and count like the others" in words(page())


def test_ends_apart_are_each_a_group_at_one_scale(store, session_id):
    square = [(-5, -5), (-5, 5), (5, 5), (5, -5)]
    end(store, session_id, *square)
    end(store, session_id, *((2 * x + 30, 2 * y) for x, y in square))
    at = page()
    choice = next(group for group in at.button_group if group.label == "Several ends")
    choice.set_value("apart").run()
    assert not at.exception
    (table,) = (box.value for box in at.markdown if "End 1" in box.value and "|" in box.value)
    first, second = (line.split(" | ") for line in table.splitlines()[2:4])
    assert first[3].startswith("14")  # the squares' diagonals
    assert second[3].startswith("28")


def test_the_sight_move_is_said_in_clicks_once_they_are_known(store, session_id):
    """40 mm at 18 m are 80 clicks of half a millimetre each."""
    end(store, session_id, (38, 1), (42, -3), (40, 2), (40, 0))
    at = page()
    assert "Bring the impact 40.0 mm left" in words(at).replace(chr(92), "")
    click = next(field for field in at.text_input if field.label == "One click")
    click.set_value("a bit").run()
    assert "is no click" in words(at)
    next(f for f in at.text_input if f.label == "One click").set_value("0.5 mm at 18 m").run()
    assert "80 clicks left" in words(at)
    assert "80 clicks left" in words(page())  # remembered over visits


def test_the_click_of_a_sight_is_that_of_the_rig_and_not_of_its_name(store):
    """Two shooters may call their rigs the same; what was kept by the name alone still counts."""
    keys = {}
    for day, name in enumerate(("Ann", "Bo"), 1):
        owner = save_shooter(store, Shooter(name=name))
        save_rig(store, Rig(name="Wren", shooter_id=owner))
        about = Session(held_on=date(2026, 5, day), shooter=name, rig="Wren", distance_m=18.0)
        keys[name] = save_session(store, about)
        end(store, keys[name], (38, day), (42, -3), (40, 2), (40, 0))
    save_preferences(store, Preferences(remembered={"sight_clicks": {"Wren": "1 mm at 18 m"}}))
    assert "40 clicks left" in words(page())
    at = page()  # the newest first: Bo's
    field = next(field for field in at.text_input if field.label == "One click")
    field.set_value("0.5 mm at 18 m").run()
    assert "80 clicks left" in words(at)
    at.selectbox[0].select(keys["Ann"]).run()
    assert not at.exception
    assert "40 clicks left" in words(at)
    assert "80 clicks left" in words_of(print_session(store, keys["Bo"]))
    assert "40 clicks left" in words_of(print_session(store, keys["Ann"]))


def test_a_pin_is_moved_by_the_sight_radius_of_the_setup(store):
    rig = save_rig(store, Rig(name="Heron"))
    setup = Setup(rig_id=rig, since=date(2026, 5, 1), sight_radius_mm=900.0)
    add_setup(store, setup)
    mine = save_session(store, Session(held_on=date(2026, 5, 2), rig="Heron", distance_m=18.0))
    end(store, mine, (38, 1), (42, -3), (40, 2), (40, 0))
    assert "Move the sight pin 2.0" in words(page()).replace(chr(92), "")  # 40 x 900 / 18000


def test_a_group_about_its_aim_moves_no_sight(store, session_id):
    end(store, session_id, (-5, -5), (-5, 5), (5, 5), (5, -5))
    at = page()
    assert "Bring the impact" not in words(at)
    assert not [field for field in at.text_input if field.label == "One click"]


def test_a_long_table_is_cut_short_on_a_phone_after_the_rows_that_decide(
    store, session_id, monkeypatch
):
    end(store, session_id, (-5, -5), (-5, 5), (5, 5), (5, -5))
    monkeypatch.setattr("groupscan.screens.numbers.on_phone", lambda: True)
    at = page()
    first = next(box.value for box in at.markdown if box.value.startswith("| 4 holes"))
    rows = [line.split(" | ")[0].strip("| ") for line in first.splitlines()[2:]]
    assert rows[:2] == ["Offset", "Offset, sideways"]
    assert rows[-2:] == ["R50", "R90"]
    assert len(rows) == 7
    more = next(box for box in at.expander if box.label == "3 more rows")
    assert "Mean radius" in more.markdown[0].value


def test_a_pin_is_moved_in_inches_for_who_reads_inches(store):
    rig = save_rig(store, Rig(name="Heron"))
    setup = Setup(rig_id=rig, since=date(2026, 5, 1), sight_radius_mm=900.0)
    add_setup(store, setup)
    mine = save_session(store, Session(held_on=date(2026, 5, 2), rig="Heron", distance_m=18.0))
    end(store, mine, (38, 1), (42, -3), (40, 2), (40, 0))
    save_preferences(store, Preferences(length="in"))
    # 40 mm x 900 / 18000 are 2 mm, which are 0.079 in.
    assert "Move the sight pin 0.079 in" in words(page()).replace(chr(92), "")
    assert "Move the sight pin 0.079 in" in words_of(print_session(store, mine))


def test_one_hole_shows_only_what_one_hole_can_tell(store, session_id):
    end(store, session_id, (12, -7))
    at = page()
    (table,) = (box.value for box in at.markdown if box.value.startswith("| 1 hole "))
    assert "–" not in table
    assert "Offset, sideways" in table
    assert "Sigma" not in table
    assert not [box for box in at.expander if box.label.startswith("More numbers")]
