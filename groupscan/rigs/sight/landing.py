"""Where arrows land, distance by distance, holding a pin or between two."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.errors import RigError
from groupscan.rigs.flight import fly
from groupscan.rigs.given import Array, read_values
from groupscan.rigs.sight.places import Sight, angles_of, pin_positions, read_distances

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "Landing",
    "heights_held",
    "hold_name",
    "hold_positions",
    "landing",
    "pins_and_gaps",
    "read_pins",
]


@dataclass(frozen=True)
class Landing:
    """Heights over distance and hold.

    Attributes
    ----------
    pins_m : (p,) array
        Distances at which the pins are right.
    hold : (h,) array
        What is held on the aim: 0 is the first pin, 1 the second, 0.5 half-way between them.
    distance_m : (d,) array
    height_mm : (h, d) array
        Of the arrow above the aim; below is negative. Scatter is not in it.
    """

    pins_m: Array
    hold: Array
    distance_m: Array
    height_mm: Array

    @property
    def best(self) -> NDArray[np.intp]:
        """Place in `hold` of the one that lands nearest to the aim at each distance, (d,)."""
        place: NDArray[np.intp] = np.abs(self.height_mm).argmin(axis=0)
        return place

    @property
    def miss_mm(self) -> Array:
        """How far from the aim the best hold lands at each distance, (d,)."""
        miss: Array = np.abs(self.height_mm).min(axis=0)
        return miss

    def to_frame(self) -> "pd.DataFrame":
        """Return one row for each distance and hold.

        Returns
        -------
        DataFrame
            Columns ``distance_m, hold, held, height_mm, best``.
        """
        import pandas as pd

        count = len(self.hold)
        best = self.best[:, np.newaxis] == np.arange(count)
        return pd.DataFrame(
            {
                "distance_m": np.repeat(self.distance_m, count),
                "hold": np.tile(self.hold, len(self.distance_m)),
                "held": [hold_name(hold) for hold in self.hold] * len(self.distance_m),
                "height_mm": self.height_mm.T.ravel(),
                "best": best.ravel(),
            }
        )


def hold_name(hold: float) -> str:
    """Return a hold in words.

    Examples
    --------
    >>> hold_name(1), hold_name(0.5), hold_name(1.25)
    ('pin 2', 'half-way between pins 1 and 2', '25 % of the way from pin 2 to pin 3')
    """
    pin, share = int(hold), hold % 1
    if share == 0:
        return f"pin {pin + 1}"
    if share == 0.5:
        return f"half-way between pins {pin + 1} and {pin + 2}"
    return f"{100 * share:.3g} % of the way from pin {pin + 1} to pin {pin + 2}"


def pins_and_gaps(count: int) -> Array:
    """Return the holds of all pins and half-way between neighbours.

    Examples
    --------
    >>> pins_and_gaps(3).tolist()
    [0.0, 0.5, 1.0, 1.5, 2.0]
    """
    return np.arange(2 * count - 1) / 2


def read_pins(pins_m: ArrayLike) -> Array:
    """Return the distances of the pins, nearest first, or raise RigError."""
    pins = np.atleast_1d(read_distances(pins_m, "pins_m"))
    if pins.ndim != 1 or (np.diff(pins) <= 0).any():
        raise RigError("pins_m must be the pins' distances, each farther than the one before")
    return pins


def hold_positions(positions_mm: Array, hold: ArrayLike | None) -> tuple[Array, Array]:
    """Return the holds, and where the aim stands with each, mm below the peep's line.

    Parameters
    ----------
    positions_mm : (p,) array, mm
        Of the pins.
    hold : (h,) array_like or None
        Between 0 and p - 1; None is all pins and half-way between neighbours.

    Raises
    ------
    RigError
        If a hold lies outside the pins.
    """
    given = pins_and_gaps(len(positions_mm)) if hold is None else hold
    holds = np.atleast_1d(read_values(given, "hold", "pins"))
    last = len(positions_mm) - 1
    if ((holds < 0) | (holds > last)).any():
        raise RigError(
            f"hold must lie between 0 (the first pin) and {last} (the last), not"
            f" {holds[(holds < 0) | (holds > last)][0]:g}"
        )
    return holds, np.interp(holds, np.arange(last + 1), positions_mm)


def landing(
    sight: Sight,
    pins_m: ArrayLike,
    distance_m: ArrayLike,
    *,
    hold: ArrayLike | None = None,
    slope_rad: float = 0.0,
) -> Landing:
    """Return where arrows land at each distance for each hold.

    Parameters
    ----------
    sight : Sight
    pins_m : (p,) array_like, m
        Distances at which the pins are right on level ground, nearest first.
    distance_m : (d,) array_like, m
        Distances shot at, along the line of sight.
    hold : (h,) array_like, optional
        What is held on the aim: 0 is the first pin, 1 the second, 0.3 three tenths of the way
        from the first to the second. By default all pins and half-way between neighbours.
    slope_rad : float, default 0
        Angle of the line of sight above level; below is negative.

    Returns
    -------
    Landing

    Raises
    ------
    RigError
        If pins are not in order, a hold lies outside them, or a distance is out of reach.

    Examples
    --------
    Half-way between a 20 and a 40 yard pin, 280 ft/s, at 30 yards:

    >>> sight = Sight(85.344, 0.001, 101.6, 863.6)
    >>> found = landing(sight, [18.288, 36.576], [27.432], hold=[0, 0.5, 1])
    >>> found.height_mm.round(0).tolist()
    [[-123.0], [14.0], [151.0]]
    """
    pins = read_pins(pins_m)
    distance = np.atleast_1d(read_distances(distance_m, "distance_m"))
    holds, held = hold_positions(pin_positions(sight, pins), hold)
    height = heights_held(sight, held[:, np.newaxis], distance, slope_rad=slope_rad)
    return Landing(pins, holds, distance, height)


def heights_held(
    sight: Sight, position_mm: Array, distance_m: Array, *, slope_rad: float = 0.0
) -> Array:
    """Return heights above the aim, mm, of positions held at distances, broadcast together."""
    flight = fly(
        sight.speed_mps,
        angles_of(sight, position_mm),
        sight.drag_per_m,
        distance_m,
        peep_m=sight.peep_mm / 1000,
        slope_rad=slope_rad,
    )
    height: Array = 1000 * flight.height_m
    return height
