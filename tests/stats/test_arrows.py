"""Arrow by arrow against published mixed-model examples, statsmodels, and laws."""

import json
import math
import warnings

import numpy as np
import pingouin
import pytest
import scipy.stats
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.multivariate.manova import MANOVA

from groupscan.errors import StatisticsError
from groupscan.stats.arrows import measure_arrows
from groupscan.stats.arrows.astray import differ_p, ends_to_see, hold_against_home, scatter_p
from groupscan.stats.arrows.crossed import cross, tell
from groupscan.stats.arrows.mixed import blup, reml, share_limits, shrunken_limits
from groupscan.stats.inputs import read_labels

# Yields of 6 batches of 5: O. L. Davies and P. L. Goldsmith, "Statistical Methods in Research and
# Production", 4th edition (1972).
DYESTUFF = np.array(
    [
        [1545, 1440, 1440, 1520, 1580],
        [1540, 1555, 1490, 1560, 1495],
        [1595, 1550, 1605, 1510, 1560],
        [1445, 1440, 1595, 1465, 1545],
        [1595, 1630, 1515, 1635, 1625],
        [1520, 1455, 1450, 1480, 1445],
    ],
    dtype=float,
)
# Simulated by G. E. P. Box and G. C. Tiao, "Bayesian Inference in Statistical Analysis" (1973): the
# moment estimate of the variance between is negative.
DYESTUFF2 = np.array(
    [
        [7.298, 3.846, 2.434, 9.566, 7.990],
        [5.220, 6.556, 0.608, 11.788, -0.892],
        [0.110, 10.386, 13.434, 5.510, 8.166],
        [2.212, 4.852, 7.092, 9.288, 4.980],
        [0.282, 9.014, 4.458, 9.446, 7.198],
        [1.722, 4.782, 8.106, 0.758, 3.758],
    ]
)
# Diameters of 24 plates (rows) by 6 samples of penicillin, Davies and Goldsmith (1972).
PENICILLIN = np.array(
    [
        [27, 23, 26, 23, 23, 21],
        [27, 23, 26, 23, 23, 21],
        [25, 21, 25, 24, 24, 20],
        [26, 23, 25, 23, 23, 20],
        [25, 22, 26, 22, 23, 20],
        [24, 22, 25, 23, 22, 19],
        [24, 20, 23, 21, 22, 19],
        [26, 22, 26, 24, 24, 21],
        [24, 21, 24, 22, 22, 20],
        [24, 21, 24, 23, 22, 19],
        [26, 23, 26, 24, 24, 21],
        [25, 22, 26, 24, 24, 20],
        [26, 24, 26, 24, 25, 22],
        [26, 23, 26, 23, 23, 20],
        [26, 23, 25, 24, 24, 22],
        [25, 22, 25, 23, 23, 20],
        [25, 21, 24, 23, 23, 20],
        [25, 22, 24, 23, 23, 19],
        [24, 21, 23, 21, 21, 19],
        [26, 23, 26, 24, 24, 21],
        [25, 21, 24, 22, 22, 18],
        [25, 22, 25, 22, 22, 20],
        [24, 21, 24, 22, 24, 19],
        [24, 21, 24, 22, 21, 18],
    ],
    dtype=float,
)

steady = settings(deadline=None, max_examples=40)


def one_way(table):
    arrow = np.repeat(np.arange(len(table)), table.shape[1])
    design = cross(arrow)
    return design, tell(design, table.reshape(-1, 1))


def session(seed, arrows=7, ends=9, kept=0.7, between=12.0, within=10.0):
    """Return shots, arrow and end of a session with arrows missing from ends."""
    rng = np.random.default_rng(seed)
    arrow, end = np.tile(np.arange(arrows), ends), np.repeat(np.arange(ends), arrows)
    there = (rng.random(arrow.size) < kept) | (end < 2)
    arrow, end = arrow[there], end[there]
    shots = rng.normal(0, between, (arrows, 2))[arrow] + rng.normal(0, within, (arrow.size, 2))
    return shots + rng.normal(0, 30, (ends, 2))[end], arrow, end


