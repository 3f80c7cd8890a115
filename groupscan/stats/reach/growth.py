"""How bias and scatter grow with distance, fitted to shots at one or several distances.

The model, with r a distance over the reference distance (the shots' geometric mean):

- The centre lies at r (b0 + b1 (r - 1)) from the aim, in x and in y: an angle that changes in
  proportion to distance. A sight that is off gives the constant part, a wrong sight scale or an
  arrow that planes away the rest. Shots at one distance tell the constant part alone.
- The variance is sigma^2 ((1 - q) r^2 + q r^4): errors of the launch direction spread in
  proportion to distance, those of speed (drop) and of flight (wind, planing) with its square, and
  every real mixture lies between. The share q of the second kind is not known in advance; it is
  integrated over 0 to 1, so that shots at one distance leave it open and the reach at others
  pays for that.

Given q this is linear regression with known weights, whose posterior under the flat prior on
centre and log sigma is closed: Student t and chi-square (round) or Wishart (elliptical).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Growth", "fit_growth"]

Array = NDArray[np.float64]

# Gauss-Legendre nodes for the share q: its posterior is smooth, and still a twentieth wide with a
# thousand shots.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(20)
SHARES, SHARE_WEIGHTS = (_NODES + 1) / 2, _WEIGHTS / 2


@dataclass(frozen=True)
class Growth:
    """The fitted growth, one entry for each node of the share q (leading axis, length m).

    Attributes
    ----------
    reference_m : float
        The distance at which r is 1.
    df : int
        Degrees of freedom of one axis: shots less fitted columns.
    weight : (m,) array
        Posterior probability of the node.
    coefficients : (m, k, 2) array, mm
        b0 and b1 (if fitted) in x and y.
    inverse : (m, k, k) array
        Covariance of the coefficients of one axis over sigma^2.
    scatter : (m, 2, 2) array, mm^2
        Weighted sums of squares and products about the fit; over `df` it estimates the shots'
        covariance at the reference distance.
    """

    reference_m: float
    df: int
    weight: Array
    coefficients: Array
    inverse: Array
    scatter: Array

    def at(self, distance_m: float) -> tuple[Array, Array, Array]:
        """Return centre (m, 2), variance of a shot (m,) and of that centre (m,), over sigma^2."""
        r = distance_m / self.reference_m
        column = _columns(np.array([r]), self.coefficients.shape[1])[0]
        centre: Array = column @ self.coefficients
        return centre, _variance(np.array([r]))[:, 0], (column @ self.inverse) @ column


def fit_growth(xy_mm: Array, distance_m: Array, *, round_shape: bool = True) -> Growth:
    """Fit the growth of bias and scatter.

    Parameters
    ----------
    xy_mm : (n, 2) array, mm
        Shots from their aim.
    distance_m : (n,) array, m
        Distance of each.
    round_shape : bool, default True
        Whether the posterior of q rests on a round scatter or on any covariance.

    Returns
    -------
    Growth
        With `df` 0 or less where the shots leave no scatter to measure.

    Examples
    --------
    >>> shots = np.array([(12.0, -7), (-5, 10), (3, 4), (-14, -2), (9, 15)])
    >>> growth = fit_growth(shots, np.full(5, 20.0))
    >>> centre, shot, own = growth.at(20.0)
    >>> [round(float(v), 6) for v in (*centre[0], shot[0], own[0])]
    [1.0, 4.0, 1.0, 0.2]
    """
    reference = math.exp(float(np.log(distance_m).mean()))
    r = distance_m / reference
    distinct = len(np.unique(distance_m))
    # A second column needs shots left over to measure scatter with.
    columns = _columns(r, 2 if distinct > 1 and len(r) > 2 else 1)
    df = len(r) - columns.shape[1]
    precision = 1 / _variance(r)
    inverse = np.linalg.inv(np.einsum("ik,mi,il->mkl", columns, precision, columns))
    coefficients = inverse @ np.einsum("ik,mi,ij->mkj", columns, precision, xy_mm)
    left = xy_mm - columns @ coefficients
    scatter = np.einsum("mij,mi,mil->mjl", left, precision, left)
    return Growth(
        reference,
        df,
        _share_posterior(precision, inverse, scatter, df, round_shape),
        coefficients,
        inverse,
        scatter,
    )


def _share_posterior(
    precision: Array, inverse: Array, scatter: Array, df: int, round_shape: bool
) -> Array:
    """Return the posterior probability of each share, its prior being flat over 0 to 1."""
    trace, determinant = np.trace(scatter, axis1=1, axis2=2), np.linalg.det(scatter)
    size = trace**2 if round_shape else determinant
    if df < 1 or not (size > 1e-12 * trace**2).all() or not trace.all():
        return SHARE_WEIGHTS
    # Centre and sigma integrated out, in both axes.
    log_density = (
        np.log(precision).sum(axis=1) + np.linalg.slogdet(inverse)[1] - df / 2 * np.log(size)
    )
    density = SHARE_WEIGHTS * np.exp(log_density - log_density.max())
    weight: Array = density / density.sum()
    return weight


def _columns(r: Array, count: int) -> Array:
    return np.stack([r, r * (r - 1)], axis=-1)[..., :count]


def _variance(r: Array) -> Array:
    """Return the variance of a shot over sigma^2, (shares, distances)."""
    share = SHARES[:, np.newaxis]
    grown: Array = (1 - share) * r**2 + share * r**4
    return grown
