"""Speed, drag and peep height from groups: known answers, other programs, laws, refusals."""

import math

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.stats import bartlett, norm, t

from groupscan.errors import RigError
from groupscan.rigs.drag import LAMINAR as LAMINAR_CD
from groupscan.rigs.drag import TURBULENT as TURBULENT_CD
from groupscan.rigs.drag import drag_per_m
from groupscan.rigs.fit import ANY_ARROW_PER_M, fit_groups
from groupscan.rigs.fit.design import read_groups
from groupscan.rigs.fit.intervals import holds, limits, value_of
from groupscan.rigs.fit.notes import data_notes
from groupscan.rigs.fit.solve import solve
from groupscan.rigs.flight import fly, sight_angle

INCH, YARD = 25.4, 0.9144
SPEED, PEEP, RADIUS = 85.344, 101.6, 863.6
# 535 gr, 6 mm, air of 1.225 kg/m3; Cd 1.5 (laminar), 2.0 and 2.6 (turbulent).
LAMINAR, DRAG, TURBULENT = 7.493216e-4, 9.990955e-4, 1.2988241e-3
PUBLISHED = (LAMINAR, TURBULENT)

# Worked trajectories, re-derived for this project by scipy's DOP853 (relative tolerance 1e-12) and
# a Runge-Kutta of its own: height over the line of sight, inches, with the 20 yd pin, 280 ft/s,
# peep 4.0 in above the arrow.
DROPS_YD = np.array([5, 10, 15, 20, 25, 30, 35, 40, 50, 60, 80])
DROPS_IN = {
    LAMINAR: (-1.31829, 0.24741, 0.68941, 0, -1.82861, -4.80425, -8.93481, -14.22823, -28.33570,
              -47.19133, -99.41047),
    DRAG: (-1.31185, 0.25773, 0.69847, 0, -1.84812, -4.85646, -9.03565, -14.39645, -28.70637,
           -47.87425, -101.14444),
    TURBULENT: (-1.30408, 0.27019, 0.70940, 0, -1.87174, -4.91971, -9.15796, -14.60071, -29.15750,
                -48.70738, -103.27020),
}  # fmt: skip


def heights(distance, pin_yd=20, drag=DRAG, speed=SPEED, peep=PEEP):
    angle = sight_angle(speed, drag, pin_yd * YARD, peep_m=peep / 1000)
    return 1000 * fly(speed, angle, drag, distance, peep_m=peep / 1000).height_m


def groups(seed, yards=(10, 20, 30, 40, 50, 60, 70), shots=12, sigma=1.0, **rig):
    """Groups with scatter sigma (mrad): distances, heights, standard errors and shots."""
    rng = np.random.default_rng(seed)
    distance = np.array(yards) * YARD
    shot = heights(distance, **rig) + sigma * distance * rng.standard_normal((shots, len(distance)))
    return distance, shot.mean(axis=0), shot.std(axis=0, ddof=1) / math.sqrt(shots), shots


def fitted(data, **known):
    distance, height, se, shots = data
    return fit_groups(distance, height, se_mm=se, shots=shots, **known)


@pytest.mark.parametrize("drag", DROPS_IN)
def test_the_worked_drops_give_back_speed_drag_and_peep_height(drag):
    # The drops are printed to 5e-6 in.
    fit = fit_groups(
        DROPS_YD * YARD, np.array(DROPS_IN[drag]) * INCH, se_mm=1e-4 * DROPS_YD, shots=2
    )
    assert fit.speed_mps.value / 0.3048 == pytest.approx(280, abs=0.002)
    assert fit.drag_per_m.value == pytest.approx(drag, rel=1e-3)
    assert fit.peep_mm.value == pytest.approx(101.6, abs=1e-3)
    # The worked launch angle of the 20 yd pin, Cd 2.0: 18.020509 mrad.
    if drag == DRAG:
        assert fit.angle_rad[0] == pytest.approx(18.020509e-3, abs=1e-7)


