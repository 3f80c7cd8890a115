"""Tightness of builds against published examples, scipy, pingouin, and laws."""

import json
import math

import numpy as np
import pandas as pd
import pingouin
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from groupscan.errors import StatisticsError
from groupscan.stats.group.shape import sphericity_p
from groupscan.stats.power import arrows_for_sigma_ratio, power_sigma_ratio
from groupscan.stats.scatter import (
    bartlett,
    brown_forsythe,
    f_ratio,
    reduced,
    scatter_about,
)
from groupscan.stats.tightness import compare_builds, compare_tightness

# A made-up field point and broadhead session, inches, worked outside this project.
FIELD = [(0.4, -0.6), (-0.8, 0.3), (0.9, 0.7), (-0.2, -1.1), (0.6, 0.2), (-0.5, 0.8)]
HEADS = [(1.7, -1.2), (0.3, -2.4), (2.5, 0.4), (1.1, -0.1), (2.9, -1.9), (0.8, 1.0)]

# Gear diameters, NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.7: ten batches.
GEAR = np.array(
    [
        [1.006, 0.996, 0.998, 1.000, 0.992, 0.993, 1.002, 0.999, 0.994, 1.000],
        [0.998, 1.006, 1.000, 1.002, 0.997, 0.998, 0.996, 1.000, 1.006, 0.988],
        [0.991, 0.987, 0.997, 0.999, 0.995, 0.994, 1.000, 0.999, 0.996, 0.996],
        [1.005, 1.002, 0.994, 1.000, 0.995, 0.994, 0.998, 0.996, 1.002, 0.996],
        [0.998, 0.998, 0.982, 0.990, 1.002, 0.984, 0.996, 0.993, 0.980, 0.996],
        [1.009, 1.013, 1.009, 0.997, 0.988, 1.002, 0.995, 0.998, 0.981, 0.996],
        [0.990, 1.004, 0.996, 1.001, 0.998, 1.000, 1.018, 1.010, 0.996, 1.002],
        [0.998, 1.000, 1.006, 1.000, 1.002, 0.996, 0.998, 0.996, 1.002, 1.006],
        [1.002, 0.998, 0.996, 0.995, 0.996, 1.004, 1.004, 0.998, 0.999, 0.991],
        [0.991, 0.995, 0.984, 0.994, 0.997, 0.997, 0.991, 0.998, 1.004, 0.997],
    ]
)

places = st.floats(-500, 500).map(lambda value: round(value, 3))
groups = st.integers(1, 12).flatmap(lambda n: hnp.arrays(float, (n, 2), elements=places))
steady = settings(deadline=None, max_examples=50)


def squares(values):
    return ((values - values.mean(axis=-1, keepdims=True)) ** 2).sum(axis=-1)


def scattered(seed, n, sigma=10.0):
    return np.random.default_rng(seed).normal(0.0, sigma, (n, 2))


def turned(shots, angle):
    cosine, sine = math.cos(angle), math.sin(angle)
    return np.asarray(shots) @ np.array([[cosine, sine], [-sine, cosine]])


