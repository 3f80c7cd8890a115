"""Main axis, height against width and pattern of a group, against statsmodels, scipy and laws."""

import math

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.multivariate import test_cov_spherical as cov_spherical

from groupscan.stats.group import measure_group
from groupscan.stats.group.shape import (
    PATTERN_CAUSES,
    height_ratio_limits,
    measure_shape,
    pitman_morgan_p,
    principal_axes,
    sphericity_p,
)

steady = settings(deadline=None)


def scattered(seed, n, wide=1.0, high=1.0):
    return np.random.default_rng(seed).standard_normal((n, 2)) * (wide, high)


def scatter_of(shots):
    away = shots - shots.mean(axis=0)
    return away.T @ away


def turned(shots, angle):
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    return shots @ turn.T


class TestAgainstOthers:
    @pytest.mark.parametrize("n", [4, 9, 40])
    def test_sphericity_statistic_is_statsmodels(self, n):
        # statsmodels refers -(n - 1 - (2 k^2 + k + 2)/(6 k)) log W to chi-square; W is the same.
        shots = scattered(n, n, 1, 2)
        theirs = cov_spherical(np.cov(shots.T), n)
        w = math.exp(-theirs.statistic / (n - 1 - 12 / 12))
        assert sphericity_p(scatter_of(shots), n - 1) == pytest.approx(w ** ((n - 2) / 2))

    def test_sphericity_by_the_eigenvalue_ratio_of_many_groups(self):
        shots = np.random.default_rng(2).standard_normal((4000, 6, 2))
        away = shots - shots.mean(axis=1, keepdims=True)
        p = sphericity_p(np.swapaxes(away, 1, 2) @ away, 5)
        assert scipy.stats.kstest(p, "uniform").pvalue > 1e-4

    @pytest.mark.parametrize("n", [3, 7, 30])
    def test_pitman_morgan_is_the_correlation_of_sum_and_difference(self, n):
        shots = scattered(n, n, 1, 1.7) @ np.array([[1, 0.4], [0, 1]])
        total, difference = shots.sum(axis=1), shots[:, 1] - shots[:, 0]
        expected = scipy.stats.pearsonr(total, difference).pvalue
        assert pitman_morgan_p(scatter_of(shots), n - 1) == pytest.approx(expected, rel=1e-6)

    @pytest.mark.parametrize("n", [3, 7, 30])
    def test_the_ratios_limits_are_where_the_test_says_five_per_cent(self, n):
        shots = scattered(n, n, 1, 1.7) @ np.array([[1, 0.4], [0, 1]])
        for limit in height_ratio_limits(scatter_of(shots), n - 1, 0.95):
            even = shots / (1, float(limit))
            p = scipy.stats.pearsonr(even.sum(axis=1), even[:, 1] - even[:, 0]).pvalue
            assert p == pytest.approx(0.05, abs=1e-6)

    def test_main_axis_limits_are_where_along_and_across_just_correlate(self):
        shots = turned(scattered(4, 15, 3, 1), 0.4)
        shape = measure_shape(scatter_of(shots), 15, 0.95)
        for limit in (shape.axis_rad.low, shape.axis_rad.high):
            along, across = turned(shots, -limit).T
            assert scipy.stats.pearsonr(along, across).pvalue == pytest.approx(0.05, abs=1e-6)

    @pytest.mark.parametrize("seed", range(5))
    def test_axes_are_numpys(self, seed):
        scatter = scatter_of(scattered(seed, 6, 2, 1))
        large, small, angle = principal_axes(scatter)
        assert [small, large] == pytest.approx(np.linalg.eigvalsh(scatter))
        along = np.array([math.cos(angle), math.sin(angle)])
        assert scatter @ along == pytest.approx(large * along)

    def test_worked_group(self):
        # Worked outside this project: group A, n = 5.
        shots = [(12, -7), (-5, 10), (3, 4), (-14, -2), (9, 15)]
        shape = measure_group(shots).shape
        assert math.degrees(shape.axis_rad.value) == pytest.approx(8.580959, abs=1e-6)
        assert shape.length_ratio == pytest.approx(10.64388 / 8.815203, rel=1e-6)
        assert shape.height_ratio.value == pytest.approx(8.860023 / 10.60660, rel=1e-6)
        assert shape.pattern == "round"


class TestPattern:
    @pytest.mark.parametrize(
        ("angle", "pattern"),
        [(0.0, "horizontal"), (math.pi / 2, "vertical"), (math.pi / 4, "slanted")],
    )
    def test_it_is_named_after_the_long_way(self, angle, pattern):
        group = measure_group(turned(scattered(1, 30, 40, 10), angle))
        assert group.shape.pattern == pattern
        note = next(note for note in group.notes if "common practice" in note)
        assert PATTERN_CAUSES[pattern] in note
        assert group.shape.to_dict()["usual_causes_by_common_practice"] == PATTERN_CAUSES[pattern]

    def test_three_shots_have_none(self):
        assert measure_group([(0, 0), (0, 50), (1, 100)]).shape.pattern == "not enough arrows"

    @pytest.mark.parametrize("shots", [[(1, 1)], [(1, 1), (2, 5)], [(3, 3)] * 5])
    def test_nothing_is_claimed_of_a_point_or_two(self, shots):
        shape = measure_group(shots).shape
        assert shape.pattern == "not enough arrows"
        assert math.isnan(shape.height_ratio.value)
        assert None in shape.to_dict().values()

    @pytest.mark.parametrize("angle", [0.0, 0.5, math.pi / 2])
    def test_a_line_has_an_axis_and_no_limits(self, angle):
        shots = turned(np.stack([np.arange(6.0) ** 2, np.zeros(6)], axis=1), angle)
        shape = measure_group(shots).shape
        assert math.tan(shape.axis_rad.value - angle) == pytest.approx(0, abs=1e-6)
        assert math.isinf(shape.length_ratio)
        assert math.isnan(shape.axis_rad.low)
        assert shape.to_dict()["length_ratio"] is None


class TestLaws:
    @steady
    @given(seed=st.integers(0, 500), angle=st.floats(-3, 3), factor=st.floats(0.1, 50))
    def test_turning_and_scaling(self, seed, angle, factor):
        shots = scattered(seed, 8, 3, 1)
        here = measure_shape(scatter_of(shots), 8, 0.95)
        there = measure_shape(scatter_of(factor * turned(shots, angle)), 8, 0.95)
        assert there.length_ratio == pytest.approx(here.length_ratio, rel=1e-6)
        assert there.round_p == pytest.approx(here.round_p, rel=1e-6)
        moved = there.axis_rad.value - here.axis_rad.value - angle
        assert math.sin(moved) == pytest.approx(0, abs=1e-6)

    @steady
    @given(seed=st.integers(0, 500))
    def test_width_for_height_turns_the_ratio_over(self, seed):
        shots = scattered(seed, 8, 2, 1)
        here = measure_shape(scatter_of(shots), 8, 0.95)
        there = measure_shape(scatter_of(shots[:, ::-1]), 8, 0.95)
        assert there.height_ratio.value == pytest.approx(1 / here.height_ratio.value)
        assert there.height_ratio.low == pytest.approx(1 / here.height_ratio.high)
        assert there.height_p == pytest.approx(here.height_p)
