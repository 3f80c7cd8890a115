"""Air, and what it takes from an arrow."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from groupscan.errors import RigError
from groupscan.rigs.air import air_density, air_viscosity, standard_air, station_pressure
from groupscan.rigs.drag import LAMINAR, TURBULENT, drag_per_m, reynolds

if TYPE_CHECKING:
    from groupscan.decisions.rig_bench.known import KnownRig

__all__ = ["Air", "Drag", "air_of", "drag_of"]


# Published drag was measured on slower arrows; beyond this share of its Reynolds number it is said.
_FASTER_THAN_MEASURED: Final = 1.25


@dataclass(frozen=True)
class Air:
    """Air as it was said, or the standard atmosphere's where it was not.

    Attributes
    ----------
    density : float
        kg/m^3.
    temperature_c, pressure_pa, humidity : float
        Degrees Celsius, Pa at the place, 0 to 1.
    viscosity_pas : float
        Pa s.
    assumed : bool
        Whether nothing was said.
    """

    density: float
    temperature_c: float
    pressure_pa: float
    humidity: float
    viscosity_pas: float
    assumed: bool


def air_of(
    *,
    temperature_c: float | None = None,
    pressure_pa: float | None = None,
    altitude_m: float | None = None,
    humidity: float | None = None,
) -> Air:
    """Return the air of a place; what is not said is the standard atmosphere's, and dry.

    Parameters
    ----------
    temperature_c : float, optional
    pressure_pa : float, optional
        Of the place; together with `altitude_m` the one reduced to sea level, as forecasts give.
    altitude_m : float, optional
    humidity : float, optional
        0 to 1.

    Examples
    --------
    >>> air_of().density, round(air_of(temperature_c=30.0, altitude_m=1500.0).density, 3)
    (1.225, 0.972)
    """
    standard = standard_air(0.0 if altitude_m is None else altitude_m)
    pressure = float(standard.pressure_pa)
    if pressure_pa is not None:
        pressure = pressure_pa
        if altitude_m is not None:
            pressure = float(station_pressure(altitude_m, sea_level_pa=pressure_pa))
    temperature = float(standard.temperature_c) if temperature_c is None else temperature_c
    wet = 0.0 if humidity is None else humidity
    if temperature_c is None and pressure_pa is None and humidity is None:
        density = round(float(standard.density), 6)
    else:
        density = float(air_density(temperature, pressure, wet))
    said = (temperature_c, pressure_pa, altitude_m, humidity)
    return Air(
        density=density,
        temperature_c=temperature,
        pressure_pa=pressure,
        humidity=wet,
        viscosity_pas=float(air_viscosity(temperature)),
        assumed=all(one is None for one in said),
    )


@dataclass(frozen=True)
class Drag:
    """What the air takes from an arrow, k of the flight, and how well that is known.

    Attributes
    ----------
    per_m : float
        k used, 1/m.
    low_per_m, high_per_m : float
        Between laminar and turbulent, 1/m; the same as `per_m` where it was said.
    basis : str
        What it rests on, in words.
    notes : tuple of str
    """

    per_m: float
    low_per_m: float
    high_per_m: float
    basis: str
    notes: tuple[str, ...] = ()


def drag_of(
    known: KnownRig,
    air: Air,
    *,
    cd: float | Literal["laminar", "turbulent"] | None = None,
    per_m: float | None = None,
    head_area_mm2: float = 0.0,
    speed_mps: float | None = None,
) -> Drag:
    """Return the drag of a rig's arrow.

    Parameters
    ----------
    known : KnownRig
        Mass and shaft diameter are taken from it.
    air : Air
    cd : float or {'laminar', 'turbulent'}, optional
        Drag coefficient on the shaft's cross-section. Left out: half-way, by factors, between the
        published laminar and turbulent ones, which stand as its limits.
    per_m : float, optional
        k itself, as groups told it, 1/m; then neither mass nor diameter is needed, and the head
        is in it.
    head_area_mm2 : float, default 0
        Drag area that the head adds to a field point's, mm^2.
    speed_mps : float, optional
        Launch speed, for the note on the Reynolds number.

    Raises
    ------
    RigError
        If mass or diameter are not known, or a number cannot be.
    """
    if per_m is not None:
        if not 0 <= per_m <= 0.05:
            raise RigError(f"per_m is {per_m:g} per metre: arrows have about 0.001")
        if head_area_mm2:
            raise RigError(
                "head_area_mm2 is not added to a drag per metre, which is the whole arrow's: give"
                " one of the two"
            )
        return Drag(per_m, per_m, per_m, f"{per_m:.3g} per metre, as given")
    if known.shaft_mm is None:
        raise RigError(
            "shaft_mm is not known: give the outside diameter of the shaft, or the drag per metre"
        )
    given = {"laminar": LAMINAR.value, "turbulent": TURBULENT.value}
    value = given.get(cd, cd) if isinstance(cd, str) else cd
    if isinstance(value, str):
        raise RigError(f"cd is {value!r}; give a number, 'laminar' or 'turbulent'")

    def k(coefficient: float) -> float:
        return float(
            drag_per_m(
                mass_g=known.mass_g(),
                diameter_mm=known.shaft_mm or math.nan,
                cd=coefficient,
                density=air.density,
                head_area_mm2=head_area_mm2,
            )
        )

    notes: tuple[str, ...] = ()
    if head_area_mm2:
        notes += ("The head's extra drag is as given: no published value is known here.",)
    if speed_mps is not None:
        number = float(reynolds(speed_mps, known.shaft_mm, air.density, air.viscosity_pas))
        if number > _FASTER_THAN_MEASURED * TURBULENT.reynolds:
            notes += (
                f"The arrow flies at a Reynolds number of {number:.0f}; the published drag was"
                f" measured at about {TURBULENT.reynolds:.0f}.",
            )
    if value is not None:
        return Drag(k(value), k(value), k(value), f"drag coefficient {value:g}", notes)
    middle = math.sqrt(LAMINAR.value * TURBULENT.value)
    basis = (
        f"drag coefficient {middle:.2f}, between the published {LAMINAR.value:g} (laminar) and"
        f" {TURBULENT.value:g} (turbulent)"
    )
    return Drag(k(middle), k(LAMINAR.value), k(TURBULENT.value), basis, notes)
