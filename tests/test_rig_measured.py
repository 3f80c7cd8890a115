"""Readings and pins that the records keep, as the bench takes them."""

import math
from contextlib import closing
from datetime import date

import pytest

from groupscan.decisions.rig_bench import (
    air_of,
    drag_of,
    kept_launch,
    kept_pins,
    kept_readings,
    kept_speed,
    known_build,
    rig_of_store,
)
from groupscan.errors import RigError
from groupscan.records.store import (
    Build,
    Pin,
    Rig,
    Setup,
    Speed,
    add_pins,
    add_setup,
    add_speeds,
    get_build,
    open_store,
    save_build,
    save_rig,
)
from groupscan.records.taken_over import DAY_NOT_KNOWN

APRIL, MAY, JUNE = date(2026, 4, 1), date(2026, 5, 1), date(2026, 6, 1)


@pytest.fixture
def store(tmp_path):
    with closing(open_store(tmp_path)) as store:
        build = save_build(store, Build(name="Reed", shaft_mm=6.2, length_mm=720.0, mass_g=26.0))
        rig = save_rig(store, Rig(name="Wren"))
        for day, pull in ((date(2026, 1, 1), 250.0), (MAY, 270.0)):
            add_setup(
                store, Setup(rig_id=rig, since=day, draw_weight_n=pull, build_id=build, changed="x")
            )
        yield store


def keep(store, *speeds, on=MAY, mass=26.0, **more):
    add_speeds(
        store,
        [Speed(rig_id=1, taken_on=on, mass_g=mass, speed_mps=one, **more) for one in speeds],
    )


def test_readings_of_another_draw_weight_tell_nothing_of_this_one(store):
    keep(store, 85.0, 85.2, on=APRIL)
    keep(store, 88.0, 88.4)
    before, after = (kept_readings(store, 1, on=day) for day in (APRIL, JUNE))
    assert before.readings["speed_mps"].tolist() == [85.0, 85.2]
    assert before.notes == ()
    assert after.readings["speed_mps"].tolist() == [88.0, 88.4]
    assert after.others["speed_mps"].tolist() == [85.0, 85.2]
    assert "2 readings are left out" in after.notes[0]


def test_a_change_that_moves_no_speed_leaves_the_readings(store):
    keep(store, 88.0)
    add_setup(store, Setup(rig_id=1, since=JUNE, draw_weight_n=270.0, changed="rest 1 mm left"))
    assert len(kept_readings(store, 1, on=date(2026, 6, 2)).readings) == 1


def test_a_reading_whose_setup_says_no_weight_counts(store):
    rig = save_rig(store, Rig(name="Lark"))
    add_speeds(store, [Speed(rig_id=rig, taken_on=APRIL, mass_g=26.0, speed_mps=80.0)])
    add_setup(store, Setup(rig_id=rig, since=MAY, draw_weight_n=200.0))
    assert len(kept_readings(store, rig, on=JUNE).readings) == 1


def test_what_the_air_took_before_the_chronograph_is_put_back(store):
    keep(store, 88.0, distance_m=3.0)
    known = rig_of_store(store, 1, on=JUNE)
    told = kept_launch(kept_readings(store, 1, on=JUNE), known)
    drag = drag_of(known, air_of()).per_m
    assert told.speeds[0].speed_mps == pytest.approx(88.0 * math.exp(3 * drag))
    assert any("put back" in note for note in told.notes)
    bare = kept_launch(kept_readings(store, 1, on=JUNE), known_build(Build(name="?", mass_g=26.0)))
    assert bare.speeds[0].speed_mps == 88.0
    assert any("in front of the bow" in note for note in bare.notes)


def test_the_speed_is_that_measured_or_carried_over_from_two_masses(store):
    keep(store, 90.0, 90.2)
    known = rig_of_store(store, 1, on=JUNE)
    kept = kept_readings(store, 1, on=JUNE)
    found = kept_speed(kept, known)
    assert (found.speed_mps, found.measured.n) == (pytest.approx(90.1), 2)
    other = known_build(Build(name="Oak", mass_g=29.0))
    assert kept_speed(kept, other) is None
    keep(store, 83.0, mass=32.0)
    carried = kept_speed(kept_readings(store, 1, on=JUNE), other)
    # Energy (m + K) v^2 / 2 through both pairs, Klopsteg's virtual mass K (definition).
    virtual = (32 * 83**2 - 26 * 90.1**2) / (90.1**2 - 83**2)
    wanted = math.sqrt((26 + virtual) * 90.1**2 / (29 + virtual))
    assert carried.speed_mps == pytest.approx(wanted, rel=2e-3)
    assert carried.measured is None
    with pytest.raises(RigError):
        kept_speed(kept, known_build(Build(name="nothing weighed")))


def test_no_reading_is_no_speed(store):
    assert kept_launch(kept_readings(store, 1), known_build(get_build(store, 1))) is None


def test_the_pins_are_those_of_the_last_day_and_a_later_setup_is_said(store):
    assert kept_pins(store, 1) is None
    for day, below in ((APRIL, 18.0), (date(2026, 5, 2), 19.5)):
        add_pins(
            store,
            [Pin(rig_id=1, set_on=day, distance_m=36.576, below_mm=below),
             Pin(rig_id=1, set_on=day, distance_m=18.288, below_mm=0.0)],
        )  # fmt: skip
    found = kept_pins(store, 1, on=JUNE)
    assert (found.set_on, found.distance_m) == (date(2026, 5, 2), (18.288, 36.576))
    assert found.gaps_mm()[0] == 19.5
    assert math.isnan(found.gaps_mm()[1])
    assert found.notes == ()
    add_setup(store, Setup(rig_id=1, since=date(2026, 5, 20), draw_weight_n=250.0, changed="x"))
    assert "prove them again" in kept_pins(store, 1, on=JUNE).notes[0]
    add_pins(store, [Pin(rig_id=1, set_on=JUNE, distance_m=20.0)])
    assert kept_pins(store, 1, on=JUNE).distance_m == (20.0,)


def test_what_was_measured_while_a_setup_stood_counts_for_its_first_day(store):
    add_setup(store, Setup(rig_id=1, since=JUNE, draw_weight_n=270.0, changed="x"))
    keep(store, 88.0, on=date(2026, 5, 31))
    keep(store, 89.0, on=JUNE)
    for day in (date(2026, 5, 31), JUNE):
        add_pins(store, [Pin(rig_id=1, set_on=day, distance_m=18.288)])
    assert kept_readings(store, 1, on=MAY).readings["speed_mps"].tolist() == [88.0]
    assert kept_pins(store, 1, on=MAY).set_on == date(2026, 5, 31)
    assert kept_readings(store, 1, on=JUNE).readings["speed_mps"].tolist() == [88.0, 89.0]
    assert kept_pins(store, 1, on=JUNE).set_on == JUNE
    assert kept_pins(store, 1, on=APRIL) is None


def test_what_was_taken_over_says_that_its_day_is_not_known(store):
    keep(store, 88.0, 88.4, source=DAY_NOT_KNOWN)
    keep(store, 88.2, on=date(2026, 5, 20))
    add_pins(store, [Pin(rig_id=1, set_on=MAY, distance_m=18.288, notes=DAY_NOT_KNOWN)])
    (said,) = kept_readings(store, 1, on=JUNE).notes
    assert said.startswith("Of 2 readings the day is not known, 2026-05-01 is the latest")
    assert said in kept_launch(kept_readings(store, 1), rig_of_store(store, 1)).notes
    (said,) = kept_pins(store, 1, on=JUNE).notes
    assert "is not known, 2026-05-01 is the latest" in said
