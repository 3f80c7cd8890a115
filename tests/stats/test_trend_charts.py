"""Control charts against published examples and run lengths, and against simulation."""

import numpy as np
import pytest
import scipy.stats
from statsmodels.stats.meta_analysis import combine_effects
from statsmodels.tsa.stattools import acf

from groupscan.errors import StatisticsError
from groupscan.stats.trend import centre_chart, measure_sessions, read_season, sigma_chart
from groupscan.stats.trend.charts import chart, cusum, ewma, lag_one, vector_cusum
from groupscan.stats.trend.runlength import alarm_chance, average_run_length, limit_for
from groupscan.stats.trend.scores import (
    _wander_before,
    known_scores,
    own_scores,
    scatter_scores,
)

# NIST/SEMATECH e-Handbook 6.3.2.4: target 50, s = 2.0539, weight 0.3; the averages from 50.
EWMA_DATA = (
    *(52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5),
    *(49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1),
)
EWMA_PATH = (
    *(50.6000, 49.5200, 50.5640, 50.1848, 50.1594, 49.2116, 49.7481, 49.8537, 50.2576, 50.3303),
    *(50.1112, 49.3578, 49.5205, 50.0543, 49.3780, 49.9246, 50.7272, 51.2291, 51.9403, 51.9882),
)
# NIST/SEMATECH e-Handbook 6.3.2.3: target 325, k = 0.3175, h = 4.1959; the first signal is at 14.
CUSUM_DATA = (
    *(324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600),
    *(324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350),
)
CUSUM_UPPER = (
    *(0, 0, 0, 0, 0.0325, 0, 0, 0, 0, 0, 0, 0, 3.0075, 4.9400, 7.4475, 10.6300),
    *(11.9875, 14.4450, 16.0025, 19.0350),
)
CUSUM_LOWER = (
    *(0, 0.0075, 0, 0.3325, 0, 0, 0.5575, 0.7150, 0.1725, 0.2550, 0.3125),
    *(0, 0, 0, 0, 0, 0, 0, 0, 0),
)
# NIST/SEMATECH e-Handbook 1.4.2.5, beam deflections: lag-1 autocorrelation -0.31.
DEFLECTIONS = """
    -213 -564 -35 -15 141 115 -420 -360 203 -338 -431 194 -220 -513 154 -125
    -559 92 -21 -579 -52 99 -543 -175 162 -457 -346 204 -300 -474 164 -107
    -572 -8 83 -541 -224 180 -420 -374 201 -236 -531 83 27 -564 -112 131
    -507 -254 199 -311 -495 143 -46 -579 -90 136 -472 -338 202 -287 -477 169
    -124 -568 17 48 -568 -135 162 -430 -422 172 -74 -577 -13 92 -534 -243
    194 -355 -465 156 -81 -578 -64 139 -449 -384 193 -198 -538 110 -44 -577
    -6 66 -552 -164 161 -460 -344 205 -281 -504 134 -28 -576 -118 156 -437
    -381 200 -220 -540 83 11 -568 -160 172 -414 -408 188 -125 -572 -32 139
    -492 -321 205 -262 -504 142 -83 -574 0 48 -571 -106 137 -501 -266 190
    -391 -406 194 -186 -553 83 -13 -577 -49 103 -515 -280 201 300 -506 131
    -45 -578 -80 138 -462 -361 201 -211 -554 32 74 -533 -235 187 -372 -442
    182 -147 -566 25 68 -535 -244 194 -351 -463 174 -125 -570 15 72 -550
    -190 172 -424 -385 198 -218 -536 96
"""


