"""Air against the standard atmosphere's tables and worked values of the CIPM-2007 equation."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from groupscan.errors import RigError
from groupscan.rigs.air import air_density, air_viscosity, standard_air, station_pressure

# Height m, temperature K, pressure Pa, density kg/m^3, kinematic viscosity m^2/s (ISO 2533, the
# same as US Standard Atmosphere 1976; printed values of its tables).
GEOPOTENTIAL = [
    (0, 288.1500, 101325.00, 1.225000, 1.46072e-05),
    (500, 284.9000, 95460.84, 1.167269, 1.51949e-05),
    (1000, 281.6500, 89874.56, 1.111643, 1.58130e-05),
    (1500, 278.4000, 84555.99, 1.058067, 1.64635e-05),
    (2000, 275.1500, 79495.20, 1.006490, 1.71483e-05),
    (3000, 268.6500, 70108.53, 0.909122, 1.86303e-05),
]
GEOMETRIC = [
    (0, 288.1500, 101325.00, 1.225000, 1.46072e-05),
    (500, 284.9003, 95461.29, 1.167273, 1.51949e-05),
    (1000, 281.6510, 89876.28, 1.111660, 1.58128e-05),
    (1500, 278.4023, 84559.67, 1.058104, 1.64630e-05),
    (2000, 275.1541, 79501.41, 1.006554, 1.71474e-05),
    (3000, 268.6592, 70121.14, 0.909254, 1.86281e-05),
]
# Degrees Celsius, Pa, relative humidity, density by CIPM-2007, that of an independent equation
# of humid air (CoolProp) as a ratio less 1; computed outside this project.
MOIST = [
    (20, 101325, 0.5, 1.199314, 3.8e-05),
    (20, 101325, 0, 1.204557, 3.8e-05),
    (15, 101325, 0, 1.225521, 3.8e-05),
    (0, 101325, 0, 1.293049, 3.6e-05),
    (25, 101325, 0.5, 1.177315, 3.8e-05),
    (30, 101325, 0.8, 1.150012, 3.9e-05),
    (35, 101325, 0.4, 1.136167, 3.8e-05),
    (10, 95000, 0.6, 1.165921, 3.6e-05),
    (20, 80000, 0.3, 0.947824, 3.4e-05),
    (-10, 101325, 0.5, 1.341657, 8.6e-05),
    (20, 100000, 0.5, 1.183557, 3.8e-05),
]


@pytest.mark.parametrize("geopotential", [True, False])
def test_the_standard_atmosphere_is_that_of_its_tables(geopotential):
    rows = np.array(GEOPOTENTIAL if geopotential else GEOMETRIC)
    air = standard_air(rows[:, 0], geopotential=geopotential)
    np.testing.assert_allclose(air.temperature_c + 273.15, rows[:, 1], atol=6e-5)
    np.testing.assert_allclose(air.pressure_pa, rows[:, 2], atol=6e-3)
    np.testing.assert_allclose(air.density, rows[:, 3], atol=6e-7)
    np.testing.assert_allclose(air.viscosity_pas / air.density, rows[:, 4], atol=6e-11)


@pytest.mark.parametrize(("t", "p", "wet", "density", "other"), MOIST)
def test_moist_air_to_the_last_printed_digit(t, p, wet, density, other):
    found = float(air_density(t, p, wet))
    assert found == pytest.approx(density, abs=6e-7)
    assert abs(other) < 1e-4  # what the module says of the equation's reach


def test_dry_air_of_the_standard_atmosphere_is_nearly_an_ideal_gas():
    # CIPM-2007 knows that real air is a little denser than the standard's ideal gas.
    heights = np.array([0.0, 1000.0, 3000.0])
    standard = standard_air(heights)
    real = air_density(standard.temperature_c, standard.pressure_pa, 0.0)
    np.testing.assert_allclose(real, standard.density, rtol=8e-4)
    assert (real > standard.density).all()


@given(st.floats(-20, 40), st.floats(7e4, 1.05e5), st.floats(0, 0.9))
def test_warm_thin_and_moist_air_is_lighter(t, p, wet):
    here = float(air_density(t, p, wet))
    assert float(air_density(t + 1, p, wet)) < here
    assert float(air_density(t, p - 100, wet)) < here
    assert float(air_density(t, p, wet + 0.1)) < here


def test_the_pressure_of_a_place_stands_to_sea_level_as_in_the_standard_atmosphere():
    assert float(station_pressure(0.0, sea_level_pa=99_000.0)) == pytest.approx(99_000.0)
    assert float(station_pressure(1500.0)) == pytest.approx(84559.67, abs=6e-3)
    assert float(station_pressure(1500.0, sea_level_pa=102_000.0)) == pytest.approx(
        84559.67 * 102_000 / 101_325, abs=6e-3
    )


def test_viscosity_grows_with_warmth():
    # US Standard Atmosphere 1976: 1.7894e-5 Pa s at 15 degrees.
    assert float(air_viscosity(15.0)) == pytest.approx(1.7894e-5, abs=6e-10)
    assert (np.diff(air_viscosity([-10.0, 0.0, 20.0, 40.0])) > 0).all()


@pytest.mark.parametrize(("call", "field"), [
    (lambda: air_density(293.15, 101_325, 0.5), "kelvin"),
    (lambda: air_density(68 + 10, 101_325, 0.5), "temperature_c"),
    (lambda: air_density(20, 1013.25, 0.5), "pressure_pa"),
    (lambda: air_density(20, 101_325, 50), "per cent"),
    (lambda: air_density(20, 101_325, -0.1), "humidity"),
    (lambda: air_density(math.nan, 101_325, 0.5), "temperature_c"),
    (lambda: standard_air(20_000), "altitude_m"),
    (lambda: station_pressure(500, sea_level_pa=29.92), "inch of mercury"),
])  # fmt: skip
def test_weather_that_cannot_be_is_refused_by_name(call, field):
    with pytest.raises(RigError, match=field):
        call()
