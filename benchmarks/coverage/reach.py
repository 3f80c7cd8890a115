"""Simulated coverage of reach: ``python -m benchmarks.coverage reach``.

Shots of a known rig are measured; the interval of the share that lands inside a circle is asked
whether it holds the true share, and the reach whether it is longer than the true one. A reach is
too long exactly where the lower limit at the true reach is above the standard, so that one
distance is enough to ask at.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import chndtr, chndtrix

from benchmarks.coverage.rows import SIZES, Row, share_held
from groupscan.stats.disc import disc_probability
from groupscan.stats.reach.growth import fit_growth
from groupscan.stats.reach.landing import elliptical_landing, round_landing, round_limits
from groupscan.stats.reach.stray import allow_for, measure_stray

LEVEL, STANDARD = 0.95, 0.9
TOO_LONG = (1 - LEVEL) / 2
# What `groupscan.stats.reach` states where the centres of days wander: Satterthwaite approximates.
TOO_LONG_WANDERING = 0.035

# Distance of the true centre from the aim, in sigma.
AWAY = (0.0, 1.0, 2.0)
# Days, and shots on each, of a shooter whose centre wanders.
DAYS = ((3, 6), (5, 6), (10, 3), (8, 12))
# The fit over distances and the elliptical draws take milliseconds a group, not microseconds.
SLOWER = 20
CHUNK = 2000

Array = NDArray[np.float64]


def _limits_at_one_distance(n: int, away: float, groups: int, seed: int) -> tuple[Array, Array]:
    """Return the limits of the share inside the circle that holds `STANDARD` of all shots."""
    rng, one = np.random.default_rng(seed), np.ones(1)
    radius = math.sqrt(chndtrix(STANDARD, 2, away**2))
    limits = []
    for first in range(0, groups, CHUNK):
        shots = rng.standard_normal((min(CHUNK, groups - first), n, 2)) + (away, 0.0)
        centre = shots.mean(axis=1)
        square = ((shots - centre[:, None]) ** 2).sum(axis=(1, 2))[:, None]
        seen = np.hypot(*centre.T)[:, None]
        limits.append(round_limits(radius, seen, square, 2 * (n - 1), one, one / n, one, LEVEL))
    low, high = np.concatenate(limits, axis=1)
    return low, high


def _too_long_over_distances(n: int, at_m: float, groups: int, seed: int) -> float:
    """Return how often the reach is too long, n shots at 20 and at 30 m, true reach `at_m`."""
    rng = np.random.default_rng(seed)
    distance = np.repeat([20.0, 30.0], n)

    def sigma(metres: Array | float) -> Array:
        # A third of the variance at 25 m grows with the fourth power of distance.
        r = np.asarray(metres) / 25
        return np.sqrt(2 / 3 * r**2 + r**4 / 3)

    at = float(sigma(at_m))
    bias = 0.5 * at_m / 25
    radius = at * math.sqrt(chndtrix(STANDARD, 2, (bias / at) ** 2))
    missed = 0
    for _ in range(groups):
        shots = sigma(distance)[:, None] * rng.standard_normal((2 * n, 2))
        shots[:, 0] += 0.5 * distance / 25
        growth = fit_growth(shots, distance)
        centre, shot, own = growth.at(at_m)
        square = np.trace(growth.scatter, axis1=1, axis2=2)
        away = np.hypot(*centre.T)
        share = round_landing(radius, away, square, 2 * growth.df, shot, own, growth.weight, LEVEL)
        missed += share.low > STANDARD
    return missed / groups


def _too_long_with_days(days: int, n: int, groups: int, seed: int) -> float:
    """Return how often the reach is too long where each day's centre wanders by one sigma."""
    rng, at = np.random.default_rng(seed), 20.0
    day, distance = np.repeat(np.arange(days), n), np.full(days * n, at)
    radius = math.sqrt(2 * chndtrix(STANDARD, 2, 0.0))
    missed = 0
    for _ in range(groups):
        shots = rng.standard_normal((days * n, 2)) + rng.standard_normal((days, 2))[day]
        growth = fit_growth(shots, distance)
        growth = allow_for(growth, measure_stray(growth, shots, distance, day))
        centre, shot, own = growth.at(at)
        square = np.trace(growth.scatter, axis1=1, axis2=2)
        away = np.hypot(*centre.T)
        share = round_landing(radius, away, square, 2 * growth.df, shot, own, growth.weight, LEVEL)
        missed += share.low > STANDARD
    return missed / groups


def _elliptical(n: int, groups: int, seed: int) -> tuple[float, float]:
    """Return coverage, and how often the lower limit is too high, of a scatter 2.5 : 1."""
    rng = np.random.default_rng(seed)
    sigma, bias, radius, one = np.array([1.0, 0.4]), np.array([0.3, 0.3]), 1.8, np.ones(1)
    truth = float(disc_probability(radius, bias, np.diag(sigma**2)))
    found = []
    for _ in range(groups):
        shots = bias + sigma * rng.standard_normal((n, 2))
        centre = shots.mean(axis=0)
        scatter = (shots - centre).T @ (shots - centre)
        share = elliptical_landing(
            radius, centre[None], scatter[None], n - 1, one, one / n, one, LEVEL
        )
        found.append((share.low, share.high))
    low, high = np.array(found).T
    return share_held(truth, low, high), float((low > truth).mean())


def rows(groups: int, seed: int) -> list[Row]:
    """Return the coverage of the chance's interval, and the rate of a reach too long."""
    found = []
    for away in AWAY:
        truth = float(chndtr(chndtrix(STANDARD, 2, away**2), 2, away**2))
        limits = {n: _limits_at_one_distance(n, away, groups, seed + n) for n in SIZES}
        found += [
            Row(
                f"share inside, centre {away:g} sigma off",
                "approximate",
                LEVEL,
                {n: share_held(truth, *limits[n]) for n in SIZES},
            ),
            Row(
                f"reach too long, centre {away:g} sigma off",
                "rate",
                TOO_LONG,
                {n: float((limits[n][0] > truth).mean()) for n in SIZES},
            ),
        ]
    fewer = max(groups // SLOWER, 1)
    for what, at in (("between two", 25.0), ("beyond two", 40.0)):
        by_size: dict[int | str, float] = {
            n: _too_long_over_distances(n, at, fewer, seed + n) for n in SIZES
        }
        found.append(Row(f"reach too long, {what} distances", "rate", TOO_LONG, by_size, fewer))
    elliptical = {n: _elliptical(n, fewer, seed + n) for n in SIZES if n > 4}
    many: dict[int | str, float] = {n: held for n, (held, _) in elliptical.items() if n >= 10}
    too_long: dict[int | str, float] = {n: rate for n, (_, rate) in elliptical.items()}
    found.append(Row("share inside, elliptical", "approximate", LEVEL, many, fewer))
    found.append(Row("reach too long, elliptical", "rate", TOO_LONG, too_long, fewer))
    wander: dict[int | str, float] = {
        f"{days} x {n}": _too_long_with_days(days, n, fewer, seed) for days, n in DAYS
    }
    found.append(Row("reach too long, centres wander", "rate", TOO_LONG_WANDERING, wander, fewer))
    return found
