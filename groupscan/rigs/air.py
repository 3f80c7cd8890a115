"""The air that an arrow flies through: density and viscosity from what a weather station tells.

Moist air by the CIPM-2007 equation. It was made for laboratories, 15 to 27 degrees Celsius and 600
to 1100 hPa, and agrees with an independent equation to 1e-4 from -10 to 35 degrees. The pressure
wanted is that of the place (station pressure), not the one reduced to sea level that forecasts
give: `station_pressure` brings the second to the first.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from groupscan.rigs.given import Array, read_values

__all__ = [
    "SEA_LEVEL_PA",
    "StandardAir",
    "air_density",
    "air_viscosity",
    "standard_air",
    "station_pressure",
]

# The standard atmosphere (ISO 2533, US Standard Atmosphere 1976), exact by definition.
SEA_LEVEL_PA: Final = 101_325.0
SEA_LEVEL_K: Final = 288.15
LAPSE_K_PER_M: Final = 0.0065
GAS_CONSTANT_AIR: Final = 287.05287
PRESSURE_POWER: Final = 5.255880
EARTH_RADIUS_M: Final = 6_356_766.0
SUTHERLAND_FACTOR: Final = 1.458e-6
SUTHERLAND_K: Final = 110.4
ZERO_CELSIUS_K: Final = 273.15

# CIPM-2007: molar gas constant, molar masses of dry air (400 ppm carbon dioxide) and of water.
GAS_CONSTANT: Final = 8.314472
DRY_KG_PER_MOL: Final = 28.96546e-3
WATER_KG_PER_MOL: Final = 18.01528e-3

LOWEST_M, HIGHEST_M = -500.0, 9000.0
COLDEST_C, HOTTEST_C = -50.0, 60.0
LEAST_PA, MOST_PA = 30_000.0, 110_000.0
# Reduced to sea level less is met in the eye of a great storm only; it is a high place's own.
LEAST_SEA_LEVEL_PA: Final = 92_000.0


@dataclass(frozen=True)
class StandardAir:
    """The standard atmosphere at a height.

    Attributes
    ----------
    temperature_c, pressure_pa, density, viscosity_pas : ndarray
        Degrees Celsius, Pa, kg/m^3 and (dynamic viscosity) Pa s.
    """

    temperature_c: Array
    pressure_pa: Array
    density: Array
    viscosity_pas: Array


def standard_air(altitude_m: ArrayLike, *, geopotential: bool = False) -> StandardAir:
    """Return the standard atmosphere at a height above sea level.

    Parameters
    ----------
    altitude_m : array_like
        Height above sea level, m, -500 to 9000.
    geopotential : bool
        Read the height as geopotential, as tables of the atmosphere do; maps give geometric height.

    Raises
    ------
    RigError
        If a height is not within those limits.

    References
    ----------
    ISO 2533, "Standard Atmosphere"; US Standard Atmosphere, 1976 (the same below 32 km).

    Examples
    --------
    >>> round(float(standard_air(1000.0).density), 4)
    1.1117
    """
    z = _altitude(altitude_m)
    height = z if geopotential else EARTH_RADIUS_M * z / (EARTH_RADIUS_M + z)
    kelvin = SEA_LEVEL_K - LAPSE_K_PER_M * height
    pressure = SEA_LEVEL_PA * (kelvin / SEA_LEVEL_K) ** PRESSURE_POWER
    return StandardAir(
        kelvin - ZERO_CELSIUS_K,
        pressure,
        pressure / (GAS_CONSTANT_AIR * kelvin),
        _sutherland(kelvin),
    )


def station_pressure(altitude_m: ArrayLike, *, sea_level_pa: ArrayLike = SEA_LEVEL_PA) -> Array:
    """Return the pressure of a place, from its height and the pressure reduced to sea level.

    The column of air below the place is taken as the standard atmosphere's, as altimeters do; real
    air departs from that by some parts in a thousand for each 1000 m.

    Parameters
    ----------
    altitude_m : array_like
        Height above sea level, m.
    sea_level_pa : array_like
        Pressure reduced to sea level, as a forecast gives it, Pa.

    Raises
    ------
    RigError
        If a height or a pressure cannot be.

    Examples
    --------
    >>> round(float(station_pressure(1500.0, sea_level_pa=102_000.0)))
    85123
    """
    sea_level = read_values(
        sea_level_pa,
        "sea_level_pa",
        "Pa",
        least=LEAST_SEA_LEVEL_PA,
        most=MOST_PA,
        advice=(
            "1 hPa is 100 Pa, 1 inch of mercury 3386.39 Pa; leave out the altitude if this is the"
            " place's own pressure"
        ),
    )
    pressure: Array = standard_air(altitude_m).pressure_pa * (sea_level / SEA_LEVEL_PA)
    return pressure


def air_density(temperature_c: ArrayLike, pressure_pa: ArrayLike, humidity: ArrayLike) -> Array:
    """Return the density of moist air by the CIPM-2007 equation.

    Parameters
    ----------
    temperature_c : array_like
        Degrees Celsius.
    pressure_pa : array_like
        Pressure of the place, Pa.
    humidity : array_like
        Relative humidity, 0 to 1.

    Returns
    -------
    ndarray
        Density, kg/m^3.

    Raises
    ------
    RigError
        If an argument cannot be.

    References
    ----------
    A. Picard, R. S. Davis, M. Glaser, K. Fujii, "Revised formula for the density of moist air
    (CIPM-2007)", Metrologia 45 (2008) 149-155.

    Examples
    --------
    >>> round(float(air_density(20.0, 101_325.0, 0.5)), 6)
    1.199314
    """
    t = _celsius(temperature_c)
    p = read_values(
        pressure_pa,
        "pressure_pa",
        "Pa",
        least=LEAST_PA,
        most=MOST_PA,
        advice="1 hPa is 100 Pa, 1 inch of mercury 3386.39 Pa",
    )
    wet = read_values(
        humidity, "humidity", "(0 to 1)", least=0.0, most=1.0, advice="is it in per cent?"
    )
    kelvin = t + ZERO_CELSIUS_K
    saturated = np.exp(
        1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6343.1645 / kelvin
    )
    enhanced = 1.00062 + 3.14e-8 * p + 5.6e-7 * t**2
    vapour = wet * enhanced * saturated / p
    ratio = p / kelvin
    compressed = (
        1
        - ratio
        * (
            1.58123e-6
            - 2.9331e-8 * t
            + 1.1043e-10 * t**2
            + (5.707e-6 - 2.051e-8 * t) * vapour
            + (1.9898e-4 - 2.376e-6 * t) * vapour**2
        )
        + ratio**2 * (1.83e-11 - 0.765e-8 * vapour**2)
    )
    dry = ratio * DRY_KG_PER_MOL / (compressed * GAS_CONSTANT)
    density: Array = dry * (1 - vapour * (1 - WATER_KG_PER_MOL / DRY_KG_PER_MOL))
    return density


def air_viscosity(temperature_c: ArrayLike) -> Array:
    """Return the dynamic viscosity of air, Pa s, as the standard atmosphere has it (Sutherland).

    Examples
    --------
    >>> round(1e5 * float(air_viscosity(15.0)), 4)
    1.7894
    """
    return _sutherland(_celsius(temperature_c) + ZERO_CELSIUS_K)


def _sutherland(kelvin: Array) -> Array:
    viscosity: Array = SUTHERLAND_FACTOR * kelvin**1.5 / (kelvin + SUTHERLAND_K)
    return viscosity


def _altitude(given: ArrayLike) -> Array:
    return read_values(
        given, "altitude_m", "m", least=LOWEST_M, most=HIGHEST_M, advice="is it in feet?"
    )


def _celsius(given: ArrayLike) -> Array:
    return read_values(
        given,
        "temperature_c",
        "degrees Celsius",
        least=COLDEST_C,
        most=HOTTEST_C,
        advice="is it in Fahrenheit or kelvin?",
    )
