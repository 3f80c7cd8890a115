"""Corners of four-sided figures at sub-pixel precision, by straight lines along their sides.

A corner is the worst place to measure: blur rounds it, and a hole or a pin takes it away. The
sides are the best: many independent crossings from dark to light, on a line that perspective
leaves straight. So each side is crossed by profiles, a blurred step is fitted to each, a line is
fitted to the steps with outliers turned down, and the corners are where the lines meet.

All lengths are pixels.
"""

from dataclasses import dataclass
from typing import TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

__all__ = ["FLOOR_SE_PX", "Corners", "refine_corners", "refine_markers"]

Floats: TypeAlias = NDArray[np.float64]

FLOOR_SE_PX = 0.03
"""Standard error that no corner goes below: sharpening, tone curves and ragged print remain."""

_SAMPLES = 13  # across a side
_STATIONS = np.linspace(0.1, 0.9, 32)  # of the profiles along a side, clear of its ends
_MIN_CONTRAST = 8.0  # grey levels
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


def refine_corners(
    grey: NDArray[np.uint8],
    corners_px: Floats,
    *,
    reach_px: Floats,
    first_reach_px: Floats | None = None,
    band_px: Floats | None = None,
) -> Corners:
    """Measure the corners of dark figures on light ground.

    Parameters
    ----------
    grey : (h, w) uint8 array
        The picture.
    corners_px : (n, 4, 2) array
        Corners known to within `first_reach_px`, clockwise as seen in the picture.
    reach_px : (n,) array
        How far on both sides of a side to use the picture.
    first_reach_px : (n,) array, optional
        How far to look for the step at first; `reach_px` unless given.
    band_px : (n, 4) array, optional
        Thickness of the dark border along each side, where it is thin enough that the light
        behind it reaches over.

    Returns
    -------
    Corners

    Notes
    -----
    Each profile is fitted by ``a + b * Phi((s - s0) / w)`` with the side's common width `w`; any
    symmetric blur leaves `s0` where it was. The line's standard error comes from the scatter of
    the profiles about it, so curled paper and ragged print widen it by themselves.

    References
    ----------
    P. W. Holland and R. E. Welsch, "Robust regression using iteratively reweighted
    least-squares", *Communications in Statistics A* 6 (1977) 813-827 (biweight).

    Examples
    --------
    A square of 40 pixels whose sides lie half-way between pixel centres:

    >>> grey = np.full((80, 80), 230, np.uint8)
    >>> grey[20:60, 20:60] = 25
    >>> start = np.array([[[19.0, 19], [60, 20], [60, 60], [20, 60]]])
    >>> found = refine_corners(grey, start, reach_px=np.array([3.0]))
    >>> found.px[0].round(2).tolist()
    [[19.5, 19.5], [59.5, 19.5], [59.5, 59.5], [19.5, 59.5]]
    """
    lines, ok = _fit_sides(
        grey, corners_px, reach_px=reach_px, first_reach_px=first_reach_px, band_px=band_px
    )
    return lines.corners(ok)


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
    """
    corners = np.asarray(corners_px, dtype=np.float64)
    band = _heights(corners) / cells
    cell = band.min(axis=1)
    reach = np.clip(0.6 * cell, 1.5, 5.0)
    first = np.clip(0.9 * cell, reach, reach + slack_px)
    lines, ok = _fit_sides(grey, corners, reach_px=reach, first_reach_px=first, band_px=band)
    bleed = _bleed(grey, lines.corners(ok).px, cells, reach)
    return lines.moved_out(bleed).corners(ok)


def _fit_sides(
    grey: NDArray[np.uint8],
    corners_px: Floats,
    *,
    reach_px: Floats,
    first_reach_px: Floats | None,
    band_px: Floats | None,
) -> tuple["_Lines", NDArray[np.bool_]]:
    reach = np.asarray(reach_px, dtype=np.float64)
    first = reach if first_reach_px is None else np.maximum(first_reach_px, reach)
    lines = _Lines.through(np.asarray(corners_px, dtype=np.float64))
    steps = _centroids(_profiles(grey, lines, first, None, _STATIONS))
    lines, _ = lines.refit(steps)
    for _ in range(2):
        lines = lines.cut_to_corners()
        steps = _fit_steps(_profiles(grey, lines, reach, band_px, _STATIONS))
        lines, ok = lines.refit(steps)
    return lines, ok


def _heights(corners: Floats) -> Floats:
    """Distance across each figure, square to each side: area over side, (n, 4)."""
    a, b = corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]
    area = np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) / 2
    return area[:, None] / _Lines.through(corners).length


def _bleed(grey: NDArray[np.uint8], corners: Floats, cells: int, reach: Floats) -> float:
    """How far the light has spread into the dark at an edge, px; 0 where it cannot be told."""
    whole = np.isfinite(corners).all(axis=(1, 2))
    if not whole.any():
        return 0.0
    corners, reach = corners[whole], reach[whole]
    inner = _inner_corners(corners, cells)
    # From each corner back to the one before: "outward" then points into the marker.
    lines = _Lines(np.roll(inner, -1, axis=1), inner, np.zeros((*inner.shape[:2], 3)))
    stations = (np.arange(cells - 2) + 0.5) / (cells - 2)
    band = _heights(corners) / cells
    steps = _fit_steps(_profiles(grey, lines, reach, band, stations))
    if steps.good.sum() < 10:
        return 0.0
    # Bleeding by d: outer side in by d, inner side expected at (1 - 2 / cells) d too deep, and
    # found d too high.
    thinner = -float(np.median(steps.place[steps.good]))
    return thinner / (2 - 2 / cells)


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
class _Steps:
    """Where each profile goes from dark to light (n, 4, p), outward of the side, if it does."""

    place: Floats
    good: NDArray[np.bool_]


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
    def through(cls, corners: Floats) -> "_Lines":
        return cls(corners, np.roll(corners, -1, axis=1), np.zeros((*corners.shape[:2], 3)))

    @property
    def length(self) -> Floats:
        length: Floats = np.linalg.norm(self.end - self.start, axis=2)
        return np.maximum(length, 1e-6)

    @property
    def outward(self) -> Floats:
        along = (self.end - self.start) / self.length[..., None]
        return np.stack([along[..., 1], -along[..., 0]], axis=-1)

    def refit(self, steps: _Steps) -> tuple["_Lines", NDArray[np.bool_]]:
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

    def moved_out(self, distance: float) -> "_Lines":
        """Return the same lines, moved outward."""
        move = distance * self.outward
        return _Lines(self.start + move, self.end + move, self.cov)

    def cut_to_corners(self) -> "_Lines":
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


@dataclass(frozen=True, eq=False)
class _Profiles:
    """Profiles across the sides: places `s` (n, 1, 1, k) outward, grey levels (n, 4, p, k).

    `behind` (n, 4, p, 1) is the grey level behind the dark border, which is `band` (n, 4, 1, 1)
    thick; both None where there is no such border.
    """

    s: Floats
    values: Floats
    inside: NDArray[np.bool_]
    behind: Floats | None
    band: Floats | None


def _profiles(
    grey: NDArray[np.uint8], lines: _Lines, reach: Floats, band: Floats | None, stations: Floats
) -> _Profiles:
    at = lines.start[:, :, None, :] + (lines.end - lines.start)[:, :, None, :] * stations[:, None]
    at, out = at[:, :, :, None, :], lines.outward[:, :, None, None, :]
    s = (np.linspace(-1.0, 1.0, _SAMPLES) * reach[:, None])[:, None, None, :]
    values, inside_each = _sample(grey, at + out * s[..., None])
    inside: NDArray[np.bool_] = np.all(inside_each, axis=-1)
    if band is None:
        return _Profiles(s, values, inside, None, None)
    thick = np.asarray(band, dtype=np.float64)[:, :, None, None]
    behind, _ = _sample(grey, at - 1.5 * out * thick[..., None])
    return _Profiles(s, values, inside, behind, thick)


def _sample(grey: NDArray[np.uint8], points: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Bilinear grey levels at (..., 2) points, and which points lie inside the picture."""
    height, width = grey.shape
    x, y = points[..., 0], points[..., 1]
    inside = (x >= 0) & (y >= 0) & (x <= width - 1) & (y <= height - 1)
    x, y = np.clip(x, 0, width - 1.001), np.clip(y, 0, height - 1.001)
    left, top = x.astype(np.intp), y.astype(np.intp)
    fx, fy = x - left, y - top
    at, flat = top * width + left, grey.reshape(-1)
    upper = flat[at] * (1 - fx) + flat[at + 1] * fx
    lower = flat[at + width] * (1 - fx) + flat[at + width + 1] * fx
    return upper + (lower - upper) * fy, inside


