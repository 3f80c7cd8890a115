"""Many decisions at once: p-values adjusted so that the error rate stated is that of them all."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["benjamini_hochberg", "holm"]

Array = NDArray[np.float64]


def holm(p: ArrayLike) -> Array:
    """Return p-values adjusted so that *any* false rejection is as rare as the level.

    Parameters
    ----------
    p : (..., m) array_like
        One family of m p-values along the last axis, in any dependence; NaN counts as 1.

    Returns
    -------
    (..., m) array
        Reject where it is at most the level.

    References
    ----------
    S. Holm, "A simple sequentially rejective multiple test procedure", Scandinavian Journal of
    Statistics 6 (1979) 65-70.

    Examples
    --------
    >>> [round(float(p), 3) for p in holm([0.01, 0.04, 0.03])]
    [0.03, 0.06, 0.06]
    """
    given = np.nan_to_num(np.asarray(p, float), nan=1.0)
    order = np.argsort(given, axis=-1, kind="stable")
    ordered = np.take_along_axis(given, order, axis=-1)
    left = np.arange(ordered.shape[-1], 0, -1)
    adjusted = np.empty_like(ordered)
    stepped = np.maximum.accumulate(ordered * left, axis=-1)
    np.put_along_axis(adjusted, order, np.minimum(stepped, 1.0), axis=-1)
    return adjusted


def benjamini_hochberg(p: ArrayLike) -> Array:
    """Return p-values adjusted so that the *share* of false among all rejections is the level.

    Parameters
    ----------
    p : (..., m) array_like
        One family of m p-values along the last axis; NaN counts as 1.

    Returns
    -------
    (..., m) array
        Reject where it is at most the level.

    Notes
    -----
    Proved for independent and for positively dependent p-values. Where, as for arrows measured
    against their own mean, the dependence is another, the rate has to be simulated.

    References
    ----------
    Y. Benjamini and Y. Hochberg, "Controlling the false discovery rate: a practical and powerful
    approach to multiple testing", Journal of the Royal Statistical Society B 57 (1995) 289-300.

    Examples
    --------
    >>> [round(float(p), 3) for p in benjamini_hochberg([0.01, 0.04, 0.03])]
    [0.03, 0.04, 0.04]
    """
    from scipy.stats import false_discovery_control  # heavy: only where it is asked

    known = np.nan_to_num(np.asarray(p, float), nan=1.0)
    return np.asarray(false_discovery_control(known, axis=-1))
