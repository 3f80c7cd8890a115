"""R50, R90 and R95: circles about the true centre that hold half of a rig's shots, 90 and 95 %.

For a round rig they are sigma times a constant (Rayleigh), with sigma's exact interval; for an
elliptical one they follow from both axes (Hoyt), with an approximate interval. Which of the two
is given is chosen by the exact sphericity test, openly: both are kept.
"""

import math
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.stats.constants import c4, radius_constant
from groupscan.stats.group.hoyt import hoyt_df, hoyt_limits, hoyt_radius
from groupscan.stats.group.shape import principal_axes, sphericity_p
from groupscan.stats.intervals import Estimate, without_noise
from groupscan.telling import chance

__all__ = ["ROUND_LEVEL", "SHARES", "Circles", "elliptical_radius", "measure_circles"]

Array = NDArray[np.float64]

#: The circles by name, with the share of the shots that each holds.
SHARES: Final = {"r50": 0.5, "r90": 0.9, "r95": 0.95}

#: Level of the sphericity test that chooses. A test that only chooses a method needs a high level:
#: the circle on an elliptical rig claims too much, the ellipse on a round rig only a little less
#: than it could. At 0.25 the chosen intervals hold 93 % or more for rigs up to twice as long as
#: wide, 95 to 97 % for round ones (python -m benchmarks.coverage group). Few shots cannot see the
#: shape: of a rig three times as long as wide, R95 from five shots holds 91 %.
ROUND_LEVEL: Final = 0.25


@dataclass(frozen=True)
class Circles:
    """Circles that hold a share of a rig's shots.

    Attributes
    ----------
    model : {'circular', 'elliptical'}
        Which one is given as the group's R50, R90 and R95.
    why : str
        The reason, in plain words.
    circular, elliptical : dict of str to Estimate
        Both, by name; radii in mm.
    """

    model: Literal["circular", "elliptical"]
    why: str
    circular: dict[str, Estimate]
    elliptical: dict[str, Estimate]

    @property
    def chosen(self) -> dict[str, Estimate]:
        """The circles of the model chosen."""
        return self.circular if self.model == "circular" else self.elliptical

    def to_dict(self) -> dict[str, Any]:
        """Return the choice and both sets of circles, mm, as JSON-safe values."""

        def plain(circles: dict[str, Estimate]) -> dict[str, Any]:
            rows = {}
            for name, e in circles.items():
                ends = {"mm": e.value, "mm_low": e.low, "mm_high": e.high}
                rows[name] = {key: x if math.isfinite(x) else None for key, x in ends.items()}
            return rows

        return {
            "model": self.model,
            "why": self.why,
            "circular": plain(self.circular),
            "elliptical": plain(self.elliptical),
        }


def elliptical_radius(
    scatter: Array, df: int, share: ArrayLike, confidence: float, noise: float = 0.0
) -> tuple[Array, Array, Array, Array]:
    """Return the radius that holds a share of an elliptical group's shots, with its limits.

    Parameters
    ----------
    scatter : (..., 2, 2) array, mm^2
        Sums of squares and products about the centre; not all zero.
    df : int
        Their degrees of freedom, n - 1.
    share : array_like
        One, or one for each group; many for one group.
    confidence : float
    noise : float, mm^2
        Variance of each place that is the photo's own.

    Returns
    -------
    radius, low, high : (...) arrays, mm
    worth : (...) array
        Degrees of freedom that the radius is worth; `radius` is not yet divided by c4 of it.
    """
    large, small, _ = principal_axes(scatter)
    large, small = large / df, small / df
    seen = hoyt_radius(share, large, small)
    worth = hoyt_df(seen, large, small, df)
    low, high = hoyt_limits(seen, worth, confidence)
    clean = seen
    if noise > 0:
        left = np.maximum(large - noise, large * 1e-12), np.maximum(small - noise, 0.0)
        clean = np.where(large > noise, hoyt_radius(share, *left), 0.0)
        # As sigma's, the limits lose as much of their squares as the value does; where nothing
        # is left, the upper limit stays that of the scatter seen, which is then too wide.
        taken = seen**2 - clean**2
        low = without_noise(low, taken)
        high = np.where(clean > 0, without_noise(high, taken), high)
    return clean, low, high, worth


def measure_circles(
    scatter: Array, n: int, sigma: Estimate, noise: float, confidence: float
) -> Circles:
    """Measure the circles of one group of n shots.

    Parameters
    ----------
    scatter : (2, 2) array, mm^2
        Sums of squares and products of the shots about their centre.
    n : int
    sigma : Estimate
        The pooled sigma, for the circular model.
    noise : float, mm^2
        Variance of each place that is the photo's own; 0 where not known.
    confidence : float
    """
    circular = {name: sigma.scaled(radius_constant(share)) for name, share in SHARES.items()}
    unknown = dict.fromkeys(SHARES, Estimate(math.nan))
    if n < 3 or not scatter.any():
        why = "The circle is taken for granted: so few shots show no shape."
        if n >= 3:
            why = "The circle is taken for granted: no scatter was seen."
        return Circles("circular", why, circular, unknown)
    found = elliptical_radius(scatter, n - 1, [*SHARES.values()], confidence, noise)
    elliptical = {
        name: Estimate(radius / c4(worth), low, high)
        for name, radius, low, high, worth in zip(
            SHARES, *(numbers.tolist() for numbers in found), strict=True
        )
    }
    p = float(sphericity_p(scatter, n - 1))
    if p < ROUND_LEVEL:
        why = (
            f"R50, R90 and R95 are an elliptical group's: the shape seen would be rare for a "
            f"round one ({chance(p)}, below {ROUND_LEVEL})."
        )
        return Circles("elliptical", why, circular, elliptical)
    why = (
        f"R50, R90 and R95 are a round group's: the shape seen is nothing unusual for one "
        f"({chance(p)}, not below {ROUND_LEVEL})."
    )
    return Circles("circular", why, circular, elliptical)
