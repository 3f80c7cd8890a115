"""A shooter's usual: sigma and centre pooled over sessions, and whether today is within it."""

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtr, stdtrit

from groupscan.stats.constants import c4
from groupscan.stats.intervals import Estimate
from groupscan.stats.plain import json_safe
from groupscan.stats.trend.effects import Effects, fit_effects, wander_interval
from groupscan.stats.trend.even import even_out, uneven
from groupscan.stats.trend.sessions import Sessions, log_bias, log_fourth, log_variance

__all__ = ["Baseline", "Today", "measure_baseline", "predict_next"]

Array = NDArray[np.float64]

FEWEST = 3


@dataclass(frozen=True)
class Today:
    """Whether one session is within the shooter's usual.

    Attributes
    ----------
    verdict : {'usual', 'wider', 'tighter', 'not enough sessions'}
        Wider or tighter than usual where the session's sigma lies outside the predictive
        interval; that happens to a session like all others at the rate 1 - confidence.
    sigma : float
        Of the session.
    usual : Estimate
        What a session of so many shots usually shows: middle and predictive interval.
    p : float
        How often a session like all others lies as far out.
    """

    verdict: Literal["usual", "wider", "tighter", "not enough sessions"]
    sigma: float
    usual: Estimate
    p: float

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values."""
        table: dict[str, Any] = json_safe(self)
        return table


@dataclass(frozen=True)
class Baseline:
    """What is usual for a shooter, by pooling sessions as random effects.

    Attributes
    ----------
    unit : {'rad', 'mm'}
        Of sigma and centre.
    confidence : float
        Level of the intervals.
    sessions : int
        Number of sessions whose sigma is known.
    sigma : Estimate
        The shooter's median sigma over sessions.
    wander : Estimate
        Standard deviation of log sigma between sessions, beyond what the number of shots
        explains: 0.2 means that one session's true sigma is some 20 % above or below another's.
    centre_x, centre_y : Estimate
        The usual centre.
    centre_wander_x, centre_wander_y : Estimate
        Standard deviation of the true centre between sessions.
    notes : tuple of str
        What these sessions cannot say.
    """

    unit: Literal["rad", "mm"]
    confidence: float
    sessions: int
    sigma: Estimate
    wander: Estimate
    centre_x: Estimate
    centre_y: Estimate
    centre_wander_x: Estimate
    centre_wander_y: Estimate
    notes: tuple[str, ...]
    _fit: Effects | None = None
    _variances: Array | None = None
    _centre_fits: tuple[tuple[Effects, Array], ...] = ()

    def next_sigma(self, n: int) -> Estimate:
        """Return what the next session of n shots will show, with its predictive interval.

        See `measure_baseline` for an example.
        """
        if self._fit is None or self._variances is None or n < 2:
            return Estimate(self.sigma.value)
        middle, unit = predict_next(self._fit, self._variances, log_variance(2 * (n - 1)))
        half = float(stdtrit(self._fit.df, (1 + self.confidence) / 2) * unit)
        return Estimate(*(self._shown(float(middle) + by, n) for by in (0.0, -half, half)))

    def next_centre(self, variance: float) -> tuple[Estimate, Estimate]:
        """Return where the centre of the next session will lie, with its predictive interval.

        Parameters
        ----------
        variance : float
            Of that centre's error on each axis: sigma^2 over the number of shots.

        Returns
        -------
        x, y : Estimate
            No interval where fewer than three sessions tell what is usual.

        Examples
        --------
        With sessions that know their centres equally well it is the ordinary t prediction
        interval:

        >>> from groupscan.stats.trend.season import read_season
        >>> from groupscan.stats.trend.sessions import measure_sessions
        >>> shots = [(x + by, by) for x in (-3, 0, 3) for by in (-1, 1)]
        >>> seen = measure_sessions(read_season(shots, [1, 1, 2, 2, 3, 3]))
        >>> x, _ = measure_baseline(seen).next_centre(float(seen.centre_variance[0]))
        >>> x.value, round(x.high, 2)  # 4.303 * 3 * sqrt(1 + 1/3)
        (0.0, 14.9)
        """
        if not self._centre_fits:
            return Estimate(self.centre_x.value), Estimate(self.centre_y.value)
        told = []
        for fit, variances in self._centre_fits:
            middle, unit = predict_next(fit, variances, variance)
            half = float(stdtrit(fit.df, (1 + self.confidence) / 2) * unit)
            told.append(Estimate(float(middle), float(middle) - half, float(middle) + half))
        return told[0], told[1]

    def _shown(self, even: float, n: int) -> float:
        """Return the sigma that a session of n shots shows, from its evened log."""
        assert self._fit is not None
        df = 2 * (n - 1)
        middle, wander2 = float(self._fit.coefficients[0]), float(self._fit.variance)
        return math.exp(uneven(even, df, middle, wander2) + float(log_bias(df))) / c4(df)

    def today(self, sigma: float, n: int) -> Today:
        """Say whether a new session's sigma, of n shots, is within the usual.

        Parameters
        ----------
        sigma : float
            The session's unbiased sigma, in `unit`.
        n : int
            Its number of shots, at one distance.

        Returns
        -------
        Today
        """
        usual = self.next_sigma(n)
        if self._fit is None or self._variances is None or n < 2 or not sigma > 0:
            return Today("not enough sessions", sigma, usual, math.nan)
        df = 2 * (n - 1)
        log_sigma = math.log(sigma * c4(df)) - float(log_bias(df))
        middle, unit = predict_next(self._fit, self._variances, log_variance(df))
        even = even_out([log_sigma], [df], self._fit.coefficients[0], self._fit.variance)
        t = float((even[0] - middle) / unit)
        p = 2 * float(stdtr(self._fit.df, -abs(t)))
        if p >= 1 - self.confidence:
            return Today("usual", sigma, usual, p)
        return Today("wider" if t > 0 else "tighter", sigma, usual, p)

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values."""
        shown = {name: value for name, value in vars(self).items() if not name.startswith("_")}
        table: dict[str, Any] = json_safe(shown)
        return table


