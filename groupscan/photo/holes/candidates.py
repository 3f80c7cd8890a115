"""Where holes may be: places that are darker than their surroundings at a hole's size."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.darkness import full_darkness
from groupscan.photo.expected import Flat
from groupscan.photo.plane import Floats

__all__ = ["find_candidates", "solid_spots"]

#: Radii that candidates are looked for at, each against the next, mm.
_RADII_MM = (1.9, 2.9, 4.4, 6.6)
#: Radius of the smallest usual hole, mm (common practice, no source).
_SMALLEST_MM = 2.3
_LEAST_RESPONSE = 0.13
_MOST_CANDIDATES = 120
#: A peak counts from so many standard deviations of the response where as much is expected, told
#: from at least this many places for grey levels so many together.
_OVER_NOISE, _TELLS_NOISE, _LEVELS_A_BIN = 4.5, 500, 16
#: Curvature along over that across, from which a peak counts in full; two holes in one have 0.4.
_ROUND = 0.35
#: Darkness from which a spot is solid; radii of holes, as far as they are solid, mm; and how much
#: longer than wide and how full of its box such a spot is: of a disc 1 and pi / 4.
_SOLID, _SOLID_MM, _LONG, _FILLED = 0.75, (1.2, 4.5), 1.7, 0.55


def find_candidates(flat: Flat) -> Floats:
    """Places that are darker than their surroundings at a hole's size, (n, 3): x, y, radius mm."""
    # Half the working scale is fine enough to find holes; they are measured in the photo itself.
    half = 0.5 if flat.px_per_mm > 0.9 else 1.0
    scale = flat.px_per_mm * half
    weighted: Any = flat.dark * flat.weight
    weight: Any = flat.weight
    if half < 1:
        weighted = cv2.resize(weighted, None, fx=half, fy=half, interpolation=cv2.INTER_AREA)
        weight = cv2.resize(weight, None, fx=half, fy=half, interpolation=cv2.INTER_AREA)
    levels = [_level(weighted, weight, r * scale / np.sqrt(2)) for r in _RADII_MM]
    full = float(full_darkness(flat, np.array([_SMALLEST_MM]))[0])
    least = _LEAST_RESPONSE * full**2
    ground: Any = cv2.resize(flat.expected, weighted.shape[::-1], interpolation=cv2.INTER_AREA)
    found = []
    for radius, (inner, trust), (outer, _) in zip(_RADII_MM, levels, levels[1:], strict=False):
        response = inner - outer
        reach = int(2 * round(0.6 * radius * scale) + 1)
        top = cv2.dilate(response, np.ones((reach, reach), np.uint8))
        clear = np.maximum(least, _noise(response, ground, weight))
        peak = (response >= top) & (response > clear) & (inner > 0.25 * full) & (trust > 0.05)
        y, x = np.nonzero(peak)
        # A shaft or a line has peaks in plenty, and would crowd out the holes.
        strength = response[y, x] * np.minimum(_roundness(response, x, y) / _ROUND, 1.0)
        order = np.argsort(-strength)[:_MOST_CANDIDATES]
        px = (np.column_stack([x[order], y[order]]) + 0.5) / half - 0.5
        strength = strength[order]
        found.append(np.column_stack([flat.to_mm(px), np.full(len(px), radius), strength]))
    spots = np.vstack(found)
    spots = spots[np.argsort(-spots[:, 3])]
    kept: list[int] = []
    for i in range(len(spots)):
        if len(kept) >= _MOST_CANDIDATES:
            break
        near = spots[kept, :2] - spots[i, :2]
        if not len(kept) or (np.hypot(near[:, 0], near[:, 1]) > 2.0).all():
            kept.append(i)
    return spots[kept, :3]


def solid_spots(flat: Flat) -> Floats:
    """Dark spots of a hole's size that stand apart where all is dark enough, (n, 3): x, y, radius.

    Parameters
    ----------
    flat : Flat

    Returns
    -------
    (n, 3) array
        Centre and radius of a disc of the spot's area, mm.
    """
    solid: Any = ((flat.dark > _SOLID) & (flat.weight > 0.9)).astype(np.uint8)
    _, _, stats, centres = cv2.connectedComponentsWithStats(solid, connectivity=4)
    area = stats[:, cv2.CC_STAT_AREA] / flat.px_per_mm**2
    radius = np.sqrt(area / np.pi)
    box = stats[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]].astype(float)
    filled = stats[:, cv2.CC_STAT_AREA] / box.prod(axis=1)
    kept: Any = (radius > _SOLID_MM[0]) & (radius < _SOLID_MM[1])
    kept &= (box.max(axis=1) < _LONG * box.min(axis=1)) & (filled > _FILLED)
    kept[0] = False
    return np.column_stack([flat.to_mm(centres[kept]), radius[kept]])


def _noise(response: Floats, ground: Floats, weight: Floats) -> Floats:
    """Say what peaks of noise alone may reach, (h, w), by the grey level expected there.

    Of n independent normal deviates the largest is about the square root of 2 ln n: 4.3 of ten
    thousand places (Leadbetter, Lindgren and Rootzen 1983, theorem 1.5.3).
    """
    few = (slice(None, None, 2), slice(None, None, 2))
    known = weight[few] > 0
    size = np.abs(response[few][known])
    level = np.clip(ground[few][known], 0, 255).astype(np.uint8) // _LEVELS_A_BIN
    noise = np.zeros(256 // _LEVELS_A_BIN, np.float32)
    for k in np.flatnonzero(np.bincount(level) > _TELLS_NOISE):
        noise[k] = _OVER_NOISE * 1.4826 * float(np.median(size[level == k]))
    table = np.repeat(noise, _LEVELS_A_BIN)
    return np.asarray(cv2.LUT(cv2.convertScaleAbs(ground), table))


def _roundness(picture: Floats, x: NDArray[np.intp], y: NDArray[np.intp]) -> Floats:
    """Lesser curvature of a picture over the greater at its peaks: 1 for a spot, 0 for a line.

    As for the edges among key points (Lowe 2004, section 4.1).
    """
    h, w = picture.shape
    x, y = np.clip(x, 1, w - 2), np.clip(y, 1, h - 2)
    middle = 2.0 * picture[y, x]
    across = middle - picture[y, x - 1] - picture[y, x + 1]
    down = middle - picture[y - 1, x] - picture[y + 1, x]
    twist = picture[y - 1, x - 1] + picture[y + 1, x + 1]
    twist = (twist - picture[y - 1, x + 1] - picture[y + 1, x - 1]) / 4
    half, spread = (across + down) / 2, np.hypot((across - down) / 2, twist)
    return np.asarray(np.clip((half - spread) / np.maximum(half + spread, 1e-9), 0, 1))


def _level(weighted: np.ndarray, weight: np.ndarray, sigma: float) -> tuple[np.ndarray, np.ndarray]:
    """Weighted mean over a Gaussian, and the weight that it rests on."""
    reach = 2 * int(np.ceil(2.5 * sigma)) + 1
    top = cv2.GaussianBlur(weighted, (reach, reach), sigma)
    bottom = cv2.GaussianBlur(weight, (reach, reach), sigma)
    return np.asarray(top / np.maximum(bottom, 0.05)), bottom
