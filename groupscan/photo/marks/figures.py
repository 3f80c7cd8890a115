"""Ellipses and four-sided figures in a photo, whatever they belong to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.plane import Floats

__all__ = ["Figures", "find_figures"]

#: Shortest outline that is looked at, px, and the most figures of each kind, largest first.
_LEAST_LENGTH, _MOST = 40, 16
#: How far an outline may lie off its ellipse, as a share of its size, and how much of the ellipse
#: must be there.
_OFF, _LEAST_ARC = 0.02, 0.6
#: How far an outline may lie off its four sides, as a share of its length.
_CORNER = 0.02


@dataclass(frozen=True, eq=False)
class Figures:
    """What is seen in a picture.

    Attributes
    ----------
    ellipses : (n, 2, 3) array
        Affine maps from the unit circle: linear part and centre, px.
    quads : (k, 4, 2) array
        Corners, clockwise as seen, px.
    """

    ellipses: Floats
    quads: Floats


def find_figures(picture: NDArray[np.uint8]) -> Figures:
    """Find ellipses and four-sided figures by their outlines.

    Parameters
    ----------
    picture : (h, w, 3) uint8 array

    Returns
    -------
    Figures
        The largest of each kind, each once.

    References
    ----------
    J. Canny, "A computational approach to edge detection", *IEEE TPAMI* 8 (1986) 679-698.

    Examples
    --------
    >>> picture = np.full((200, 200, 3), 230, np.uint8)
    >>> picture[40:121, 30:151] = 40
    >>> find_figures(picture).quads[0].astype(int).tolist()
    [[30, 40], [150, 40], [150, 120], [30, 120]]
    """
    soft = cv2.GaussianBlur(picture, (0, 0), 1.2)
    edges: Any = np.zeros(soft.shape[:2], np.uint8)
    for channel in cv2.split(soft):
        rough: Any = cv2.Sobel(channel, cv2.CV_16S, 1, 0)
        other: Any = cv2.Sobel(channel, cv2.CV_16S, 0, 1)
        size = np.abs(rough[::4, ::4].astype(float)) + np.abs(other[::4, ::4])
        high = float(np.clip(np.quantile(size, 0.9), 40, 150))
        edges |= cv2.Canny(rough, other, 0.5 * high, high)
    edges = cv2.morphologyEx(edges, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    outlines, _ = cv2.findContours(edges, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    ellipses: list[Floats] = []
    quads: list[Floats] = []
    for outline in sorted(outlines, key=len, reverse=True)[: 20 * _MOST]:
        if len(outline) < _LEAST_LENGTH:
            break
        points = outline[:, 0, :].astype(np.float32)
        quad = _quad(outline)
        if quad is not None and _new(quad.mean(axis=0), quad, [(q.mean(axis=0), q) for q in quads]):
            quads.append(quad)
            continue
        ellipse = _ellipse(points)
        if ellipse is not None and _new(
            ellipse[:, 2], ellipse[:, :2], [(e[:, 2], e[:, :2]) for e in ellipses]
        ):
            ellipses.append(ellipse)
    return Figures(
        np.array(ellipses[:_MOST], float).reshape(-1, 2, 3),
        np.array(quads[:_MOST], float).reshape(-1, 4, 2),
    )


def _new(centre: Floats, shape: Floats, known: list[tuple[Floats, Floats]]) -> bool:
    """Whether a figure is none of those known: both edges of a line count once."""
    return not any(
        np.abs(centre - other).max() < 3 and np.abs(shape - like).max() < 3 for other, like in known
    )


def _quad(outline: Any) -> Floats | None:
    """Corners of an outline that has four, clockwise as seen."""
    length = cv2.arcLength(outline, True)
    few = cv2.approxPolyDP(outline, _CORNER * length, True)
    if len(few) != 4 or not cv2.isContourConvex(few):
        return None
    if cv2.contourArea(few) < 0.02 * length**2:
        return None
    corners = few[:, 0, :].astype(float)
    x, y = corners.T
    area = float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())
    corners = corners if area > 0 else corners[::-1]
    return np.asarray(np.roll(corners, -int(np.argmin(corners.sum(axis=1))), axis=0))


def _ellipse(points: Any) -> Floats | None:
    """Affine map from the unit circle to an outline that is round."""
    keep = np.ones(len(points), bool)
    for _ in range(2):
        if keep.sum() < _LEAST_LENGTH / 2:
            return None
        (x, y), (wide, high), degrees = cv2.fitEllipseDirect(points[keep][:2000])
        if not np.isfinite([x, y, wide, high]).all() or min(wide, high) < 6:
            return None
        turn = np.radians(degrees)
        axes = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        linear = axes @ np.diag([wide / 2, high / 2]) @ axes.T
        unit = (points - [x, y]) @ np.linalg.inv(linear).T
        keep = np.abs(np.hypot(*unit.T) - 1) < _OFF + 1.5 / min(wide, high)
    if wide > 4 * high or high > 4 * wide or keep.mean() < 0.7:
        return None
    seen = np.unique(np.floor(np.arctan2(unit[keep, 1], unit[keep, 0]) * 36 / np.pi))
    if len(seen) < _LEAST_ARC * 72:
        return None
    return np.column_stack([linear, [x, y]])
