"""Constants of the circular normal group: what n shots of a rig with sigma 1 are expected to give.

Each function returns the expected value of a sample statistic for n independent shots whose x
and y errors are normal with the same standard deviation sigma = 1. Multiply by sigma.
"""

from functools import lru_cache
from math import exp, lgamma, log, pi, sqrt

import numpy as np
from scipy.special import log_ndtr, ndtr

__all__ = [
    "c4",
    "diagonal_constant",
    "extreme_spread_constant",
    "mean_radius_constant",
    "radial_sd_constant",
    "radius_constant",
    "range_constant",
]

# Ratio of the expected extreme spread to d2(n), as a polynomial in u = 1/d2(n):
# 1 + c1 u + c2 u^2 + ...; made by benchmarks/extreme_spread.py, which prints its misses.
_SPREAD_RATIO = (
    0.18355480,
    4.88374650,
    -18.20482825,
    38.67536316,
    -50.19361079,
    36.30209664,
    -11.08934175,
)


def c4(df: float) -> float:
    """Return the expected sample standard deviation on df degrees of freedom, for sigma 1.

    Parameters
    ----------
    df : float
        Degrees of freedom: n - 1 for one axis, 2 (n - 1) for both axes pooled.

    Returns
    -------
    float
        sqrt(2/df) Gamma((df + 1)/2) / Gamma(df/2).

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.

    Examples
    --------
    >>> round(c4(4), 6)
    0.939986
    """
    return sqrt(2 / df) * exp(lgamma((df + 1) / 2) - lgamma(df / 2))


def radius_constant(share: float) -> float:
    """Return the radius about the centre that holds a share of all shots, for sigma 1.

    Examples
    --------
    >>> round(radius_constant(0.5), 6)
    1.17741
    """
    return sqrt(-2 * log(1 - share))


def mean_radius_constant(n: int) -> float:
    """Return the expected mean radius of n shots about their own centre, for sigma 1.

    Each shot lies sqrt((n - 1)/n) sigma per axis from the group's own centre, and the mean of a
    Rayleigh radius is sqrt(pi/2).

    Examples
    --------
    >>> round(mean_radius_constant(5), 5)
    1.121
    """
    return sqrt(pi / 2 * (n - 1) / n)


def radial_sd_constant(n: int) -> float:
    """Return the expected radial standard deviation of n shots, divisor n - 1, for sigma 1.

    Examples
    --------
    >>> round(radial_sd_constant(5), 5)
    1.37081
    """
    return sqrt(2) * c4(2 * (n - 1))


@lru_cache(maxsize=256)
def range_constant(n: int) -> float:
    """Return d2(n), the expected range of n normal values, for sigma 1.

    The expected width, the expected height and the expected figure of merit of n shots. It is
    the integral of 1 - Phi(x)^n - (1 - Phi(x))^n over all x.

    References
    ----------
    L. H. C. Tippett, "On the extreme individuals and the range of samples taken from a normal
    population", Biometrika 17 (1925) 364-387.

    Examples
    --------
    >>> round(range_constant(5), 3)
    2.326
    """
    # The integrand is even, smooth and below 1e-16 at the end for every n, so that the trapezoid
    # rule converges geometrically: this step leaves less than 1e-8 up to n = 1e8.
    step = 0.05
    x = np.arange(0.0, sqrt(2 * log(n)) + 9.0, step)
    integrand = -np.expm1(n * log_ndtr(x)) - np.exp(n * log_ndtr(-x))
    return float(2 * step * (integrand.sum() - integrand[0] / 2))


@lru_cache(maxsize=256)
def diagonal_constant(n: int) -> float:
    """Return the expected diagonal sqrt(width^2 + height^2) of n shots, for sigma 1.

    Width and height are independent ranges; the mean is taken over the density of both, itself
    the integral of n (n - 1) phi(x) phi(x + r) (Phi(x + r) - Phi(x))^(n - 2) over all x.

    Examples
    --------
    >>> round(diagonal_constant(5), 5)
    3.39578
    """
    # Gauss-Legendre over the range, the trapezoid rule over x: twice as many change nothing in
    # the tenth digit up to n = 1e5.
    reach = sqrt(2 * log(n)) + 9.0
    nodes, weights = np.polynomial.legendre.leggauss(160)
    r = (nodes + 1) * reach / 2
    x, step = np.linspace(-reach, 9.0, 240, retstep=True)
    x = x[:, None]
    both = np.exp(-(x**2 + (x + r) ** 2) / 2) * (ndtr(x + r) - ndtr(x)) ** (n - 2)
    chance = weights * reach / 2 * n * (n - 1) / (2 * pi) * step * both.sum(axis=0)
    return float(chance @ np.hypot(r[:, None], r) @ chance)


@lru_cache(maxsize=256)
def extreme_spread_constant(n: int) -> float:
    """Return the expected extreme spread of n shots, the largest distance of any two, for sigma 1.

    Parameters
    ----------
    n : int
        Number of shots, at least 2; there is no upper limit.

    Returns
    -------
    float
        Exact for n = 2 (sqrt(pi)) and 3; else d2(n) times a polynomial fitted to simulated means,
        within 5e-5 of them up to n = 50 and 1e-3 up to 5000 (relative).

    Notes
    -----
    No closed form is known past three shots. The ratio to d2(n), the expected range along one
    axis, falls slowly from pi/2 to 1, which makes it easy to fit and safe to extend. For three
    shots, the spread is the root of the sum of squared radii (chi-square, 4 degrees of freedom)
    times a factor of the triangle's shape, which is uniform on a sphere; its mean is an integral.

    References
    ----------
    F. E. Grubbs, "Statistical Measures of Accuracy for Riflemen and Missile Engineers" (1964),
    for tables of the same constant. D. G. Kendall, "Shape manifolds, Procrustean metrics, and
    complex projective spaces", Bulletin of the London Mathematical Society 16 (1984) 81-121,
    for triangles on the sphere.

    Examples
    --------
    >>> round(extreme_spread_constant(10), 2)
    3.81
    """
    if n == 2:
        return sqrt(pi)
    if n == 3:
        return 2.408801240328
    d2 = range_constant(n)
    return d2 * (1 + sum(c * d2**-power for power, c in enumerate(_SPREAD_RATIO, start=1)))
