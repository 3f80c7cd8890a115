"""Which arrows fly apart from the others, or scatter more: tests, and ends needed to see it.

One bad arrow drags the mean of all, and with enough ends every good arrow would then be "apart"
from that mean. So the arrows are held against the *home* arrows: all at first; then, one at a
time, the arrow that the evidence speaks against most is taken out of the reference (not out of the
data), as long as false discoveries stay controlled and more than half of the arrows remain.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc, fdtri, ncfdtr

from groupscan.stats.arrows.crossed import Crossed, Told
from groupscan.stats.multiplicity import benjamini_hochberg

__all__ = ["Held", "differ_p", "ends_to_see", "hold_against_home", "scatter_p"]

MOST_ENDS = 100_000

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Held:
    """Arrows held against the home arrows; stacks of sessions along the leading axes.

    Attributes
    ----------
    home : (..., m) array of bool
        Arrows of the reference.
    contrasts : (..., m, m) array
        Each arrow less the mean of the home arrows that it can be compared with.
    offsets : (..., m, 2) array, mm
        Least squares offset of each arrow from them.
    variance : (..., m) array
        Of an offset, for scatter of 1; 0 for an arrow that nothing can be compared with.
    p : (..., m) array
        Of "no offset", Hotelling's test with the scatter of all arrows; NaN where not told.
    adjusted : (..., m) array
        The same by Benjamini and Hochberg.
    """

    home: NDArray[np.bool_]
    contrasts: Array
    offsets: Array
    variance: Array
    p: Array
    adjusted: Array


def hold_against_home(design: Crossed, told: Told, false_share: float) -> Held:
    """Hold every arrow against the home arrows.

    Parameters
    ----------
    design : Crossed
    told : Told
        Two axes.
    false_share : float
        Share of false among the arrows found apart that is tolerated, 0.05 say.

    Returns
    -------
    Held

    References
    ----------
    B. Rosner, "Percentage points for a generalized ESD many-outlier procedure", Technometrics 25
    (1983) 165-172, for taking suspects out one at a time; the test and the control of false
    discoveries are those named in `hotelling` and `multiplicity`.

    Examples
    --------
    >>> from groupscan.stats.arrows.crossed import cross, tell
    >>> rng = np.random.default_rng(1)
    >>> arrow, end = np.tile(np.arange(6), 8), np.repeat(np.arange(8), 6)
    >>> shots = rng.normal(0, 10, (48, 2)) + np.where(arrow == 4, 40, 0)[:, None]
    >>> design = cross(arrow, end)
    >>> hold_against_home(design, tell(design, shots), 0.05).home.tolist()
    [True, True, True, True, False, True]
    """
    scatter = told.scatter
    inverse = design.inverse
    home = np.ones(told.offsets.shape[:-1], bool)
    while True:
        held = _held(design, told, scatter, inverse, home)
        kept = np.where(home, held.p, np.nan)
        suspect = np.argmin(np.nan_to_num(kept, nan=np.inf), axis=-1)[..., None]
        adjusted = np.take_along_axis(held.adjusted, suspect, axis=-1)
        # More than half of the arrows that it can be compared with must stay.
        linked = design.linked[suspect[..., 0]]
        left = (home & linked).sum(axis=-1, keepdims=True) - 1
        out = np.take_along_axis(home, suspect, axis=-1)
        out &= (adjusted <= false_share) & (2 * left > linked.sum(axis=-1, keepdims=True))
        if not out.any():
            return held
        home = home.copy()
        np.put_along_axis(home, suspect, np.take_along_axis(home, suspect, axis=-1) & ~out, axis=-1)


def _held(
    design: Crossed, told: Told, scatter: Array, inverse: Array, home: NDArray[np.bool_]
) -> Held:
    beside = home[..., None, :] & design.linked
    contrasts = np.eye(home.shape[-1]) - beside / beside.sum(axis=-1, keepdims=True)
    offsets = contrasts @ told.offsets
    variance = ((contrasts @ inverse) * contrasts).sum(axis=-1)
    told_apart = variance > 1e-9
    p = np.full(variance.shape, np.nan)
    df = design.df
    if df > 1:
        determinant = scatter[..., 0, 0] * scatter[..., 1, 1] - scatter[..., 0, 1] ** 2
        x, y = offsets[..., 0], offsets[..., 1]
        xx, yy, xy = (scatter[..., i, j, None] for i, j in ((0, 0), (1, 1), (0, 1)))
        with np.errstate(divide="ignore", invalid="ignore"):
            length = (yy * x**2 + xx * y**2 - 2 * xy * x * y) / determinant[..., None]
            f = (df - 1) / 2 * length / variance
        p = np.where(told_apart & np.isfinite(f), fdtrc(2, df - 1, np.nan_to_num(f)), np.nan)
    return Held(
        home, contrasts, offsets, np.where(told_apart, variance, 0.0), p, benjamini_hochberg(p)
    )


def differ_p(told: Told, df: int) -> Array:
    """Return the p-value of "no arrow differs from any other", exact for two axes (Wilks).

    Parameters
    ----------
    told : Told
    df : int
        Degrees of freedom of the scatter.

    References
    ----------
    T. W. Anderson, "An Introduction to Multivariate Statistical Analysis", 3rd edition (2003),
    section 8.4: in two dimensions the root of Wilks' ratio gives an F.

    Examples
    --------
    >>> from groupscan.stats.arrows.crossed import cross, tell
    >>> design = cross(np.array([0, 1, 0, 1, 0, 1]), np.array([0, 0, 1, 1, 2, 2]))
    >>> shots = np.array([[0, 0], [9, 9], [1, 0], [8, 9], [0, 2], [9, 9.0]])
    >>> bool(differ_p(tell(design, shots), design.df) < 0.1)
    True
    """
    rank = told.canonical.shape[-2]
    if df < 2 or rank < 1:
        return np.full(told.canonical.shape[:-2], np.nan)
    scatter = told.scatter
    between = np.swapaxes(told.canonical, -1, -2) @ told.canonical
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.sqrt(np.linalg.det(scatter) / np.linalg.det(scatter + between))
        return np.asarray(fdtrc(2 * rank, 2 * (df - 1), (1 - root) / root * (df - 1) / rank))


def scatter_p(design: Crossed, told: Told, arrow: int) -> tuple[Array, Array]:
    """Return how much more one arrow scatters than the others, and its one-sided p-value.

    Parameters
    ----------
    design : Crossed
    told : Told
        Two axes.
    arrow : int

    Returns
    -------
    ratio, p : (...) arrays
        Ratio of the arrow's sigma to that of the others; NaN where not told.

    Notes
    -----
    What is left of the arrow's shots holds (trace K)²/(trace K²) degrees of freedom, K being
    their block of the projection on what is left; Wilks' ratio compares them with the rest. Exact
    where every arrow was shot in every end.

    References
    ----------
    T. W. Anderson, "An Introduction to Multivariate Statistical Analysis", 3rd edition (2003),
    section 8.4: in two dimensions the root of Wilks' ratio gives an F. F. E. Satterthwaite, "An
    approximate distribution of estimates of variance components", Biometrics Bulletin 2 (1946)
    110-114.

    Examples
    --------
    >>> from groupscan.stats.arrows.crossed import cross, tell
    >>> rng = np.random.default_rng(1)
    >>> arrow, end = np.tile(np.arange(6), 8), np.repeat(np.arange(8), 6)
    >>> shots = rng.normal(0, 10, (48, 2)) * np.where(arrow == 4, 4, 1)[:, None]
    >>> design = cross(arrow, end)
    >>> bool(scatter_p(design, tell(design, shots), 4)[1] < 0.001)
    True
    """
    nothing = np.full(told.offsets.shape[:-2], np.nan)
    own = np.flatnonzero(design.arrow == arrow)
    first, second = _block_traces(design, own)
    if design.df < 2 or first < 1e-9:
        return nothing, nothing
    df, factor = first**2 / second, second / first
    other_df = design.df - df
    total = told.scatter
    if other_df < 2 or df < 0.5:
        return nothing, nothing
    left = told.residuals[..., own, :]
    square = np.swapaxes(left, -1, -2) @ left / factor
    rest = total - square
    spare = np.trace(rest, axis1=-2, axis2=-1)
    whole, kept = np.linalg.det(total), np.linalg.det(rest)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.sqrt(np.trace(square, axis1=-2, axis2=-1) / df / (spare / other_df))
        root = np.sqrt(np.clip(kept / whole, 0.0, 1.0))
        p = fdtrc(2 * df, 2 * (other_df - 1), (1 - root) / root * (other_df - 1) / df)
    told_apart = (whole > 0) & (spare > 0)
    return np.where(told_apart, ratio, np.nan), np.where(told_apart, p, np.nan)


def _block_traces(design: Crossed, own: NDArray[np.intp]) -> tuple[float, float]:
    """Return trace K and trace K² of the shots' block K of the projection on what is left."""
    # The rows of K depend on a shot's end alone, so that it is enough to count by ends.
    ends = int(design.end.max()) + 1
    sizes = np.bincount(design.end).astype(float)
    counts = np.zeros((ends, len(design.shots)))
    np.add.at(counts, (design.end, design.arrow), 1.0)
    place = design.arrow[own[0]]
    about = -counts / sizes[:, None]
    about[:, place] += 1.0
    mine = counts[:, place]
    leverage = np.einsum("ei,ij,ej->e", about, design.inverse, about)
    crossed = (about.T * mine) @ about @ design.inverse
    trace = mine @ (1 / sizes + leverage)
    square = mine**2 @ (1 / sizes**2 + 2 * leverage / sizes) + np.trace(crossed @ crossed)
    return float(len(own) - trace), float(len(own) - 2 * trace + square)


