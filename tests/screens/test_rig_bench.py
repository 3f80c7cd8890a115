"""The rig bench through Streamlit's own test runner: each section, its forms and its refusals."""

import re
from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from groupscan.records.preferences import Preferences, read_preferences, save_preferences
from groupscan.records.store import (
    Rig,
    Setup,
    add_setup,
    get_arrow,
    get_build,
    list_arrows,
    list_builds,
    list_heads,
    list_pins,
    list_rigs,
    list_setups,
    list_speeds,
    save_rig,
)
from groupscan.screens.bench.asking import distances
from groupscan.screens.bench.fields import in_words
from tests.screens.bench_records import (
    HOSTILE,
    SPEED_MPS,
    keep_gear,
    keep_groups,
    keep_readings,
)


def bench(section):
    def page():
        from groupscan.screens import rig_bench

        rig_bench.draw()

    run = AppTest.from_function(page, default_timeout=60)
    run.query_params["section"] = section
    return run


def ran(run):
    run.run()
    assert not run.exception, run.exception[0]
    return run


def remember(store, rig_id=1, **answers):
    save_preferences(
        store,
        Preferences(mass="g", speed="m/s", remembered={f"bench_{rig_id}": answers}),
    )


def said(run):
    everything = (run.markdown, run.info, run.warning, run.error, run.caption)
    return "\n".join(part.value.replace("\\", "") for parts in everything for part in parts)


def button(run, label):
    return next(one for one in run.button if one.label == label)


def test_an_empty_bench_asks_for_the_first_rig(store):
    run = ran(bench("gear"))
    assert "No rig is kept yet" in said(run)
    next(one for one in run.text_input if one.label == "Name of the rig").input("Wren")
    button(run, "Keep this rig").click()
    ran(run)
    assert list_rigs(store)["name"].tolist() == ["Wren"]
    assert "Wren has no setup yet" in said(run)


def test_a_setup_is_kept_in_the_units_typed_and_begins_as_the_one_before(store):
    rig = keep_gear(store)
    run = ran(bench("gear"))
    assert "Wren today: at 60.7 lb of draw weight" in said(run)
    by_label = {one.label: one for one in run.text_input}
    assert by_label["Sight radius (mm)"].value == "860 mm"
    by_label["Peak draw weight (lb)"].input("65")
    by_label["Peep height (mm)"].input("4.5 in")
    by_label["What changed"].input("more weight")
    button(run, "Keep this setup").click()
    ran(run)
    last = list_setups(store, rig).iloc[-1]
    assert last["draw_weight_n"] == pytest.approx(65 * 4.4482216)
    assert last["peep_height_mm"] == pytest.approx(114.3)
    assert last["sight_radius_mm"] == 860.0  # to the last digit, where it was left alone
    assert last["changed"] == "more weight"


def test_what_is_no_amount_is_refused_by_name_and_nothing_is_kept(store):
    rig = keep_gear(store)
    run = ran(bench("gear"))
    by_label = {one.label: one for one in run.text_input}
    by_label["Peak draw weight (lb)"].input("heavy")
    by_label["Draw length (mm)"].input("720 long")
    by_label["Peep height (mm)"].input("11,5 cm")  # as plain as 11.5
    button(run, "Keep this setup").click()
    ran(run)
    [error] = run.error
    told = error.value.replace("\\", "")
    assert "Peak draw weight: force 'heavy' is not a number" in told
    assert "write it like '60 lb'" in told
    assert "Draw length: " in told
    assert "Peep height" not in told
    assert len(list_setups(store, rig)) == 2


def test_a_build_is_changed_and_its_arrows_are_added_and_built_anew(store):
    keep_gear(store)
    run = ran(bench("gear"))
    next(one for one in run.text_input if one.label == "Point or head (gr)").input("125")
    button(run, "Save this build").click()
    ran(run)
    reed = int(list_builds(store).set_index("name").loc["Reed", "id"])
    assert get_build(store, reed).point_g == pytest.approx(125 * 0.06479891)
    next(one for one in run.text_input if one.label == "Numbers of the arrows").input("3-5, A")
    button(run, "Add these arrows").click()
    ran(run)
    assert list_arrows(store, reed)["number"].tolist() == ["1", "2", "3", "4", "5", "A"]
    button(run, "It was built anew").click()
    ran(run)
    first = list_arrows(store).set_index("number")
    assert sorted(first.loc["1", "state"]) == ["in use", "rebuilt"]
    oak = list_builds(store).set_index("name").loc["Oak", "id"]
    assert get_arrow(store, int(list_arrows(store)["id"].max())).build_id == oak


