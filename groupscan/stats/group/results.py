"""What a measured group holds, and its tables in mm, inch, MOA and mrad."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from groupscan.stats.group.circles import Circles
from groupscan.stats.group.ends import EndScatter
from groupscan.stats.group.flyers import Flyer
from groupscan.stats.group.shape import Shape
from groupscan.stats.intervals import Ellipse, Estimate

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["UNKNOWN", "Centre", "Group", "Offset"]

UNKNOWN = Estimate(math.nan)


@dataclass(frozen=True)
class Centre:
    """The group's centre, mm, in the coordinates of the shots."""

    x: Estimate
    y: Estimate


@dataclass(frozen=True)
class Offset(Estimate):
    """The distance of the centre from the aim, mm, with its two coordinates `x` and `y`."""

    x: Estimate = UNKNOWN
    y: Estimate = UNKNOWN


@dataclass(frozen=True)
class Group:
    """One group's statistics; lengths in mm.

    Attributes
    ----------
    n : int
        Number of shots.
    aim_mm : tuple of float
        Point of aim, in the coordinates of the shots.
    distance_m : float or None
        Shooting distance; without it no angles are given.
    confidence : float
        Level of every interval.
    centre : Centre
        Group centre, in the coordinates of the shots.
    centre_ellipse : Ellipse
        Joint confidence region of the centre.
    offset : Offset
        Distance of the centre from the aim, and its x and y.
    spatial_median_mm : tuple of float
        The centre's robust twin, in the coordinates of the shots.
    extreme_spread, mean_radius, figure_of_merit, width, height, diagonal, radial_sd : Estimate
        As seen; the interval is for the expected value for n shots of this rig. The radial
        standard deviation has the divisor n - 1.
    sigma, sigma_x, sigma_y : Estimate
        Per-axis standard deviation of the rig: both axes pooled, and each alone.
    sigma_from_spread : Estimate
        The sigma that the extreme spread implies for its n, so that groups of different size can
        be compared by it; `sigma` itself uses the shots better.
    r50, r90, r95 : Estimate
        Radius about the true centre that holds 50 %, 90 % and 95 % of the rig's shots.
    circles : Circles
        Where these come from: the circular or the elliptical model, why, and both.
    shape : Shape
        Main axis, height against width, pattern.
    flyer : Flyer or None
        The shot farthest out and whether it is flagged; None where no test is possible.
    without_flyer : Group or None
        The group as it would be without the flagged shot, to stand beside it; no shot is removed.
    ends : EndScatter or None
        Scatter within and between ends, where the shots are of several.
    measurement_share : float or None
        Part of the observed variance that is the photo's own error; None if `se_mm` was not given
        or there is no scatter.
    notes : tuple of str
        What these shots cannot say, and why.
    """

    n: int
    aim_mm: tuple[float, float]
    distance_m: float | None
    confidence: float
    centre: Centre
    centre_ellipse: Ellipse
    offset: Offset
    extreme_spread: Estimate
    mean_radius: Estimate
    sigma: Estimate
    sigma_x: Estimate
    sigma_y: Estimate
    figure_of_merit: Estimate
    r50: Estimate
    r90: Estimate
    r95: Estimate
    width: Estimate
    height: Estimate
    diagonal: Estimate
    radial_sd: Estimate
    sigma_from_spread: Estimate
    spatial_median_mm: tuple[float, float]
    circles: Circles
    shape: Shape
    measurement_share: float | None
    notes: tuple[str, ...]
    flyer: Flyer | None = None
    without_flyer: "Group | None" = None
    ends: EndScatter | None = None

    @property
    def offset_by_ends(self) -> Offset:
        """The offset as far as a sight may be moved by it.

        Where the ends' centres wander more than chance explains, its intervals are those of ends
        instead of shots: a sight that is set by one day's wander is off on the next.
        """
        seen = self.offset
        if self.ends is None or not self.ends.wanders:
            return seen
        axis, all_ways = self.ends.centre_margin(self.confidence)
        x, y = (Estimate(e.value, e.value - axis, e.value + axis) for e in (seen.x, seen.y))
        far = seen.value
        return Offset(far, max(far - all_ways, 0.0), far + all_ways, x, y)

    def estimates(self) -> dict[str, Estimate]:
        """Return every estimate by name, in the order of the table."""
        return {
            "centre_x": self.centre.x,
            "centre_y": self.centre.y,
            "offset": self.offset,
            "offset_x": self.offset.x,
            "offset_y": self.offset.y,
            "extreme_spread": self.extreme_spread,
            "mean_radius": self.mean_radius,
            "sigma": self.sigma,
            "sigma_x": self.sigma_x,
            "sigma_y": self.sigma_y,
            "figure_of_merit": self.figure_of_merit,
            "r50": self.r50,
            "r90": self.r90,
            "r95": self.r95,
            "width": self.width,
            "height": self.height,
            "diagonal": self.diagonal,
            "radial_sd": self.radial_sd,
            "sigma_from_spread": self.sigma_from_spread,
            **(self.ends.estimates() if self.ends is not None else {}),
        }

    def to_frame(self) -> "pd.DataFrame":
        """Return the table: one row a statistic, columns mm, inch, moa and mrad with limits.

        Returns
        -------
        DataFrame
            Index ``statistic``; columns ``mm, mm_low, mm_high, inch, ..., mrad_high``; NaN where
            not known. Angles need the distance.
        """
        import pandas as pd

        rows = {
            name: estimate.in_units(self.distance_m) for name, estimate in self.estimates().items()
        }
        frame = pd.DataFrame.from_dict(rows, orient="index", dtype=float)
        return frame.rename_axis(index="statistic")

    def to_dict(self) -> dict[str, Any]:
        """Return the group as JSON-safe values: None for what is not known, lists for tuples."""
        table = {name: _no_nan(e.in_units(self.distance_m)) for name, e in self.estimates().items()}
        centre: dict[str, Any] = {}
        for axis in ("x", "y"):
            for key, number in table.pop(f"centre_{axis}").items():
                centre[f"{axis}_{key}"] = number
            for key, number in table.pop(f"offset_{axis}").items():
                table["offset"][f"{axis}_{key}"] = number
        ellipse = self.centre_ellipse
        centre["ellipse"] = _no_nan(
            {
                "semi_major_mm": ellipse.semi_major_mm,
                "semi_minor_mm": ellipse.semi_minor_mm,
                "angle_deg": math.degrees(ellipse.angle_rad),
            }
        )
        return {
            "n": self.n,
            "aim_mm": list(self.aim_mm),
            "distance_m": self.distance_m,
            "confidence": self.confidence,
            "centre": centre,
            **table,
            "spatial_median": dict(zip(("x_mm", "y_mm"), self.spatial_median_mm, strict=True)),
            "circles": self.circles.to_dict(),
            "shape": self.shape.to_dict(),
            "flyer": self._flyer_to_dict(),
            "ends": self.ends.to_dict() if self.ends is not None else None,
            "measurement_share": self.measurement_share,
            "notes": list(self.notes),
        }

    def _flyer_to_dict(self) -> dict[str, Any] | None:
        if self.flyer is None:
            return None
        without = self.without_flyer
        return {
            "shot": self.flyer.shot,
            "name": self.flyer.name,
            "p": self.flyer.p,
            "flagged": self.flyer.flagged,
            "farther": self.flyer.farther,
            "group_without_it": without.to_dict() if without is not None else None,
        }


def _no_nan(row: dict[str, float]) -> dict[str, Any]:
    return {key: number if math.isfinite(number) else None for key, number in row.items()}
