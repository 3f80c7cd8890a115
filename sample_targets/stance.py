"""Where the photographer stands, and how large a picture the phone takes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from groupscan.sheets.shapes import Sheet
from sample_targets.camera import Camera
from sample_targets.plan import DIAGONAL_35MM

__all__ = ["picture_size", "stand"]

_SIZES = ((1536, 2048), (2448, 3264), (3024, 4032))


def picture_size(
    rng: np.random.Generator,
    sizes: tuple[int, ...],
    half: NDArray[np.float64],
    megapixels: float | None,
) -> tuple[int, int]:
    """Return width and height: phones are held upright for tall sheets, more often across else."""
    short, long = _SIZES[int(rng.choice(sizes))]
    if megapixels is not None and megapixels * 1e6 < short * long:
        shrink = math.sqrt(megapixels * 1e6 / (short * long))
        short, long = 8 * round(short * shrink / 8), 8 * round(long * shrink / 8)
    tall = rng.random() < (0.85 if half[1] > 1.1 * half[0] else 0.35)
    return (short, long) if tall else (long, short)


def stand(
    rng: np.random.Generator,
    sheet: Sheet,
    size: tuple[int, int],
    focal_eq: float,
    tilt: float,
    fill: float,
    nearest_mm: float,
    coarsest_mm: float,
) -> Camera:
    """Stand before the sheet so that it spans `fill` of the picture and all of it is in view.

    No nearer than `nearest_mm`, nor so far away that a pixel shows more than `coarsest_mm`, unless
    the sheet would not be in view.
    """
    width, height = size
    f_px = focal_eq / DIAGONAL_35MM * math.hypot(width, height)
    distance = f_px * max(sheet.width_mm / (fill * width), sheet.height_mm / (fill * height))
    distance = min(max(distance, nearest_mm), coarsest_mm * f_px)
    room = (1 - fill) / 2
    x, y = rng.uniform(-0.8, 0.8, 2) * room
    camera = Camera(
        width=width,
        height=height,
        f_px=f_px,
        k1=float(rng.uniform(-0.075, 0.03)),
        tilt_rad=tilt,
        tilt_axis_rad=float(rng.uniform(0, 2 * math.pi)),
        roll_rad=float(math.radians(np.clip(rng.normal(0, 2.5), -6, 6))),
        centre_px=(float((0.5 + x) * width), float((0.5 + y) * height)),
        distance_mm=float(distance),
    )
    half = np.array([sheet.width_mm, sheet.height_mm]) / 2
    along = np.linspace(-1, 1, 9)
    rim = np.array(
        [(a, b) for a in along for b in (-1, 1)] + [(b, a) for a in along for b in (-1, 1)]
    )
    points = np.column_stack([rim * half, np.zeros(len(rim))])
    margin = 0.02 * np.array([width, height])
    while True:
        seen = camera.project(points)
        if (seen > margin).all() and (seen < np.array([width, height]) - margin).all():
            return camera
        camera = replace(
            camera,
            distance_mm=1.03 * camera.distance_mm,
            centre_px=(
                0.97 * camera.centre_px[0] + 0.03 * width / 2,
                0.97 * camera.centre_px[1] + 0.03 * height / 2,
            ),
        )
