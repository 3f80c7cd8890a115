"""Air, drag and the table of a flight."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from groupscan.errors import RigError
from groupscan.rigs.air import air_density, air_viscosity, standard_air, station_pressure
from groupscan.rigs.drag import LAMINAR, TURBULENT, drag_per_m, reynolds
from groupscan.rigs.energy import kinetic_energy_j
from groupscan.rigs.flight import Flight, fly, sight_angle
from groupscan.rigs.given import Array
from groupscan.rigs.sight import Sight, pin_distances, pin_positions, turning_distance
from groupscan.telling import tied

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.decisions.rig_bench.known import KnownRig

__all__ = ["Air", "Drag", "FlightTable", "air_of", "drag_of", "flight_table"]

# An angle below the peep's line is the same for any sight radius.
_ANY_RADIUS_MM: Final = 850.0
# Published drag was measured on slower arrows; beyond this share of its Reynolds number it is said.
_FASTER_THAN_MEASURED: Final = 1.25

NO_LICENCE: Final = (
    "Practice ground only: no number here is a licence for a shot at game. Local law, the makers' "
    "limits and a safe backstop come first."
)


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


@dataclass(frozen=True)
class FlightTable:
    """A flight by distance.

    Attributes
    ----------
    flight : Flight
        With the sight as it is set.
    drop_mm : (d,) array
        Below the line on which the arrow left the bow.
    energy_j : (d,) array
    level_m, shoot_as_m : (d,) array
        Level distance, and the distance on level ground whose pin is right here; NaN nearer than
        the highest pin.
    lower_mm, higher_mm : (d,) array
        How much lower with turbulent, higher with laminar drag than in the table.
    sighted_m : float
        Distance at which the sight is right on level ground.
    notes : tuple of str
    caution : str
        To be shown beside every number.
    """

    flight: Flight
    drop_mm: Array
    energy_j: Array
    level_m: Array
    shoot_as_m: Array
    lower_mm: Array
    higher_mm: Array
    sighted_m: float
    notes: tuple[str, ...]
    caution: str = NO_LICENCE

    def to_frame(self) -> pd.DataFrame:
        """Return one row a distance, units in the names."""
        import pandas as pd

        return pd.DataFrame(
            {
                "distance_m": self.flight.distance_m,
                "height_mm": 1000 * self.flight.height_m,
                "drop_mm": self.drop_mm,
                "time_s": self.flight.time_s,
                "speed_mps": self.flight.speed_mps,
                "energy_j": self.energy_j,
                "drift_mm": 1000 * self.flight.drift_m,
                "level_m": self.level_m,
                "shoot_as_m": self.shoot_as_m,
                "lower_mm": self.lower_mm,
                "higher_mm": self.higher_mm,
            }
        )


def flight_table(
    known: KnownRig,
    speed_mps: float,
    drag: Drag,
    distance_m: ArrayLike,
    *,
    sighted_m: float,
    slope_rad: float = 0.0,
    crosswind_mps: float = 0.0,
    headwind_mps: float = 0.0,
) -> FlightTable:
    """Return a rig's flight by distance, with the sight set right at one of them on level ground.

    Parameters
    ----------
    known : KnownRig
        Without a peep height the arrow is taken to start on the line of sight.
    speed_mps : float
        Launch speed.
    drag : Drag
    distance_m : (d,) array_like
        Distances along the line of sight.
    sighted_m : float
    slope_rad, crosswind_mps, headwind_mps
        As for `groupscan.rigs.flight.fly`.

    Raises
    ------
    RigError
        If a number cannot be, or a distance is out of reach.
    """
    distance = np.atleast_1d(np.asarray(distance_m, float))
    notes = (*known.notes, f"Drag: {drag.basis}.", *drag.notes)
    peep_mm = 0.0 if known.peep_mm is None else known.peep_mm
    if known.peep_mm is None:
        notes += (
            "No peep height is known: the arrow is taken to start on the line of sight, and"
            " heights nearer than where the sight is set are wrong by up to as much.",
        )
    peep = peep_mm / 1000

    def flown(k: float) -> tuple[Flight, float]:
        angle = float(sight_angle(speed_mps, k, sighted_m, peep_m=peep))
        winds = {"crosswind_mps": crosswind_mps, "headwind_mps": headwind_mps}
        return fly(speed_mps, angle, k, distance, peep_m=peep, slope_rad=slope_rad, **winds), angle

    flight, angle = flown(drag.per_m)
    thick, thin = flown(drag.high_per_m)[0], flown(drag.low_per_m)[0]
    sight = Sight(speed_mps, drag.per_m, peep_mm, _ANY_RADIUS_MM)
    if drag.high_per_m > drag.low_per_m:
        far = int(distance.argmax())
        lower = 1000 * (flight.height_m - thick.height_m)[far]
        higher = 1000 * (thin.height_m - flight.height_m)[far]
        notes += (
            f"At {tied(float(distance[far]), 'm', '.4g')} a turbulent layer of air would land it"
            f" {tied(lower, 'mm', '.0f')} lower and a laminar one {tied(higher, 'mm', '.0f')}"
            " higher: groups at several distances tell it.",
        )
    return FlightTable(
        flight=flight,
        drop_mm=1000 * (distance * math.tan(angle) - peep - flight.height_m),
        energy_j=kinetic_energy_j(known.mass_g(), flight.speed_mps),
        level_m=distance * math.cos(slope_rad),
        shoot_as_m=_level_distance(sight, distance, slope_rad),
        lower_mm=1000 * (flight.height_m - thick.height_m),
        higher_mm=1000 * (thin.height_m - flight.height_m),
        sighted_m=sighted_m,
        notes=notes,
    )


def _level_distance(sight: Sight, distance: Array, slope_rad: float) -> Array:
    """Return the distances whose pins on level ground are right on a slope; NaN where none is."""
    if slope_rad == 0:
        return distance.copy()
    found = np.full(distance.shape, math.nan)
    turning = turning_distance(sight)
    position = pin_positions(sight, distance, slope_rad=slope_rad)
    top = float(pin_positions(sight, turning)) if turning else 0.0
    told = (distance > turning) & (position > top)
    if told.any():
        found[told] = pin_distances(sight, position[told])
    return found
