"""Take the skewness of few shots out of log sigma, so that normal theory holds from 3 shots on."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtr, chdtrc, ndtri

from groupscan.stats.trend.sessions import log_bias, log_variance

__all__ = ["even_out", "normal_score", "uneven"]

Array = NDArray[np.float64]

# Beyond so many standard deviations no tail probability is left to compute with.
FARTHEST = 8.0
HALVINGS = 60


def normal_score(lower: Array, upper: Array) -> Array:
    """Return the normal quantile of a probability, from the smaller of its two tails."""
    with np.errstate(divide="ignore"):
        score: Array = np.where(lower < 0.5, ndtri(lower), -ndtri(upper))
    return np.clip(score, -FARTHEST, FARTHEST)


def even_out(log_sigma: ArrayLike, df: ArrayLike, middle: ArrayLike, wander2: ArrayLike) -> Array:
    """Return log sigma with its sampling error made normal.

    Parameters
    ----------
    log_sigma, df : (..., k) array_like
        Unbiased log sigma of each session, and its degrees of freedom.
    middle, wander2 : (...) array_like
        The shooter's mean log sigma and the variance of the wander.

    Returns
    -------
    (..., k) array
        Of the distance from the middle, the part that is expected to be sampling error is
        replaced by the normal quantile of its exact (log chi-square) probability. Without wander
        the result is exactly normal; with much wander, nothing changes.

    Examples
    --------
    The log sigma of few shots has a long lower tail, which is drawn in:

    >>> even_out([-1.0, 0.0, 1.0], [4.0, 4.0, 4.0], 0.0, 0.0).round(2).tolist()
    [-0.84, -0.05, 1.45]
    """
    y, d = np.asarray(log_sigma, float), np.asarray(df, float)
    centre, extra = np.asarray(middle, float)[..., None], np.asarray(wander2, float)[..., None]
    variance = log_variance(d)
    error = variance / (variance + extra) * (y - centre)
    square = d * np.exp(2 * np.clip(error + log_bias(d), -50, 50))
    even: Array = y - error + np.sqrt(variance) * normal_score(chdtr(d, square), chdtrc(d, square))
    return even


def uneven(even: float, df: float, middle: float, wander2: float) -> float:
    """Undo `even_out` for one value.

    Examples
    --------
    >>> round(uneven(1.45, 4.0, 0.0, 0.0), 2)
    1.0
    """
    reach = 10 + abs(even - middle)
    low, high = middle - reach, middle + reach
    for _ in range(HALVINGS):
        at = (low + high) / 2
        if float(even_out([at], [df], middle, wander2)[0]) < even:
            low = at
        else:
            high = at
    return (low + high) / 2