class TestAgainstPublished:
    def test_worked_field_points_and_broadheads(self):
        found = compare_tightness(HEADS, FIELD, shape="circular")
        assert found.ratio.value == pytest.approx(1.672116, abs=1e-6)
        assert found.ratio.low == pytest.approx(0.867326, abs=1e-6)
        assert found.ratio.high == pytest.approx(3.223670, abs=1e-6)
        assert found.p_value == pytest.approx(0.120306, abs=1e-6)

    def test_ceramic_strength(self):
        # NIST/SEMATECH e-Handbook, section 1.3.5.9: two batches of 240, s 65.54909 and 61.85425
        # (from memory); F, p and limits re-derived from these.
        first, second = (np.array(239 * s**2) for s in (65.54909, 61.85425))
        ratio, low, high, p = f_ratio((first, 239), (second, 239), 0.95)
        assert ratio**2 == pytest.approx(1.123037, abs=1e-6)
        assert (low**2, high**2) == pytest.approx((0.870987, 1.448027), abs=1e-6)
        assert 2 * min(p, 1 - p) == pytest.approx(0.370383, abs=1e-6)

    def test_gear_batches_6_and_8(self):
        # Re-derived from the handbook's data.
        first, second = squares(GEAR[5]), squares(GEAR[7])
        ratio, low, high, p = f_ratio((first, 9), (second, 9), 0.95)
        assert ratio**2 == pytest.approx(7.429054, abs=1e-6)
        assert (low**2, high**2) == pytest.approx((1.845272, 29.909328), abs=1e-5)
        assert 2 * min(p, 1 - p) == pytest.approx(0.006333, abs=1e-6)

    def test_bartlett_on_gear(self):
        # Section 1.3.5.7 prints 20.785873.
        statistic, p = bartlett(list(squares(GEAR)), [9] * 10)
        assert statistic == pytest.approx(20.785873, abs=1e-6)
        assert (statistic, p) == pytest.approx(tuple(scipy.stats.bartlett(*GEAR)))

    def test_brown_forsythe_on_gear(self):
        # Section 1.3.5.10 prints 1.705910 (from memory); re-derived 1.705918.
        away = np.abs(GEAR - np.median(GEAR, axis=1, keepdims=True))
        statistic, p = brown_forsythe(list(away))
        assert statistic == pytest.approx(1.705918, abs=1e-6)
        assert (statistic, p) == pytest.approx(tuple(scipy.stats.levene(*GEAR)))

    def test_both_tests_equal_pingouin(self):
        frame = pd.DataFrame({"batch": np.repeat(np.arange(10), 10), "diameter": GEAR.ravel()})
        away = np.abs(GEAR - np.median(GEAR, axis=1, keepdims=True))
        plain = pingouin.homoscedasticity(frame, dv="diameter", group="batch", method="bartlett")
        robust = pingouin.homoscedasticity(
            frame, dv="diameter", group="batch", method="levene", center="median"
        )
        assert bartlett(list(squares(GEAR)), [9] * 10)[1] == pytest.approx(plain["pval"].iloc[0])
        assert brown_forsythe(list(away))[1] == pytest.approx(robust["pval"].iloc[0])

    def test_circle_tests_of_builds_are_joined_by_fishers_method(self):
        shots = {name: scattered(i, 12) * (1, 2) for i, name in enumerate("AB")}
        each = [float(sphericity_p(scatter_about(xy)[0], 11)) for xy in shots.values()]
        joined = scipy.stats.combine_pvalues(each, method="fisher").pvalue
        (note,) = compare_builds(shots).notes
        assert f"(p = {joined:.2g})" in note


class TestLaws:
    @steady
    @given(st.integers(0, 10_000), st.floats(-3, 3), st.floats(0.1, 30))
    def test_turned_moved_and_scaled_builds_compare_alike(self, seed, angle, factor):
        first, second = scattered(seed, 7, 8.0), scattered(seed + 1, 9)
        was = compare_tightness(first, second)
        moved = compare_tightness(
            factor * turned(first, angle) + (30, -20), factor * turned(second, angle)
        )
        assert moved.ratio.value == pytest.approx(was.ratio.value)
        assert moved.p_value == pytest.approx(was.p_value)
        assert moved.verdict == was.verdict

    @steady
    @given(st.integers(0, 10_000))
    def test_any_squeeze_of_both_leaves_the_ratio_of_areas(self, seed):
        first, second = scattered(seed, 7, 8.0), scattered(seed + 1, 9)
        squeeze = np.array([[2.0, 0.3], [0.0, 0.5]])
        was = compare_tightness(first, second)
        now = compare_tightness(first @ squeeze, second @ squeeze)
        assert now.ratio.value == pytest.approx(was.ratio.value)
        assert now.p_value == pytest.approx(was.p_value)

    def test_swapped_builds_give_the_reciprocal(self):
        first, second = scattered(1, 20, 5.0), scattered(2, 30)
        there, back = compare_tightness(first, second), compare_tightness(second, first)
        assert back.ratio.value == pytest.approx(1 / there.ratio.value)
        assert back.ratio.low == pytest.approx(1 / there.ratio.high)
        assert (there.verdict, back.verdict) == ("A is tighter", "B is tighter")
        assert there.sure == pytest.approx(back.sure)

    def test_a_sight_moved_between_ends_does_not_widen_a_build(self):
        first, second = scattered(1, 24), scattered(2, 24)
        ends = np.repeat(np.arange(6), 4)
        moved = first + 100.0 * ends[:, None]
        still = compare_tightness(first, second, ends=(ends, ends))
        assert compare_tightness(moved, second, ends=(ends, ends)).ratio.value == pytest.approx(
            still.ratio.value
        )

    def test_area_ratio_has_the_distribution_of_its_degrees_of_freedom(self):
        # Root of the generalized variance against its chi-square, elliptical and tilted.
        shots = np.random.default_rng(5).normal(size=(20_000, 6, 2)) @ [[3.0, 1.0], [0.0, 0.5]]
        square, df = reduced(*scatter_about(shots), "elliptical")
        scaled = square / 1.5  # The root of the determinant of the true covariance.
        assert df == 8
        assert scipy.stats.kstest(scaled, scipy.stats.chi2(8).cdf).pvalue > 0.001


