"""A camera's pose before a plane, as ten numbers with a covariance of their own.

In the order of `PARAMS`: the rotation vector from square on (camera axes: x right, y down, z
forward); where the plane's origin is seen, in focal lengths from the photo's centre; the log of
its distance, mm; the log of the focal length over the one assumed; the radial term, in units of
the focal length assumed; and two that belong to the marks: the strip's half height, mm, and how
far light bleeds over an edge, px.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from groupscan.photo.plane import Floats

__all__ = ["PARAMS", "Camera", "straightened"]

PARAMS = 10
#: Products by unit vectors: what makes a vector's cross-product matrix of it, row by row.
_CROSS = np.array(
    [
        [0, 0, 0, 0, 0, -1.0, 0, 1.0, 0],
        [0, 0, 1.0, 0, 0, 0, -1.0, 0, 0],
        [0, -1.0, 0, 1.0, 0, 0, 0, 0, 0],
    ]
)


@dataclass(frozen=True)
class Camera:
    """What turns the ten numbers into pixels; all take them as (..., 10).

    Attributes
    ----------
    focal_px : float
        Focal length assumed.
    centre_px : (2,) array
        The photo's centre.
    turn_rad : float
        Direction in the photo, x right and y down, of the plane's x axis.
    """

    focal_px: float
    centre_px: Floats
    turn_rad: float

    def rotation(self, p: Floats) -> Floats:
        """Plane's axes in the camera's, (..., 3, 3)."""
        c, s = np.cos(self.turn_rad), np.sin(self.turn_rad)
        square_on = np.array([[c, s, 0.0], [s, -c, 0.0], [0.0, 0.0, -1.0]])
        return np.asarray(_rotation(p[..., :3]) @ square_on)

    def homography(self, p: Floats) -> Floats:
        """Plane mm to undistorted places in focal lengths, (..., 3, 3)."""
        stretch = np.exp(p[..., 6, None])
        origin = np.concatenate([p[..., 3:5] / stretch, np.ones_like(stretch)], axis=-1)
        h = self.rotation(p)
        h[..., 2] = origin * np.exp(p[..., 5, None])
        h[..., :2, :] *= stretch[..., None]
        return h

    def to_px(self, p: Floats, mm: Floats) -> Floats:
        """Pixels (..., n, 2) of places on the plane (n, 2)."""
        h = self.homography(p)
        q = mm @ np.swapaxes(h[..., :2], -1, -2) + h[..., None, :, 2]
        q = q[..., :2] / q[..., 2:]
        bend = 1 + p[..., 7, None] * (q**2).sum(axis=-1)
        return np.asarray(q * bend[..., None] * self.focal_px + self.centre_px)

    def to_mm(self, p: Floats, px: Floats) -> Floats:
        """Places on the plane (..., n, 2) of pixels (n, 2)."""
        flat = straightened((px - self.centre_px) / self.focal_px, p[..., 7, None])
        a = np.linalg.inv(self.homography(p))
        q = flat @ np.swapaxes(a[..., :2], -1, -2) + a[..., None, :, 2]
        return np.asarray(q[..., :2] / q[..., 2:])


def straightened(seen: Floats, k1: Floats) -> Floats:
    """Take out the radial term k1 (..., 1); two rounds are exact enough for phones' lenses."""
    square = (seen**2).sum(axis=-1)
    shrink = 1 / (1 + k1 * square)
    for _ in range(2):
        shrink = 1 / (1 + k1 * square * shrink**2)
    return np.asarray(seen * shrink[..., None])


def _rotation(vector: Floats) -> Floats:
    """Rotation matrices of rotation vectors (..., 3), by Rodrigues' formula."""
    angle = np.sqrt((vector * vector).sum(axis=-1))[..., None, None]
    cross = (vector @ _CROSS).reshape(*vector.shape[:-1], 3, 3)
    first = np.sinc(angle / np.pi)
    second = 0.5 * np.sinc(angle / (2 * np.pi)) ** 2
    return np.asarray(np.eye(3) + first * cross + second * (cross @ cross))
