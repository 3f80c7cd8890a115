"""Edges of the bench's screen: whose speed was typed, light arrows, near marks, names of rows."""

from types import SimpleNamespace

import pytest

from groupscan.decisions.rig_bench import speed_by_mass
from groupscan.records.preferences import Preferences
from groupscan.report.bench.reading import Reading
from groupscan.screens.bench.compare import _in_unit
from tests.screens.bench_records import keep_gear, keep_readings
from tests.screens.test_rig_bench import bench, ran, remember, said


def choose(run, build):
    box = next(one for one in run.selectbox if one.label == "Arrow build")
    box.select(next(one for one in box.options if one.startswith(build)))
    return ran(run)


def test_a_typed_speed_is_that_of_todays_build_alone(store):
    keep_gear(store)
    remember(store, speed="88 m/s")
    run = ran(bench("flight"))
    assert any("88 m/s, as typed" in one.label for one in run.expander)
    text = said(choose(run, "Oak"))
    assert "The typed launch speed is that of the build in today's setup" in text
    row = next(
        line for line in said(ran(bench("compare"))).splitlines() if "| launch speed |" in line
    )
    assert [cell.strip() for cell in row.split("|")[2:5]] == ["88 m/s", "not known", "not known"]


def test_the_bows_virtual_mass_carries_a_typed_speed_to_another_build(store):
    keep_gear(store)
    keep_readings(store, {26.0: (90.0,), 32.0: (83.0,)})
    remember(store, speed="88 m/s")
    run = choose(ran(bench("flight")), "Oak")
    virtual = (32 * 83**2 - 26 * 90**2) / (90**2 - 83**2)
    wanted = float(speed_by_mass(26.0, 88.0, virtual)(29.0))
    label = next(one.label for one in run.expander if "Launch speed" in one.label)
    assert "carried from the typed one" in label
    assert float(label.split(": ")[1].split(" m/s")[0]) == pytest.approx(wanted, abs=0.06)


def test_launch_warns_of_a_light_arrow_but_not_at_the_floor(store):
    keep_gear(store)  # 270 N of draw weight: the floor is at 19.67 g
    keep_readings(store)
    remember(store, other_mass="19 g")
    assert "293 gr (19.00 g) is very light for this bow" in said(ran(bench("launch")))


def test_the_paper_begins_from_a_mark_that_tells_one_distance(store):
    keep_gear(store)
    remember(store, speed="88 m/s", mark_first="5 m", mark_last="40 m")
    text = said(ran(bench("pins")))
    assert "the pin goes down again: marks there stand beside others" in text
    assert "Movable pin, below the mark for 15 m" in text
    remember(store, speed="88 m/s", mark_first="20 m", mark_last="40 m")
    assert "goes down again" not in said(ran(bench("pins")))
    remember(store, speed="88 m/s", mark_first="2 m", mark_last="3 m")
    assert "where the pin stands highest" in said(ran(bench("pins")))


def test_a_distance_within_another_amount_is_left_alone():
    read = Reading(Preferences(distance="yd", speed="ft/s"))
    both = SimpleNamespace(crosswind_mps=3.0)
    said = _in_unit("drift at 13 m in 3 m/s across", [3.0, 13.0], both, read)
    assert said == "drift at 14.2 yd in 9.8 ft/s across"
    assert _in_unit("pin for 20 yd", [18.288], both, Reading(Preferences(distance="m"))) == (
        "pin for 18.3 m"
    )
