"""Rows of alternating black and white blocks, looked for in a reduced picture.

A strip's own frame counts blocks: x runs from 0 to 6 along it, the long edges are y = -1 and
y = 1. All else is in pixels.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.plane import Floats
from groupscan.photo.reading import Photo

__all__ = ["LEAST_RATIO", "Small", "find_rows", "may_show_row", "reduced"]

Bytes: TypeAlias = NDArray[Any]

#: Longest side of the picture that the strip is looked for in, px.
_COARSE = 1000
#: Windows of the mean that a block stands out from, reduced px: three or four blocks, small and
#: large, by at least so many grey levels.
_WINDOWS, _STANDS_OUT = (61, 201), 12
_LEAST_AREA, _MOST_PARTS = 40, 160  # of a block, reduced px, and how many are looked at
_MOST_ROWS, _SAME_PX = 6, 4.0  # rows to measure; ends nearer than this are one row's
#: Light blocks are this many times as bright as dark ones next to them, at least. Paper and black
#: ink in the same light differ by four or more, even through haze (found on renders, no source).
LEAST_RATIO = 1.9


@dataclass(frozen=True)
class Small:
    """A photo reduced to grey for the search.

    Attributes
    ----------
    grey : (h, w) uint8 array
    parts : tuple of (labels, stats, centroids)
        Connected parts that are brighter, and that are darker, than their surroundings.
    shrink : float
        Photo pixels to a reduced one.
    """

    grey: Bytes
    parts: tuple[tuple[bool, Bytes, Bytes, Floats], ...]
    shrink: float

    def to_photo(self, px: Floats) -> Floats:
        """Photo pixels of reduced ones."""
        return np.asarray((px + 0.5) * self.shrink - 0.5)


def reduced(photo: Photo) -> Small:
    """Reduce a photo and part it into what stands out, bright and dark."""
    grey, shrink = _grey(photo)
    return _parted(grey, shrink, _WINDOWS)


def may_show_row(photo: Photo) -> bool:
    """Whether a still smaller picture shows what may be blocks in a row: a quick no for most."""
    grey, shrink = _grey(photo)
    half: Any = cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    small = _parted(half, 2 * shrink, tuple(window // 2 | 1 for window in _WINDOWS))
    return any(
        len(kept) >= 3 and _pairs(half, centroids[kept], area[kept], bright)
        for bright, _, stats, centroids in small.parts
        for area, kept in [_blocklike(stats, half.size, _LEAST_AREA / 5)]
    )


def _grey(photo: Photo) -> tuple[Bytes, float]:
    """Return the picture in grey, reduced for the search, and by how much."""
    width, height = photo.size
    shrink = max(1.0, max(height, width) / _COARSE)
    size = (max(1, round(width / shrink)), max(1, round(height / shrink)))
    small: Any = photo.rgb
    if shrink > 1:
        small = cv2.resize(photo.rgb, size, interpolation=cv2.INTER_LINEAR)
    return np.asarray(cv2.blur(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY), (3, 3))), shrink


def _parted(grey: Bytes, shrink: float, windows: tuple[int, ...]) -> Small:
    """Part a grey picture into what is brighter and what is darker than the mean about it."""
    parts = []
    for window in windows:
        mean = cv2.blur(grey, (window, window))
        for bright in (True, False):
            over = cv2.subtract(grey, mean) if bright else cv2.subtract(mean, grey)
            _, mask = cv2.threshold(over, _STANDS_OUT, 255, cv2.THRESH_BINARY)
            _, labels, stats, centroids = cv2.connectedComponentsWithStats(mask, connectivity=4)
            parts.append((bright, np.asarray(labels), np.asarray(stats), np.asarray(centroids)))
    return Small(grey, tuple(parts), shrink)


def _blocklike(stats: Bytes, size: int, least: float) -> tuple[Floats, NDArray[np.intp]]:
    """Areas of all parts, and which of them may be blocks, the largest first."""
    area = stats[:, cv2.CC_STAT_AREA].astype(float)
    box = stats[:, cv2.CC_STAT_WIDTH].astype(float) * stats[:, cv2.CC_STAT_HEIGHT]
    kept = np.flatnonzero((area > least) & (area > 0.3 * box) & (area < 0.02 * size))
    kept = kept[kept > 0]
    return area, kept[np.argsort(-area[kept])][:_MOST_PARTS]


def find_rows(small: Small) -> list[Floats]:
    """Find rows of six blocks that alternate between bright and dark.

    Parameters
    ----------
    small : Small

    Returns
    -------
    list of (3, 3) arrays
        First guesses of the homography from the strip's frame to photo pixels, largest first.
    """
    found = []
    for bright, labels, stats, centroids in small.parts:
        area, kept = _blocklike(stats, labels.size, _LEAST_AREA)
        if len(kept) < 3:
            continue
        for i, k, first in _pairs(small.grey, centroids[kept], area[kept], bright):
            corners = [_corners(labels, stats[kept[j]], int(kept[j])) for j in (i, k)]
            if corners[0] is None or corners[1] is None:
                continue
            homography = _through_blocks(corners[0], corners[1], first)
            if homography is not None:
                found.append((float(area[kept[i]] + area[kept[k]]), homography))
    s = small.shrink
    grow = np.array([[s, 0, (s - 1) / 2], [0, s, (s - 1) / 2], [0, 0, 1.0]])
    rows: list[Floats] = []
    places: list[Floats] = []
    for _, homography in sorted(found, key=lambda row: -row[0]):
        ends = np.array([[0, 0, 1], [6, 0, 1.0]]) @ homography.T
        place = ends[:, :2] / ends[:, 2:]
        known = [min(np.abs(p - place).max(), np.abs(p[::-1] - place).max()) for p in places]
        if not known or min(known) > _SAME_PX:
            places.append(place)
            rows.append(grow @ homography)
    return rows[:_MOST_ROWS]


def _pairs(grey: Bytes, centre: Floats, area: Floats, bright: bool) -> list[tuple[int, int, int]]:
    """Pairs of parts that are the outer two of three like blocks, and the first one's number."""
    i, k = np.nonzero(np.triu(np.ones((len(centre), len(centre)), bool), 1))
    apart = np.linalg.norm(centre[k] - centre[i], axis=1)
    size = np.sqrt(np.minimum(area[i], area[k]))
    alike = np.abs(np.log(area[i] / area[k])) < np.log(2.2)
    use = alike & (apart > 3.0 * size) & (apart < 12.0 * size)
    i, k = i[use], k[use]
    if not len(i):
        return []
    # Middles of the blocks, were they one block beyond either end too.
    share = np.arange(-1, 6) / 4.0
    at = np.rint(centre[i][:, None] + share[:, None] * (centre[k] - centre[i])[:, None]).astype(int)
    h, w = grey.shape
    inside = (at >= 0).all(-1) & (at[..., 0] < w) & (at[..., 1] < h)
    seen = grey[at[..., 1].clip(0, h - 1), at[..., 0].clip(0, w - 1)].astype(float)
    seen[~inside] = np.nan
    like, other = seen[:, 1::2], seen[:, 2:6:2]
    if bright:
        split = like.min(axis=1) > LEAST_RATIO * other.max(axis=1) + 10
        ends = seen[:, [0, 6]] * LEAST_RATIO < like.min(axis=1)[:, None]
    else:
        split = other.min(axis=1) > LEAST_RATIO * like.max(axis=1) + 10
        ends = seen[:, [0, 6]] > LEAST_RATIO * like.max(axis=1)[:, None]
    out = []
    for j in np.flatnonzero(split):
        # The sixth block lies beyond one end; on dark ground both ends look like one.
        out += [(int(i[j]), int(k[j]), first) for first, end in ((1, 0), (0, 1)) if ends[j, end]]
    return out[:24]


