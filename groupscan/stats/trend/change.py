"""When did it change: change points of sigma and of the centre, with a stated false rate."""

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from groupscan.stats.inputs import read_level
from groupscan.stats.intervals import Estimate
from groupscan.stats.plain import json_safe
from groupscan.stats.trend.effects import fit_effects
from groupscan.stats.trend.even import even_out
from groupscan.stats.trend.sessions import Sessions

__all__ = ["Change", "Changes", "centre_changes", "sigma_changes", "split_statistic"]

Array = NDArray[np.float64]

# One odd session or two is a bad day, not a change.
SHORTEST = 3
DRAWS = 999
PLACE_DRAWS = 399
# No place so far behind in deviance is ever within the simulated distance.
HOPELESS = 25.0
SEED = 20_000
# Chance scatters sessions by about one in their weights, squared; less than this is rounding, in
# the whole of sessions that are all the same, and in the rest where a change explains them all.
ROUNDING = 1e-12


@dataclass(frozen=True)
class Change:
    """One change that lasts.

    Attributes
    ----------
    first_after : str
        The first session after the change, at its likeliest place.
    earliest, latest : str
        The sessions between which the first one after the change lies.
    ratio : Estimate or None
        Sigma after over sigma before; None for the centre.
    shift_x, shift_y : Estimate or None
        Centre after less centre before; None for sigma.
    p : float
        How often sessions without a change show one as clear as this.
    """

    first_after: str
    earliest: str
    latest: str
    ratio: Estimate | None
    shift_x: Estimate | None
    shift_y: Estimate | None
    p: float


@dataclass(frozen=True)
class Changes:
    """The changes found in a season, in order.

    Attributes
    ----------
    about : {'sigma', 'centre'}
    unit : {'rad', 'mm'}
        Of shifts.
    changes : tuple of Change
    p : float
        How often a season without a change shows one as clear as its clearest; NaN where there
        are too few sessions.
    false_rate : float
        At most so often a season without a change is said to have one.
    notes : tuple of str
        What these sessions cannot say.
    """

    about: Literal["sigma", "centre"]
    unit: Literal["rad", "mm"]
    changes: tuple[Change, ...]
    p: float
    false_rate: float
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values."""
        table: dict[str, Any] = json_safe(self)
        return table


def split_statistic(values: Array, weights: Array) -> Array:
    """Return, for each split, the part of the weighted scatter that it explains.

    Parameters
    ----------
    values : (..., k, a) array
        Values of k sessions in a axes.
    weights : (k,) array
        One over the variance of a value.

    Returns
    -------
    (..., k - 1) array
        Between-part over whole, summed over axes, for splits after the first, second, ...
        session; -1 where a side would be shorter than three sessions. The log-likelihood ratio of
        a change there is -(k a/2) log(1 - part).

    Examples
    --------
    >>> values = np.array([0.0, 0, 0, 2, 2, 2])[:, None]
    >>> split_statistic(values, np.ones(6)).tolist()
    [-1.0, -1.0, 1.0, -1.0, -1.0]
    """
    k = values.shape[-2]
    w = weights[:, None]
    total = weights.sum()
    away = values - (w * values).sum(axis=-2, keepdims=True) / total
    whole = (w * away**2).sum(axis=(-2, -1))
    left = np.cumsum(weights)[:-1]
    sums = np.cumsum(w * away, axis=-2)[..., :-1, :]
    between = (sums**2).sum(axis=-1) * (total / (left * (total - left)))
    part: Array = np.where(
        (whole > ROUNDING)[..., None], between / np.maximum(whole, ROUNDING)[..., None], 0.0
    )
    part[..., : SHORTEST - 1] = -1.0
    part[..., k - SHORTEST :] = -1.0
    return part


@dataclass(frozen=True)
class _Series:
    """Values of the sessions in one or two axes, their variances, and chance to draw from."""

    values: Array
    variances: Array
    rng: np.random.Generator

    def noise(self, draws: int, rows: slice, wander2: float) -> Array:
        """Return draws of these rows' noise, (draws, rows, axes)."""
        values = self.values[rows]
        spread = np.sqrt(self.variances[rows] + wander2)[:, None]
        drawn: Array = spread * self.rng.standard_normal((draws, *values.shape))
        return drawn

    def fit(self, rows: slice, split: int | None = None) -> float:
        """Return the wander's variance in these rows, about one level or two, mean over axes."""
        values = self.values[rows]
        design = [np.ones(len(values))]
        if split is not None:
            design.append(np.where(np.arange(len(values)) >= split, 1.0, 0.0))
        x = np.column_stack(design)
        fits = fit_effects(
            values.T,
            np.broadcast_to(self.variances[rows], values.T.shape),
            np.broadcast_to(x, (values.shape[1], *x.shape)),
        )
        return float(fits.variance.mean())


