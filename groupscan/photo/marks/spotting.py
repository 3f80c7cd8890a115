"""Where a ten-zone face lies in a photo, roughly: yellow inside red inside blue."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np

from groupscan.photo.plane import Floats
from groupscan.photo.reading import Photo

__all__ = ["spot_face"]

#: Longest side of the picture that the face is looked for in, px.
_COARSE = 1000
#: Hue ranges of the three coloured zones in OpenCV's half degrees, wide enough for lamp light and
#: for blue shade; and the least saturation and value. Found on renders and prints, no source.
_HUES = {"yellow": ((16, 40),), "red": ((0, 14), (166, 180)), "blue": ((88, 128),)}
_LEAST_SATURATION, _LEAST_VALUE = 70, 35


def spot_face(photo: Photo) -> tuple[Floats, tuple[str, ...]] | None:
    """Find the best face in view.

    Parameters
    ----------
    photo : Photo

    Returns
    -------
    homography : (3, 3) array
        Zone widths to pixels, up as in the photo; with what to say of other faces in view.
        None where no face is in view.
    """
    height, width = photo.rgb.shape[:2]
    shrink = max(1.0, max(height, width) / _COARSE)
    size = (round(width / shrink), round(height / shrink))
    small = cv2.resize(photo.rgb, size, interpolation=cv2.INTER_LINEAR) if shrink > 1 else photo.rgb
    hsv = cv2.cvtColor(cv2.GaussianBlur(small, (0, 0), 1.0), cv2.COLOR_RGB2HSV)
    colours = {name: _colour_mask(hsv, name) for name in _HUES}
    yellow = cv2.morphologyEx(colours["yellow"], cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    count, labels, stats, centroids = cv2.connectedComponentsWithStats(yellow)
    found: list[tuple[float, float, Floats]] = []
    for i in range(1, count):
        area = float(stats[i, cv2.CC_STAT_AREA])
        if area < 60:
            continue
        x, y, w, h = stats[i, :4]
        m = cv2.moments((labels[y : y + h, x : x + w] == i).astype(np.uint8), binaryImage=True)
        spread = np.array([[m["mu20"], m["mu11"]], [m["mu11"], m["mu02"]]]) / m["m00"]
        values, vectors = np.linalg.eigh(spread)
        if values[0] <= 0 or values[1] / values[0] > 9:
            continue
        # A filled ellipse has variance (semi-axis)²/4 along each axis; yellow is two zones.
        linear = vectors @ np.diag(np.sqrt(values)) @ vectors.T
        score = _ring_score(colours, centroids[i], linear)
        if score > 0.35:
            found.append((score * area, area, _upright_affine(linear, centroids[i], shrink)))
    if not found:
        return None
    found.sort(key=lambda f: -f[0])
    notes: tuple[str, ...] = ()
    if len(found) > 1 and found[1][1] > 0.2 * found[0][1]:
        notes = ("Two faces are in view; the larger was read. Photograph one sheet at a time.",)
    return found[0][2], notes


def _colour_mask(hsv: np.ndarray, name: str) -> np.ndarray:
    mask: Any = np.zeros(hsv.shape[:2], np.uint8)
    for low, high in _HUES[name]:
        mask |= cv2.inRange(hsv, (low, _LEAST_SATURATION, _LEAST_VALUE), (high, 255, 255))
    return np.asarray(mask)


def _ring_score(colours: dict[str, np.ndarray], centre: Floats, linear: Floats) -> float:
    """Product of the shares of red and blue where a face around this yellow would have them."""
    turn = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    circle = np.column_stack([np.cos(turn), np.sin(turn)])
    share = 1.0
    for name, radius in (("yellow", 1.5), ("red", 2.5), ("red", 3.5), ("blue", 4.5), ("blue", 5.5)):
        at = np.rint(centre + radius * circle @ linear.T).astype(int)
        mask = colours[name]
        inside = (at >= 0).all(1) & (at[:, 0] < mask.shape[1]) & (at[:, 1] < mask.shape[0])
        if inside.sum() < 24:
            return 0.0
        share *= float((mask[at[inside, 1], at[inside, 0]] > 0).mean())
    return float(share ** (1 / 5))


def _upright_affine(linear: Floats, centre: Floats, shrink: float) -> Floats:
    """Affine map from zone widths to full-size pixels, with the photo's up for the sheet's."""
    full = linear * shrink
    # Of all rotations before the map, the one that sends (0, 1) to straight up in the photo.
    up = np.linalg.solve(full, np.array([0.0, -1.0]))
    up /= np.linalg.norm(up)
    rotation = np.array([[-up[1], up[0]], [up[0], up[1]]])
    out = np.eye(3)
    out[:2, :2] = full @ rotation
    out[:2, 2] = (centre + 0.5) * shrink - 0.5
    return out
