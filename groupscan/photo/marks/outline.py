"""Where a sheet of paper lies in a photo: four straight sides, light within and darker outside.

Paper is told by its outline, not by its tone: a shadow across the sheet changes the tone of half
of it, but along each side the paper stays lighter than what lies behind it. So every pixel of a
reduced picture that lies on an edge votes for the straight line through it, with its light side
known; four lines that face one another are an outline, and what counts is how much of its length
is an edge in truth.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.marks.straight import straight_edges
from groupscan.photo.plane import Floats
from groupscan.photo.reading import Photo

__all__ = ["Outline", "find_outlines"]

#: Longest side of the picture that outlines are looked for in, px.
_COARSE = 480
#: Most lines that outlines are made of, with their light to the right, below, left or above.
_MOST_LINES = 7
#: Stations along each side where the edge is checked.
_STATIONS = 24
#: Most outlines that are moved to the steps near them; and how much darker it must be outside.
_MOST_SNAPPED, _LEAST_FALL = 40, 0.08
#: Outlines whose corners lie nearer to one another than this are one, px.
_SAME = 6.0
_FULL = 0.7  # contrast that is as good as any
#: Least share of the picture that a sheet to be measured covers.
_LEAST_AREA = 0.03


@dataclass(frozen=True, eq=False)
class Outline:
    """Four corners of a sheet, clockwise as seen in the photo, px.

    Attributes
    ----------
    corners_px : (4, 2) array
    support : float
        Share of the outline's length that is an edge from light to darker.
    contrast : float
        How much darker it is outside, as a share of the light within, on the faintest side.
    slack_px : float
        How far off the sides may be.
    """

    corners_px: Floats
    support: float
    contrast: float
    slack_px: float

    @property
    def merit(self) -> float:
        """How much of an outline it is, 0 to 1."""
        return _merit(self.support, self.contrast)

    def shares_sides(self, other: Outline, *, least: int = 2) -> bool:
        """Whether so many sides lie along sides of another outline: with two, both are one sheet's.

        Parameters
        ----------
        other : Outline
        least : int, default 2

        Returns
        -------
        bool
        """
        reach = 2.5 * self.slack_px
        near = np.abs(self._inside(other)) < reach
        return int((near & np.roll(near, -1, axis=0)).any(axis=1).sum()) >= least

    def within(self, other: Outline) -> bool:
        """Whether it lies within another outline, and is smaller by more than it may be off."""
        depth, reach = self._inside(other), 2.5 * self.slack_px
        return bool((depth > -reach).all() and (depth.min(axis=0) > reach).any())

    def _inside(self, other: Outline) -> Floats:
        """How far each corner lies inside each side of another outline, (4, 4) px."""
        along = np.roll(other.corners_px, -1, axis=0) - other.corners_px
        off = self.corners_px[:, None] - other.corners_px
        return np.asarray((off * _inward(along)).sum(axis=-1))


def _merit(support: float, contrast: float) -> float:
    return support * float(np.sqrt(np.clip(contrast, 0.01, _FULL) / _FULL))


def find_outlines(photo: Photo, *, most: int = 6) -> list[Outline]:
    """Find what may be sheets of paper, best first.

    Parameters
    ----------
    photo : Photo
    most : int, default 6
        How many to return at most.

    Returns
    -------
    list of Outline

    Notes
    -----
    The picture's darkest channel is used: white paper is light in all three, and grass, straw and
    brick are dark in blue. Of all outlines that the straight edges in it could make, the most
    promising are moved to the steps near them, and what counts then is how much of their length
    is a step in truth.

    Examples
    --------
    >>> rgb = np.full((300, 400, 3), 60, np.uint8)
    >>> rgb[50:250, 100:255] = 230
    >>> found = find_outlines(Photo("card", rgb))
    >>> bool(np.abs(found[0].corners_px.mean(axis=0) - [177.0, 149.5]).max() < 1.0)
    True
    """
    white, shrink = _whiteness(photo.rgb)
    lines = straight_edges(white, most=_MOST_LINES)
    if len(lines) < 4:
        return []
    corners = _corners(lines, white.shape)
    if not len(corners):
        return []
    rough = _rough_support(white, corners)
    corners = corners[np.argsort(-rough)[:_MOST_SNAPPED]]
    for reach in (7, 4):
        corners = _snap(white, corners, reach)
    edge = _support(white, corners)
    support = (edge > _LEAST_FALL).mean(axis=2)
    contrast = np.median(edge, axis=2).min(axis=1)
    # A side that is no edge for half its length is none.
    good = np.flatnonzero((support.mean(axis=1) > 0.75) & (support.min(axis=1) > 0.5))
    merit = np.array([_merit(*pair) for pair in zip(support.mean(axis=1), contrast, strict=True)])
    chosen: list[int] = []
    for i in good[np.argsort(-merit[good])]:
        # The same outline again, perhaps counted from another corner?
        again = (np.arange(4)[:, None] + np.arange(4)) % 4
        known = [np.abs(corners[i][again] - corners[k]).max(axis=(1, 2)).min() for k in chosen]
        if all(apart > _SAME for apart in known):
            chosen.append(int(i))
        if len(chosen) == most:
            break
    return [
        Outline(
            (corners[i] + 0.5) * shrink - 0.5,
            float(support[i].mean()),
            float(contrast[i]),
            2.0 * shrink,
        )
        for i in chosen
    ]


def _whiteness(rgb: NDArray[np.uint8]) -> tuple[NDArray[np.float32], float]:
    """Return the darkest channel of the reduced picture, and by how much it is reduced."""
    height, width = rgb.shape[:2]
    shrink = max(1.0, max(height, width) / _COARSE)
    small: Any = rgb
    if shrink >= 2:
        # In two steps: quick to twice the size, then averaged, a tenth of the time.
        w, h = round(width / shrink), round(height / shrink)
        if shrink > 4:
            small = cv2.resize(rgb, (2 * w, 2 * h), interpolation=cv2.INTER_LINEAR)
        small = cv2.resize(small, (w, h), interpolation=cv2.INTER_AREA)
    else:
        shrink = 1.0
    red, green, blue = cv2.split(small)
    dark: Any = cv2.min(cv2.min(red, green), blue)
    return cv2.GaussianBlur(dark.astype(np.float32), (0, 0), 1.0), shrink


@lru_cache(maxsize=32)
def _fours(count: int) -> NDArray[np.intp]:
    return np.array(list(combinations(range(count), 4)), np.intp).reshape(-1, 4)


def _corners(lines: Floats, shape: tuple[int, ...]) -> Floats:
    """Corners (n, 4, 2), clockwise as seen, of all outlines that the lines could make."""
    angle = np.arctan2(lines[:, 1], lines[:, 0])
    order = np.argsort(angle)
    lines, angle = lines[order], angle[order]
    fours = _fours(len(lines))
    turns = angle[fours]
    gaps = np.mod(np.diff(np.column_stack([turns, turns[:, 0]]), axis=1), 2 * np.pi)
    fours = fours[(np.abs(gaps - np.pi / 2) < np.radians(50)).all(axis=1)]
    a, b = lines[fours], lines[np.roll(fours, -1, axis=1)]
    det = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    x = (a[..., 2] * b[..., 1] - a[..., 1] * b[..., 2]) / det
    y = (a[..., 0] * b[..., 2] - a[..., 2] * b[..., 0]) / det
    corners = np.stack([x, y], -1)
    height, width = shape[:2]
    margin = 0.01 * max(shape[:2])
    within = (
        (x > -margin) & (y > -margin) & (x < width - 1 + margin) & (y < height - 1 + margin)
    ).all(axis=1)
    following = np.roll(corners, -1, axis=1)
    area = (x * following[..., 1] - y * following[..., 0]).sum(axis=1) / 2
    side = np.linalg.norm(following - corners, axis=2)
    # Light inside: going round with the light to the right, the area is positive as seen.
    big = (area > _LEAST_AREA * height * width) & (side.min(axis=1) > 0.25 * side.max(axis=1))
    return np.asarray(corners[within & big])


def _profiles(
    white: NDArray[np.float32], corners: Floats, offsets: Floats, stations: int = _STATIONS
) -> Floats:
    """Sample across the sides, (n, 4, stations, offsets); offsets count inwards."""
    share = (np.arange(stations) + 0.5) / stations
    start, along = corners[:, :, None, :], (np.roll(corners, -1, axis=1) - corners)[:, :, None, :]
    at = start + along * share[:, None]
    inward = _inward(along)
    maps = (at[..., None, :] + inward[..., None, :] * offsets[:, None]).astype(np.float32)
    rows = maps.reshape(len(corners) * 4, -1, 2)
    seen = np.empty(rows.shape[:2], np.float32)
    for first in range(0, len(rows), 30000):
        part = rows[first : first + 30000]
        seen[first : first + 30000] = cv2.remap(
            white, part[..., 0], part[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
    return np.asarray(seen.reshape(len(corners), 4, stations, len(offsets)))


def _inward(along: Floats) -> Floats:
    length = np.linalg.norm(along, axis=-1, keepdims=True)
    return np.asarray(np.stack([-along[..., 1], along[..., 0]], -1) / np.maximum(length, 1e-6))


def _rough_support(white: NDArray[np.float32], corners: Floats) -> Floats:
    """How far it falls from light to dark over the outlines, as a share, (n,)."""
    seen = _profiles(white, corners, np.array([-3.5, -1.5, 1.5, 3.5]), stations=8)
    outer, inner = seen[..., :2].min(axis=-1), seen[..., 2:].min(axis=-1)
    fall = np.clip((inner - outer) / (inner + 8.0), 0.0, 0.5)
    return np.asarray(fall.mean(axis=(1, 2)))


def _support(white: NDArray[np.float32], corners: Floats) -> Floats:
    """How far it falls from light to dark over the sides, as a share, (n, 4, stations)."""
    seen = _profiles(white, corners, np.array([-5.0, -4.0, -3.0, -2.0, 2.0, 3.0, 4.0, 5.0]))
    outer, inner = seen[..., :4].min(axis=-1), seen[..., 4:].mean(axis=-1)
    # The step must lie here: what is inside it is alike.
    flat = np.abs(seen[..., 7] - seen[..., 5]) < 0.35 * np.maximum(inner - outer, 6.0)
    return np.asarray(np.where(flat, (inner - outer) / (inner + 8.0), 0.0))


def _snap(white: NDArray[np.float32], corners: Floats, reach: int) -> Floats:
    """Move each side to the steps near it, by a line that turns outliers down."""
    seen = _profiles(white, corners, np.arange(-reach - 1.0, reach + 2.0))
    climb = (seen[..., 2:] - seen[..., :-2]) / (seen[..., 2:] + seen[..., :-2] + 16.0)
    place = np.argmax(climb, axis=-1) - float(reach)
    share = np.broadcast_to((np.arange(_STATIONS) + 0.5) / _STATIONS - 0.5, place.shape)
    weight = np.clip(climb.max(axis=-1), 0.0, 0.3) + 1e-6
    level = np.median(place, axis=-1, keepdims=True)
    slope = np.zeros_like(level)
    for width in (0.6 * reach, 0.4 * reach, 2.0, 1.0, 1.0):
        off = place - level - slope * share
        w = weight / (1 + (off / width) ** 2) ** 2
        total = w.sum(axis=-1, keepdims=True)
        mean_x = (w * share).sum(axis=-1, keepdims=True) / total
        mean_y = (w * place).sum(axis=-1, keepdims=True) / total
        x = share - mean_x
        slope = (w * x * place).sum(axis=-1, keepdims=True) / np.maximum(
            (w * x * x).sum(axis=-1, keepdims=True), 1e-9
        )
        level = mean_y - slope * mean_x
    along = np.roll(corners, -1, axis=1) - corners
    inward = _inward(along)
    start = corners + inward * (level - 0.5 * slope)
    end = corners + along + inward * (level + 0.5 * slope)
    return _meet(start, end)


def _meet(start: Floats, end: Floats) -> Floats:
    """Corners where each side meets the one before it."""
    normal = _inward(end - start)
    rho = (normal * start).sum(axis=-1)
    before, before_rho = np.roll(normal, 1, axis=1), np.roll(rho, 1, axis=1)
    det = before[..., 0] * normal[..., 1] - before[..., 1] * normal[..., 0]
    det = np.where(np.abs(det) < 1e-3, 1e-3, det)
    x = (before_rho * normal[..., 1] - rho * before[..., 1]) / det
    y = (rho * before[..., 0] - before_rho * normal[..., 0]) / det
    return np.stack([x, y], -1)
