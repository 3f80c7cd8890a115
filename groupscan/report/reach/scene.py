"""What the picture of reach shows, before either plotting library draws it."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from groupscan.report.decisions.reach import NEAR, nice_distances
from groupscan.stats.reach import Reach, ReachPoint
from groupscan.units import m_to_yd

__all__ = ["FEW", "DistanceUnit", "ReachScene", "curve_distances", "reach_scene"]

DistanceUnit = Literal["m", "yd"]

#: With fewer arrows than this from a distance, its group says little, and the reader is told.
FEW: Final = 10
_CURVE_POINTS: Final = 40
# Just inside the last distance that a measured one speaks for.
_INSIDE: Final = 1e-9


@dataclass(frozen=True)
class ReachScene:
    """The contents of one picture of reach.

    Attributes
    ----------
    reach : Reach
    shots : tuple of (float, int)
        Each distance measured, m, and how many arrows were shot from there.
    unit : {"m", "yd"}
        What distances are read in.
    title : str
        Plain text over the picture; it may come from a user.
    """

    reach: Reach
    shots: tuple[tuple[float, int], ...]
    unit: DistanceUnit = "m"
    title: str = ""

    def shown(self, distance_m: float) -> float:
        """Return a distance in the reader's unit."""
        return m_to_yd(distance_m) if self.unit == "yd" else distance_m

    @property
    def drawn(self) -> tuple[ReachPoint, ...]:
        """The points of the curve that something is known of, and those of gaps between them."""
        known = [i for i, at in enumerate(self.reach.curve) if not math.isnan(at.probability.value)]
        return self.reach.curve[known[0] : known[-1] + 1] if known else ()

    @property
    def window_m(self) -> tuple[float, float]:
        """The distances that the picture spans, m."""
        at = [point.distance_m for point in self.drawn]
        if at:
            return at[0], at[-1]
        return self.reach.measured_m[0] / NEAR, self.reach.measured_m[-1] * NEAR

    @property
    def shaded_m(self) -> tuple[tuple[float, float], ...]:
        """The stretches outside the distances measured, m: all that is said there is guessed."""
        left, right = self.window_m
        first, last = self.reach.measured_m[0], self.reach.measured_m[-1]
        return tuple((a, b) for a, b in ((left, first), (last, right)) if b > a)


def curve_distances(measured_m: Sequence[float], unit: DistanceUnit = "m") -> list[float]:
    """Return the distances, m, to draw the curve over: close ones, and those of the table.

    Examples
    --------
    >>> at = curve_distances([20.0, 30.0])
    >>> round(at[0], 3), round(at[-1], 3), 25.0 in at
    (13.333, 45.0, True)
    """
    low, high = min(measured_m) / NEAR * (1 + _INSIDE), max(measured_m) * NEAR * (1 - _INSIDE)
    close = np.geomspace(low, high, _CURVE_POINTS).tolist()
    return sorted({*close, *nice_distances(measured_m, unit)})


def reach_scene(
    reach: Reach, distances_m: Iterable[float], *, unit: DistanceUnit = "m", title: str = ""
) -> ReachScene:
    """Lay out the picture of reach.

    Parameters
    ----------
    reach : Reach
    distances_m : iterable of float
        The distance of every shot, m.
    unit : {"m", "yd"}
    title : str
        Plain text.
    """
    counts = Counter(float(distance) for distance in distances_m)
    return ReachScene(reach, tuple(sorted(counts.items())), unit, title)
