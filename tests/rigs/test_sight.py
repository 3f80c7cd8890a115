"""Pins against published gaps, drops and closed forms; the best pins against searches."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import differential_evolution

from groupscan.errors import RigError
from groupscan.rigs.flight import fly_reference
from groupscan.rigs.sight import (
    Band,
    Sight,
    bands_held,
    best_pins,
    landing,
    pin_distances,
    pin_gaps,
    pin_positions,
    slider_scale,
    turning_distance,
    uncovered,
)
from groupscan.rigs.sight.landing import heights_held, hold_name, pins_and_gaps

INCH, YARD = 25.4, 0.9144
# 535 gr, 6 mm, air of 1.225 kg/m3; Cd 0, 1.5, 2.0 and 2.6.
DRAGS = {0.0: 0.0, 1.5: 7.493216e-4, 2.0: 9.990955e-4, 2.6: 1.2988241e-3}


def sight(cd=2.0, *, fps=280.0, peep_in=4.0, radius_in=34.0):
    return Sight(fps * 0.3048, DRAGS[cd], peep_in * INCH, radius_in * INCH)


# Published by no one: re-derived for this project by scipy's DOP853 (relative tolerance 1e-12) and
# a Runge-Kutta of its own. Gaps in inches between pins at 20, 30, 40, 50 and 60 yd.
GAPS_IN = {
    0.0: (0.14651, 0.17813, 0.19092, 0.19746),
    1.5: (0.15136, 0.18497, 0.19977, 0.20836),
    2.0: (0.15301, 0.18731, 0.20282, 0.21214),
    2.6: (0.15500, 0.19015, 0.20654, 0.21677),
}
# The same source: height over the line of sight, inches, with the 20 yd pin.
DROPS_YD = (5, 10, 15, 20, 25, 30, 35, 40, 50, 60, 80)
DROPS_IN = {
    0.0: (-1.33742, 0.21678, 0.66258, 0, -1.77097, -4.65033, -8.63808, -13.73422, -27.25166,
          -45.20266, -94.40532),
    1.5: (-1.31829, 0.24741, 0.68941, 0, -1.82861, -4.80425, -8.93481, -14.22823, -28.33570,
          -47.19133, -99.41047),
    2.0: (-1.31185, 0.25773, 0.69847, 0, -1.84812, -4.85646, -9.03565, -14.39645, -28.70637,
          -47.87425, -101.14444),
    2.6: (-1.30408, 0.27019, 0.70940, 0, -1.87174, -4.91971, -9.15796, -14.60071, -29.15750,
          -48.70738, -103.27020),
}  # fmt: skip


@pytest.mark.parametrize("cd", DRAGS)
def test_pin_gaps_are_those_of_the_worked_trajectories(cd):
    gaps = pin_gaps(sight(cd), np.array([20, 30, 40, 50, 60]) * YARD) / INCH
    np.testing.assert_allclose(gaps, GAPS_IN[cd], atol=5.1e-6)


@pytest.mark.parametrize("cd", DRAGS)
def test_heights_with_the_20_yard_pin_are_those_of_the_worked_trajectories(cd):
    found = landing(sight(cd), [20 * YARD], np.array(DROPS_YD) * YARD)
    np.testing.assert_allclose(found.height_mm[0] / INCH, DROPS_IN[cd], atol=6e-6)


def test_the_gap_of_a_20_and_a_40_yard_pin_hardly_tells_the_drag():
    # The same source: 8.2 to 8.8 mm for all drags from none to turbulent flow.
    gaps = [pin_gaps(sight(cd), [20 * YARD, 40 * YARD])[0] for cd in DRAGS]
    assert 8.2 < min(gaps) < max(gaps) < 8.8


@pytest.mark.parametrize(("cd", "turn_yd", "near_yd"), [(0.0, 13.43, 9.0221), (2.0, 13.32, 8.8646)])
def test_the_highest_pin_and_the_nearer_distance_of_a_pin(cd, turn_yd, near_yd):
    one = sight(cd)
    assert turning_distance(one) / YARD == pytest.approx(turn_yd, abs=0.005)
    near, far = pin_positions(one, [near_yd * YARD, 20 * YARD])
    assert near == pytest.approx(far, abs=2e-4)
    # Of the two distances of a position the farther is told.
    assert float(pin_distances(one, near)) / YARD == pytest.approx(20, abs=0.001)


@given(st.floats(40, 110), st.floats(60, 150), st.floats(5, 70))
def test_without_drag_pins_follow_the_closed_form(speed, peep, distance):
    # Vacuum: tan a = (X - sqrt(X^2 - 4 a (a + h))) / (2 a), a = g X^2 / (2 v^2).
    a = 9.80665 * distance**2 / (2 * speed**2)
    tangent = (distance - math.sqrt(distance**2 - 4 * a * (a + peep / 1000))) / (2 * a)
    assert pin_positions(Sight(speed, 0.0, peep, 850.0), distance) == pytest.approx(850 * tangent)


@settings(max_examples=25)
@given(st.floats(45, 110), st.floats(0, 0.003), st.floats(60, 150), st.floats(15, 90))
def test_an_arrow_held_on_its_own_pin_hits_and_the_pin_tells_its_distance(v, k, peep, distance):
    one = Sight(v, k, peep, 850.0)
    assert landing(one, [distance], [distance]).height_mm[0, 0] == pytest.approx(0, abs=1e-6)
    if distance > turning_distance(one):
        position = pin_positions(one, distance)
        assert pin_distances(one, position) == pytest.approx(distance, abs=1e-6)


def test_much_drag_leaves_pins_their_distances():
    # A flu-flu, made to be stopped by the air.
    one = Sight(60.0, 0.02, 100.0, 850.0)
    assert pin_distances(one, pin_positions(one, [20.0, 40.0])) == pytest.approx([20, 40])


def test_heights_agree_with_integration_of_the_differential_equation():
    one = sight()
    angle = math.atan(pin_positions(one, 40 * YARD) / one.radius_mm)
    flight = fly_reference(
        one.speed_mps, angle, one.drag_per_m, 90 * YARD, peep_m=one.peep_mm / 1000
    )
    found = landing(one, [40 * YARD], [90 * YARD]).height_mm[0, 0]
    assert found == pytest.approx(1000 * float(flight.height_m), abs=0.001)


def test_shots_on_slopes_hit_with_the_pin_of_the_equivalent_level_distance():
    # The source of the gaps: slant 30 and 60 yd at +30 and -45 degrees.
    for slant, degrees, level in ((30, 30, 25.09844), (60, 30, 52.80243), (60, -45, 40.48026)):
        found = landing(
            sight(), [level * YARD], [slant * YARD], slope_rad=math.radians(degrees)
        ).height_mm
        assert abs(found[0, 0]) < 0.01


def test_half_way_between_a_20_and_a_39_5_yard_pin_is_right_for_30():
    # Common practice, no source: with the top pin at 20 yd on a bow faster than 280 ft/s the next
    # fixed pin fell at 39.5 yd, and holding between the two was right for 30.
    for fps in np.arange(280, 381, 10):
        for cd in DRAGS:
            for peep_in in (3.0, 4.0, 5.0):
                one = sight(cd, fps=float(fps), peep_in=peep_in)
                found = landing(one, [20 * YARD, 39.5 * YARD], [30 * YARD], hold=[0.5])
                assert abs(found.height_mm[0, 0]) < 25


def test_between_two_pins_the_aim_moves_in_proportion():
    one = sight()
    pins = np.array([20, 40, 60]) * YARD
    positions = pin_positions(one, pins)
    found = landing(one, pins, [35.0], hold=[0, 0.25, 1, 1.5, 2])
    assert (np.diff(found.height_mm[:, 0]) > 0).all()
    quarter = positions[0] + (positions[1] - positions[0]) / 4
    own = landing(one, pin_distances(one, [quarter]), [35.0])
    assert found.height_mm[1, 0] == pytest.approx(own.height_mm[0, 0], abs=1e-5)


def test_landing_tells_the_best_hold_and_its_miss_and_becomes_a_table():
    found = landing(sight(), np.array([20, 40]) * YARD, np.array([20, 30, 40]) * YARD)
    assert found.hold[found.best].tolist() == [0, 0.5, 1]
    assert found.miss_mm[[0, 2]] == pytest.approx([0, 0], abs=1e-6)
    frame = found.to_frame()
    assert list(frame) == ["distance_m", "hold", "held", "height_mm", "best"]
    assert frame.loc[frame["best"], "held"].tolist() == [
        "pin 1",
        "half-way between pins 1 and 2",
        "pin 2",
    ]
    assert frame["height_mm"].to_numpy() == pytest.approx(found.height_mm.T.ravel())


def test_bands_end_where_the_arrow_meets_the_circle_and_hold_it_inside_between():
    one, pins, circle = sight(), np.array([20, 40]) * YARD, 60.0
    bands = bands_held(one, pins, circle, nearest_m=3.0, farthest_m=70.0)
    assert {band.hold for band in bands} == {0.0, 0.5, 1.0}
    for band in bands:
        ends = landing(one, pins, [band.near_m, band.far_m], hold=[band.hold]).height_mm[0]
        within = np.linspace(band.near_m, band.far_m, 50)
        inner = landing(one, pins, within, hold=[band.hold]).height_mm[0]
        assert np.abs(inner).max() <= circle + 1e-6
        at_ends = np.array([band.near_m > 3.0, band.far_m < 70.0])
        assert np.abs(ends)[at_ends] == pytest.approx(circle, abs=1e-6)
    own = [band for band in bands if band.hold == 0]
    assert any(band.near_m < 20 * YARD < band.far_m for band in own)


def test_a_flight_that_rises_above_the_circle_has_two_bands():
    # The 40 yd pin's arrow passes 7.3 in above the line of sight at 22 yd.
    bands = bands_held(sight(), [40 * YARD], 100.0, nearest_m=1.0, farthest_m=60.0)
    assert len(bands) == 2
    assert bands[0].far_m < 22.3 * YARD < bands[1].near_m


def test_a_circle_wider_than_every_miss_is_one_band_over_the_range():
    bands = bands_held(sight(), [30.0], 5000.0, nearest_m=5.0, farthest_m=40.0)
    assert [(band.near_m, band.far_m) for band in bands] == [(5.0, 40.0)]
    assert uncovered(bands, nearest_m=5.0, farthest_m=40.0) == []


def test_what_no_band_covers_is_told():
    bands = [Band(0, 10, 20), Band(0.5, 18, 25), Band(1, 30, 35)]
    assert uncovered(bands, nearest_m=12, farthest_m=33) == [(25, 30)]
    assert uncovered(bands, nearest_m=5, farthest_m=40) == [(5, 10), (25, 30), (35, 40)]
    assert uncovered([], nearest_m=5, farthest_m=40) == [(5, 40)]


RANGES = ((18.0, 55.0), (5.0, 40.0), (10.0, 70.0))


@pytest.mark.parametrize("span", RANGES)
@pytest.mark.parametrize("held", ["pins", "pins and gaps"])
@pytest.mark.parametrize("count", [1, 2, 3])
def test_no_search_finds_better_pins(span, held, count):
    one = sight()
    plan = best_pins(one, count, nearest_m=span[0], farthest_m=span[1], held=held)
    # Between two of these the miss grows by less than 0.4 mm.
    distance = np.linspace(*span, 3001)
    middle = pin_positions(one, distance)
    # The height grows all but in proportion to the position held.
    slope = (heights_held(one, middle + 1, distance) - heights_held(one, middle - 1, distance)) / 2
    holds = pins_and_gaps(count) if held == "pins and gaps" else np.arange(count)

    def largest_miss(positions):
        tried = np.interp(holds, np.arange(count), np.sort(positions))
        return np.abs(slope * (tried[:, None] - middle)).min(axis=0).max()

    searched = differential_evolution(
        largest_miss, [(middle.min(), middle.max())] * count, rng=1, tol=1e-6, maxiter=300
    )
    assert plan.miss_mm < searched.fun + 0.4
    assert plan.miss_mm == pytest.approx(searched.fun, rel=0.01)


@pytest.mark.parametrize("span", RANGES)
@pytest.mark.parametrize("held", ["pins", "pins and gaps"])
@pytest.mark.parametrize("count", [2, 3, 4, 5])
def test_the_largest_miss_told_is_the_largest_there_is(span, held, count):
    one = sight()
    plan = best_pins(one, count, nearest_m=span[0], farthest_m=span[1], held=held)
    hold = None if held == "pins and gaps" else np.arange(count)
    found = landing(one, plan.pins_m, np.linspace(*span, 5001), hold=hold)
    assert found.miss_mm.max() == pytest.approx(plan.miss_mm, abs=0.3)
    assert found.miss_mm.max() < plan.miss_mm + 1e-3
    at_worst = landing(one, plan.pins_m, plan.worst_m, hold=hold).miss_mm
    assert at_worst == pytest.approx(plan.miss_mm, abs=0.11)
    assert plan.positions_mm == pytest.approx(pin_positions(one, plan.pins_m))


def test_the_best_pins_miss_by_as_much_at_one_distance_more_than_there_are_pins():
    # Chebyshev: a best approximation reaches its error at every turn. Beyond the highest pin's
    # distance p pins have p - 1 places between neighbours, the far end, and the near end or the
    # top of the first arc.
    for count in (1, 2, 3, 4, 5):
        plan = best_pins(sight(), count, nearest_m=25.0, farthest_m=65.0)
        assert len(plan.worst_m) == count + 1
        assert plan.worst_m[-1] == pytest.approx(65.0)


def test_more_pins_and_gaps_never_miss_by_more():
    misses = {
        held: [
            best_pins(sight(), count, nearest_m=18, farthest_m=55, held=held).miss_mm
            for count in (1, 2, 3, 4, 5)
        ]
        for held in ("pins", "pins and gaps")
    }
    assert (np.diff(misses["pins"]) < 0).all()
    assert (np.diff(misses["pins and gaps"]) < 0).all()
    assert misses["pins"][0] == pytest.approx(misses["pins and gaps"][0])
    assert all(np.array(misses["pins and gaps"][1:]) < misses["pins"][1:])


def test_a_slider_s_marks_are_pin_positions_from_the_reference():
    one = sight()
    distance = np.array([10, 20, 40, 60]) * YARD
    scale = slider_scale(one, distance, reference_m=20 * YARD)
    expected = pin_positions(one, distance) - pin_positions(one, 20 * YARD)
    assert scale.mark_mm == pytest.approx(expected)
    assert scale.mark_mm[1] == pytest.approx(0, abs=1e-12)
    assert scale.doubtful.tolist() == [True, False, False, False]
    # The worked gap from 20 to 40 yd, 34 in from the peep: 0.34031 in.
    assert scale.mark_mm[2] / INCH == pytest.approx(0.34031, abs=1e-5)


def test_holds_have_names():
    assert hold_name(0.0) == "pin 1"
    assert hold_name(1.5) == "half-way between pins 2 and 3"


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: Sight(280, 0.001, 101.6, 863.6), "speed_mps"),
        (lambda: Sight(0, 0.001, 101.6, 863.6), "speed_mps"),
        (lambda: Sight(85, -0.001, 101.6, 863.6), "drag_per_m"),
        (lambda: Sight(85, 0.001, math.nan, 863.6), "peep_mm"),
        (lambda: Sight(85, 0.001, 4.0, 34.0), "radius_mm"),
        (lambda: Sight("fast", 0.001, 100, 860), "speed_mps"),
        (lambda: pin_positions(sight(), [20, -1]), "distance_m"),
        (lambda: pin_positions(sight(), []), "distance_m"),
        (lambda: pin_positions(Sight(25, 0.0, 100, 860), [100.0]), "distance_m"),
        (lambda: pin_distances(sight(), [1.0]), "position_mm"),
        (lambda: pin_distances(sight(), [800.0]), "position_mm"),
        (lambda: landing(sight(), [40, 20], [30]), "pins_m"),
        (lambda: landing(sight(), [20, 20], [30]), "pins_m"),
        (lambda: landing(sight(), [20, 40], [30], hold=[1.5]), "hold"),
        (lambda: landing(sight(), [20, 40], [30], hold=[-0.1]), "hold"),
        (lambda: landing(sight(), [20, 40], [30], slope_rad=30), "slope_rad"),
        (lambda: bands_held(sight(), [20], 0.0, nearest_m=5, farthest_m=40), "circle_mm"),
        (lambda: bands_held(sight(), [20], 50, nearest_m=40, farthest_m=5), "nearest_m"),
        (lambda: best_pins(sight(), 0, nearest_m=5, farthest_m=40), "count"),
        (lambda: best_pins(sight(), 2.5, nearest_m=5, farthest_m=40), "count"),
        (lambda: best_pins(sight(), 2, nearest_m=0, farthest_m=40), "nearest_m"),
        (lambda: best_pins(sight(), 2, nearest_m=5, farthest_m=40, held="gaps"), "held"),
        (lambda: slider_scale(sight(), [20], reference_m=0), "reference_m"),
    ],
)
def test_what_cannot_be_is_refused_by_name(call, field):
    with pytest.raises(RigError, match=field):
        call()
