"""The extreme spread: the largest distance of two shots, and the sigma that it implies for its n.

Groups of different size cannot be compared by their extreme spreads; the sigmas that these imply
can. The distribution of the extreme spread of n round normal shots is that of a product of two
independent factors: the root of the summed squared radii, sigma times a chi with 2 (n - 1)
degrees of freedom, and the shape ratio of spread to that root. The first carries nearly all of
the scatter; of the second, narrow one its mean (from `extreme_spread_constant`), variation and
skewness are enough.
"""

import math
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri, gammainc

from groupscan.stats.constants import c4, extreme_spread_constant, range_constant

__all__ = ["extreme_spread", "implied_sigma_limits", "spread_quantile", "spread_share"]

Array = NDArray[np.float64]

# Squared coefficient of variation of the shape ratio (powers 1, 2, ... of 1/d2(n)) and its
# skewness (powers 0, 1, ...), for n >= 3; made by benchmarks/extreme_spread.py, which prints the
# misses. Quantiles from 1 to 99 % come out within 0.13 % of simulated ones up to n = 50.
_SQUARED_VARIATION = (
    -0.1811813,
    2.79094226,
    -13.3802547,
    30.13197795,
    -33.19783064,
    14.46992122,
)
_SKEWNESS = (0.41867302, 1.99258699, 1.20738039, -42.48194864, 80.70430842, -50.85749816)

# Nodes of the shape ratio's own scatter. So many stand closer together than the chi is wide.
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(32)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()


def extreme_spread(deviation: Array) -> float:
    """Return the largest distance between two shots, mm.

    Parameters
    ----------
    deviation : (n, 2) array, mm
        Shots about their centre.

    Examples
    --------
    >>> extreme_spread(np.array([(-1.5, -2.0), (1.5, 2.0)]))
    5.0
    """
    z = deviation[:, 0] + 1j * deviation[:, 1]
    radii = np.abs(z)
    outermost = radii.argmax()
    # A pair further apart than this has both shots at least (this - r_max) from the centre.
    lower_bound = np.abs(z - z[outermost]).max()
    z = z[radii >= (lower_bound - radii[outermost]) * (1 - 1e-12)]
    blocks = np.array_split(z, math.ceil(z.size**2 / 1e6))
    return float(max(np.abs(block[:, None] - z).max() for block in blocks))


@lru_cache(maxsize=256)
def _shape_ratio(n: int) -> Array:
    """Return nodes of the ratio of spread to the root of the summed squared radii."""
    df = 2 * (n - 1)
    mean = extreme_spread_constant(n) / (math.sqrt(df) * c4(df))
    if n == 2:
        return np.full(len(_NODES), mean)
    u = 1 / range_constant(n)
    square = sum(c * u**power for power, c in enumerate(_SQUARED_VARIATION, start=1))
    skew = sum(c * u**power for power, c in enumerate(_SKEWNESS))
    # A normal variable bent to that skewness (Cornish and Fisher), with its variance kept.
    bent = _NODES + skew / 6 * (_NODES**2 - 1)
    ratio: Array = mean * (1 + math.sqrt(square / (1 + skew**2 / 18)) * bent)
    return ratio


def spread_share(spread: ArrayLike, n: int) -> Array:
    """Return the share of groups of n shots, sigma 1, whose extreme spread is at most so large.

    Examples
    --------
    >>> round(float(spread_share(3.0117, 5)), 3)
    0.5
    """
    chi = np.asarray(spread, float)[..., None] / _shape_ratio(n)
    share: Array = gammainc(n - 1, chi**2 / 2) @ _WEIGHTS
    return share


@lru_cache(maxsize=1024)
def spread_quantile(share: float, n: int) -> float:
    """Return the extreme spread of n shots, sigma 1, that a share of groups does not exceed.

    Parameters
    ----------
    share : float
        Between 0 and 1.
    n : int
        At least 2.

    Examples
    --------
    >>> round(spread_quantile(0.95, 10), 2)
    5.11
    """
    # A bracket in spread, starting where the chi alone would put it; then halving.
    middle = math.sqrt(chdtri(2 * (n - 1), 1 - share)) * float(_shape_ratio(n) @ _WEIGHTS)
    low, high = middle / 2, middle * 2
    for _ in range(45):
        middle = (low + high) / 2
        if spread_share(middle, n) < share:
            low = middle
        else:
            high = middle
    return middle


def implied_sigma_limits(spread: ArrayLike, n: int, confidence: float) -> tuple[Array, Array]:
    """Return the limits of sigma that an extreme spread of n shots implies by itself.

    Parameters
    ----------
    spread : array_like, mm
    n : int
        Number of shots, at least 2.
    confidence : float

    Examples
    --------
    >>> [round(float(limit), 1) for limit in implied_sigma_limits(28.6007, 5, 0.95)]
    [5.9, 17.8]
    """
    seen, tail = np.asarray(spread, float), (1 - confidence) / 2
    return seen / spread_quantile(1 - tail, n), seen / spread_quantile(tail, n)