class TestPaths:
    def test_nist_ewma(self):
        path = ewma(EWMA_DATA, 0.3, start=50.0)
        assert path == pytest.approx(EWMA_PATH, abs=6e-5)
        # Steady limits 52.5884 and 47.4115, three sigma: no signal.
        half = 3 * 2.0539 * np.sqrt(0.3 / 1.7)
        assert 50 + half == pytest.approx(52.5884, abs=1e-4)
        assert (np.abs(path - 50) < half).all()

    def test_nist_cusum(self):
        upper, lower = cusum(np.array(CUSUM_DATA) - 325, 0.3175)
        assert upper == pytest.approx(CUSUM_UPPER, abs=1e-9)
        assert lower == pytest.approx(CUSUM_LOWER, abs=1e-9)
        assert 1 + int(np.argmax(np.maximum(upper, lower) > 4.1959)) == 14

    def test_missing_scores_leave_the_paths(self):
        gap = [1.0, np.nan, 2.0]
        assert ewma(gap)[[0, 2]].tolist() == ewma([1.0, 2.0]).tolist()
        assert cusum(gap)[0][[0, 2]].tolist() == cusum([1.0, 2.0])[0].tolist()

    def test_turning_the_centre_turns_the_paths(self):
        rng = np.random.default_rng(2)
        scores, turn = rng.normal(size=(30, 2)), np.array([(0.6, -0.8), (0.8, 0.6)])
        for path in (ewma, vector_cusum):
            assert path(scores @ turn) == pytest.approx(path(scores) @ turn)

    def test_nist_lag_one(self):
        assert lag_one([float(word) for word in DEFLECTIONS.split()]) == pytest.approx(-0.307305)

    def test_lag_one_is_that_of_statsmodels(self):
        values = np.random.default_rng(0).normal(size=50).cumsum()
        assert lag_one(values) == pytest.approx(acf(values, nlags=1)[1])


class TestRunLength:
    # J. M. Lucas and M. S. Saccucci, Technometrics 32 (1990) 1-12, limits for a run length of 500
    # in units of the average's own standard deviation: from memory.
    @pytest.mark.parametrize(
        ("weight", "width"),
        [(0.05, 2.615), (0.1, 2.814), (0.2, 2.962), (0.25, 2.998), (0.4, 3.054)],
    )
    def test_ewma_table(self, weight, width):
        limit = limit_for("EWMA", 1, weight, 500.0)
        assert limit / np.sqrt(weight / (2 - weight)) == pytest.approx(width, abs=6e-4)

    # NIST/SEMATECH e-Handbook 6.3.2.3.1 and the textbooks, allowance 1/2: from memory.
    @pytest.mark.parametrize(("limit", "arl"), [(4, 168), (5, 465)])
    def test_cusum_table(self, limit, arl):
        assert average_run_length("CUSUM", 1, 0.5, limit) == pytest.approx(arl, abs=0.6)

    def test_crosiers_limit_for_two_variables(self):
        # Crosier, Technometrics 30 (1988): 5.50 for a run length of 200, from memory.
        assert limit_for("CUSUM", 2, 0.5, 200.0) == pytest.approx(5.50, abs=0.01)

    def test_no_memory_is_a_chi_square_test(self):
        limit = limit_for("EWMA", 2, 1.0, 200.0)
        assert limit**2 == pytest.approx(scipy.stats.chi2.isf(1 / 200, 2), rel=1e-6)
        assert alarm_chance("EWMA", 2, 1.0, limit, 7) == pytest.approx(1 - (1 - 1 / 200) ** 7)

    @pytest.mark.parametrize("kind", ["EWMA", "CUSUM"])
    @pytest.mark.parametrize("axes", [1, 2])
    def test_simulated_run_length(self, kind, axes):
        arl, runs = 30.0, 2500
        rng = np.random.default_rng(axes)
        scores = rng.standard_normal((500, axes, runs))
        setting = 0.2 if kind == "EWMA" else 0.5
        if kind == "EWMA":
            reach = np.linalg.norm(ewma(scores), axis=1)
        elif axes == 1:
            reach = np.maximum(*cusum(scores))[:, 0]
        else:
            reach = np.linalg.norm(vector_cusum(scores), axis=1)
        over = reach > limit_for(kind, axes, setting, arl)
        assert over.any(axis=0).all()
        lengths = 1 + over.argmax(axis=0)
        assert lengths.mean() == pytest.approx(arl, abs=4 * lengths.std() / np.sqrt(runs))
        stated = alarm_chance(kind, axes, setting, limit_for(kind, axes, setting, arl), 20)
        seen, se = (lengths <= 20).mean(), np.sqrt(0.25 / runs)
        assert seen == pytest.approx(stated, abs=4 * se)

    @pytest.mark.parametrize("arguments", [("EWMA", 1, 0.2, 2.0), ("CUSUM", 1, 5.0, 200.0)])
    def test_settings_beyond_reason_are_refused(self, arguments):
        with pytest.raises(StatisticsError):
            limit_for(*arguments)