def test_two_pins_share_one_rig():
    distance = np.array([15, 30, 45, 60, 30, 45, 60, 75]) * YARD
    height = np.concatenate([heights(distance[:4], 20), heights(distance[4:], 40)])
    fit = fit_groups(distance, height, se_mm=1e-3, shots=6, pin=[20] * 4 + [40] * 4)
    assert fit.speed_mps.value == pytest.approx(SPEED, abs=1e-4)
    assert fit.drag_per_m.value == pytest.approx(DRAG, abs=1e-7)
    expected = sight_angle(SPEED, DRAG, [20 * YARD, 40 * YARD], peep_m=PEEP / 1000)
    assert fit.angle_rad == pytest.approx(expected, abs=1e-8)


def test_estimates_and_errors_agree_with_scipy_s_curve_fit():
    data = groups(seed=2, sigma=0.3)
    distance, height, _, shots = data
    fit = fitted(data)

    def model(at, speed, drag, peep, angle):
        return 1000 * fly(speed, angle, max(drag, 0), at, peep_m=peep / 1000).height_m

    weight = distance / math.sqrt(shots)
    best, covariance = curve_fit(
        model,
        distance,
        height,
        p0=[80, 0.001, 100, 0.018],
        sigma=weight,
        x_scale=[1, 1e-4, 1, 1e-4],
        method="trf",
        xtol=1e-14,
        ftol=1e-14,
        gtol=1e-14,
    )
    found = [fit.speed_mps.value, fit.drag_per_m.value, fit.peep_mm.value, *fit.angle_rad]
    np.testing.assert_allclose(found, best, rtol=1e-4)
    # curve_fit judges the scatter by the centres about the curve alone.
    residual = ((height - model(distance, *best)) / weight) ** 2
    own = math.sqrt(residual.sum() / (len(distance) - 4))
    se = np.sqrt(np.diag(covariance)) / own * fit.scatter_mrad
    correlation = covariance[0, 1] / math.sqrt(covariance[0, 0] * covariance[1, 1])
    assert fit.correlation["speed", "drag"] == pytest.approx(correlation, abs=1e-3)
    solution = fit.solutions[0]
    # Speed is the root of one over the first parameter.
    by_first = -(fit.speed_mps.value**3) / 2
    own_se, _ = solution.spread(np.array([[by_first, 0, 0, 0]]))
    assert own_se[0] == pytest.approx(se[0], rel=1e-3)
    # A profile interval is as wide as the linear one, about.
    half = (fit.peep_mm.high - fit.peep_mm.low) / 2
    assert half == pytest.approx(1.99 * se[2], rel=0.03)


def test_groups_tell_the_same_as_all_their_single_shots():
    rng = np.random.default_rng(5)
    distance = np.repeat(np.array([10, 20, 35, 50, 65, 80]) * YARD, 8)
    shot = heights(distance) + 0.5 * distance * rng.standard_normal(len(distance))
    single = fit_groups(distance, shot, se_mm=math.nan, shots=1)
    by_group = shot.reshape(6, 8)
    together = fit_groups(
        distance[::8],
        by_group.mean(axis=1),
        se_mm=by_group.std(axis=1, ddof=1) / math.sqrt(8),
        shots=8,
    )
    assert together.df == pytest.approx(single.df) == 44
    assert together.scatter_mrad == pytest.approx(single.scatter_mrad)
    for name in ("speed_mps", "drag_per_m", "peep_mm"):
        one, other = getattr(single, name), getattr(together, name)
        assert [other.value, other.low, other.high] == pytest.approx(
            [one.value, one.low, one.high], rel=1e-4
        )


