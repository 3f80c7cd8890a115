"""Sums of squares about centres, and the tests that tell whether builds scatter alike.

Two exact reductions of a build's scatter to "a sum of squares and its degrees of freedom", so that
one F test, one interval and one Bartlett test serve both shapes. With A the 2 x 2 matrix of sums
of squares and products on f degrees of freedom (n shots about one centre: f = n - 1):

===========  ===============  ===========  =====================================================
shape        sum of squares   df           sigma stands for
===========  ===============  ===========  =====================================================
circular     trace A          2 f          the sigma of x and of y
elliptical   2 sqrt(det A)    2 f - 2      the geometric mean of the ellipse's two sigmas: the
                                           sigma of the circle of the same area
===========  ===============  ===========  =====================================================

Both are sigma² times chi-square exactly; the second whatever the ellipse and its tilt, for the
price of two degrees of freedom.

References
----------
T. W. Anderson, "An Introduction to Multivariate Statistical Analysis", 3rd edition (2003), section
7.5: in two dimensions the root of the generalized variance is a chi-square.
"""

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc, fdtr, fdtrc, fdtri

__all__ = [
    "Shape",
    "bartlett",
    "block_centres",
    "brown_forsythe",
    "f_ratio",
    "radii",
    "reduced",
    "scatter_about",
]

Shape = Literal["circular", "elliptical"]

Array = NDArray[np.float64]
Codes = NDArray[np.intp]


def scatter_about(xy_mm: Array, blocks: Codes | None = None) -> tuple[Array, int]:
    """Return the sums of squares and products about the centre, or about each block's own.

    Parameters
    ----------
    xy_mm : (..., n, 2) array, mm
    blocks : (n,) array of int, optional
        Which block (end) each shot belongs to: 0, 1, ...

    Returns
    -------
    (..., 2, 2) array, mm²
    int
        Degrees of freedom of each axis: shots less blocks.

    Examples
    --------
    >>> scatter_about(np.array([[0.0, 0.0], [2.0, 0.0], [1.0, 3.0]]))[1]
    2
    """
    about = xy_mm - block_centres(xy_mm, blocks)
    scatter = np.asarray(np.swapaxes(about, -1, -2) @ about, float)
    lost = 1 if blocks is None else len(np.unique(blocks))
    return scatter, xy_mm.shape[-2] - lost


def block_centres(xy_mm: Array, blocks: Codes | None) -> Array:
    """Return the centre of each shot's block, (..., n, 2) or (..., 1, 2)."""
    if blocks is None:
        return np.asarray(xy_mm.mean(axis=-2, keepdims=True))
    order = np.argsort(blocks, kind="stable")
    _, starts, counts = np.unique(blocks[order], return_index=True, return_counts=True)
    sums = np.add.reduceat(xy_mm[..., order, :], starts, axis=-2)
    centres = np.repeat(sums / counts[:, np.newaxis], counts, axis=-2)
    back = np.empty_like(centres)
    back[..., order, :] = centres
    return back


def reduced(scatter: Array, df: int, shape: Shape) -> tuple[Array, int]:
    """Return the sum of squares and its degrees of freedom, after the table above.

    Parameters
    ----------
    scatter : (..., 2, 2) array, mm²
    df : int
        Degrees of freedom of each axis.
    shape : {'circular', 'elliptical'}

    Returns
    -------
    (...) array, mm²
    int
        Zero or less where the shots do not allow it.

    Examples
    --------
    >>> square, df = reduced(np.diag([8.0, 2.0]), 3, "elliptical")
    >>> float(square), df
    (8.0, 4)
    """
    if shape == "circular":
        return scatter[..., 0, 0] + scatter[..., 1, 1], 2 * df
    area = scatter[..., 0, 0] * scatter[..., 1, 1] - scatter[..., 0, 1] ** 2
    return 2 * np.sqrt(np.maximum(area, 0.0)), 2 * df - 2


