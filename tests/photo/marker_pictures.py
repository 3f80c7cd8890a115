"""Pictures of fiducial markers with exact corners, drawn without any code of the package."""

from collections.abc import Iterable

import cv2
import numpy as np
from numpy.typing import NDArray

DARK, LIGHT = 30.0, 234.0
SHARE = 6  # samples a pixel, each way


def camera(
    *,
    px_per_mm: float,
    size: tuple[int, int],
    tilt_deg: float = 0.0,
    about_deg: float = 0.0,
    roll_deg: float = 0.0,
    shift_px: tuple[float, float] = (0.0, 0.0),
    focal_px: float | None = None,
) -> NDArray[np.float64]:
    """Homography, sheet mm (y up) to px, of a phone-like camera looking at the sheet's centre."""
    focal = focal_px or 0.75 * max(size)
    about = np.radians(about_deg)
    tilt, _ = cv2.Rodrigues(np.radians(tilt_deg) * np.array([np.cos(about), np.sin(about), 0.0]))
    roll, _ = cv2.Rodrigues(np.array([0.0, 0.0, np.radians(roll_deg)]))
    rotation = roll @ tilt @ np.diag([1.0, -1.0, -1.0])
    middle = (np.array(size) - 1) / 2 + np.array(shift_px)
    inner = np.array([[focal, 0, middle[0]], [0, focal, middle[1]], [0, 0, 1]])
    return inner @ np.column_stack([rotation[:, :2], [0, 0, focal / px_per_mm]])


def through(homography: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    ends = np.concatenate([points, np.ones((*points.shape[:-1], 1))], axis=-1) @ homography.T
    return ends[..., :2] / ends[..., 2:]


def draw(
    markers: Iterable[tuple[int, float, float, float]],
    homography: NDArray[np.float64],
    size: tuple[int, int],
) -> NDArray[np.float64]:
    """Grey levels of markers (id, x, y, side; mm) on light ground, each pixel the mean of 36."""
    width, height = size
    picture = np.full((height, width), LIGHT)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    back = np.linalg.inv(homography)
    offset = (np.arange(SHARE) + 0.5) / SHARE - 0.5
    for marker_id, x, y, side in markers:
        cells = cv2.aruco.generateImageMarker(dictionary, marker_id, 8, borderBits=1) > 127
        seen = through(homography, corners_of(x, y, side))
        x0, y0 = np.maximum(np.floor(seen.min(axis=0)).astype(int) - 2, 0)
        x1, y1 = np.minimum(np.ceil(seen.max(axis=0)).astype(int) + 3, size)
        across = (np.arange(x0, x1)[:, None] + offset).ravel()
        down = (np.arange(y0, y1)[:, None] + offset).ravel()
        mm = through(back, np.stack(np.meshgrid(across, down), axis=-1))
        column = np.floor((mm[..., 0] - x + side / 2) / side * 8).astype(int)
        row = np.floor((y + side / 2 - mm[..., 1]) / side * 8).astype(int)
        inside = (column >= 0) & (column < 8) & (row >= 0) & (row < 8)
        light = cells[row.clip(0, 7), column.clip(0, 7)] | ~inside
        levels = np.where(light, LIGHT, DARK)
        patch = levels.reshape(y1 - y0, SHARE, x1 - x0, SHARE).mean(axis=(1, 3))
        picture[y0:y1, x0:x1] = np.minimum(picture[y0:y1, x0:x1], patch)
    return picture


def corners_of(x: float, y: float, side: float) -> NDArray[np.float64]:
    """Corners, mm: top left, top right, bottom right, bottom left."""
    return np.array([x, y]) + side / 2 * np.array([[-1.0, 1], [1, 1], [1, -1], [-1, -1]])


def expose(
    picture: NDArray[np.float64],
    *,
    blur_px: float,
    noise: float,
    rng: np.random.Generator,
    in_light: bool = False,
) -> NDArray[np.uint8]:
    """Blur and noise; `in_light` blurs linear light and keeps the sRGB curve, as cameras do."""
    if in_light:
        light = ((picture / 255 + 0.055) / 1.055) ** 2.4
        light = cv2.GaussianBlur(light, (0, 0), blur_px)
        picture = 255 * (1.055 * light ** (1 / 2.4) - 0.055)
    elif blur_px:
        picture = cv2.GaussianBlur(picture, (0, 0), blur_px)
    noisy = picture + rng.normal(0, noise, picture.shape)
    return noisy.round().clip(0, 255).astype(np.uint8)