def mixed_lm(values, arrow, end):
    design = (end[:, None] == np.arange(end.max() + 1)).astype(float)
    with warnings.catch_warnings():
        # Its search says so where the variance between is near 0; the fit is used all the same.
        warnings.simplefilter("ignore")
        return sm.MixedLM(values, design, groups=arrow).fit(reml=True, gtol=1e-10)


class TestVarianceComponents:
    def test_dyestuff(self):
        # REML equals the analysis of variance: 1764.05 and 2451.25; mixed-model texts print it.
        design, told = one_way(DYESTUFF)
        between, within = reml(told.canonical, design.weights, told.scatter, design.df)
        assert between[0, 0] == pytest.approx(1764.05, rel=1e-6)
        assert within[0, 0] == pytest.approx(2451.25, rel=1e-6)
        low, high = share_limits(
            told.canonical, design.weights, told.scatter[0, 0], design.df, 0.95
        )
        # The exact F interval of the intraclass correlation, re-derived outside this project.
        assert (float(low), float(high)) == pytest.approx((0.083836, 0.847877), abs=1e-6)

    def test_dyestuff2_where_moments_are_negative(self):
        design, told = one_way(DYESTUFF2)
        between, within = reml(told.canonical, design.weights, told.scatter, design.df)
        assert between[0, 0] == pytest.approx(0, abs=1e-6)
        assert within[0, 0] == pytest.approx(13.806310, rel=1e-6)
        low, high = share_limits(
            told.canonical, design.weights, told.scatter[0, 0], design.df, 0.95
        )
        # Untruncated the limits are -0.197089 and 0.333483.
        assert (float(low), float(high)) == pytest.approx((0, 0.333483), abs=1e-6)

    def test_penicillin_samples_crossed_with_plates(self):
        # 3.730918 between samples, 0.302415 left over; the plates play the ends.
        plates, samples = PENICILLIN.shape
        arrow, end = np.tile(np.arange(samples), plates), np.repeat(np.arange(plates), samples)
        design = cross(arrow, end)
        told = tell(design, PENICILLIN.reshape(-1, 1))
        between, within = reml(told.canonical, design.weights, told.scatter, design.df)
        assert design.df == 115
        assert between[0, 0] == pytest.approx(3.730918, abs=1e-6)
        assert within[0, 0] == pytest.approx(0.302415, abs=1e-6)

    @pytest.mark.parametrize("seed", range(4))
    def test_each_axis_equals_statsmodels_with_shots_missing(self, seed):
        shots, arrow, end = session(seed)
        design = cross(arrow, end)
        told = tell(design, shots)
        for axis in (0, 1):
            part = slice(axis, axis + 1)
            canonical, scatter = told.canonical[:, part], told.scatter[part, part]
            between, within = reml(canonical, design.weights, scatter, design.df)
            fit = mixed_lm(shots[:, axis], arrow, end)
            assert between[0, 0] == pytest.approx(fit.cov_re[0, 0], rel=1e-3, abs=1e-3)
            assert within[0, 0] == pytest.approx(fit.scale, rel=1e-3)
            guess = blup(canonical, design.weights, design.axes, between, within)[:, 0]
            theirs = [fit.random_effects[place].iloc[0] for place in range(arrow.max() + 1)]
            assert guess == pytest.approx(theirs, abs=0.01)

    def test_both_axes_jointly_equal_the_moments_where_nothing_is_missing(self):
        shots, arrow, end = session(3, kept=1.1, between=20.0)
        design = cross(arrow, end)
        told = tell(design, shots)
        between, within = reml(told.canonical, design.weights, told.scatter, design.df)
        mean_square = told.canonical.T @ told.canonical / len(design.weights)
        residual = told.scatter / design.df
        assert within == pytest.approx(residual, rel=1e-5)
        assert between == pytest.approx((mean_square - residual) / 9, rel=1e-5, abs=1e-5)

    def test_between_never_leaves_the_covariances(self):
        for seed in range(20):
            shots, arrow, end = session(seed, arrows=4, ends=3, between=1.0)
            design = cross(arrow, end)
            told = tell(design, shots)
            between, within = reml(told.canonical, design.weights, told.scatter, design.df)
            assert np.linalg.eigvalsh(between).min() > -1e-9
            assert np.linalg.eigvalsh(within).min() > 0

    def test_joint_fit_turns_with_the_target(self):
        shots, arrow, end = session(5)
        design = cross(arrow, end)
        turn = np.array([[0.6, 0.8], [-0.8, 0.6]])
        was, now = (
            reml(told.canonical, design.weights, told.scatter, design.df)
            for told in (tell(design, shots), tell(design, shots @ turn))
        )
        for matrix, turned in zip(was, now, strict=True):
            assert turned == pytest.approx(turn.T @ matrix @ turn, rel=1e-4, abs=1e-4)


