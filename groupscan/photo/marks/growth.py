"""A printed grid grown from a first piece, crossing by crossing, to where its lines end."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.marks.lattice import Crossings, Seed, measure_crossings, place
from groupscan.photo.plane import Floats
from groupscan.photo.reading import Photo

__all__ = ["Grid", "grow"]

#: How far a crossing must stand out both ways, in deviations, to be one.
_CLEAR = 5.0
#: How far off its neighbours a crossing may lie, periods: curl is smooth, blunders are not.
_ALONE = 0.025
#: Share of a line's crossings that must be seen for the line to be there.
_PRESENT = 0.35
_FEWEST = 40  # crossings for a plane
_GROWTH, _AHEAD = 20, 3  # rounds, and lines added in each
_ENDS = (slice(None, _AHEAD), slice(-_AHEAD, None))


@dataclass(frozen=True, eq=False)
class Grid:
    """A block of the grid: how far each crossing lies off where the homography has it.

    Attributes
    ----------
    picture : uint8 array
        What it is measured in.
    matrix : (3, 3) array
        Homography from periods to pixels of that picture.
    low : (2,) int array
        Where the block begins.
    off : (n, m, 2) array, periods
        NaN for crossings that were not seen.
    """

    picture: NDArray[np.uint8]
    matrix: Floats
    low: NDArray[np.intp]
    off: Floats

    @cached_property
    def nodes(self) -> Floats:
        """Whole numbers of all crossings, (n, m, 2)."""
        n, m = self.off.shape[:2]
        block = np.meshgrid(np.arange(n), np.arange(m), indexing="ij")
        return np.asarray(np.stack(block, -1) + self.low, float)

    @cached_property
    def seen(self) -> NDArray[np.bool_]:
        """Crossings that were seen."""
        return np.asarray(np.isfinite(self.off[..., 0]))

    @cached_property
    def in_photo(self) -> NDArray[np.bool_]:
        """Crossings whose surroundings the picture shows."""
        px = place(self.matrix, self.nodes)
        half = np.linalg.norm(place(self.matrix, self.nodes + [0.5, 0.0]) - px, axis=-1)
        height, width = self.picture.shape[:2]
        edge = np.stack([half, half], -1)
        return np.asarray(((px >= edge) & (px <= [width - 1, height - 1] - edge)).all(axis=-1))

    def there(self, axis: int) -> NDArray[np.bool_]:
        """Which lines across an axis are there: enough of their crossings are seen."""
        could = self.in_photo.sum(axis=1 - axis)
        seen = (self.seen & self.in_photo).sum(axis=1 - axis)
        return np.asarray((could >= 3) & (seen > _PRESENT * np.maximum(could, 1)))


def grow(photo: Photo, seed: Seed, *, line: float, most: int) -> Grid | None:
    """Grow a first piece until the lines end on every side, then measure it at full size.

    Parameters
    ----------
    photo : Photo
    seed : Seed
        As `~groupscan.photo.marks.lattice.find_seed` found it.
    line : float
        Width of the printed lines, periods.
    most : int
        Lines that the grid has at most each way; at twice as many it is left.

    Returns
    -------
    Grid or None
        None where the piece does not grow to a grid.
    """
    grid = Grid(seed.grey, seed.matrix, np.array([-2, -2]), np.full((5, 5, 2), np.nan))
    grid = _refit(_measure(grid, reach=0.3, line=line))
    for _ in range(_GROWTH):
        if grid.seen.sum() < 9:
            return None
        there = [grid.there(axis) for axis in range(2)]
        first, last = [[bool(t[k].any()) for t in there] for k in _ENDS]
        if not (any(first) or any(last)) or max(grid.off.shape) > 2 * most:
            break
        pad = [(_AHEAD * first[axis], _AHEAD * last[axis]) for axis in range(2)]
        off = np.pad(grid.off, (*pad, (0, 0)), constant_values=np.nan)
        before = np.array([b for b, _ in pad], np.intp)
        grid = replace(grid, low=grid.low - before, off=off)
        grid = _refit(_measure(grid, reach=0.15, line=line))
    if grid.seen.sum() < _FEWEST:
        return None
    s = seed.shrink
    full = np.array([[s, 0.0, (s - 1) / 2], [0.0, s, (s - 1) / 2], [0.0, 0.0, 1.0]])
    use = grid.seen
    at = (grid.nodes + grid.off)[use]
    found = measure_crossings(photo.rgb, full @ grid.matrix, at, reach=0.05, line=line, rows=4)
    off = grid.off.copy()
    # They were seen once; now only what is hidden at this size goes.
    off[use] += np.where(_clear(found, _CLEAR / 2)[:, None], found.off, np.nan)
    grid = _without_lonely(replace(grid, picture=photo.rgb, matrix=full @ grid.matrix, off=off))
    return grid if grid.seen.sum() >= _FEWEST else None


def _measure(grid: Grid, *, reach: float, line: float) -> Grid:
    """Measure the crossings not seen yet, near where those around them lie."""
    usual, count = _around(grid.off, _AHEAD)
    new = ~grid.seen & grid.in_photo
    if grid.seen.any():
        new &= count > 0
    if not new.any():
        return grid
    expected = np.where(count[..., None] > 0, usual, 0.0)[new]
    at = grid.nodes[new] + expected
    found = measure_crossings(grid.picture, grid.matrix, at, reach=reach, line=line)
    off = grid.off.copy()
    off[new] = np.where(_clear(found)[:, None], expected + found.off, np.nan)
    return _without_lonely(replace(grid, off=off))


def _clear(found: Crossings, least: float = _CLEAR) -> NDArray[np.bool_]:
    return np.asarray((found.clear > least).all(axis=1))


def _refit(grid: Grid) -> Grid:
    """Fit the homography to all crossings seen; where they are in the picture stays."""
    use = grid.seen
    if use.sum() < 9:
        return grid
    px = place(grid.matrix, grid.nodes + grid.off)
    period = float(np.linalg.norm(grid.matrix[:2, 0] / grid.matrix[2, 2]))
    found: Any = cv2.findHomography(grid.nodes[use], px[use], cv2.RANSAC, 0.1 * period)[0]
    if found is None:
        return grid
    back = np.linalg.inv(found)
    return replace(grid, matrix=np.asarray(found, float), off=place(back, px) - grid.nodes)


def _around(off: Floats, reach: int) -> tuple[Floats, NDArray[np.intp]]:
    """Median of the crossings seen around each, itself left out, and how many they are."""
    n, m = off.shape[:2]
    padded = np.pad(off, ((reach, reach), (reach, reach), (0, 0)), constant_values=np.nan)
    ways = range(2 * reach + 1)
    shifts = [padded[i : i + n, j : j + m] for i in ways for j in ways if (i, j) != (reach, reach)]
    ordered = np.sort(np.stack(shifts), axis=0)  # what was not seen goes last
    count = np.isfinite(ordered).sum(axis=0)
    middle = np.take_along_axis(ordered, np.maximum(count - 1, 0)[None] // 2, axis=0)[0]
    return middle, count[..., 0]


def _without_lonely(grid: Grid) -> Grid:
    """Leave out crossings that lie off what their neighbours say: curl is smooth."""
    usual, count = _around(grid.off, 1)
    apart = np.abs(grid.off - usual).max(axis=-1)
    known = apart[np.isfinite(apart)]
    limit = _ALONE + (0.5 * float(np.median(known)) if len(known) else 0.0)
    keep = (count >= 2) & (apart < limit)
    return replace(grid, off=np.where(keep[..., None], grid.off, np.nan))