def test_what_is_deleted_can_be_taken_back(store):
    keep_gear(store)
    run = ran(bench("gear"))
    run.button(key="delete_build_1").click()
    ran(run)
    assert list_builds(store)["name"].tolist() == ["Oak"]
    button(run, "Undo").click()
    ran(run)
    assert sorted(list_builds(store)["name"]) == ["Oak", "Reed"]


def test_a_deletion_is_asked_for_twice(store):
    keep_gear(store)
    run = ran(bench("gear"))
    labels = [one.label for one in run.button if (one.key or "").startswith("delete_")]
    assert set(labels) == {"Delete it"}  # the first tap opens what says so


def test_a_notice_goes_with_its_section_and_with_what_it_says(store):
    keep_gear(store)
    run = ran(bench("launch"))
    fill(run, Speeds="288, 289 ft/s")
    button(run, "Keep these readings").click()
    ran(run)
    assert "2 readings are kept." in said(run)
    run.segmented_control(key="bench_section").set_value("Pins")
    ran(run)
    run.segmented_control(key="bench_section").set_value("Launch")
    assert "2 readings are kept." not in said(ran(run))


def test_a_head_is_kept(store):
    keep_gear(store)
    run = ran(bench("gear"))
    next(one for one in run.text_input if one.label == "Name of the head").input("broad")
    next(one for one in run.text_input if one.label == "Mass of the head").input("100 gr")
    button(run, "Keep this head").click()
    ran(run)
    assert list_heads(store).set_index("name").loc["broad", "mass_g"] == pytest.approx(6.479891)


def test_a_rig_without_a_setup_begins_with_the_newest_build_of_its_owner(store):
    keep_gear(store)
    [owner] = list_rigs(store)["shooter_id"]
    rig = save_rig(store, Rig(name="Elk bow", shooter_id=int(owner)))
    run = ran(bench("build"))
    run.selectbox(key=next(one.key for one in run.selectbox if one.label == "Rig")).set_value(rig)
    ran(run)
    assert chosen_build(run) == "Oak"
    next(one for one in run.text_input if one.label == "Name of the build").input("Elk 300")
    button(run, "Keep this build").click()
    ran(run)
    assert "Elk 300" in set(list_builds(store)["name"])
    assert chosen_build(run) == "Elk 300"


def chosen_build(run):
    one = next(one for one in run.selectbox if one.label == "Arrow build")
    return one.options[one.index]


def test_build_says_mass_balance_and_warns_of_a_light_arrow(store):
    keep_gear(store)
    run = ran(bench("build"))
    text = said(run)
    assert re.search(r"Reed weighs 401 gr on the scale \([\d.]+ gr more than the sum", text)
    assert "front of centre" in text
    assert "makers" in text
    assert "Very light" not in text
    heat = next(one.proto.body for one in run.get("html") if "<table" in one.proto.body)
    assert heat.count("<td") == 16  # three of each typed, and the build's own
    assert heat.count("outline:") == 1


def test_launch_tells_the_speed_of_another_arrow(store):
    keep_gear(store)
    keep_readings(store)
    remember(store, other_mass="27.5 g")
    text = said(ran(bench("launch")))
    assert "26 g leaves at 88.00 m/s (87.75 to 88.25)" in text
    assert re.search(r"27\.5 g would leave at 86\.\d", text)
    assert "mass of the moving parts" in text


def fill(run, **texts):
    by_label = {one.label: one for one in run.text_input}
    for label, text in texts.items():
        by_label[label.replace("_", " ")].input(text)


def test_readings_are_kept_with_day_arrow_and_place_and_taken_back(store):
    rig = keep_gear(store)
    save_preferences(store, Preferences(mass="g", speed="m/s"))
    run = ran(bench("launch"))
    assert "No chronograph reading is kept" in said(run)
    fill(run, Speeds="288, 289 ft/s", Chronograph_stands_at="2 m", Where_from="=club's")
    button(run, "Keep these readings").click()
    ran(run)
    rows = list_speeds(store, rig)
    assert rows["speed_mps"].round(3).tolist() == [87.782, 88.087]
    assert rows["mass_g"].tolist() == [26.0, 26.0]  # as the build that was shot weighs
    assert rows["build"].tolist() == ["Reed", "Reed"]
    assert rows["distance_m"].tolist() == [2.0, 2.0]
    assert rows["setup_id"].tolist() == 2 * [list_setups(store, rig)["id"].iloc[-1]]
    assert "2 readings are kept." in said(run)
    # At the bow: two metres of this shaft's drag are put back.
    assert "26 g leaves at 88.2" in said(run)
    button(run, "Undo").click()
    ran(run)
    assert list_speeds(store, rig).empty
    assert "No chronograph reading is kept" in said(run)


