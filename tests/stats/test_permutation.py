"""The permutation test against a counted example, scipy and brute force."""

from itertools import combinations, product

import numpy as np
import pytest
import scipy.stats

from groupscan.stats.offset.permutation import permute_centres

# A made-up example of a reference sheet, inches: 22 of the 924 splits part the centres as far.
FIELD = np.array([(0.4, -0.6), (-0.8, 0.3), (0.9, 0.7), (-0.2, -1.1), (0.6, 0.2), (-0.5, 0.8)])
BROADHEAD = np.array([(1.7, -1.2), (0.3, -2.4), (2.5, 0.4), (1.1, -0.1), (2.9, -1.9), (0.8, 1.0)])


def test_the_counted_example():
    found = permute_centres(FIELD, BROADHEAD)
    assert (found.splits, found.exact) == (924, True)
    assert found.p == 22 / 924
    assert found.least_p == 2 / 924


@pytest.mark.parametrize(("first", "second"), [(5, 4), (3, 6), (2, 7)])
def test_all_splits_agree_with_scipy(first, second):
    rng = np.random.default_rng(first)
    x, y = rng.normal(size=(first, 2)), rng.normal(size=(second, 2)) + [1.0, 0.5]
    # scipy permutes along one axis of numbers; complex ones carry both coordinates.
    by_scipy = scipy.stats.permutation_test(
        (x @ [1, 1j], y @ [1, 1j]),
        lambda a, b, axis: np.abs(a.mean(axis=axis) - b.mean(axis=axis)),
        vectorized=True,
        alternative="greater",
        n_resamples=np.inf,
    )
    assert permute_centres(x, y).p == pytest.approx(by_scipy.pvalue)


def test_random_splits_come_near_to_all_of_them():
    rng = np.random.default_rng(8)
    x, y = rng.normal(size=(12, 2)), rng.normal(size=(12, 2)) + [0.7, 0.0]
    found = permute_centres(x, y, splits=20_000)
    assert not found.exact
    by_scipy = scipy.stats.permutation_test(
        (x @ [1, 1j], y @ [1, 1j]),
        lambda a, b, axis: np.abs(a.mean(axis=axis) - b.mean(axis=axis)),
        vectorized=True,
        alternative="greater",
        n_resamples=20_000,
        rng=np.random.default_rng(9),
    )
    se = np.sqrt(2 * by_scipy.pvalue * (1 - by_scipy.pvalue) / 20_000)
    assert abs(found.p - by_scipy.pvalue) < 4 * se


def test_the_seed_decides_random_splits():
    rng = np.random.default_rng(8)
    x, y = rng.normal(size=(15, 2)), rng.normal(size=(15, 2))
    assert permute_centres(x, y) == permute_centres(x, y)
    assert permute_centres(x, y).p != permute_centres(x, y, seed=2).p


def test_within_ends_shots_change_groups_within_their_end_only():
    """Every split is listed by hand; its offset is the within-end one of least squares."""
    rng = np.random.default_rng(4)
    first_end, second_end = np.array([0, 0, 1, 2, 2]), np.array([0, 1, 1, 2])
    wander = 30 * rng.normal(size=(3, 2))
    x = rng.normal(size=(5, 2)) + wander[first_end]
    y = rng.normal(size=(4, 2)) + wander[second_end] + [1.5, 0.0]
    shots, ends = np.concatenate([x, y]), np.concatenate([first_end, second_end])

    def offset(chosen):
        """Regress on the ends and on the membership of the second group."""
        member = np.isin(np.arange(9), chosen).astype(float)
        design = np.column_stack([ends == end for end in range(3)] + [member]).astype(float)
        return np.hypot(*np.linalg.lstsq(design, shots, rcond=None)[0][-1])

    splits = [
        combinations(np.flatnonzero(ends == end), int((second_end == end).sum()))
        for end in range(3)
    ]
    distances = np.array([offset(np.concatenate(pick)) for pick in product(*splits)])
    seen = offset(np.arange(5, 9))
    found = permute_centres(x, y, first_end=first_end, second_end=second_end)
    assert found.splits == len(distances) == 27
    assert found.p == pytest.approx((distances >= seen * (1 - 1e-9)).mean())


def test_what_moves_a_whole_end_does_not_count():
    rng = np.random.default_rng(5)
    end = np.repeat(np.arange(4), 3)
    x, y = rng.normal(size=(12, 2)), rng.normal(size=(12, 2))
    wander = 50 * rng.normal(size=(4, 2))[end]
    still = permute_centres(x, y, first_end=end, second_end=end)
    moved = permute_centres(x + wander, y + wander, first_end=end, second_end=end)
    assert still.p == pytest.approx(moved.p, abs=3 / 5000)


def test_shots_at_one_point_part_no_further_however_they_are_split():
    assert permute_centres([(1, 2)] * 3, [(1, 2)] * 4).p == 1.0


def test_three_against_three_can_never_show_five_per_cent():
    far = permute_centres([(0, 0), (1, 0), (0, 1)], [(99, 99), (98, 99), (99, 98)])
    assert far.p == far.least_p == 0.1


def test_a_seed_draws_each_end_in_turn_whichever_group_shot_it():
    rng = np.random.default_rng(31)
    first, second = rng.normal(size=(22, 2)), rng.normal(size=(16, 2)) + [0.2, 0.0]
    first_end, second_end = np.repeat([1, 2, 3], [6, 8, 8]), np.repeat([2, 3], 8)
    found = permute_centres(first, second, first_end=first_end, second_end=second_end, seed=4)

    draws, seen, far = np.random.default_rng(4), np.zeros(2), np.zeros((found.splits, 2))
    for end in (1, 2, 3):
        both = np.concatenate([first[first_end == end], second[second_end == end]])
        both = both - both.mean(axis=0)
        k = int((second_end == end).sum())
        seen += both[len(both) - k :].sum(axis=0)
        least = np.argsort(draws.random((found.splits, len(both))), axis=1)[:, :k]
        far += both[least].sum(axis=1)
    assert not found.exact
    count = (np.hypot(*far.T) >= np.hypot(*seen) * (1 - 1e-9)).sum()
    assert found.p == (1 + count) / (1 + found.splits)
