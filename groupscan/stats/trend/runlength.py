"""How long a control chart runs before a false alarm, and the limit that a stated length needs.

All charts here watch scores that are independent standard normal as long as nothing changes, in
one dimension (sigma) or in two (the centre; two independent axes). The chart's state is then a
Markov chain on a line: the EWMA, its length in two dimensions, the CUSUM, or its length. The
average run length L(u) from state u solves L(u) = 1 + integral of k(u, v) L(v) dv, solved at
Gauss-Legendre points (Nystrom), where the kernels are smooth.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import i0e, ndtr

from groupscan.errors import StatisticsError

__all__ = ["ChartKind", "alarm_chance", "average_run_length", "limit_for"]

Array = NDArray[np.float64]
ChartKind = Literal["EWMA", "CUSUM"]

POINTS = 80
SHORTEST_ARL, LONGEST_ARL = 5.0, 1e5
TOLERANCE = 1e-8


@dataclass(frozen=True)
class _Chain:
    """The chart as a Markov chain: first row and column are the state it starts in."""

    moves: Array
    sides: int


def _normal_density(z: Array) -> Array:
    density: Array = np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)
    return density


def _length_density(length: Array, away: Array) -> Array:
    """Return the density of |a + Z|, Z standard normal in two dimensions and |a| = away (Rice)."""
    density: Array = length * np.exp(-((length - away) ** 2) / 2) * i0e(length * away)
    return density


def _short_chance(length: float, away: Array) -> Array:
    """Return the chance that |a + Z| <= length, |a| = away, by quadrature."""
    points, weights = _points(0.0, length)
    chance: Array = _length_density(points[None, :], away[:, None]) @ weights
    return chance


@lru_cache(maxsize=1)
def _legendre() -> tuple[Array, Array]:
    """Return the points and weights on (-1, 1): found anew for each limit tried, they take most."""
    points, weights = np.polynomial.legendre.leggauss(POINTS)
    return points, weights


def _points(low: float, high: float) -> tuple[Array, Array]:
    points, weights = _legendre()
    half = (high - low) / 2
    return low + half * (points + 1), half * weights


def _chain(kind: ChartKind, axes: int, setting: float, limit: float) -> _Chain:
    """Return the chain; `setting` is the EWMA's weight or the CUSUM's allowance."""
    if kind == "EWMA":
        v, dv = _points(-limit if axes == 1 else 0.0, limit)
        u = np.concatenate([[0.0], v])
        carried = (1 - setting) * u[:, None]
        if axes == 1:
            density = _normal_density((v - carried) / setting)
        else:
            density = _length_density(v / setting, carried / setting)
        moves = np.zeros((u.size, u.size))
        moves[:, 1:] = density * dv / setting
        return _Chain(moves, 1)
    v, dv = _points(0.0, limit)
    u = np.concatenate([[0.0], v])
    moves = np.zeros((u.size, u.size))
    if axes == 1:
        moves[:, 0] = ndtr(setting - u)
        moves[:, 1:] = _normal_density(v + setting - u[:, None]) * dv
        return _Chain(moves, 2)
    moves[:, 0] = _short_chance(setting, u)
    moves[:, 1:] = _length_density(v + setting, u[:, None]) * dv
    return _Chain(moves, 1)


def average_run_length(kind: ChartKind, axes: int, setting: float, limit: float) -> float:
    """Return the average number of sessions to a false alarm.

    Parameters
    ----------
    kind : {'EWMA', 'CUSUM'}
    axes : {1, 2}
        One: two-sided chart of a score; two: chart of the length of a vector of two scores.
    setting : float
        The EWMA's weight of the newest score, or the CUSUM's allowance.
    limit : float
        Alarm where the chart's length is more than this, in units of a score.

    Returns
    -------
    float

    Notes
    -----
    The two sides of a CUSUM: 1/L = 1/L_up + 1/L_down, exact since one side is at zero whenever
    the other signals.

    References
    ----------
    S. V. Crowder, "A simple method for studying run-length distributions of exponentially
    weighted moving average charts", Technometrics 29 (1987) 401-407. E. S. Page, "Continuous
    inspection schemes", Biometrika 41 (1954) 100-115. R. B. Crosier, "Multivariate
    generalizations of cumulative sum quality-control schemes", Technometrics 30 (1988) 291-303.
    C. A. Lowry and others, "A multivariate exponentially weighted moving average control chart",
    Technometrics 34 (1992) 46-53.

    Examples
    --------
    A chart with weight 1 has no memory: its limit is a plain normal quantile.

    >>> round(average_run_length("EWMA", 1, 1.0, 3.0), 1)
    370.4
    """
    chain = _chain(kind, axes, setting, limit)
    size = len(chain.moves)
    lengths = np.linalg.solve(np.eye(size) - chain.moves, np.ones(size))
    return float(lengths[0]) / chain.sides


def alarm_chance(kind: ChartKind, axes: int, setting: float, limit: float, sessions: int) -> float:
    """Return the chance of at least one false alarm within so many sessions.

    Parameters
    ----------
    kind, axes, setting, limit
        As for `average_run_length`.
    sessions : int
        Number of sessions on the chart.

    Returns
    -------
    float
        Exact, but for the two-sided CUSUM, whose sides are taken as independent: within 1 % of
        itself.

    Examples
    --------
    >>> round(alarm_chance("EWMA", 1, 1.0, 3.0, 10), 4)
    0.0267
    """
    chain = _chain(kind, axes, setting, limit)
    silent = np.ones(len(chain.moves))
    for _ in range(sessions):
        silent = chain.moves @ silent
    return float(1 - silent[0] ** chain.sides)


@lru_cache(maxsize=64)
def limit_for(kind: ChartKind, axes: int, setting: float, arl: float) -> float:
    """Return the limit that gives the stated average run length.

    Parameters
    ----------
    kind, axes, setting
        As for `average_run_length`.
    arl : float
        Average number of sessions to a false alarm, 5 to 100,000.

    Returns
    -------
    float

    Raises
    ------
    StatisticsError
        If the run length or the setting lies outside its range.

    Examples
    --------
    >>> round(limit_for("EWMA", 1, 1.0, 370.4), 3)
    3.0
    """
    if not SHORTEST_ARL <= arl <= LONGEST_ARL:
        raise StatisticsError(f"arl {arl!r} sessions must lie between 5 and 100,000")
    if not (0.05 <= setting <= 1.0 if kind == "EWMA" else 0.1 <= setting <= 2.0):
        raise StatisticsError(
            f"{setting!r} does not suit a chart: the EWMA's weight lies between 0.05 and 1, "
            "the CUSUM's allowance between 0.1 and 2"
        )
    low, high = 1e-3, 1.0
    while average_run_length(kind, axes, setting, high) < arl:
        low, high = high, 1.5 * high
    while high - low > TOLERANCE:
        middle = (low + high) / 2
        if average_run_length(kind, axes, setting, middle) < arl:
            low = middle
        else:
            high = middle
    return (low + high) / 2
