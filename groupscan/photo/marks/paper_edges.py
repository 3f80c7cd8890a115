"""A paper's measured sides as marks for the plane, with what their bends leave open."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from groupscan.photo.marks.sides import Sides
from groupscan.photo.plane import Floats, Marks, Plane, fit_plane
from groupscan.photo.reading import Photo

__all__ = ["paper_marks"]

_USUAL_BEND = 0.4e-3  # how far pinned paper bends in a photo, as a share of its longer side
_BLOCKS = 8  # that a side's residuals are averaged in, to see how it bends


def paper_marks(
    photo: Photo,
    sides: Sides,
    size_mm: tuple[float, float],
    *,
    start: Floats,
    first: int = 0,
    cut_mm: float = 0.0,
) -> Marks:
    """Turn the crossings of a paper's sides into marks.

    Parameters
    ----------
    photo : Photo
    sides : Sides
    size_mm : (float, float)
        Width and height of the paper.
    start : (3, 3) array
        First guess of the homography, sheet mm to pixels.
    first : int
        Which of the corners that the sides were measured from is the top left one.
    cut_mm : float
        How far the paper may have been cut off its size, on each side.

    Returns
    -------
    Marks
        Points on straight lines. Their standard errors contain how far the sides bend away from
        the plane, as if each side erred as a whole by that much.
    """
    w, h = size_mm[0] / 2, size_mm[1] / 2
    side = (sides.side - first) % 4
    marks = Marks(
        source="paper",
        lines_px=sides.px,
        lines_normal=np.array([[0.0, 1.0], [1.0, 0.0], [0.0, -1.0], [-1.0, 0.0]])[side],
        lines_offset_mm=np.array([h, w, h, w])[side],
        lines_se_px=np.maximum(sides.se_px[sides.side], 0.1),
        start=start,
    )
    # A first fit that allows every edge its usual bend sees which crossings are far off.
    usual = np.full(len(side), _USUAL_BEND * max(photo.size))
    bent = _chosen(replace(marks, lines_se_px=usual), np.arange(len(side)) % 2 == 0)
    plane = fit_plane(bent, image_size=photo.size, focal_px=photo.focal_px)
    return _honest(marks, side, plane, cut_mm)


def _honest(marks: Marks, side: Floats, plane: Plane, cut_mm: float) -> Marks:
    """Leave out what is far off the plane, and put the bends of the sides into the errors."""
    off = _off_px(marks, plane)
    usual = max(1.4826 * float(np.median(np.abs(off))), 0.1)
    keep = np.abs(off) < 4 * usual
    bends, count = np.zeros(4), np.ones(4)
    for k in range(4):
        mine = np.flatnonzero((side == k) & keep)
        count[k] = max(len(mine), 1)
        if len(mine) >= _BLOCKS:
            blocks = np.array_split(off[mine], _BLOCKS)
            bends[k] = np.mean([block.mean() ** 2 for block in blocks])
    # A tilt shows the bend of two sides only, but all four are of one sheet.
    bend = (bends + bends.mean()) / 2 + (cut_mm / float(np.median(plane.mm_per_px()))) ** 2
    se = np.sqrt(marks.lines_se_px**2 + (bend * count)[side])
    return _chosen(replace(marks, lines_se_px=se, start=plane.homography, start_k1=plane.k1), keep)


def _chosen(marks: Marks, keep: NDArray[np.bool_]) -> Marks:
    return replace(
        marks,
        lines_px=marks.lines_px[keep],
        lines_normal=marks.lines_normal[keep],
        lines_offset_mm=marks.lines_offset_mm[keep],
        lines_se_px=marks.lines_se_px[keep],
    )


def _off_px(marks: Marks, plane: Plane) -> Floats:
    """How far points lie off their lines, px."""
    mm = plane.to_mm(marks.lines_px)
    distance = (mm * marks.lines_normal).sum(axis=1) - marks.lines_offset_mm
    jacobian = np.swapaxes(plane.jacobian(mm), 1, 2)
    slope = np.linalg.solve(jacobian, marks.lines_normal[..., None])[..., 0]
    return np.asarray(distance / np.linalg.norm(slope, axis=1))
