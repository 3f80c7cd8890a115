"""The extreme spread's distribution against simulated quantiles, and the sigma it implies."""

import math

import numpy as np
import pytest
import scipy.spatial.distance

from groupscan.stats.group import measure_group
from groupscan.stats.group.spread import implied_sigma_limits, spread_quantile, spread_share

# Quantiles of the extreme spread, sigma 1 (5, 25, 50, 75, 95 %), simulated outside this project
# with 1e8 groups a size, standard error at most 2.3e-4; n = 2 is exact. Such distributions were
# first approximated by M. S. Taylor and F. E. Grubbs, Naval Research Logistics Quarterly 22 (1975)
# 713-719.
QUANTILES = {
    2: (0.4530, 1.0727, 1.6651, 2.3548, 3.4616),
    3: (1.0684, 1.7632, 2.3389, 2.9775, 3.9887),
    4: (1.4918, 2.1825, 2.7340, 3.3392, 4.2967),
    5: (1.8035, 2.4799, 3.0117, 3.5927, 4.5136),
    6: (2.0470, 2.7078, 3.2233, 3.7861, 4.6800),
    10: (2.6797, 3.2907, 3.7634, 4.2803, 5.1080),
    20: (3.4363, 3.9814, 4.4043, 4.8702, 5.6264),
    30: (3.8342, 4.3455, 4.7437, 5.1846, 5.9061),
}
SHARES = (0.05, 0.25, 0.5, 0.75, 0.95)


@pytest.mark.parametrize(("n", "quantiles"), QUANTILES.items())
def test_quantiles(n, quantiles):
    seen = [spread_quantile(share, n) for share in SHARES]
    assert seen == pytest.approx(quantiles, rel=1.3e-3)


@pytest.mark.parametrize("n", [2, 3, 7, 50, 1000, 20_000])
def test_share_and_quantile_are_one_anothers_inverse(n):
    for share in (0.00005, 0.025, 0.5, 0.975, 0.99995):
        assert spread_share(spread_quantile(share, n), n) == pytest.approx(share, rel=1e-6)


def test_two_shots_are_rayleigh():
    assert spread_quantile(0.3, 2) == pytest.approx(2 * math.sqrt(-math.log(0.7)), rel=1e-8)


def test_a_large_size_by_simulation():
    rng = np.random.default_rng(3)
    seen = [scipy.spatial.distance.pdist(rng.standard_normal((200, 2))).max() for _ in range(400)]
    for share in (0.05, 0.5, 0.95):
        below = np.mean(np.array(seen) <= spread_quantile(share, 200))
        assert abs(below - share) < 4 * math.sqrt(share * (1 - share) / len(seen))


def test_groups_of_different_size_are_brought_together():
    # The mean spread of three shots and of twelve, sigma 10, from the tables of means.
    three, twelve = 24.0880, 39.8837
    for spread, n in ((three, 3), (twelve, 12)):
        low, high = implied_sigma_limits(spread, n, 0.95)
        assert low < 10 < high
    far_apart = [(0.0, 0.0), (three, 0.0), (three / 2, 1.0)]
    assert measure_group(far_apart).sigma_from_spread.value == pytest.approx(10.0, rel=1e-4)


def test_the_photos_error_is_taken_out():
    shots = np.random.default_rng(2).normal(0, 10, (8, 2))
    plain, cleaned = (measure_group(shots, se_mm=se).sigma_from_spread for se in (None, 3.0))
    for end in ("value", "low", "high"):
        assert getattr(cleaned, end) == pytest.approx(math.sqrt(getattr(plain, end) ** 2 - 9))
    hidden = measure_group(shots, se_mm=40.0).sigma_from_spread
    assert (hidden.value, hidden.low, hidden.high) == (0.0, 0.0, plain.high)