def test_readings_typed_outlast_a_look_at_another_section(store):
    keep_gear(store)
    run = ran(bench("launch"))
    fill(run, Speeds="268 270 267 269 fps", Where_from="the club")
    run.segmented_control(key="bench_section").set_value("Pins")  # at once
    ran(run)
    run.segmented_control(key="bench_section").set_value("Launch")
    ran(run)
    button(run, "Keep these readings").click()
    ran(run)
    assert list_speeds(store)["speed_mps"].round(1).tolist() == [81.7, 82.3, 81.4, 82.0]
    assert set(list_speeds(store)["source"]) == {"the club"}
    assert next(one for one in run.text_input if one.label == "Speeds").value == ""


@pytest.mark.parametrize(
    ("speeds", "why"),
    [
        ("", "at least one speed"),
        ("fast", "not a number and a unit; write it like '279, 281, 280 ft/s'"),
        ("280 ft/s, 95 ft/s", "one arrow"),
    ],
)
def test_readings_that_cannot_be_are_refused_and_nothing_is_kept(store, speeds, why):
    keep_gear(store)
    run = ran(bench("launch"))
    fill(run, Speeds=speeds)
    button(run, "Keep these readings").click()
    ran(run)
    assert why in run.error[0].value
    assert list_speeds(store).empty


def test_readings_of_an_arrow_and_day_are_deleted_together_and_come_back(store):
    keep_gear(store)
    keys = keep_readings(store)
    run = ran(bench("launch"))
    run.button(key="delete_readings_1").click()
    ran(run)
    assert list_speeds(store)["id"].tolist() == keys[3:]
    button(run, "Undo").click()
    ran(run)
    assert list_speeds(store)["id"].tolist() == keys


def test_readings_of_another_draw_weight_are_set_aside_and_said_so(store):
    keep_gear(store)
    keep_readings(store, {26.0: (80.0, 80.2)}, on=date(2026, 2, 1))  # 20 N less
    keep_readings(store)
    save_preferences(store, Preferences(mass="g", speed="m/s"))
    text = said(ran(bench("launch")))
    assert "26 g leaves at 88.00 m/s" in text
    assert "2 readings are left out" in text


def test_pins_are_kept_and_begin_the_field_and_what_is_tried_can_go_back(store):
    rig = keep_gear(store)
    keep_readings(store)
    save_preferences(store, Preferences(mass="g", speed="m/s"))
    run = ran(bench("pins"))
    fill(run, Pins_at="20, 39.5 yd")
    ran(run)  # the field is left before the form is filled in
    fill(run, Below_the_first_pin="0, 19 mm")
    button(run, "Keep these pins").click()
    ran(run)
    pins = list_pins(store, rig)
    assert pins["distance_m"].round(3).tolist() == [18.288, 36.119]
    assert pins["below_mm"].tolist() == [0.0, 19.0]
    assert "The pins are kept." in said(run)
    field = next(one for one in run.text_input if one.label == "Pins at")
    assert distances(field.value) == pytest.approx([18.29, 36.12], abs=0.006)
    assert "19 mm" in said(run)  # the measured gap beside the reckoned one
    field.input("15, 30 m").run()
    assert "You are trying pins" in said(run)
    button(run, "Back to the pins that are kept").click()
    ran(run)
    assert "These are the pins kept since" in said(run)
    button(run, "Keep these pins").click()
    ran(run)
    assert "already" in run.error[0].value
    run.button(key="delete_pins_1").click()
    ran(run)
    assert list_pins(store, rig).empty
    button(run, "Undo").click()
    ran(run)
    assert len(list_pins(store, rig)) == 2


@pytest.mark.parametrize("text", ["0", "5, 19 mm", "0, -3 mm", "0, high", "0, 19, 30 mm"])
def test_places_of_pins_that_cannot_be_are_refused(store, text):
    keep_gear(store)
    keep_readings(store)
    remember(store, pins_tried="20, 40 yd")
    run = ran(bench("pins"))
    fill(run, Below_the_first_pin=text)
    button(run, "Keep these pins").click()
    ran(run)
    assert run.error
    assert list_pins(store).empty


def test_flight_takes_its_speed_from_the_chronograph(store):
    keep_gear(store)
    keep_readings(store)
    remember(store, wind="3 m/s", slope="-20")
    run = ran(bench("flight"))
    text = said(run)
    assert "Sighted in at 20 m, the arrow passes" in text
    assert "to the right" in text
    assert "aim 60 m with the mark for 5" in text
    assert any("measured by chronograph" in one.label for one in run.expander)


def test_flight_without_a_speed_says_where_to_give_it(store):
    keep_gear(store)
    assert "The launch speed is not known" in said(ran(bench("flight")))