def f_ratio(
    first: tuple[Array, int], second: tuple[Array, int], confidence: float
) -> tuple[Array, Array, Array, Array]:
    """Return the ratio of two sigmas, its exact limits, and the p-value of "first is not tighter".

    Parameters
    ----------
    first, second : tuple
        Sum of squares, mm², and degrees of freedom.
    confidence : float

    Returns
    -------
    ratio, low, high, p : (...) arrays
        `p` is the probability, were both sigmas alike, of a ratio as small as this one.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.9.

    Examples
    --------
    >>> _, low, high, _ = f_ratio((np.array(14.115), 10), (np.array(5.048333), 10), 0.95)
    >>> round(float(low), 4), round(float(high), 4)
    (0.8673, 3.2237)
    """
    (square, df), (other_square, other_df) = first, second
    f = (square / df) / (other_square / other_df)
    tail = (1 - confidence) / 2
    low = np.sqrt(f / fdtri(df, other_df, 1 - tail))
    high = np.sqrt(f / fdtri(df, other_df, tail))
    return np.sqrt(f), low, high, np.asarray(fdtr(df, other_df, f))


def bartlett(squares: Sequence[Array], dfs: Sequence[float]) -> tuple[Array, Array]:
    """Return Bartlett's statistic and p-value of "all sigmas are alike".

    Parameters
    ----------
    squares : sequence of (...) arrays
        Sums of squares, more than zero.
    dfs : sequence of float
        Their degrees of freedom.

    Returns
    -------
    statistic, p : (...) arrays

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.7.

    Examples
    --------
    >>> statistic, p = bartlett([np.array(8.0), np.array(8.0)], [4, 4])
    >>> float(statistic), float(p)
    (0.0, 1.0)
    """
    df = np.asarray(dfs, float)
    square = np.stack([np.asarray(s, float) for s in squares], axis=-1)
    total = df.sum()
    spread = total * np.log(square.sum(axis=-1) / total) - (df * np.log(square / df)).sum(axis=-1)
    correction = 1 + ((1 / df).sum() - 1 / total) / (3 * (len(df) - 1))
    # Rounding may leave a whisker below zero where all are alike.
    statistic = np.maximum(spread / correction, 0.0)
    return statistic, np.asarray(chdtrc(len(df) - 1, statistic))


def brown_forsythe(deviations: Sequence[ArrayLike]) -> tuple[Array, Array]:
    """Return the robust twin: one-way analysis of variance of the distances from the centre.

    Parameters
    ----------
    deviations : sequence of (..., n_i) array_like
        How far each shot lies from its group's median.

    Returns
    -------
    statistic, p : (...) arrays

    References
    ----------
    M. B. Brown and A. B. Forsythe, "Robust tests for the equality of variances", Journal of the
    American Statistical Association 69 (1974) 364-367. NIST/SEMATECH e-Handbook of Statistical
    Methods, section 1.3.5.10. M. J. Anderson, "Distance-based tests for homogeneity of
    multivariate dispersions", Biometrics 62 (2006) 245-253, for distances in the plane.

    Examples
    --------
    >>> statistic, _ = brown_forsythe([[1.0, 2.0, 3.0], [2.0, 3.0, 4.0]])
    >>> float(statistic)
    1.5
    """
    parts = [np.asarray(part, float) for part in deviations]
    counts = np.array([part.shape[-1] for part in parts])
    means = np.stack([part.mean(axis=-1) for part in parts], axis=-1)
    total = int(counts.sum())
    grand = (means * counts).sum(axis=-1, keepdims=True) / total
    between = (counts * (means - grand) ** 2).sum(axis=-1) / (len(parts) - 1)
    within = sum(
        ((part - part.mean(axis=-1, keepdims=True)) ** 2).sum(axis=-1) for part in parts
    ) / (total - len(parts))
    with np.errstate(divide="ignore", invalid="ignore"):
        statistic = np.asarray(between / within)
    return statistic, np.asarray(fdtrc(len(parts) - 1, total - len(parts), statistic))


def radii(xy_mm: Array, blocks: Codes | None = None) -> Array:
    """Return the distance of each shot from its group's median, or from its block's centre.

    Parameters
    ----------
    xy_mm : (..., n, 2) array, mm
        The median is that of x and that of y.
    blocks : (n,) array of int, optional
        A block of few shots has no median worth the name: its mean is taken, and each distance is
        drawn out by the square root of k/(k - 1), which is what k shots' own mean takes away.

    Returns
    -------
    (..., n) array, mm
        A shot alone in its block is left out.
    """
    if blocks is None:
        away = xy_mm - np.median(xy_mm, axis=-2, keepdims=True)
        return np.hypot(away[..., 0], away[..., 1])
    away = xy_mm - block_centres(xy_mm, blocks)
    counts = np.bincount(blocks)[blocks]
    kept = counts > 1
    drawn = np.sqrt(counts[kept] / (counts[kept] - 1))
    return drawn * np.hypot(away[..., kept, 0], away[..., kept, 1])
