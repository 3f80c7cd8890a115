"""Power and numbers of arrows against values computed outside the project, and by simulation."""

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from groupscan.errors import StatisticsError
from groupscan.stats.offset.contrast import contrast
from groupscan.stats.offset.distance import farthest
from groupscan.stats.offset.sequential import plan_boundary
from groupscan.stats.power import (
    arrows_for_equivalence,
    arrows_for_offset,
    arrows_for_sigma_ratio,
    power_equivalence,
    power_offset,
    power_sigma_ratio,
)

# n each, offset over sigma, power of T², power of its circular twin; level 5 %. Upper tails of
# scipy's non-central F, computed outside this project and confirmed there by 4e5 simulated pairs
# (n = 5, 1 sigma: 0.1925 and 0.2338, se 0.0006; n = 12, 1 sigma: 0.5190 and 0.5522, se 0.0008).
OFFSET = [
    (3, 0.5, 0.06224050127, 0.07032816894),
    (5, 1.0, 0.19226271554, 0.23284252126),
    (6, 1.5, 0.48745576521, 0.5686844253),
    (12, 1.0, 0.52004165904, 0.55317278021),
    (20, 0.75, 0.51920103105, 0.53741132995),
    (30, 2.0, 0.99999990082, 0.99999994443),
]
# Offset over sigma, power wanted, smallest n each by T², by its circular twin (same source).
OFFSET_SIZES = [
    (0.5, 0.8, 79, 78),
    (0.75, 0.9, 47, 46),
    (1.0, 0.8, 21, 21),
    (1.25, 0.9, 18, 17),
    (2.0, 0.8, 7, 6),
]
# n each, ratio, power one-sided, two-sided (same source; 2e6 simulated pairs, n = 10, ratio 1.5:
# 0.51261 and 0.38330, se 0.0003).
RATIO = [
    (5, 1.25, 0.14276615841, 0.08720862864),
    (10, 1.5, 0.51225552087, 0.38278786741),
    (20, 1.25, 0.38663143278, 0.27161211772),
    (50, 2.0, 0.99999981427, 0.99999914114),
]
# Ratio, power wanted, smallest n each, one-sided, two-sided (same source).
RATIO_SIZES = [(1.1, 0.8, 342, 434), (1.25, 0.9, 88, 108), (1.5, 0.8, 21, 26), (3.0, 0.9, 5, 6)]


@pytest.mark.parametrize(("n", "delta", "plain", "circular"), OFFSET)
def test_power_of_an_offset(n, delta, plain, circular):
    assert power_offset(n, n, 7 * delta, 7.0) == pytest.approx(plain, abs=1e-9)
    assert power_offset(n, n, 7 * delta, 7.0, circular=True) == pytest.approx(circular, abs=1e-9)


@pytest.mark.parametrize(("delta", "power", "plain", "circular"), OFFSET_SIZES)
def test_arrows_for_an_offset(delta, power, plain, circular):
    assert arrows_for_offset(delta, 1.0, power=power) == plain
    assert arrows_for_offset(delta, 1.0, power=power, circular=True) == circular


@pytest.mark.parametrize(("n", "ratio", "one", "two"), RATIO)
def test_power_of_a_sigma_ratio(n, ratio, one, two):
    assert power_sigma_ratio(n, n, ratio, one_sided=True) == pytest.approx(one, abs=1e-9)
    assert power_sigma_ratio(n, n, ratio) == pytest.approx(two, abs=1e-9)
    assert power_sigma_ratio(n, n, 1 / ratio) == pytest.approx(two, abs=1e-9)


@pytest.mark.parametrize(("ratio", "power", "one", "two"), RATIO_SIZES)
def test_arrows_for_a_sigma_ratio(ratio, power, one, two):
    assert arrows_for_sigma_ratio(ratio, power=power, one_sided=True) == one
    assert arrows_for_sigma_ratio(ratio, power=power) == two
    assert arrows_for_sigma_ratio(1 / ratio, power=power) == two


@pytest.mark.parametrize(("sizes", "offset"), [((8, 8), 0.5), ((20, 20), 0.0), ((30, 10), 0.3)])
def test_power_of_equivalence_is_that_of_the_limits_it_is_read_from(sizes, offset):
    rng = np.random.default_rng(2)
    groups, tolerance = 10_000, 1.4
    first = rng.standard_normal((groups, sizes[0], 2))
    second = rng.standard_normal((groups, sizes[1], 2)) + [0.0, offset]
    high = farthest(contrast(first, second).pooled, plan_boundary(0.05, None))
    stated = power_equivalence(*sizes, offset, tolerance, 1.0)
    se = math.sqrt(stated * (1 - stated) / groups)
    assert np.mean(high <= tolerance) == pytest.approx(stated, abs=4 * se + 0.002)


def test_false_together_stays_at_its_level():
    for n in (3, 5, 10, 30, 200):
        assert power_equivalence(n, n, 20.0, 20.0, 20.0) <= 0.05


def test_arrows_for_equivalence_are_the_fewest():
    n = arrows_for_equivalence(5.0, 25.0, 20.0, power=0.9)
    assert power_equivalence(n, n, 5.0, 25.0, 20.0) >= 0.9
    assert power_equivalence(n - 1, n - 1, 5.0, 25.0, 20.0) < 0.9


@settings(deadline=None, max_examples=40)
@given(
    first=st.integers(0, 40),
    second=st.integers(0, 40),
    offset=st.floats(0, 100),
    sigma=st.floats(0.01, 50),
)
@example(12, 16, 43.0, 2.75)  # where the series of the distribution is lost
def test_power_is_a_probability_and_knows_no_order(first, second, offset, sigma):
    assert 0 <= power_offset(first, second, offset, sigma) <= 1
    assert power_offset(first, second, offset, sigma) == power_offset(second, first, offset, sigma)
    assert 0 <= power_equivalence(first, second, offset, 20.0, sigma) <= 1
    assert 0 <= power_sigma_ratio(first, second, sigma) <= 1


def test_what_is_not_known_gives_nan_and_what_is_too_small_sees_nothing():
    assert math.isnan(power_offset(5, 5, math.nan, 1.0))
    assert math.isnan(power_offset(5, 5, 0.0, 0.0))
    assert math.isnan(power_sigma_ratio(5, 5, math.nan))
    assert math.isnan(power_equivalence(5, 5, 0.0, math.nan, 1.0))
    assert power_offset(1, 1, 50.0, 1.0) == 0
    assert power_offset(5, 5, 50.0, 0.0) == 1
    assert power_offset(5, 5, 1e200, 0.01) == 1
    assert power_sigma_ratio(1, 5, 3.0) == 0
    assert power_equivalence(1, 2, 0.0, 50.0, 1.0) == 0


@pytest.mark.parametrize(
    "call",
    [
        lambda: arrows_for_offset(0.0, 10.0),
        lambda: arrows_for_offset(10.0, math.nan),
        lambda: arrows_for_offset(1e-4, 10.0),
        lambda: arrows_for_sigma_ratio(1.0),
        lambda: arrows_for_sigma_ratio(-2.0),
        lambda: arrows_for_equivalence(10.0, 10.0, 5.0),
        lambda: arrows_for_equivalence(math.nan, 10.0, 5.0),
        lambda: arrows_for_offset(10.0, 10.0, power=1.0),
        lambda: power_offset(5, 5, 1.0, 1.0, level=0.0),
        lambda: power_equivalence(5, 5, 1.0, 1.0, 1.0, level=0.6),
    ],
)
def test_plans_that_cannot_be_made_are_refused(call):
    with pytest.raises(StatisticsError):
        call()
