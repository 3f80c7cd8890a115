"""Simulated coverage of what a bow gives to arrows: ``python -m benchmarks.coverage launch``.

Readings of a bow of known energy and virtual mass, with a chronograph's scatter, are fitted; each
interval is asked whether it holds the truth.
"""

import numpy as np
from numpy.typing import NDArray

from benchmarks.coverage.rows import Row
from groupscan.rigs.launch import launch_speed
from groupscan.rigs.line import fit_line, ratio_limits, student

LEVEL = 0.95
ENERGY_J, VIRTUAL_G = 137.0, 3.5
# One foot a second: what a good archer and a plain chronograph scatter together.
SD_MPS = 0.3048
# Masses (g), readings of each.
QUIVERS = {
    "2x3": ((26.0, 35.0), 3),
    "2x6": ((26.0, 35.0), 6),
    "3x2": ((26.0, 30.0, 35.0), 2),
    "5x1": ((24.0, 26.0, 29.0, 32.0, 36.0), 1),
    "3x5": ((26.0, 30.0, 35.0), 5),
}
OTHER_G = 32.0
CHUNK = 20_000

Array = NDArray[np.float64]


def _held(masses: tuple[float, ...], each: int, groups: int, seed: int) -> Array:
    """Return for virtual mass, energy and another arrow's speed the share that held the truth."""
    rng = np.random.default_rng(seed)
    mass = np.repeat(masses, each)
    truth = launch_speed(ENERGY_J, VIRTUAL_G, mass)
    other = float(launch_speed(ENERGY_J, VIRTUAL_G, OTHER_G))
    slope = 1e-3 / (2 * ENERGY_J)
    quantile = student(mass.size - 2, LEVEL)
    held = []
    for first in range(0, groups, CHUNK):
        speed = truth + rng.normal(0, SD_MPS, (min(CHUNK, groups - first), mass.size))
        line, unscaled, square = fit_line(mass, speed)
        covariance = unscaled * (square / (mass.size - 2))[:, None, None]
        low, high = ratio_limits(line, covariance, quantile)
        # A group that cannot bound the virtual mass does not exclude the truth.
        virtual = ~((low > VIRTUAL_G) | (high < VIRTUAL_G))
        half = quantile * np.sqrt(covariance[:, 1, 1])
        energy = np.abs(line[:, 1] - slope) <= half
        at = np.array([1.0, OTHER_G])
        half = quantile * np.sqrt(np.einsum("i,nij,j->n", at, covariance, at))
        predicted = np.abs(line @ at - other**-2) <= half
        held.append(np.stack([virtual, energy, predicted]))
    share: Array = np.concatenate(held, axis=1).mean(axis=1)
    return share


def rows(groups: int, seed: int) -> list[Row]:
    """Simulate the fit of a bow."""
    shares = {
        name: _held(masses, each, groups, seed + i)
        for i, (name, (masses, each)) in enumerate(QUIVERS.items())
    }
    return [
        Row(what, "exact", LEVEL, {name: float(share[i]) for name, share in shares.items()})
        for i, what in enumerate(
            ("virtual mass", "energy of the bow", "speed of an arrow that was not shot")
        )
    ]
