"""Pictures of sheets before a known camera: the artwork, clean holes and light; truth by design.

Only the artwork is the package's own. The camera is that of the samples' renderer, and what is
painted here has sharp edges and exact places, so that a test can ask for more than a photo allows.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.plane import Plane
from groupscan.photo.reading import Photo
from groupscan.sheets.artwork import draw_artwork
from groupscan.sheets.catalogue import Sheet
from sample_targets.camera import Camera

Floats = NDArray[np.float64]
HOLE_RGB = (14, 12, 11)
_SHARE = 2  # rays a pixel, each way


def camera_at(
    width_mm: float,
    *,
    size: tuple[int, int] = (1200, 1000),
    fill: float = 0.7,
    tilt_deg: float = 0.0,
    axis_deg: float = 0.0,
    roll_deg: float = 0.0,
    focal: float = 1.0,
    shift_px: tuple[float, float] = (0.0, 0.0),
) -> Camera:
    """A camera that sees a sheet of this width over a share of the picture's shorter side."""
    focal_px = focal * max(size)
    return Camera(
        width=size[0],
        height=size[1],
        f_px=focal_px,
        k1=0.0,
        tilt_rad=float(np.radians(tilt_deg)),
        tilt_axis_rad=float(np.radians(axis_deg)),
        roll_rad=float(np.radians(roll_deg)),
        centre_px=((size[0] - 1) / 2 + shift_px[0], (size[1] - 1) / 2 + shift_px[1]),
        distance_mm=focal_px * width_mm / (fill * min(size)),
    )


def homography(camera: Camera) -> Floats:
    """K [r1 r2 t]: sheet mm to pixels; the lens is left out, and the pictures here have none."""
    inner = np.array([[camera.f_px, 0, camera.cx], [0, camera.f_px, camera.cy], [0, 0, 1.0]])
    product = inner @ np.column_stack([camera.rotation[:, :2], camera.shift])
    return product / product[2, 2]


def seen(camera: Camera, mm: Any) -> Floats:
    """Pixels of points of the sheet."""
    mm = np.asarray(mm, float).reshape(-1, 2)
    return camera.project(np.column_stack([mm, np.zeros(len(mm))]))


def true_plane(camera: Camera) -> Plane:
    """The plane as a perfect fit would have it."""
    return Plane(
        homography=homography(camera),
        k1=0.0,
        focal_px=camera.f_px,
        image_size=(camera.width, camera.height),
        covariance=np.zeros((9, 9)),
        residual_px=0.0,
        inlier_share=1.0,
        line_width_mm=0.0,
        source="corners",
    )


@dataclass
class Paper:
    """A sheet to paint on, square on, before it is photographed.

    Attributes
    ----------
    sheet : Sheet
    px_per_mm : float
    """

    sheet: Sheet
    px_per_mm: float = 4.0
    picture: NDArray[np.float32] = field(init=False)

    def __post_init__(self) -> None:
        art = draw_artwork(self.sheet, px_per_mm=self.px_per_mm)
        # Ink is not quite black and paper not quite white.
        self.picture = (24 + 0.82 * art).astype(np.float32)

    def px(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        s = self.px_per_mm
        return (x_mm + self.sheet.width_mm / 2) * s - 0.5, (
            self.sheet.height_mm / 2 - y_mm
        ) * s - 0.5

    def disc(
        self, x_mm: float, y_mm: float, diameter_mm: float, rgb: tuple[int, int, int] = HOLE_RGB
    ) -> None:
        """Paint a disc, its edge shaded by how much of each pixel it covers."""
        u, v = self.px(x_mm, y_mm)
        radius = diameter_mm / 2 * self.px_per_mm
        reach = int(radius) + 3
        left, top = int(u) - reach, int(v) - reach
        columns, rows = np.meshgrid(
            np.arange(left, left + 2 * reach), np.arange(top, top + 2 * reach)
        )
        cover = np.clip(radius - np.hypot(columns - u, rows - v) + 0.5, 0, 1)[..., None]
        window = self.picture[top : top + 2 * reach, left : left + 2 * reach]
        window[:] = (1 - cover) * window + cover * np.array(rgb, np.float32)

    def holes(self, places: Any, diameter_mm: float) -> None:
        for x, y in np.asarray(places, float).reshape(-1, 2):
            self.disc(x, y, diameter_mm)

    def shade(self, a: float, b: float, c: float, share: float) -> None:
        """Take away light where a x + b y > c, mm."""
        height, width = self.picture.shape[:2]
        x = (np.arange(width) + 0.5) / self.px_per_mm - self.sheet.width_mm / 2
        y = self.sheet.height_mm / 2 - (np.arange(height) + 0.5) / self.px_per_mm
        beyond = a * x[None, :] + b * y[:, None] - c
        # The sun is not a point: half a millimetre of penumbra.
        self.picture *= (1 - share * np.clip(beyond + 0.5, 0, 1))[..., None].astype(np.float32)


def photograph(
    paper: Paper,
    camera: Camera,
    *,
    seed: int = 0,
    noise: float = 1.5,
    blur_px: float = 0.7,
    behind: NDArray[np.float32] | None = None,
) -> Photo:
    """Take the picture of a sheet before a mottled ground, or before another picture."""
    rng = np.random.default_rng(seed)
    size = (camera.width * _SHARE, camera.height * _SHARE)
    s, w, h = paper.px_per_mm, paper.sheet.width_mm, paper.sheet.height_mm
    to_mm = np.array([[1 / s, 0, 0.5 / s - w / 2], [0, -1 / s, h / 2 - 0.5 / s], [0, 0, 1.0]])
    finer = np.array([[_SHARE, 0, (_SHARE - 1) / 2], [0, _SHARE, (_SHARE - 1) / 2], [0, 0, 1.0]])
    place = finer @ homography(camera) @ to_mm
    sheet = cv2.warpPerspective(paper.picture, place, size, flags=cv2.INTER_LINEAR)
    full = np.ones(paper.picture.shape[:2], np.float32)
    cover = cv2.warpPerspective(full, place, size, flags=cv2.INTER_LINEAR)
    ground = butt(camera, rng) if behind is None else behind
    ground = cv2.resize(ground, size, interpolation=cv2.INTER_LINEAR)
    mixed = sheet + (1 - cover)[..., None] * ground
    picture = cv2.resize(mixed, (camera.width, camera.height), interpolation=cv2.INTER_AREA)
    return develop(picture, rng, noise=noise, blur_px=blur_px)


def develop(
    picture: NDArray[Any], rng: np.random.Generator, *, noise: float = 1.5, blur_px: float = 0.7
) -> Photo:
    """Blur, noise and 8 bits."""
    blurred = cv2.GaussianBlur(picture.astype(np.float32), (0, 0), blur_px)
    grain = rng.normal(0, noise, blurred.shape)
    return Photo("drawn", np.clip(np.rint(blurred + grain), 0, 255).astype(np.uint8))


def butt(camera: Camera, rng: np.random.Generator) -> NDArray[np.float32]:
    """Straw-coloured mottle, rough at several sizes."""
    rough = np.zeros((camera.height, camera.width), np.float32)
    for cell in (4, 16, 64):
        coarse = rng.normal(0, 1, (camera.height // cell + 2, camera.width // cell + 2))
        rough += cv2.resize(coarse.astype(np.float32), (camera.width, camera.height))
    return np.clip(np.array([118, 100, 70]) + 14 * rough[..., None], 5, 250).astype(np.float32)
