"""Pins of a rig: where they belong, what each covers, the best ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import ArrayLike

from groupscan.decisions.rig_bench.flights import NO_LICENCE
from groupscan.errors import RigError
from groupscan.rigs.sight import (
    Band,
    Landing,
    PinPlan,
    Sight,
    bands_held,
    best_pins,
    landing,
    pin_gaps,
    pin_positions,
    uncovered,
)
from groupscan.rigs.sight.landing import hold_name

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.rigs.given import Array

__all__ = [
    "BestPins",
    "PinBench",
    "best_pins_of",
    "pins_of",
    "pins_to_frame",
]

Held = Literal["pins", "pins and gaps"]


@dataclass(frozen=True)
class PinBench:
    """A set of pins and what they cover.

    Attributes
    ----------
    sight : Sight
    pins_m : (p,) array
    position_mm : (p,) array
        Below the peep's line.
    gap_mm : (p - 1,) array
        To the next pin.
    circle_mm : float
        Diameter of the circle.
    bands : tuple of Band
        What each hold covers.
    open_m : tuple of (float, float)
        Stretches of the range that no hold covers.
    landing : Landing
        Heights by distance and hold.
    caution : str
        To be shown beside every number.
    """

    sight: Sight
    pins_m: Array
    position_mm: Array
    gap_mm: Array
    circle_mm: float
    bands: tuple[Band, ...]
    open_m: tuple[tuple[float, float], ...]
    landing: Landing
    caution: str = NO_LICENCE

    def pins_frame(self) -> pd.DataFrame:
        """Return one row a pin: pin, distance_m, position_mm, gap_mm (to the next)."""
        return pins_to_frame(self.pins_m, self.position_mm)

    def bands_frame(self) -> pd.DataFrame:
        """Return one row a band: hold, held, near_m, far_m."""
        import pandas as pd

        rows = [(one.hold, one.held, one.near_m, one.far_m) for one in self.bands]
        return pd.DataFrame(rows, columns=["hold", "held", "near_m", "far_m"])

    def landing_frame(self) -> pd.DataFrame:
        """Return one row a distance: distance_m, and the height of each hold, mm."""
        import pandas as pd

        heights = {
            f"{hold_name(float(hold))}, mm": row
            for hold, row in zip(self.landing.hold, self.landing.height_mm, strict=True)
        }
        return pd.DataFrame({"distance_m": self.landing.distance_m, **heights})


@dataclass(frozen=True)
class BestPins:
    """The best pins for a range, one plan for each number of pins."""

    nearest_m: float
    farthest_m: float
    held: Held
    plans: tuple[PinPlan, ...]
    caution: str = NO_LICENCE

    def to_frame(self) -> pd.DataFrame:
        """Return one row a plan: pins, miss_mm, and pin1_m, pin2_m, ... (NaN where there is none).

        ``miss_mm`` is the largest miss over the range with the hold that lands nearest.
        """
        import pandas as pd

        most = max(len(plan.pins_m) for plan in self.plans)
        rows = []
        for plan in self.plans:
            pins = [*plan.pins_m.tolist(), *[np.nan] * (most - len(plan.pins_m))]
            rows.append((len(plan.pins_m), plan.miss_mm, *pins))
        names = [f"pin{number}_m" for number in range(1, most + 1)]
        return pd.DataFrame(rows, columns=["pins", "miss_mm", *names])


def pins_of(
    sight: Sight,
    pins_m: ArrayLike,
    *,
    circle_mm: float,
    nearest_m: float,
    farthest_m: float,
    distance_m: ArrayLike | None = None,
    hold: ArrayLike | None = None,
) -> PinBench:
    """Return where pins belong and what they cover.

    Parameters
    ----------
    sight : Sight
    pins_m : (p,) array_like
        Distances at which the pins are right, nearest first.
    circle_mm : float
        Diameter of the circle about the aim.
    nearest_m, farthest_m : float
        The range looked at.
    distance_m : array_like, optional
        Distances of the landing table; left out: eleven over the range.
    hold : array_like, optional
        What is held; left out: all pins and half-way between neighbours.

    Raises
    ------
    RigError
        If a number cannot be.

    Examples
    --------
    >>> told = pins_of(
    ...     Sight(85.344, 0.001, 101.6, 863.6), [18.288, 36.576], circle_mm=100.0,
    ...     nearest_m=5.0, farthest_m=45.0,
    ... )
    >>> told.pins_frame().round(2).values.tolist()[0]
    [1.0, 18.29, 15.56, 8.64]
    """
    pins = np.atleast_1d(np.asarray(pins_m, float))
    at = np.linspace(nearest_m, farthest_m, 11) if distance_m is None else distance_m
    if not circle_mm > 0:
        raise RigError(f"circle_mm is {circle_mm:g} mm: give the circle's diameter")
    found = landing(sight, pins, at, hold=hold)
    bands = bands_held(
        sight, pins, circle_mm / 2, nearest_m=nearest_m, farthest_m=farthest_m, hold=hold
    )
    return PinBench(
        sight=sight,
        pins_m=pins,
        position_mm=pin_positions(sight, pins),
        gap_mm=pin_gaps(sight, pins) if len(pins) > 1 else np.empty(0),
        circle_mm=circle_mm,
        bands=tuple(bands),
        open_m=tuple(uncovered(bands, nearest_m=nearest_m, farthest_m=farthest_m)),
        landing=found,
    )


def pins_to_frame(
    pins_m: Array, position_mm: Array, low_mm: Array | None = None, high_mm: Array | None = None
) -> pd.DataFrame:
    """Return pins as a table: pin, distance_m, position_mm, gap_mm, and limits where known."""
    import pandas as pd

    limits = {} if low_mm is None or high_mm is None else {"low_mm": low_mm, "high_mm": high_mm}
    return pd.DataFrame(
        {
            "pin": np.arange(1, len(pins_m) + 1),
            "distance_m": pins_m,
            "position_mm": position_mm,
            **limits,
            "gap_mm": [*np.diff(position_mm).tolist(), np.nan][: len(pins_m)],
        }
    )


def best_pins_of(
    sight: Sight,
    *,
    nearest_m: float,
    farthest_m: float,
    counts: Sequence[int] = (2, 3, 4, 5),
    held: Held = "pins and gaps",
) -> BestPins:
    """Return the best pins for a range of distances, for each number of pins.

    Parameters
    ----------
    sight : Sight
    nearest_m, farthest_m : float
        The range wanted.
    counts : sequence of int
    held : {'pins', 'pins and gaps'}
        What is held on the aim.

    Raises
    ------
    RigError
        If the range or a number of pins makes no sense.
    """
    plans = tuple(
        best_pins(sight, count, nearest_m=nearest_m, farthest_m=farthest_m, held=held)
        for count in counts
    )
    return BestPins(nearest_m, farthest_m, held, plans)