def test_what_was_measured_beside_counts_by_its_own_error():
    data = groups(seed=1)
    loose = {"published_drag_per_m": (0.0, 0.02)}
    alone = fitted(data, **loose)
    # An error so large that it says nothing, and one so small that it says all.
    idle = fitted(data, speed_mps=(100.0, 190.0), peep_mm=(150.0, 299.0), **loose)
    assert idle.speed_mps.value == pytest.approx(alone.speed_mps.value, rel=2e-3)
    sure = fitted(data, speed_mps=(SPEED, 1e-3), peep_mm=(PEEP, 1e-3), **loose)
    assert sure.speed_mps.value == pytest.approx(SPEED, abs=0.002)
    assert sure.peep_mm.value == pytest.approx(PEEP, abs=0.002)
    # Nothing but the chronograph's own normal error is left.
    z = norm.ppf(0.975)
    assert (sure.speed_mps.high - sure.speed_mps.low) / 2 == pytest.approx(z * 1e-3, rel=0.01)
    widths = [fit.drag_per_m.high - fit.drag_per_m.low for fit in (sure, alone)]
    assert widths[0] < widths[1] / 2


def test_a_pin_pair_at_20_and_40_yards_cannot_tell_the_drag():
    # Worked out for this project: the gap is 8.2 to 8.8 mm for every drag up to turbulent flow.
    distance = np.array([20, 40]) * YARD
    for drag in PUBLISHED:
        angle = sight_angle(SPEED, drag, distance, peep_m=PEEP / 1000)
        fit = fit_groups(
            distance,
            [0.0, 0.0],
            se_mm=[8.0, 16.0],
            shots=6,
            pin=[0, 1],
            speed_mps=(SPEED, 0.5),
            peep_mm=(PEEP, 2.0),
            gap_mm=[RADIUS * float(np.diff(np.tan(angle))[0])],
            gap_se_mm=0.1,
            radius_mm=RADIUS,
            published_drag_per_m=PUBLISHED,
        )
        assert not fit.drag_fitted
        assert any("cannot tell the drag" in note for note in fit.notes)
        assert (fit.drag_per_m.low, fit.drag_per_m.high) == PUBLISHED
        assert fit.speed_mps.low < SPEED < fit.speed_mps.high


def test_a_drag_held_widens_the_other_intervals_by_its_whole_range():
    data = groups(seed=4, yards=(20, 30, 40, 50), sigma=0.5)
    peep = (PEEP, 1.0)
    over = fitted(data, peep_mm=peep, published_drag_per_m=PUBLISHED)
    each = [fitted(data, peep_mm=peep, published_drag_per_m=(k, k)) for k in PUBLISHED]
    assert not over.drag_fitted
    assert over.speed_mps.low == pytest.approx(min(one.speed_mps.low for one in each))
    assert over.speed_mps.high == pytest.approx(max(one.speed_mps.high for one in each))
    pins = [one.pins([60 * YARD], radius_mm=RADIUS) for one in (over, *each)]
    assert pins[0].low_mm[0] == pytest.approx(min(one.low_mm[0] for one in pins[1:]))
    assert pins[0].high_mm[0] == pytest.approx(max(one.high_mm[0] for one in pins[1:]))


def test_a_drag_that_the_data_tell_is_fitted():
    fit = fitted(
        groups(seed=6, sigma=0.2, shots=24),
        speed_mps=(SPEED, 0.1),
        peep_mm=(PEEP, 1.0),
        published_drag_per_m=PUBLISHED,
    )
    assert fit.drag_fitted
    assert fit.drag_per_m.low < DRAG < fit.drag_per_m.high
    assert fit.drag_per_m.high - fit.drag_per_m.low < TURBULENT - LAMINAR
    assert fit.notes == ()


def test_a_drag_fitted_far_from_what_is_published_is_remarked():
    fit = fitted(
        groups(seed=6, sigma=0.2, shots=24, drag=3e-3),
        speed_mps=(SPEED, 0.1),
        peep_mm=(PEEP, 1.0),
        published_drag_per_m=PUBLISHED,
    )
    assert any("outside the published" in note for note in fit.notes)


