"""Radii that hold a share of the shots of an elliptical group: the Hoyt distribution.

A shot of an elliptical normal group is a point on its one-sigma ellipse, at a uniform angle of
the ellipse's parameter, pushed out by a Rayleigh factor. So, with variances a and b along the
axes, P(R <= r) is the mean over the angle t of 1 - exp(-r^2 / (2 v(t))), v = a cos^2 t +
b sin^2 t. The integrand is smooth and periodic for every ratio of the axes, a straight line
(b = 0, where this is Craig's formula for the normal tail) included, so that the trapezoid rule
converges faster than any power of its step.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri

__all__ = ["hoyt_df", "hoyt_limits", "hoyt_radius", "hoyt_share"]

Array = NDArray[np.float64]

# Trapezoid nodes over a quarter turn, where v runs from a to b once. 49 leave less than 1e-9 of the
# radius for every ratio of the axes, at shares of a half and more.
_NODES = 49
_COS2 = np.cos(np.linspace(0, np.pi / 2, _NODES)) ** 2
_WEIGHTS = np.full(_NODES, 1.0 / (_NODES - 1))
_WEIGHTS[[0, -1]] /= 2


def _along(large: Array, small: Array) -> Array:
    """Return v(t) along a new last axis; never zero, which only a straight line has at one end."""
    v = small[..., None] + (large - small)[..., None] * _COS2
    smallest = np.finfo(float).tiny
    floored: Array = np.maximum(v, smallest)
    return floored


def hoyt_share(radius: ArrayLike, large: ArrayLike, small: ArrayLike) -> Array:
    """Return the share of shots within a radius of the centre of an elliptical normal group.

    Parameters
    ----------
    radius : array_like, mm
    large, small : array_like, mm^2
        Variances along the axes.

    Returns
    -------
    array

    References
    ----------
    R. S. Hoyt, "Probability functions for the modulus and angle of the normal complex variate",
    Bell System Technical Journal 26 (1947) 318-359. J. W. Craig, "A new, simple and exact result
    for calculating the probability of error for two-dimensional signal constellations", MILCOM
    (1991) 571-575.

    Examples
    --------
    >>> round(float(hoyt_share(0.870417, 1.0, 0.25)), 6)
    0.5
    """
    r, a, b = np.broadcast_arrays(*(np.asarray(x, float) for x in (radius, large, small)))
    share: Array = -np.expm1(-(r[..., None] ** 2) / (2 * _along(a, b))) @ _WEIGHTS
    return share


def hoyt_radius(share: ArrayLike, large: ArrayLike, small: ArrayLike) -> Array:
    """Return the radius about the centre that holds a share of an elliptical group's shots.

    Parameters
    ----------
    share : array_like
        Between 0 and 1.
    large, small : array_like, mm^2
        Variances along the axes; `large` positive.

    Returns
    -------
    array, mm

    Examples
    --------
    >>> hoyt_radius(0.9, 1.0, [0.0, 0.25, 1.0]).round(6).tolist()
    [1.644854, 1.73708, 2.145966]
    """
    held, a, b = np.broadcast_arrays(*(np.asarray(x, float) for x in (share, large, small)))
    outside_wanted = np.log1p(-held)
    scale = a + b
    v = _along(a / scale, b / scale)
    # Newton on the log of the share outside, which is nearly straight in r^2, from the circle of
    # the same mean square.
    square = -outside_wanted
    for _ in range(30):
        outside = np.exp(-square[..., None] / (2 * v))
        left = outside @ _WEIGHTS
        slope = (outside / (2 * v)) @ _WEIGHTS
        step = (np.log(left) - outside_wanted) * left / slope
        square = np.maximum(square + step, square / 10)
        if (np.abs(step) <= 1e-11 * square).all():
            break
    radius: Array = np.sqrt(square * scale)
    return radius


def hoyt_df(radius: ArrayLike, large: ArrayLike, small: ArrayLike, df: float) -> Array:
    """Return the degrees of freedom that a radius estimated from two variances is worth.

    Parameters
    ----------
    radius : array_like, mm
        A radius that holds a fixed share, from `hoyt_radius`.
    large, small : array_like, mm^2
        The variances that it was made of, each on `df` degrees of freedom.
    df : float

    Returns
    -------
    array
        From `df` where one axis decides alone to 2 `df` where both count the same.

    Notes
    -----
    The squared radius changes with the variances as w1 d(large)/large + w2 d(small)/small, with
    w1 + w2 = 1; two independent chi-square variances then make it as uncertain as one on
    df / (w1^2 + w2^2) (Satterthwaite's rule).

    References
    ----------
    F. E. Satterthwaite, "An approximate distribution of estimates of variance components",
    Biometrics Bulletin 2 (1946) 110-114.

    Examples
    --------
    >>> hoyt_df(hoyt_radius(0.5, 1.0, 1.0), 1.0, 1.0, 4).round(6).tolist()
    8.0
    """
    r, a, b = np.broadcast_arrays(*(np.asarray(x, float) for x in (radius, large, small)))
    v = _along(a, b)
    pull = np.exp(-(r[..., None] ** 2) / (2 * v)) / v**2
    first, second = a * (pull @ (_WEIGHTS * _COS2)), b * (pull @ (_WEIGHTS * (1 - _COS2)))
    worth: Array = df * (first + second) ** 2 / (first**2 + second**2)
    return worth


def hoyt_limits(radius: ArrayLike, df: ArrayLike, confidence: float) -> tuple[Array, Array]:
    """Return chi-square limits of a radius that is worth so many degrees of freedom."""
    tail = (1 - confidence) / 2
    r, df = np.asarray(radius, float), np.asarray(df, float)
    return r * np.sqrt(df / chdtri(df, tail)), r * np.sqrt(df / chdtri(df, 1 - tail))
