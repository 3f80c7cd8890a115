"""Take the photo of a practice target: sheet, butt, arrows and light through the camera."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_targets.arrows import arrow_shade, draw_arrow
from sample_targets.backdrop import build_butt, far_view
from sample_targets.drawn import draw_mark, fold, paint_staple, paint_sticker, stain
from sample_targets.faces import foam_face, paint_spot, paint_strip, paper_face
from sample_targets.film import develop
from sample_targets.light import Source
from sample_targets.marks import Canvas, paint_pin, paint_speck
from sample_targets.practice import PracticePlan
from sample_targets.rays import Rays, fine_steps, mean_of_rays
from sample_targets.wounds import FOAM, PAPER, Lit, paint_wound

__all__ = ["shot_sheet", "take_practice"]

Linear = NDArray[np.float32]

_PINS = ((0.62, 0.06, 0.05), (0.05, 0.12, 0.5), (0.75, 0.75, 0.72), (0.02, 0.02, 0.02),
         (0.75, 0.55, 0.05))  # fmt: skip
_INKS = ((0.02, 0.02, 0.025), (0.02, 0.02, 0.025), (0.62, 0.03, 0.03), (0.03, 0.07, 0.40))
_BAND = 128


def shot_sheet(plan: PracticePlan) -> Canvas:
    """Return the sheet as it hangs there, flat and evenly lit.

    Parameters
    ----------
    plan : PracticePlan

    Returns
    -------
    Canvas
        The same for both photos of a pair but for the new holes and the light's direction.
    """
    rng = np.random.default_rng([plan.seed, 11])
    scale = max(1.6 * plan.camera.f_px / plan.camera.distance_mm, 2.5)
    scale = min(scale, 4600 / max(plan.sheet.width_mm, plan.sheet.height_mm))
    foam = plan.kind == "butt"
    if foam:
        canvas = foam_face(plan.sheet.width_mm, plan.sheet.height_mm, scale, plan.butt_colour, rng)
    else:
        canvas = paper_face(plan.sheet, scale, rng)
    _draw_aims(plan, canvas)
    extras = np.random.default_rng([plan.seed, 12])
    half = np.array([plan.sheet.width_mm, plan.sheet.height_mm]) / 2
    if not foam and plan.difficulty != "easy":
        for _ in range(int(extras.integers(0, 3))):
            x, y = extras.uniform(-0.8, 0.8, 2) * half
            stain(
                canvas, float(x), float(y), float(extras.uniform(0.06, 0.16) * half.min()), extras
            )
        if plan.sheet.kind == "paper" and extras.random() < 0.5:
            share, _ = plan.light.direct_share(0, 0)
            upright = extras.random() < 0.5
            fold(canvas, 0.0 if upright else np.pi / 2, float(extras.normal(0, 4)), share, extras)
    for x, y, size in plan.specks:
        paint_speck(canvas, x, y, size, extras)
    if plan.strip is not None:
        share, towards = plan.light.direct_share(plan.strip[0], plan.strip[1])
        paint_strip(canvas, *plan.strip, share, towards)
    own = np.random.default_rng([plan.seed, 13])
    inside = own.uniform(0.0015, 0.016) * np.array([1.05, 1.0, 0.95])
    behind = np.minimum(own.uniform(0, 0.75) ** 2 * np.array(plan.butt_colour), 0.035)
    eye = -plan.camera.shift @ plan.camera.rotation
    for hole in plan.holes:
        if not hole.patched:
            share, towards = plan.light.direct_share(hole.x_mm, hole.y_mm)
            gap = 0.0 if foam else own.uniform(0.3, 0.6 + 0.4 * plan.curl_mm)
            drift = gap * (eye[:2] - [hole.x_mm, hole.y_mm]) / eye[2]
            lit = Lit(share, towards, _triple(inside), _triple(behind), (drift[0], drift[1]))
            key = [plan.seed, 14, int(abs(hole.x_mm) * 1000), int(abs(hole.y_mm) * 1000)]
            paint_wound(canvas, hole, FOAM if foam else PAPER, lit, np.random.default_rng(key))
    for k, sticker in enumerate(plan.stickers):
        share, towards = plan.light.direct_share(sticker.x_mm, sticker.y_mm)
        paint_sticker(canvas, sticker, share, towards,
                      np.random.default_rng([plan.seed, 15, k]))  # fmt: skip
    _fasten(plan, canvas, extras)
    return canvas


def _triple(colour: NDArray[np.float64]) -> tuple[float, float, float]:
    return float(colour[0]), float(colour[1]), float(colour[2])


def _draw_aims(plan: PracticePlan, canvas: Canvas) -> None:
    rng = np.random.default_rng([plan.seed, 16])
    ink = _INKS[int(rng.integers(len(_INKS)))]
    if plan.sheet.kind == "grid":
        ink = _INKS[0]
    for x, y in plan.sheet.aims_mm:
        if plan.mark == "spot":
            paint_spot(canvas, x, y, float(rng.uniform(27, 42)), rng)
        elif plan.mark != "printed":
            large = (
                10.0 if len(plan.sheet.aims_mm) > 1 else 30.0 if plan.sheet.kind == "grid" else 22.0
            )
            size = float(large * rng.uniform(0.7, 1.5))
            draw_mark(canvas, plan.mark, x, y, size, ink, rng)


def _fasten(plan: PracticePlan, canvas: Canvas, rng: np.random.Generator) -> None:
    colour, across = _PINS[int(rng.integers(len(_PINS)))], float(rng.uniform(8.0, 13.0))
    for x, y in plan.pins:
        _, towards = plan.light.direct_share(x, y)
        if plan.pin_kind == "staple":
            paint_staple(canvas, x, y, float(rng.uniform(0, np.pi)), towards)
        else:
            paint_pin(canvas, x, y, colour, float(np.arctan2(towards[1], towards[0])), across)


def take_practice(plan: PracticePlan) -> NDArray[np.uint8]:
    """Take the planned photo.

    Parameters
    ----------
    plan : PracticePlan

    Returns
    -------
    (h, w, 3) uint8 array
        RGB, upright.
    """
    rng = np.random.default_rng([plan.seed, 17, 0 if plan.role != "after" else 1])
    exposure = _Exposure(plan, rng)
    camera = plan.camera
    light = np.empty((camera.height, camera.width, 3), np.float32)
    for top in range(0, camera.height, _BAND):
        bottom = min(camera.height, top + _BAND)
        light[top:bottom] = exposure.band(top, bottom)
    eye = -camera.shift @ camera.rotation
    for arrow in sorted(plan.arrows, key=lambda a: -np.linalg.norm(np.array(a.foot_mm) - eye)):
        draw_arrow(light, arrow, camera, exposure.light_at, exposure.facing)
    return develop(
        light, rng, blur_px=plan.blur_px, noise=plan.light.noise, sharpen=plan.sharpen, dark=0.2
    )


class _Exposure:
    """The light that reaches the sensor, band by band."""

    def __init__(self, plan: PracticePlan, rng: np.random.Generator) -> None:
        self.plan = plan
        self.canvas = shot_sheet(plan)
        height, width = self.canvas.picture.shape[:2]
        self.layers = np.empty((height, width, 4), np.float32)
        self.layers[..., :3], self.layers[..., 3] = self.canvas.picture, 1 - self.canvas.gone
        self.gap = 0.0 if plan.kind == "butt" else 1.5 + 0.6 * plan.curl_mm
        self.on_sheet = Rays.cast(plan.camera, plan.bend)
        self.slope = Rays(*plan.bend.slope(self.on_sheet.x, self.on_sheet.y))
        self.on_butt = Rays.cast(plan.camera, None, self.gap)
        half = np.array([plan.sheet.width_mm, plan.sheet.height_mm]) / 2
        scale = plan.camera.f_px / plan.camera.distance_mm
        own = np.random.default_rng([plan.seed, 18])
        self.butt = None
        around = float(half.max())
        if plan.kind != "butt":
            size = (float(half[0] + own.uniform(20, 0.7 * around + 40)),
                    float(half[1] + own.uniform(20, 0.5 * around + 40)))  # fmt: skip
            around = max(size)
            self.butt = build_butt(plan.butt, plan.butt_colour, size, scale,
                                   bool(own.random() < 0.5), own, plan.light)  # fmt: skip
        self.far = far_view(plan.camera, around, plan.light, own)
        self.vignette = float(rng.uniform(0.1, 0.6))

    def band(self, top: int, bottom: int) -> Linear:
        camera, light = self.plan.camera, self.plan.light
        u, v = np.arange(camera.width, dtype=float), np.arange(top, bottom, dtype=float)
        fine_u, fine_v = fine_steps(u), fine_steps(v)
        picture = self.far[top:bottom]
        if self.butt is not None:
            seen = mean_of_rays(self.butt.seen(*self.on_butt.at(fine_v, fine_u)))
            level = light.at(*self.on_butt.at(v, u), shade=self.butt_shade)
            picture = picture * (1 - seen[..., 3:]) + seen[..., :3] * level
        x, y = self.on_sheet.at(fine_v, fine_u)
        columns, rows = self.canvas.px(x, y)
        seen = cv2.remap(self.layers, columns, rows, cv2.INTER_LINEAR,
                         borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
        half_w, half_h = self.plan.sheet.width_mm / 2, self.plan.sheet.height_mm / 2
        inside = ((abs(x) <= half_w) & (abs(y) <= half_h)).astype(np.float32)
        cover = mean_of_rays(inside)[..., None]
        seen = mean_of_rays(seen * inside[..., None])
        x, y = self.on_sheet.at(v, u)
        level = light.at(x, y, slope=self.slope.at(v, u), shade=self.sheet_shade)
        shine = light.shine(x, y)[..., None] * seen[..., 3:]
        picture = picture * (1 - cover) + seen[..., :3] * level + shine
        r2 = ((u - camera.cx) ** 2 + (v[:, None] - camera.cy) ** 2) / camera.f_px**2
        fall = (1 / (1 + self.vignette * r2) ** 2).astype(np.float32)
        return np.asarray(picture * fall[..., None])

    def sheet_shade(self, source: Source, x: Linear, y: Linear) -> Linear:
        return arrow_shade(self.plan.arrows, source, x, y)

    def butt_shade(self, source: Source, x: Linear, y: Linear) -> Linear:
        """Return what the sheet and the arrows leave of a source's light on the butt."""
        drift = self.gap / max(source.towards[2], 0.3)
        dx, dy = x + drift * source.towards[0], y + drift * source.towards[1]
        half_w, half_h = self.plan.sheet.width_mm / 2, self.plan.sheet.height_mm / 2
        past = np.maximum(abs(dx) - half_w, abs(dy) - half_h)
        soft = 0.4 + 2 * drift * source.softness
        covered = 1 / (1 + np.exp(np.clip(past / soft, -40, 40)))
        return (1 - covered).astype(np.float32) * arrow_shade(self.plan.arrows, source, x, y)

    def light_at(self, point: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the light on a point in space, taking what falls on the sheet along its way."""
        light = self.plan.light
        total = np.array(light.sky, dtype=float)
        for k, source in enumerate(light.sources):
            tx, ty, tz = source.towards
            x = np.full((1, 1), point[0] - point[2] * tx / tz, np.float32)
            y = np.full((1, 1), point[1] - point[2] * ty / tz, np.float32)
            total += float(light.reaching(k, x, y)[0, 0]) * np.array(source.strength)
        return total

    def facing(self, normals: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return how bright surfaces with these normals are, a flat sheet being 1."""
        light = self.plan.light
        total = np.mean(light.sky) * (0.55 + 0.45 * np.clip(normals[:, 1], -1, 1))
        whole = float(np.mean(light.sky))
        for source in light.sources:
            strength = float(np.mean(source.strength))
            turned = np.maximum(normals @ np.array(source.towards), 0) / source.towards[2]
            total = total + strength * np.minimum(turned, 1.6)
            whole += strength
        return np.asarray(total / max(whole, 1e-9))
