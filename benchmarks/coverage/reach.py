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
from groupscan.stats.growth import fit_growth
from groupscan.stats.landing import elliptical_landing, round_landing, round_limits

LEVEL, STANDARD = 0.95, 0.9
TOO_LONG = (1 - LEVEL) / 2

# Distance of the true centre from the aim, in sigma.
AWAY = (0.0, 1.0, 2.0)
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
        found.append(Row(f"reach too long, {what} distances", "rate", TOO_LONG, by_size))
    elliptical = {n: _elliptical(n, fewer, seed + n) for n in SIZES if n > 4}
    found.append(
        Row(
            "reach too long, elliptical", "rate", TOO_LONG, {n: e[1] for n, e in elliptical.items()}
        )
    )
    return found
