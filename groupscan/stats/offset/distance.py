"""Limits of the distance between two centres, from the offset seen and its variance.

A distance cannot be negative, and chance alone makes it too long. So its limits do not come from
the distance seen but from the offset's two coordinates, whatever the ellipse of their errors:

lower
    The nearest point of the joint region of the offset, an ellipse: 0 exactly where T² finds no
    offset.
upper
    The largest one-sided limit of the offset's component over all directions. In the direction in
    which the true offset points, that limit falls short of the true distance with a probability of
    at most the level; the largest of all limits then falls short no more often. So "nearer than
    the tolerance" needs no correction for looking in every direction (an intersection-union test).

Everything works on stacks: leading axes are cases.

References
----------
R. L. Berger and J. C. Hsu, "Bioequivalence trials, intersection-union tests and equivalence
confidence sets", Statistical Science 11 (1996) 283-319.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from groupscan.stats.intervals import Ellipse
from groupscan.stats.offset.hotelling import careful_df, careful_welch_df, welch_df
from groupscan.stats.offset.sequential import Boundary

__all__ = [
    "OffsetSeen",
    "component_limits",
    "direction_limits",
    "farthest",
    "nearest",
    "offset_ellipse",
]

# Directions tried over the half turn about the offset seen, then in three more rounds about the
# best of them: the limit is a smooth function of the direction, and this finds it to 1e-6.
_COARSE, _FINE, _ROUNDS = 48, 9, 4

# Newton steps; each at least doubles the digits.
_STEPS = 40

Array = NDArray[np.float64]


@dataclass(frozen=True)
class OffsetSeen:
    """The offset of two centres and the parts of its variance, for a stack of cases.

    Attributes
    ----------
    offset : (..., 2) array, mm
    parts : tuple of (..., 2, 2) array, mm²
        One, or one a group; their sum is the variance and must not be singular.
    dfs : tuple of float
        Degrees of freedom of each part.
    sizes : tuple of float
        What each covariance was divided by to give its part.
    """

    offset: Array
    parts: tuple[Array, ...]
    dfs: tuple[float, ...]
    sizes: tuple[float, ...]

    @property
    def variance(self) -> Array:
        """The offset's variance."""
        total: Array = sum(self.parts[1:], start=self.parts[0])
        return total

    @property
    def unit(self) -> float:
        """Variance of the offset in units of one shot's, were both groups alike."""
        return sum(1 / size for size in self.sizes)

    @property
    def df(self) -> Array:
        """Degrees of freedom of the variance as a whole."""
        return careful_df(self.parts, self.dfs, self.sizes)

    def along(self, direction: Array, *, careful: bool) -> tuple[Array, Array, Array]:
        """Return the component, its standard error and degrees of freedom along directions.

        Parameters
        ----------
        direction : (..., m, 2) array
            Of length 1.
        careful : bool
            Whether the degrees of freedom are those of a verdict, or Welch's.
        """
        component = (direction * self.offset[..., None, :]).sum(-1)
        squares = [
            np.einsum("...mi,...ij,...mj->...m", direction, part, direction) for part in self.parts
        ]
        square = sum(squares[1:], start=squares[0])
        if careful and len(squares) == 2:
            df = careful_welch_df(squares[0] / square, self.dfs, self.sizes)
        else:
            df = welch_df(squares, self.dfs)
        return component, np.sqrt(square), df


def component_limits(seen: OffsetSeen, boundary: Boundary) -> tuple[Array, Array]:
    """Return the limits of x and y, each (..., 2)."""
    component, error, df = seen.along(np.eye(2), careful=False)
    half = boundary.two_sided(df, seen.unit) * error
    return component - half, component + half


