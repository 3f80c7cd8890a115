"""Straight edges in a picture, each with its light side."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.plane import Floats

__all__ = ["straight_edges"]

#: Directions that votes are counted in, and how far apart parallel lines are told, px.
_TURNS, _APART = 180, 2.0
#: Gradient, next to the light that falls there, from which a pixel has its whole vote.
_CLEAR = 0.25


def straight_edges(picture: NDArray[np.float32], *, most: int) -> Floats:
    """Find straight edges, each with its light side.

    Parameters
    ----------
    picture : (h, w) float32 array
        Grey levels, slightly blurred.
    most : int
        How many to return at most of those whose light side faces right, down, left or up: the
        layers of a butt are many, and must not crowd out the sides of the sheet.

    Returns
    -------
    (k, 3) array
        Unit normal towards the light, and the line's distance from the first pixel along it, px.

    Notes
    -----
    A Hough transform in which each pixel votes only along its own gradient (Ballard 1981), so that
    a line knows its light side. Gradients count relative to the light that falls there, and faint
    ones less.

    References
    ----------
    D. H. Ballard, "Generalizing the Hough transform to detect arbitrary shapes", *Pattern
    Recognition* 13 (1981) 111-122, doi 10.1016/0031-3203(81)90009-1.

    Examples
    --------
    >>> picture = np.full((60, 80), 30.0, np.float32)
    >>> picture[:, 40:] = 200.0
    >>> straight_edges(picture, most=1).round().tolist()
    [[1.0, 0.0, 40.0]]
    """
    gx, gy = (cv2.Sobel(picture, cv2.CV_32F, *d, ksize=3, scale=1 / 8) for d in ((1, 0), (0, 1)))
    # Relative to the light here, so that the outline in the shade counts as that in the sun.
    size = cv2.magnitude(gx, gy) / (cv2.boxFilter(picture, -1, (9, 9)) + 12.0)
    floor = max(float(np.quantile(size[::3, ::3], 0.8)), 0.02)
    peak = size >= cv2.dilate(size, np.ones((3, 3), np.uint8)) * 0.7
    rows, columns = np.nonzero((size > floor) & peak)
    turn = np.arctan2(gy[rows, columns], gx[rows, columns])
    weight = np.minimum(size[rows, columns] / _CLEAR, 1.0)
    height, width = picture.shape
    reach = float(np.hypot(height, width))
    count = int(2 * reach / _APART) + 3
    base = np.round(turn * _TURNS / (2 * np.pi)).astype(int)
    k = (base + np.arange(-2, 3)[:, None]) % _TURNS
    angle = np.arange(_TURNS) * 2 * np.pi / _TURNS
    across, down = (np.asarray(f(angle) / _APART, np.float32) for f in (np.cos, np.sin))
    at = columns.astype(np.float32) * across[k] + rows.astype(np.float32) * down[k]
    index = k * count + np.rint(at + reach / _APART).astype(int)
    votes: Any = np.bincount(index.ravel(), np.tile(weight, 5), _TURNS * count)
    votes = votes.reshape(_TURNS, count).astype(np.float32)
    votes = cv2.GaussianBlur(np.vstack([votes[-3:], votes, votes[:3]]), (3, 3), 0)[3:-3]
    wrapped = np.vstack([votes[-2:], votes, votes[:2]])
    top = votes >= cv2.dilate(wrapped, np.ones((5, 5), np.uint8))[2:-2]
    k, index = np.nonzero(top & (votes > 0.02 * min(height, width)))
    order = np.argsort(-votes[k, index])
    facing = np.round(k[order] / (_TURNS / 4)).astype(int) % 4
    order = np.concatenate([order[facing == way][:most] for way in range(4)])
    turned = k[order] * 2 * np.pi / _TURNS
    return np.column_stack([np.cos(turned), np.sin(turned), index[order] * _APART - reach])
