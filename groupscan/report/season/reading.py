"""In which unit a season is read: as an angle, or as a length at one distance."""

from __future__ import annotations

from dataclasses import dataclass

from groupscan.report.words import SHORT, Unit, express, express_sides
from groupscan.stats.intervals import Estimate
from groupscan.units import distance_text, format_estimate, mm_to_inch, to_moa, to_mrad

__all__ = ["Reading"]

_SIDES = (("right", "left"), ("high", "low"))


@dataclass(frozen=True)
class Reading:
    """A season's numbers in the reader's unit.

    Attributes
    ----------
    unit : {"mm", "inch", "moa", "mrad"}
    distance_m : float or None
        Where angles are read as lengths, the distance that they are lengths at; None for a season
        in mm, which has no distance.
    at : str
        That distance in the reader's words; left out: in whichever of metres and yards is round.

    Examples
    --------
    >>> Reading("mm", 18.0).text(Estimate(0.001, 0.0008, 0.0013)), Reading("mm", 18.0).where
    ('18 mm (14 to 23)', 'mm at 18 m')
    """

    unit: Unit
    distance_m: float | None
    at: str = ""

    @property
    def factor(self) -> float:
        """What a number of the season (rad or mm) is times to be in the unit."""
        if self.unit in ("mm", "inch"):
            mm = 1.0 if self.distance_m is None else 1000 * self.distance_m
            return mm if self.unit == "mm" else mm_to_inch(mm)
        return to_moa(1.0) if self.unit == "moa" else to_mrad(1.0)

    @property
    def short(self) -> str:
        """The unit as it is written after a number."""
        return SHORT[self.unit]

    @property
    def where(self) -> str:
        """The unit with its distance, for titles and axes."""
        length = self.unit in ("mm", "inch")
        told = self.at or distance_text(self.distance_m)
        at = f" at {told}" if length and self.distance_m else ""
        return self.short + at

    def text(self, estimate: Estimate) -> str:
        """Print a size with its interval."""
        return express(self._in_mm(estimate), self.unit, distance_m=self.distance_m)

    def bare(self, estimate: Estimate) -> str:
        """Print a number with its interval, for a column whose head tells the unit."""
        scaled = estimate.scaled(self.factor)
        return format_estimate(scaled.value, scaled.low, scaled.high, "")

    def sides(self, x: Estimate, y: Estimate) -> str:
        """Print a place or a move with its intervals, in words for its directions."""
        return ", ".join(self.side(axis, one) for axis, one in enumerate((x, y)))

    def side(self, axis: int, estimate: Estimate) -> str:
        """Print one coordinate: axis 0 is right and left, 1 is high and low."""
        return express_sides(
            self._in_mm(estimate), self.unit, _SIDES[axis], distance_m=self.distance_m
        )

    def _in_mm(self, estimate: Estimate) -> Estimate:
        # Offsets are small against the distance: a radian is the distance.
        return estimate if self.distance_m is None else estimate.scaled(1000 * self.distance_m)