def test_speed_and_drag_that_cannot_be_told_apart_are_told_so():
    held = fitted(groups(seed=7, yards=(40, 45, 50, 55, 60), shots=100), peep_mm=(PEEP, 2))
    assert not held.drag_fitted
    assert (held.drag_per_m.low, held.drag_per_m.high) == ANY_ARROW_PER_M
    assert "cannot tell the drag from the speed (correlation 0.99" in held.notes[0]
    # A range wide enough lets the drag be fitted, with a warning.
    loose = fitted(
        groups(seed=7, yards=(10, 20, 30, 40, 50, 60, 70), shots=100),
        published_drag_per_m=(0.0, 0.02),
    )
    assert loose.drag_fitted
    assert loose.correlation["speed", "drag"] > 0.98
    assert any("hardly tell the drag" in note for note in loose.notes)


def test_the_drag_of_usual_arrows_is_what_the_published_coefficients_give():
    thin = drag_per_m(mass_g=42, diameter_mm=5, cd=LAMINAR_CD.value, density=1.2)
    thick = drag_per_m(mass_g=23, diameter_mm=8, cd=TURBULENT_CD.value, density=1.2)
    np.testing.assert_allclose(ANY_ARROW_PER_M, [thin, thick], rtol=0.05)


def test_groups_that_leave_the_curve_are_told_and_widen_the_intervals():
    distance, height, se, shots = groups(seed=8, sigma=0.3)
    good = fitted((distance, height, se, shots), peep_mm=(PEEP, 2))
    moved = height + 2.0 * distance * np.array([1, -1, 1, -1, 1, -1, 1])
    bad = fitted((distance, moved, se, shots), peep_mm=(PEEP, 2))
    assert good.lack_of_fit_p > 0.01 > bad.lack_of_fit_p
    assert bad.lack_of_fit_p < 0.001
    assert any("farther from the curve" in n and "(p < 0.001)" in n for n in bad.notes)
    assert bad.scatter_mrad > 5 * good.scatter_mrad
    assert bad.df < 5


def test_scatter_that_grows_otherwise_is_told():
    distance, height, se, shots = groups(seed=9, yards=(10, 20, 30, 40, 50, 60), shots=24)
    squared = se * distance / distance[0]
    known = {"peep_mm": (PEEP, 2), "published_drag_per_m": PUBLISHED}
    assert not any("does not grow" in note for note in fitted(groups(seed=9), **known).notes)
    assert any(
        "does not grow" in note
        for note in fitted((distance, height, squared, shots), **known).notes
    )
    square = fitted((distance, height, squared, shots), growth=2, **known)
    assert not any("does not grow" in note for note in square.notes)


def test_the_test_of_equal_scatter_is_bartlett_s():
    rng = np.random.default_rng(10)
    samples = [scale * rng.standard_normal(n) for scale, n in ((1, 6), (1.5, 12), (3, 9))]
    variance = np.array([sample.var(ddof=1) for sample in samples])
    shots = np.array([len(sample) for sample in samples], float)
    expected = bartlett(*samples).pvalue
    assert 0.001 < expected < 0.01  # smaller ones are told without their digits
    note = next(data_notes(variance, shots, math.nan, 24.0, 1.0))
    assert f"p = {expected:.2g}" in note


def test_predicted_pins_are_the_rig_s_and_surer_from_the_pin_that_was_held():
    at = np.array([20, 30, 40, 50, 60]) * YARD
    truth = RADIUS * np.tan(sight_angle(SPEED, DRAG, at, peep_m=PEEP / 1000))
    fit = fitted(groups(seed=11), peep_mm=(PEEP, 2), published_drag_per_m=PUBLISHED)
    pins = fit.pins(at, radius_mm=RADIUS)
    below = fit.pins(at, radius_mm=RADIUS, below_pin=0)
    assert ((pins.low_mm < truth) & (truth < pins.high_mm)).all()
    moved = truth - truth[0]
    assert ((below.low_mm < moved) & (moved < below.high_mm)).all()
    assert (below.high_mm - below.low_mm < pins.high_mm - pins.low_mm).all()
    assert list(below.to_frame()) == ["distance_m", "position_mm", "low_mm", "high_mm"]
    frame = fit.to_frame()
    assert frame["what"].tolist() == ["launch speed", "drag", "peep height"]
    assert frame["value"].tolist()[0] == fit.speed_mps.value


