"""The spatial median: where it must be, and that one wild shot cannot carry it away."""

import numpy as np
import pytest
import scipy.optimize
from hypothesis import example, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from groupscan.stats.group.robust import spatial_median

places = st.floats(-500, 500).map(lambda value: round(value, 2))
shots_of = st.integers(1, 25).flatmap(lambda n: hnp.arrays(float, (n, 2), elements=places))


def total(shots, at):
    return float(np.hypot(*(shots - at).T).sum())


@pytest.mark.parametrize(
    ("shots", "median"),
    [
        ([(3, 4)], (3, 4)),
        ([(3, 4)] * 5, (3, 4)),
        # Three of five shots at one place hold it there.
        ([(0, 0)] * 3 + [(10, 0), (0, 10)], (0, 0)),
        # A triangle with an angle of 120 degrees or more: Fermat's point is that corner.
        ([(0, 0), (10, 1), (-10, 1)], (0, 0)),
        # An odd number on a line: the middle one.
        ([(1, 1), (2, 2), (9, 9)], (2, 2)),
        # The corners of a square.
        ([(0, 0), (0, 2), (2, 0), (2, 2)], (1, 1)),
    ],
)
def test_known_places(shots, median):
    assert spatial_median(np.array(shots, float)) == pytest.approx(median, abs=1e-9)


@settings(deadline=None)
@given(shots=shots_of)
@example(np.array([(0.0, 0), (0, 1), (-154, 19), (-45, -1)]))  # a long, narrow valley
def test_no_other_place_is_better(shots):
    at = np.array(spatial_median(shots))
    best = total(shots, at)
    polished = scipy.optimize.minimize(lambda p: total(shots, p), at, method="Nelder-Mead")
    nearest = min(total(shots, shot) for shot in shots)
    assert best <= min(polished.fun, nearest) * (1 + 1e-9) + 1e-9


@settings(deadline=None)
@given(seed=st.integers(0, 300), x=places, y=places, factor=st.floats(0.1, 10))
def test_it_moves_and_scales_with_the_shots(seed, x, y, factor):
    shots = np.random.default_rng(seed).standard_normal((9, 2))
    here = np.array(spatial_median(shots))
    there = spatial_median(factor * shots + (x, y))
    assert there == pytest.approx(tuple(factor * here + (x, y)), abs=1e-6)


def test_a_wild_shot_moves_it_little():
    shots = np.random.default_rng(2).normal(0, 10, (11, 2))
    wild = np.vstack([shots, (5000.0, 0.0)])
    before, after = spatial_median(shots), spatial_median(wild)
    assert abs(after[0] - before[0]) < 5
    assert wild.mean(axis=0)[0] > 400