def _contrast(profiles: _Profiles) -> tuple[Floats, Floats, Floats, NDArray[np.bool_]]:
    """Dark level and rise of each profile, the figure's usual rise, and which profiles have it."""
    low = profiles.values[..., :3].mean(axis=-1)
    rise = profiles.values[..., -3:].mean(axis=-1) - low
    usual = np.quantile(rise, 0.8, axis=(1, 2))[:, None, None]
    good = profiles.inside & (rise > 0.4 * usual) & (usual > _MIN_CONTRAST)
    return low, rise, np.maximum(usual, 1.0), good


def _climb_centroid(profiles: _Profiles) -> Floats:
    climb = np.clip(np.diff(profiles.values, axis=-1), 0.0, None)
    middle = (profiles.s[..., 1:] + profiles.s[..., :-1]) / 2
    centroid: Floats = (climb * middle).sum(axis=-1) / np.maximum(climb.sum(axis=-1), 1e-9)
    return centroid


def _centroids(profiles: _Profiles) -> _Steps:
    """Rough steps: the centroid of the climb from dark to light, over a wide window."""
    return _Steps(_climb_centroid(profiles), _contrast(profiles)[3])


def _fit_steps(profiles: _Profiles) -> _Steps:
    """Fit a blurred step to each profile, of one width for all profiles of a side."""
    s, values = profiles.s, profiles.values
    reach = s[..., -1]
    low, rise, usual, good = _contrast(profiles)
    place = np.clip(_climb_centroid(profiles), -0.8 * reach, 0.8 * reach)
    inner: Floats | None = None
    if profiles.behind is not None:
        # How light it is again behind the dark border: 0 for dark cells, 1 for light ones.
        again = (profiles.behind[..., 0] - low) / np.maximum(rise, 1.0)
        inner = np.clip(again, 0.0, 1.0)[..., None]
    y = values - values.mean(axis=-1, keepdims=True)
    width = np.full((*place.shape[:2], 1, 1), 0.9)
    for _ in range(4):
        shape, bell, wide = _step_shape(s - place[..., None], width, inner, profiles.band)
        # Level and height enter linearly: they are projected out, not iterated.
        f = shape - shape.mean(axis=-1, keepdims=True)
        g = bell - bell.mean(axis=-1, keepdims=True)
        ff, fg, gg = (f * f).sum(axis=-1), (f * g).sum(axis=-1), (g * g).sum(axis=-1)
        yf, yg = (y * f).sum(axis=-1), (y * g).sum(axis=-1)
        det = np.maximum(ff * gg - fg * fg, 1e-9)
        rise = np.maximum((gg * yf - fg * yg) / det, 0.2 * usual)
        shift = -width[..., 0] * (ff * yg - fg * yf) / (det * rise)
        place = np.clip(place + np.clip(shift, -0.7, 0.7), -reach, reach)
        # The width's slope is -rise * wide / width: one step for each side.
        h = np.where(good, rise, 0.0)[..., None] * (wide - wide.mean(axis=-1, keepdims=True))
        residual = y - rise[..., None] * f
        asked = -(h * residual).sum(axis=(2, 3), keepdims=True)
        asked = asked / np.maximum((h * h).sum(axis=(2, 3), keepdims=True), 1e-9)
        width = np.clip(width * (1 + np.clip(asked, -0.3, 0.3)), 0.4, 4.0)
    good = good & (np.abs(place) < 0.8 * reach) & (rise > 0.4 * usual)
    return _Steps(np.where(good, place, 0.0), good)


def _step_shape(
    d: Floats, width: Floats, inner: Floats | None, band: Floats | None
) -> tuple[Floats, Floats, Floats]:
    """Step of unit height at distance `d`; its slope along `d` and minus that in ln(width)."""
    u = d / width
    shape, bell = ndtr(u), _bell(u)
    wide = u * bell
    if inner is not None and band is not None:
        v = u + band / width
        other = inner * _bell(v)
        shape = shape + inner * (1 - ndtr(v))
        bell, wide = bell - other, wide - v * other
    return shape, bell, wide


def _bell(u: Floats) -> Floats:
    bell: Floats = np.exp(-0.5 * u * u) * (1 / np.sqrt(2 * np.pi))
    return bell
