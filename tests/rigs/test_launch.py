"""Launch speeds against Klopsteg's law, published ratings and other programs' statistics."""

import math
import statistics

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from scipy.optimize import curve_fit

from groupscan.errors import RigError
from groupscan.rigs.chronograph import RATINGS, measure_speed
from groupscan.rigs.energy import grains_per_pound
from groupscan.rigs.flight import fly
from groupscan.rigs.launch import fit_launch, launch_speed
from groupscan.rigs.line import ratio_limits

FOOT, GRAIN, POUND, INCH = 0.3048, 0.06479891, 4.4482216152605, 25.4
READINGS = [85.1, 85.4, 85.3, 85.6, 84.9]


def readings(masses, each, *, sd=0.3, energy=137.0, virtual=3.5, seed=1):
    mass = np.repeat(masses, each)
    noise = np.random.default_rng(seed).normal(0, sd, mass.size)
    return mass, launch_speed(energy, virtual, mass) + noise


def test_mean_and_spread_are_those_of_other_programs():
    shot = measure_speed(READINGS)
    assert shot.speed_mps == pytest.approx(statistics.fmean(READINGS))
    assert shot.sd_mps == pytest.approx(statistics.stdev(READINGS))
    low, high = stats.t.interval(0.95, 4, shot.speed_mps, stats.sem(READINGS))
    assert (shot.low_mps, shot.high_mps) == pytest.approx((low, high))
    limits = shot.sd_mps * np.sqrt(4 / stats.chi2.ppf([0.975, 0.025], 4))
    assert (shot.sd_low_mps, shot.sd_high_mps) == pytest.approx(tuple(limits))
    assert (shot.n, shot.added_mps, shot.notes) == (5, 0.0, ())


@given(st.floats(50, 110), st.floats(0, 3e-3), st.floats(0, 5))
def test_the_air_before_the_chronograph_is_put_back(speed, k, distance):
    # Flown forward from the bow, level, the arrow must read what the chronograph read.
    seen = float(fly(speed, 0.0, k, distance).speed_mps)
    shot = measure_speed([seen, seen], distance_m=distance, drag_per_m=k)
    # Gravity gives back 1/2 (g t)^2 / v^2 of it: below 3e-5 over 5 m.
    fallen = (9.80665 * distance / speed) ** 2 / (2 * speed**2)
    assert shot.speed_mps == pytest.approx(speed, rel=2 * fallen + 1e-12)
    assert shot.added_mps == pytest.approx(speed - seen, abs=speed * 2 * fallen + 1e-9)


def test_the_interval_at_the_bow_is_the_chronographs_grown_alike():
    there = measure_speed(READINGS)
    here = measure_speed(READINGS, distance_m=2.0, drag_per_m=1e-3)
    for name in ("speed_mps", "low_mps", "high_mps", "sd_mps", "sd_low_mps", "sd_high_mps"):
        assert getattr(here, name) == pytest.approx(getattr(there, name) * math.exp(2e-3))


def test_what_a_chronograph_cannot_say_is_told():
    one = measure_speed([85.0])
    assert math.isnan(one.low_mps)
    assert math.isnan(one.sd_mps)
    assert any("One reading" in note for note in one.notes)
    assert any("same" in note for note in measure_speed([85.0, 85.0]).notes)
    assert any("drag" in note for note in measure_speed(READINGS, distance_m=2.0).notes)


@pytest.mark.parametrize(("arguments", "said"), [
    (([0.0, 85.0],), "speed_mps"),
    (([-85.0],), "speed_mps"),
    (([280.0, 281.0],), "ft/s"),
    (([85.0, 8.5],), "units mixed"),
    (([85.0, math.nan],), "speed_mps"),
    (([],), "no readings"),
    ((["fast"],), "speed_mps"),
])  # fmt: skip
def test_readings_that_cannot_be_are_refused(arguments, said):
    with pytest.raises(RigError, match=said):
        measure_speed(*arguments)


@pytest.mark.parametrize(("named", "said"), [
    ({"distance_m": -1.0}, "distance_m"),
    ({"distance_m": 1000.0}, "distance_m"),
    ({"drag_per_m": -1e-3, "distance_m": 1.0}, "drag_per_m"),
    ({"confidence": 95}, "confidence"),
])  # fmt: skip
def test_a_chronograph_that_cannot_stand_so_is_refused(named, said):
    with pytest.raises(RigError, match=said):
        measure_speed(READINGS, **named)


@given(
    st.floats(30, 250),
    st.floats(0, 10),
    st.floats(15, 25),
    st.floats(2, 20),
    st.floats(18, 50),
)
def test_two_readings_without_error_give_back_the_bow(energy, virtual, mass, more, other):
    masses = np.array([mass, mass + more])
    shot = fit_launch(masses, launch_speed(energy, virtual, masses))
    assert shot.energy_j == pytest.approx(energy, rel=1e-7)
    assert shot.virtual_g == pytest.approx(virtual, abs=1e-6)
    predicted = shot.predict(other)
    assert float(predicted.speed_mps) == pytest.approx(
        float(launch_speed(energy, virtual, other)), rel=1e-7
    )
    assert bool(predicted.outside) == (not mass <= other <= mass + more)
    assert math.isnan(float(predicted.low_mps))
    assert any("Two readings" in note for note in shot.notes)