class TestTests:
    def test_offsets_are_least_squares(self):
        shots, arrow, end = session(1)
        told = tell(cross(arrow, end), shots)
        columns = np.column_stack(
            [end[:, None] == np.arange(9), arrow[:, None] == np.arange(1, 7)]
        ).astype(float)
        fit = sm.OLS(shots[:, 0], columns).fit()
        assert told.offsets[1:, 0] - told.offsets[0, 0] == pytest.approx(fit.params[9:])
        assert told.scatter[0, 0] == pytest.approx(fit.ssr)

    def test_differ_equals_manova(self):
        shots, arrow, _ = session(2, ends=6)
        design = cross(arrow)
        table = MANOVA(shots, sm.add_constant((arrow[:, None] == np.arange(1, 7)).astype(float)))
        names = [np.eye(7)[1:]]
        wilks = table.mv_test([("arrows", names[0])]).results["arrows"]["stat"].iloc[0]
        assert differ_p(tell(design, shots), design.df) == pytest.approx(float(wilks["Pr > F"]))

    def test_two_arrows_of_one_end_are_hotellings_test(self):
        rng = np.random.default_rng(4)
        first, second = rng.normal(0, 10, (7, 2)), rng.normal(8, 10, (9, 2))
        design = cross(np.repeat([0, 1], [7, 9]))
        held = hold_against_home(design, tell(design, np.vstack([first, second])), 0.05)
        expected = float(pingouin.multivariate_ttest(first, second)["pval"].iloc[0])
        assert held.p == pytest.approx([expected, expected])

    def test_scatter_of_one_arrow_has_an_even_p_value_where_arrows_are_alike(self):
        design = cross(np.tile(np.arange(4), 5), np.repeat(np.arange(5), 4))
        shots = np.random.default_rng(6).normal(size=(20_000, 20, 2)) @ [[2.0, 1.0], [0.0, 0.7]]
        _, p = scatter_p(design, tell(design, shots), 2)
        assert scipy.stats.kstest(p, "uniform").pvalue > 0.001

    def test_power_of_the_ends_wanted(self):
        arrows, away = 6, 25.0
        ends = ends_to_see(away, 10.0, arrows)
        for count, enough in ((ends, True), (ends - 1, False)):
            design = cross(np.tile(np.arange(arrows), count), np.repeat(np.arange(count), arrows))
            shots = np.random.default_rng(count).normal(0, 10, (4000, arrows * count, 2))
            shots[:, design.arrow == 0, 1] += away
            held = hold_against_home(design, tell(design, shots), 0.05)
            # Made for Bonferroni's level, which the first of the arrows has to pass.
            seen = (held.adjusted[:, 0] <= 0.05).mean()
            assert seen > 0.78 if enough else seen < 0.88


