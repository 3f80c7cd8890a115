"""What people put on a sheet: marks to aim at, stickers, staples, stains and creases."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_targets.cover import polygon_cover
from sample_targets.marks import Canvas

__all__ = ["Sticker", "draw_mark", "fill_outline", "fold", "paint_staple", "paint_sticker", "stain"]

Colour = tuple[float, float, float]


@dataclass(frozen=True)
class Sticker:
    """A round sticker over an old hole."""

    x_mm: float
    y_mm: float
    across_mm: float
    colour: Colour


def fill_outline(
    canvas: Canvas, outline_mm: NDArray[np.float64], colour: object, cover: float = 1.0
) -> NDArray[np.float32]:
    """Fill an outline in mm, anti-aliased, and return the whole picture's cover."""
    u, v = canvas.px(outline_mm[:, 0], outline_mm[:, 1])
    whole = np.zeros(canvas.picture.shape[:2], np.float32)
    found = polygon_cover(np.column_stack([u, v]), whole.shape)
    if found is not None:
        where, share = found
        whole[where] = cover * share
        canvas.lay(where, whole[where], colour)
    return whole


def _wobbly_disc(x: float, y: float, radius: float, rng: np.random.Generator) -> NDArray:
    theta = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    wave = sum(rng.normal(0, 0.012) * np.cos(k * theta + rng.uniform(0, 6.3)) for k in range(2, 7))
    r = radius * (1 + wave + rng.normal(0, 0.004, theta.shape))
    return np.column_stack([x + r * np.cos(theta), y + r * np.sin(theta)])


def draw_mark(
    canvas: Canvas,
    shape: str,
    x_mm: float,
    y_mm: float,
    size_mm: float,
    colour: Colour,
    rng: np.random.Generator,
) -> None:
    """Draw a mark to aim at with a felt pen.

    Parameters
    ----------
    canvas : Canvas
        Changed in place.
    shape : {"disc", "cross", "diamond", "square", "ring"}
    x_mm, y_mm : float
    size_mm : float
        Half its width.
    colour : colour
        Linear RGB.
    rng : numpy.random.Generator
    """
    plain = canvas.picture.copy() if shape == "disc" else None
    if shape == "disc":
        cover = fill_outline(canvas, _wobbly_disc(x_mm, y_mm, size_mm, rng), colour)
        _scratches(canvas, cover, plain, x_mm, y_mm, size_mm, rng)
    elif shape == "ring":
        for radius in (size_mm, 0.55 * size_mm):
            ring = _wobbly_disc(x_mm, y_mm, radius, rng)
            _stroke(canvas, np.vstack([ring, ring[:1]]), rng.uniform(1.0, 2.5), colour)
    elif shape == "cross":
        wide = size_mm * rng.uniform(0.2, 0.3)
        for turn in (0.0, np.pi / 2):
            lean = turn + rng.normal(0, 0.02)
            step = np.array([np.cos(lean), np.sin(lean)]) * size_mm
            aside = np.array([-step[1], step[0]]) / size_mm * wide / 2
            middle = np.array([x_mm, y_mm]) + rng.normal(0, 0.4, 2)
            corners = [middle - step - aside, middle + step - aside, middle + step + aside,
                       middle - step + aside]  # fmt: skip
            jitter = rng.normal(0, 0.3, (4, 2))
            fill_outline(canvas, np.array(corners) + jitter, colour)
    else:
        turn = 0.0 if shape == "diamond" else np.pi / 4
        theta = turn + np.arange(4) * np.pi / 2
        corners = np.column_stack([x_mm + size_mm * np.cos(theta), y_mm + size_mm * np.sin(theta)])
        fill_outline(canvas, corners, colour)


def _scratches(canvas, cover, plain, x, y, size, rng) -> None:
    """Leave out thin strips, as a felt pen does."""
    lean = rng.uniform(-0.2, 1.2)
    mask = np.zeros(cover.shape, np.uint8)
    for _ in range(rng.integers(0, 26)):
        a = np.array([x, y]) + rng.uniform(-0.8, 0.8, 2) * size
        step = np.array([np.cos(lean), np.sin(lean)]) * rng.uniform(0.1, 0.55) * size
        ends = [tuple(round(float(c) * 16) for c in canvas.px(*p)) for p in (a, a + step)]
        cv2.line(mask, *ends, int(rng.integers(60, 220)), max(1, round(0.35 * canvas.px_per_mm)),
                 cv2.LINE_AA, 4)  # fmt: skip
    share = (mask / 255.0 * cover)[..., None].astype(np.float32)
    if share.any():
        canvas.picture[:] = canvas.picture * (1 - share) + plain * share


