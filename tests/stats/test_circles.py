"""R50, R90 and R95 of round and elliptical rigs, against tables of the Hoyt distribution."""

import math

import numpy as np
import pytest
import scipy.integrate
import scipy.special

from groupscan.stats.group import measure_group
from groupscan.stats.group.circles import ROUND_LEVEL
from groupscan.stats.group.hoyt import hoyt_df, hoyt_radius, hoyt_share

# Radii of an elliptical normal group with sigma 1 and `ratio`, worked outside this project by two
# quadratures that agree to 1e-9. The first column agrees with the tables of H. L. Harter,
# "Circular error probabilities", Journal of the American Statistical Association 55 (1960)
# 723-731 (from memory).
ELLIPTICAL = {
    0.0: (0.674490, 1.644854, 1.959964),
    0.1: (0.681985, 1.647912, 1.962530),
    0.2: (0.705854, 1.657313, 1.970408),
    0.3: (0.749935, 1.673829, 1.984196),
    0.5: (0.870417, 1.737080, 2.035859),
    0.7: (0.996207, 1.862530, 2.145981),
    0.8: (1.057693, 1.947158, 2.230287),
    0.9: (1.118066, 2.042360, 2.331798),
    1.0: (1.177410, 2.145966, 2.447747),
}


@pytest.mark.parametrize(("ratio", "radii"), ELLIPTICAL.items())
def test_radii_are_the_published_ones(ratio, radii):
    seen = [float(hoyt_radius(share, 1.0, ratio**2)) for share in (0.5, 0.9, 0.95)]
    assert seen == pytest.approx(radii, abs=6e-7)


@pytest.mark.parametrize("ratio", [0.05, 0.5, 1.0])
def test_share_is_the_integral_of_hoyts_density(ratio):
    # R. S. Hoyt, Bell System Technical Journal 26 (1947): r/(sx sy) exp(-p r^2) I0(d r^2).
    p, d = (1 + ratio**2) / (4 * ratio**2), (1 - ratio**2) / (4 * ratio**2)

    def density(r):
        return r / ratio * math.exp((d - p) * r * r) * scipy.special.ive(0, d * r * r)

    for radius in (0.7, 1.0, 2.0):
        expected, _ = scipy.integrate.quad(density, 0, radius, epsabs=1e-12, limit=200)
        assert hoyt_share(radius, 1.0, ratio**2) == pytest.approx(expected, abs=1e-7)


def test_radius_is_worth_what_its_change_with_each_axis_says():
    a, b, step, df = 4.0, 1.0, 1e-5, 9
    radius = hoyt_radius(0.9, a, b)
    by_axis = [
        float(np.log(hoyt_radius(0.9, *more) / hoyt_radius(0.9, *less))) / step
        for more, less in (
            ((a * (1 + step / 2), b), (a * (1 - step / 2), b)),
            ((a, b * (1 + step / 2)), (a, b * (1 - step / 2))),
        )
    ]
    # d log r^2 / d log variance: the two shares add up to 1.
    shares = 2 * np.array(by_axis)
    assert shares.sum() == pytest.approx(1, abs=1e-6)
    assert hoyt_df(radius, a, b, df) == pytest.approx(df / (shares**2).sum(), rel=1e-5)


class TestChoice:
    def test_a_round_group_is_given_the_circle(self):
        group = measure_group([(12, -7), (-5, 10), (3, 4), (-14, -2), (9, 15)])
        assert group.circles.model == "circular"
        assert group.r90 == group.circles.circular["r90"]
        assert "round" in group.circles.why

    def test_a_long_group_is_given_the_ellipse_and_told_so(self):
        shots = np.random.default_rng(1).standard_normal((40, 2)) * (10, 40)
        group = measure_group(shots)
        assert group.circles.model == "elliptical"
        assert group.r50 == group.circles.elliptical["r50"]
        assert any("longer than wide" in note and "p =" not in note for note in group.notes)
        truth = float(hoyt_radius(0.5, 1600.0, 100.0))
        assert group.r50.low < truth < group.r50.high
        assert group.circles.circular["r50"].value > group.r50.value

    def test_the_level_decides(self):
        rng = np.random.default_rng(11)
        chosen = [
            (group.shape.round_p < ROUND_LEVEL) == (group.circles.model == "elliptical")
            for group in (measure_group(rng.standard_normal((6, 2))) for _ in range(60))
        ]
        assert all(chosen)

    @pytest.mark.parametrize("shots", [[(1, 1)], [(0, 0), (3, 4)], [(2, 2)] * 6])
    def test_without_a_shape_the_circle_is_taken_for_granted(self, shots):
        circles = measure_group(shots).circles
        assert circles.model == "circular"
        assert "granted" in circles.why
        assert math.isnan(circles.elliptical["r50"].value)
        assert circles.to_dict()["elliptical"]["r50"]["mm"] is None

    def test_shots_on_a_line_give_the_normal_quantile(self):
        # One axis alone: half within 0.6745 sigma, on n - 1 degrees of freedom.
        x = np.random.default_rng(3).normal(0, 10, 30)
        group = measure_group(np.stack([x, 0 * x], axis=1))
        s = x.std(ddof=1)
        r50 = group.circles.elliptical["r50"]
        assert r50.value == pytest.approx(0.6744898 * s / (1 - 1 / (4 * 29)), rel=1e-3)
        assert r50.high / r50.low == pytest.approx(group.sigma_x.high / group.sigma_x.low, rel=1e-6)

    def test_the_photos_error_is_taken_out(self):
        # Sigma 3 and 1 blurred by 2: variances 13 and 5, of which 4 is the photo's.
        rng = np.random.default_rng(5)
        shots = rng.standard_normal((4000, 2)) * np.sqrt([13.0, 5.0])
        cleaned = measure_group(shots, se_mm=2.0).r90
        assert cleaned.value == pytest.approx(float(hoyt_radius(0.9, 9.0, 1.0)), rel=0.03)
        assert cleaned.low < cleaned.value < cleaned.high

    def test_an_error_as_large_as_the_scatter_leaves_an_upper_limit(self):
        shots = np.random.default_rng(1).standard_normal((12, 2)) * (1, 4)
        r90 = measure_group(shots, se_mm=50.0).circles.elliptical["r90"]
        assert (r90.value, r90.low) == (0.0, 0.0)
        assert r90.high > 0
