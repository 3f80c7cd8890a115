"""The group's statistics against published constants, worked groups, scipy and laws."""

import json
import math
import subprocess
import sys

import numpy as np
import pingouin
import pytest
import scipy.integrate
import scipy.spatial.distance
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from groupscan.errors import StatisticsError
from groupscan.stats import constants
from groupscan.stats.group import measure_group
from groupscan.stats.intervals import offset_interval

GROUP_A = np.array([(12, -7), (-5, 10), (3, 4), (-14, -2), (9, 15)], dtype=float)
GROUP_B = 25.4 * np.array(
    [
        (0.82, -0.35),
        (-0.41, 1.12),
        (1.50, 0.28),
        (-0.93, -0.64),
        (0.17, 0.55),
        (-1.26, 0.91),
        (0.38, -1.47),
        (1.04, 1.33),
        (-0.59, -0.22),
        (0.66, -0.81),
    ]
)

# Expected extreme spread, sigma 1, simulated outside this project with 1e8 groups a size, standard
# error at most 2.7e-5 (n = 2 is sqrt(pi)). Such tables were first published by F. E. Grubbs,
# "Statistical Measures of Accuracy for Riflemen and Missile Engineers" (1964).
EXTREME_SPREAD = {
    2: 1.77245,
    3: 2.40880,
    4: 2.79341,
    5: 3.06588,
    6: 3.27522,
    8: 3.58537,
    10: 3.81158,
    12: 3.98837,
    15: 4.19606,
    20: 4.45123,
    25: 4.64061,
    30: 4.79028,
    40: 5.01802,
    50: 5.18836,
}

# Statistics shown as seen, whose interval is for what groups of the size average.
SEEN = {
    *("extreme_spread", "mean_radius", "figure_of_merit"),
    *("width", "height", "diagonal", "radial_sd"),
}

steady = settings(deadline=None)
places = st.floats(-500, 500).map(lambda value: round(value, 3))
groups = st.integers(4, 25).flatmap(lambda n: hnp.arrays(float, (n, 2), elements=places))


def scattered(seed: int, n: int, sigma: float = 10.0) -> np.ndarray:
    return np.random.default_rng(seed).normal(0.0, sigma, (n, 2))


