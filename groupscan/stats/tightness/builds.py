"""What is known of how tight builds shoot, one against another."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from groupscan.stats.intervals import Estimate
from groupscan.stats.plain import json_safe
from groupscan.stats.scatter import Shape

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Builds", "Tightness"]


@dataclass(frozen=True)
class Tightness:
    """Two builds compared; every ratio is sigma of the first over sigma of the second.

    Attributes
    ----------
    first, second : str
        Names of the builds.
    n : tuple of int
        Shots of each.
    shape : {'elliptical', 'circular'}
        What the groups were taken for; a circle is an ellipse too.
    sigma : tuple of float, mm
        Root mean square per axis (elliptical: geometric mean of the two sigmas) of each.
    ratio : Estimate
        Below 1 the first is tighter. Of several builds, the intervals hold all at once.
    ratio_x, ratio_y : Estimate
        The same along each axis alone; exact for any shape.
    p_value : float
        Two-sided, of "both alike"; adjusted by Holm where several builds were compared.
    robust_p : float
        The same by Brown and Forsythe's test on the radii, which a single wild shot moves less.
    sure : float
        Confidence, 0.5 to 1, that the build that looks tighter is.
    verdict : str
        See `groupscan.stats.tightness.compare`.
    more_arrows : int or None
        How many more of each, at least, where the verdict is "not enough arrows": enough to see
        the ratio that the tuner cares about four times in five.
    notes : tuple of str
        What the shots cannot say, and why.
    """

    first: str
    second: str
    n: tuple[int, int]
    shape: Shape
    sigma: tuple[float, float]
    ratio: Estimate
    ratio_x: Estimate
    ratio_y: Estimate
    p_value: float
    robust_p: float
    sure: float
    verdict: str
    more_arrows: int | None
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values: None for what is not known."""
        row: dict[str, Any] = json_safe(self)
        return row


@dataclass(frozen=True)
class Builds:
    """Several builds compared.

    Attributes
    ----------
    names : tuple of str
    shape : {'elliptical', 'circular'}
        What the groups were taken for.
    p_value : float
        Bartlett's test of "all alike".
    robust_p : float
        Brown and Forsythe's, on the radii.
    pairs : tuple of Tightness
        Every pair, tightest evidence first: by p-value, then in the order given.
    notes : tuple of str
    """

    names: tuple[str, ...]
    shape: Shape
    p_value: float
    robust_p: float
    pairs: tuple[Tightness, ...]
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values: None for what is not known."""
        row: dict[str, Any] = json_safe(self)
        return row

    def to_frame(self) -> "pd.DataFrame":
        """Return one row a pair: ratio with limits, p-values, verdict, arrows wanting."""
        import pandas as pd

        names = ("first", "second", "p_value", "robust_p", "sure", "verdict", "more_arrows")
        rows = [
            {"ratio": pair.ratio.value, "ratio_low": pair.ratio.low, "ratio_high": pair.ratio.high}
            | {name: getattr(pair, name) for name in names}
            for pair in self.pairs
        ]
        return pd.DataFrame(rows).convert_dtypes()
