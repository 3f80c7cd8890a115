"""The chance that an arrow lands inside a circle about the aim, for a set of pins."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike

from groupscan.decisions.rig_bench.flights import NO_LICENCE
from groupscan.rigs.sight import Sight, landing
from groupscan.rigs.sight.landing import hold_name
from groupscan.stats.disc import round_disc_probability

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.decisions.rig_bench.scatter import RigScatter
    from groupscan.rigs.given import Array

__all__ = ["Chances", "pin_chances"]


# Sigmas tried inside an interval: the chance is not always least or most at its ends.
_TRIED: Final = 9


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
