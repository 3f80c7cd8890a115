"""First guesses of a known sheet's plane from one or two of its figures."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.marks.figures import find_figures
from groupscan.photo.marks.outline import find_outlines
from groupscan.photo.marks.spotting import upright_affine
from groupscan.photo.plane import Floats, Plane
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import Sheet
from groupscan.sheets.prints import Prints, prints_of

__all__ = ["could_be", "guess_planes"]

#: How far two circles may be from the distance and the sizes that the sheet has, as a ratio: a
#: near view at a slant makes the farther one smaller.
_APART, _SIZES = 1.3, 1.5
#: Turns that are tried about one circle, where nothing tells the rotation.
_TURNS = 24
#: Focal lengths of cameras, as shares of the photo's longer side, from wide to long, and how far
#: from square a sheet may look before them: figures are found to a few pixels.
_FOCALS, _SKEW = (0.5, 4.0), 0.12
#: Most guesses.
_MOST = 400


def guess_planes(
    photo: Photo, sheet: Sheet, small: NDArray[np.uint8], shrink: float
) -> list[Plane]:
    """Guess where a sheet lies.

    Parameters
    ----------
    photo : Photo
    sheet : Sheet
    small : (h, w, 3) uint8 array
        The photo, reduced.
    shrink : float
        By how much.

    Returns
    -------
    list of Plane
        Unrefined and without a covariance.
    """
    prints = prints_of(sheet)
    figures = find_figures(small)
    quads = (figures.quads + 0.5) * shrink - 0.5
    seen = [(prints.rectangles_mm, quads)]
    if sheet.width_mm > 0:
        outlines = [outline.corners_px for outline in find_outlines(photo, most=3)]
        paper = np.array(outlines, float).reshape(-1, 4, 2)
        seen.append((sheet.corners_mm[None], np.vstack([paper, quads])))
    found = [
        h for mm, px in seen for h in _by_corners(mm, px) if could_be(h, photo.size, photo.focal_px)
    ]
    found += list(_by_circles(prints, figures.ellipses, shrink))
    focal = photo.focal_px or float(max(photo.size))
    return [
        Plane(h, 0.0, focal, photo.size, np.zeros((9, 9)), 0.0, 1.0, 0.0, "print")
        for h in found[:_MOST]
    ]


def could_be(homography: Floats, size: tuple[int, int], focal_px: float | None) -> bool:
    """Tell whether a camera could see a flat sheet like that.

    Parameters
    ----------
    homography : (3, 3) array
        Sheet mm to pixels.
    size : (int, int)
        Width and height of the photo, px.
    focal_px : float or None
        As the photo tells it; else all that cameras have are tried.

    Returns
    -------
    bool
        Whether the sheet's axes are square to one another and of one length before the camera,
        near enough (Zhang 2000).
    """
    focal = np.geomspace(*_FOCALS, 12) * max(size) if focal_px is None else np.array([focal_px])
    centred = homography.copy()
    centred[:2] -= np.outer((np.asarray(size) - 1) / 2, homography[2])
    x = np.stack([centred[0, :2] / f for f in focal])
    y = np.stack([centred[1, :2] / f for f in focal])
    axes = np.stack([x, y, np.broadcast_to(centred[2, :2], x.shape)], axis=1)
    length = np.linalg.norm(axes, axis=1)
    cosine = (axes[..., 0] * axes[..., 1]).sum(axis=1) / length.prod(axis=1)
    off = np.maximum(np.abs(np.log(length[:, 0] / length[:, 1])), np.abs(cosine))
    return bool(off.min() < _SKEW)


def _by_corners(rectangles_mm: Floats, quads_px: Floats) -> Iterator[Floats]:
    """Homographies that take a rectangle of the sheet to a figure with four corners."""
    for mm in rectangles_mm:
        for px in quads_px:
            for turn in range(4):
                yield cv2.getPerspectiveTransform(
                    mm.astype(np.float32), np.roll(px, turn, axis=0).astype(np.float32)
                )


def _by_circles(prints: Prints, ellipses: Floats, shrink: float) -> Iterator[Floats]:
    """Affine maps that take one circle of the sheet to an ellipse, and another near its own."""
    circles = prints.circles_mm
    sizes = np.sqrt(np.abs(np.linalg.det(ellipses[:, :, :2]))) * shrink
    concentric = not np.ptp(circles[:, :2], axis=0).any() if len(circles) else True
    for i, (x, y, radius) in enumerate(circles):
        for a, ellipse in enumerate(ellipses):
            upright = upright_affine(ellipse[:, :2] / radius, ellipse[:, 2], shrink)
            if concentric:
                count = 1 if prints.turns_freely else _TURNS
                for turn in np.arange(count) * 2 * np.pi / count:
                    yield _about(upright, turn, x, y)
                continue
            centres = (ellipses[:, :, 2] + 0.5) * shrink - 0.5
            way = np.linalg.solve(upright[:2, :2], (centres - upright[:2, 2]).T).T
            for j, (u, v, other) in enumerate(circles):
                apart = np.array([u - x, v - y])
                if i == j or not apart.any():
                    continue
                far = np.hypot(*way.T) / np.hypot(*apart)
                size = sizes / other / (sizes[a] / radius)
                fits = (np.abs(np.log(np.maximum(far, 1e-6))) < np.log(_APART)) & (
                    np.abs(np.log(size)) < np.log(_SIZES)
                )
                for b in np.flatnonzero(fits):
                    turn = np.arctan2(way[b, 1], way[b, 0]) - np.arctan2(apart[1], apart[0])
                    yield _about(upright, float(turn), x, y)


def _about(upright: Floats, turn: float, x: float, y: float) -> Floats:
    """Turn the sheet about a point of it, which the map takes for its origin."""
    c, s = np.cos(turn), np.sin(turn)
    shift = np.array([[1, 0, -x], [0, 1, -y], [0, 0, 1.0]])
    return np.asarray(upright @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]) @ shift)
