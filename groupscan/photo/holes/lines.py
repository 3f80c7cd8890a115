"""Drawn lines: what is dark and long and narrower than a hole, put out of the question."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import cv2
import numpy as np

from groupscan.photo.expected import Flat

__all__ = ["without_lines"]

#: Width of a line at most, as a share of a hole's; how many holes long it is at least (a torn flap
#: is shorter); and from which share of a hole's darkness it counts.
_NARROW, _LONG, _DARK = 0.8, 2.5, 0.45
#: How far the blur of a line's edge reaches, working pixels.
_EDGE_PX = 2


def without_lines(flat: Flat, radius_mm: float) -> Flat | None:
    """Let drawn lines speak neither for holes nor against them.

    Parameters
    ----------
    flat : Flat
    radius_mm : float
        Radius of this photo's holes, mm.

    Returns
    -------
    Flat or None
        With weight 0 on lines; None where there are no lines.

    Notes
    -----
    An opening by a disc keeps what the disc fits into (Serra 1982): holes and broad marks, but not
    lines, nor square crossings of them, in which the disc that fits is wider by the square root of
    two. Of what it takes away, only what is much longer than a hole is wide is a line; the rest is
    ragged edges and flaps.
    """
    dark: Any = ((flat.dark > _DARK) & (flat.weight > 0.3)).astype(np.uint8)
    reach = _NARROW * radius_mm * flat.px_per_mm
    broad = cv2.morphologyEx(dark, cv2.MORPH_OPEN, _disc(reach))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(dark & ~broad, connectivity=8)
    size = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    long = size > _LONG * 2 * radius_mm * flat.px_per_mm
    long[0] = False
    if not long.any():
        return None
    lines: Any = cv2.dilate(long[labels].astype(np.uint8), _disc(_EDGE_PX))
    clear = lines == 0
    return replace(flat, dark=flat.dark * clear, weight=flat.weight * clear)


def _disc(radius_px: float) -> Any:
    """Draw a disc as a structuring element."""
    k = np.arange(-int(radius_px), int(radius_px) + 1)
    return (np.hypot(*np.meshgrid(k, k)) <= radius_px).astype(np.uint8)
