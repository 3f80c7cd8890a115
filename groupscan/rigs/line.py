"""Speeds that follow 1/v^2 = a + b m: the line, the limits of a/b. Works on stacks of data sets."""

import math

import numpy as np
from scipy.special import stdtrit

from groupscan.rigs.given import Array

__all__ = ["fit_line", "ratio_limits", "student"]

STEPS = 5
NEAR = 1e-7


def student(df: float, confidence: float) -> float:
    """Return the two-sided quantile of Student's t; NaN without a degree of freedom.

    Examples
    --------
    >>> round(student(10, 0.95), 3), round(student(math.inf, 0.95), 3)
    (2.228, 1.96)
    """
    return float(stdtrit(df, (1 + confidence) / 2)) if df > 0 else math.nan


def fit_line(mass_g: Array, speed_mps: Array) -> tuple[Array, Array, Array]:
    """Return line, covariance and sum of squares of the least squares of speeds.

    Parameters
    ----------
    mass_g : (n,) array
    speed_mps : (..., n) array
        One or many data sets of the same arrows.

    Returns
    -------
    line : (..., 2) array
        Intercept a and slope b of 1/v^2, s^2/m^2, over mass, g; NaN where no such line fits.
    covariance : (..., 2, 2) array
        Theirs for a scatter of 1 m/s.
    square : (...) array
        Sum of squares of the speeds about the curve, m^2/s^2.

    Notes
    -----
    Gauss-Newton from the plain line through 1/v^2: the curve is so nearly linear over a quiver's
    masses that a few steps settle it to rounding error.
    """
    design = np.stack([np.ones_like(mass_g), mass_g - mass_g.mean()], axis=-1)
    line = speed_mps**-2.0 @ np.linalg.pinv(design).T
    with np.errstate(invalid="ignore"):  # readings of no bow: the line comes out NaN
        for _ in range(STEPS):
            curve = (line @ design.T) ** -0.5
            slope = -0.5 * curve[..., None] ** 3 * design
            turned = np.swapaxes(slope, -1, -2)
            normal = turned @ slope
            step = np.linalg.solve(normal, turned @ (speed_mps - curve)[..., None])[..., 0]
            line = line + step
        small = np.abs(step) <= NEAR * np.abs(line[..., :1]) / [1.0, np.ptp(mass_g)]
        line = np.where(np.all(small, axis=-1, keepdims=True), line, np.nan)
        square: Array = np.asarray(((speed_mps - (line @ design.T) ** -0.5) ** 2).sum(axis=-1))
    # From the middle of the masses, where the two are told best, back to a mass of nothing.
    back = np.array([[1.0, -mass_g.mean()], [0.0, 1.0]])
    return line @ back.T, back @ np.linalg.inv(normal) @ back.T, square


def ratio_limits(line: Array, covariance: Array, quantile: float | Array) -> tuple[Array, Array]:
    """Return Fieller's limits of a/b; NaN where b may be zero, so that a/b has no bound.

    Parameters
    ----------
    line : (..., 2) array
        Estimates a, b.
    covariance : (..., 2, 2) array
    quantile : float or array
        Of Student's t.

    Examples
    --------
    >>> low, high = ratio_limits(np.array([2.0, 1.0]), np.diag([0.01, 0.0]), 2.0)
    >>> round(float(low), 6), round(float(high), 6)
    (1.8, 2.2)
    """
    a, b = line[..., 0], line[..., 1]
    t = np.asarray(quantile) ** 2
    p = b**2 - t * covariance[..., 1, 1]
    q = a * b - t * covariance[..., 0, 1]
    r = a**2 - t * covariance[..., 0, 0]
    with np.errstate(invalid="ignore", divide="ignore"):
        root = np.sqrt(q**2 - p * r)
        low, high = (q - root) / p, (q + root) / p
    bounded = p > 0
    return np.where(bounded, low, np.nan), np.where(bounded, high, np.nan)
