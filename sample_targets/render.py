"""Render photos of printed sheets with exact truth; numpy and OpenCV only, seeded.

A photo is planned (`plan_photo`) and then taken (`take_photo`). The plan holds everything that is
true about the photo (`truth_of` tells it); the picture is what a phone makes of it: perspective, a
bent sheet, light and shadow, ragged holes, dirt, lens distortion, vignetting, blur, noise,
sharpening and 8 bits.

The same plan gives the same picture and the same truth.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.sheets.artwork import draw_artwork
from sample_targets.film import decode, develop
from sample_targets.marks import Canvas, paint_hole, paint_patch, paint_pin, paint_speck, write
from sample_targets.plan import Plan, plan_photo
from sample_targets.rays import Rays, fine_steps, mean_of_rays
from sample_targets.scenery import (
    BUTT_HALF_MM,
    BUTT_PX_PER_MM,
    butt_texture,
    far_scene,
    leaf_shadow,
)
from sample_targets.truth import truth_of

__all__ = ["Plan", "plan_photo", "take_photo", "truth_of"]

_PIN_COLOURS = ((0.62, 0.06, 0.05), (0.05, 0.12, 0.5), (0.75, 0.75, 0.72), (0.05, 0.35, 0.12))


def take_photo(plan: Plan) -> NDArray[np.uint8]:
    """Take the planned photo.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    (h, w, 3) uint8 array
        RGB, upright.
    """
    rng = np.random.default_rng([plan.seed, 1])
    camera = plan.camera
    canvas = _used_sheet(plan, rng)
    exposure = _Exposure(plan, canvas, rng)
    light = np.empty((camera.height, camera.width, 3), np.float32)
    band = 128
    for top in range(0, camera.height, band):
        bottom = min(camera.height, top + band)
        light[top:bottom] = exposure.band(top, bottom)
    return develop(light, rng, blur_px=plan.blur_px, noise=plan.light.noise)


def _used_sheet(plan: Plan, rng: np.random.Generator) -> Canvas:
    """Return the sheet as it hangs there: printed, written on, pinned, shot and patched."""
    photo_scale = plan.camera.f_px / plan.camera.distance_mm
    scale = max(1.6 * photo_scale, 3.0)
    picture = decode(draw_artwork(plan.sheet, px_per_mm=scale))
    # Ink is not quite black and paper not quite white; fibres and toner are a little uneven.
    picture = 0.018 + 0.80 * picture
    mottle = cv2.GaussianBlur(rng.normal(0, 1, picture.shape[:2]), (0, 0), 1.2 * scale)
    picture *= (1 + 0.012 * mottle / mottle.std())[..., None].astype(np.float32)
    canvas = Canvas(picture.astype(np.float32), plan.sheet.width_mm, plan.sheet.height_mm, scale)
    for text, box in zip(plan.handwriting, plan.sheet.writing, strict=False):
        write(canvas, text, box.left_mm + 1.0, box.bottom_mm + 3.2, 3.4)
    for x, y, size in plan.specks:
        paint_speck(canvas, x, y, size, rng)
    towards = plan.light.towards_rad
    for hole in plan.holes:
        if not hole.patched:
            paint_hole(canvas, hole, towards, rng)
    for x, y, across in plan.patches:
        paint_patch(canvas, x, y, across, rng)
    colour = _PIN_COLOURS[rng.integers(len(_PIN_COLOURS))]
    for x, y in plan.pins:
        paint_pin(canvas, x, y, colour, towards)
    return canvas


class _Exposure:
    """The light that reaches the sensor, band by band, from two by two rays a pixel."""

    def __init__(self, plan: Plan, canvas: Canvas, rng: np.random.Generator) -> None:
        self.plan, self.canvas = plan, canvas
        self.gap = 3.0 + abs(plan.bend.sag_mm)
        self.on_sheet = Rays.cast(plan.camera, plan.bend)
        self.on_butt = Rays.cast(plan.camera, None, self.gap)
        self.butt = butt_texture(plan.butt, rng)
        self.far = far_scene(plan.camera.width, plan.camera.height, rng)
        self.leaves = leaf_shadow(rng)

    def band(self, top: int, bottom: int) -> NDArray[np.float32]:
        camera, light = self.plan.camera, self.plan.light
        u, v = np.arange(camera.width, dtype=float), np.arange(top, bottom, dtype=float)
        fine_u, fine_v = fine_steps(u), fine_steps(v)
        sheet, cover = self.sheet(*self.on_sheet.at(fine_v, fine_u))
        behind = self.behind(*self.on_butt.at(fine_v, fine_u))
        picture = sheet * self.level(*self.on_sheet.at(v, u))[..., None]
        x, y = self.on_butt.at(v, u)
        behind = behind * self.butt_level(x, y)[..., None]
        edge = 0.86 * BUTT_HALF_MM
        past = (abs(x) > edge) | (abs(y) > edge)
        behind = np.where(past[..., None], self.far[top:bottom], behind)
        picture += (1 - cover)[..., None] * behind
        r2 = ((u - camera.cx) ** 2 + (v[:, None] - camera.cy) ** 2) / camera.f_px**2
        vignette = (1 / (1 + 0.55 * r2) ** 2).astype(np.float32)
        return picture * vignette[..., None] * np.array(light.tint, np.float32)

    def sheet(
        self, x: NDArray[np.float32], y: NDArray[np.float32]
    ) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return the sheet's colour times its cover of each pixel, and the cover."""
        columns, rows = self.canvas.px(x, y)
        seen = cv2.remap(
            self.canvas.picture,
            columns,
            rows,
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        half_w, half_h = self.plan.sheet.width_mm / 2, self.plan.sheet.height_mm / 2
        inside = ((abs(x) <= half_w) & (abs(y) <= half_h)).astype(np.float32)
        return mean_of_rays(seen * inside[..., None]), mean_of_rays(inside)

    def behind(self, x: NDArray[np.float32], y: NDArray[np.float32]) -> NDArray[np.float32]:
        seen = cv2.remap(
            self.butt,
            (x + BUTT_HALF_MM) * BUTT_PX_PER_MM,
            (BUTT_HALF_MM - y) * BUTT_PX_PER_MM,
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REFLECT,
        )
        return mean_of_rays(seen)

    def level(self, x: NDArray[np.float32], y: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return the light on the sheet: a bend turns the paper towards the light or away."""
        bend, light = self.plan.bend, self.plan.light
        across = x * math.cos(bend.direction_rad) + y * math.sin(bend.direction_rad)
        slope = -np.sign(bend.sag_mm) * np.sin(across / bend.radius_mm)
        facing = -slope * math.cos(light.towards_rad - bend.direction_rad)
        level = light.at(x, y, self.leaves) * (1 + light.relief * facing)
        return level.astype(np.float32)

    def butt_level(self, x: NDArray[np.float32], y: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return the light on the butt, which lies partly in the sheet's own shadow."""
        light, sheet = self.plan.light, self.plan.sheet
        dx = x + 1.3 * self.gap * math.cos(light.towards_rad)
        dy = y + 1.3 * self.gap * math.sin(light.towards_rad)
        covered = np.maximum(abs(dx) - sheet.width_mm / 2, abs(dy) - sheet.height_mm / 2)
        shade = 0.4 * light.relief / (1 + np.exp(np.clip(covered / 0.7, -40, 40)))
        return (light.at(x, y, self.leaves) * (1 - shade)).astype(np.float32)
