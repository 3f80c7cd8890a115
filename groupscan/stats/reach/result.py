"""What measured shots say about reach, and its table."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from groupscan.stats.intervals import Estimate
from groupscan.stats.plain import json_safe

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["CAUTION", "Basis", "Reach", "ReachPoint"]

CAUTION = (
    "A number from practice ground is not a licence for a shot at game: local law and the "
    "shooter's own judgement on the day come first."
)

Basis = Literal["measured", "between", "extrapolated", "nothing near"]


@dataclass(frozen=True)
class ReachPoint:
    """The chance at one distance.

    Attributes
    ----------
    distance_m : float
    probability : Estimate
        Value: the probability that the next arrow lands inside. Low and high: the share of this
        rig's arrows that land inside in the long run. NaN where nothing was measured near.
    basis : {'measured', 'between', 'extrapolated', 'nothing near'}
        What the number rests on; a distance shorter than the shortest measured counts as
        extrapolated, too.
    """

    distance_m: float
    probability: Estimate
    basis: Basis


@dataclass(frozen=True)
class Reach:
    """How far out the next arrow can be trusted.

    Attributes
    ----------
    radius_mm : float
        The circle about the aim.
    standard : float
        The shooter's own: share of arrows that must land inside.
    confidence : float
        Level of the intervals.
    n : int
        Number of shots.
    measured_m : tuple of float
        The distances that were shot at, m.
    shape : {'round', 'elliptical'}
        The scatter's, as used.
    curve : tuple of ReachPoint
        The chance by distance.
    reach_m : Estimate
        Low: the reach to rely on, m, where the lower end of the interval falls below the standard
        (at least: the end of what these shots can speak of). Value and high: where the probability
        itself and the upper end fall below it. NaN where no such distance can be told.
    basis : Basis
        What `reach_m.low` rests on.
    notes : tuple of str
        What these shots cannot say, and why.
    caution : str
        To be shown beside every number.
    """

    radius_mm: float
    standard: float
    confidence: float
    n: int
    measured_m: tuple[float, ...]
    shape: Literal["round", "elliptical"]
    curve: tuple[ReachPoint, ...]
    reach_m: Estimate
    basis: Basis
    notes: tuple[str, ...]
    caution: str = CAUTION

    def to_frame(self) -> "pd.DataFrame":
        """Return the curve: columns distance_m, probability, low, high, basis."""
        import pandas as pd

        return pd.DataFrame(
            [
                (at.distance_m, at.probability.value, at.probability.low, at.probability.high)
                + (at.basis,)
                for at in self.curve
            ],
            columns=["distance_m", "probability", "low", "high", "basis"],
        )

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values, None for what is not known."""
        plain: dict[str, Any] = json_safe(self)
        return plain
