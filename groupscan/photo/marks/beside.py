"""Whether a blank paper lies beside the sheet that was read: two sheets in one photo."""

from __future__ import annotations

import cv2
import numpy as np

from groupscan.photo.marks.outline import Outline, find_outlines
from groupscan.photo.marks.shape import tell_shape
from groupscan.photo.marks.sides import measure_sides
from groupscan.photo.pixels import read_at
from groupscan.photo.plane import Floats
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import load_catalogue

__all__ = ["is_coloured", "look_at", "paper_beside"]

#: Least merit of an outline that is said to be another paper, worst misfit of its shape (a
#: chi-square with two degrees of freedom), and share of each of its sides that must be an edge.
_LEAST_MERIT, _WORST, _LEAST_FOUND = 0.6, 12.0, 0.7
#: Paper is white: most of the spread between its channels, as a share of the lightest.
_MOST_COLOUR = 0.45
_TRIED = 8


def paper_beside(
    photo: Photo, sheet_px: Floats, *, outlines: list[Outline] | None = None
) -> tuple[str, ...]:
    """Say if a blank paper lies beside a sheet.

    Parameters
    ----------
    photo : Photo
    sheet_px : (4, 2) array, px
        Corners of the sheet that was read, in their order.
    outlines : list of Outline, optional
        As found in this photo before.

    Returns
    -------
    tuple of str
        What to tell a person; empty where there is none.
    """
    papers = [s for s in load_catalogue().values() if s.kind == "paper"]
    for outline in find_outlines(photo, most=_TRIED) if outlines is None else outlines:
        corners = outline.corners_px
        if outline.merit < _LEAST_MERIT or _overlap(corners, sheet_px):
            continue
        if is_coloured(photo, corners):
            continue
        sides = measure_sides(photo, corners, slack_px=outline.slack_px)
        told = tell_shape(sides.corners_px, papers, size=photo.size, focal_px=photo.focal_px)
        if sides.found.min() > _LEAST_FOUND and told[0].misfit < _WORST:
            return (
                "A blank paper lies beside the sheet that was read, and its holes are not counted. "
                "Photograph one sheet at a time.",
            )
    return ()


def _overlap(one: Floats, other: Floats) -> bool:
    """Whether the middle of either figure lies within the other."""
    pairs = ((one, other), (other, one))
    return any(
        cv2.pointPolygonTest(a.astype(np.float32), tuple(map(float, b.mean(axis=0))), False) >= 0
        for a, b in pairs
    )


def look_at(photo: Photo, corners: Floats, unit: Floats) -> Floats:
    """Take colours at places of a four-sided figure.

    Parameters
    ----------
    photo : Photo
    corners : (4, 2) array, px
    unit : (..., 2) array
        Places as shares of its sides, from its first corner.

    Returns
    -------
    (n, 3) array
    """
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    matrix = cv2.getPerspectiveTransform(square, corners.astype(np.float32))
    px = cv2.perspectiveTransform(unit.reshape(1, -1, 2).astype(np.float64), matrix)
    return np.asarray(read_at(photo.rgb, px[0]), float)


def is_coloured(photo: Photo, corners: Floats) -> bool:
    """Tell whether most of what an outline holds is no white paper.

    Parameters
    ----------
    photo : Photo
    corners : (4, 2) array, px

    Returns
    -------
    bool
    """
    share = np.linspace(0.08, 0.92, 16)
    seen = look_at(photo, corners, np.stack(np.meshgrid(share, share), -1))
    lightest = seen.max(axis=1)
    return bool(np.median((lightest - seen.min(axis=1)) / np.maximum(lightest, 1)) > _MOST_COLOUR)
