"""Round spots painted on a face: their outlines, for the tilt that they tell.

A spot's size is not known and its outline is a brush's. But a circle seen at a slant is an
ellipse, and several of them agree on the slant.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np

from groupscan.photo.marks.blocks import Small
from groupscan.photo.pixels import read_at
from groupscan.photo.plane import Floats
from groupscan.photo.reading import Photo

__all__ = ["find_spots"]

_MOST_SPOTS = 8
_LEAST_AXIS, _MOST_ASPECT = 8.0, 2.2  # least half axis, reduced px; longest to shortest
#: A part is round if its area is that of the ellipse of its second moments to this share.
_ROUND = 0.03
_RAYS, _SAMPLES = 60, 41
_WINDOW = 0.22  # the outline is looked for this far in and out, as a share of the half axis
#: Crossings farther from the ellipse than this share of the half axis are no outline; spots of
#: which fewer than this share of the rays agree are none.
_MOST_STRAY, _LEAST_AGREE = 0.06, 0.7


def find_spots(photo: Photo, small: Small, *, least_px: float, most_px: float) -> list[Floats]:
    """Find round spots and measure their outlines.

    Parameters
    ----------
    photo : Photo
    small : Small
        The same photo, reduced.
    least_px, most_px : float
        Diameters that spots may have, photo pixels.

    Returns
    -------
    list of (k, 2) arrays
        Points on the outline of each spot, px, clearest first.
    """
    found: list[tuple[Floats, Floats]] = []  # centre and half axes' matrix
    for _, labels, stats, centroids in small.parts:
        area = stats[:, cv2.CC_STAT_AREA].astype(float)
        w = stats[:, cv2.CC_STAT_WIDTH].astype(float)
        h = stats[:, cv2.CC_STAT_HEIGHT].astype(float)
        longest, shortest = np.maximum(w, h), np.minimum(w, h)
        # An ellipse fills at most pi/4 of its box, and less where it is turned.
        kept = (area > 0.45 * w * h) & (area < 0.83 * w * h) & (shortest > 2 * _LEAST_AXIS)
        kept &= (longest * small.shrink > least_px) & (longest * small.shrink < most_px)
        for i in np.flatnonzero(kept):
            shape = _round_shape(labels, stats[i], int(i))
            if shape is None:
                continue
            centre = small.to_photo(centroids[i])
            if all(np.linalg.norm(centre - other) > 0.5 * most_px / 10 for other, _ in found):
                found.append((centre, shape * small.shrink))
    outlines = []
    for centre, shape in found:
        outline = _outline(photo, centre, shape)
        if outline is not None:
            outlines.append(outline)
    outlines.sort(key=lambda found: found[0])
    return [points for _, points in outlines[:_MOST_SPOTS]]


def _round_shape(labels: Any, stats: Any, label: int) -> Floats | None:
    """Half axes' matrix of a filled ellipse, where the part is one, reduced px."""
    x, y, w, h = (int(v) for v in stats[:4])
    part: Any = (labels[y : y + h, x : x + w] == label).astype(np.uint8)
    contours, _ = cv2.findContours(part, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outer = max(contours, key=len)
    filled = cv2.drawContours(np.zeros_like(part), [outer], -1, 1, cv2.FILLED)
    m = cv2.moments(filled, binaryImage=True)
    spread = np.array([[m["mu20"], m["mu11"]], [m["mu11"], m["mu02"]]]) / m["m00"]
    values, vectors = np.linalg.eigh(spread)
    if values[0] <= 0 or np.sqrt(values[1] / values[0]) > _MOST_ASPECT:
        return None
    # A filled ellipse has variance (half axis)²/4 along each axis.
    axes = 2 * np.sqrt(values)
    if axes[0] < _LEAST_AXIS or abs(m["m00"] / (np.pi * axes[0] * axes[1]) - 1) > _ROUND:
        return None
    return np.asarray(vectors @ np.diag(axes) @ vectors.T)


def _outline(photo: Photo, centre: Floats, shape: Floats) -> tuple[float, Floats] | None:
    """Points on a spot's outline, with how far they stray from an ellipse (share of its axis)."""
    turn = np.linspace(0, 2 * np.pi, _RAYS, endpoint=False)
    along = np.stack([np.cos(turn), np.sin(turn)], axis=-1) @ shape.T
    share = np.linspace(1 - _WINDOW, 1 + _WINDOW, _SAMPLES)
    px = centre + share[None, :, None] * along[:, None, :]
    height, width = photo.rgb.shape[:2]
    if (px < 0).any() or (px[..., 0] > width - 1).any() or (px[..., 1] > height - 1).any():
        return None
    colour = read_at(photo.rgb, px).astype(float)
    inner, outer = np.median(colour[:, :8], axis=(0, 1)), np.median(colour[:, -8:], axis=(0, 1))
    across = (inner - outer) / max(float(np.linalg.norm(inner - outer)), 1e-6)
    signal = cv2.GaussianBlur((colour @ across).astype(np.float32), (5, 1), 1.0)
    fall = -np.diff(signal, axis=1)
    best = np.argmax(fall[:, 1:-1], axis=1) + 1
    row = np.arange(_RAYS)
    before, peak, after = fall[row, best - 1], fall[row, best], fall[row, best + 1]
    bend = np.minimum(before - 2 * peak + after, -1e-6)
    at = best + 0.5 + np.clip(0.5 * (before - after) / bend, -0.5, 0.5)
    good = peak > 0.35 * np.median(peak)
    reach = 1 - _WINDOW + at * (share[1] - share[0])
    points = centre + reach[:, None] * along
    for _ in range(3):
        if good.sum() < _LEAST_AGREE * _RAYS:
            return None
        stray = _stray(points, good, centre, shape)
        spread = float(np.sqrt(np.mean(stray[good] ** 2)))
        good &= np.abs(stray) < min(_MOST_STRAY, max(2.5 * spread, 0.01))
    return spread, points[good]


def _stray(points: Floats, good: Any, centre: Floats, shape: Floats) -> Floats:
    """Distance from the best ellipse as a share of its half axis, by a conic close to a circle."""
    x, y = ((points - centre) @ np.linalg.inv(shape).T).T
    terms = np.column_stack([x * x - y * y, 2 * x * y, x, y, np.ones_like(x)])
    fit = np.linalg.lstsq(terms[good], (x * x + y * y)[good], rcond=None)[0]
    radius = np.sqrt(np.maximum(terms @ fit, 1e-9))
    return np.asarray(np.hypot(x, y) - radius)
