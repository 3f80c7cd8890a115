"""Each session's sigma with its interval and weight, and its centre."""

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri, polygamma, psi, stdtrit

from groupscan.stats.constants import c4
from groupscan.stats.inputs import read_level
from groupscan.stats.intervals import Estimate
from groupscan.stats.plain import json_safe
from groupscan.stats.trend.season import Season

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "Sessions",
    "c4_each",
    "log_bias",
    "log_fourth",
    "log_variance",
    "measure_sessions",
    "scatter_in",
]

Array = NDArray[np.float64]
Counts = NDArray[np.intp]

ROUNDING = 1e-12


def log_bias(df: ArrayLike) -> Array:
    """Return the mean of log s - log sigma on df degrees of freedom.

    s^2/sigma^2 is a chi-square over its degrees of freedom, so that the mean of log s is
    log sigma + (psi(df/2) - log(df/2))/2 and its variance trigamma(df/2)/4, whatever sigma.

    References
    ----------
    M. S. Bartlett and D. G. Kendall, "The statistical analysis of variance-heterogeneity and the
    logarithmic transformation", Supplement to the Journal of the Royal Statistical Society 8
    (1946) 128-138.

    Examples
    --------
    >>> log_bias([4.0, 40.0]).round(4).tolist()
    [-0.1352, -0.0126]
    """
    half = np.asarray(df, float) / 2
    bias: Array = (psi(half) - np.log(half)) / 2
    return bias


def log_variance(df: ArrayLike) -> Array:
    """Return the variance of log s on df degrees of freedom; see `log_bias`.

    Examples
    --------
    >>> log_variance([4.0, 40.0]).round(4).tolist()
    [0.1612, 0.0128]
    """
    variance: Array = polygamma(1, np.asarray(df, float) / 2) / 4
    return variance


def log_fourth(df: ArrayLike) -> Array:
    """Return the fourth cumulant of log s on df degrees of freedom; see `log_bias`.

    Examples
    --------
    A normal error has none; in units of the squared variance:

    >>> (log_fourth([4.0, 40.0]) / log_variance([4.0, 40.0]) ** 2).round(2).tolist()
    [1.19, 0.1]
    """
    fourth: Array = polygamma(3, np.asarray(df, float) / 2) / 16
    return fourth


def c4_each(df: ArrayLike) -> Array:
    """Return `constants.c4` of each of many degrees of freedom, NaN where there are none."""
    different, index = np.unique(np.asarray(df), return_inverse=True)
    factors = np.array([c4(float(d)) if d > 0 else math.nan for d in different])
    return factors[index]


@dataclass(frozen=True)
class Sessions:
    """A table of sessions, in the order of their days.

    Attributes
    ----------
    unit : {'rad', 'mm'}
        Unit of sigma and centre.
    confidence : float
        Level of the intervals.
    label : tuple of str
        The sessions.
    day : (k,) array
        Their days, NaN where not given.
    n, df : (k,) arrays of int
        Shots, and degrees of freedom of sigma.
    square : (k,) array
        Sum of squared distances of the shots from the centre of their block.
    sigma, sigma_low, sigma_high : (k,) arrays
        Per-axis standard deviation and its exact interval; NaN where a session cannot say.
    log_sigma, log_variance : (k,) arrays
        Unbiased log of sigma and the variance of its error, known from the number of shots.
    weight : (k,) array
        Share of what all sessions together know of sigma, when it is the same in all.
    centre : (k, 2) array
        Mean of the shots.
    centre_variance : (k,) array
        Per-axis variance of the centre's error: all sessions' sigma^2 over the number of shots.
    notes : tuple of str
        What these sessions cannot say.
    """

    unit: Literal["rad", "mm"]
    confidence: float
    label: tuple[str, ...]
    day: Array
    n: Counts
    df: Counts
    square: Array
    sigma: Array
    sigma_low: Array
    sigma_high: Array
    log_sigma: Array
    log_variance: Array
    weight: Array
    centre: Array
    centre_variance: Array
    notes: tuple[str, ...]

    def with_sigma(self) -> "Sessions":
        """Return those sessions whose sigma is known."""
        return self.only(np.isfinite(self.log_sigma))

    def sigma_of(self, place: int) -> Estimate:
        """Return one session's sigma with its interval."""
        return Estimate(
            float(self.sigma[place]), float(self.sigma_low[place]), float(self.sigma_high[place])
        )

    def centre_of(self, place: int) -> tuple[Estimate, Estimate]:
        """Return one session's centre, right and high, each with its t interval.

        Its variance is taken from the scatter of all sessions, as in `centre_variance`: a session
        of three arrows says too little of its own.

        Examples
        --------
        >>> from groupscan.stats.trend.season import read_season
        >>> seen = measure_sessions(read_season([(1, 0), (3, 0), (5, 0)], ["a", "a", "a"]))
        >>> right, high = seen.centre_of(0)
        >>> right.value, round(right.high - right.value, 2)  # t on 4 df: 2.776 sqrt(2 / 3)
        (3.0, 2.27)
        """
        df = int(self.df.sum())
        if df < 1:
            x, y = (Estimate(float(at)) for at in self.centre[place])
            return x, y
        reach = float(stdtrit(df, (1 + self.confidence) / 2))
        half = reach * math.sqrt(float(self.centre_variance[place]))
        x, y = (
            Estimate(float(at), float(at) - half, float(at) + half) for at in self.centre[place]
        )
        return x, y

    def shots_for_sigma(self, place: int) -> int:
        """Return how many shots of one distance know as much of sigma as this session's do."""
        return int(self.df[place]) // 2 + 1

    def only(self, rows: NDArray[np.bool_]) -> "Sessions":
        """Return some of the sessions; what was taken from all of them stays as it is."""
        if rows.all():
            return self
        kept: dict[str, Any] = {
            name: value[rows] for name, value in vars(self).items() if isinstance(value, np.ndarray)
        }
        kept["label"] = tuple(np.array(self.label, object)[rows])
        return replace(self, **kept)

    def to_frame(self) -> "pd.DataFrame":
        """Return the table: one row a session."""
        import pandas as pd

        columns = {
            name: value
            for name, value in vars(self).items()
            if isinstance(value, np.ndarray) and value.ndim == 1
        }
        columns["centre_x"], columns["centre_y"] = self.centre.T
        return pd.DataFrame(columns, index=pd.Index(self.label, name="session"))

    def to_dict(self) -> dict[str, Any]:
        """Return the table as JSON-safe values: None for what is not known."""
        table: dict[str, Any] = json_safe(self)
        return table


