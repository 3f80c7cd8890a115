"""The sides of a sheet at sub-pixel precision: many crossings of the paper's edge on each.

A sheet on a butt is pinned, curled and torn: no side is straight to a pixel, and its corners are
the worst of it. So each side is crossed by many profiles, and a smooth curve that turns outliers
down says which crossings are the paper's edge. What the crossings tell of the plane is left to
the plane's fit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.pixels import read_at
from groupscan.photo.plane import Floats
from groupscan.photo.reading import Photo

__all__ = ["Sides", "measure_sides"]

#: Stations along each side: for the first look and for the measurement.
_FIRST, _FINE = 48, 96
#: Half width of the windows of the measurement, px, and its smoothing.
_REACH, _SIGMA = 5.0, 1.2
_BIWEIGHT = 4.685  # Tukey's constant: 95 % efficient on clean data
#: Light that a file's grey levels stand for (IEC 61966-2-1); blur moves edges less in it.
_LEVEL = np.arange(256) / 255.0
_LIGHT = np.where(_LEVEL <= 0.04045, _LEVEL / 12.92, ((_LEVEL + 0.055) / 1.055) ** 2.4)
_LIGHT_TABLE = (_LIGHT * 1000.0).astype(np.float32)


@dataclass(frozen=True, eq=False)
class Sides:
    """Crossings of a sheet's edge.

    Attributes
    ----------
    px : (n, 2) array, px
        Crossings that lie on the smooth curve of their side.
    side : (n,) int array
        Which side: 0 goes from the first corner to the second.
    share : (n,) array
        Where along the side, 0 at its first corner and 1 at its last.
    se_px : (4,) array, px
        Scatter of one crossing about the curve of its side; NaN for a side not found.
    found : (4,) array
        Share of each side's stations whose crossing lies on its curve.
    corners_px : (4, 2) array, px
        Where the straight lines nearest to the sides meet.
    """

    px: Floats
    side: NDArray[np.intp]
    share: Floats
    se_px: Floats
    found: Floats
    corners_px: Floats


def measure_sides(photo: Photo, corners_px: Floats, *, slack_px: float) -> Sides:
    """Measure the sides of a sheet that is lighter than what lies around it.

    Parameters
    ----------
    photo : Photo
    corners_px : (4, 2) array, px
        Its corners, clockwise as seen in the photo.
    slack_px : float
        How far off the sides may be.

    Returns
    -------
    Sides

    Notes
    -----
    A crossing is the steepest climb in light, not in grey levels: a lens blurs light, and the
    tone curve would move each blurred edge by up to half the blur. Curves are polynomials of the
    third degree, fitted by iteratively reweighted least squares with Tukey's biweight.

    References
    ----------
    P. W. Holland and R. E. Welsch, "Robust regression using iteratively reweighted
    least-squares", *Communications in Statistics A* 6 (1977) 813-827.

    Examples
    --------
    >>> rgb = np.full((300, 400, 3), 60, np.uint8)
    >>> rgb[50:250, 100:255] = 230
    >>> rough = np.array([[101.0, 48], [256, 50], [253, 251], [98, 249]])
    >>> sides = measure_sides(Photo("card", rgb), rough, slack_px=4.0)
    >>> true = [[99.5, 49.5], [254.5, 49.5], [254.5, 249.5], [99.5, 249.5]]
    >>> bool(np.abs(sides.corners_px - true).max() < 0.2)
    True
    """
    corners = np.asarray(corners_px, float)
    start, along = corners, np.roll(corners, -1, axis=0) - corners
    length = np.linalg.norm(along, axis=1, keepdims=True)
    along = along / np.maximum(length, 1e-6)
    inward = np.column_stack([-along[:, 1], along[:, 0]])
    frame = _Frame(photo.rgb, start, along, inward, length[:, 0])

    share = np.linspace(0.02, 0.98, _FIRST)
    reach = max(1.5 * slack_px, 4.0)
    place, climb = frame.crossings(share, np.zeros((4, _FIRST)), reach, max(1.5, slack_px / 10))
    curves = _curves(share, place, climb, degree=2, width=slack_px / 2)
    share = np.linspace(0.01, 0.99, _FINE)
    for reach in (2 * _REACH, _REACH):
        about = curves.at(share)
        place, climb = frame.crossings(share, about, reach, _SIGMA)
        curves = _curves(share, place, climb, degree=3, width=2.0)

    keep = curves.good
    px = frame.at(share, place)
    side, station = np.nonzero(keep)
    level, slope = np.polynomial.polynomial.polyfit(share, curves.at(share).T, 1)
    ends = frame.at(np.array([0.0, 1.0]), np.column_stack([level, level + slope]))
    return Sides(
        px=px[keep],
        side=side,
        share=share[station],
        se_px=curves.scatter,
        found=keep.mean(axis=1),
        corners_px=_meet(ends[:, 0], ends[:, 1]),
    )


@dataclass(frozen=True, eq=False)
class _Curves:
    """A polynomial for each side (4, d), which crossings lie on it (4, p), and their scatter."""

    terms: Floats
    good: NDArray[np.bool_]
    scatter: Floats

    def at(self, share: Floats) -> Floats:
        return np.asarray(self.terms @ np.vander(share, self.terms.shape[1], increasing=True).T)


@dataclass(frozen=True, eq=False)
class _Frame:
    """Four sides to sample across: starts, unit vectors along them and inwards, lengths."""

    rgb: NDArray[np.uint8]
    start: Floats
    along: Floats
    inward: Floats
    length: Floats

    def at(self, share: Floats, place: Floats) -> Floats:
        """Pixels (4, p, 2) at shares of the sides, so far inwards (4, p)."""
        way = self.along[:, None] * (share * self.length[:, None])[..., None]
        return np.asarray(self.start[:, None] + way + self.inward[:, None] * place[..., None])

    def crossings(
        self, share: Floats, about: Floats, reach: float, sigma: float
    ) -> tuple[Floats, Floats]:
        """Steepest climb of light near a place, (4, p) px inwards, and its height as a share."""
        step = max(0.5, sigma / 3)
        count = int(np.ceil((reach + 3 * sigma) / step))
        offset = np.arange(-count, count + 1) * step
        at = self.at(share, about)[:, :, None] + self.inward[:, None, None] * offset[:, None]
        seen = read_at(self.rgb, at.reshape(4 * len(share), len(offset), 2))
        light: Any = cv2.LUT(np.ascontiguousarray(seen.min(axis=2)), _LIGHT_TABLE)
        kernel = _gauss_slope(sigma / step)
        slope = cv2.filter2D(light, -1, kernel, borderType=cv2.BORDER_REPLICATE)
        level = cv2.GaussianBlur(light, (0, 0), sigmaX=2 * sigma / step, sigmaY=1e-3) + 4.0
        edge = count - int(np.floor(reach / step))
        slope = slope[:, edge : len(offset) - edge] / level.max(axis=1, keepdims=True)
        best = np.clip(np.argmax(slope, axis=1), 1, slope.shape[1] - 2)
        row = np.arange(len(slope))
        before, peak, after = slope[row, best - 1], slope[row, best], slope[row, best + 1]
        bend = np.minimum(before - 2 * peak + after, -1e-9)
        shift = np.clip(0.5 * (before - after) / bend, -1.0, 1.0)
        place = offset[edge] + (best + shift) * step
        height, width = self.rgb.shape[:2]
        px = at.reshape(len(row), -1, 2)[:, [0, -1]]
        inside = ((px >= 0) & (px <= [width - 1, height - 1])).all(axis=(1, 2))
        shape = about.shape
        return about + place.reshape(shape), np.where(inside, peak, 0.0).reshape(shape)


def _gauss_slope(sigma: float) -> Floats:
    reach = int(np.ceil(3 * sigma))
    x = np.arange(-reach, reach + 1.0)
    g = np.exp(-0.5 * (x / sigma) ** 2)
    return np.asarray((x * g / (x * x * g).sum())[None, :], np.float32)


def _curves(x: Floats, y: Floats, climb: Floats, *, degree: int, width: float) -> _Curves:
    """Fit polynomials that turn outliers down, from wide to as narrow as the data allow."""
    base = np.vander(x, degree + 1, increasing=True)
    clear = climb > 0.25 * np.quantile(climb, 0.7, axis=1, keepdims=True)
    weight = np.where(clear, 1.0, 1e-3)
    # The densest place first: dirt and straw pull a mean, not a mode.
    near = (np.abs(y[:, :, None] - y[:, None, :]) < width) @ weight[..., None]
    level = np.take_along_axis(y, np.argmax(near[..., 0], axis=1)[:, None], axis=1)
    w = weight / (1 + ((y - level) / (2 * width)) ** 2) ** 2
    terms, scatter = np.zeros((4, degree + 1)), np.full((4, 1), width)
    for n in range(3 * degree):
        # A straight line first: a curve would bend to outliers.
        use = base[:, : 2 + min(n // 2, degree - 1)]
        normal = np.einsum("kp,pi,pj->kij", w, use, use) + 1e-9 * np.eye(use.shape[1])
        part = np.linalg.solve(normal, ((w * y) @ use)[..., None])[..., 0]
        terms[:, : part.shape[1]] = part
        rest = np.abs(y - terms @ base.T)
        scatter = np.maximum(1.4826 * np.median(rest, axis=1, keepdims=True), 0.05)
        scale = _BIWEIGHT * np.maximum(scatter, width / 1.5**n)
        w = weight * np.clip(1 - (rest / scale) ** 2, 0.0, None) ** 2 + 1e-9
    good = (rest < np.maximum(3.5 * scatter, 0.3)) & clear
    return _Curves(terms, good, scatter[:, 0])


def _meet(start: Floats, end: Floats) -> Floats:
    """Corners (4, 2) where each side's line meets that of the side before."""
    line = np.cross(np.column_stack([start, np.ones(4)]), np.column_stack([end, np.ones(4)]))
    corner = np.cross(np.roll(line, 1, axis=0), line)
    return np.asarray(corner[:, :2] / corner[:, 2:])
