"""Several ends: the scatter within ends, the wander of their centres, and the total of both.

The model, in each axis: centre of the rig, plus the wander of this end's centre (how the archer
set up, stood and anchored, and the sight), plus the shot's own scatter; both normal and round.
A single end shows only its own scatter; a hunter's one arrow has both.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri, fdtrc, fdtri, stdtrit

from groupscan.stats.constants import c4
from groupscan.stats.intervals import Estimate, sd_limits, without_noise

__all__ = [
    "NOTED_WANDER_P",
    "EndScatter",
    "EndSquares",
    "end_squares",
    "measure_ends",
    "total_limits",
    "wander_limits",
    "wander_p",
]

Array = NDArray[np.float64]
Codes = NDArray[np.intp]

#: A wander that chance shows less often than this is told, and the centre is read by ends.
NOTED_WANDER_P = 0.05


@dataclass(frozen=True)
class EndScatter:
    """Scatter of a rig's shots within and between ends, per axis, mm.

    Attributes
    ----------
    shots : tuple of int
        Shots of each end.
    within : Estimate
        Sigma of the shots about their own end's centre.
    wander : Estimate
        Sigma of the end centres about the rig's, the part that scatter within ends does not
        explain; its limit below is 0 where the ends' centres could be one.
    total : Estimate
        Sigma of one arrow of any end: the root of the sum of both squares, that of the wander
        taken as it comes out; where it comes out below 0, the total lies below `within`.
    wander_p : float
        Exact p-value of "all ends have one centre".
    """

    shots: tuple[int, ...]
    within: Estimate
    wander: Estimate
    total: Estimate
    wander_p: float

    @property
    def wanders(self) -> bool:
        """Whether the ends' centres wander more than the scatter within ends explains."""
        return self.wander_p < NOTED_WANDER_P

    def centre_margin(self, confidence: float) -> tuple[float, float]:
        """Return how far off the centre of all shots may lie, mm, where its ends wander.

        Parameters
        ----------
        confidence : float
            Level, such as 0.95.

        Returns
        -------
        axis, distance : float
            Half width of the interval along one axis; and of one for every direction at once.

        Notes
        -----
        Where ends wander, they and not their shots are the independent witnesses of the centre:
        of each end's mean the variance is that of its shots over their number, and of the wander.
        Exact for ends of one size (Searle); jointly by Scheffe.

        References
        ----------
        Searle, S. R., Casella, G. and McCulloch, C. E., "Variance Components" (1992), section 3.
        Scheffe, H., "The Analysis of Variance" (1959), section 3.5.
        """
        shots = np.array(self.shots, float)
        df = 2 * (len(shots) - 1)
        variance = self.within.value**2 * shots.sum() + self.wander.value**2 * (shots**2).sum()
        se = math.sqrt(variance) / float(shots.sum())
        student = float(stdtrit(df, (1 + confidence) / 2))
        return student * se, math.sqrt(2 * float(fdtri(2, df, confidence))) * se

    def estimates(self) -> dict[str, Estimate]:
        """Return the three estimates by name."""
        return {"sigma_within": self.within, "wander": self.wander, "sigma_total": self.total}

    def to_dict(self) -> dict[str, Any]:
        """Return what the estimates do not hold as JSON-safe values."""
        p = self.wander_p if math.isfinite(self.wander_p) else None
        return {"shots": list(self.shots), "wander_p": p}


@dataclass(frozen=True)
class EndSquares:
    """Mean squares of shots in ends; arrays over groups, mm^2, or degrees of freedom.

    Attributes
    ----------
    within, within_df
        About each end's own centre.
    spread, spread_df
        `size` times the variance of the end centres: in the mean within + size * wander^2.
    between
        The usual mean square between ends, which is that of `spread` where ends are alike.
    size : float
        Harmonic mean of the shots an end.
    """

    within: Array
    within_df: int
    spread: Array
    spread_df: int
    between: Array
    size: float


def end_squares(xy_mm: ArrayLike, ends: Codes) -> EndSquares:
    """Return the mean squares within and between ends, all coordinates pooled.

    Parameters
    ----------
    xy_mm : (..., n, k) array_like, mm
        Shots, in k coordinates.
    ends : (n,) array of int
        Which end each shot belongs to: 0, 1, ...; at least two, and one of two shots or more.

    Notes
    -----
    Ends of unlike size are brought together by the unweighted means of their centres and the
    harmonic mean of their sizes (Thomas and Hultquist); for ends of one size it is the plain
    analysis of variance.

    Examples
    --------
    >>> end_squares([[1.0], [3.0], [5.0], [7.0]], np.array([0, 0, 1, 1])).within.tolist()
    2.0
    """
    xy = np.asarray(xy_mm, float)
    n, axes = xy.shape[-2:]
    counts = np.bincount(ends)
    in_order = xy[..., np.argsort(ends, kind="stable"), :]
    starts = np.cumsum(counts) - counts
    centres = np.add.reduceat(in_order, starts, axis=-2) / counts[:, None]
    own = xy - centres[..., ends, :]
    size = len(counts) / float((1 / counts).sum())
    within_df, spread_df = axes * (n - len(counts)), axes * (len(counts) - 1)
    about_mean = centres - centres.mean(axis=-2, keepdims=True)
    about_all = centres - xy.mean(axis=-2, keepdims=True)
    return EndSquares(
        within=(own**2).sum(axis=(-2, -1)) / within_df,
        within_df=within_df,
        spread=size * (about_mean**2).sum(axis=(-2, -1)) / spread_df,
        spread_df=spread_df,
        between=(counts[:, None] * about_all**2).sum(axis=(-2, -1)) / spread_df,
        size=size,
    )