class TestScores:
    def test_known_sigma_is_a_chi_square_quantile(self):
        s2, df = np.array([0.5, 1.0, 2.5]), np.array([4, 10, 58])
        expected = scipy.stats.norm.ppf(scipy.stats.chi2.cdf(df * s2 / 4, df))
        assert known_scores(s2, df, 2.0) == pytest.approx(expected)

    def test_scores_without_wander_are_f_quantiles(self):
        scores = scatter_scores([1.0, 3.0, 2.0], [10, 4, 20])
        pooled = (10 * 1 + 4 * 3) / 14
        assert scores[1] == pytest.approx(scipy.stats.norm.ppf(scipy.stats.f.cdf(3, 4, 10)))
        assert scores[2] == pytest.approx(
            scipy.stats.norm.ppf(scipy.stats.f.cdf(2 / pooled, 20, 14))
        )

    def test_own_scores_are_two_sample_t_tests_of_one_against_those_before(self):
        y = np.array([1.0, 3.0, 2.0, 2.5, 7.0])
        for v in (0.01, 10.0):
            t = scipy.stats.ttest_ind(y[4:], y[:4])
            seen = own_scores(y, np.full(5, v))[4]
            assert 2 * scipy.stats.norm.sf(seen) == pytest.approx(t.pvalue)

    def test_wander_on_the_way_is_dersimonian_and_lairds(self):
        rng = np.random.default_rng(5)
        y, v = 900 + rng.normal(size=12), rng.uniform(0.05, 0.6, 12)
        seen = _wander_before(y, v)
        for i in (4, 8, 11):
            theirs = combine_effects(y[: i + 1], v[: i + 1], method_re="dl").tau2
            assert seen[i] == pytest.approx(max(theirs, 0.0))

    def test_scores_do_not_ask_where_and_how_large(self):
        rng = np.random.default_rng(6)
        y, v = rng.normal(size=20), rng.uniform(0.1, 1, 20)
        assert own_scores(500 - 3 * y, 9 * v)[3:] == pytest.approx(-own_scores(y, v)[3:])


class TestSessionCharts:
    def season(self, sigma, place=0.0, *, shots=18, seed=3):
        rng = np.random.default_rng(seed)
        session = np.repeat(np.arange(len(sigma)), shots)
        xy = np.asarray(sigma)[session, None] * rng.standard_normal((session.size, 2))
        xy[:, 0] += np.broadcast_to(place, len(sigma))[session]
        return measure_sessions(read_season(xy, session))

    @pytest.mark.parametrize("kind", ["EWMA", "CUSUM"])
    def test_a_lasting_change_alarms_soon(self, kind):
        wider = self.season([10] * 25 + [16] * 10)
        for options in ({}, {"wander": False}, {"usual": (10, 0)}, {"usual": (10, 0.05)}):
            seen = sigma_chart(wider, kind=kind, **options)
            assert 25 <= int(seen.alarms[0]) <= 29
            assert seen.path[int(seen.alarms[0]), 0] > 0
        moved = self.season([10] * 35, [0] * 25 + [9] * 10)
        assert 25 <= int(centre_chart(moved, kind=kind).alarms[0]) <= 29

    def test_wander_counts_as_usual_unless_told_otherwise(self):
        rng = np.random.default_rng(9)
        moody = self.season(10 * np.exp(0.4 * rng.standard_normal(60)), shots=30)
        assert not sigma_chart(moody).alarms
        assert len(sigma_chart(moody, wander=False).alarms) > 5

    def test_few_sessions_make_a_chart_that_says_so(self):
        for count in (1, 2, 4):
            seen = sigma_chart(self.season([10] * count))
            assert seen.alarms == ()
            assert "still learning" in seen.notes[0]
            assert len(seen.to_frame()) == count

    def test_a_run_of_like_sessions_is_noted(self):
        slow = np.sin(np.arange(80) / 6)
        seen = centre_chart(self.season([10] * 80, 20 * slow))
        assert any("Sessions resemble" in note for note in seen.notes)

    def test_wrong_choices_are_refused(self):
        season = self.season([10] * 5)
        with pytest.raises(StatisticsError, match="not known"):
            chart([0.0], ("a",), kind="pie")
        with pytest.raises(StatisticsError, match="arl"):
            sigma_chart(season, arl=1.0)
        with pytest.raises(StatisticsError, match="usual"):
            sigma_chart(season, usual=(-1.0, 0.0))
