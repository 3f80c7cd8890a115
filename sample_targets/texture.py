"""Random textures that more than one thing is made of."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["smooth_noise"]


def smooth_noise(
    rng: np.random.Generator, shape: tuple[int, int], grain_px: float
) -> NDArray[np.float32]:
    """Return smooth noise of unit deviation with structures of some `grain_px`."""
    small = max(4, int(shape[0] / grain_px)), max(4, int(shape[1] / grain_px))
    coarse = rng.standard_normal(small, dtype=np.float32)
    fine = cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_CUBIC)
    return np.asarray(fine / max(float(fine.std()), 1e-9), np.float32)
