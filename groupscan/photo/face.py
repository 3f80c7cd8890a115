"""Where a face of unknown size ends: the connected part of the photo that has its colour."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.plane import Floats, Plane
from groupscan.photo.reading import Photo

__all__ = ["Face", "find_face"]

_COARSE = 500  # longest side of the picture that is looked at, px
_SEED_MM = (10.0, 55.0)  # from the mark outwards: ground of the face
_STRIP_MM = 24.0  # half the height that is cut out about a scale strip, with its shadow
_RIM_MM = 7.0  # the face's edge is dark or worn: no shots are looked for this near to it


class Face:
    """The part of a photo that shows the face.

    Parameters
    ----------
    mask : (h, w) uint8 array
        1 where the reduced photo shows the face.
    shrink : float
        Full-size pixels per pixel of the mask.
    """

    def __init__(self, mask: NDArray[np.uint8], shrink: float) -> None:
        self.mask, self.shrink = mask, shrink

    def shows(self, px: Floats) -> NDArray[np.bool_]:
        """Whether full-size pixels show the face, (n,)."""
        at = np.rint((px + 0.5) / self.shrink - 0.5).astype(int)
        h, w = self.mask.shape
        inside = (at >= 0).all(axis=1) & (at[:, 0] < w) & (at[:, 1] < h)
        at = np.clip(at, 0, [w - 1, h - 1])
        return np.asarray(inside & (self.mask[at[:, 1], at[:, 0]] > 0))

    def reach_mm(self, plane: Plane) -> tuple[float, float]:
        """Width and height of the box about the sheet's origin that takes the face in, mm."""
        y, x = np.nonzero(self.mask)
        px = (np.column_stack([x, y])[::7] + 0.5) * self.shrink - 0.5
        width, height = 2 * np.abs(plane.to_mm(px.astype(float))).max(axis=0) + 4
        return float(width), float(height)


def find_face(photo: Photo, plane: Plane, length_mm: float, *, cut_strip: bool) -> Face | None:
    """Find the face about a mark of known length.

    Parameters
    ----------
    photo : Photo
    plane : Plane
        Whose origin is the mark's middle, x along it.
    length_mm : float
        The mark's length.
    cut_strip : bool
        Whether the mark is a strip of blocks, which is no part of the ground.

    Returns
    -------
    Face or None
        None where nothing of one colour holds together about the mark.

    Notes
    -----
    Chroma (a, b of CIELAB) changes little between light and shade. The ground about the mark
    tells it with its spread; what is like it and connected to the mark is the face, spots and
    holes in it included.
    """
    height, width = photo.rgb.shape[:2]
    shrink = max(1.0, max(height, width) / _COARSE)
    small = photo.reduced(shrink)
    lab: Any = cv2.cvtColor(cv2.GaussianBlur(small, (0, 0), 1.2), cv2.COLOR_RGB2LAB)
    lab = lab.astype(np.float32)

    def box(pad_x: float, pad_y: float) -> NDArray[np.uint8]:
        x, y = length_mm / 2 + pad_x, pad_y
        corners = plane.to_px([[-x, y], [x, y], [x, -y], [-x, -y]])
        mask = np.zeros(lab.shape[:2], np.uint8)
        cv2.fillPoly(mask, [np.rint((corners + 0.5) / shrink - 0.5).astype(np.int32)], (1,))
        return mask

    near, far = _SEED_MM
    core = box(near, near + 15.0)
    ring = (box(far, far + 15.0) > 0) & (core == 0)
    if ring.sum() < 50:
        return None
    ground = lab[ring]
    middle = np.median(ground[:, 1:], axis=0)
    spread = np.maximum(1.4826 * np.median(np.abs(ground[:, 1:] - middle), axis=0), 1.5)
    away = np.sqrt((((lab[..., 1:] - middle) / spread) ** 2).sum(axis=-1))
    low, high = np.percentile(ground[:, 0], [2, 98])
    alike = (away < 4.0) & (lab[..., 0] < high + 25) & (lab[..., 0] > 0.35 * low)
    mask: Any = (alike | (core > 0)).astype(np.uint8)
    mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    bead = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (19, 19)).astype(np.uint8)
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, bead)
    labels: Any = cv2.connectedComponents(mask, connectivity=4)[1]
    x, y = np.rint((plane.to_px([[0.0, 0.0]])[0] + 0.5) / shrink - 0.5).astype(int)
    if not (0 <= x < labels.shape[1] and 0 <= y < labels.shape[0]) or labels[y, x] == 0:
        return None
    face: Any = (labels == labels[y, x]).astype(np.uint8)
    outlines = cv2.findContours(face, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
    face = np.zeros_like(face)
    cv2.drawContours(face, [max(outlines, key=len)], -1, (1,), -1)
    rim = max(1, round(_RIM_MM / float(plane.mm_per_px()[0]) / shrink))
    face = cv2.erode(face, np.ones((2 * rim + 1, 2 * rim + 1), np.uint8))
    if cut_strip:
        face[box(8.0, _STRIP_MM) > 0] = 0
    return Face(np.asarray(face), shrink) if face.any() else None