class TestConstants:
    @pytest.mark.parametrize(("n", "mean"), EXTREME_SPREAD.items())
    def test_expected_extreme_spread(self, n, mean):
        assert constants.extreme_spread_constant(n) == pytest.approx(mean, rel=5e-5)

    def test_three_shots_by_quadrature(self):
        # Kendall's sphere of triangle shapes: the squared sides are S (1 + w.e_k), S the sum of
        # squared radii (chi-square, 4 df), w uniform on the sphere, e_k three directions 120
        # degrees apart; D. G. Kendall, Bull. London Math. Soc. 16 (1984) 81-121.
        shape, _ = scipy.integrate.dblquad(
            lambda polar, turn: math.sin(polar) * math.sqrt(1 + math.sin(polar) * math.cos(turn)),
            *(-math.pi / 3, math.pi / 3),
            *(0, math.pi),
            epsabs=1e-11,
        )
        size = scipy.stats.chi(4).mean()
        expected = size * 3 * shape / (4 * math.pi)
        assert constants.extreme_spread_constant(3) == pytest.approx(expected, rel=1e-9)

    def test_large_groups_go_on_smoothly(self):
        sizes = [50, 60, 80, 100, 200, 500, 1000, 5000, 20_000, 100_000]
        spreads = [constants.extreme_spread_constant(n) for n in sizes]
        ranges = [constants.range_constant(n) for n in sizes]
        ratio = np.array(spreads) / ranges
        assert (np.diff(spreads) > 0).all()
        assert (np.diff(ratio) < 0).all()
        assert (ratio > 1).all()

    def test_large_group_by_simulation(self):
        rng = np.random.default_rng(3)
        seen = [
            scipy.spatial.distance.pdist(rng.standard_normal((300, 2))).max() for _ in range(300)
        ]
        error = np.std(seen) / math.sqrt(len(seen))
        assert abs(np.mean(seen) - constants.extreme_spread_constant(300)) < 4 * error

    # NIST/SEMATECH e-Handbook 6.3.2 (ASTM STP 15-D): control-chart constants d2 and c4.
    @pytest.mark.parametrize(
        ("n", "d2", "c4"),
        [
            (2, 1.128, 0.7979),
            (3, 1.693, 0.8862),
            (4, 2.059, 0.9213),
            (5, 2.326, 0.9400),
            (6, 2.534, 0.9515),
            (7, 2.704, 0.9594),
            (8, 2.847, 0.9650),
            (9, 2.970, 0.9693),
            (10, 3.078, 0.9727),
        ],
    )
    def test_control_chart_constants(self, n, d2, c4):
        assert constants.range_constant(n) == pytest.approx(d2, abs=6e-4)
        assert constants.c4(n - 1) == pytest.approx(c4, abs=6e-5)

    @pytest.mark.parametrize("n", [2, 7, 60, 5000, 1_000_000])
    def test_range_by_adaptive_quadrature(self, n):
        phi = scipy.stats.norm
        value, _ = scipy.integrate.quad(
            lambda x: 1 - phi.cdf(x) ** n - phi.sf(x) ** n, 0, 12, epsabs=1e-12, limit=200
        )
        assert constants.range_constant(n) == pytest.approx(2 * value, rel=1e-9)

    # Rayleigh: mean sqrt(pi/2), shrunk by sqrt((n - 1)/n) about the sample's own centre.
    @pytest.mark.parametrize(
        ("n", "mean"), [(2, 0.88623), (5, 1.12100), (10, 1.18900), (20, 1.22158)]
    )
    def test_mean_radius(self, n, mean):
        assert constants.mean_radius_constant(n) == pytest.approx(mean, abs=6e-6)

    # Simulated outside this project with 1e8 groups a size, and by Gauss-Legendre integration.
    @pytest.mark.parametrize(
        ("n", "mean"), [(2, 1.77245), (3, 2.53961), (5, 3.39578), (10, 4.42233), (30, 5.81807)]
    )
    def test_expected_diagonal(self, n, mean):
        assert constants.diagonal_constant(n) == pytest.approx(mean, abs=6e-6)

    @pytest.mark.parametrize(("n", "mean"), [(2, 1.25331), (5, 1.37081), (20, 1.40494)])
    def test_expected_radial_sd(self, n, mean):
        assert constants.radial_sd_constant(n) == pytest.approx(mean, abs=6e-6)

    @pytest.mark.parametrize("share", [0.5, 0.9, 0.95, 0.99])
    def test_radius(self, share):
        assert constants.radius_constant(share) == pytest.approx(scipy.stats.rayleigh.ppf(share))