def predict_next(
    fit: Effects, variances: ArrayLike, next_variance: ArrayLike
) -> tuple[Array, Array]:
    """Return the middle and the standard error of the next value, of a fit of one mean.

    Parameters
    ----------
    fit : Effects
    variances : (..., k) array_like
        Sampling variances of the values fitted.
    next_variance : (...) array_like
        That of the next value.

    Returns
    -------
    middle, standard_error : (...) arrays
        (next - middle)/standard_error is referred to Student's t on ``fit.df``.

    Notes
    -----
    The next value's variance (wander and sampling) and that of the mean, times the weighted
    residual mean square of the sessions so far. With equal variances that is exactly the
    ordinary t prediction interval, however many sessions there are.
    """
    own = fit.variance + np.asarray(next_variance, float)
    weight = (1 / (fit.variance[..., None] + np.asarray(variances, float))).sum(axis=-1)
    return fit.coefficients[..., 0], np.sqrt(fit.scale * (own + 1 / weight))


def measure_baseline(sessions: Sessions) -> Baseline:
    """Pool sessions into the shooter's usual.

    Parameters
    ----------
    sessions : Sessions
        From `measure_sessions`.

    Returns
    -------
    Baseline

    Notes
    -----
    REML on log sigma with the sampling variances known from the numbers of shots
    (`fit_effects`); the wander's interval from the weighted sum of squares (`wander_interval`)
    and the predictive interval of the next session with the skewness of few shots taken out
    (`even_out`).
    The centre likewise, each axis for itself. With fewer than three sessions there is a value
    but no interval.

    References
    ----------
    J. P. T. Higgins, S. G. Thompson and D. J. Spiegelhalter, "A re-evaluation of random-effects
    meta-analysis", Journal of the Royal Statistical Society A 172 (2009) 137-159, for the
    predictive interval.

    Examples
    --------
    >>> from groupscan.stats.trend.season import read_season
    >>> from groupscan.stats.trend.sessions import measure_sessions
    >>> rng = np.random.default_rng(5)
    >>> shots = 10 * rng.standard_normal((240, 2))
    >>> baseline = measure_baseline(measure_sessions(read_season(shots, np.arange(240) // 24)))
    >>> baseline.sigma.low < 10 < baseline.sigma.high
    True
    >>> baseline.today(10.5, 24).verdict, baseline.today(30.0, 24).verdict
    ('usual', 'wider')
    """
    known = sessions.with_sigma()
    k, level = len(known.label), sessions.confidence
    notes = list(sessions.notes)
    fit, sigma, wander = None, Estimate(math.nan), Estimate(math.nan)
    if k >= FEWEST:
        fit = fit_effects(known.log_sigma, known.log_variance)
        log_sigma = fit.estimate(0, level)
        sigma = Estimate(
            math.exp(log_sigma.value), math.exp(log_sigma.low), math.exp(log_sigma.high)
        )
        low, high = wander_interval(
            known.log_sigma, known.log_variance, level, fourth=log_fourth(known.df)
        )
        wander = Estimate(math.sqrt(float(fit.variance)), float(low), float(high))
    else:
        notes.append(
            f"{k} sessions with a sigma: three are needed to tell what is usual, and some ten to "
            "tell it well."
        )
        if k:
            weights = 1 / known.log_variance
            sigma = Estimate(math.exp(float(weights @ known.log_sigma / weights.sum())))
    centre = [_centre(sessions, axis) for axis in (0, 1)]
    return Baseline(
        unit=sessions.unit,
        confidence=level,
        sessions=k,
        sigma=sigma,
        wander=wander,
        centre_x=centre[0][0],
        centre_y=centre[1][0],
        centre_wander_x=centre[0][1],
        centre_wander_y=centre[1][1],
        notes=tuple(notes),
        _fit=fit,
        _variances=known.log_variance if fit is not None else None,
        _centre_fits=tuple((axis[2], sessions.centre_variance) for axis in centre if axis[2]),
    )


def _centre(sessions: Sessions, axis: int) -> tuple[Estimate, Estimate, Effects | None]:
    """Return the usual centre, its wander and the fit behind them, in one axis."""
    value, variance = sessions.centre[:, axis], sessions.centre_variance
    if len(value) < FEWEST or not variance.all():
        return Estimate(float(value.mean())), Estimate(math.nan), None
    fit = fit_effects(value, variance)
    low, high = wander_interval(value, variance, sessions.confidence)
    wander = Estimate(math.sqrt(float(fit.variance)), float(low), float(high))
    return fit.estimate(0, sessions.confidence), wander, fit