def _corners(labels: Bytes, stats: Bytes, label: int) -> Floats | None:
    """Corners of a four-sided part, (4, 2), as its outline goes round."""
    x, y, w, h = (int(v) for v in stats[:4])
    # Thin lines that run into a block, such as between layers of foam, are not its corners.
    thin = max(1, int(0.2 * np.sqrt(float(stats[cv2.CC_STAT_AREA])))) | 1
    part: Any = np.pad((labels[y : y + h, x : x + w] == label).astype(np.uint8), thin)
    round_ = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (thin, thin))
    part = cv2.morphologyEx(part, cv2.MORPH_OPEN, round_)
    contours, _ = cv2.findContours(part, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return None
    hull = cv2.convexHull(max(contours, key=len))
    around = cv2.arcLength(hull, closed=True)
    for share in (0.02, 0.03, 0.05, 0.08):
        corners = cv2.approxPolyDP(hull, share * around, closed=True)
        if len(corners) == 4:
            filled = float(cv2.contourArea(corners)) / max(float(stats[cv2.CC_STAT_AREA]), 1.0)
            if not 0.75 < filled < 1.25:
                return None
            return np.asarray(corners, float).reshape(4, 2) + [x - thin, y - thin]
    return None


def _through_blocks(one: Floats, two: Floats, first: int) -> Floats | None:
    """Homography from the strip's frame through its blocks `first` and ``first + 4``."""
    along = two.mean(axis=0) - one.mean(axis=0)
    along = along / np.linalg.norm(along)
    across = np.array([-along[1], along[0]])
    frame, px = [], []
    for corners, block in ((one, first), (two, first + 4)):
        off = corners - corners.mean(axis=0)
        x, y = np.sign(off @ along), np.sign(off @ across)
        if len({(a, b) for a, b in zip(x, y, strict=True)}) != 4 or not (x * y).all():
            return None
        frame.append(np.column_stack([block + 0.5 + x / 2, y]))
        px.append(corners)
    found: Any = cv2.findHomography(np.vstack(frame), np.vstack(px), 0)[0]
    if found is None or abs(found[2, 2]) < 1e-9:
        return None
    return np.asarray(found / found[2, 2], float)