def test_the_law_by_hand():
    # E = (m + K) v^2 / 2 at both masses: K = (m2 v2^2 - m1 v1^2) / (v1^2 - v2^2).
    (m1, v1), (m2, v2) = (25.0, 98.0), (35.0, 84.0)
    virtual = (m2 * v2**2 - m1 * v1**2) / (v1**2 - v2**2)
    shot = fit_launch([m1, m2], [v1, v2])
    assert shot.virtual_g == pytest.approx(virtual)
    assert shot.energy_j == pytest.approx((m1 + virtual) * 1e-3 * v1**2 / 2)


def test_least_squares_are_those_of_another_program():
    mass, speed = readings((24.0, 28.0, 33.0, 38.0), 3)
    shot = fit_launch(mass, speed)
    found, covariance = curve_fit(
        lambda m, e, k: np.sqrt(2 * e / (1e-3 * (m + k))), mass, speed, p0=(100.0, 1.0)
    )
    assert (shot.energy_j, shot.virtual_g) == pytest.approx(tuple(found), rel=1e-5)
    # Where the interval is narrow Fieller's limits are the plain ones, estimate -+ t se.
    half = stats.t.ppf(0.975, mass.size - 2) * np.sqrt(np.diag(covariance))
    assert (shot.energy_high_j - shot.energy_low_j) / 2 == pytest.approx(half[0], rel=0.03)
    assert (shot.virtual_high_g - shot.virtual_low_g) / 2 == pytest.approx(half[1], rel=0.03)
    assert shot.virtual_low_g < shot.virtual_g < shot.virtual_high_g


def test_fiellers_limits_are_those_of_the_profile():
    # Limits of K by definition: where the best fit with K held has grown by t^2 s^2.
    mass, speed = readings((25.0, 30.0, 36.0), 4)
    shot = fit_launch(mass, speed)

    def square(virtual):
        curve = (mass + virtual) ** -0.5
        return float(((speed - curve * (curve @ speed) / (curve @ curve)) ** 2).sum())

    t = stats.t.ppf(0.975, mass.size - 2)
    for limit in (shot.virtual_low_g, shot.virtual_high_g):
        grown = (square(limit) - square(shot.virtual_g)) / shot.sd_mps**2
        assert grown == pytest.approx(t**2, rel=0.02)


def test_more_readings_of_an_arrow_count_for_more():
    mass, speed = readings((25.0, 35.0), 3)
    doubled = fit_launch(np.tile(mass, 4), np.tile(speed, 4))
    plain = fit_launch(mass, speed)
    assert doubled.virtual_g == pytest.approx(plain.virtual_g)
    assert doubled.virtual_high_g - doubled.virtual_low_g < 0.5 * (
        plain.virtual_high_g - plain.virtual_low_g
    )


def test_a_known_scatter_gives_two_readings_an_interval():
    masses = np.array([25.0, 35.0])
    shot = fit_launch(masses, launch_speed(137.0, 3.5, masses), sd_mps=0.3)
    assert shot.virtual_low_g < 3.5 < shot.virtual_high_g
    at = shot.predict(masses)
    # At a mass that was measured the interval is that of its own reading, two masses being met.
    np.testing.assert_allclose(at.high_mps - at.low_mps, 2 * 1.959964 * 0.3, rtol=1e-3)


def test_the_interval_is_narrowest_among_the_masses_and_grows_outside():
    mass, speed = readings((25.0, 35.0), 5)
    found = fit_launch(mass, speed).predict([15.0, 25.0, 30.0, 35.0, 45.0])
    width = (found.high_mps - found.low_mps) / found.speed_mps
    assert width.argmin() == 2
    assert width[0] > width[1]
    assert width[4] > width[3]
    assert found.outside.tolist() == [True, False, False, False, True]
    (note,) = found.notes
    assert "25.0 to 35.0 g" in note
    assert "makers" in note


def test_masses_too_close_together_say_so():
    mass, speed = readings((30.0, 30.2), 3, seed=2)
    shot = fit_launch(mass, speed)
    assert math.isnan(shot.virtual_high_g)
    assert any("too close together" in note for note in shot.notes)


def test_a_bow_off_the_law_says_so():
    mass, speed = readings((24.0, 30.0, 36.0), 5, sd=0.1)
    assert not any("one curve" in note for note in fit_launch(mass, speed).notes)
    speed[mass == 30.0] += 1.5
    assert any("one curve" in note for note in fit_launch(mass, speed).notes)
    # With a known scatter single readings can tell, too.
    single, there = readings((24.0, 30.0, 36.0), 1, sd=0.0)
    there[1] += 1.5
    assert any("one curve" in n for n in fit_launch(single, there, sd_mps=0.1).notes)


