"""The flight against worked trajectories, closed forms, laws of mechanics and an integrator."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from groupscan.errors import RigError
from groupscan.rigs.flight import GRAVITY_MPS2, fly, fly_reference, sight_angle

YARD, INCH, FOOT = 0.9144, 0.0254, 0.3048

# Worked trajectories, computed outside this project (scipy's DOP853, rtol 1e-12, confirmed by an
# independent Runge-Kutta of fixed step): 535 grains, 280 ft/s, 6 mm, density 1.225 kg/m^3, eye
# 4.0 in above the arrow, level.
SPEED, PEEP = 85.344, 0.1016
AREA, DENSITY, MASS = 2.827433388e-5, 1.225, 0.03466741685
# Cd, yd, launch mrad, time s, speed ft/s, impact deg, apex above the line of sight in, apex at yd.
TRAJECTORIES = """
    0.0 20 17.869084 0.2143199 279.96169 -0.38731 0.66788 14.5111
    0.0 30 22.176400 0.3215076 279.96169 -0.84635 3.18907 18.0068
    0.0 40 27.412418 0.4287325 279.96169 -1.25250 6.98367 22.2546
    0.0 50 33.022547 0.5360065 279.96169 -1.63765 11.93767 26.8030
    0.0 60 38.822554 0.6433419 279.96169 -2.01245 18.02478 31.5019
    1.5 20 17.982392 0.2157957 276.15109 -0.40034 0.69604 14.4588
    1.5 30 22.432331 0.3248369 274.26590 -0.87582 3.29547 17.9909
    1.5 40 27.869253 0.4346680 272.39425 -1.30519 7.23715 22.2813
    1.5 50 33.739385 0.5453087 270.53631 -1.72043 12.43250 26.8825
    1.5 60 39.859382 0.6567796 268.69225 -2.13234 18.88055 31.6450
    2.0 20 18.020509 0.2162906 274.89246 -0.40474 0.70556 14.4417
    2.0 30 22.518823 0.3259569 272.39318 -0.88585 3.33154 17.9859
    2.0 40 28.024354 0.4366709 269.91755 -1.32324 7.32353 22.2906
    2.0 50 33.983890 0.5484572 267.46570 -1.74899 12.60206 26.9094
    2.0 60 40.214685 0.6613422 265.03777 -2.17398 19.17547 31.6931
    2.6 20 18.066481 0.2168865 273.38966 -0.41006 0.71709 14.4214
    2.6 30 22.623404 0.3273076 270.16280 -0.89802 3.37523 17.9800
    2.6 40 28.212374 0.4390905 266.97525 -1.34523 7.42845 22.3019
    2.6 50 34.281055 0.5522676 263.82703 -1.78391 12.80867 26.9419
    2.6 60 40.647635 0.6668732 260.71816 -2.22510 19.53597 31.7511
"""
# yd, height in inches with the 20-yd pin for Cd 0, 1.5, 2.0, 2.6.
DROPS = """
    5 -1.33742 -1.31829 -1.31185 -1.30408
    10 0.21678 0.24741 0.25773 0.27019
    15 0.66258 0.68941 0.69847 0.70940
    20 0.00000 0.00000 0.00000 0.00000
    25 -1.77097 -1.82861 -1.84812 -1.87174
    30 -4.65033 -4.80425 -4.85646 -4.91971
    35 -8.63808 -8.93481 -9.03565 -9.15796
    40 -13.73422 -14.22823 -14.39645 -14.60071
    50 -27.25166 -28.33570 -28.70637 -29.15750
    60 -45.20266 -47.19133 -47.87425 -48.70738
    80 -94.40532 -99.41047 -101.14444 -103.27020
"""
# From yd, to yd, difference of tangents of the launch angles for Cd 0, 1.5, 2.0, 2.6.
GAPS = """
    20 30 0.0043091 0.0044518 0.0045002 0.0045588
    30 40 0.0052393 0.0054404 0.0055091 0.0055926
    40 50 0.0056153 0.0058757 0.0059653 0.0060746
    50 60 0.0058075 0.0061283 0.0062394 0.0063755
    20 40 0.0095483 0.0098921 0.0100092 0.0101514
