"""Corners of square markers at sub-pixel precision, by straight lines along their sides.

A corner is the worst place to measure: blur rounds it, and a hole or a pin takes it away. The
sides are the best: many independent crossings from dark to light, on a line that perspective
leaves straight. So each side is crossed by profiles, a blurred step is fitted to each, a line is
fitted to the steps with outliers turned down, and the corners are where the lines meet.

All lengths are pixels.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.marks.steps import (
    Profiles,
    Steps,
    fit_steps,
    outward,
    rough_steps,
    sample_profiles,
)
from groupscan.photo.plane import Floats

__all__ = ["FLOOR_SE_PX", "Corners", "refine_markers"]

FLOOR_SE_PX = 0.03
"""Standard error that no corner goes below: sharpening, tone curves and ragged print remain."""

_STATIONS = np.linspace(0.1, 0.9, 32)  # of the profiles along a side, clear of its ends
_MIN_SHARE = 0.35  # of the profiles that must agree on a side
_BIWEIGHT = 4.685  # Tukey's constant: 95 % efficient on clean data


@dataclass(frozen=True, eq=False)
class Corners:
    """Corners of n four-sided figures.

    Attributes
    ----------
    px : (n, 4, 2) array
        Corners, px; NaN where a side that meets there could not be measured.
    se_px : (n, 4) array
        Standard error per axis, px; NaN likewise.
    """

    px: Floats
    se_px: Floats


def refine_markers(
    grey: NDArray[np.uint8], corners_px: Floats, *, cells: int, slack_px: float
) -> Corners:
    """Measure the corners of square markers: light and dark cells inside a one-cell dark border.

    Parameters
    ----------
    grey : (h, w) uint8 array
        The picture.
    corners_px : (n, 4, 2) array
        Corners of the borders known to within `slack_px`, clockwise as seen in the picture.
    cells : int
        Cells along a side, the border's two included.
    slack_px : float
        How far off a side may be.

    Returns
    -------
    Corners

    Notes
    -----
    A lens blurs light, but the file keeps a tone curve of it, which moves every blurred edge
    towards the dark by up to half the blur; ink that spreads moves it the other way. Both make
    the border thinner or thicker on both its sides alike. So the border's inner edge is measured
    too, where a light cell lies behind it: a border that is thinner than its share of the marker
    says by how much the outer edge has moved, and all sides are put back by that.

    A side's standard error comes from the scatter of its profiles about the line, so curled paper
    and ragged print widen it by themselves.

    References
    ----------
    P. W. Holland and R. E. Welsch, "Robust regression using iteratively reweighted
    least-squares", *Communications in Statistics A* 6 (1977) 813-827 (the biweight).

    Examples
    --------
    A marker of 160 pixels whose sides lie half-way between pixel centres:

    >>> family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    >>> grey = np.full((200, 200), 255, np.uint8)
    >>> grey[20:180, 20:180] = cv2.aruco.generateImageMarker(family, 10, 160)
    >>> start = np.array([[[20.0, 20], [179, 20], [179, 179], [20, 179]]])
    >>> found = refine_markers(grey, start, cells=8, slack_px=2.0)
    >>> (found.px[0].round(2) + 0.0).tolist()
    [[19.5, 19.5], [179.5, 19.5], [179.5, 179.5], [19.5, 179.5]]
    """
    corners = np.asarray(corners_px, dtype=np.float64)
    band = _heights(corners) / cells
    cell = band.min(axis=1)
    reach = np.clip(0.6 * cell, 1.5, 5.0)
    first = np.clip(0.9 * cell, reach, reach + slack_px)
    lines, ok = _fit_sides(grey, corners, reach=reach, first=first, band=band)
    bleed, bleed_se = _bleed(grey, lines.corners(ok).px, cells, reach)
    moved = lines.moved_out(bleed).corners(ok)
    return Corners(moved.px, np.hypot(moved.se_px, bleed_se))


def _fit_sides(
    grey: NDArray[np.uint8], corners: Floats, *, reach: Floats, first: Floats, band: Floats
) -> tuple[_Lines, NDArray[np.bool_]]:
    """Lines along the sides, and which of them stand."""

    def look(lines: _Lines, reach: Floats, band: Floats | None) -> Profiles:
        return sample_profiles(
            grey, lines.start, lines.end, stations=_STATIONS, reach=reach, band=band
        )

    lines, ok = _Lines.through(corners).refit(
        rough_steps(look(_Lines.through(corners), first, None))
    )
    for _ in range(2):
        lines = lines.cut_to_corners()
        lines, ok = lines.refit(fit_steps(look(lines, reach, band)))
    return lines, ok


def _heights(corners: Floats) -> Floats:
    """Distance across each figure, square to each side: area over side, (n, 4)."""
    a, b = corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]
    area = np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) / 2
    heights: Floats = area[:, None] / _Lines.through(corners).length
    return heights


def _bleed(
    grey: NDArray[np.uint8], corners: Floats, cells: int, reach: Floats
) -> tuple[float, float]:
    """How far the light has spread into the dark at an edge, and its standard error.

    Where that cannot be told it is taken for none, give or take what tone curves do.
    """
    untold = (0.0, 0.3)
    whole = np.isfinite(corners).all(axis=(1, 2))
    if not whole.any():
        return untold
    corners, reach = corners[whole], reach[whole]
    inner = _inner_corners(corners, cells)
    stations = (np.arange(cells - 2) + 0.5) / (cells - 2)
    # From each corner back to the one before: light lies inside, where the cell is light.
    profiles = sample_profiles(
        grey,
        np.roll(inner, -1, axis=1),
        inner,
        stations=stations,
        reach=reach,
        band=_heights(corners) / cells,
    )
    steps = fit_steps(profiles)
    places = steps.place[steps.good]
    if len(places) < 5:
        return untold
    # Bleeding by d: the outer side d too far in, so the inner one is expected (1 - 2 / cells) d
    # too deep; it is found d too high.
    thinner = -float(np.median(places))
    spread = 1.4826 * float(np.median(np.abs(places + thinner)))
    # A median of n values has a standard error of 1.25 of their spread over root n.
    share = 2 - 2 / cells
    return thinner / share, 1.25 * spread / np.sqrt(len(places)) / share


def _inner_corners(corners: Floats, cells: int) -> Floats:
    """Corners of the border's inner side, through the homography of each marker."""
    low, high = 1.0 / cells, 1.0 - 1.0 / cells
    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    want = np.array([[low, low], [high, low], [high, high], [low, high]])
    inner = []
    for square in corners:
        # Offsets keep single precision, which this call wants, to a thousandth of a pixel.
        origin = square.mean(axis=0)
        matrix = cv2.getPerspectiveTransform(unit, (square - origin).astype(np.float32))
        mapped = np.column_stack([want, np.ones(4)]) @ matrix.T
        inner.append(mapped[:, :2] / mapped[:, 2:] + origin)
    return np.array(inner)


