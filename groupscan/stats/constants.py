"""Constants of the circular normal group: what n shots of a rig with sigma 1 are expected to give.

Each function returns the expected value of a sample statistic for n independent shots whose x
and y errors are normal with the same standard deviation sigma = 1. Multiply by sigma.
"""

from functools import lru_cache
from math import exp, lgamma, log, pi, sqrt

import numpy as np
from scipy.special import log_ndtr

__all__ = [
    "c4",
    "extreme_spread_constant",
    "mean_radius_constant",
    "radius_constant",
    "range_constant",
]

# Ratio of the expected extreme spread to the expected range, as a polynomial in u = 1/d2(n):
# 1 + c1 u + c2 u^2 + ...; made by benchmarks/extreme_spread.py, which also prints its misses.
_SPREAD_RATIO = (
    0.15522650,
    5.50371450,
    -23.04548187,
    56.93667674,
    -86.03108865,
    71.28384270,
    -24.39653310,
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


@lru_cache(maxsize=256)
def range_constant(n: int) -> float:
    """Return d2(n), the expected range of n normal values, for sigma 1.

    The expected width, the expected height and the expected figure of merit of n shots. It is
    the integral of 1 - Phi(x)^n - (1 - Phi(x))^n over all x, by Gauss-Legendre quadrature.

    References
    ----------
    L. H. C. Tippett, "On the extreme individuals and the range of samples taken from a normal
    population", Biometrika 17 (1925) 364-387.

    Examples
    --------
    >>> round(range_constant(5), 3)
    2.326
    """
    # The integrand is even and below 1e-16 past this point for every n.
    end = sqrt(2 * log(n)) + 8.5
    node, weight = np.polynomial.legendre.leggauss(120)
    x = (node + 1) * end / 2
    above = -np.expm1(n * log_ndtr(x)) - np.exp(n * log_ndtr(-x))
    return float(weight @ above * end)


@lru_cache(maxsize=256)
def extreme_spread_constant(n: int) -> float:
    """Return the expected extreme spread of n circular normal shots, for sigma 1."""
    d2 = range_constant(n)
    if n == 2:
        return sqrt(pi)
    if n == 3:
        return 2.4088012
    return d2 * (1 + sum(c * d2**-k for k, c in enumerate(_SPREAD_RATIO, start=1)))