def test_a_higher_confidence_is_wider():
    data = groups(seed=12)
    narrow, wide = (fitted(data, peep_mm=(PEEP, 2), confidence=c) for c in (0.8, 0.99))
    assert wide.speed_mps.low < narrow.speed_mps.low < narrow.speed_mps.value
    assert wide.speed_mps.high > narrow.speed_mps.high


def test_where_the_problem_is_linear_the_interval_is_student_s():
    # With the drag held the heights are linear in all but rounding.
    for seed in range(12):
        fit = fitted(groups(seed=seed), published_drag_per_m=(DRAG, DRAG))
        se, df = fit.solutions[0].spread(np.array([[0.0, 1.0, 0.0]]))
        half = t.ppf(0.975, df[0]) * se[0]
        ends = [fit.peep_mm.value - half, fit.peep_mm.value + half]
        assert [fit.peep_mm.low, fit.peep_mm.high] == pytest.approx(ends, rel=1e-4)


WEAK = {
    "lopsided": ((20, 30, 40, 50, 60, 70), 1.5, {}),
    # Five groups close together and far scattered say next to nothing about the peep.
    "far off": ((20, 25, 30, 35, 40), 5.0, {"drag": np.array([DRAG])}),
}


@pytest.mark.parametrize("seed", [0, 2, 4, 9, 11])
@pytest.mark.parametrize("weak", WEAK)
def test_limits_lie_where_the_sum_of_squares_has_risen_by_t_squared(weak, seed):
    yards, sigma, held = WEAK[weak]
    distance, height, se, shots = groups(seed=seed, yards=yards, sigma=sigma)
    design, seen, _, _ = read_groups(distance, height, se, shots, None, 1.0)
    solution = solve(design, seen, held)
    for name in {"speed", "drag", "peep"} - set(held):
        value = float(value_of(solution, name)[0])
        low, high = limits(design, seen, solution, name, 0.95)
        assert low < value < high
        for end, way in ((low, -1), (high, 1)):
            if math.isfinite(end):
                step = 1e-3 * way * abs(end - value)
                inner, outer = (
                    holds(design, seen, solution, name, end + by * step, 0.95) for by in (-1, 1)
                )
                assert inner.all()
                assert not outer.any()


def test_a_limit_beyond_reach_is_none():
    found = set()
    for yards in ((20, 25, 30, 35), (20, 30, 40, 50, 60)):
        distance, height, se, shots = groups(seed=0, yards=yards, sigma=5.0)
        design, seen, _, _ = read_groups(distance, height, se, shots, None, 1.0)
        solution = solve(design, seen, {"drag": np.array([DRAG])})
        _, high = limits(design, seen, solution, "speed", 0.95)
        # Speed is searched for up to 195 m/s.
        reaches = bool(holds(design, seen, solution, "speed", 195.0, 0.95)[0])
        assert math.isinf(high) == reaches
        found.add(reaches)
    assert found == {True, False}


def test_the_order_of_the_groups_does_not_matter():
    distance, height, se, shots = groups(seed=13)
    there = fitted((distance, height, se, shots), peep_mm=(PEEP, 2))
    back = fitted((distance[::-1], height[::-1], se[::-1], shots), peep_mm=(PEEP, 2))
    assert back.speed_mps.low == pytest.approx(there.speed_mps.low, rel=1e-6)


