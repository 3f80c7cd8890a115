"""What each kind of sheet looks like before anybody shoots at it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from groupscan.sheets.artwork import draw_artwork
from groupscan.sheets.shapes import Sheet
from sample_targets.drawn import fill_outline
from sample_targets.film import decode
from sample_targets.marks import Canvas
from sample_targets.texture import smooth_noise

__all__ = ["STRIP_HIGH_MM", "STRIP_LONG_MM", "foam_face", "paint_spot", "paint_strip", "paper_face"]

STRIP_LONG_MM = 300.0
STRIP_HIGH_MM = 32.0
_BLOCKS = 6
_SEAM_MM = 0.7


def paper_face(sheet: Sheet, scale: float, rng: np.random.Generator) -> Canvas:
    """Return a printed or blank sheet of paper.

    Parameters
    ----------
    sheet : Sheet
        Any sheet of the catalogue with a size.
    scale : float
        Pixels a mm.
    rng : numpy.random.Generator
        Of the paper's unevenness.

    Returns
    -------
    Canvas
    """
    picture = decode(draw_artwork(sheet, px_per_mm=scale))
    # Ink is not quite black and paper not quite white.
    picture = np.float32(0.014) + np.float32(rng.uniform(0.74, 0.80)) * picture
    shape = picture.shape[:2]
    cloud = smooth_noise(rng, shape, 30 * scale) + 0.5 * smooth_noise(rng, shape, 1.5 * scale)
    picture *= (1 + np.float32(0.008) * cloud)[..., None]
    return Canvas(picture, sheet.width_mm, sheet.height_mm, scale)


def foam_layers(
    width_mm: float,
    height_mm: float,
    scale: float,
    colour: tuple[float, float, float],
    rng: np.random.Generator,
) -> NDArray[np.float32]:
    """Return a face of foam sheets laid on each other, (h, w, 3) in linear light."""
    shape = round(height_mm * scale), round(width_mm * scale)
    thick = rng.uniform(24, 40)
    rows = ((np.arange(shape[0]) + 0.5) / scale)[:, None]
    wave = rows + rng.uniform(0.02, 0.06) * thick * smooth_noise(rng, shape, 260 * scale)
    wave = wave + rng.uniform(0, thick)
    layer = np.floor(wave / thick).astype(int)
    tones = rng.uniform(0.78, 1.2, layer.max() + 2)
    away = abs((wave / thick + 0.5) % 1 - 0.5) * thick
    seam = np.exp(-((away / _SEAM_MM) ** 2))
    # Just under a seam the next layer stands back a little and is darker.
    step = 0.12 * np.exp(-(((wave / thick) % 1) * thick) / 3.0)
    mottle = 0.06 * smooth_noise(rng, shape, 3.5 * scale)
    mottle += 0.05 * smooth_noise(rng, shape, 40 * scale)
    tone = tones[layer] * (1 + mottle) * (1 - 0.82 * seam) * (1 - step)
    tone = np.clip(tone, 0.05, 2).astype(np.float32)
    return tone[..., None] * np.array(colour, np.float32)


def foam_face(
    width_mm: float, height_mm: float, scale: float, colour, rng: np.random.Generator
) -> Canvas:
    """Return a bare face of layered foam."""
    picture = foam_layers(width_mm, height_mm, scale, colour, rng)
    return Canvas(picture, width_mm, height_mm, scale)


def paint_spot(canvas: Canvas, x_mm: float, y_mm: float, radius_mm: float, rng) -> None:
    """Paint a white spot to aim at; the seams still show through."""
    theta = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    wave = sum(
        rng.normal(0, 0.02 / k) * np.cos(k * theta + rng.uniform(0, 6.3)) for k in range(3, 25)
    )
    r = radius_mm * (1 + wave)
    outline = np.column_stack([x_mm + r * np.cos(theta), y_mm + r * np.sin(theta)])
    found = canvas.window(x_mm, y_mm, radius_mm + 2)
    if found is None:
        return
    where = found[0]
    under = canvas.picture[where].copy()
    fill_outline(canvas, outline, (0.78, 0.77, 0.72))
    mean = under.reshape(-1, 3).mean(axis=0)
    shown = np.clip(under / mean, 0.3, 1.6).mean(axis=2, keepdims=True)
    painted = (canvas.picture[where] > 0.7).all(axis=2, keepdims=True)
    canvas.picture[where] *= np.where(painted, 1 + 0.25 * (shown - 1), 1).astype(np.float32)


def paint_strip(
    canvas: Canvas, x_mm: float, y_mm: float, turn_rad: float, share: float, towards
) -> None:
    """Lay a strip of six 50 mm blocks, black and white in turn, with its shadow.

    Parameters
    ----------
    canvas : Canvas
        Changed in place.
    x_mm, y_mm : float
        Its middle.
    turn_rad : float
        Direction from its black end to its white one.
    share, towards
        How much of the light comes from a direction, and which.
    """
    along = np.array([np.cos(turn_rad), np.sin(turn_rad)])
    up = np.array([-along[1], along[0]])
    middle = np.array([x_mm, y_mm])

    def block(a: float, b: float, grow: float = 0.0) -> NDArray[np.float64]:
        half = (STRIP_HIGH_MM / 2 + grow) * up
        return np.array([middle + along * a - half, middle + along * b - half,
                         middle + along * b + half, middle + along * a + half])  # fmt: skip

    away = -1.5 * np.asarray(towards[:2])
    end = STRIP_LONG_MM / 2
    fill_outline(canvas, block(-end, end) + away, 0.01, 0.7 * share)
    fill_outline(canvas, block(-end, end, 0.0), (0.03, 0.03, 0.03))
    long = STRIP_LONG_MM / _BLOCKS
    for k in range(1, _BLOCKS, 2):
        fill_outline(canvas, block(-end + k * long, -end + (k + 1) * long), (0.78, 0.77, 0.75))
