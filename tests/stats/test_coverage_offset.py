"""Simulated error rates of the comparison of centres, and that the simulation can fail."""

import math

import numpy as np
import pytest

from benchmarks.coverage.offset import (
    LEVEL,
    SCATTERS,
    many_looks,
    one_look,
    permuted,
    several,
)
from groupscan.stats.offset.contrast import contrast
from groupscan.stats.offset.distance import nearest
from groupscan.stats.offset.sequential import plan_boundary

GROUPS = 1500
FOUR_SE = 4 * math.sqrt(LEVEL * (1 - LEVEL) / GROUPS)


@pytest.mark.parametrize("name", SCATTERS)
@pytest.mark.parametrize("sizes", [(3, 3), (6, 6), (20, 20), (3, 6), (10, 5)])
def test_false_verdicts_keep_their_rate(name, sizes):
    shares = one_look(sizes, SCATTERS[name], GROUPS, np.random.default_rng(1))
    held = {what: share for what, share in shares.items() if what not in ("offset y", "pooled T²")}
    assert all(share <= LEVEL + FOUR_SE for share in held.values()), held


def test_pooled_t2_is_exact_where_both_scatter_alike():
    for name in ("alike", "ellipses alike"):
        shares = one_look((4, 7), SCATTERS[name], 4 * GROUPS, np.random.default_rng(2))
        assert abs(shares["pooled T²"] - (1 - LEVEL)) < FOUR_SE / 2


def test_within_ends_the_rates_hold_whatever_the_ends_do():
    ends = np.repeat(np.arange(3), 3), np.repeat(np.arange(3), 2)
    shares = one_look(
        (9, 6), SCATTERS["thrice as wide"], GROUPS, np.random.default_rng(3), ends=ends
    )
    assert shares["apart falsely"] <= LEVEL + FOUR_SE
    assert shares["together falsely 8 se"] <= LEVEL + FOUR_SE


@pytest.mark.parametrize("looks", [10.0, math.inf])
@pytest.mark.parametrize("within_ends", [False, True])
def test_looking_after_every_end_keeps_the_rates(looks, within_ends):
    shares = many_looks(
        looks, SCATTERS["alike"], GROUPS // 2, np.random.default_rng(4), within_ends=within_ends
    )
    assert all(share <= LEVEL + FOUR_SE for share in shares.values()), shares


def test_looking_after_every_end_as_if_once_does_not():
    """The simulation can fail: nine honest-looking tests in a row are wrong far more often."""
    rng = np.random.default_rng(5)
    first, second = rng.standard_normal((2, GROUPS, 30, 2))
    wrong = np.zeros(GROUPS, bool)
    for shot in range(6, 31, 3):
        seen = contrast(first[:, :shot], second[:, :shot]).seen
        wrong |= nearest(seen, plan_boundary(LEVEL, None)) > 0
    assert wrong.mean() > 0.1


def test_several_comparisons_share_one_rate():
    shares = several(6, 3, 150, np.random.default_rng(6))
    assert all(share <= LEVEL + 4 * math.sqrt(LEVEL / 150) for share in shares.values())


def test_the_permutation_p_is_valid_for_ellipses():
    assert permuted(5, 400, np.random.default_rng(7)) <= LEVEL + 4 * math.sqrt(LEVEL / 400)