class TestWorkedGroups:
    """Two groups worked by hand outside this project; B in inches."""

    @pytest.mark.parametrize(
        ("shots", "unit", "expected"),
        [
            (
                GROUP_A,
                1.0,
                {
                    "centre_x": 1.0,
                    "centre_y": 4.0,
                    "offset": math.sqrt(17),
                    "extreme_spread": 28.60070,
                    "mean_radius": 11.15972,
                    "sigma": 10.08181,
                    "figure_of_merit": 24.0,
                    "r50": 11.87043,
                    "r90": 21.63523,
                    "r95": 24.67773,
                    "width": 26.0,
                    "height": 22.0,
                    "diagonal": 34.05877,
                    "radial_sd": 13.82027,
                },
            ),
            (
                GROUP_B,
                25.4,
                {
                    "centre_x": 0.1380000,
                    "centre_y": 0.07000000,
                    "offset": math.hypot(0.138, 0.07),
                    "extreme_spread": 2.890329,
                    "mean_radius": 1.167322,
                    "sigma": 0.9247660,
                    "figure_of_merit": 2.78,
                    "r50": 1.088829,
                    "r90": 1.984516,
                    "r95": 2.263593,
                    "width": 2.76,
                    "height": 2.80,
                    "diagonal": 3.931615,
                    "radial_sd": 1.289787,
                },
            ),
        ],
    )
    def test_values(self, shots, unit, expected):
        estimates = measure_group(shots).estimates()
        seen = {name: estimates[name].value / unit for name in expected}
        assert seen == pytest.approx(expected, rel=1e-6)

    @pytest.mark.parametrize(
        ("shots", "unit", "confidence", "low", "high"),
        [
            (GROUP_A, 1.0, 0.95, 6.600843, 18.72170),
            (GROUP_A, 1.0, 0.90, 7.019051, 16.72075),
            (GROUP_B, 25.4, 0.95, 0.6891318, 1.348714),
            (GROUP_B, 25.4, 0.90, 0.7201471, 1.262688),
        ],
    )
    def test_sigma_interval(self, shots, unit, confidence, low, high):
        sigma = measure_group(shots, confidence=confidence).sigma
        assert (sigma.low / unit, sigma.high / unit) == pytest.approx((low, high), rel=1e-6)

    @pytest.mark.parametrize(
        ("shots", "critical", "angle_deg"),
        [(GROUP_A, 25.47225199, 8.580959), (GROUP_B, 10.03268274, 129.1874 - 180)],
    )
    def test_centre_ellipse(self, shots, critical, angle_deg):
        group = measure_group(shots)
        ellipse = group.centre_ellipse
        assert math.degrees(ellipse.angle_rad) == pytest.approx(angle_deg, abs=1e-4)
        # Every point of its rim has the critical T^2.
        turn = np.linspace(0, 2 * np.pi, 9)
        rim = ellipse.semi_major_mm * np.cos(turn) + 1j * ellipse.semi_minor_mm * np.sin(turn)
        rim = rim * np.exp(1j * ellipse.angle_rad)
        from_centre = np.stack([rim.real, rim.imag])
        inverse = np.linalg.inv(np.cov(shots.T))
        t_squared = len(shots) * np.einsum("ik,ij,jk->k", from_centre, inverse, from_centre)
        assert t_squared == pytest.approx(critical, rel=1e-6)

    @pytest.mark.parametrize(
        ("shots", "unit", "x", "y"),
        [(GROUP_A, 1.0, 3.0, 4.0), (GROUP_B, 25.4, 0.1501220, 0.08476377)],
    )
    def test_spatial_median(self, shots, unit, x, y):
        median = np.array(measure_group(shots).spatial_median_mm) / unit
        assert median == pytest.approx((x, y), abs=1e-6)

    def test_the_rim_of_the_centre_ellipse_is_where_hotelling_says_five_per_cent(self):
        ellipse = measure_group(GROUP_B).centre_ellipse
        rim = ellipse.x_mm + 1j * ellipse.y_mm
        rim += ellipse.semi_major_mm * np.exp(1j * ellipse.angle_rad)
        tested = pingouin.multivariate_ttest(GROUP_B, [rim.real, rim.imag])
        assert float(tested["pval"].iloc[0]) == pytest.approx(0.05, abs=1e-9)

    def test_expected_spreads_of_group_a(self):
        group = measure_group(GROUP_A)
        for estimate, constant in (
            (group.extreme_spread, 3.06588),
            (group.mean_radius, 1.12100),
            (group.figure_of_merit, 2.325929),
        ):
            limits = 6.600843 * constant, 18.72170 * constant
            assert (estimate.low, estimate.high) == pytest.approx(limits, rel=5e-5)