def farthest(seen: OffsetSeen, boundary: Boundary) -> Array:
    """Return the upper limit of the distance between the centres."""
    shape = seen.offset.shape[:-1]
    middle = np.arctan2(seen.offset[..., 1], seen.offset[..., 0])
    one = replace(boundary, level=np.asarray(boundary.beside(seen.df).level)[..., None])
    half, count = np.full(shape, np.pi / 2), _COARSE
    best = np.full(shape, -np.inf)
    for _ in range(_ROUNDS):
        angles = middle[..., None] + half[..., None] * np.linspace(-1, 1, count)
        component, error, df = seen.along(
            np.stack([np.cos(angles), np.sin(angles)], axis=-1), careful=True
        )
        limit = component + one.one_sided(df, seen.unit) * error
        place = limit.argmax(axis=-1)[..., None]
        middle = np.take_along_axis(angles, place, -1)[..., 0]
        best = np.maximum(best, np.take_along_axis(limit, place, -1)[..., 0])
        half, count = half * 2 / (count - 1), _FINE
    return best


def nearest(seen: OffsetSeen, boundary: Boundary) -> Array:
    """Return the lower limit of the distance: the nearest point of the offset's ellipse."""
    radius = boundary.ellipse(seen.df, seen.unit)
    return _nearest(seen.offset, seen.variance, radius)


def _nearest(offset: Array, variance: Array, radius: Array) -> Array:
    """Return the distance of the origin from an ellipse, 0 inside.

    In the ellipse's own axes, with squared semi-axes v_i per unit radius, the nearest point is
    m d_i/(m + v_i) for the m >= 0 that puts it on the rim; as a function of m, the inverse of the
    point's distance from the centre is nearly straight, so that Newton's steps from 0 go straight
    to the root, never past it.
    """
    values, vectors = np.linalg.eigh(variance)
    d = np.einsum("...ij,...i->...j", vectors, offset)
    values = np.maximum(values, 1e-300)
    outside = (d**2 / values).sum(-1) > radius**2
    target = np.where(outside, radius, 1.0)[..., None]
    d = np.where(outside[..., None], d, values**0.5 * 2 * target)
    m = np.zeros(d.shape[:-1] + (1,))
    for _ in range(_STEPS):
        weighed = values * d**2 / (m + values) ** 2
        square = weighed.sum(-1, keepdims=True)
        slope = (weighed / (m + values)).sum(-1, keepdims=True)
        m = m + square / slope * (np.sqrt(square) / target - 1)
    point = np.maximum(m, 0.0) * d / (m + values)
    return np.where(outside, np.sqrt((point**2).sum(-1)), 0.0)


def direction_limits(offset: Array, variance: Array, radius: float) -> tuple[float, float]:
    """Return the two directions, rad, between which the offset's ellipse lies; NaN around 0.

    Parameters
    ----------
    offset : (2,) array
    variance : (2, 2) array
    radius : float
        Of the ellipse, in standard errors.

    Returns
    -------
    tuple of float
        Anticlockwise from +x; the first may lie below -pi, the second above pi, so that the
        direction seen, in (-pi, pi], lies between.
    """
    if not np.isfinite(radius):
        return np.nan, np.nan
    # A line through the origin with normal n meets the ellipse where (n'd)² <= radius² n'Vn.
    values, vectors = np.linalg.eigh(np.outer(offset, offset) - radius**2 * variance)
    if not values[0] < 0 < values[1]:
        return np.nan, np.nan
    spread = float(np.arctan(np.sqrt(-values[0] / values[1])))
    normal = vectors[:, 0]
    if offset @ np.array([normal[1], -normal[0]]) < 0:
        normal = -normal
    middle = float(np.arctan2(-normal[0], normal[1]))
    seen = float(np.arctan2(offset[1], offset[0]))
    middle = seen + (middle - seen + np.pi) % (2 * np.pi) - np.pi
    return middle - spread, middle + spread


def offset_ellipse(seen: OffsetSeen, radius: float) -> Ellipse:
    """Return the joint region of one offset.

    Parameters
    ----------
    seen : OffsetSeen
        One case.
    radius : float
        Of the ellipse, in standard errors.
    """
    values, vectors = np.linalg.eigh(seen.variance)
    minor, major = radius * np.sqrt(np.maximum(values, 0.0))
    angle = math.atan2(vectors[1, 1], vectors[0, 1])
    # A direction, not a heading: fold the half turn.
    angle -= math.pi * math.ceil(angle / math.pi - 0.5)
    return Ellipse(float(seen.offset[0]), float(seen.offset[1]), float(major), float(minor), angle)
