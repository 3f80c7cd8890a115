"""Sheets on a butt, seen by OpenCV's camera: place, turn and lens known, none of it by groupscan.

The sheet's own picture (from any source) is laid on a rough dark ground in linear light, blurred
and given noise as a phone would.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bytes = NDArray[np.uint8]


@dataclass(frozen=True)
class View:
    """A camera: size of its picture, px; how it looks at the sheet's centre; its lens."""

    size: tuple[int, int] = (960, 1280)
    focal_px: float = 1000.0
    tilt_deg: float = 15.0
    about_deg: float = 30.0  # direction of the tilt's axis
    roll_deg: float = 0.0
    away_mm: float = 420.0
    aside_mm: tuple[float, float] = (8.0, -12.0)
    k1: float = 0.0

    @property
    def camera(self) -> Floats:
        x, y = (np.array(self.size) - 1) / 2
        return np.array([[self.focal_px, 0, x], [0, self.focal_px, y], [0, 0, 1.0]])

    @property
    def pose(self) -> tuple[Floats, Floats]:
        about = np.radians(self.about_deg)
        axis = np.radians(self.tilt_deg) * np.array([np.cos(about), np.sin(about), 0.0])
        tilt = cv2.Rodrigues(axis)[0]
        roll = cv2.Rodrigues(np.array([0.0, 0.0, np.radians(self.roll_deg)]))[0]
        rotation = roll @ tilt @ np.diag([1.0, -1.0, -1.0])
        return rotation, np.array([*self.aside_mm, self.away_mm])

    def see(self, mm: Floats) -> Floats:
        """Pixels of places on the sheet, (n, 2) mm."""
        rotation, away = self.pose
        points = np.column_stack([mm, np.zeros(len(mm))])
        lens = np.array([self.k1, 0.0, 0.0, 0.0])
        px, _ = cv2.projectPoints(points, cv2.Rodrigues(rotation)[0], away, self.camera, lens)
        return px.reshape(-1, 2)

    def back(self, px: Floats) -> Floats:
        """Places on the sheet of pixels, (n, 2) px."""
        lens = np.array([self.k1, 0.0, 0.0, 0.0])
        rays = cv2.undistortPoints(px.reshape(-1, 1, 2), self.camera, lens).reshape(-1, 2)
        rotation, away = self.pose
        plane = np.column_stack([rotation[:, :2], away])
        q = np.column_stack([rays, np.ones(len(rays))]) @ np.linalg.inv(plane).T
        return q[:, :2] / q[:, 2:]


def to_light(levels: NDArray) -> Floats:
    """Linear light of grey levels, by a plain power."""
    return (levels / 255.0) ** 2.2


def straw(size: tuple[int, int], seed: int = 0) -> Floats:
    """Rough ground in linear light: streaks of straw colour, dark gaps between."""
    width, height = size
    rng = np.random.default_rng(seed)
    grain = cv2.GaussianBlur(rng.normal(0, 1, (height, width)), (0, 0), 5, sigmaY=0.8)
    wave = cv2.GaussianBlur(rng.normal(0, 1, (height, width)), (0, 0), 60, sigmaY=18)
    level = 0.16 + 0.08 * grain / grain.std() + 0.05 * wave / wave.std()
    return np.clip(level, 0.005, 0.45)[..., None] * np.array([1.0, 0.75, 0.35])


def photograph(
    art: Bytes,
    size_mm: tuple[float, float],
    view: View,
    *,
    ground: Floats | None = None,
    light: Floats | None = None,
    missing: NDArray[np.bool_] | None = None,
    noise: float = 2.0,
    seed: int = 0,
) -> Bytes:
    """Photograph a sheet.

    `art` is its picture square on, which fills `size_mm`; `light` a share of the light for each
    pixel of the photo; `missing` marks pixels of `art` where the paper is gone.
    """
    width, height = view.size
    step, fine = 8, 2
    # Where each sample lies on the sheet: smooth, so a coarse mesh and its interpolation will do.
    xs, ys = np.arange(-step, width + 2 * step, step), np.arange(-step, height + 2 * step, step)
    mesh = np.stack(np.meshgrid(xs, ys), -1).astype(float)
    mm = view.back(mesh.reshape(-1, 2)).reshape(*mesh.shape).astype(np.float32)
    x = (np.arange(width * fine) + 0.5) / fine - 0.5
    y = (np.arange(height * fine) + 0.5) / fine - 0.5
    at = np.meshgrid((x / step + 1).astype(np.float32), (y / step + 1).astype(np.float32))
    mm = cv2.remap(mm, *at, cv2.INTER_LINEAR)
    across, up = size_mm
    rows, columns = art.shape[:2]
    u = ((mm[..., 0] / across + 0.5) * columns - 0.5).astype(np.float32)
    v = ((0.5 - mm[..., 1] / up) * rows - 0.5).astype(np.float32)
    whole = np.ones(art.shape[:2], np.float32) if missing is None else (~missing).astype(np.float32)
    cover = cv2.remap(whole, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    paper = cv2.remap(
        to_light(art).astype(np.float32), u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    cover = cv2.resize(cover, view.size, interpolation=cv2.INTER_AREA)[..., None]
    paper = cv2.resize(paper, view.size, interpolation=cv2.INTER_AREA)
    behind = straw(view.size, seed) if ground is None else ground
    seen = cover * paper + (1 - cover) * behind
    if light is not None:
        seen = seen * light[..., None]
    seen = cv2.GaussianBlur(seen, (0, 0), 0.8)
    levels = 255 * np.clip(seen, 0, 1) ** (1 / 2.2)
    levels = levels + np.random.default_rng(seed).normal(0, noise, levels.shape)
    return np.clip(np.round(levels), 0, 255).astype(np.uint8)


def blank(size_mm: tuple[float, float], level: int = 238, px_per_mm: float = 4.0) -> Bytes:
    """A blank sheet's picture."""
    width, height = (round(s * px_per_mm) for s in size_mm)
    return np.full((height, width, 3), level, np.uint8)


def off_mm(plane, view: View, size_mm: tuple[float, float], share: float = 0.9) -> Floats:
    """How far a plane's places lie from the true ones over the sheet, (n, 2) mm."""
    half = np.array(size_mm) / 2 * share
    mesh = np.stack(np.meshgrid(*(np.linspace(-h, h, 7) for h in half)), -1).reshape(-1, 2)
    return plane.to_mm(view.see(mesh)) - mesh