class TestVerdict:
    def test_many_arrows_alike_are_together(self):
        first, second = scattered(1, 900), scattered(2, 900)
        found = compare_tightness(first, second, worth_ratio=1.25)
        assert found.verdict == "together"
        assert found.more_arrows is None

    def test_arrows_wanting_are_those_of_the_power(self):
        found = compare_tightness(scattered(1, 8), scattered(2, 8), worth_ratio=1.5)
        assert found.verdict == "not enough arrows"
        # The ellipse costs one arrow more than the circle that the power is tabled for.
        enough = 8 + found.more_arrows - 1
        assert power_sigma_ratio(enough, enough, 1.5) >= 0.8
        assert power_sigma_ratio(enough - 1, enough - 1, 1.5) < 0.8

    def test_several_builds_pay_for_the_number_of_questions(self):
        shots = {name: scattered(i, 12, 6.0 + 2 * i) for i, name in enumerate("ABCD")}
        many = compare_builds(shots)
        alone = {
            (pair.first, pair.second): compare_tightness(
                shots[pair.first], shots[pair.second], names=(pair.first, pair.second)
            )
            for pair in many.pairs
        }
        assert len(many.pairs) == 6
        wanted = compare_builds({name: scattered(i, 8) for i, name in enumerate("ABC")})
        enough = {8 + pair.more_arrows - 1 for pair in wanted.pairs}
        assert enough == {arrows_for_sigma_ratio(1.25, level=0.05 / 3)}
        for pair in many.pairs:
            one = alone[pair.first, pair.second]
            assert pair.p_value >= one.p_value
            assert pair.ratio.low < one.ratio.low < one.ratio.high < pair.ratio.high
        assert many.pairs[0].p_value == pytest.approx(
            min(1, 6 * min(one.p_value for one in alone.values()))
        )

    def test_one_wild_shot_that_makes_the_difference_is_told(self):
        calm = scattered(1, 12, 10.0)
        wild = scattered(8, 12, 8.0)
        wild[0] = (150.0, 150.0)
        found = compare_tightness(calm, wild)
        assert found.verdict == "A is tighter"
        assert any("flyer" in note for note in found.notes) == (found.robust_p > 0.05)
        assert found.robust_p > found.p_value

    def test_long_groups_are_said_to_be_long(self):
        long = scattered(1, 20) * (1, 6)
        found = compare_builds({"A": long, "B": scattered(2, 20)})
        assert any("longer than wide" in note for note in found.notes)


class TestBadInput:
    @steady
    @given(groups, groups, st.sampled_from(["circular", "elliptical"]))
    def test_no_shots_crash_it(self, first, second, shape):
        found = compare_tightness(first, second, shape=shape)
        json.dumps(found.to_dict(), allow_nan=False)
        assert found.verdict in ("A is tighter", "B is tighter", "together", "not enough arrows")
        if math.isnan(found.ratio.value):
            assert found.notes
            assert found.verdict == "not enough arrows"
        else:
            assert found.ratio.low <= found.ratio.value <= found.ratio.high

    @pytest.mark.parametrize(
        ("shots", "said"),
        [
            ([(1, 1)], "one shot"),
            ([(1, 1)] * 4, "at one point"),
            ([(1, 1), (2, 2), (3, 3), (5, 5)], "on one line"),
            ([(1, 1), (2, 3)], "too few shots"),
        ],
    )
    def test_what_cannot_be_compared_is_named(self, shots, said):
        found = compare_tightness(shots, scattered(1, 8))
        assert math.isnan(found.ratio.value)
        assert any(said in note for note in found.notes)

    def test_wrong_calls_say_what_was_wrong(self):
        good = scattered(1, 5)
        with pytest.raises(StatisticsError, match="two or more"):
            compare_builds({"A": good})
        with pytest.raises(StatisticsError, match="two different"):
            compare_tightness(good, good, names=("A", "A"))
        with pytest.raises(StatisticsError, match="more than 1"):
            compare_tightness(good, good, worth_ratio=0.9)
        with pytest.raises(StatisticsError, match="shape"):
            compare_tightness(good, good, shape="square")
        with pytest.raises(StatisticsError, match="end labels"):
            compare_tightness(good, good, ends=([1, 2], [1] * 5))
        with pytest.raises(StatisticsError, match="no end labels"):
            compare_builds({"A": good, "B": good}, ends={"A": [1] * 5})

    def test_table_of_pairs(self):
        frame = compare_builds({name: scattered(i, 9) for i, name in enumerate("ABC")}).to_frame()
        assert len(frame) == 3
        assert {"ratio", "ratio_low", "verdict", "more_arrows"} <= set(frame.columns)
