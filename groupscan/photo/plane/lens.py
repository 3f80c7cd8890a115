"""A pinhole camera with one radial term: a flat sheet's places to pixels and back."""

from __future__ import annotations

import numpy as np

from groupscan.photo.plane.marks_seen import Floats

__all__ = ["image_centre", "project", "through", "undistort", "unstretched"]


def image_centre(image_size: tuple[int, int]) -> Floats:
    """Return the middle of a photo, (2,) px."""
    return np.asarray((np.asarray(image_size, float) - 1.0) / 2.0)


def through(h: Floats, points: Floats) -> Floats:
    """Map points (n, 2) through a homography."""
    q = points @ h[:, :2].T + h[:, 2]
    return np.asarray(q[:, :2] / q[:, 2:], float)


def project(h: Floats, k1: float, mm: Floats, centre: Floats, focal: float) -> Floats:
    """Return where sheet mm (n, 2) are seen, px."""
    q = (through(h, mm) - centre) / focal
    return np.asarray(q * (1 + k1 * (q**2).sum(axis=1, keepdims=True)) * focal + centre)


def undistort(px: Floats, k1: float, centre: Floats, focal: float) -> Floats:
    """Return where pixels (n, 2) would be without the radial term."""
    q = px - centre
    ratio = unstretched(np.hypot(q[:, 0], q[:, 1]) / focal, k1)
    return np.asarray(q * ratio[:, None] + centre)


def unstretched(seen: Floats, k1: float) -> Floats:
    """Return radii without the radial term over those seen, by Newton's method."""
    radius = seen.copy()
    for _ in range(3):
        square = radius**2
        radius -= (radius * (1 + k1 * square) - seen) / (1 + 3 * k1 * square)
    return np.divide(radius, seen, out=np.ones_like(seen), where=seen > 0)