def wander_limits(squares: EndSquares, confidence: float) -> tuple[Array, Array]:
    """Return the limits of the wander, mm: those of a difference of two mean squares.

    For ends of one size the lower limit is above 0 exactly where the F test at level
    (1 - confidence)/2 finds wander; for others only nearly (`wander_p` is exact for all).

    References
    ----------
    N. Ting, R. K. Burdick, F. A. Graybill, S. Jeyaratnam and T.-F. C. Lu, "Confidence intervals on
    linear combinations of variance components that are unrestricted in sign", Journal of
    Statistical Computation and Simulation 35 (1990) 135-143. J. D. Thomas and R. A. Hultquist,
    "Interval estimation for the unbalanced case of the one-way random effects model", Annals of
    Statistics 6 (1978) 582-587.
    """
    tail = (1 - confidence) / 2
    one, two = squares.spread, squares.within
    df_one, df_two = squares.spread_df, squares.within_df
    (less_one, more_one), (less_two, more_two) = _reach(df_one, tail), _reach(df_two, tail)
    f = float(fdtri(df_one, df_two, 1 - tail))
    cross = ((f - 1) ** 2 - (less_one * f) ** 2 - more_two**2) / f
    down = (less_one * one) ** 2 + (more_two * two) ** 2 + cross * one * two
    f = float(fdtri(df_one, df_two, tail))
    cross = ((1 - f) ** 2 - (more_one * f) ** 2 - less_two**2) / f
    up = (more_one * one) ** 2 + (less_two * two) ** 2 + cross * one * two
    low = one - two - np.sqrt(np.maximum(down, 0.0))
    high = one - two + np.sqrt(np.maximum(up, 0.0))
    return _root(low / squares.size), _root(high / squares.size)


def wander_p(squares: EndSquares) -> Array:
    """Return the exact p-value of "all ends have one centre", an analysis of variance's F test."""
    f = squares.between / squares.within
    p: Array = fdtrc(squares.spread_df, squares.within_df, f)
    return p


def total_limits(squares: EndSquares, confidence: float, noise: float = 0.0) -> tuple[Array, Array]:
    """Return the limits of the total sigma, mm: those of a sum of two mean squares.

    Parameters
    ----------
    squares : EndSquares
    confidence : float
    noise : float, mm^2
        Variance of each place that is the photo's own.

    References
    ----------
    F. A. Graybill and C.-M. Wang, "Confidence intervals on nonnegative linear combinations of
    variances", Journal of the American Statistical Association 75 (1980) 869-873.
    """
    tail = (1 - confidence) / 2
    one, two = squares.spread / squares.size, squares.within * (1 - 1 / squares.size)
    less_one, more_one = _reach(squares.spread_df, tail)
    less_two, more_two = _reach(squares.within_df, tail)
    low = one + two - np.hypot(less_one * one, less_two * two)
    high = one + two + np.hypot(more_one * one, more_two * two)
    return _root(low - noise), _root(high - noise)


def _root(square: Array) -> Array:
    return np.sqrt(np.maximum(square, 0.0))


def _reach(df: int, tail: float) -> tuple[float, float]:
    """Return how far a mean square's limits lie below and above it, as shares of it."""
    return 1 - df / float(chdtri(df, tail)), df / float(chdtri(df, 1 - tail)) - 1


def measure_ends(xy_mm: Array, ends: Codes, noise: float, confidence: float) -> EndScatter | None:
    """Measure the scatter of one group's shots within and between ends.

    Parameters
    ----------
    xy_mm : (n, 2) array, mm
        Shots about their aims.
    ends : (n,) array of int
        Which end each shot belongs to: 0, 1, ...
    noise : float, mm^2
        Variance of each place that is the photo's own; 0 where not known.
    confidence : float

    Returns
    -------
    EndScatter or None
        None for one end. Without an end of two shots, or without scatter, nothing can be told
        apart, and all is NaN.
    """
    counts = np.bincount(ends)
    if len(counts) < 2:
        return None
    shots = tuple(int(count) for count in counts)
    unknown = Estimate(math.nan)
    if len(counts) == len(xy_mm):
        return EndScatter(shots, unknown, unknown, unknown, math.nan)
    squares = end_squares(xy_mm, ends)
    within, spread, df = float(squares.within), float(squares.spread), squares.within_df
    if within == 0:
        return EndScatter(shots, unknown, unknown, unknown, math.nan)
    low, high = sd_limits(within * df, df, confidence)
    value, low, cleaned = without_noise([math.sqrt(within), low, high], noise).tolist()
    own = Estimate(value / c4(df), low, cleaned if value else high)
    wander = math.sqrt(max(spread - within, 0.0) / squares.size)
    limits = (float(x) for x in wander_limits(squares, confidence))
    total = spread / squares.size + within * (1 - 1 / squares.size) - noise
    totals = (float(x) for x in total_limits(squares, confidence, noise))
    return EndScatter(
        shots,
        own,
        Estimate(wander, *limits),
        Estimate(math.sqrt(max(total, 0.0)), *totals),
        float(wander_p(squares)),
    )
