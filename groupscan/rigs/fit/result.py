"""What a fit to groups tells of a rig."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from groupscan.errors import RigError
from groupscan.rigs.fit.predict import predict
from groupscan.rigs.fit.solve import Solution
from groupscan.rigs.given import Array, read_number, read_values

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Fitted", "FlightFit", "PredictedPins"]


@dataclass(frozen=True)
class Fitted:
    """A fitted value and its interval; a limit is infinite where the data set none."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class PredictedPins:
    """Pins for distances, with the fit's intervals.

    Attributes
    ----------
    distance_m : (d,) array
    position_mm, low_mm, high_mm : (d,) array
        Below the peep's line, or below the pin that was held; negative is above.
    """

    distance_m: Array
    position_mm: Array
    low_mm: Array
    high_mm: Array

    def to_frame(self) -> "pd.DataFrame":
        """Return one row a distance, with the attributes as columns."""
        import pandas as pd

        return pd.DataFrame(vars(self))


@dataclass(frozen=True)
class FlightFit:
    """Launch speed, drag and peep height of a rig.

    Attributes
    ----------
    speed_mps, drag_per_m, peep_mm : Fitted
    angle_rad : tuple of float
        Angle between arrow and line of sight of each pin held.
    drag_fitted : bool
        False where the data could not tell the drag: it was held over the published range, whose
        middle and ends `drag_per_m` then states, and all other intervals hold for any of it.
    scatter_mrad : float
        Vertical standard deviation of a shot over distance, or over that power of the distance (m)
        with which it was said to grow.
    df : float
        Its degrees of freedom.
    lack_of_fit_p : float
        Probability of group centres as far from the curve as these or farther; NaN where there are
        no more groups than unknowns or no scatter inside them.
    correlation : dict
        Correlation of the estimates, by pairs of names.
    confidence : float
    notes : tuple of str
        What the data cannot tell, and what would tell it.
    """

    speed_mps: Fitted
    drag_per_m: Fitted
    peep_mm: Fitted
    angle_rad: tuple[float, ...]
    drag_fitted: bool
    scatter_mrad: float
    df: float
    lack_of_fit_p: float
    correlation: dict[tuple[str, str], float]
    confidence: float
    notes: tuple[str, ...]
    solutions: tuple[Solution, ...]

    def pins(
        self, distance_m: ArrayLike, *, radius_mm: float, below_pin: int | None = None
    ) -> PredictedPins:
        """Return where pins for these distances belong.

        Parameters
        ----------
        distance_m : (d,) array_like, m
        radius_mm : float
            Sight radius.
        below_pin : int, optional
            Count from this pin (0 is the first that was held), which is where a new pin is set
            from, and surer. By default positions count from the peep's line.

        Returns
        -------
        PredictedPins

        Raises
        ------
        RigError
            If a distance is out of reach, or there is no such pin.
        """
        distance = np.atleast_1d(
            read_values(distance_m, "distance_m", "m", positive=True, most=300)
        )
        radius = read_number(radius_mm, "radius_mm", "mm", least=200, most=2000)
        if below_pin is not None and below_pin not in range(len(self.angle_rad)):
            raise RigError(
                f"below_pin is {below_pin!r}; the groups were shot with {len(self.angle_rad)} pins,"
                " counted from 0"
            )
        found = [
            predict(one, distance, radius, below_pin, self.confidence) for one in self.solutions
        ]
        low = np.min([position - half for position, half in found], axis=0)
        high = np.max([position + half for position, half in found], axis=0)
        return PredictedPins(distance, found[0][0][0], low[0], high[0])

    def to_frame(self) -> "pd.DataFrame":
        """Return speed, drag and peep height.

        Returns
        -------
        DataFrame
            Columns ``what, unit, value, low, high``.
        """
        import pandas as pd

        rows = [
            (what, unit, one.value, one.low, one.high)
            for what, unit, one in (
                ("launch speed", "m/s", self.speed_mps),
                ("drag", "1/m", self.drag_per_m),
                ("peep height", "mm", self.peep_mm),
            )
        ]
        return pd.DataFrame(rows, columns=["what", "unit", "value", "low", "high"])
