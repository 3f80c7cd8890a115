"""Darkness at any place of the sheet, read from the photo at its full size."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.expected import Flat, telling
from groupscan.photo.plane import Floats, Plane
from groupscan.photo.reading import Photo

__all__ = ["darkness", "full_darkness", "look_into"]


def darkness(photo: Photo, plane: Plane, flat: Flat, mm: Floats) -> tuple[Floats, Floats, Floats]:
    """Read how dark the photo is at places of the sheet, against what is expected there.

    Parameters
    ----------
    photo : Photo
    plane : Plane
    flat : Flat
        Tells what is expected, at its working scale.
    mm : (n, 2) array, mm

    Returns
    -------
    dark : (n,) array
        0 as expected, 1 as dark as a hole.
    weight : (n,) array
        0 to 1: how well a hole could be told from the sheet there.
    noise : (n,) array
        Standard deviation of `dark`.
    """
    seen = _read(photo.rgb, plane.to_px(mm)).max(axis=1)
    at = flat.to_px(mm)
    expected = _read(flat.expected, at)
    light = _read(flat.light, at)
    grain = flat.noise[np.clip(np.rint(expected), 0, 255).astype(int)]
    depth = np.maximum(expected - flat.hole_level * light, 1.0)
    dark = np.clip((expected - seen) / depth, -0.5, 1.25) * telling(depth, light)
    return dark, _read(flat.weight, at), np.maximum(grain / depth, 0.03)


def look_into(
    photo: Photo, plane: Plane, flat: Flat, centre_mm: Floats, radius_mm: Floats
) -> tuple[Floats, Floats]:
    """Read what the photo shows within discs of the sheet, as shares of what paper would show.

    Parameters
    ----------
    photo : Photo
    plane : Plane
    flat : Flat
    centre_mm : (n, 2) array
    radius_mm : (n,) array

    Returns
    -------
    seen, expected : (n,) array
        Medians over each disc.
    """
    axis = np.linspace(-1, 1, 9)
    x, y = (a.ravel() for a in np.meshgrid(axis, axis))
    unit = np.column_stack([x, y])[np.hypot(x, y) <= 1]
    at = (centre_mm[:, None] + radius_mm[:, None, None] * unit).reshape(-1, 2)
    px = flat.to_px(at)
    light = _read(flat.light, px)
    seen = _read(photo.rgb, plane.to_px(at)).max(axis=1) / light
    expected = _read(flat.expected, px) / light
    shape = (len(centre_mm), len(unit))
    return np.median(seen.reshape(shape), axis=1), np.median(expected.reshape(shape), axis=1)


def full_darkness(flat: Flat, radius_mm: Floats) -> Floats:
    """How dark the middle of a hole can look, the photo's blur taken into account, (n,).

    Mean over the inner four fifths of a disc blurred by a Gaussian, to 2 % for blurs of up to
    six tenths of the radius (fitted to drawn discs).
    """
    return np.asarray(1.0 - 0.9 * np.clip(flat.blur_mm / radius_mm - 0.15, 0.0, 0.45))


def _read(picture: NDArray[Any], px: Floats) -> Floats:
    """Read a picture at n places, bilinear, (n,) or (n, channels)."""
    columns = 4096  # remap wants fewer than 32768 columns
    rows = -(-len(px) // columns)
    padded = np.zeros((rows * columns, 2), np.float32)
    padded[: len(px)] = px
    maps = padded.reshape(rows, columns, 2)
    out = cv2.remap(
        picture, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    flat = np.asarray(out).reshape(rows * columns, *picture.shape[2:])
    return np.asarray(flat[: len(px)], float)