class TestAgainstScipy:
    @pytest.mark.parametrize("n", [2, 3, 5, 12, 60])
    def test_centre(self, n):
        shots = scattered(n, n) + 40
        group = measure_group(shots, confidence=0.9)
        for column, estimate in zip(shots.T, (group.centre.x, group.centre.y), strict=True):
            interval = scipy.stats.ttest_1samp(column, 0).confidence_interval(0.9)
            assert (estimate.low, estimate.high) == pytest.approx(tuple(interval), rel=1e-10)

    @pytest.mark.parametrize("n", [2, 5, 30])
    def test_sigma_of_one_axis(self, n):
        shots = scattered(n, n)
        sigma = measure_group(shots).sigma_y
        s = shots[:, 1].std(ddof=1)
        limits = s * np.sqrt((n - 1) / scipy.stats.chi2.ppf([0.975, 0.025], n - 1))
        unbiased = s * math.sqrt(n - 1) / scipy.stats.chi(n - 1).mean()
        assert (sigma.value, sigma.low, sigma.high) == pytest.approx((unbiased, *limits), rel=1e-9)

    @pytest.mark.parametrize("n", [2, 9, 400, 3000])
    def test_extreme_spread_is_the_largest_of_all_pairs(self, n):
        shots = np.random.default_rng(n).standard_t(3, (n, 2))
        largest = scipy.spatial.distance.pdist(shots).max()
        assert measure_group(shots).extreme_spread.value == pytest.approx(largest, rel=1e-12)

    def test_extreme_spread_of_shots_on_a_circle(self):
        angle = np.linspace(0, 2 * np.pi, 2001)
        shots = 50 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
        largest = scipy.spatial.distance.pdist(shots).max()
        assert measure_group(shots).extreme_spread.value == pytest.approx(largest, rel=1e-12)

    def test_extreme_spread_quantiles(self):
        # Of ten shots, sigma 1, from 1e8 groups outside this project.
        rng = np.random.default_rng(10)
        count = 1200
        seen = [
            measure_group(rng.standard_normal((10, 2))).extreme_spread.value for _ in range(count)
        ]
        for share, quantile in ((0.05, 2.67967), (0.5, 3.76344), (0.95, 5.10798)):
            below = np.mean(np.array(seen) <= quantile)
            assert abs(below - share) < 4 * math.sqrt(share * (1 - share) / count)


class TestOffset:
    @pytest.mark.parametrize("n", [2, 3, 6, 20])
    def test_low_leaves_zero_where_the_f_test_rejects(self, n):
        # n d^2 / (2 s^2) is F with 2 and 2 (n - 1) degrees of freedom when there is no offset.
        critical = math.sqrt(2 * scipy.stats.f.ppf(0.95, 2, 2 * n - 2) / n)
        assert offset_interval(critical * 0.9999, 1.0, n, 0.95).low == 0.0
        assert offset_interval(critical * 1.0001, 1.0, n, 0.95).low > 0.0

    def test_known_sigma_is_the_noncentral_chi_square(self):
        n, distance = 100_000, 2.5
        unit = 1 / math.sqrt(n)
        estimate = offset_interval(distance * unit, 1.0, n, 0.9)
        low, high = estimate.low / unit, estimate.high / unit
        law = scipy.stats.ncx2
        below = 0.05 * (1 + math.exp(-(low**2) / 8))
        assert law.sf(distance**2, 2, low**2) == pytest.approx(below, abs=1e-4)
        central = scipy.stats.chi2.cdf(distance**2, 2)
        assert law.cdf(distance**2, 2, high**2) == pytest.approx(0.05 * central, abs=1e-4)

    def test_few_shots_by_quadrature(self):
        # The same probability from scipy's bivariate t, over the disc, in polar coordinates.
        n, distance = 5, 3.0
        high = offset_interval(distance / math.sqrt(n), 1.0, n, 0.95).high * math.sqrt(n)
        law = scipy.stats.multivariate_t([0, 0], df=8)

        def density(radius, turn):
            place = [radius * math.cos(turn) - high, radius * math.sin(turn)]
            return radius * float(law.pdf(place))

        disc, _ = scipy.integrate.dblquad(density, 0, 2 * math.pi, 0, distance, epsabs=1e-7)
        central = scipy.stats.f.cdf(distance**2 / 2, 2, 8)
        assert disc == pytest.approx(0.025 * central, rel=1e-4)

    def test_far_from_the_aim_it_is_the_t_interval(self):
        estimate = offset_interval(1000.0, 10.0, 6, 0.95)
        half = scipy.stats.t.ppf(0.975, 10) * 10 / math.sqrt(6)
        assert estimate.high - 1000 == pytest.approx(half, rel=5e-3)
        assert 1000 - estimate.low == pytest.approx(half, rel=5e-3)

    @pytest.mark.parametrize("n", [3, 6, 50])
    def test_the_far_rule_joins_the_exact_one(self, n):
        unit = 1 / math.sqrt(n)
        near = offset_interval(99.9999 * unit, 1.0, n, 0.95)
        far = offset_interval(100.0001 * unit, 1.0, n, 0.95)
        assert far.low - near.low == pytest.approx(0, abs=2e-3 * unit)
        assert far.high - near.high == pytest.approx(0, abs=2e-3 * unit)

    @steady
    @given(
        distance=st.floats(0, 3000),
        n=st.integers(2, 60),
        confidence=st.sampled_from([0.5, 0.8, 0.95, 0.99, 0.9999]),
    )
    def test_ordered_and_growing(self, distance, n, confidence):
        estimate = offset_interval(distance, 7.0, n, confidence)
        farther = offset_interval(distance + 1.0, 7.0, n, confidence)
        assert 0 <= estimate.low <= distance < estimate.high
        assert estimate.low <= farther.low
        assert estimate.high < farther.high

    def test_a_centre_on_the_aim_still_has_an_upper_limit(self):
        shots = scattered(4, 8)
        on_aim = measure_group(shots, aim_mm=tuple(shots.mean(axis=0))).offset
        close = measure_group(shots, aim_mm=tuple(shots.mean(axis=0) + 0.01)).offset
        assert on_aim.low == close.low == 0
        assert on_aim.high > 0
        assert close.high == pytest.approx(on_aim.high, rel=1e-3)


