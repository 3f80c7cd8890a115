"""What a finder of scale marks hands over: points, points on circles, points on straight lines."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = ["Floats", "Marks"]

Floats: TypeAlias = NDArray[Any]


def _none(*shape: int) -> Floats:
    return np.zeros(shape)


@dataclass(frozen=True)
class Marks:
    """Scale marks found in a photo: points, points on circles, and points on straight lines.

    Attributes
    ----------
    source : str
        What the marks are: ``"fiducials"``, ``"rings"``, ``"grid"``, ``"paper"``,
        ``"known-length"``, ``"corners"``.
    sheet : str or None
        Identifier of the sheet that the marks belong to, where they tell.
    points_mm, points_px : (n, 2) arrays
        Known places on the sheet, mm, and where they are seen, px.
    points_se_px : (n,) array, px
        Standard error of each place seen, per axis.
    circles_px : (m, 2) array, px
        Points seen on circles.
    circles_radius_mm, circles_inset : (m,) arrays
        Radius of the circle that each lies on, mm, and by how many printed line widths the
        feature seen lies inside it (0 for an edge, 0.5 for the middle of a dividing line, which
        is printed inside its circle).
    circles_centre_mm : (m, 2) array, mm
        Centre of that circle.
    circles_se_px : (m,) array, px
        Standard error across the circle.
    lines_px : (k, 2) array, px
        Points seen on straight lines, such as the paper's edges.
    lines_normal : (k, 2) array
        Unit normal of the line that each lies on, in the sheet's axes.
    lines_offset_mm : (k,) array, mm
        Distance of that line from the sheet's centre, along its normal.
    lines_se_px : (k,) array, px
        Standard error across the line.
    start : (3, 3) array, optional
        A first guess of the homography, sheet mm to pixels. Circles and lines alone need one, and
        circles take the sheet's rotation from it.
    start_k1 : float
        First guess of the lens's radial term.
    turn_se_rad : float
        Standard error of the sheet's rotation where circles leave it open and something weaker,
        such as the paper's edge or the photo's own up, has settled it.
    notes : tuple of str
        What a person should know about these marks.
    """

    source: str
    sheet: str | None = None
    points_mm: Floats = field(default_factory=lambda: _none(0, 2))
    points_px: Floats = field(default_factory=lambda: _none(0, 2))
    points_se_px: Floats = field(default_factory=lambda: _none(0))
    circles_px: Floats = field(default_factory=lambda: _none(0, 2))
    circles_radius_mm: Floats = field(default_factory=lambda: _none(0))
    circles_inset: Floats = field(default_factory=lambda: _none(0))
    circles_centre_mm: Floats = field(default_factory=lambda: _none(0, 2))
    circles_se_px: Floats = field(default_factory=lambda: _none(0))
    lines_px: Floats = field(default_factory=lambda: _none(0, 2))
    lines_normal: Floats = field(default_factory=lambda: _none(0, 2))
    lines_offset_mm: Floats = field(default_factory=lambda: _none(0))
    lines_se_px: Floats = field(default_factory=lambda: _none(0))
    start: Floats | None = None
    start_k1: float = 0.0
    turn_se_rad: float = 0.0
    notes: tuple[str, ...] = ()