def scatter_in(season: Season, *, ends: bool) -> tuple[Counts, Counts, Array, Array]:
    """Return each block's first row, its shots, its centre and its sum of squares.

    Parameters
    ----------
    season : Season
    ends : bool
        Whether each end is a block of its own, or a session's shots at one distance.

    Returns
    -------
    first, count : (b,) arrays of int
    centre : (b, 2) array
    square : (b,) array
        Sum of squared distances from the block's centre; what rounding leaves of shots that are
        all at one place is no scatter.
    """
    block, first = season.blocks(ends=ends)
    count = np.bincount(block)
    centre = np.column_stack([np.bincount(block, axis) / count for axis in season.at.T])
    away = season.at - centre[block]
    square = np.bincount(block, (away**2).sum(axis=1))
    nothing = (ROUNDING * np.abs(season.at).max()) ** 2 * count
    return first, count, centre, np.where(square <= nothing, 0.0, square)


def measure_sessions(
    season: Season, *, about: Literal["session", "end"] = "session", confidence: float = 0.95
) -> Sessions:
    """Measure sigma and centre of each session.

    Parameters
    ----------
    season : Season
        From `read_season`.
    about : {'session', 'end'}, default 'session'
        Scatter about the session's centre at each distance, or about the centre of each end.
        The first is what a target shows; the second leaves out sight changes between ends and
        costs two degrees of freedom an end.
    confidence : float, default 0.95
        Level of the intervals.

    Returns
    -------
    Sessions

    Raises
    ------
    StatisticsError
        If the level is not sensible.

    Notes
    -----
    sigma = s/c4 on df degrees of freedom, two for each shot but the first of a block; its
    interval is the exact chi-square one. A session whose shots say nothing of sigma (one shot, or
    all at one place) keeps its row with NaN.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.

    Examples
    --------
    >>> from groupscan.stats.trend.season import read_season
    >>> shots = [(12, -7), (-5, 10), (3, 4), (-14, -2), (9, 15), (0, 0)]
    >>> sessions = measure_sessions(read_season(shots, [1, 1, 1, 1, 1, 2]))
    >>> sessions.sigma.round(2).tolist(), sessions.notes[0]
    ([10.08, nan], '1 of 2 sessions say nothing of sigma: one shot only, or no scatter.')
    """
    level = read_level(confidence)
    first, _, _, square = scatter_in(season, ends=about == "end")
    owner = season.session[first]
    k = season.sessions
    n = np.bincount(season.session, minlength=k)
    squares: Array = np.bincount(owner, square, minlength=k).astype(float)
    df = 2 * (n - np.bincount(owner, minlength=k))
    centre = np.column_stack([np.add.reduceat(axis, season.start) for axis in season.at.T])
    known = (df > 0) & (squares > 0)
    d = np.where(known, df, 2)
    s2 = np.where(known, squares, np.nan)
    tail = (1 - level) / 2
    variance = log_variance(d)
    information = np.where(known, 1 / variance, 0.0)
    pooled = squares.sum() / max(1, df.sum())
    notes = []
    if not known.all():
        notes.append(
            f"{int((~known).sum())} of {k} sessions say nothing of sigma: one shot only, or no "
            "scatter."
        )
    if season.unit == "mm":
        notes.append(
            "No distance was given: sessions are compared in mm, which is right only if all were "
            "shot from the same distance."
        )
    elif len(season.distances_m) > 1:
        notes.append(
            f"{len(season.distances_m)} distances are brought together as angles; arrows often "
            "scatter more in angle farther out, so that a change of distance can look like a "
            "change of form."
        )
    return Sessions(
        unit=season.unit,
        confidence=level,
        label=season.label,
        day=season.day,
        n=n,
        df=df,
        square=squares,
        sigma=np.sqrt(s2 / d) / c4_each(d),
        sigma_low=np.sqrt(s2 / chdtri(d, tail)),
        sigma_high=np.sqrt(s2 / chdtri(d, 1 - tail)),
        log_sigma=np.log(s2 / d) / 2 - log_bias(d),
        log_variance=np.where(known, variance, np.nan),
        weight=information / max(information.sum(), 1e-300),
        centre=centre / n[:, None],
        centre_variance=pooled / n,
        notes=tuple(notes),
    )