class TestPhotoError:
    def test_it_is_taken_out_of_sigma(self):
        # sigma 10 mm seen with 2 mm of independent error is inflated by 1.980 % (sqrt(1.04)).
        plain = measure_group(GROUP_B)
        m = 0.2 / math.sqrt(1.04) * math.sqrt(np.var(GROUP_B, axis=0, ddof=1).mean())
        cleaned = measure_group(GROUP_B, se_mm=m)
        assert plain.sigma.value / cleaned.sigma.value == pytest.approx(1.01980, abs=1e-5)
        assert plain.r90.value / cleaned.r90.value == pytest.approx(1.01980, abs=1e-5)
        assert cleaned.measurement_share == pytest.approx(0.04 / 1.04)
        assert any("4% of the variance" in note for note in cleaned.notes)
        assert cleaned.extreme_spread.value == plain.extreme_spread.value
        assert cleaned.extreme_spread.high < plain.extreme_spread.high
        assert cleaned.centre == plain.centre

    def test_a_small_share_is_not_worth_a_note(self):
        group = measure_group(GROUP_A, se_mm=0.3)
        assert group.notes == ()
        assert 0 < group.measurement_share < 0.001

    def test_errors_of_their_own_count_by_mean_square(self):
        own = measure_group(GROUP_A, se_mm=[1, 2, 3, 4, 5])
        same = measure_group(GROUP_A, se_mm=math.sqrt(11))
        assert own.sigma.value == pytest.approx(same.sigma.value, rel=1e-14)

    def test_an_error_as_large_as_the_scatter(self):
        group = measure_group(GROUP_A, se_mm=12.0)
        assert (group.sigma.value, group.sigma.low) == (0.0, 0.0)
        assert group.sigma.high == measure_group(GROUP_A).sigma.high
        assert any("cannot be told from 0" in note for note in group.notes)


