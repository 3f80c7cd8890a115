"""Kinetic energy, momentum and mass per pound of draw weight, by their definitions.

Everything is in SI first. The foot-pound and the slug rest on the standard gravity of 9.80665
m/s^2; the trade's rule for energy, grains times the square of feet a second over 450240, rests on a
gravity of 32.16 ft/s^2 and so tells 0.0437 % too much.
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from groupscan.rigs.given import Array, read_mass, read_speed, read_values
from groupscan.units import g_to_grain, mps_to_fps, newton_to_lbf

__all__ = [
    "TRADE_DIVISOR",
    "grains_per_pound",
    "kinetic_energy_j",
    "momentum_kgmps",
    "read_draw_weight",
    "trade_energy_ftlbf",
]

#: What the trade divides grains times the square of feet a second by; exact would be 450436.68.
TRADE_DIVISOR: Final = 450_240.0

# From a child's bow to the heaviest that anyone draws; pounds given as newtons look like a toy.
LEAST_DRAW_N: Final = 40.0
MOST_DRAW_N: Final = 900.0


def kinetic_energy_j(mass_g: ArrayLike, speed_mps: ArrayLike) -> Array:
    """Return the kinetic energy m v^2 / 2 of an arrow, J.

    Examples
    --------
    535 grains at 280 ft/s:

    >>> round(float(kinetic_energy_j(34.66741685, 85.344)), 4)
    126.2518
    """
    energy: Array = 1e-3 * read_mass(mass_g) * read_speed(speed_mps) ** 2 / 2
    return energy


def momentum_kgmps(mass_g: ArrayLike, speed_mps: ArrayLike) -> Array:
    """Return the momentum m v of an arrow, kg m/s.

    Examples
    --------
    >>> round(float(momentum_kgmps(34.66741685, 85.344)), 5)
    2.95866
    """
    momentum: Array = 1e-3 * read_mass(mass_g) * read_speed(speed_mps)
    return momentum


def trade_energy_ftlbf(mass_g: ArrayLike, speed_mps: ArrayLike) -> Array:
    """Return the kinetic energy by the trade's rule, foot-pounds: 0.0437 % more than it is.

    Examples
    --------
    >>> round(float(trade_energy_ftlbf(34.66741685, 85.344)), 4)
    93.1592
    """
    grains = g_to_grain(1.0) * read_mass(mass_g)
    energy: Array = grains * (mps_to_fps(1.0) * read_speed(speed_mps)) ** 2 / TRADE_DIVISOR
    return energy


def grains_per_pound(mass_g: ArrayLike, draw_weight_n: ArrayLike) -> Array:
    """Return the mass of an arrow for each pound of the bow's peak draw weight, grains a pound.

    Raises
    ------
    RigError
        If a mass or a draw weight cannot be.

    Examples
    --------
    535 grains from an 80-lb bow:

    >>> round(float(grains_per_pound(34.66741685, 355.8577)), 4)
    6.6875
    """
    pounds = newton_to_lbf(1.0) * read_draw_weight(draw_weight_n)
    ratio: Array = np.asarray(g_to_grain(1.0) * read_mass(mass_g) / pounds)
    return ratio


def read_draw_weight(given: ArrayLike) -> Array:
    """Return peak draw weights, N."""
    return read_values(
        given,
        "draw_weight_n",
        "N",
        least=LEAST_DRAW_N,
        most=MOST_DRAW_N,
        advice="is it in pounds? One pound of draw weight is 4.448 N",
    )