def _stroke(canvas: Canvas, points_mm: NDArray, wide_mm: float, colour: Colour) -> None:
    mask = np.zeros(canvas.picture.shape[:2], np.uint8)
    u, v = canvas.px(points_mm[:, 0], points_mm[:, 1])
    points = np.round(np.column_stack([u, v]) * 16).astype(np.int32)
    wide = max(1, round(wide_mm * canvas.px_per_mm))
    cv2.polylines(mask, [points], False, 255, wide, cv2.LINE_AA, 4)
    canvas.lay((slice(None), slice(None)), mask.astype(np.float32) / 255, colour)


def paint_sticker(canvas: Canvas, sticker: Sticker, share: float, towards, rng) -> None:
    """Put a sticker on; the hole under it shows only as a faint dimple.

    Parameters
    ----------
    canvas : Canvas
        Changed in place.
    sticker : Sticker
    share, towards
        How much of the light comes from a direction, and which.
    rng : numpy.random.Generator
    """
    found = canvas.window(sticker.x_mm, sticker.y_mm, 0.5 * sticker.across_mm + 3)
    if found is None:
        return
    where, x, y = found
    soft = 1.0 / canvas.px_per_mm
    edge = sticker.across_mm / 2
    # A corner that does not stick throws a wider shadow than the rest of the rim.
    loose = rng.uniform(0, 2 * np.pi)
    theta = np.arctan2(y, x)
    thick = 0.12 + rng.uniform(0, 0.5) * np.clip(np.cos(theta - loose), 0, 1) ** 3
    away = np.hypot(x + thick * towards[0] / 0.6, y + thick * towards[1] / 0.6)
    shadow = np.clip((edge - away) / (soft + thick) + 0.5, 0, 1)
    halo = np.exp(-np.maximum(np.hypot(x, y) - edge, 0) / (0.3 + thick))
    dark = np.clip(0.8 * share * shadow + 0.18 * halo, 0, 0.9)
    canvas.picture[where] *= (1 - dark)[..., None].astype(np.float32)
    cover = np.clip((edge - np.hypot(x, y)) / soft + 0.5, 0, 1)
    bright = 1 + 0.10 * share * np.clip((x * towards[0] + y * towards[1]) / edge, -1, 1) * np.clip(
        (np.hypot(x, y) - 0.8 * edge) / (0.2 * edge), 0, 1
    )
    canvas.lay(where, cover, np.array(sticker.colour) * bright[..., None])
    gone = canvas.gone[where]
    canvas.gone[where] = gone * (1 - cover)


def paint_staple(canvas: Canvas, x_mm: float, y_mm: float, turn_rad: float, towards) -> None:
    """Drive a staple in: a thin bright wire and its shadow."""
    step = np.array([np.cos(turn_rad), np.sin(turn_rad)]) * 6.0
    for shift, colour in (((-0.5 * towards[0], -0.5 * towards[1]), 0.25), ((0, 0), 0.35)):
        middle = np.array([x_mm, y_mm]) + shift
        _stroke(canvas, np.array([middle - step, middle + step]), 0.6, (colour,) * 3)


def stain(canvas: Canvas, x_mm: float, y_mm: float, size_mm: float, rng) -> None:
    """Leave a faint blot."""
    found = canvas.window(x_mm, y_mm, 1.6 * size_mm)
    if found is None:
        return
    where, x, y = found
    theta = np.arctan2(y, x)
    edge = size_mm / 2 * (1 + 0.25 * np.cos(2 * theta + rng.uniform(0, 6)) + 0.15 * np.cos(
        3 * theta + rng.uniform(0, 6)))  # fmt: skip
    cover = 1 / (1 + np.exp(np.clip((np.hypot(x, y) - edge) / (0.08 * size_mm), -40, 40)))
    canvas.picture[where] *= (1 - rng.uniform(0.03, 0.16) * cover)[..., None].astype(np.float32)


def fold(canvas: Canvas, turn_rad: float, offset_mm: float, share: float, rng) -> None:
    """Crease the sheet along a line: it catches the light on one side."""
    height, width = canvas.picture.shape[:2]
    s = canvas.px_per_mm
    x = (np.arange(width) + 0.5) / s - canvas.width_mm / 2
    y = canvas.height_mm / 2 - (np.arange(height) + 0.5) / s
    away = np.cos(turn_rad) * x[None] + np.sin(turn_rad) * y[:, None] - offset_mm
    depth = share * rng.uniform(0.02, 0.07)
    wide = rng.uniform(6, 18)
    tone = 1 + depth * np.tanh(away / 0.6) * np.exp(-abs(away) / wide)
    canvas.picture *= tone[..., None].astype(np.float32)