class TestLimits:
    def test_one_shot(self):
        group = measure_group([(3.0, 4.0)], se_mm=0.2, distance_m=18)
        assert group.offset.value == 5.0
        assert math.isnan(group.offset.high)
        known = {k for k, e in group.estimates().items() if not math.isnan(e.value)}
        assert known == {"centre_x", "centre_y", "offset", "offset_x", "offset_y"}
        assert group.notes[0].startswith("One shot")

    def test_two_shots(self):
        group = measure_group([(0.0, 0.0), (3.0, 4.0)])
        assert group.extreme_spread.value == pytest.approx(5.0)
        assert group.mean_radius.value == pytest.approx(2.5)
        assert math.isnan(group.centre_ellipse.semi_major_mm)
        assert group.notes[0].startswith("Two shots")
        assert all(math.isfinite(e.high) for e in group.estimates().values())

    def test_three_shots(self):
        group = measure_group([(0.0, 0.0), (3.0, 4.0), (-2.0, 1.0)])
        assert math.isfinite(group.centre_ellipse.semi_major_mm)
        assert group.notes[0].startswith("Three shots")

    @pytest.mark.parametrize("place", [(0.0, 0.0), (0.1 + 0.2, -700.7), (9e5, 1e-300)])
    def test_identical_shots(self, place):
        group = measure_group([place] * 7)
        assert group.sigma.value == 0
        assert group.extreme_spread.value == 0
        assert math.isnan(group.sigma.high)
        assert math.isnan(group.centre.x.low)
        assert group.notes == (
            "All shots lie at one point: no scatter was seen, so that nothing bounds sigma "
            "or the centre's error.",
        )

    @pytest.mark.parametrize("slope", [-2.0, 0.3, 1.0])
    def test_shots_on_a_line(self, slope):
        x = np.array([-7.1, 0.2, 3.3, 11.9])
        group = measure_group(np.stack([x, slope * x], axis=1))
        ellipse = group.centre_ellipse
        assert math.tan(ellipse.angle_rad) == pytest.approx(slope, rel=1e-6)
        assert ellipse.semi_minor_mm == pytest.approx(0, abs=1e-5 * ellipse.semi_major_mm)
        assert any("on one line" in note for note in group.notes)

    def test_shots_at_one_height(self):
        group = measure_group([(1.0, 5.0), (4.0, 5.0), (9.0, 5.0), (2.0, 5.0)])
        assert group.sigma_y.value == 0
        assert math.isnan(group.sigma_y.high)
        assert math.isnan(group.centre.y.high)
        assert any("the same y" in note for note in group.notes)

    def test_a_long_group_is_called_long(self):
        stretched = scattered(5, 20) * (1, 4)
        note = measure_group(stretched).notes[0]
        assert "as long as wide" in note
        assert measure_group(scattered(5, 20)).notes == ()

    def test_the_circularity_test_has_its_level(self):
        rng = np.random.default_rng(8)
        noted = sum(
            "as long as wide" in " ".join(measure_group(rng.standard_normal((6, 2))).notes)
            for _ in range(1600)
        )
        assert abs(noted - 80) < 4 * math.sqrt(80 * 0.95)

    def test_a_spread_outside_its_expected_interval_is_said(self):
        shots = np.vstack([scattered(1, 60), [(90.0, 90.0)]])
        group = measure_group(shots)
        assert group.extreme_spread.value > group.extreme_spread.high
        assert any("extreme spread is this group's own, and larger" in note for note in group.notes)

    @pytest.mark.parametrize(
        ("shots", "reason"),
        [
            ([], "no shots"),
            (np.empty((0, 2)), "no shots"),
            ([1.0, 2.0], r"shape \(2,\)"),
            ([[1.0, 2.0, 3.0]], r"shape \(1, 3\)"),
            (np.zeros((2, 2, 2)), "shape"),
            (5.0, "shape"),
            ([(1.0, 2.0), (3.0,)], "pairs of numbers"),
            ([("a", "b")], "pairs of numbers"),
            ([(1j, 0)], "pairs of numbers"),
            (np.array([(1j, 0)]), "pairs of numbers"),
            (None, "shape"),
            ([(0.0, 0.0), (math.nan, 1.0)], "shot 2 is at"),
            ([(0.0, math.inf)], "shot 1 is at"),
            ([(0.0, 0.0), (0.0, 0.0), (1e300, 0.0)], "shot 3 is at"),
        ],
    )
    def test_bad_shots(self, shots, reason):
        with pytest.raises(StatisticsError, match=reason):
            measure_group(shots)

    @pytest.mark.parametrize(
        ("given_badly", "reason"),
        [
            ({"aim_mm": (0.0, math.nan)}, "the aim is at"),
            ({"aim_mm": (0.0,)}, "aim has shape"),
            ({"aim_mm": ("left", 0)}, "aim"),
            ({"se_mm": -0.1}, "negative"),
            ({"se_mm": math.nan}, "not finite"),
            ({"se_mm": [0.1, 0.2]}, "se_mm has shape"),
            ({"se_mm": "small"}, "se_mm must be numbers"),
            ({"distance_m": 0.0}, "distance"),
            ({"distance_m": math.inf}, "distance"),
            ({"confidence": 95}, "confidence"),
            ({"confidence": math.nan}, "confidence"),
        ],
    )
    def test_bad_options(self, given_badly, reason):
        with pytest.raises(StatisticsError, match=reason):
            measure_group(GROUP_A, **given_badly)


