"""Permutation test of two centres: how many ways to split the shots part the centres as far.

Exact whatever the shape of the scatter, as long as the two groups scatter alike: then, if the
centres are one, each split of the shots was as likely as the one seen.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from math import comb, prod

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Permutation", "permute_centres"]

# Up to here all splits are counted; 8 against 8 shots have 12,870.
MOST_COUNTED = 20_000

# Random splits otherwise: at p = 0.05 the standard error of p is then 0.003.
RANDOM_SPLITS = 4_999

# Draws that the processor keeps at hand, 0.5 MB; a season's at once are 50 MB to be fetched.
AT_ONCE = 65_536

# Splits whose distance differs from the one seen by rounding alone are as far.
ROUNDING = 1e-9

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Permutation:
    """A permutation p-value.

    Attributes
    ----------
    p : float
        Share of the splits, the one seen included, that part the centres at least as far.
    splits : int
        How many were looked at.
    exact : bool
        Whether these are all there are.
    least_p : float
        The smallest p that these shots could give; above 0.05 no offset would show.
    """

    p: float
    splits: int
    exact: bool
    least_p: float


def permute_centres(
    first: ArrayLike,
    second: ArrayLike,
    *,
    first_end: ArrayLike | None = None,
    second_end: ArrayLike | None = None,
    seed: int = 1,
    splits: int = RANDOM_SPLITS,
) -> Permutation:
    """Test by permutation whether two groups have one centre.

    Parameters
    ----------
    first, second : (n, 2) array_like, mm
        Shots of each group.
    first_end, second_end : (n,) array_like, optional
        End of each shot: shots then change groups within their end only, and the statistic is the
        offset with the ends' own centres taken out. Give both or neither.
    seed : int, default 1
        For the random splits.
    splits : int, default 4999
        Random splits where there are more than 20,000 in all.

    Returns
    -------
    Permutation
        p = (1 + random splits as far) / (1 + random splits), or the exact share of all splits.

    References
    ----------
    B. Phipson and G. K. Smyth, "Permutation p-values should never be zero: calculating exact
    p-values when permutations are randomly drawn", Statistical Applications in Genetics and
    Molecular Biology 9 (2010) article 39.

    Examples
    --------
    >>> permute_centres([(0, 0), (1, 0), (0, 1), (1, 1)], [(9, 9), (8, 9), (9, 8), (8, 8)])
    Permutation(p=0.02857142857142857, splits=70, exact=True, least_p=0.02857142857142857)
    """
    shots = np.concatenate([np.asarray(first, float), np.asarray(second, float)])
    member = np.repeat([0.0, 1.0], [len(np.asarray(first)), len(np.asarray(second))])
    if first_end is None or second_end is None:
        ends = [np.arange(len(shots))]
    else:
        labels = np.concatenate([np.asarray(first_end), np.asarray(second_end)])
        ends = [np.flatnonzero(labels == label) for label in np.unique(labels)]
    centred = shots.copy()
    for end in ends:
        centred[end] -= centred[end].mean(axis=0)
    chosen = [int(member[end].sum()) for end in ends]
    count = prod(comb(len(end), k) for end, k in zip(ends, chosen, strict=True))
    # Without its end's centre the offset is the sum of one group's shots, times a constant.
    seen = float(np.hypot(*(member @ centred)))
    edge = seen * (1 - ROUNDING) - ROUNDING
    # With halves of the same size each split has its mirror, which parts the centres as far.
    mirrored = all(2 * k == len(end) for end, k in zip(ends, chosen, strict=True))
    if count <= MOST_COUNTED:
        sums = _all_sums(centred, ends, chosen)
        p = float((np.hypot(sums[:, 0], sums[:, 1]) >= edge).mean())
        return Permutation(p, count, exact=True, least_p=min(1.0, (1 + mirrored) / count))
    rng = np.random.default_rng(seed)
    sums = np.zeros((splits, 2))
    for end, k in zip(ends, chosen, strict=True):
        sums += _random_sums(centred[end], k, splits, rng)
    far = int((np.hypot(sums[:, 0], sums[:, 1]) >= edge).sum())
    return Permutation((1 + far) / (1 + splits), splits, exact=False, least_p=1 / (1 + splits))


def _all_sums(centred: Array, ends: Sequence[NDArray[np.intp]], chosen: Sequence[int]) -> Array:
    """Return the second group's sum for every split: the ends' own, added in every combination."""
    sums = np.zeros((1, 2))
    for end, k in zip(ends, chosen, strict=True):
        own = _all_masks(len(end), k) @ centred[end]
        sums = (sums[:, None] + own).reshape(-1, 2)
    return sums


@lru_cache(maxsize=32)
def _all_masks(n: int, k: int) -> Array:
    """Return every choice of k of n as rows of zeros and ones."""
    picks = np.array(list(combinations(range(n), k)), dtype=int).reshape(-1, k)
    masks = np.zeros((len(picks), n))
    np.put_along_axis(masks, picks, 1.0, axis=1)
    return masks


def _random_sums(shots: Array, k: int, count: int, rng: np.random.Generator) -> Array:
    """Return the sums of random choices of k of the shots, (count, 2)."""
    n = len(shots)
    sums = np.zeros((count, 2))
    rows = max(1, AT_ONCE // n)
    for first in range(0, count, rows):
        some = sums[first : first + rows]
        draws = rng.random((len(some), n))
        if not k:  # drawn all the same, so that a seed gives the ends after this one the same
            continue
        masks = draws <= np.partition(draws, k - 1, axis=1)[:, k - 1 : k]
        some += masks.astype(float) @ shots
    return sums
