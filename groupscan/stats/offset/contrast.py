"""The offset between two groups' centres and its variance, with or without ends in common.

Without ends the offset is that of the means. With ends, each end may have its own centre (sight,
wind and shooter wander from end to end), which the groups share when both were shot in it: ends
are fixed effects, the offset is estimated within them, and only ends that hold both count.

Where each group has two degrees of freedom of its own, the variance comes in two parts, so that
the groups may scatter differently. Else the residuals are pooled, which is exact if both scatter
alike and, whatever their scatters, if each end holds one shot of each (then it is the paired T²).

Shots may be stacks, (..., n, 2); the ends are the same for all.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from groupscan.stats.offset.distance import OffsetSeen

__all__ = ["Contrast", "contrast", "shared_ends"]

# Two coordinates need two degrees of freedom for a covariance that is not flat.
OWN_DF = 2

ROUNDING_MM = 1e-9

Array = NDArray[np.float64]
Codes = NDArray[np.intp]


@dataclass(frozen=True)
class Contrast:
    """What the shots of two groups say of the offset from the first centre to the second.

    Attributes
    ----------
    seen : OffsetSeen
        The offset and its variance: in two parts where each group has a scatter of its own.
    pooled : OffsetSeen
        The same with all residuals pooled.
    alike_needed : bool
        Whether `seen` is right only if both groups scatter alike.
    """

    seen: OffsetSeen
    pooled: OffsetSeen
    alike_needed: bool


def shared_ends(first_end: Codes, second_end: Codes) -> Codes:
    """Return the ends that hold shots of both groups."""
    return np.intersect1d(first_end, second_end)


def contrast(
    first: Array,
    second: Array,
    first_end: Codes | None = None,
    second_end: Codes | None = None,
    *,
    least_variance: tuple[float, float] = (0.0, 0.0),
) -> Contrast:
    """Return the offset of the second group's centre from the first's.

    Parameters
    ----------
    first, second : (..., n, 2) arrays, mm
    first_end, second_end : (n,) arrays of int, optional
        End of each shot; each end holds both groups.
    least_variance : tuple of float, mm²
        What the photo alone adds to each group's variance; less cannot be, and is raised to it.

    Returns
    -------
    Contrast
        With no degrees of freedom at all (one shot each), zero covariance on 0 of them.

    Examples
    --------
    Three ends with one shot of each group; the ends wander, the offset within them does not:

    >>> ends = np.arange(3)
    >>> first = np.array([[0.0, 0.0], [50.0, 10.0], [-20.0, 30.0]])
    >>> second = first + np.array([[9.0, 1.0], [11.0, 0.0], [10.0, -1.0]])
    >>> contrast(first, second, ends, ends).seen.offset.tolist()
    [10.0, 0.0]
    """
    one_end = np.zeros(first.shape[-2], np.intp), np.zeros(second.shape[-2], np.intp)
    a, b = one_end if first_end is None or second_end is None else (first_end, second_end)
    ends = np.unique(a)
    sizes = [np.array([np.count_nonzero(code == end) for end in ends]) for code in (a, b)]
    centres = [
        np.stack([shots[..., code == end, :].mean(axis=-2) for end in ends], axis=-2)
        for shots, code in ((first, a), (second, b))
    ]
    gaps = centres[1] - centres[0]
    weight = sizes[0] * sizes[1] / (sizes[0] + sizes[1])
    offset = (weight[:, None] * gaps).sum(-2) / weight.sum()
    own = [
        _products(shots - centre[..., np.searchsorted(ends, code), :])
        for shots, centre, code in ((first, centres[0], a), (second, centres[1], b))
    ]
    dfs = [len(code) - len(ends) for code in (a, b)]
    # How the offset itself changes from end to end belongs to the residuals as well.
    between = _products(np.sqrt(weight)[:, None] * (gaps - offset[..., None, :]))
    df = len(a) + len(b) - len(ends) - 1
    least = sum(n * v for n, v in zip((len(a), len(b)), least_variance, strict=True))
    pooled_cov = _at_least((own[0] + own[1] + between) / max(df, 1), least / (len(a) + len(b)))
    total = float(weight.sum())
    pooled = OffsetSeen(offset, (pooled_cov / total,), (float(df),), (total,))
    if min(dfs) < OWN_DF:
        paired = bool((sizes[0] == 1).all() and (sizes[1] == 1).all() and len(ends) > 1)
        return Contrast(pooled, pooled, alike_needed=not paired)
    shares = weight / total
    divisors = [float(1 / (shares**2 / size).sum()) for size in sizes]
    parts = [
        _at_least(products / df, least) / divisor
        for products, df, divisor, least in zip(own, dfs, divisors, least_variance, strict=True)
    ]
    seen = OffsetSeen(
        offset,
        (parts[0], parts[1]),
        (float(dfs[0]), float(dfs[1])),
        (divisors[0], divisors[1]),
    )
    return Contrast(seen, pooled, alike_needed=False)


def _products(deviation: Array) -> Array:
    """Return sums of squares and products; what rounding leaves of equal places is no scatter."""
    flat = np.abs(deviation).max(axis=-2, keepdims=True) <= ROUNDING_MM
    kept = np.where(flat, 0.0, deviation)
    products: Array = np.swapaxes(kept, -1, -2) @ kept
    return products


def _at_least(covariance: Array, variance: float) -> Array:
    """Return the covariance with each principal variance raised to what the photo alone adds."""
    if variance <= 0:
        return covariance
    values, vectors = np.linalg.eigh(covariance)
    raised = np.maximum(values, variance)
    whole: Array = (vectors * raised[..., None, :]) @ np.swapaxes(vectors, -1, -2)
    return whole
