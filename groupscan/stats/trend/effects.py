"""Random-effects regression by REML: values with known sampling variances, and wander besides.

The model, for values y (such as the log sigma of each session) with known sampling variances v:
y = X b + u + e, u ~ N(0, tau^2), e ~ N(0, v). tau is the wander: what truly differs from session
to session. Every function takes stacks (leading axes).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri, stdtrit

from groupscan.stats.intervals import Estimate

__all__ = ["Effects", "fit_effects", "wander_interval"]

Array = NDArray[np.float64]

STEPS = 200
CLOSE = 1e-9
DOUBLINGS = 60
HALVINGS = 50


@dataclass(frozen=True)
class Effects:
    """A fitted random-effects regression; arrays may carry leading axes.

    Attributes
    ----------
    coefficients : (..., p) array
    covariance : (..., p, p) array
        Of the coefficients, scaled by the weighted residual mean square (Knapp and Hartung).
    variance : (...) array
        tau^2, the REML estimate of the wander's variance.
    scale : (...) array
        The weighted residual mean square, 1 where the model's variances fit exactly.
    df : int
        Degrees of freedom of the residuals, k - p.
    """

    coefficients: Array
    covariance: Array
    variance: Array
    scale: Array
    df: int

    def limits(self, index: int, confidence: float) -> tuple[Array, Array]:
        """Return the t limits of one coefficient."""
        half = stdtrit(self.df, (1 + confidence) / 2)
        half = half * np.sqrt(self.covariance[..., index, index])
        value = self.coefficients[..., index]
        return value - half, value + half

    def estimate(self, index: int, confidence: float) -> Estimate:
        """Return one coefficient with its interval, where there are no leading axes."""
        low, high = self.limits(index, confidence)
        return Estimate(float(self.coefficients[index]), float(low), float(high))


def fit_effects(
    values: ArrayLike, variances: ArrayLike, design: ArrayLike | None = None
) -> Effects:
    """Fit y = X b + wander + error by REML.

    Parameters
    ----------
    values : (..., k) array_like
        One a session.
    variances : (..., k) array_like
        Their known sampling variances, more than zero.
    design : (..., k, p) array_like, optional
        Regressors; left out: one mean for all. k must be more than p.

    Returns
    -------
    Effects

    Notes
    -----
    tau^2 by Fisher scoring, held at zero or above. The coefficients' covariance is
    (X' W X)^-1 times the weighted residual mean square on k - p degrees of freedom, and its
    intervals take Student's t: with equal variances that is exactly the ordinary t interval.

    References
    ----------
    G. Knapp and J. Hartung, "Improved tests for a random effects meta-regression with a single
    covariate", Statistics in Medicine 22 (2003) 2693-2710. S. R. Searle, G. Casella and C. E.
    McCulloch, "Variance Components" (1992), chapter 6.

    Examples
    --------
    >>> fit = fit_effects([1.0, 2.0, 6.0], [1.0, 1.0, 1.0])
    >>> fit.coefficients.tolist(), round(float(fit.variance), 6)
    ([3.0], 6.0)
    """
    y, v = np.asarray(values, float), np.asarray(variances, float)
    x = np.ones((*y.shape, 1)) if design is None else np.asarray(design, float)
    p = x.shape[-1]
    variance = np.zeros(y.shape[:-1])
    size = v.mean(axis=-1)
    for _ in range(STEPS):
        w, inverse, _, residual = _weighted(y, v, x, variance)
        xw = x * w[..., None]
        inner = inverse @ (_turn(xw) @ xw)
        outer = inverse @ (_turn(xw) @ (xw * w[..., None]))
        score = (w**2 * residual**2).sum(-1) - w.sum(-1) + _trace(inner)
        information = (w**2).sum(-1) - 2 * _trace(outer) + _trace(inner @ inner)
        step = score / information
        before, variance = variance, np.maximum(variance + step, 0.0)
        if (np.abs(variance - before) <= CLOSE * (variance + size)).all():
            break
    w, inverse, b, residual = _weighted(y, v, x, variance)
    df = y.shape[-1] - p
    scale = (w * residual**2).sum(-1) / df
    return Effects(b, inverse * scale[..., None, None], variance, scale, df)


def _weighted(y: Array, v: Array, x: Array, variance: Array) -> tuple[Array, Array, Array, Array]:
    """Return the weights, (X' W X)^-1, the coefficients and the residuals."""
    w: Array = 1 / (v + variance[..., None])
    xw = x * w[..., None]
    inverse = np.asarray(np.linalg.inv(_turn(xw) @ x), float)
    b: Array = (inverse @ (_turn(xw) @ y[..., None]))[..., 0]
    return w, inverse, b, y - (x @ b[..., None])[..., 0]


def _turn(matrix: Array) -> Array:
    return np.swapaxes(matrix, -1, -2)


def _trace(matrix: Array) -> Array:
    trace: Array = np.trace(matrix, axis1=-2, axis2=-1)
    return trace


def wander_interval(
    values: ArrayLike,
    variances: ArrayLike,
    confidence: float,
    *,
    fourth: ArrayLike = 0.0,
) -> tuple[Array, Array]:
    """Return the limits of tau, the standard deviation of the wander about one mean.

    Parameters
    ----------
    values, variances
        As for `fit_effects`.
    confidence : float
        Level.
    fourth : (..., k) array_like, optional
        Fourth cumulants of the sampling errors; 0 for normal ones.

    Returns
    -------
    low, high : (...) arrays

    Notes
    -----
    The weighted sum of squares Q(tau^2) follows a chi-square on k - 1 degrees of freedom at the
    true tau^2 and falls as tau^2 grows, so that the set of tau^2 whose Q lies between the two
    quantiles is an exact interval for normal values. Where Q(0) is below the upper quantile, the
    lower limit is 0; where it is below the lower one, no wander fits, and both limits are 0.
    Errors with longer tails make Q vary more: it is then taken for a multiple of a chi-square
    with the same mean and variance.

    References
    ----------
    W. Viechtbauer, "Confidence intervals for the amount of heterogeneity in meta-analysis",
    Statistics in Medicine 26 (2007) 37-52.

    Examples
    --------
    >>> low, high = wander_interval([1.0, 2.0, 6.0], [1.0, 1.0, 1.0], 0.95)
    >>> bool(low < 6**0.5 < high)
    True
    """
    y, v = np.asarray(values, float), np.asarray(variances, float)
    x = np.ones((*y.shape, 1))
    cumulants = np.asarray(fourth, float)
    k = y.shape[-1]
    df = k - 1

    def excess(variance: Array, tail: float) -> Array:
        """How far Q is above the quantile with this upper tail."""
        w, _, _, residual = _weighted(y, v, x, variance)
        tails = (w**2 * cumulants).mean(axis=-1)
        own_df = df / (1 + tails / 2 * df / k)
        above: Array = (w * residual**2).sum(-1) - df / own_df * chdtri(own_df, tail)
        return above

    def crossing(tail: float) -> Array:
        left, right = np.zeros(y.shape[:-1]), v.max(axis=-1)
        none = excess(left, tail) <= 0
        for _ in range(DOUBLINGS):
            above = excess(right, tail) > 0
            if not above.any():
                break
            right = np.where(above, 2 * right, right)
        for _ in range(HALVINGS):
            middle = (left + right) / 2
            above = excess(middle, tail) > 0
            left, right = np.where(above, middle, left), np.where(above, right, middle)
        root: Array = np.sqrt(np.where(none, 0.0, right))
        return root

    tail = (1 - confidence) / 2
    return crossing(tail), crossing(1 - tail)