GOOD = {"se_mm": [8.0, 12.0, 16.0, 20.0], "shots": 6, "published_drag_per_m": PUBLISHED}
AT = np.array([20, 30, 40, 50]) * YARD


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"distance_m": [-20, 30, 40, 50]}, "distance_m"),
        ({"distance_m": [0, 30, 40, 50]}, "distance_m"),
        ({"distance_m": AT * 1000}, "distance_m"),
        ({"height_mm": [0, math.nan, -1, -2]}, "height_mm"),
        ({"height_mm": [0, -10]}, "height_mm"),
        ({"se_mm": [1, 1, -1, 1]}, "se_mm"),
        ({"se_mm": [1, 1, math.nan, 1]}, "se_mm"),
        ({"se_mm": 0.0}, "se_mm"),
        ({"se_mm": "wide"}, "se_mm"),
        ({"shots": 0}, "shots"),
        ({"shots": 2.5}, "shots"),
        ({"pin": [0, 1]}, "pin"),
        ({"speed_mps": (280.0, 1.0)}, "speed_mps"),
        ({"speed_mps": (85.0, 0.0)}, "speed_mps"),
        ({"speed_mps": 85.0}, "speed_mps"),
        ({"peep_mm": (-4.0, 1.0)}, "peep_mm"),
        ({"gap_mm": [8.0]}, "gap_mm"),
        ({"gap_mm": [8.0], "pin": [0, 0, 1, 1]}, "gap_se_mm"),
        ({"published_drag_per_m": (0.002, 0.001)}, "published_drag_per_m"),
        ({"published_drag_per_m": 0.001}, "published_drag_per_m"),
        ({"published_drag_per_m": (-0.1, 0.001)}, "published_drag_per_m"),
        ({"growth": -1}, "growth"),
        ({"confidence": 95}, "confidence"),
    ],
)
def test_what_cannot_be_is_refused_by_name(change, field):
    given = {"distance_m": AT, "height_mm": heights(AT), **GOOD, **change}
    with pytest.raises(RigError, match=field):
        fit_groups(given.pop("distance_m"), given.pop("height_mm"), **given)


@pytest.mark.parametrize(
    ("yards", "known"),
    [
        ((20, 30), {"published_drag_per_m": PUBLISHED}),
        ((30, 30, 30, 30), {"published_drag_per_m": PUBLISHED}),
        ((20, 30), {"peep_mm": (PEEP, 2), "pin": [0, 1]}),
    ],
)
def test_too_few_distances_are_refused_with_what_would_help(yards, known):
    at = np.array(yards) * YARD
    with pytest.raises(RigError, match=r"distance_m.*shoot at more distances"):
        fit_groups(at, heights(at), se_mm=5.0, shots=6, **known)


def test_single_arrows_at_no_more_distances_than_unknowns_are_refused():
    at = np.array([20, 40, 60]) * YARD
    with pytest.raises(RigError, match="shots"):
        fit_groups(at, heights(at), se_mm=0.0, shots=1, published_drag_per_m=PUBLISHED)


def test_many_groups_of_two_distances_are_two_places_of_the_curve():
    far = np.array([20, 20, 20, 30]) * YARD
    flat = (5.6, 2.4, 7.3, 8.3)  # as aimed with a pin each
    with pytest.raises(RigError, match="shoot at more distances"):
        fit_groups(far, flat, se_mm=(2.9, 4.2, 3.1, 5.6), shots=18)
    told = fit_groups(far, heights(far), se_mm=3.0, shots=18, speed_mps=(SPEED, 0.2))
    assert not told.drag_fitted
    assert told.peep_mm.low < PEEP < told.peep_mm.high


def test_groups_that_only_arrows_that_fall_short_would_fit_are_spoken_of_as_groups():
    beside = {"speed_mps": (30, 20), "peep_mm": (110.0, 2.0)}
    far = np.array([10.0, 70.0])
    with pytest.raises(RigError, match="these groups cannot tell"):
        fit_groups(far, (7.7, -102.0), se_mm=0.75 * far, shots=(5, 2), **beside)
    far = np.array([15.0, 30.0, 60.0, 70.0])  # here no limit of the interval is left
    high, shots = (53.0, -167.9, -2069.2, -2567.1), (2, 3, 2, 7)
    told = fit_groups(far, high, se_mm=0.75 * far, shots=shots, **beside)
    of_all = (told.speed_mps, told.drag_per_m, told.peep_mm)
    assert any(math.isinf(one.low) or math.isinf(one.high) for one in of_all)
