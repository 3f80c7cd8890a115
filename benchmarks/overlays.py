"""Pictures for finding out why: where a scan missed a hole or saw one that is not there."""

from __future__ import annotations

import glob
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from benchmarks.scoring import Score
from benchmarks.truths import Truth

__all__ = ["write_overlays"]

GREEN, RED, BLUE = (0, 160, 60), (40, 40, 230), (220, 120, 0)  # BGR
TILE_MM = 25.0
TILE_PX = 420


def write_overlays(folder: Path, path: Path, *, truth: Truth, scan: Any, score: Score) -> None:
    """Write one overview a photo and one enlarged crop a missed hole or false find.

    True holes are green rings, finds red crosses, hidden holes blue rings.
    """
    picture = cv2.imread(str(path), cv2.IMREAD_COLOR)
    if picture is None:
        return
    folder.mkdir(parents=True, exist_ok=True)
    for kind in ("missed", "false"):  # an earlier run's crops would be taken for this one's
        for stale in folder.glob(f"{glob.escape(path.stem)}_{kind}_*.png"):
            stale.unlink()
    mm_per_px = truth.mm_per_px if np.isfinite(truth.mm_per_px) else 0.3
    holes = [] if scan is None else [hole for hole in scan.holes if hole.state != "patched"]
    found_px = np.array([[hole.x_px, hole.y_px] for hole in holes], dtype=float).reshape(-1, 2)

    shrink = min(1.0, 1600.0 / max(picture.shape[:2]))
    overview = cv2.resize(picture, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    _draw(overview, truth, found_px, scale=shrink, offset=(0.0, 0.0), mm_per_px=mm_per_px)
    cv2.imwrite(str(folder / f"{path.stem}.png"), overview)

    half = max(12, round(TILE_MM / mm_per_px))
    places = [(f"missed_{i:02d}", truth.xy_px[i]) for i in score.missed]
    places += [(f"false_{j:02d}", found_px[j]) for j in score.false]
    for name, (x, y) in places:
        left, top = round(x) - half, round(y) - half
        padded = _crop(picture, left, top, 2 * half + 1)
        scale = TILE_PX / padded.shape[0]
        tile = cv2.resize(padded, (TILE_PX, TILE_PX), interpolation=cv2.INTER_NEAREST)
        marked = tile.copy()
        _draw(marked, truth, found_px, scale=scale, offset=(left, top), mm_per_px=mm_per_px)
        # With and without marks side by side: the marks must not hide what is to be judged.
        cv2.imwrite(str(folder / f"{path.stem}_{name}.png"), np.hstack([tile, marked]))


def _crop(picture: NDArray[Any], left: int, top: int, size: int) -> NDArray[Any]:
    height, width = picture.shape[:2]
    out = np.full((size, size, 3), 128, dtype=np.uint8)
    x0, y0, x1, y1 = max(left, 0), max(top, 0), min(left + size, width), min(top + size, height)
    if x1 > x0 and y1 > y0:
        out[y0 - top : y1 - top, x0 - left : x1 - left] = picture[y0:y1, x0:x1]
    return out


def _draw(
    canvas: NDArray[Any],
    truth: Truth,
    found_px: NDArray[np.float64],
    *,
    scale: float,
    offset: tuple[float, float],
    mm_per_px: float,
) -> None:
    # Integers are pixel centres: half a pixel is added before scaling and taken off after.
    def place(xy: NDArray[np.float64]) -> tuple[int, int]:
        x, y = (xy - np.array(offset) + 0.5) * scale - 0.5
        return round(x), round(y)

    for xy, diameter, hidden in zip(truth.xy_px, truth.diameter_mm, truth.hidden, strict=True):
        radius = max(4, round(0.5 * diameter / mm_per_px * scale))
        cv2.circle(canvas, place(xy), radius, BLUE if hidden else GREEN, 1, cv2.LINE_AA)
    for xy in found_px:
        cv2.drawMarker(canvas, place(xy), RED, cv2.MARKER_CROSS, 12, 1, cv2.LINE_AA)