def test_a_virtual_mass_below_zero_is_doubted():
    # Speeds that fall faster than the root of the mass: more energy in the lighter arrow.
    shot = fit_launch([25.0, 35.0], [100.0, 80.0])
    assert shot.virtual_g < 0
    assert any("below zero" in note for note in shot.notes)


@given(st.floats(60, 200), st.floats(0.0, 6.0), st.floats(70, 75), st.floats(1.05, 1.15))
def test_more_draw_weight_with_a_heavier_arrow_keeps_the_speed(energy, virtual, pounds, more):
    # Common practice, no source. Energy grows with draw weight, the virtual mass stays: the speed
    # rises a little, by less than the virtual mass's share of the growth.
    mass = 7.0 * pounds * GRAIN
    before = float(launch_speed(energy, virtual, mass))
    after = float(launch_speed(more * energy, virtual, more * mass))
    assert before * (1 - 1e-12) <= after < 1.015 * before
    assert float(grains_per_pound(more * mass, more * pounds * POUND)) == pytest.approx(7.0)


@pytest.mark.parametrize(("masses", "speeds", "said"), [
    ([30.0, 30.0], [85.0, 86.0], "mass_g"),
    ([30.0], [85.0], "mass_g"),
    ([30.0, 35.0], [85.0], "shapes"),
    ([30.0, -35.0], [85.0, 80.0], "mass_g"),
    ([400.0, 535.0], [85.0, 80.0], "grains"),
    ([30.0, 35.0], [85.0, 0.0], "speed_mps"),
    ([30.0, 35.0], [300.0, 280.0], "ft/s"),
    ([30.0, 35.0], [80.0, 85.0], "does not fall"),
    ([30.0, 35.0], [85.0, 85.0], "does not fall"),
    ([30.0, math.nan], [85.0, 80.0], "mass_g"),
    ([30.0, 30.0, 35.0], [90.0, 60.0, 58.0], "30.0 g"),
])  # fmt: skip
def test_pairs_that_cannot_be_are_refused(masses, speeds, said):
    with pytest.raises(RigError, match=said):
        fit_launch(masses, speeds)


@pytest.mark.parametrize(("call", "said"), [
    (lambda: fit_launch([25.0, 35.0], [98.0, 84.0], sd_mps=0.0), "sd_mps"),
    (lambda: fit_launch([25.0, 35.0], [98.0, 84.0], confidence=95), "confidence"),
    (lambda: fit_launch([25.0, 35.0], [98.0, 84.0]).predict(535.0), "mass_g"),
    (lambda: fit_launch([25.0, 35.0], [120.0, 84.0]).predict(6.0), "mass_g"),
    (lambda: launch_speed(-1.0, 3.0, 30.0), "energy_j"),
    (lambda: launch_speed(100.0, -3.0, 30.0), "virtual_g"),
])  # fmt: skip
def test_numbers_that_cannot_be_are_refused_by_name(call, said):
    with pytest.raises(RigError, match=said):
        call()


@given(
    st.lists(st.tuples(st.floats(10, 60), st.floats(30, 150)), min_size=2, max_size=8),
)
def test_whatever_the_readings_there_is_a_result_or_our_error(pairs):
    mass, speed = np.array(pairs).T
    try:
        shot = fit_launch(mass, speed)
    except RigError:
        return
    assert shot.energy_j > 0
    assert not shot.virtual_low_g > shot.virtual_high_g


def test_the_limits_of_a_ratio_hold_it_where_the_divisor_is_sure():
    line, covariance = np.array([3.0, 1.0]), np.diag([0.04, 0.01])
    low, high = ratio_limits(line, covariance, 2.0)
    # By definition: a - K b is t standard errors from zero at both limits.
    for limit in (float(low), float(high)):
        spread = math.sqrt(0.04 + limit**2 * 0.01)
        assert abs(3.0 - limit) == pytest.approx(2.0 * spread)
    assert np.isnan(ratio_limits(line, np.diag([0.04, 1.0]), 2.0)).all()


def test_ratings_are_the_conditions_that_are_published():
    # 70 lb, 30 in, 350 grains, 5 a pound (secondary texts); 60 lb, 30 in, 540 grains, 9 a pound,
    # or 360 grains, 6 a pound (from memory).
    told = {
        rating.name: (
            round(rating.draw_weight_n / POUND, 6),
            round(rating.draw_length_mm / INCH, 6),
            round(rating.arrow_g / GRAIN, 6),
            round(float(grains_per_pound(rating.arrow_g, rating.draw_weight_n)), 6),
        )
        for rating in RATINGS
    }
    assert told == {
        "IBO": (70.0, 30.0, 350.0, 5.0),
        "AMO/ATA": (60.0, 30.0, 540.0, 9.0),
        "AMO/ATA, light arrow": (60.0, 30.0, 360.0, 6.0),
    }
    assert all("memory" in rating.source for rating in RATINGS[1:])
