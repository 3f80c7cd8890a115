"""A phone-like camera that looks at a slightly bent sheet; both ways exact.

Sheet coordinates: mm, origin at the sheet's centre, x right, y up, measured on the flat sheet.
Pixels: x right, y down, pixel centres at integers.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["Bend", "Camera", "best_homography"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Bend:
    """A sheet rolled round a cylinder, which keeps every length measured along the paper.

    Attributes
    ----------
    sag_mm : float
        Height of the bend over the sheet's half diagonal; towards the camera if positive.
    reach_mm : float
        Half diagonal of the sheet.
    direction_rad : float
        Direction across the cylinder, from the sheet's x axis.
    """

    sag_mm: float
    reach_mm: float
    direction_rad: float

    @property
    def radius_mm(self) -> float:
        """Radius of the cylinder; infinite for a flat sheet."""
        return np.inf if self.flat else self.reach_mm**2 / (2 * abs(self.sag_mm))

    @property
    def flat(self) -> bool:
        """Whether the bend is too small to compute with."""
        return abs(self.sag_mm) < 1e-6

    def lift(self, xy_mm: Floats) -> Floats:
        """Return the place in space, (..., 3) mm, of points of the flat sheet, (..., 2) mm."""
        across = np.array([np.cos(self.direction_rad), np.sin(self.direction_rad)])
        if self.flat:
            return np.concatenate([xy_mm, np.zeros_like(xy_mm[..., :1])], axis=-1)
        s = xy_mm @ across
        r = self.radius_mm
        moved = xy_mm + (r * np.sin(s / r) - s)[..., None] * across
        height = np.sign(self.sag_mm) * r * (np.cos(s / r) - 1)
        return np.concatenate([moved, height[..., None]], axis=-1)

    def height(self, x: Floats, y: Floats) -> Floats:
        """Return the height in mm over the point (x, y) in space."""
        if self.flat:
            return np.zeros_like(x)
        p = x * np.cos(self.direction_rad) + y * np.sin(self.direction_rad)
        r = self.radius_mm
        return np.sign(self.sag_mm) * (np.sqrt(np.maximum(r * r - p * p, 0.0)) - r)

    def flatten(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Return the flat sheet's coordinates of the points in space over (x, y)."""
        if self.flat:
            return x, y
        c, s = np.cos(self.direction_rad), np.sin(self.direction_rad)
        p = x * c + y * s
        r = self.radius_mm
        longer = r * np.arcsin(np.clip(p / r, -1, 1)) - p
        return x + longer * c, y + longer * s


