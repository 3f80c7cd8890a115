"""Arrows crossed with ends, any of them missing: what the shots say about arrows, ends taken out.

A shot is the centre of its end, plus the offset of its arrow, plus scatter. With M the projection
that takes every end's mean out and Z the shots' arrows, C = Z'MZ has the eigenvalues d_i and the
eigenvectors Q. Then, exactly and whatever is missing, all that the shots say about the arrows is
in r independent numbers (vectors of two axes)

    w_i = d_i^(-1/2) Q_i' Z'M y,   with covariance  W + d_i B,

W being the scatter's and B the arrow offsets' covariance, and all that they say about the scatter
alone is in the sums of squares left over, on f degrees of freedom. What no shot tells, the mean of
all arrows that were shot beside one another, has the eigenvalue 0 and falls out.

References
----------
S. R. Searle, G. Casella and C. E. McCulloch, "Variance Components" (1992), chapter 6 (restricted
likelihood). A. Wald, "A note on the analysis of variance with unequal class frequencies", Annals
of Mathematical Statistics 11 (1940) 96-100, for the canonical numbers.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from groupscan.stats.scatter import block_centres

__all__ = ["Crossed", "Told", "cross", "tell"]

# Eigenvalues count shots: a true one is at least of the order of one over the number of arrows.
SMALLEST = 1e-9

Array = NDArray[np.float64]
Codes = NDArray[np.intp]


@dataclass(frozen=True)
class Crossed:
    """Which arrow was shot in which end.

    Attributes
    ----------
    arrow, end : (n,) arrays of int
        Arrow and end of each shot, 0, 1, ...
    shots : (m,) array of int
        Shots of each arrow.
    weights : (r,) array
        The eigenvalues d_i above, more than zero: shots' worth of evidence.
    axes : (m, r) array
        Their eigenvectors Q.
    linked : (m, m) array of bool
        Which arrows can be compared: shot in the same ends, or linked through others.
    df : int
        Degrees of freedom of the scatter, each axis.
    """

    arrow: Codes
    end: Codes
    shots: NDArray[np.intp]
    weights: Array
    axes: Array
    linked: NDArray[np.bool_]
    df: int

    @property
    def inverse(self) -> Array:
        """Return the (m, m) covariance of the least squares offsets, for scatter of 1."""
        return np.asarray((self.axes / self.weights) @ self.axes.T)


@dataclass(frozen=True)
class Told:
    """What the shots say.

    Attributes
    ----------
    canonical : (..., r, p) array, mm
        The numbers w_i.
    offsets : (..., m, p) array, mm
        Least squares offset of each arrow from the mean of all arrows linked with it.
    residuals : (..., n, p) array, mm
        What is left of each shot.
    """

    canonical: Array
    offsets: Array
    residuals: Array

    @property
    def scatter(self) -> Array:
        """Return the sums of squares and products left over, (..., p, p), mm²."""
        return np.asarray(np.swapaxes(self.residuals, -1, -2) @ self.residuals)


def cross(arrow: Codes, end: Codes | None = None) -> Crossed:
    """Return the design of a session.

    Parameters
    ----------
    arrow : (n,) array of int
        Every number from 0 to m - 1 at least once.
    end : (n,) array of int, optional
        Likewise; left out, all shots count as one end.

    Examples
    --------
    Three arrows over two ends, the last arrow missing from the second:

    >>> design = cross(np.array([0, 1, 2, 0, 1]), np.array([0, 0, 0, 1, 1]))
    >>> design.df, design.weights.round(3).tolist()
    (1, [1.0, 2.0])
    """
    end = np.zeros_like(arrow) if end is None else end
    arrows, ends = int(arrow.max()) + 1, int(end.max()) + 1
    counts = np.bincount(arrow * ends + end, minlength=arrows * ends).reshape(arrows, ends)
    shots, size = counts.sum(axis=1), counts.sum(axis=0)
    told = np.diag(shots.astype(float)) - (counts / size) @ counts.T
    values, vectors = np.linalg.eigh(told)
    kept = values > SMALLEST * shots.max()
    # The projection on what no shot tells joins arrows that are linked, and only those.
    untold = vectors[:, ~kept]
    linked = np.abs(untold @ untold.T) > SMALLEST
    df = len(arrow) - ends - int(kept.sum())
    return Crossed(arrow, end, shots, values[kept], vectors[:, kept], linked, df)


def tell(design: Crossed, xy_mm: Array) -> Told:
    """Return what the shots say; stacks of sessions of one design along the leading axes.

    Parameters
    ----------
    design : Crossed
    xy_mm : (..., n, p) array, mm

    Examples
    --------
    >>> design = cross(np.array([0, 1, 0, 1]), np.array([0, 0, 1, 1]))
    >>> tell(design, np.array([[0.0], [2.0], [10.0], [12.0]])).offsets.round(9).ravel().tolist()
    [-1.0, 1.0]
    """
    about = xy_mm - block_centres(xy_mm, design.end)
    order = np.argsort(design.arrow, kind="stable")
    starts = np.concatenate([[0], np.cumsum(design.shots)[:-1]])
    sums = np.add.reduceat(about[..., order, :], starts, axis=-2)
    canonical = (design.axes / np.sqrt(design.weights)).T @ sums
    offsets = (design.axes / np.sqrt(design.weights)) @ canonical
    own = offsets[..., design.arrow, :]
    return Told(canonical, offsets, about - (own - block_centres(own, design.end)))