"""
# Slant yd, slope deg, sight angle mrad, level yd with the same angle; Cd 2.0.
INCLINED = """
    30 -45 16.88076 15.94382
    30 -30 19.87958 24.57069
    30 -15 21.80683 28.60113
    30 0 22.51882 30.00000
    30 15 21.94952 28.88451
    30 30 20.11955 25.09844
    30 45 17.13981 17.11529
    40 -45 20.36282 25.62440
    40 -30 24.40138 33.55131
    40 -15 27.02200 38.25356
    40 0 28.02435 40.00000
    40 15 27.30872 38.75562
    40 30 24.89085 34.44750
    40 45 20.90999 26.77866
    60 -45 28.30236 40.48026
    60 -30 34.47551 50.80281
    60 -15 38.55494 57.36993
    60 0 40.21469 60.00000
    60 15 39.26983 58.50542
    60 30 35.70709 52.80243
    60 45 29.70713 42.88284
"""
CDS = (0.0, 1.5, 2.0, 2.6)


def table(text):
    return [
        tuple(float(cell) for cell in line.split()) for line in text.split("\n") if line.strip()
    ]


def drag(cd, *, density=DENSITY, mass=MASS):
    return density * cd * AREA / (2 * mass)


def height_in(cd, yd, angle, *, speed=SPEED, k=None):
    return (
        float(fly(speed, angle, drag(cd) if k is None else k, yd * YARD, peep_m=PEEP).height_m)
        / INCH
    )


@pytest.mark.parametrize("row", table(TRAJECTORIES))
def test_worked_trajectories_come_out_to_the_last_printed_digit(row):
    cd, yd, mrad, time, fps, impact_deg, apex_in, apex_yd = row
    angle = float(sight_angle(SPEED, drag(cd), yd * YARD, peep_m=PEEP))
    assert 1e3 * angle == pytest.approx(mrad, abs=6e-7)
    there = fly(SPEED, angle, drag(cd), yd * YARD, peep_m=PEEP)
    assert float(there.time_s) == pytest.approx(time, abs=6e-8)
    assert float(there.speed_mps) / FOOT == pytest.approx(fps, abs=6e-6)
    near = fly(SPEED, angle, drag(cd), yd * YARD + np.array([-0.01, 0.01]), peep_m=PEEP)
    assert math.degrees(math.atan(np.diff(near.height_m)[0] / 0.02)) == pytest.approx(
        impact_deg, abs=6e-6
    )
    # On the level stretch at the apex a millimetre of distance is nothing in height.
    way = np.linspace(apex_yd - 0.1, apex_yd + 0.1, 201)
    heights = fly(SPEED, angle, drag(cd), way * YARD, peep_m=PEEP).height_m / INCH
    assert heights.max() == pytest.approx(apex_in, abs=6e-6)
    # It is printed to 1e-4 yd: the path rises just before it and falls just behind it.
    sides = (apex_yd + np.array([[-6e-5], [6e-5]])) * YARD + np.array([-1e-3, 1e-3])
    before, behind = np.diff(fly(SPEED, angle, drag(cd), sides, peep_m=PEEP).height_m)[:, 0]
    assert before > 0 > behind


@pytest.mark.parametrize("row", table(DROPS))
def test_heights_with_the_20_yd_pin(row):
    for cd, inches in zip(CDS, row[1:], strict=True):
        angle = sight_angle(SPEED, drag(cd), 20 * YARD, peep_m=PEEP)
        assert height_in(cd, row[0], angle) == pytest.approx(inches, abs=6e-6)


def test_the_20_yd_pin_is_right_again_close_in():
    # 9.0221 yd (vacuum) and 8.8646 yd (Cd 2.0), and least sight angles (same source).
    for cd, yd in ((0.0, 9.0221), (2.0, 8.8646)):
        angle = float(sight_angle(SPEED, drag(cd), 20 * YARD, peep_m=PEEP))
        assert float(sight_angle(SPEED, drag(cd), yd * YARD, peep_m=PEEP)) == pytest.approx(
            angle, abs=6e-5 * 1.4e-3
        )
    for cd, yd, mrad in ((0.0, 13.43, 16.5413), (2.0, 13.32, 16.6088)):
        near = np.linspace(10, 18, 801)
        angles = 1e3 * sight_angle(SPEED, drag(cd), near * YARD, peep_m=PEEP)
        assert angles.min() == pytest.approx(mrad, abs=6e-5)
        assert near[angles.argmin()] == pytest.approx(yd, abs=0.011)


@pytest.mark.parametrize("row", table(GAPS))
def test_differences_of_tangents_between_pins(row):
    for cd, wanted in zip(CDS, row[2:], strict=True):
        low, high = np.tan(sight_angle(SPEED, drag(cd), np.array(row[:2]) * YARD, peep_m=PEEP))
        assert high - low == pytest.approx(wanted, abs=6e-8)


def test_sensitivities_at_40_yd():
    # Inches of height at 40 yd with the 40-yd pin, Cd 2.0 (same source).
    angle = float(sight_angle(SPEED, drag(2.0), 40 * YARD, peep_m=PEEP))
    mass = MASS * 545 / 535
    changed = {
        0.25837: height_in(2.0, 40, angle, speed=SPEED + FOOT),
        -0.26115: height_in(2.0, 40, angle, speed=SPEED - FOOT),
        -0.04489: height_in(2.1, 40, angle),
        0.08286: height_in(2.0, 40, angle, k=drag(2.0, density=1.11164)),
        0.01645: height_in(2.0, 40, angle, k=drag(2.0, mass=mass)),
        1.43908: height_in(2.0, 40, angle + 1e-3),
    }
    for wanted, found in changed.items():
        assert found == pytest.approx(wanted, abs=6e-6)


def test_drift_in_a_crosswind_of_10_mph():
    # Inches at 20, 40, 60 yd (same source), each with the pin of its distance.
    drift = {
        1.5: (0.260011, 1.045141, 2.363700),
        2.0: (0.347213, 1.397809, 3.166233),
        2.6: (0.452207, 1.823875, 4.139109),
    }
    metres = np.array([20, 40, 60]) * YARD
    for cd, wanted in drift.items():
        angle = sight_angle(SPEED, drag(cd), metres, peep_m=PEEP)
        flight = fly(SPEED, angle, drag(cd), metres, peep_m=PEEP, crosswind_mps=4.4704)
        np.testing.assert_allclose(flight.drift_m / INCH, wanted, atol=6e-7)


@pytest.mark.parametrize("row", table(INCLINED))
def test_shots_up_and_down_a_slope(row):
    slant, slope, mrad, level = row
    angle = sight_angle(SPEED, drag(2.0), slant * YARD, peep_m=PEEP, slope_rad=math.radians(slope))
    assert 1e3 * float(angle) == pytest.approx(mrad, abs=6e-6)
    near = 1e3 * sight_angle(
        SPEED, drag(2.0), (level + np.array([-6e-6, 6e-6])) * YARD, peep_m=PEEP
    )
    assert near[0] <= mrad + 5e-6
    assert near[1] >= mrad - 5e-6


# Cd, yd, flat fire against the integration at the same launch angle: height in, relative time
# (same source).
FLAT_FIRE = [
    (2.0, 20, 0.000009, -5.9e-7),
    (2.0, 40, 0.000150, -2.5e-6),
    (2.0, 60, 0.001033, -7.6e-6),
    (2.0, 80, 0.004342, -1.8e-5),
]


def flat_fire(speed, angle, k, x):
    """Height above the start and time where the air is taken to see only the level speed."""
    level = speed * math.cos(angle)
    lag = math.expm1(2 * k * x) / (2 * k) - x
    height = x * math.tan(angle) - GRAVITY_MPS2 / (2 * k * level**2) * lag
    return height, math.expm1(k * x) / (k * level)


@pytest.mark.parametrize(("cd", "yd", "height", "time"), FLAT_FIRE)
def test_flat_fire_is_off_by_what_it_should_be(cd, yd, height, time):
    angle = float(sight_angle(SPEED, drag(cd), yd * YARD, peep_m=PEEP))
    flat_height, flat_time = flat_fire(SPEED, angle, drag(cd), yd * YARD)
    flight = fly(SPEED, angle, drag(cd), yd * YARD)
    assert (flat_height - float(flight.height_m)) / INCH == pytest.approx(height, abs=6e-7)
    assert flat_time / float(flight.time_s) - 1 == pytest.approx(time, rel=0.03)


def test_flat_fire_is_the_limit_of_fast_flat_shots():
    # Its errors fall with the square of the angles: ten times the square of the speed, a tenth.
    for speed in (60.0, 120.0, 190.0):
        flat_height, _ = flat_fire(speed, 0.0, 1e-3, 20.0)
        found = float(fly(speed, 0.0, 1e-3, 20.0).height_m)
        assert found == pytest.approx(flat_height, rel=1e-2 * (20 * 9.81 / speed**2) ** 2)


speeds = st.floats(25.0, 150.0)
angles = st.floats(-0.3, 0.3)
slopes = st.floats(-1.4, 1.4)
drags = st.floats(0.0, 5e-3)
winds = st.floats(-15.0, 15.0)
short = st.floats(0.5, 20.0)


@given(speeds, angles, slopes, st.floats(0.0, 25.0))
def test_in_a_vacuum_it_is_galileos_parabola(speed, angle, slope, distance):
    # Slope coordinates: gravity has a part along the line of sight and one square to it.
    along, up = -GRAVITY_MPS2 * math.sin(slope), -GRAVITY_MPS2 * math.cos(slope)
    first = speed * math.cos(angle)
    root = first**2 + 2 * along * distance
    if root < 1.0:
        return
    time = 2 * distance / (first + math.sqrt(root))
    flight = fly(speed, angle, 0.0, distance, peep_m=0.1, slope_rad=slope)
    assert float(flight.time_s) == pytest.approx(time, rel=1e-9, abs=1e-12)
    height = speed * math.sin(angle) * time + up * time**2 / 2 - 0.1
    assert float(flight.height_m) == pytest.approx(height, abs=1e-9)
    # Energy is kept: the height gained is paid for in speed.
    level = distance * math.sin(slope) + (height + 0.1) * math.cos(slope)
    assert float(flight.speed_mps) ** 2 == pytest.approx(
        speed**2 - 2 * GRAVITY_MPS2 * level, rel=1e-9
    )


@given(speeds, short, st.floats(-0.3, 0.3))
def test_in_a_vacuum_the_launch_angle_has_a_closed_form(speed, distance, peep):
    a = GRAVITY_MPS2 * distance**2 / (2 * speed**2)
    tangent = (distance - math.sqrt(distance**2 - 4 * a * (a + peep))) / (2 * a)
    angle = sight_angle(speed, 0.0, distance, peep_m=peep)
    assert math.tan(float(angle)) == pytest.approx(tangent, abs=1e-9)


@given(speeds, angles, drags, short, slopes, winds, winds)
def test_it_agrees_with_an_integrator(speed, angle, k, distance, slope, crosswind, headwind):
    wind = {"peep_m": 0.1, "slope_rad": slope, "crosswind_mps": crosswind, "headwind_mps": headwind}
    found = fly(speed, angle, k, distance, **wind)
    wanted = fly_reference(speed, angle, k, distance, **wind)
    for name in ("height_m", "time_s", "speed_mps", "drift_m"):
        assert getattr(found, name) == pytest.approx(float(getattr(wanted, name)), abs=1e-8), name


@pytest.mark.parametrize("cd", [0.0, 1.3, 2.6, 10.0])
@pytest.mark.parametrize("fps", [180.0, 280.0, 400.0])
def test_at_100_yd_it_is_far_within_a_tenth_of_a_millimetre(cd, fps):
    wind = {"peep_m": PEEP, "crosswind_mps": 5.0, "headwind_mps": -3.0}
    for slope in (-0.7, 0.0, 0.7):
        shot = (fps * FOOT, 0.08, drag(cd), 100 * YARD)
        found = fly(*shot, slope_rad=slope, **wind)
        wanted = fly_reference(*shot, slope_rad=slope, **wind)
        assert abs(float(found.height_m) - float(wanted.height_m)) < 1e-8
        assert abs(float(found.drift_m) - float(wanted.drift_m)) < 1e-8


@given(speeds, angles, drags, short, slopes, winds)
def test_crosswind_drift_is_wind_times_lag(speed, angle, k, distance, slope, crosswind):
    # Lag rule (Didion; exact for any drag along the relative wind): W (t - x / v0x), level.
    level_speed = speed * math.cos(angle + slope)
    if level_speed < 1.0:
        return
    flight = fly(speed, angle, k, distance, slope_rad=slope, crosswind_mps=crosswind)
    level = distance * math.cos(slope) - float(flight.height_m) * math.sin(slope)
    lag = float(flight.time_s) - level / level_speed
    assert float(flight.drift_m) == pytest.approx(crosswind * lag, abs=1e-9)


@given(speeds, angles, drags, short, winds)
def test_wind_is_still_air_seen_from_a_moving_place(speed, angle, k, distance, tailwind):
    flight = fly(speed, angle, k, distance, headwind_mps=-tailwind)
    along, up = speed * math.cos(angle) - tailwind, speed * math.sin(angle)
    if along < 5.0:
        return
    moved = distance - tailwind * float(flight.time_s)
    still = fly(math.hypot(along, up), math.atan2(up, along), k, moved)
    assert float(still.time_s) == pytest.approx(float(flight.time_s), abs=1e-10)
    assert float(still.height_m) == pytest.approx(float(flight.height_m), abs=1e-9)


@given(speeds, angles, drags, short, slopes)
def test_a_flight_taken_up_half_way_ends_the_same(speed, angle, k, distance, slope):
    # State at half the way, with the direction of flight from the change of height.
    h = 1e-4
    half = fly(speed, angle, k, distance / 2 + np.array([-h, 0.0, h]), slope_rad=slope)
    direction = math.atan2(half.height_m[2] - half.height_m[0], 2 * h)
    rest = fly(half.speed_mps[1], direction, k, distance / 2, slope_rad=slope)
    whole = fly(speed, angle, k, distance, slope_rad=slope)
    assert float(rest.height_m) + half.height_m[1] == pytest.approx(float(whole.height_m), abs=1e-6)
    assert float(rest.time_s) + half.time_s[1] == pytest.approx(float(whole.time_s), abs=1e-8)


@given(speeds, angles, st.floats(0.0, 2.5e-3), short, st.floats(0.25, 1.7))
def test_flights_scale(speed, angle, k, distance, scale):
    # No length but those given: lengths by s, 1/k by s, times and speeds by the root of s.
    small = fly(speed, angle, k, distance)
    large = fly(speed * math.sqrt(scale), angle, k / scale, distance * scale)
    assert float(large.height_m) == pytest.approx(scale * float(small.height_m), abs=1e-9)
    assert float(large.time_s) == pytest.approx(math.sqrt(scale) * float(small.time_s), abs=1e-10)


@given(speeds, st.floats(-0.2, 0.2), short)
def test_a_vacuum_shot_runs_backwards(speed, angle, distance):
    there = fly(speed, angle, 0.0, distance)
    slope_end = math.tan(angle) - GRAVITY_MPS2 * distance / (speed * math.cos(angle)) ** 2
    back = fly(there.speed_mps, -math.atan(slope_end), 0.0, distance)
    assert float(back.height_m) == pytest.approx(-float(there.height_m), abs=1e-9)
    assert float(back.time_s) == pytest.approx(float(there.time_s), abs=1e-12)


@given(speeds, st.floats(1e-4, 5e-3), short, slopes)
def test_what_the_air_takes_is_the_work_of_drag(speed, k, distance, slope):
    # d(v^2/2 + g z) = -k v^3 dt, summed by Simpson's rule over the time between 65 places.
    way = np.linspace(0.0, distance, 129)
    flight = fly(speed, 0.02, k, way, slope_rad=slope)
    up = way * math.sin(slope) + flight.height_m * math.cos(slope)
    energy = flight.speed_mps**2 / 2 + GRAVITY_MPS2 * up
    speed_along = np.gradient(way, flight.time_s, edge_order=2)
    power = k * flight.speed_mps**3 / speed_along
    step = way[1]
    work = step / 3 * (power[0] + 4 * power[1:-1:2].sum() + 2 * power[2:-1:2].sum() + power[-1])
    assert energy[0] - energy[-1] == pytest.approx(work, rel=1e-3)


@given(speeds, drags, short, st.floats(-0.3, 0.3), slopes)
def test_an_arrow_at_its_sight_angle_meets_the_line_of_sight(speed, k, distance, peep, slope):
    angle = sight_angle(speed, k, distance, peep_m=peep, slope_rad=slope)
    flight = fly(speed, angle, k, distance, peep_m=peep, slope_rad=slope)
    assert abs(float(flight.height_m)) < 1e-9
    # The low way: a hair more angle lifts the arrow there.
    assert float(fly(speed, angle + 1e-6, k, distance, peep_m=peep, slope_rad=slope).height_m) > 0


def test_steep_shots_straight_up_and_down():
    for slope in (-math.pi / 2, math.pi / 2):
        angle = sight_angle(80.0, 1e-3, 15.0, peep_m=0.1, slope_rad=slope)
        # Gravity has no part square to the line of sight: the bore line leads straight there.
        assert float(angle) == pytest.approx(math.atan2(0.1, 15.0), abs=1e-4)
        reference = fly_reference(80.0, float(angle), 1e-3, 15.0, peep_m=0.1, slope_rad=slope)
        assert abs(float(reference.height_m)) < 1e-9


def test_at_the_start_the_arrow_is_below_the_eye():
    flight = fly(80.0, 0.02, 1e-3, 0.0, peep_m=0.1)
    assert (float(flight.height_m), float(flight.time_s)) == (-0.1, 0.0)
    assert float(flight.speed_mps) == pytest.approx(80.0)


def test_many_shots_at_once_are_the_shots_one_by_one():
    rng = np.random.default_rng(4)
    speed, k = rng.uniform(50, 120, (5000, 1)), rng.uniform(0, 3e-3, (5000, 1))
    distance = np.array([10.0, 50.0, 90.0])
    angle = sight_angle(speed, k, distance, peep_m=0.1)
    flight = fly(speed, angle[:, :1], k, distance, peep_m=0.1, crosswind_mps=2.0)
    assert angle.shape == flight.height_m.shape == flight.distance_m.shape == (5000, 3)
    for i in (0, 2047, 2048, 4999):
        alone = fly(speed[i], angle[i, 0], k[i], distance, peep_m=0.1, crosswind_mps=2.0)
        np.testing.assert_allclose(flight.height_m[i], alone.height_m, atol=1e-11)
        np.testing.assert_allclose(flight.drift_m[i], alone.drift_m, atol=1e-11)


def test_no_shots_are_no_flights():
    assert fly([], 0.0, 1e-3, 20.0).height_m.shape == (0,)
    assert sight_angle([], 1e-3, 20.0, peep_m=0.1).shape == (0,)


@pytest.mark.parametrize(("change", "field"), [
    ({"speed_mps": 0.0}, "speed_mps"),
    ({"speed_mps": -80.0}, "speed_mps"),
    ({"speed_mps": 280.0}, "ft/s"),
    ({"speed_mps": math.nan}, "speed_mps"),
    ({"speed_mps": "fast"}, "speed_mps"),
    ({"angle_rad": 5.0}, "degrees"),
    ({"drag_per_m": -1e-3}, "drag_per_m"),
    ({"drag_per_m": 2.0}, "drag_per_m"),
    ({"distance_m": -1.0}, "distance_m"),
    ({"distance_m": math.inf}, "distance_m"),
    ({"peep_m": 101.6}, "peep_m"),
    ({"slope_rad": 30.0}, "slope_rad"),
    ({"crosswind_mps": math.nan}, "crosswind_mps"),
    ({"headwind_mps": 500.0}, "headwind_mps"),
    ({"speed_mps": [80.0, 90.0], "distance_m": [10.0, 20.0, 30.0]}, "shapes"),
    ({"speed_mps": 20.0, "slope_rad": 1.2}, "reach"),
    ({"drag_per_m": 0.1, "distance_m": 90.0}, "drag_per_m and distance_m"),
])  # fmt: skip
def test_what_cannot_be_is_refused_by_name(change, field):
    shot = {"speed_mps": 80.0, "angle_rad": 0.02, "drag_per_m": 1e-3, "distance_m": 40.0} | change
    with pytest.raises(RigError, match=field):
        fly(**shot)


@pytest.mark.parametrize(("change", "field"), [
    ({"distance_m": 0.0}, "distance_m"),
    ({"speed_mps": 18.0}, "reach"),
    ({"peep_m": math.nan}, "peep_m"),
])  # fmt: skip
def test_no_angle_for_what_cannot_be(change, field):
    shot = {"speed_mps": 80.0, "drag_per_m": 1e-3, "distance_m": 40.0, "peep_m": 0.1} | change
    with pytest.raises(RigError, match=field):
        sight_angle(**shot)


def test_the_reference_refuses_what_it_cannot_reach():
    with pytest.raises(RigError, match="reach"):
        fly_reference(20.0, 0.02, 1e-3, 40.0, slope_rad=1.2)
