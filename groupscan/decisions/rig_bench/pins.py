"""Pins of a rig: where they belong, what each covers, the chance with its scatter, the best."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

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
from groupscan.stats.disc import round_disc_probability

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.decisions.rig_bench.scatter import RigScatter
    from groupscan.rigs.given import Array

__all__ = [
    "BestPins",
    "Chances",
    "PinBench",
    "best_pins_of",
    "pin_chances",
    "pins_of",
    "pins_to_frame",
]

# Sigmas tried inside an interval: the chance is not always least or most at its ends.
_TRIED: Final = 9
Held = Literal["pins", "pins and gaps"]


@dataclass(frozen=True)
class Chances:
    """The chance that the next arrow lands inside a circle, with the hold that lands nearest.

    Attributes
    ----------
    circle_mm : float
        Diameter.
    distance_m, miss_mm : (d,) array
        Distance, and how far from the aim the middle of the shots lies.
    hold : (d,) array
        The hold: 0 the first pin, 0.5 half-way between the first two.
    probability, low, high : (d,) array
        Of the next arrow; and what the share of arrows may be in the long run, over the scatter's
        interval. NaN where the scatter was said: nobody knows how well.
    notes : tuple of str
    """

    circle_mm: float
    distance_m: Array
    miss_mm: Array
    hold: Array
    probability: Array
    low: Array
    high: Array
    notes: tuple[str, ...]
    caution: str = NO_LICENCE

    def to_frame(self) -> pd.DataFrame:
        """Return one row a distance."""
        import pandas as pd

        return pd.DataFrame(
            {
                "distance_m": self.distance_m,
                "held": [hold_name(float(hold)) for hold in self.hold],
                "miss_mm": self.miss_mm,
                "probability": self.probability,
                "low": self.low,
                "high": self.high,
            }
        )


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


def pin_chances(
    sight: Sight,
    pins_m: ArrayLike,
    scatter: RigScatter,
    *,
    circle_mm: float,
    distance_m: ArrayLike,
    hold: ArrayLike | None = None,
) -> Chances:
    """Return the chance of the circle by distance, with the hold that lands nearest to the aim.

    The scatter is taken as round, its angle as the same at every distance unless the shots show
    otherwise, the distance as known and the pins as set right.

    Parameters
    ----------
    sight : Sight
    pins_m : (p,) array_like
    scatter : RigScatter
    circle_mm : float
        Diameter of the circle about the aim.
    distance_m : (d,) array_like
    hold : array_like, optional
        As for `pins_of`.

    Raises
    ------
    RigError
        If a number cannot be.

    Examples
    --------
    >>> from groupscan.decisions.rig_bench.scatter import given_scatter
    >>> told = pin_chances(
    ...     Sight(85.344, 0.001, 101.6, 863.6), [18.288], given_scatter(2.0),
    ...     circle_mm=150.0, distance_m=[18.288, 27.432],
    ... )
    >>> told.probability.round(3).tolist()
    [0.878, 0.118]
    """
    found = landing(sight, pins_m, distance_m, hold=hold)
    distance, miss = found.distance_m, found.miss_mm
    sigma, factor, df_used = scatter.at(distance)
    radius = circle_mm / 2

    def chance(mrad: ArrayLike, df: float) -> Array:
        one = np.asarray(mrad, float) * factor * distance
        return round_disc_probability(radius / one, miss / one, df)

    probability = chance(sigma.value, df_used)
    low = high = np.full(probability.shape, np.nan)
    if np.isfinite(sigma.low) and np.isfinite(sigma.high):
        tried = chance(np.geomspace(sigma.low, sigma.high, _TRIED)[:, np.newaxis], np.inf)
        low, high = tried.min(axis=0), tried.max(axis=0)
    notes = (
        *scatter.notes,
        "The chances hold for the middle of the shots where the pins say and a distance that is"
        " known; an offset of the group, wind and a wrong distance come on top.",
    )
    far = [d for d, _, _ in scatter.by_distance]
    if far and (distance.max() > 1.5 * max(far) or distance.min() < min(far) / 1.5):
        notes += (
            "Part of the range lies far from every distance at which the scatter was measured:"
            " there its angle is only taken to be the same.",
        )
    return Chances(circle_mm, distance, miss, found.hold[found.best], probability, low, high, notes)


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
