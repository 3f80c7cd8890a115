"""Where holes may be: places that are darker than their surroundings at a hole's size."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.darkness import full_darkness
from groupscan.photo.expected import Flat
from groupscan.photo.plane import Floats

__all__ = ["find_candidates"]

#: Radii that candidates are looked for at, each against the next, mm.
_RADII_MM = (1.9, 2.9, 4.4, 6.6)
#: Radius of the smallest usual hole, mm (common practice, no source).
_SMALLEST_MM = 2.3
_LEAST_RESPONSE = 0.13
_MOST_CANDIDATES = 120
#: Curvature along over that across, from which a peak counts in full; two holes in one have 0.4.
_ROUND = 0.35


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
    found = []
    for radius, (inner, trust), (outer, _) in zip(_RADII_MM, levels, levels[1:], strict=False):
        response = inner - outer
        reach = int(2 * round(0.6 * radius * scale) + 1)
        top = cv2.dilate(response, np.ones((reach, reach), np.uint8))
        peak = (response >= top) & (response > least) & (inner > 0.25 * full) & (trust > 0.05)
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
