"""Where a sheet's print has edges: circles, straight lines and rectangles, in millimetres.

They are what a photo can be measured by, whatever mix of them a sheet has.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from groupscan.sheets.shapes import Disc, Polygon, Sheet, Stroke

__all__ = ["Prints", "prints_of"]

_Floats = NDArray[np.float64]
#: What lies within this share of the largest circle, such as a cross, tells no way up.
_SMALL = 0.1
#: Most strokes among which rectangles are looked for.
_MOST_STROKES = 24


@dataclass(frozen=True, eq=False)
class Prints:
    """The edges printed on a sheet.

    Attributes
    ----------
    circles_mm : (n, 3) array
        Centre and radius of rings and discs.
    segments_mm : (m, 4) array
        Ends of the sides of polygons, and of the long sides of strokes.
    rectangles_mm : (k, 4, 2) array
        Corners of four-sided figures, clockwise as printed.
    """

    circles_mm: _Floats
    segments_mm: _Floats
    rectangles_mm: _Floats

    def __bool__(self) -> bool:
        """Whether there is anything to measure a photo by."""
        return bool(len(self.circles_mm) or len(self.rectangles_mm))

    @property
    def turns_freely(self) -> bool:
        """Whether little but circles about the sheet's centre is printed: no side is up."""
        if not len(self.circles_mm) or self.circles_mm[:, :2].any():
            return False
        largest = float(self.circles_mm[:, 2].max())
        return bool(np.abs(self.segments_mm).max(initial=0.0) < _SMALL * largest)


def prints_of(sheet: Sheet) -> Prints:
    """Return the edges printed on a sheet; those of its grid and markers have finders of their own.

    Parameters
    ----------
    sheet : Sheet

    Returns
    -------
    Prints

    Examples
    --------
    >>> from groupscan.sheets.catalogue import get_sheet
    >>> prints = prints_of(get_sheet("ring-40"))
    >>> prints.circles_mm[0].tolist(), len(prints.rectangles_mm)
    ([0.0, 0.0, 200.0], 0)
    """
    circles = [(0.0, 0.0, ring.radius_mm) for ring in sheet.rings]
    segments: list[tuple[float, float, float, float]] = []
    rectangles: list[_Floats] = []
    strokes: list[Stroke] = []
    for shape in sheet.shapes:
        if isinstance(shape, Disc):
            circles.append((shape.x_mm, shape.y_mm, shape.radius_mm))
        elif isinstance(shape, Polygon):
            corners = np.array(shape.corners_mm)
            ends = np.hstack([corners, np.roll(corners, -1, axis=0)])
            segments += [(float(a), float(b), float(c), float(d)) for a, b, c, d in ends]
            if len(corners) == 4:
                rectangles.append(_clockwise(corners))
        elif isinstance(shape, Stroke):
            strokes.append(shape)
            segments += _sides(shape)
    rectangles += _framed(strokes[:_MOST_STROKES])
    return Prints(
        np.array(list(dict.fromkeys(circles)), float).reshape(-1, 3),
        np.array(segments, float).reshape(-1, 4),
        np.array(rectangles, float).reshape(-1, 4, 2),
    )


def _sides(stroke: Stroke) -> list[tuple[float, float, float, float]]:
    """Both long sides of a stroke."""
    start = np.array([stroke.x0_mm, stroke.y0_mm])
    end = np.array([stroke.x1_mm, stroke.y1_mm])
    length = float(np.hypot(*(end - start)))
    if length < 3 * stroke.width_mm:
        return []
    aside = np.array([start[1] - end[1], end[0] - start[0]]) / length * stroke.width_mm / 2
    ends = [(start + way * aside, end + way * aside) for way in (-1, 1)]
    return [(float(a[0]), float(a[1]), float(b[0]), float(b[1])) for a, b in ends]


def _framed(strokes: list[Stroke]) -> list[_Floats]:
    """Rectangles drawn by four strokes whose ends meet."""
    ends = [
        (np.array([s.x0_mm, s.y0_mm]), np.array([s.x1_mm, s.y1_mm]), s.width_mm) for s in strokes
    ]

    def meets(i: int, point: _Floats) -> _Floats | None:
        """Return the other end of a stroke that has one end at a point."""
        start, end, width = ends[i]
        near = 1.1 * width
        if np.hypot(*(start - point)) < near:
            return end
        return start if np.hypot(*(end - point)) < near else None

    found: dict[frozenset[int], _Floats] = {}
    for i, (start, end, width) in enumerate(ends):
        partners = [k for k in range(i + 1, len(ends)) if strokes[k].colour == strokes[i].colour]
        seconds = [k for k in partners if meets(k, end) is not None]
        for j in seconds:
            third_start = meets(j, end)
            for k, m in permutations([p for p in partners if p != j], 2):
                if frozenset((i, j, k, m)) in found or third_start is None:
                    continue
                fourth_start = meets(k, third_start)
                last = meets(m, fourth_start) if fourth_start is not None else None
                if last is not None and np.hypot(*(last - start)) < 1.1 * width:
                    corners = np.array([start, end, third_start, fourth_start])
                    found[frozenset((i, j, k, m))] = _clockwise(corners)
    return list(found.values())


def _clockwise(corners: _Floats) -> _Floats:
    """Corners clockwise as printed, y up."""
    x, y = corners.T
    area = float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())
    return corners if area < 0 else corners[::-1]