class TestLaws:
    @steady
    @given(shots=groups, seed=st.integers(0, 1000))
    def test_order_does_not_matter(self, shots, seed):
        shuffled = np.random.default_rng(seed).permutation(shots)
        here, there = measure_group(shots), measure_group(shuffled)
        for name, estimate in here.estimates().items():
            assert there.estimates()[name].value == pytest.approx(estimate.value, abs=1e-9)

    @steady
    @given(shots=groups, x=places, y=places)
    def test_moving_shots_and_aim_together_changes_only_the_centre(self, shots, x, y):
        here = measure_group(shots, aim_mm=(3.0, -4.0)).estimates()
        there = measure_group(shots + (x, y), aim_mm=(3.0 + x, -4.0 + y)).estimates()
        assert there["centre_x"].value == pytest.approx(here["centre_x"].value + x, abs=1e-9)
        for name in here.keys() - {"centre_x", "centre_y"}:
            assert there[name].value == pytest.approx(here[name].value, abs=1e-8)

    @steady
    @given(shots=groups, angle=st.floats(-math.pi, math.pi))
    def test_turning_the_sheet_keeps_what_is_round(self, shots, angle):
        turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
        here, there = measure_group(shots), measure_group(shots @ turn.T)
        for name in ("offset", "extreme_spread", "mean_radius", "sigma", "r50", "r90"):
            one, two = here.estimates()[name], there.estimates()[name]
            assert two.value == pytest.approx(one.value, abs=1e-9)
            if math.isfinite(one.high):
                assert (two.low, two.high) == pytest.approx((one.low, one.high), rel=1e-6, abs=1e-4)

    @steady
    @given(shots=groups, factor=st.floats(0.1, 10))
    def test_every_length_scales(self, shots, factor):
        here, there = measure_group(shots).estimates(), measure_group(shots * factor).estimates()
        for name, estimate in here.items():
            expected = estimate.scaled(factor)
            assert there[name].value == pytest.approx(expected.value, rel=1e-9, abs=1e-9)

    @steady
    @given(shots=groups)
    def test_spreads_bound_one_another(self, shots):
        group = measure_group(shots)
        width, height = np.ptp(shots, axis=0)
        spread = group.extreme_spread.value
        assert max(width, height) - 1e-9 <= spread <= math.hypot(width, height) + 1e-9
        assert group.figure_of_merit.value == pytest.approx((width + height) / 2)
        assert group.mean_radius.value <= spread + 1e-9

    @steady
    @given(shots=groups, level=st.sampled_from([0.5, 0.8, 0.95]))
    def test_estimates_lie_inside_and_more_confidence_is_wider(self, shots, level):
        narrow = measure_group(shots, confidence=level).estimates()
        wide = measure_group(shots, confidence=0.99).estimates()
        for name, estimate in narrow.items():
            if math.isnan(estimate.high):
                continue
            if name not in SEEN:
                assert estimate.low <= estimate.value <= estimate.high
            assert wide[name].low <= estimate.low
            assert wide[name].high >= estimate.high


