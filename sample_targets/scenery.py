"""What lies behind the sheet, and the light that falls on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_targets.texture import smooth_noise

__all__ = ["BUTTS", "BUTT_PX_PER_MM", "LIGHTS", "Light", "butt_texture", "far_scene"]

BUTT_PX_PER_MM = 4.0
BUTT_HALF_MM = 340.0

ButtKind = Literal["foam", "straw", "board"]
BUTTS: tuple[ButtKind, ...] = ("foam", "straw", "board")


@dataclass(frozen=True)
class Light:
    """Light over the sheet and the butt.

    Attributes
    ----------
    name : str
    ramp : float
        Fall of brightness over 200 mm.
    towards_rad : float
        Direction on the sheet from which the light comes.
    relief : float
        How much a bend of the paper shows.
    shadow : float
        Share of light that a shadow takes away; 0 without one.
    shadow_place_mm, shadow_turn_rad, shadow_soft_mm : float
        A straight shadow edge: offset from the sheet's centre, direction, softness.
    dapple : float
        Depth of leaf shadow.
    tint : (float, float, float)
        Colour of the light.
    noise : float
        Noise at white, as a share of it.
    """

    name: str
    ramp: float = 0.05
    towards_rad: float = 2.0
    relief: float = 0.8
    shadow: float = 0.0
    shadow_place_mm: float = 0.0
    shadow_turn_rad: float = 0.6
    shadow_soft_mm: float = 4.0
    dapple: float = 0.0
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0)
    noise: float = 0.008

    def at(
        self, x: NDArray[np.float32], y: NDArray[np.float32], leaves: NDArray[np.float32]
    ) -> NDArray[np.float32]:
        """Return the brightness at points in mm; `leaves` is a picture of leaf shadow."""
        c, s = np.cos(self.towards_rad), np.sin(self.towards_rad)
        level = 1 + self.ramp * np.clip((x * c + y * s) / 200.0, -2, 2)
        if self.shadow:
            offset = x * np.cos(self.shadow_turn_rad) + y * np.sin(self.shadow_turn_rad)
            step = (offset - self.shadow_place_mm) / self.shadow_soft_mm
            level = level * (1 - self.shadow / (1 + np.exp(-np.clip(4 * step, -50, 50))))
        if self.dapple:
            side = leaves.shape[0]
            u, v = ((a * 0.25 + side / 2).astype(np.float32) for a in (x, y))
            pattern = cv2.remap(leaves, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
            level = level * (1 - self.dapple * pattern.reshape(x.shape))
        return level


LIGHTS: dict[str, Light] = {
    "overcast": Light("overcast", ramp=0.04, relief=0.5, tint=(0.98, 1.0, 1.02)),
    "sun": Light("sun", ramp=0.08, relief=1.4, towards_rad=0.9, tint=(1.03, 1.0, 0.93)),
    "sun + shadow": Light(
        "sun + shadow", ramp=0.06, relief=1.2, shadow=0.55, tint=(1.02, 1.0, 0.95)
    ),
    "indoor": Light("indoor", ramp=0.16, towards_rad=1.6, tint=(1.06, 1.0, 0.84), noise=0.013),
    "foliage": Light("foliage", ramp=0.05, relief=1.0, dapple=0.45, tint=(0.98, 1.03, 0.93)),
    "dusk": Light("dusk", ramp=0.12, towards_rad=3.0, tint=(0.95, 0.99, 1.08), noise=0.022),
}


def leaf_shadow(rng: np.random.Generator) -> NDArray[np.float32]:
    """Return a picture of leaf shadow, 0..1, four millimetres a pixel."""
    pattern = smooth_noise(rng, (256, 256), 9) + 0.6 * smooth_noise(rng, (256, 256), 4)
    return (1 / (1 + np.exp(-4 * pattern))).astype(np.float32)


def butt_texture(kind: ButtKind, rng: np.random.Generator) -> NDArray[np.float32]:
    """Return a picture of a butt's face in linear light, `BUTT_PX_PER_MM`, old holes included."""
    side = int(2 * BUTT_HALF_MM * BUTT_PX_PER_MM)
    shape = (side, side)
    rows = np.arange(side)[:, None] / BUTT_PX_PER_MM + np.zeros((1, side))
    if kind == "foam":
        layer = 22.0
        wave = rows + 1.2 * smooth_noise(rng, shape, 180)
        seam = np.exp(-(((wave % layer) - layer / 2) ** 2) / 1.2)
        tone = 0.055 * (
            1 + 0.10 * smooth_noise(rng, shape, 4) + 0.12 * smooth_noise(rng, shape, 400)
        )
        tone = tone * (1 - 0.6 * seam)
        colour = np.array([1.0, 1.0, 1.05])
    elif kind == "straw":
        coil = 38.0
        wave = rows + 2.5 * smooth_noise(rng, shape, 240)
        tone = 0.16 * (0.45 + 0.55 * np.sin(np.pi * (wave % coil) / coil))
        grain = rng.standard_normal(shape, dtype=np.float32)
        for wide, high, weight in ((16, 0.9, 0.30), (40, 2.2, 0.22), (3, 1.5, 0.16)):
            stalks = cv2.GaussianBlur(grain, (0, 0), sigmaX=wide, sigmaY=high)
            tone = tone * np.exp(weight * stalks / stalks.std())
            grain = np.rot90(grain)
        colour = np.array([1.25, 0.95, 0.45])
    else:
        grain = rng.standard_normal(shape, dtype=np.float32)
        fibres = cv2.GaussianBlur(grain, (0, 0), sigmaX=1.6, sigmaY=60)
        tone = 0.20 * np.exp(0.14 * fibres / fibres.std() + 0.08 * smooth_noise(rng, shape, 4))
        colour = np.array([1.15, 0.90, 0.62])
    picture = (np.clip(tone, 0.004, 1)[..., None] * colour).astype(np.float32)
    for _ in range(rng.integers(10, 45)):
        u, v = rng.uniform(0, side, 2)
        radius = rng.uniform(2.2, 3.2) * BUTT_PX_PER_MM
        cv2.circle(
            picture,
            (round(u * 16), round(v * 16)),
            round(radius * 16),
            (0.008, 0.007, 0.006),
            -1,
            cv2.LINE_8,
            4,
        )
    return picture


def far_scene(width: int, height: int, rng: np.random.Generator) -> NDArray[np.float32]:
    """Return what is seen past the butt, out of focus: ground, hedge and sky."""
    rows = np.linspace(0, 1, 64)[:, None, None] + np.zeros((1, 64, 1))
    horizon = rng.uniform(0.25, 0.45)
    sky, hedge, ground = (0.55, 0.62, 0.72), (0.05, 0.075, 0.035), (0.14, 0.16, 0.07)
    scene = np.where(rows < horizon, np.array(sky), np.array(ground))
    scene = np.where(abs(rows - horizon) < 0.13, np.array(hedge), scene)
    scene = scene * np.exp(0.25 * smooth_noise(rng, (64, 64), 6))[..., None]
    large = cv2.resize(scene.astype(np.float32), (width, height), interpolation=cv2.INTER_CUBIC)
    return np.maximum(large, 0.003)
