"""Random effects and the moments of log sigma against published examples, scipy and statsmodels."""

import math

import numpy as np
import pandas as pd
import pytest
import scipy.optimize
import scipy.stats
import statsmodels.api as sm
from statsmodels.stats.meta_analysis import combine_effects

from groupscan.stats.trend import effects, measure_baseline, measure_sessions, read_season
from groupscan.stats.trend.baseline import predict_next
from groupscan.stats.trend.even import even_out, uneven
from groupscan.stats.trend.sessions import log_bias, log_fourth, log_variance
from groupscan.stats.trend.slope import slope_of

# Davies and Goldsmith, "Statistical Methods in Research and Production", 6 batches of 5 yields;
# the classic REML example of D. Bates and co-authors' texts on mixed models.
DYESTUFF = np.array(
    [
        (1545, 1440, 1440, 1520, 1580),
        (1540, 1555, 1490, 1560, 1495),
        (1595, 1550, 1605, 1510, 1560),
        (1445, 1440, 1595, 1465, 1545),
        (1595, 1630, 1515, 1635, 1625),
        (1520, 1455, 1450, 1480, 1445),
    ],
    dtype=float,
)
# Box and Tiao (1973): simulated, with a negative moment estimate between batches.
DYESTUFF2 = np.array(
    [
        (7.298, 3.846, 2.434, 9.566, 7.990),
        (5.220, 6.556, 0.608, 11.788, -0.892),
        (0.110, 10.386, 13.434, 5.510, 8.166),
        (2.212, 4.852, 7.092, 9.288, 4.980),
        (0.282, 9.014, 4.458, 9.446, 7.198),
        (1.722, 4.782, 8.106, 0.758, 3.758),
    ]
)


def fit_means(data):
    within = data.var(axis=1, ddof=1).mean()
    return effects.fit_effects(data.mean(axis=1), np.full(len(data), within / data.shape[1]))


class TestLogMoments:
    @pytest.mark.parametrize("df", [2, 4, 10, 58])
    def test_are_those_of_the_log_gamma_distribution(self, df):
        mean, variance, kurtosis = scipy.stats.loggamma.stats(df / 2, moments="mvk")
        assert log_bias(df) == pytest.approx((mean - math.log(df / 2)) / 2)
        assert log_variance(df) == pytest.approx(variance / 4)
        assert log_fourth(df) == pytest.approx(kurtosis * variance**2 / 16)


class TestFitEffects:
    def test_dyestuff(self):
        fit = fit_means(DYESTUFF)
        assert fit.coefficients[0] == pytest.approx(1527.5)
        # Balanced: REML equals the analysis of variance, 1764.05 and standard error 19.383412.
        assert fit.variance == pytest.approx(1764.05)
        assert math.sqrt(fit.covariance[0, 0]) == pytest.approx(19.383412)

    def test_dyestuff_2_has_no_wander(self):
        fit = fit_means(DYESTUFF2)
        assert fit.coefficients[0] == pytest.approx(5.6656)
        assert fit.variance == 0

    def test_dyestuff_as_statsmodels_fits_the_raw_yields(self):
        frame = pd.DataFrame(DYESTUFF).T.melt(var_name="batch", value_name="amount")
        model = sm.MixedLM(frame["amount"], np.ones(len(frame)), groups=frame["batch"]).fit()
        fit = fit_means(DYESTUFF)
        assert fit.variance == pytest.approx(model.cov_re.iloc[0, 0], rel=1e-3)
        assert fit.coefficients[0] == pytest.approx(model.params.iloc[0])

    def test_limits_are_those_of_statsmodels_by_knapp_and_hartung(self):
        # With equal variances REML and the iterated moment estimate are the same number.
        values, variances = np.array([1.0, 2.0, 6.0, 3.5]), np.full(4, 0.8)
        ours = effects.fit_effects(values, variances)
        theirs = combine_effects(values, variances, method_re="iterated")
        expected = theirs.conf_int(use_t=True)[3]
        assert ours.variance == pytest.approx(theirs.tau2, rel=1e-4)
        assert [float(limit) for limit in ours.limits(0, 0.95)] == pytest.approx(expected, rel=1e-4)
        assert ours.coefficients[0] == pytest.approx(theirs.mean_effect_re)

    def test_unequal_variances_maximise_the_restricted_likelihood(self):
        rng = np.random.default_rng(3)
        for _ in range(5):
            v = rng.uniform(0.05, 1.0, 12)
            x = np.column_stack([np.ones(12), rng.normal(size=12)])
            y = x @ [1.0, 0.3] + np.sqrt(v + 0.4) * rng.normal(size=12)

            def minus_log_likelihood(log_tau2, y=y, v=v, x=x):
                w = 1 / (v + math.exp(log_tau2))
                inner = x.T @ (w[:, None] * x)
                b = np.linalg.solve(inner, x.T @ (w * y))
                return -np.log(w).sum() + np.linalg.slogdet(inner)[1] + w @ (y - x @ b) ** 2

            best = scipy.optimize.minimize_scalar(
                minus_log_likelihood, bounds=(-12, 4), method="bounded", options={"xatol": 1e-9}
            )
            fit = effects.fit_effects(y, v, x)
            if fit.variance > 1e-3:
                assert fit.variance == pytest.approx(math.exp(best.x), rel=1e-4)
            else:
                assert math.exp(best.x) < 1e-2

    def test_slope_is_that_of_statsmodels_wls_at_the_same_weights(self):
        rng = np.random.default_rng(8)
        months, v = np.sort(rng.uniform(0, 9, 30)), rng.uniform(0.005, 0.05, 30)
        y = -0.05 * months + np.sqrt(v + 0.03) * rng.normal(size=30)
        fit = slope_of(y, v, months)
        wls = sm.WLS(y, sm.add_constant(months), weights=1 / (v + float(fit.variance))).fit()
        assert fit.coefficients[1] == pytest.approx(wls.params[1])
        assert [float(limit) for limit in fit.limits(1, 0.95)] == pytest.approx(
            wls.conf_int()[1].tolist()
        )

    def test_stacks_are_fitted_as_one_by_one(self):
        rng = np.random.default_rng(1)
        y, v = rng.normal(size=(4, 9)), rng.uniform(0.1, 2, (4, 9))
        together = effects.fit_effects(y, v)
        for i in range(4):
            alone = effects.fit_effects(y[i], v[i])
            assert together.coefficients[i] == pytest.approx(alone.coefficients, rel=1e-6)
            assert together.variance[i] == pytest.approx(float(alone.variance), abs=1e-6)


