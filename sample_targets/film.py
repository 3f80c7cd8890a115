"""What the phone makes of the light: blur, noise, sharpening, 8 bits."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["decode", "develop", "encode"]

Linear = NDArray[np.float32]


def encode(linear: Linear) -> Linear:
    """Linear light to the sRGB curve of IEC 61966-2-1."""
    low = linear * np.float32(12.92)
    high = np.float32(1.055) * np.power(linear, np.float32(1 / 2.4)) - np.float32(0.055)
    return np.where(linear <= 0.0031308, low, high)


def decode(picture: NDArray[np.uint8]) -> Linear:
    """Bytes of sRGB to linear light."""
    value = np.arange(256) / 255
    table = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return table.astype(np.float32)[picture]


def develop(
    light: Linear,
    rng: np.random.Generator,
    *,
    blur_px: float,
    noise: float,
    sharpen: float = 0.45,
    dark: float = 0.25,
) -> NDArray[np.uint8]:
    """Turn light into a picture as a phone does.

    Parameters
    ----------
    light : (h, w, 3) array
        Linear light, white at 1; changed in place.
    rng : numpy.random.Generator
    blur_px : float
        Standard deviation of the lens's blur.
    noise : float
        Noise at white, as a share of it.
    sharpen : float
        How much of what a blur of 1.4 pixels takes away is added again.
    dark : float
        Noise without any light, as a share of that at white.

    Returns
    -------
    (h, w, 3) uint8 array
    """
    light = cv2.GaussianBlur(light, (0, 0), blur_px)
    grain = rng.standard_normal(light.shape, dtype=np.float32)
    # Shot noise grows with the root of the light; read noise is always there.
    light += grain * np.sqrt(noise**2 * np.maximum(light, 0) + (dark * noise) ** 2)
    shown = encode(np.clip(light, 0, 1))
    # Phones smooth colour noise and sharpen edges.
    shown = 0.5 * shown + 0.5 * cv2.GaussianBlur(shown, (0, 0), 0.7)
    shown += sharpen * (shown - cv2.GaussianBlur(shown, (0, 0), 1.4))
    return np.round(np.clip(shown, 0, 1) * 255).astype(np.uint8)
