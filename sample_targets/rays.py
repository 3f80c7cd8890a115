"""Where the rays through a picture's pixels meet a surface, band by band."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_targets.camera import Camera

__all__ = ["FINE", "Rays", "fine_steps", "mean_of_rays"]

Floats = NDArray[np.float64]

FINE = 2
"""Rays a pixel, each way."""


def _spread(node: Floats, places_v: Floats, places_u: Floats) -> NDArray[np.float32]:
    """Interpolate a coarse grid of nodes linearly at rows and columns given in node units."""
    down, across = places_v.astype(int), places_u.astype(int)
    first, last = int(down[0]), int(down[-1]) + 2
    part = node[first:last]
    share = places_u - across
    rows = part[:, across] * (1 - share) + part[:, across + 1] * share
    share = (places_v - down)[:, None]
    down = down - first
    return (rows[down] * (1 - share) + rows[down + 1] * share).astype(np.float32)


@dataclass(frozen=True)
class Rays:
    """Where the rays through a coarse grid of pixels meet a surface, or what it is like there.

    The maps are so smooth that linear interpolation between nodes eight pixels apart stays within
    a thousandth of a millimetre.
    """

    x: Floats
    y: Floats

    STEP = 8

    @classmethod
    def cast(cls, camera: Camera, bend: Any, depth_mm: float = 0.0) -> Rays:
        """Cast them on a bent sheet, or (None) on a plane `depth_mm` behind the flat one."""
        u = np.arange(-cls.STEP, camera.width + 2 * cls.STEP, cls.STEP, dtype=np.float64)
        v = np.arange(-cls.STEP, camera.height + 2 * cls.STEP, cls.STEP, dtype=np.float64)
        met = camera.meet(*np.meshgrid(u, v), bend, depth_mm=depth_mm)
        return cls(met[..., 0], met[..., 1])

    def at(self, v: Floats, u: Floats) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return x and y in mm at rows and columns of pixels, whole or not."""
        places = v / self.STEP + 1, u / self.STEP + 1
        return _spread(self.x, *places), _spread(self.y, *places)


def fine_steps(pixels: Floats) -> Floats:
    """Return the places of the rays in a row of pixels."""
    return (pixels[:, None] + (np.arange(FINE) + 0.5) / FINE - 0.5).ravel()


def mean_of_rays(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return each pixel's mean over its rays."""
    height, width = values.shape[0] // FINE, values.shape[1] // FINE
    return np.asarray(cv2.resize(values, (width, height), interpolation=cv2.INTER_AREA))