class TestWander:
    def test_limits_of_dyestuff_solve_the_chi_square(self):
        means = DYESTUFF.mean(axis=1)
        v = DYESTUFF.var(axis=1, ddof=1).mean() / 5
        low, high = effects.wander_interval(means, np.full(6, v), 0.95)
        square = ((means - means.mean()) ** 2).sum()
        # Equal variances: Q(tau^2) = square/(v + tau^2), so that both limits are in closed form.
        assert low == pytest.approx(math.sqrt(square / scipy.stats.chi2.ppf(0.975, 5) - v))
        assert high == pytest.approx(math.sqrt(square / scipy.stats.chi2.ppf(0.025, 5) - v))

    def test_less_scatter_than_the_shots_explain_is_no_wander(self):
        low, high = effects.wander_interval(np.zeros(8), np.ones(8), 0.95)
        assert (low, high) == (0, 0)


class TestPrediction:
    def test_equal_variances_give_the_ordinary_prediction_interval(self):
        y = np.array([1.0, 2.0, 6.0, 3.5, 2.2])
        for v in (0.01, 50.0):  # with wander and without
            fit = effects.fit_effects(y, np.full(5, v))
            middle, unit = predict_next(fit, np.full(5, v), np.array(v))
            assert middle == pytest.approx(y.mean())
            # statsmodels: an observation's interval of a regression on a constant
            frame = sm.OLS(y, np.ones(5)).fit().get_prediction([1.0]).summary_frame()
            half = scipy.stats.t.ppf(0.975, 4) * unit
            assert middle + half == pytest.approx(frame["obs_ci_upper"].iloc[0])

    def test_evened_log_sigma_is_normal_without_wander(self):
        rng = np.random.default_rng(4)
        df = np.full(4000, 4.0)
        log_sigma = np.log(rng.chisquare(4, 4000) / 4) / 2 - log_bias(df)
        assert scipy.stats.shapiro(log_sigma[:1000]).pvalue < 1e-4
        even = even_out(log_sigma, df, 0.0, 0.0) / np.sqrt(log_variance(df))
        assert scipy.stats.kstest(even, "norm").pvalue > 0.01

    @pytest.mark.parametrize("wander2", [0.0, 0.05, 4.0])
    def test_evening_out_can_be_undone(self, wander2):
        for y in (-1.5, 0.2, 1.0):
            even = float(even_out([y], [10.0], 0.1, wander2)[0])
            assert uneven(even, 10.0, 0.1, wander2) == pytest.approx(y, abs=1e-6)


@pytest.fixture(scope="module")
def season():
    rng = np.random.default_rng(11)
    session = np.repeat(np.arange(30), rng.integers(3, 31, 30))
    sigma = 8 * np.exp(0.2 * rng.standard_normal(30))
    place = 3 * rng.standard_normal((30, 2)) + (5, -2)
    shots = sigma[session, None] * rng.standard_normal((session.size, 2)) + place[session]
    return measure_baseline(measure_sessions(read_season(shots, session)))


class TestBaseline:
    def test_finds_the_truth(self, season):
        assert season.sigma.low < 8 < season.sigma.high
        assert season.wander.low < 0.2 < season.wander.high
        assert season.centre_x.low < 5 < season.centre_x.high
        assert season.centre_wander_y.low < 3 < season.centre_wander_y.high

    def test_few_arrows_are_allowed_more(self, season):
        few, many = season.next_sigma(3), season.next_sigma(60)
        assert few.low < many.low < season.sigma.value < many.high < few.high

    def test_today_agrees_with_the_interval_it_shows(self, season):
        for n in (3, 12):
            usual = season.next_sigma(n)
            for limit, outside in ((usual.low, "tighter"), (usual.high, "wider")):
                inward = 1.001 if outside == "tighter" else 0.999
                assert season.today(limit * inward, n).verdict == "usual"
                seen = season.today(limit / inward, n)
                assert seen.verdict == outside
                assert seen.p == pytest.approx(0.05, abs=2e-3)

    def test_two_sessions_say_that_they_are_too_few(self):
        shots = [(0, 0), (3, 1), (1, 2), (5, 5)]
        baseline = measure_baseline(measure_sessions(read_season(shots, [1, 1, 2, 2])))
        assert math.isnan(baseline.sigma.high)
        assert any("three are needed" in note for note in baseline.notes)
        assert baseline.today(4.0, 6).verdict == "not enough sessions"
