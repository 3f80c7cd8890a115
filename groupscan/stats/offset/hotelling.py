"""Hotelling's T² for the offset of two centres, whether or not the two groups scatter alike.

The functions work on summaries (the offset and the covariance parts of its variance) and on
stacks of them: leading axes are cases, the last ones coordinates. They hold for any number of
coordinates p, although shots have two.

The variance of an offset d is a sum of *parts*, one a group: for two groups without ends, part i
is S_i/n_i on n_i - 1 degrees of freedom. Where both groups are taken to scatter alike there is one
part, S (1/n1 + 1/n2) on n1 + n2 - 2. With one part, T² = d' V^-1 d is Hotelling's and exact; with
two it is the Behrens-Fisher problem, for which `yao_df` and `careful_df` give an effective number
of degrees of freedom.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtrc, fdtri

__all__ = [
    "T2Test",
    "careful_df",
    "careful_welch_df",
    "critical_t2",
    "invariant_df",
    "pooled_covariance",
    "t2_statistic",
    "t2_test",
    "welch_df",
    "yao_df",
]

# The share of each group in the variance is itself uncertain; the degrees of freedom are taken at
# the less favourable of these one-sided limits of the ratio of the two variances: the first for
# groups of one size, the second from a size ratio of UNEQUAL on, in between by its logarithm. They
# are the lowest at which the simulated rate of false "apart" stays at 5 % for pairs of 3 to 20
# shots whose sigmas differ up to threefold (benchmarks/coverage/offset.py).
RATIO_LEVELS = 0.7, 0.9
UNEQUAL = 4 / 3

Array = NDArray[np.float64]


@dataclass(frozen=True)
class T2Test:
    """A T² test; each field has the shape of the stack.

    Attributes
    ----------
    t2 : array
        d' V^-1 d.
    f : array
        T² (df - p + 1) / (p df), referred to F(p, df - p + 1).
    df : array
        Degrees of freedom of the variance; F has p and df - p + 1.
    p : array
        Upper tail; NaN where df - p + 1 is not positive.
    """

    t2: Array
    f: Array
    df: Array
    p: Array


def pooled_covariance(covariances: Sequence[ArrayLike], sizes: Sequence[int]) -> Array:
    """Return the covariance pooled over groups, each weighted by its degrees of freedom.

    Examples
    --------
    >>> pooled_covariance([[[1, 0], [0, 1]], [[4, 0], [0, 4]]], [3, 5]).tolist()
    [[3.0, 0.0], [0.0, 3.0]]
    """
    weighted = [(n - 1) * np.asarray(s, float) for s, n in zip(covariances, sizes, strict=True)]
    total: Array = sum(weighted[1:], start=weighted[0]) / sum(n - 1 for n in sizes)
    return total


def t2_statistic(offset: ArrayLike, variance: ArrayLike) -> Array:
    """Return d' V^-1 d.

    Parameters
    ----------
    offset : (..., p) array_like
    variance : (..., p, p) array_like
        Of the offset; must not be singular.

    Examples
    --------
    >>> float(t2_statistic([3, 4], [[1, 0], [0, 1]]))
    25.0
    """
    d = np.asarray(offset, float)
    t2: Array = (d * np.linalg.solve(np.asarray(variance, float), d[..., None])[..., 0]).sum(-1)
    return t2


def t2_test(offset: ArrayLike, variance: ArrayLike, df: ArrayLike) -> T2Test:
    """Test whether an offset of centres is zero.

    Parameters
    ----------
    offset : (..., p) array_like
    variance : (..., p, p) array_like
        Of the offset.
    df : array_like
        Degrees of freedom of the variance.

    Returns
    -------
    T2Test

    References
    ----------
    H. Hotelling, "The generalization of Student's ratio", Annals of Mathematical Statistics 2
    (1931) 360-378.

    Examples
    --------
    Fifty bars of soap of each kind (Johnson and Wichern, *Applied Multivariate Statistical
    Analysis*, example 6.3):

    >>> pooled = pooled_covariance([[[2, 1], [1, 6]], [[2, 1], [1, 4]]], [50, 50])
    >>> test = t2_test([1.9, -0.2], pooled * (1 / 50 + 1 / 50), 98)
    >>> round(float(test.t2), 4), round(float(test.f), 4)
    (52.4722, 25.9684)
    """
    t2, df = t2_statistic(offset, variance), np.asarray(df, float)
    coordinates = np.shape(offset)[-1]
    left = df - coordinates + 1
    f = t2 * left / (coordinates * df)
    enough = left > 0
    p = np.where(enough, fdtrc(coordinates, np.where(enough, left, 1.0), np.abs(f)), np.nan)
    return T2Test(t2, np.where(enough, f, np.nan), df, p)


def critical_t2(df: ArrayLike, level: ArrayLike, coordinates: int = 2) -> Array:
    """Return the T² that chance exceeds with probability `level`; infinite where df is too small.

    Examples
    --------
    Yao's example (see `yao_df`), 5 %:

    >>> round(float(critical_t2(14.001021, 0.05)), 4)
    8.1964
    """
    df = np.asarray(df, float)
    left = df - coordinates + 1
    enough = left > 0
    quantile = fdtri(coordinates, np.where(enough, left, 1.0), 1 - np.asarray(level, float))
    return np.where(enough, coordinates * df / np.where(enough, left, 1.0) * quantile, np.inf)


def yao_df(offset: ArrayLike, parts: Sequence[ArrayLike], dfs: Sequence[float]) -> Array:
    """Return Yao's degrees of freedom: Welch's, in the direction that T² looks in.

    Parameters
    ----------
    offset : (..., p) array_like
    parts : sequence of (..., p, p) array_like
        Parts of the offset's variance, S_i/n_i.
    dfs : sequence of float
        Their degrees of freedom, n_i - 1.

    References
    ----------
    Y. Yao, "An approximate degrees of freedom solution to the multivariate Behrens-Fisher
    problem", Biometrika 52 (1965) 139-147.

    Examples
    --------
    The example of that paper, p. 141:

    >>> first = np.array([[120, -16.3], [-16.3, 17.8]]) / 16
    >>> second = np.array([[81.8, 32.1], [32.1, 53.8]]) / 11
    >>> round(float(yao_df([3.23, 7.51], [first, second], [15, 10])), 3)
    14.001
    """
    d, matrices = np.asarray(offset, float), [np.asarray(part, float) for part in parts]
    # An offset of nought, which looks nowhere, is taken to look along the first coordinate.
    d = np.where((d == 0).all(-1, keepdims=True), np.eye(d.shape[-1])[0], d)
    looks = np.linalg.solve(sum(matrices[1:], start=matrices[0]), d[..., None])[..., 0]
    looks = looks / np.abs(looks).max(-1, keepdims=True)
    seen = [np.einsum("...i,...ij,...j", looks, part, looks) for part in matrices]
    return welch_df(seen, dfs)


def invariant_df(parts: Sequence[ArrayLike], dfs: Sequence[float]) -> Array:
    """Return the modified Nel-van der Merwe degrees of freedom, which no direction enters.

    Parameters
    ----------
    parts, dfs
        As for `yao_df`.

    References
    ----------
    K. Krishnamoorthy and J. Yu, "Modified Nel and Van der Merwe test for the multivariate
    Behrens-Fisher problem", Statistics & Probability Letters 66 (2004) 161-169.

    Examples
    --------
    >>> first = np.array([[120, -16.3], [-16.3, 17.8]]) / 16
    >>> second = np.array([[81.8, 32.1], [32.1, 53.8]]) / 11
    >>> round(float(invariant_df([first, second], [15, 10])), 3)
    19.473
    """
    matrices = [np.asarray(part, float) for part in parts]
    shares = _shares(matrices)
    p = matrices[0].shape[-1]
    below = [
        (_trace(share @ share) + _trace(share) ** 2) / df
        for share, df in zip(shares, dfs, strict=True)
    ]
    df: Array = (p + p**2) / sum(below[1:], start=below[0])
    return df


def careful_df(parts: Sequence[ArrayLike], dfs: Sequence[float], sizes: Sequence[float]) -> Array:
    """Return degrees of freedom that a small, wide group cannot fool.

    Parameters
    ----------
    parts, dfs
        As for `yao_df`; one part or two.
    sizes : sequence of float
        What each covariance was divided by to give its part: n_i.

    Returns
    -------
    array
        With one part its own. With two the least of: `invariant_df`; Welch's where the groups
        scatter alike; Welch's at either limit of the ratio of the parts that the shots allow.

    Notes
    -----
    Three shots that happen to lie close make their part too small, and T² and its degrees of
    freedom too large at once: simulated, the modified Nel-van der Merwe test alone is wrong up to
    14 times in 100, not 5, where a few shots of a wide group meet many of a tight one.
    """
    if len(parts) == 1:
        shape = np.shape(parts[0])[:-2]
        return np.full(shape, float(dfs[0]))
    matrices = [np.asarray(part, float) for part in parts]
    share = _trace(_shares(matrices)[0]) / matrices[0].shape[-1]
    return np.minimum(invariant_df(matrices, dfs), careful_welch_df(share, dfs, sizes))


def careful_welch_df(share: Array, dfs: Sequence[float], sizes: Sequence[float]) -> Array:
    """Return the least of Welch's degrees of freedom over shares that the shots allow.

    Parameters
    ----------
    share : (...) array
        First part's share of the variance, in one direction or over all.
    dfs, sizes
        As for `careful_df`, two of each.
    """
    share = np.clip(share, 1e-12, 1 - 1e-12)
    first, second = dfs
    odds = share / (1 - share)
    # A variance over two axes has twice the degrees of freedom of one axis.
    alike = sizes[1] / sizes[0]
    unequal = min(1.0, abs(math.log(alike)) / math.log(UNEQUAL))
    level = RATIO_LEVELS[0] + unequal * (RATIO_LEVELS[1] - RATIO_LEVELS[0])
    up, down = fdtri(2 * first, 2 * second, level), fdtri(2 * second, 2 * first, level)
    least = np.full(np.shape(share), np.inf)
    for ratio in (odds, odds * up, odds / down, np.full_like(odds, alike)):
        part = ratio / (1 + ratio)
        least = np.minimum(least, welch_df([part, 1 - part], dfs))
    return least


def welch_df(parts: Sequence[Array], dfs: Sequence[float]) -> Array:
    """Return Welch's degrees of freedom of a variance that is a sum of parts.

    References
    ----------
    B. L. Welch, "The generalization of 'Student's' problem when several different population
    variances are involved", Biometrika 34 (1947) 28-35.

    Examples
    --------
    >>> float(welch_df([np.array(1.0), np.array(1.0)], [4, 4]))
    8.0
    """
    below = [np.asarray(part * part / df, float) for part, df in zip(parts, dfs, strict=True)]
    whole: Array = sum(parts[1:], start=parts[0])
    df: Array = whole * whole / sum(below[1:], start=below[0])
    return df


def _shares(parts: Sequence[Array]) -> list[Array]:
    whole = sum(parts[1:], start=parts[0])
    return [np.asarray(np.linalg.solve(whole, part), float) for part in parts]


def _trace(matrix: Array) -> Array:
    trace: Array = np.trace(matrix, axis1=-2, axis2=-1)
    return trace