def ends_to_see(
    offset_mm: float,
    sigma_mm: float,
    arrows: int,
    *,
    false_share: float = 0.05,
    power: float = 0.8,
) -> int | None:
    """Return how many ends, every arrow in each, let one arrow's offset be seen.

    Parameters
    ----------
    offset_mm : float, mm
        How far the arrow is from the mean of the others, more than zero.
    sigma_mm : float, mm
        Scatter per axis along the direction where it is widest.
    arrows : int
        At least 2.
    false_share : float, default 0.05
        As for `hold_against_home`; the one arrow has to pass at `false_share`/`arrows`.
    power : float, default 0.8
        Probability wanted of seeing it.

    Returns
    -------
    int or None
        None where a hundred thousand ends would not do.

    References
    ----------
    T. W. Anderson, "An Introduction to Multivariate Statistical Analysis", 3rd edition (2003),
    section 5.2.2: T² has a non-central F distribution.

    Examples
    --------
    >>> ends_to_see(20.0, 20.0, 6), ends_to_see(40.0, 20.0, 6)
    (19, 6)
    """

    def seen(ends: int) -> float:
        df = (ends - 1) * (arrows - 1) - 1
        if df < 1:
            return 0.0
        shift = (offset_mm / sigma_mm) ** 2 * ends * (arrows - 1) / arrows
        return 1 - float(ncfdtr(2, df, shift, fdtri(2, df, 1 - false_share / arrows)))

    enough = 2
    while seen(enough) < power:
        enough *= 2
        if enough > MOST_ENDS:
            return None
    few = enough // 2
    while enough - few > 1:
        middle = math.ceil((enough + few) / 2)
        few, enough = (few, middle) if seen(middle) >= power else (middle, enough)
    return enough
