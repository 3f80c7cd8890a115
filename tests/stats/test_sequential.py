"""The boundary for many looks against the integral that defines it."""

import numpy as np
import pytest
import scipy.integrate
import scipy.stats

from groupscan.errors import StatisticsError
from groupscan.stats.offset import compare_after_each_end, look_after_each_end
from groupscan.stats.offset.hotelling import critical_t2
from groupscan.stats.offset.sequential import MOST_SPENT_LOOKS, PRIOR, Boundary, plan_boundary

SEQUENCE = Boundary(0.05, sequence=True)
CASES = [(8.0, 2 / 5), (18.0, 2 / 10), (38.0, 2 / 20), (21.0, 1 / 3 + 1 / 20)]


@pytest.mark.parametrize(("df", "unit"), CASES)
def test_at_the_joint_limit_the_averaged_likelihood_ratio_is_one_over_the_level(df, unit):
    """T² scaled to F is a non-central F; its non-centrality is g times chi-square on 2."""
    g = PRIOR / unit
    f = float(SEQUENCE.ellipse(df, unit)) ** 2 * (df - 1) / (2 * df)

    def weighed(shift):
        return scipy.stats.chi2.pdf(shift / g, 2) / g * scipy.stats.ncf.pdf(f, 2, df - 1, shift)

    average, _ = scipy.integrate.quad(weighed, 0, 80 * g, limit=400)
    assert average / scipy.stats.f.pdf(f, 2, df - 1) == pytest.approx(20, rel=1e-4)


@pytest.mark.parametrize("sides", [1, 2])
@pytest.mark.parametrize(("df", "unit"), CASES)
def test_at_the_limit_of_a_coordinate_the_averaged_likelihood_ratio_is_one_over_the_level(
    df, unit, sides
):
    """The non-centrality of t is normal with variance g, or the half of it on one side."""
    root = np.sqrt(PRIOR / unit)
    limit = SEQUENCE.one_sided(df, unit) if sides == 1 else SEQUENCE.two_sided(df, unit)

    def weighed(shift):
        prior = scipy.stats.norm.pdf(shift, scale=root) * (2 if sides == 1 else 1)
        return prior * scipy.stats.nct.pdf(float(limit), df, shift)

    start = 0 if sides == 1 else -8 * root
    average, _ = scipy.integrate.quad(weighed, start, 8 * root, limit=400)
    assert average / scipy.stats.t.pdf(float(limit), df) == pytest.approx(20, rel=1e-4)


def test_with_very_few_shots_no_offset_can_be_excluded():
    assert np.isinf(SEQUENCE.ellipse(4.0, 2 / 3))
    assert np.isfinite(SEQUENCE.ellipse(8.0, 2 / 5))


def test_many_looks_cost_more_than_one_and_more_looks_more():
    for df, unit in CASES:
        radii = [
            float(plan_boundary(0.05, looks).ellipse(df, unit)) for looks in (None, 1, 2, 5, 12)
        ]
        assert radii[0] == radii[1] == pytest.approx(np.sqrt(critical_t2(df, 0.05)))
        assert radii[1:] == sorted(radii[1:])
        assert SEQUENCE.ellipse(df, unit) > radii[2]
        assert SEQUENCE.one_sided(df, unit) < SEQUENCE.two_sided(df, unit)


def test_looks_beyond_the_most_that_are_paid_singly_are_paid_at_once():
    assert plan_boundary(0.05, MOST_SPENT_LOOKS).level == 0.05 / MOST_SPENT_LOOKS
    assert plan_boundary(0.05, MOST_SPENT_LOOKS + 1) == SEQUENCE


def test_the_one_sided_level_beside_the_ellipse_leaves_room_for_what_the_ellipse_misses():
    for df in (4.0, 18.0, 198.0):
        one = Boundary(0.05)
        beside = one.beside(df).level
        missed = scipy.stats.t.sf(float(one.ellipse(df, 1.0)), df)
        assert beside + missed == pytest.approx(0.05)
        assert 0.04 < beside < 0.05


def test_looks_are_those_of_the_full_comparison_after_each_end():
    rng = np.random.default_rng(4)
    end = np.repeat(np.arange(1, 9), 3)
    first, second = rng.normal(0, 10, (24, 2)), rng.normal(0, 14, (24, 2)) + (18, 0)
    asked = {"first_end": end, "second_end": end, "tolerance_mm": 20.0}
    full = list(compare_after_each_end(first, second, **asked).values())
    quick = look_after_each_end(first, second, **asked)
    assert [one.verdict for one in quick] == [one.verdict for one in full]
    assert [one.distance.value for one in quick] == pytest.approx(
        [one.distance.value for one in full]
    )
    np.testing.assert_allclose(
        [(one.distance.low, one.distance.high) for one in quick],
        [(one.distance.low, one.distance.high) for one in full],
    )
    assert [one.end for one in look_after_each_end(first, second, **asked, most=3)] == [2, 5, 8]


def test_ends_that_hold_one_group_only_are_no_looks():
    rng = np.random.default_rng(5)
    first, second = rng.normal(0, 10, (6, 2)), rng.normal(0, 10, (4, 2))
    looked = look_after_each_end(
        first, second, first_end=[1, 1, 2, 2, 3, 3], second_end=[1, 1, 3, 3]
    )
    assert [(one.end, one.first_n, one.second_n) for one in looked] == [(1, 2, 2), (2, 4, 4)]
    with pytest.raises(StatisticsError, match="1 or more"):
        look_after_each_end(first, second, first_end=range(6), second_end=range(4), most=0)