@dataclass(frozen=True, eq=False)
class _Lines:
    """The four sides of n figures: start and end (n, 4, 2), running clockwise.

    `cov` (n, 4, 3) holds the variance at the start, the covariance, and the variance of the rise
    from start to end, of the line's height.
    """

    start: Floats
    end: Floats
    cov: Floats

    @classmethod
    def through(cls, corners: Floats) -> _Lines:
        return cls(corners, np.roll(corners, -1, axis=1), np.zeros((*corners.shape[:2], 3)))

    @property
    def length(self) -> Floats:
        length: Floats = np.linalg.norm(self.end - self.start, axis=2)
        return np.maximum(length, 1e-6)

    @property
    def outward(self) -> Floats:
        return outward(self.start, self.end)

    def refit(self, steps: Steps) -> tuple[_Lines, NDArray[np.bool_]]:
        """Fit lines to the steps by biweights; tell which sides have enough agreeing profiles."""
        w: Floats = steps.good.astype(np.float64)
        for sweep in range(6):
            height, rise, normal = _weighted_line(steps.place, w)
            residual = steps.place - height[..., None] - rise[..., None] * _STATIONS
            scale = 1.4826 * _median_where(np.abs(residual), steps.good)
            scale = np.maximum(scale, 0.01)[..., None]
            if sweep < 2:
                # Start from least absolute residuals, which a minority cannot drag off.
                w = np.where(steps.good, 1 / np.maximum(np.abs(residual), 0.3 * scale), 0.0)
            else:
                u = residual / (_BIWEIGHT * scale)
                w = np.where(steps.good & (np.abs(u) < 1), (1 - u**2) ** 2, 0.0)
        height, rise, normal = _weighted_line(steps.place, w)
        residual = steps.place - height[..., None] - rise[..., None] * _STATIONS
        variance = (w * residual**2).sum(axis=2) / np.maximum(w.sum(axis=2) - 2, 1)
        # Profiles closer than a pixel share pixels: they count for less than their number.
        spacing = self.length * (_STATIONS[1] - _STATIONS[0])
        variance = variance * np.maximum(1 / spacing, 1)
        ok = (w > 0.1).mean(axis=2) >= _MIN_SHARE
        height, rise = np.where(ok, height, 0.0), np.where(ok, rise, 0.0)
        start = self.start + self.outward * height[..., None]
        end = self.end + self.outward * (height + rise)[..., None]
        return _Lines(start, end, variance[..., None] * normal), ok

    def meet(self) -> tuple[Floats, Floats]:
        """Corners (n, 4, 2) where each side meets the one before it, and their standard errors."""
        normal = self.outward
        matrix = np.stack([np.roll(normal, 1, axis=1), normal], axis=2)
        flat = np.abs(np.linalg.det(matrix)) < 0.05
        matrix[flat] = np.eye(2)
        level = np.einsum("nkd,nkd->nk", normal, self.start)
        inverse = np.linalg.inv(matrix)
        levels = np.stack([np.roll(level, 1, axis=1), level], axis=2)
        px = np.einsum("nkij,nkj->nki", inverse, levels)
        here, there = self.cov[..., 0], self.cov @ np.array([1.0, 2.0, 1.0])
        variances = np.stack([np.roll(there, 1, axis=1), here], axis=2)
        se = np.sqrt(np.einsum("nkij,nkj->nk", inverse**2, variances) / 2 + FLOOR_SE_PX**2)
        px[flat], se[flat] = np.nan, np.nan
        return px, se

    def corners(self, ok: NDArray[np.bool_]) -> Corners:
        """Return the corners between sides that are `ok` (n, 4)."""
        px, se = self.meet()
        bad = ~(ok & np.roll(ok, 1, axis=1))
        px[bad], se[bad] = np.nan, np.nan
        return Corners(px, se)

    def moved_out(self, distance: float) -> _Lines:
        """Return the same lines, moved outward."""
        move = distance * self.outward
        return _Lines(self.start + move, self.end + move, self.cov)

    def cut_to_corners(self) -> _Lines:
        """Return the same lines, from one corner to the next."""
        corners, _ = self.meet()
        return _Lines.through(np.where(np.isfinite(corners), corners, self.start))


def _weighted_line(y: Floats, w: Floats) -> tuple[Floats, Floats, Floats]:
    """Height at 0, rise from 0 to 1, and their variance, covariance, variance for unit noise."""
    t = _STATIONS
    s0, s1, s2 = w.sum(axis=2), (w * t).sum(axis=2), (w * t * t).sum(axis=2)
    r0, r1 = (w * y).sum(axis=2), (w * t * y).sum(axis=2)
    det = np.maximum(s0 * s2 - s1 * s1, 1e-12)
    height, rise = (s2 * r0 - s1 * r1) / det, (s0 * r1 - s1 * r0) / det
    return height, rise, np.stack([s2 / det, -s1 / det, s0 / det], axis=2)


def _median_where(values: Floats, where: NDArray[np.bool_]) -> Floats:
    """Median along the last axis of the values marked; 1 where none is."""
    ordered = np.sort(np.where(where, values, np.inf), axis=-1)
    middle = np.maximum(where.sum(axis=-1) - 1, 0) // 2
    median = np.take_along_axis(ordered, middle[..., None], axis=-1)[..., 0]
    return np.where(np.isfinite(median), median, 1.0)