class TestNothingBreaks:
    """Any shots give a table: ties, lines, points, ends of any size, a photo however rough."""

    @steady
    @given(
        shots=st.lists(st.tuples(st.integers(-3, 3), st.integers(-3, 3)), min_size=1, max_size=12),
        scale=st.sampled_from([1e-6, 1.0, 1e5]),
        se=st.sampled_from([None, 0.0, 0.5, 1e4]),
        seed=st.integers(0, 99),
    )
    def test_every_table_can_be_written_and_read(self, shots, scale, se, seed):
        ends = np.random.default_rng(seed).integers(0, 3, len(shots))
        group = measure_group(scale * np.array(shots, float), se_mm=se, ends=ends, distance_m=18)
        table = json.loads(json.dumps(group.to_dict(), allow_nan=False))
        assert table["n"] == len(shots)
        assert all(note.endswith(".") and "nan" not in note for note in group.notes)
        for name, estimate in group.estimates().items():
            assert not estimate.high < estimate.low, name
            if name not in {"centre_x", "centre_y", "offset_x", "offset_y"}:
                assert not estimate.value < 0, name

    def test_a_season_in_one_group(self):
        shots = np.random.default_rng(1).normal(0, 10, (20_000, 2))
        group = measure_group(shots, ends=np.repeat(np.arange(4000), 5))
        assert group.sigma.low < 10 < group.sigma.high
        assert group.sigma_from_spread.low < 10 < group.sigma_from_spread.high
        assert group.ends.within.low < 10 < group.ends.within.high
        assert math.hypot(*group.spatial_median_mm) < 0.5


class TestTables:
    def test_json_has_every_statistic_in_every_unit(self):
        group = measure_group(GROUP_A, aim_mm=(1.0, 0.0), distance_m=36.576)
        table = json.loads(json.dumps(group.to_dict(), allow_nan=False))
        assert table["n"] == 5
        assert table["centre"]["x_mm"] == pytest.approx(1)
        assert table["centre"]["y_inch"] == pytest.approx(4 / 25.4)
        assert table["centre"]["ellipse"]["angle_deg"] == pytest.approx(8.580959, abs=1e-5)
        assert table["offset"]["mm"] == pytest.approx(4)
        assert table["offset"]["x_mm"] == pytest.approx(0)
        assert table["offset"]["y_mm_high"] == pytest.approx(table["centre"]["y_mm_high"])
        for name in (
            *("extreme_spread", "mean_radius", "sigma", "figure_of_merit", "r50", "r90", "r95"),
            *("width", "height", "diagonal", "radial_sd", "sigma_from_spread"),
        ):
            row = table[name]
            assert row["inch"] == pytest.approx(row["mm"] / 25.4)
            assert row["mrad_high"] == pytest.approx(row["mm_high"] / 36.576, rel=1e-5)
            assert row["moa_low"] == pytest.approx(row["mm_low"] / 10.63953, rel=1e-5)

    def test_what_is_not_known_is_none(self):
        table = measure_group([(1.0, 2.0)]).to_dict()
        json.dumps(table, allow_nan=False)
        assert table["sigma"]["mm"] is None
        assert table["offset"]["moa"] is None
        assert table["centre"]["ellipse"]["semi_major_mm"] is None

    def test_frame_and_json_agree(self):
        group = measure_group(GROUP_B, distance_m=18.288)
        frame = group.to_frame()
        assert frame.index.name == "statistic"
        assert list(frame.columns) == [
            f"{unit}{end}"
            for unit in ("mm", "inch", "moa", "mrad")
            for end in ("", "_low", "_high")
        ]
        table = group.to_dict()
        for name in ("offset", "extreme_spread", "sigma_x", "r90"):
            for column in frame.columns:
                assert frame.loc[name, column] == table[name][column]

    def test_frame_without_a_distance_has_no_angles(self):
        frame = measure_group(GROUP_A).to_frame()
        assert frame.filter(regex="moa|mrad").isna().all(axis=None)
        assert frame.filter(regex="mm|inch").notna().all(axis=None)


def test_import_is_light():
    code = (
        "import sys, groupscan.stats.group; print({'scipy.stats', 'pandas'} & sys.modules.keys())"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "set()"