class TestQuiver:
    def shots(self, ends=10, away=40.0):
        rng = np.random.default_rng(2)
        arrow, end = np.tile(np.arange(1, 7), ends), np.repeat(np.arange(ends), 6)
        shots = rng.normal(0, 10, (6 * ends, 2)) + 50 * rng.normal(size=(ends, 2))[end]
        shots[arrow == 5] += (away, -away)
        return shots, arrow, end

    def test_the_odd_arrow_is_flagged_with_its_reason_and_the_good_ones_are_not(self):
        shots, arrow, end = self.shots(ends=60)
        quiver = measure_arrows(shots, arrow, ends=end)
        assert quiver.home == ("1", "2", "3", "4", "6")
        odd = quiver.arrows[4]
        assert (odd.verdict, odd.action) == ("apart", "re-index")
        assert "right" in odd.reason
        assert "low" in odd.reason
        assert all(a.action == "none" for a in quiver.arrows if a.name != "5")
        assert odd.seen_x.low < 40 < odd.seen_x.high

    def test_an_arrow_that_scatters_is_to_be_pulled(self):
        shots, arrow, end = self.shots(away=0.0)
        wide = np.random.default_rng(2).normal(0, 45, (10, 2))
        shots[arrow == 3] += wide
        quiver = measure_arrows(shots, arrow, ends=end)
        assert [a.name for a in quiver.arrows if a.action == "pull"] == ["3"]
        assert quiver.arrows[2].scatter_ratio > 2

    def test_nothing_is_dropped(self):
        shots, arrow, end = self.shots()
        quiver = measure_arrows(shots, arrow, ends=end)
        assert quiver.n == 60
        assert sum(a.shots for a in quiver.arrows) == 60

    def test_shrinking_pulls_towards_the_others_and_holds_its_value(self):
        for seed in range(12):
            shots, arrow, end = session(seed, between=8.0)
            quiver = measure_arrows(shots, arrow, ends=end)
            for axis in "xy":
                seen = np.array([getattr(a, f"seen_{axis}").value for a in quiver.arrows])
                guess = [getattr(a, f"offset_{axis}") for a in quiver.arrows]
                assert np.ptp([g.value for g in guess]) <= np.ptp(seen) + 1e-9
                assert all(g.low <= g.value <= g.high for g in guess)

    def test_a_stated_tolerance_gives_together(self):
        shots, arrow, end = self.shots(ends=30, away=0.0)
        quiver = measure_arrows(shots, arrow, ends=end, worth_mm=15.0)
        assert {a.verdict for a in quiver.arrows} == {"together"}
        few = measure_arrows(shots[:18], arrow[:18], ends=end[:18], worth_mm=15.0)
        assert {a.verdict for a in few.arrows} == {"not enough arrows"}
        assert all(a.more_ends > 0 for a in few.arrows)

    def test_labels_order_and_shuffling_do_not_matter(self):
        shots, arrow, end = self.shots()
        order = np.random.default_rng(3).permutation(len(shots))
        was = measure_arrows(shots, arrow, ends=end).to_frame()
        now = measure_arrows(shots[order], arrow[order], ends=[f"end {e}" for e in end[order]])
        numbers = was.select_dtypes("number").astype(float)
        assert now.to_frame()[numbers.columns].astype(float).to_numpy() == pytest.approx(
            numbers.to_numpy(), rel=1e-4, abs=1e-4, nan_ok=True
        )

    @steady
    @given(st.integers(0, 1000), st.floats(0.1, 50), st.floats(-300, 300))
    def test_moved_and_scaled_shots_move_and_scale_the_answer(self, seed, factor, shift):
        shots, arrow, end = session(seed, arrows=5, ends=4)
        was = measure_arrows(shots, arrow, ends=end)
        now = measure_arrows(factor * shots + shift, arrow, ends=end)
        for before, after in zip(was.arrows, now.arrows, strict=True):
            assert after.verdict == before.verdict
            assert after.p_value == pytest.approx(before.p_value, rel=1e-5, abs=1e-9)
            assert after.seen_x.value == pytest.approx(factor * before.seen_x.value, abs=1e-6)
            assert after.offset_x.low == pytest.approx(
                factor * before.offset_x.low, rel=1e-3, abs=1e-3 * factor
            )

    def test_arrows_never_shot_together_are_held_against_their_own(self):
        rng = np.random.default_rng(8)
        arrow = np.concatenate([np.tile([1, 2, 3], 6), np.tile([4, 5, 6], 6)])
        end = np.repeat(np.arange(12), 3)
        shots = rng.normal(0, 5, (36, 2)) + np.where(arrow > 3, 500, 0)[:, None]
        quiver = measure_arrows(shots, arrow, ends=end)
        assert all(a.verdict != "apart" for a in quiver.arrows)
        assert all(abs(a.seen_x.value) < 50 for a in quiver.arrows)
        assert any("same ends" in note for note in quiver.notes)