def _test(series: _Series, rows: slice) -> tuple[int, float]:
    """Return the likeliest split of these rows and its p-value, by simulation without a change."""
    wander2 = series.fit(rows)
    weights = 1 / (series.variances[rows] + wander2)
    seen = split_statistic(series.values[rows], weights)
    null = split_statistic(series.noise(DRAWS, rows, wander2), weights).max(axis=-1)
    p = (1 + int((null >= seen.max()).sum())) / (DRAWS + 1)
    return int(seen.argmax()) + 1, p


def _search(series: _Series, rows: slice, level: float) -> tuple[list[tuple[int, float]], float]:
    """Return splits with p-values in these rows, and the p-value of the clearest one.

    Each part gets its share of the false rate.
    """
    length = rows.stop - rows.start
    if length < 2 * SHORTEST:
        return [], math.nan
    split, p = _test(series, rows)
    if p > level:
        return [], p
    here = rows.start + split
    before, after = (
        _search(series, part, level * (part.stop - part.start) / length)[0]
        for part in (slice(rows.start, here), slice(here, rows.stop))
    )
    return [*before, (here, p), *after], p


def _place_and_shift(
    series: _Series, rows: slice, split: int, confidence: float
) -> tuple[int, int, int, list[Estimate]]:
    """Return likeliest, first and last split of a confidence set, and the shift of each axis."""
    values, variances = series.values[rows], series.variances[rows]
    k, axes = values.shape
    wander2 = series.fit(rows, split)
    weights = 1 / (variances + wander2)
    part = split_statistic(values, weights)
    split = int(part.argmax()) + 1

    def deviance(parts: Array) -> Array:
        fitted: Array = np.where(
            parts < 0, np.inf, k * axes * np.log1p(-np.minimum(parts, 1 - ROUNDING))
        )
        return fitted

    seen = deviance(part)
    drawn = series.noise(PLACE_DRAWS, rows, wander2)

    def allowed(place: int) -> float:
        """How far a true place falls behind the likeliest one, at the level."""
        step = np.zeros_like(values)
        shift = _difference(values, weights, place)
        # Chance makes a step look longer than it is, by its own variance in each axis.
        left = weights[:place].sum()
        chance = axes * (1 / left + 1 / (weights.sum() - left))
        step[place:] = shift * math.sqrt(max(0.0, 1 - chance / max(shift @ shift, 1e-300)))
        simulated = deviance(split_statistic(step + drawn, weights))
        behind = simulated[:, place - 1] - simulated.min(axis=1)
        return float(np.quantile(behind, confidence))

    behind = seen - seen.min()
    near = np.flatnonzero(behind <= HOPELESS) + 1
    likely = np.array(
        [place for place in near if place == split or behind[place - 1] <= allowed(int(place))]
    )
    df = axes * (k - 2)
    quantile = float(stdtrit(df, (1 + confidence) / 2))
    lows, highs = [], []
    for place in likely:
        shift = _difference(values, weights, int(place))
        whole = float((weights[:, None] * (values - np.average(values, 0, weights)) ** 2).sum())
        scale = whole * (1 - part[place - 1]) / df
        left = weights[:place].sum()
        half = quantile * math.sqrt(scale * (1 / left + 1 / (weights.sum() - left)))
        lows.append(shift - half)
        highs.append(shift + half)
    shift = _difference(values, weights, split)
    low, high = np.min(lows, axis=0), np.max(highs, axis=0)
    estimates = [Estimate(float(shift[a]), float(low[a]), float(high[a])) for a in range(axes)]
    return split, int(likely[0]), int(likely[-1]), estimates


def _difference(values: Array, weights: Array, split: int) -> Array:
    after = np.average(values[split:], 0, weights[split:])
    difference: Array = after - np.average(values[:split], 0, weights[:split])
    return difference


def _find(
    series: _Series, label: tuple[str, ...], false_rate: float, confidence: float
) -> tuple[tuple[Change, ...], float]:
    k = len(label)
    found, p = _search(series, slice(0, k), false_rate)
    edges = [0, *(split for split, _ in found), k]
    changes = []
    for number, (split, p_here) in enumerate(found, start=1):
        rows = slice(edges[number - 1], edges[number + 1])
        place, first, last, shifts = _place_and_shift(series, rows, split - rows.start, confidence)
        sigma = len(shifts) == 1
        ratio = Estimate(*(math.exp(e) for e in (shifts[0].value, shifts[0].low, shifts[0].high)))
        changes.append(
            Change(
                label[rows.start + place],
                label[rows.start + first],
                label[rows.start + last],
                ratio if sigma else None,
                None if sigma else shifts[0],
                None if sigma else shifts[1],
                p_here,
            )
        )
    return tuple(changes), p


