"""What stands behind the sheet: a butt on its posts, a wall or a hedge, the ground and the sky."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_targets.camera import Camera
from sample_targets.faces import foam_layers
from sample_targets.light import Lighting
from sample_targets.marks import Canvas, Hole
from sample_targets.texture import smooth_noise
from sample_targets.wounds import FOAM, Lit, paint_wound

__all__ = ["BACKS", "BAGS", "FOAMS", "Butt", "build_butt", "far_view"]

Linear = NDArray[np.float32]
Colour = tuple[float, float, float]

BACKS = ("foam", "straw", "bag")
FOAMS: tuple[Colour, ...] = (
    (0.040, 0.040, 0.042), (0.24, 0.19, 0.13), (0.12, 0.18, 0.27), (0.15, 0.15, 0.15),
)  # fmt: skip
BAGS: tuple[Colour, ...] = ((0.022, 0.025, 0.032), (0.34, 0.32, 0.27), (0.24, 0.22, 0.16))
_LARGEST_SIDE = 2600
_POST_MM = 85.0
_TILE_PX = 1024


@dataclass(frozen=True)
class Butt:
    """The butt's face and its posts, as a picture on a plane.

    Attributes
    ----------
    picture : (h, w, 4) array
        Colour in linear light, and cover.
    half_w_mm, half_h_mm : float
        Half the size of the picture.
    px_per_mm : float
    """

    picture: Linear
    half_w_mm: float
    half_h_mm: float
    px_per_mm: float

    def seen(self, x: Linear, y: Linear) -> Linear:
        """Return colour and cover, (h, w, 4), at points of the butt's plane in mm."""
        s = self.px_per_mm
        u, v = (x + self.half_w_mm) * s - 0.5, (self.half_h_mm - y) * s - 0.5
        return np.asarray(
            cv2.remap(self.picture, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
        )


def _weave(shape, scale, colour, rng) -> Linear:
    """Return sackcloth: threads over and under each other, and a few folds."""
    pitch = rng.uniform(2.2, 4.5)
    y = ((np.arange(shape[0]) + 0.5) / scale)[:, None] + 0.4 * smooth_noise(rng, shape, 60 * scale)
    x = ((np.arange(shape[1]) + 0.5) / scale)[None] + 0.4 * smooth_noise(rng, shape, 60 * scale)
    thread = np.sin(np.pi * x / pitch) * np.sin(np.pi * y / pitch)
    depth = np.clip((scale * pitch - 2) / 4, 0, 1)
    tone = 1 + 0.22 * depth * thread + 0.10 * smooth_noise(rng, shape, 90 * scale)
    tone += 0.05 * smooth_noise(rng, shape, 3 * scale)
    return np.clip(tone, 0.2, 2)[..., None].astype(np.float32) * np.array(colour, np.float32)


def _straw(shape, scale, rng) -> Linear:
    """Return coils of straw: stalks that lie along the coil, light and dark."""
    coil = rng.uniform(45, 75)
    rows = ((np.arange(shape[0]) + 0.5) / scale)[:, None]
    wave = rows + 3 * smooth_noise(rng, shape, 300 * scale)
    tone = 0.10 * (0.35 + 0.65 * np.abs(np.sin(np.pi * wave / coil)))
    picture = tone[..., None].astype(np.float32) * np.array((1.5, 1.05, 0.35), np.float32)
    count = int(shape[0] * shape[1] / (16 * scale * 5 * scale) * 2.0)
    count = min(count, 45000)
    places = rng.uniform(0, 1, (count, 2)) * [shape[1], shape[0]]
    turns = rng.normal(0, 0.16, count)
    longs = rng.uniform(8, 45, count) * scale / 2
    wides = np.maximum(1, np.round(rng.uniform(0.6, 2.2, count) * scale)).astype(int)
    tones = np.exp(rng.normal(0, 0.5, count))
    hues = rng.uniform(0.25, 0.5, count)
    local = cv2.GaussianBlur(tone.astype(np.float32), (0, 0), 2.0)
    for (u, v), turn, long, wide, light, hue in zip(
        places, turns, longs, wides, tones, hues, strict=True
    ):
        level = float(local[min(int(v), shape[0] - 1), min(int(u), shape[1] - 1)]) * light
        du, dv = np.cos(turn) * long, np.sin(turn) * long
        colour = (1.45 * level, 1.1 * level, hue * level)
        cv2.line(picture, (int(u - du), int(v - dv)), (int(u + du), int(v + dv)), colour, int(wide))
    return picture


def build_butt(
    kind: str,
    colour: Colour,
    half_mm: tuple[float, float],
    scale: float,
    posts: bool,
    rng: np.random.Generator,
    light: Lighting,
) -> Butt:
    """Build the butt that a sheet hangs on, with holes of earlier days.

    Parameters
    ----------
    kind : {"foam", "straw", "bag"}
    colour : colour
        Of foam or bag.
    half_mm : (float, float)
        Half its size.
    scale : float
        Pixels a mm of the photo.
    posts : bool
        Whether wooden posts stand at its sides.
    rng : numpy.random.Generator
    light : Lighting

    Returns
    -------
    Butt
    """
    room = _POST_MM if posts else 2.0
    half_w, half_h = half_mm[0] + room, half_mm[1] + (60.0 if posts else 2.0)
    legs = 260.0 if posts else 0.0
    scale = min(1.3 * scale, _LARGEST_SIDE / (2 * max(half_w, half_h + legs)), 5.0)
    shape = round(2 * half_mm[1] * scale), round(2 * half_mm[0] * scale)
    if kind == "straw":
        face = _straw(shape, scale, rng)
    elif kind == "bag":
        face = _weave(shape, scale, colour, rng)
    else:
        face = foam_layers(2 * half_mm[0], 2 * half_mm[1], scale, colour, rng)[
            : shape[0], : shape[1]
        ]
    canvas = Canvas(np.ascontiguousarray(face), 2 * half_mm[0], 2 * half_mm[1], scale)
    for _ in range(rng.integers(4, 30)):
        x, y = rng.uniform(-0.97, 0.97, 2) * half_mm
        share, towards = light.direct_share(float(x), float(y))
        old = Hole(float(x), float(y), 6.0, float(rng.uniform(4.0, 6.5)))
        paint_wound(canvas, old, FOAM, Lit(share, towards, (0.004, 0.004, 0.004)), rng)
    full_w, full_h = round(2 * half_w * scale), round((2 * half_h + legs) * scale)
    picture = np.zeros((full_h, full_w, 4), np.float32)
    if posts:
        grain = rng.standard_normal((full_h, full_w), dtype=np.float32)
        grain = cv2.GaussianBlur(grain, (0, 0), sigmaX=0.8 * scale, sigmaY=30 * scale)
        wood = np.exp(0.22 * grain / grain.std())[..., None] * np.array(
            (0.26, 0.15, 0.075), np.float32) * np.float32(rng.uniform(0.4, 1.1))  # fmt: skip
        wide = round((_POST_MM - 6) * scale)
        for cut in (slice(0, wide), slice(full_w - wide, full_w)):
            picture[:, cut, :3], picture[:, cut, 3] = wood[:, cut], 1
        low = round((half_h + half_mm[1]) * scale)
        bar = slice(low, low + round(55 * scale))
        picture[bar, :, :3], picture[bar, :, 3] = wood[bar], 1
    top = round((half_h - half_mm[1]) * scale)
    left = round((half_w - half_mm[0]) * scale)
    where = slice(top, top + shape[0]), slice(left, left + shape[1])
    picture[where][..., :3], picture[where][..., 3] = canvas.picture, 1
    return Butt(picture, half_w, half_h, scale)


def _bricks(rng: np.random.Generator) -> tuple[Linear, float]:
    """Return a tile of brick wall, and its pixels a mm."""
    rows, columns = 16, 5
    high, wide = _TILE_PX // rows, _TILE_PX // columns
    tile = np.full((_TILE_PX, _TILE_PX, 3), 0.17, np.float32)
    for r in range(rows):
        for c in range(columns + 1):
            left = c * wide - (wide // 2 if r % 2 else 0)
            tone = np.exp(rng.normal(0, 0.3)) * np.array((0.24, 0.085, 0.045))
            a, b = max(0, left + 3), min(_TILE_PX, left + wide - 3)
            if a < b:
                tile[r * high + 3 : (r + 1) * high - 3, a:b] = tone
    tile *= np.exp(0.16 * smooth_noise(rng, tile.shape[:2], 3))[..., None]
    return tile, high / 75.0


def _ground(rng: np.random.Generator) -> tuple[Linear, float]:
    """Return a tile of grass or gravel, and its pixels a mm."""
    shape = (_TILE_PX, _TILE_PX)
    if rng.random() < 0.5:
        tone = np.exp(0.7 * smooth_noise(rng, shape, 3) + 0.3 * smooth_noise(rng, shape, 60))
        return tone[..., None] * np.array((0.06, 0.10, 0.015), np.float32), 1.0
    tone = np.exp(0.55 * smooth_noise(rng, shape, 12) + 0.25 * smooth_noise(rng, shape, 4))
    return tone[..., None] * np.array((0.22, 0.19, 0.15), np.float32), 1.0


def _hedge(rng: np.random.Generator) -> tuple[Linear, float]:
    shape = (_TILE_PX, _TILE_PX)
    tone = np.exp(0.8 * smooth_noise(rng, shape, 5) + 0.3 * smooth_noise(rng, shape, 40))
    return tone[..., None] * np.array((0.018, 0.05, 0.012), np.float32), 0.5


def far_view(
    camera: Camera, butt_half_mm: float, light: Lighting, rng: np.random.Generator
) -> Linear:
    """Return what is seen past the butt: a wall or a hedge, the ground, the sky.

    Parameters
    ----------
    camera : Camera
    butt_half_mm : float
    light : Lighting
    rng : numpy.random.Generator

    Returns
    -------
    (height, width, 3) array
        Linear light at the picture's size.
    """
    indoor = light.name in ("indoor", "lowlight", "glare")
    wall, wall_scale = _bricks(rng) if indoor or rng.random() < 0.55 else _hedge(rng)
    ground, ground_scale = _ground(rng)
    back = float(rng.uniform(1.2, 4.0) * butt_half_mm)
    top = 1e9 if indoor else float(rng.uniform(0.8, 2.5) * butt_half_mm)
    floor = -float(rng.uniform(1.25, 2.2) * butt_half_mm)
    # Out of focus a little, so half the picture's size is enough.
    height, width = (camera.height + 1) // 2, (camera.width + 1) // 2
    u, v = np.meshgrid(2.0 * np.arange(width) + 0.5, 2.0 * np.arange(height) + 0.5)
    rays = camera.rays(u, v)
    eye = -camera.shift @ camera.rotation
    deep = (-back - eye[2]) / np.minimum(rays[..., 2], -1e-6)
    x, y = eye[0] + deep * rays[..., 0], eye[1] + deep * rays[..., 1]
    view = _tiled(wall, wall_scale, x, y)
    down = (floor - eye[1]) / np.minimum(rays[..., 1], -1e-6)
    gx, gz = eye[0] + down * rays[..., 0], eye[2] + down * rays[..., 2]
    view = np.where((y < floor)[..., None], _tiled(ground, ground_scale, gx, gz), view)
    if not indoor:
        sky = np.array((0.55, 0.62, 0.75), np.float32) * np.float32(rng.uniform(0.5, 1.6))
        view = np.where((y > top)[..., None], sky, view)
    tint = np.array(light.sky, np.float32)
    for source in light.sources:
        tint = tint + np.array(source.strength, np.float32) * rng.uniform(0.5, 0.9)
    large = cv2.resize((view * tint).astype(np.float32), (2 * width, 2 * height))
    return np.ascontiguousarray(large[: camera.height, : camera.width])


def _tiled(tile: Linear, scale: float, x: NDArray, y: NDArray) -> Linear:
    u, v = (np.mod(a * scale, tile.shape[0]).astype(np.float32) for a in (x, -y))
    return np.asarray(cv2.remap(tile, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP))
