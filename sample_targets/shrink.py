"""Make a photo smaller and carry its truth along exactly.

Pixel centres lie at integers, so a picture made smaller by the factor s moves the pixel position x
to ``(x + 0.5) s - 0.5``. Everything in mm stays.
"""

from __future__ import annotations

import copy
import io
import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

__all__ = ["encode_jpeg", "shrink_picture", "shrink_truth", "write_pair"]

_POINT_LISTS = ("corners_px", "aim_points_px")


def shrink_truth(truth: dict[str, Any], factor: Fraction) -> dict[str, Any]:
    """Return the truth of a photo that was made smaller.

    Parameters
    ----------
    truth : dict
        Truth of the photo at full size.
    factor : Fraction
        Such as 3/4; both sides of the picture must come out whole.

    Returns
    -------
    dict
        A new dictionary.

    Raises
    ------
    ValueError
        If a side would not be a whole number of pixels.
    """
    s = float(factor)
    sides = [side * factor for side in truth["image_size_px"]]
    if any(side.denominator != 1 for side in sides):
        raise ValueError(f"{factor} of {truth['image_size_px']} pixels is not whole")

    def moved(point: list[float]) -> list[float]:
        return [round((a + 0.5) * s - 0.5, 4) for a in point]

    small = copy.deepcopy(truth)
    small["image_size_px"] = [int(side) for side in sides]
    for key in _POINT_LISTS:
        small[key] = [moved(p) for p in truth[key]]
    small["known_length"]["ends_px"] = [moved(p) for p in truth["known_length"]["ends_px"]]
    for hole in small["holes"]:
        hole["x_px"], hole["y_px"] = moved([hole["x_px"], hole["y_px"]])
        hole["hole_px"] = round(hole["hole_px"] * s, 2)
    camera = small["camera"]
    camera["f_px"] = round(camera["f_px"] * s, 4)
    camera["cx"], camera["cy"] = moved([camera["cx"], camera["cy"]])
    plane = small["mm_to_px"]
    move = np.array([[s, 0, s / 2 - 0.5], [0, s, s / 2 - 0.5], [0, 0, 1]])
    matrix = move @ np.array(plane["homography"])
    plane["homography"] = [[float(f"{a:.9g}") for a in row] for row in matrix / matrix[2, 2]]
    for key in ("max_deviation_px", "rms_deviation_px"):
        plane[key] = round(plane[key] * s, 3)
    small["mm_per_px_at_centre"] = round(truth["mm_per_px_at_centre"] / s, 5)
    return small


def shrink_picture(upright: NDArray[np.uint8], factor: Fraction) -> NDArray[np.uint8]:
    """Return the picture made smaller by averaging the area of each new pixel."""
    height, width = upright.shape[:2]
    size = int(width * factor), int(height * factor)
    return np.asarray(cv2.resize(upright, size, interpolation=cv2.INTER_AREA))


def encode_jpeg(
    upright: NDArray[np.uint8],
    *,
    orientation: int = 1,
    focal_eq_mm: float | None = None,
    largest_bytes: int = 1_150_000,
    best_quality: int = 92,
) -> bytes:
    """Return an upright picture as JPEG, stored turned as a phone stores it.

    Parameters
    ----------
    upright : (h, w, 3) uint8 array
        RGB.
    orientation : {1, 3, 6, 8}
        EXIF orientation of the file.
    focal_eq_mm : float, optional
        Written as the focal length in 35 mm terms.
    largest_bytes : int
        The quality is lowered in steps until the file is no larger.
    best_quality : int
        Quality to begin with.

    Returns
    -------
    bytes
    """
    # A viewer turns by the inverse of what is done here (EXIF 2.32, tag 0x0112).
    quarter_turns = {1: 0, 3: 2, 6: 1, 8: 3}[orientation]
    image = Image.fromarray(np.ascontiguousarray(np.rot90(upright, quarter_turns)))
    exif = Image.Exif()
    exif[0x0112] = orientation
    if focal_eq_mm is not None:
        exif.get_ifd(0x8769)[0xA405] = round(focal_eq_mm)
    for quality in range(best_quality, 20, -3):
        buffer = io.BytesIO()
        image.save(buffer, "JPEG", quality=quality, optimize=True, exif=exif)
        if buffer.tell() <= largest_bytes:
            break
    return buffer.getvalue()


def write_pair(folder: Path, jpeg: bytes, truth: dict[str, Any]) -> Path:
    """Write a photo and its truth side by side, and return the photo's path."""
    photo = folder / truth["photo"]
    photo.write_bytes(jpeg)
    text = json.dumps(truth, indent=1, ensure_ascii=False)
    photo.with_suffix(".json").write_text(text + "\n", encoding="utf-8")
    return photo
