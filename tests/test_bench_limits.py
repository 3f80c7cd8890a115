"""Edges of the rig bench: the floor of arrow mass, given values, and units that were forgotten."""

from __future__ import annotations

import pytest

from groupscan.decisions.rig_bench import KnownRig, air_of, drag_of, launch_of, with_parts
from groupscan.errors import RigError
from groupscan.rigs.build import measure_arrow, too_light
from groupscan.rigs.drag import drag_per_m
from groupscan.rigs.energy import grains_per_pound
from groupscan.rigs.parts import ArrowParts
from groupscan.rigs.sight import Sight, slider_scale, turning_distance
from groupscan.rigs.what_if import what_if
from groupscan.units import grain_to_g, lbf_to_newton
from tests.test_bench_commands import ARROW, RIG, flat, home, refused, say, told

__all__ = ["home"]  # the fixture that keeps these tests off anyone's records

PARTS = ArrowParts(
    shaft_g_per_m=21.0, cut_mm=720.0, nock_g=0.7, fletching_g=1.5, insert_g=2.0, point_g=6.5
)


# The floor


@pytest.mark.parametrize("pounds", [40, 45, 60, 62, 70, 75, 80])
def test_an_arrow_at_the_floor_itself_is_not_too_light(pounds):
    mass, weight = grain_to_g(5.0 * pounds), lbf_to_newton(pounds)
    ratio = float(grains_per_pound(mass, weight))
    assert not too_light(ratio)
    assert not measure_arrow(ArrowParts(mass_g=mass), draw_weight_n=weight).warnings
    assert not launch_of([mass], [80.0], draw_weight_n=weight).warnings
    parts = ArrowParts(**{**vars(PARTS), "mass_g": mass})
    assert not what_if(parts, [2.0], [6.5], draw_weight_n=weight).too_light.any()
    assert too_light(float(grains_per_pound(mass - grain_to_g(1), weight)))


def test_launch_warns_of_light_arrows_that_were_shot_or_asked_for():
    readings = ("--arrow", "412gr:280fps", "--arrow", "500gr:258fps")
    asked = ("launch", *readings, "--predict", "320gr,450gr", "--draw-weight", "75lb")
    (warning,) = told(*asked)["warnings"]
    assert warning.startswith("320 gr (20.74 g) is very light for this bow: 4.27 grains a pound")
    assert flat(say(*asked)).startswith("320 gr (20.74 g) is very light for this bow")
    assert told("launch", *readings, "--predict", "320gr")["warnings"] == []
    shot = launch_of([20.0], [90.0], draw_weight_n=lbf_to_newton(75.0), predict_g=[19.0])
    assert [text.split(" g)")[0] for text in shot.warnings] == ["309 gr (20.00", "293 gr (19.00"]


def test_whether_an_arrow_is_too_light_is_unknown_without_a_draw_weight():
    asked = ("build", *ARROW, "--try-point", "50gr")
    assert told(*asked)["what_if"][0]["too_light"] is None
    assert told(*asked, "--draw-weight", "75lb")["what_if"][0]["too_light"] is True
    assert told(*asked, "--draw-weight", "40lb")["what_if"][0]["too_light"] is False
    assert "With other inserts" in say(*asked)


# Units that were forgotten


def test_a_drag_per_metre_without_its_unit_is_refused():
    assert "0.0011/m" in refused("flight", *RIG, "--drag", "0.0011")
    kept = {"mass_g": 25.0, "diameter_mm": 6.0, "density": 1.2}
    assert float(drag_per_m(cd=0.0, **kept)) == 0.0
    assert float(drag_per_m(cd=0.5, **kept)) > 0.0
    with pytest.raises(RigError, match="arrows have 1"):
        drag_per_m(cd=[1.3, 0.49], **kept)


def test_a_head_beside_a_drag_per_metre_is_refused():
    assert "head_area_mm2" in refused("flight", *RIG, "--drag", "0.0011/m", "--head-area", "300")
    assert drag_of(KnownRig(), air_of(), per_m=0.0011).per_m == 0.0011


def test_a_high_places_own_pressure_is_not_reduced_twice():
    high = ("flight", *RIG, "--altitude", "3000ft", "--pressure")
    assert "leave out the altitude" in refused(*high, "910hPa")
    assert told(*high, "1013hPa")["air"]["density"] == pytest.approx(1.12, abs=0.01)
    assert air_of(pressure_pa=91_000.0).pressure_pa == 91_000.0


# What is given stands


def test_values_given_again_as_they_were_still_stand_beside_another_part():
    known = KnownRig(parts=ArrowParts(**{**vars(PARTS), "mass_g": 26.0, "balance_mm": 450.0}))
    same = with_parts(known, point_g=8.1, mass_g=26.0, balance_mm=450.0)
    assert (same.parts.mass_g, same.parts.balance_mm, same.notes) == (26.0, 450.0, ())
    other = with_parts(known, cut_mm=700.0, mass_g=26.0)
    assert (other.parts.mass_g, other.parts.balance_mm) == (26.0, None)
    assert len(other.notes) == 1


def test_each_mass_of_arrow_loses_its_own_share_on_the_way_to_the_chronograph():
    far = ("--speed-at", "3ft", "--diameter", "6mm")
    readings = ("--arrow", "412gr:280fps", "--arrow", "500gr:258fps")
    found = told("launch", *readings, *far)
    raw = told("launch", *readings)
    lost = [
        there["speed_mps"] / here["speed_mps"] - 1
        for there, here in zip(found["readings"], raw["readings"], strict=True)
    ]
    assert lost[0] / lost[1] == pytest.approx(500 / 412, rel=2e-3)
    assert lost[0] == pytest.approx(0.0011 * 0.9144, rel=0.3)
    assert found["bow"][1]["value"] < raw["bow"][1]["value"]


# The sight


def test_a_hold_beyond_the_pins_is_refused_as_the_command_counts_them():
    asked = ("pins", *RIG, "--pins", "20yd,30yd,40yd", "--hold")
    for hold in ("5", "0.5", "nan"):
        assert "must lie between 1 (the first pin) and 3 (the last)" in refused(*asked, hold)
    assert told(*asked, "1,3")["landing"]


def test_a_scale_does_not_begin_from_a_mark_that_two_distances_share():
    sight = Sight(85.344, 0.001, 101.6, 863.6)
    turning = turning_distance(sight)
    with pytest.raises(RigError, match="where the pin stands highest"):
        slider_scale(sight, [20.0], reference_m=0.99 * turning)
    marks = slider_scale(sight, [turning, 20.0, 40.0], reference_m=1.01 * turning).mark_mm
    assert marks[0] < 0 < marks[1] < marks[2]


def test_the_scales_words_are_in_the_readers_unit():
    asked = ("scale", *RIG, "--from", "5yd", "--out", "scale.pdf")
    trade, metric = flat(say(*asked)), flat(say(*asked, "--units", "si"))
    assert " yd the pin goes down again" in trade
    assert " m the pin goes down again" in metric
    assert "nearer than" in refused(*asked, "--reference", "8yd")