def test_pins_say_where_they_leave_a_hole_and_the_best_can_be_used(store):
    keep_gear(store)
    keep_groups(store)
    keep_readings(store)
    remember(store, circle="100 mm")
    run = ran(bench("pins"))
    text = said(run)
    assert "These 3 pins, and half-way between, keep the middle" in text
    assert "48 recorded shots" in text
    button(run, "Use these 5").click()
    ran(run)
    pins = next(one for one in run.text_input if one.label == "Pins at").value
    assert len(distances(pins)) == 5
    assert "These 5 pins" in said(run)


def test_pins_without_a_peep_height_say_what_to_fill_in(store):
    keep_gear(store)
    remember(store, speed="88 m/s")
    reed = int(list_builds(store).set_index("name").loc["Reed", "id"])
    add_setup(store, Setup(rig_id=1, since=date(2026, 5, 1), build_id=reed))
    text = said(ran(bench("pins")))
    assert "eep height is not known" in text
    assert "Gear" in text
    assert "peep_mm" not in text


def test_fit_finds_the_speed_that_the_groups_were_drawn_with(store):
    keep_gear(store)
    keep_groups(store, shots=40)
    run = ran(bench("fit"))
    text = said(run)
    found = re.search(r"launch speed of ([\d.]+) (\S+) \(([\d.]+) to ([\d.]+)\)", text)
    low, high = (float(one) * 0.3048 for one in found.groups()[2:])
    assert found[2] == "ft/s"
    assert low < SPEED_MPS < high
    button(run, "Use this launch speed on the bench").click()
    ran(run)
    kept = read_preferences(store).remembered["bench_1"]["speed"]
    assert float(kept.split()[0]) == pytest.approx(float(found[1]), abs=0.6)


def test_fit_and_pins_choose_a_setup_and_fit_says_that_they_are_mixed(store):
    rig = keep_gear(store)
    add_setup(store, Setup(rig_id=rig, since=date(2026, 4, 4), changed="sight turned", build_id=1,
                           sight_radius_mm=860.0, peep_height_mm=110.0))  # fmt: skip
    keep_groups(store, shots=20)
    keep_readings(store)
    run = ran(bench("fit"))
    assert "These shots are of 2 setups" in said(run)
    box = next(one for one in run.selectbox if one.label == "Setup")
    box.select(next(one for one in box.options if "new string" in one))
    ran(run)
    assert "2 setups" not in said(run)
    run = ran(bench("pins"))
    box = next(one for one in run.selectbox if one.label == "Scatter of the shots under")
    assert "120 recorded shots" in said(run)
    box.select(next(one for one in box.options if "sight turned" in one))
    ran(run)
    assert "60 recorded shots" in said(run)


def test_fit_points_to_the_readings_that_would_tell_the_drag(store):
    keep_gear(store)
    keep_groups(store)
    assert "may tell the drag too" not in said(ran(bench("fit")))
    keep_readings(store)
    run = ran(bench("fit"))
    assert "may tell the drag too" in said(run)
    next(one for one in run.toggle if one.label == "Use the chronograph's mean").set_value(True)
    ran(run)
    assert "may tell the drag too" not in said(run)


def test_fit_with_too_few_distances_says_what_to_shoot(store):
    keep_gear(store)
    text = said(ran(bench("fit")))
    assert "Not enough distances" in text
    assert "one pin" in text


def test_compare_puts_two_builds_side_by_side(store):
    keep_gear(store)
    keep_groups(store)
    keep_readings(store)
    save_preferences(store, Preferences(mass="g", speed="m/s"))
    text = said(ran(bench("compare")))
    assert "Wren with Oak shoots an arrow 3 g heavier than that of Wren today (Reed)" in text
    assert "slower" in text
    assert "recorded shots | 48 | 0" in text


@pytest.mark.parametrize("section", ["gear", "build", "launch", "flight", "pins", "fit", "compare"])
def test_hostile_names_stay_text(store, section):
    keep_gear(store, name=HOSTILE)
    keep_groups(store, rig=HOSTILE)
    keep_readings(store, source=HOSTILE)
    run = ran(bench(section))
    for part in (*run.markdown, *run.info, *run.warning, *run.caption):
        assert "<b>" not in part.value.replace(r"\<b\>", "")
        assert "| `z`" not in part.value.replace("\\|", "")


@pytest.mark.parametrize("section", ["nosuch", "", "GEAR", "<b>"])
def test_an_address_of_no_section_opens_gear(store, section):
    keep_gear(store)
    assert "Wren today" in said(ran(bench(section)))


def test_distances_share_the_unit_at_the_end():
    assert distances("20 m, 10 m") == [10.0, 20.0]
    assert distances("20, 30 m") == [20.0, 30.0]


def test_messages_name_fields_as_the_screen_does():
    assert in_words("radius_mm is not known") == "sight radius is not known"
    assert in_words("a flight needs speed_mps") == "a flight needs launch speed"