class TestBadInput:
    @steady
    @given(
        st.lists(
            st.tuples(
                st.integers(0, 3),
                st.integers(0, 3),
                st.floats(-100, 100).map(lambda v: round(v, 2)),
                st.sampled_from([0.0, 1.0, -30.5]),
            ),
            min_size=1,
            max_size=20,
        ),
        st.booleans(),
    )
    def test_no_shots_crash_it(self, rows, with_ends):
        arrow, end, x, y = zip(*rows, strict=True)
        quiver = measure_arrows(
            np.column_stack([x, y]), arrow, ends=end if with_ends else None, worth_mm=20.0
        )
        json.dumps(quiver.to_dict(), allow_nan=False)
        assert len(quiver.to_frame()) == len(set(arrow))
        if not math.isfinite(quiver.within[0][0]):
            assert quiver.notes
            assert all(a.verdict == "not enough arrows" for a in quiver.arrows)

    def test_wrong_calls_say_what_was_wrong(self):
        shots = np.zeros((3, 2))
        with pytest.raises(StatisticsError, match="2 arrow labels for 3"):
            measure_arrows(shots, [1, 2])
        with pytest.raises(StatisticsError, match="shot 2 has no arrow label"):
            measure_arrows(shots, [1, math.nan, 2])
        with pytest.raises(StatisticsError, match="end label"):
            measure_arrows(shots, [1, 2, 3], ends=[1, None, 2])
        with pytest.raises(StatisticsError, match="worth_mm"):
            measure_arrows(shots, [1, 2, 3], worth_mm=-1.0)
        with pytest.raises(StatisticsError, match="false_share"):
            measure_arrows(shots, [1, 2, 3], false_share=0.9)

    def test_labels_that_are_numbers_come_in_their_order(self):
        names, codes = read_labels(["10", 2, 10.0, "nan", "spare"], 5, "arrow")
        assert names == ("2", "10", "nan", "spare")
        assert codes.tolist() == [1, 0, 1, 2, 3]


def test_shrunken_limits_tend_to_the_exact_ones_where_arrows_differ_much():
    design = cross(np.tile(np.arange(8), 10), np.repeat(np.arange(10), 8))
    rng = np.random.default_rng(2)
    shots = (100 * rng.normal(size=8))[design.arrow] + rng.normal(size=80)
    told = tell(design, shots[:, None])
    contrast = (np.eye(8) - 1 / 8) @ design.axes
    square = told.scatter[0, 0]
    low, high = shrunken_limits(
        told.canonical[:, 0], design.weights, square, design.df, contrast, 0.95
    )
    half = scipy.stats.t(design.df).ppf(0.975) * np.sqrt(square / design.df * 0.875 / 10)
    assert (high - low) / 2 == pytest.approx(np.full(8, half), rel=0.02)
