"""Scores for control charts: standard normal and independent as long as nothing changes."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtr, chdtrc, fdtr, fdtrc, stdtr

from groupscan.stats.trend.even import normal_score
from groupscan.stats.trend.sessions import log_bias, log_variance

__all__ = ["known_scores", "own_scores", "scatter_scores"]

Array = NDArray[np.float64]

# Values before the first score: a mean and a spread need two, a third makes the spread useful.
START = 3


def known_scores(s2: ArrayLike, df: ArrayLike, sigma: float, wander: float = 0.0) -> Array:
    """Return scores of sample variances against a sigma that is known.

    Parameters
    ----------
    s2 : (..., k) array_like
        Mean squares.
    df : (..., k) array_like
        Their degrees of freedom.
    sigma : float
        The usual sigma, known beforehand.
    wander : float, default 0
        Known standard deviation of log sigma between sessions that counts as usual.

    Returns
    -------
    (..., k) array
        Without wander exactly standard normal, by the chi-square distribution of each s^2, so
        that sessions with few and many shots stand on one chart.

    Examples
    --------
    >>> known_scores([1.0, 4.0], [10, 10], 1.0).round(2).tolist()
    [0.15, 4.15]
    """
    ratio, d = np.asarray(s2, float) / sigma**2, np.asarray(df, float)
    if wander == 0:
        return normal_score(chdtr(d, d * ratio), chdtrc(d, d * ratio))
    away = np.log(ratio) / 2 - log_bias(d)
    score: Array = away / np.sqrt(wander**2 + log_variance(d))
    return score


def scatter_scores(s2: ArrayLike, df: ArrayLike) -> Array:
    """Return scores of sample variances, each against all before it pooled.

    Parameters
    ----------
    s2, df : (..., k) array_like
        Mean squares, and their degrees of freedom.

    Returns
    -------
    (..., k) array
        NaN for the first; then exactly standard normal and independent while sigma is the same
        in every session: the ratio of each s^2 to the pooled one follows F.

    References
    ----------
    C. P. Quesenberry, "SPC Q charts for start-up processes and short or long runs", Journal of
    Quality Technology 23 (1991) 213-224.

    Examples
    --------
    >>> scatter_scores([1.0, 2.0, 1.0, 4.0], [10, 10, 10, 10]).round(2).tolist()
    [nan, 1.06, -0.65, 2.34]
    """
    v, d = np.asarray(s2, float), np.asarray(df, float)
    d = np.broadcast_to(d, v.shape)
    scores = np.full(v.shape, np.nan)
    before = np.cumsum(d, axis=-1)[..., :-1]
    ratio = v[..., 1:] / (np.cumsum(v * d, axis=-1)[..., :-1] / before)
    scores[..., 1:] = normal_score(
        fdtr(d[..., 1:], before, ratio), fdtrc(d[..., 1:], before, ratio)
    )
    return scores


def own_scores(values: ArrayLike, variances: ArrayLike) -> Array:
    """Return scores of values, each against what the ones before it lead to expect.

    Parameters
    ----------
    values : (..., k) array_like
        Such as log sigma, or a coordinate of the centre, of each session.
    variances : (..., k) array_like
        Their known sampling variances, more than zero.

    Returns
    -------
    (..., k) array
        NaN for the first three; then standard normal while nothing changes but by wander: exactly
        so, and independent, for normal values with equal variances.

    Notes
    -----
    Each value is compared with the weighted mean of those before it, in units of the weighted
    residual mean square of those before it, so that mean and wander are both learnt on the way;
    the t is turned into a normal score. The weights are one over sampling variance plus wander,
    the latter by the method of moments from the values before. A change that lasts is slowly
    taken for the new usual, and the first alarm is the one to heed.

    References
    ----------
    D. M. Hawkins, "Self-starting CUSUM charts for location and scale", The Statistician 36 (1987)
    299-315. R. DerSimonian and N. Laird, "Meta-analysis in clinical trials", Controlled Clinical
    Trials 7 (1986) 177-188, for the moments.

    Examples
    --------
    >>> own_scores([1.0, 2.0, 3.0, 4.0, 9.0], np.ones(5)).round(2).tolist()
    [nan, nan, nan, 1.21, 2.32]
    """
    y = np.asarray(values, float)
    v = np.broadcast_to(np.asarray(variances, float), y.shape)
    wander2 = _wander_before(y, v)
    scores = np.full(y.shape, np.nan)
    for i in range(START, y.shape[-1]):
        w = 1 / (wander2[..., i - 1, None] + v[..., :i])
        total = w.sum(axis=-1)
        mean = (w * y[..., :i]).sum(axis=-1) / total
        scale = (w * (y[..., :i] - mean[..., None]) ** 2).sum(axis=-1) / (i - 1)
        own = scale * (wander2[..., i - 1] + v[..., i] + 1 / total)
        t = (y[..., i] - mean) / np.sqrt(np.maximum(own, 1e-300))
        scores[..., i] = normal_score(stdtr(i - 1, t), stdtr(i - 1, -t))
    return scores


def _wander_before(y: Array, v: Array) -> Array:
    """Return the moment estimate of the wander's variance from the first i + 1 values, all i."""
    w = 1 / v
    # About the first value, so that squares of large coordinates do not cancel.
    away = y - y[..., :1]
    total = np.cumsum(w, axis=-1)
    first = np.cumsum(w * away, axis=-1)
    spread = np.cumsum(w * away**2, axis=-1) - first**2 / total
    freedom = total - np.cumsum(w**2, axis=-1) / total
    expected = np.arange(y.shape[-1])
    wander2: Array = np.maximum(spread - expected, 0.0) / np.maximum(freedom, 1e-9 * total)
    wander2[..., 0] = 0.0
    return wander2
