"""The table of a flight."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike

from groupscan.rigs.energy import kinetic_energy_j
from groupscan.rigs.flight import Flight, fly, sight_angle
from groupscan.rigs.given import Array
from groupscan.rigs.sight import Sight, pin_distances, pin_positions, turning_distance
from groupscan.telling import tied

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.decisions.rig_bench.air_and_drag import Drag
    from groupscan.decisions.rig_bench.known import KnownRig

__all__ = ["NO_LICENCE", "FlightTable", "flight_table"]

# An angle below the peep's line is the same for any sight radius.
_ANY_RADIUS_MM: Final = 850.0

NO_LICENCE: Final = (
    "Practice ground only: no number here is a licence for a shot at game. Local law, the makers' "
    "limits and a safe backstop come first."
)


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