def sigma_changes(sessions: Sessions, *, false_rate: float = 0.05, seed: int = SEED) -> Changes:
    """Find the sessions at which sigma changed for good.

    Parameters
    ----------
    sessions : Sessions
        From `measure_sessions`.
    false_rate : float, default 0.05
        At most so often may a season without a change be said to have one, and at most so often
        may a further one be added to those that are there.
    seed : int, optional
        Seed of the simulation; the same shots and seed give the same answer.

    Returns
    -------
    Changes

    Raises
    ------
    StatisticsError
        If the false rate is not sensible.

    Notes
    -----
    The clearest split of log sigma (weighted likelihood ratio, each side at least three sessions)
    is tested against 999 simulated seasons without a change: the same numbers of shots and the
    same wander between sessions, errors normal, since the skewness of few shots is taken out of
    log sigma first (`even_out`). Each side of a change found is
    searched likewise (binary segmentation), with its share of the false rate by length. The
    interval of the place holds each split whose likelihood falls no further behind the best than
    it does, at the level, in simulated seasons that change just there; the ratio's interval
    covers all of these places. A change that was reversed soon is hard to see for a method that
    splits once at a time; the charts see those better.

    References
    ----------
    K. J. Worsley, "On the likelihood ratio test for a shift in location of normal populations",
    Journal of the American Statistical Association 74 (1979) 365-367. L. Yu. Vostrikova,
    "Detecting disorder in multidimensional random processes", Soviet Mathematics Doklady 24
    (1981) 55-59, for binary segmentation.

    Examples
    --------
    >>> from groupscan.stats.trend.season import read_season
    >>> from groupscan.stats.trend.sessions import measure_sessions
    >>> rng = np.random.default_rng(3)
    >>> session = np.repeat(np.arange(40), 18)
    >>> shots = np.where(session < 25, 10, 16)[:, None] * rng.standard_normal((720, 2))
    >>> found = sigma_changes(measure_sessions(read_season(shots, session)))
    >>> [change.first_after for change in found.changes]
    ['25']
    """
    known = sessions.with_sigma()
    values = known.log_sigma
    if len(values) >= 2 * SHORTEST:
        fit = fit_effects(values, known.log_variance)
        values = even_out(values, known.df, fit.coefficients[0], fit.variance)
    series = _Series(values[:, None], known.log_variance, np.random.default_rng(seed))
    return _changes(series, known, "sigma", false_rate)


def centre_changes(sessions: Sessions, *, false_rate: float = 0.05, seed: int = SEED) -> Changes:
    """Find the sessions at which the centre moved for good.

    Parameters
    ----------
    sessions, false_rate, seed
        As for `sigma_changes`.

    Returns
    -------
    Changes

    Raises
    ------
    StatisticsError
        If the false rate is not sensible.

    Notes
    -----
    As `sigma_changes`, in both axes at once, which are taken to wander alike.

    Examples
    --------
    >>> from groupscan.stats.trend.season import read_season
    >>> from groupscan.stats.trend.sessions import measure_sessions
    >>> rng = np.random.default_rng(4)
    >>> session = np.repeat(np.arange(30), 12)
    >>> shots = 10 * rng.standard_normal((360, 2)) + np.where(session < 20, 0, 12)[:, None]
    >>> found = centre_changes(measure_sessions(read_season(shots, session)))
    >>> [change.first_after for change in found.changes]
    ['20']
    """
    usable = len(sessions.label) if sessions.centre_variance.all() else 0
    series = _Series(sessions.centre, sessions.centre_variance, np.random.default_rng(seed))
    return _changes(series, sessions, "centre", false_rate, usable)


def _changes(
    series: _Series,
    sessions: Sessions,
    about: Literal["sigma", "centre"],
    false_rate: float,
    usable: int | None = None,
) -> Changes:
    read_level(1 - false_rate)
    label = sessions.label[:usable]
    changes, p = _find(series, label, false_rate, sessions.confidence)
    notes = list(sessions.notes)
    if len(label) < 2 * SHORTEST:
        notes.append(f"{len(label)} sessions: six are needed to look for a change.")
    return Changes(about, sessions.unit, changes, p, false_rate, tuple(notes))