@dataclass(frozen=True)
class Camera:
    """A pinhole with one radial distortion term, in front of a sheet.

    Attributes
    ----------
    width, height : int
        Picture size in pixels.
    f_px : float
        Focal length.
    k1 : float
        Radial distortion: a point at (x, y) in units of f goes to (x, y) (1 + k1 r^2).
    tilt_rad, tilt_axis_rad : float
        How far the sheet leans, and about which axis in the picture.
    roll_rad : float
        Turn of the sheet in the picture.
    centre_px : (float, float)
        Where the sheet's centre lies before distortion.
    distance_mm : float
        Depth of the sheet's centre.
    """

    width: int
    height: int
    f_px: float
    k1: float
    tilt_rad: float
    tilt_axis_rad: float
    roll_rad: float
    centre_px: tuple[float, float]
    distance_mm: float

    @property
    def cx(self) -> float:
        """Principal point, x."""
        return (self.width - 1) / 2

    @property
    def cy(self) -> float:
        """Principal point, y."""
        return (self.height - 1) / 2

    @cached_property
    def rotation(self) -> Floats:
        """From sheet axes (x right, y up, z towards the viewer) to camera axes, (3, 3)."""
        axis = np.array([np.cos(self.tilt_axis_rad), np.sin(self.tilt_axis_rad), 0.0])
        tilt, _ = cv2.Rodrigues(axis * self.tilt_rad)
        roll, _ = cv2.Rodrigues(np.array([0.0, 0.0, self.roll_rad]))
        return np.asarray(tilt) @ np.asarray(roll) @ np.diag([1.0, -1.0, -1.0])

    @cached_property
    def shift(self) -> Floats:
        """The sheet's centre in camera axes, (3,) mm."""
        u, v = self.centre_px
        depth = self.distance_mm
        return np.array([(u - self.cx) / self.f_px, (v - self.cy) / self.f_px, 1.0]) * depth

    def project_straight(self, points_mm: Floats) -> Floats:
        """Return undistorted pixels, (..., 2), of points in space, (..., 3) mm on sheet axes."""
        seen = points_mm @ self.rotation.T + self.shift
        return self.f_px * seen[..., :2] / seen[..., 2:] + [self.cx, self.cy]

    def project(self, points_mm: Floats) -> Floats:
        """Return pixels, (..., 2), of points in space, (..., 3) mm on sheet axes."""
        x = (self.project_straight(points_mm) - [self.cx, self.cy]) / self.f_px
        r2 = (x * x).sum(axis=-1, keepdims=True)
        return self.f_px * x * (1 + self.k1 * r2) + [self.cx, self.cy]

    def rays(self, u: Floats, v: Floats) -> Floats:
        """Return the direction on sheet axes, (..., 3), of the rays through pixels."""
        xd, yd = (u - self.cx) / self.f_px, (v - self.cy) / self.f_px
        rd2 = xd * xd + yd * yd
        scale = np.ones_like(rd2)
        for _ in range(6):
            scale = 1 / (1 + self.k1 * rd2 * scale * scale)
        directions = np.stack([xd * scale, yd * scale, np.ones_like(xd)], axis=-1)
        return directions @ self.rotation

    def meet(self, u: Floats, v: Floats, bend: Bend | None, *, depth_mm: float = 0.0) -> Floats:
        """Return where rays meet the bent sheet, or a flat plane `depth_mm` behind it.

        Returns
        -------
        (..., 2) array
            Flat sheet coordinates in mm.
        """
        origin = -self.shift @ self.rotation
        rays = self.rays(u, v)
        z = np.full(u.shape, -depth_mm)
        for _ in range(1 if bend is None else 7):
            along = (z - origin[2]) / rays[..., 2]
            x, y = origin[0] + along * rays[..., 0], origin[1] + along * rays[..., 1]
            if bend is not None:
                z = bend.height(x, y)
        return np.stack((x, y) if bend is None else bend.flatten(x, y), axis=-1)


def best_homography(camera: Camera, bend: Bend, half_mm: Floats) -> tuple[Floats, Floats]:
    """Return the plane that fits a bent sheet best, and how far the sheet departs from it.

    Parameters
    ----------
    camera : Camera
    bend : Bend
    half_mm : (2,) array
        Half the sheet's size.

    Returns
    -------
    (3, 3) array
        Homography from sheet mm to undistorted pixels.
    (n,) array
        Departures over the sheet, pixels.
    """
    grid = np.stack(np.meshgrid(np.linspace(-1, 1, 25), np.linspace(-1, 1, 25)), axis=-1)
    flat = grid.reshape(-1, 2) * half_mm
    seen = camera.project_straight(bend.lift(flat))
    # Fit in units near one, for the sake of the arithmetic.
    found, _ = cv2.findHomography(flat / 100.0, seen / 1000.0, 0)
    matrix = np.diag([1000.0, 1000.0, 1.0]) @ np.asarray(found) @ np.diag([0.01, 0.01, 1.0])
    matrix /= matrix[2, 2]
    placed = np.column_stack([flat, np.ones(len(flat))]) @ matrix.T
    apart = np.linalg.norm(placed[:, :2] / placed[:, 2:] - seen, axis=1)
    return matrix, apart
