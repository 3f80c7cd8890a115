"""Pins and staples: what is dark in a paper's corners and shows in several of them."""

from __future__ import annotations

from typing import Any

import numpy as np

from groupscan.photo.plane import Floats

__all__ = ["in_corner", "pins_among"]

_PIN_MM = 24.0  # how near a paper's corner pins are


def in_corner(mm: Floats, size_mm: tuple[float, float]) -> Floats:
    """Whether places lie in each of the sheet's four corners, (n, 4), where pins are."""
    near: Any = np.asarray(size_mm) / 2 - np.abs(mm) < _PIN_MM
    corner: Any = near.all(axis=1)
    quarter = 2 * (mm[:, 0] > 0) + (mm[:, 1] > 0)
    return np.asarray(corner[:, None] & (quarter[:, None] == np.arange(4)))


def pins_among(mm: Floats, size_mm: tuple[float, float]) -> Floats:
    """Tell which places are pins: those in two corners of the paper or more, or heaps in one.

    Parameters
    ----------
    mm : (n, 2) array
    size_mm : (float, float)
        Width and height of the paper.

    Returns
    -------
    (n,) array of bool
    """
    corners: Any = in_corner(mm, size_mm)
    count = corners.sum(axis=0)
    if (count > 0).sum() < 2 and count.max(initial=0) < 3:
        return np.zeros(len(mm), bool)
    return np.asarray(corners.any(axis=1))
