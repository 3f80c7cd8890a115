"""What happens to a sheet on the butt: holes, specks, stickers, pins and handwriting.

Everything is painted on the flat sheet's picture in linear light, at true size.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["Canvas", "Hole", "paint_hole", "paint_patch", "paint_pin", "paint_speck", "write"]

Linear = NDArray[np.float32]


@dataclass(frozen=True)
class Hole:
    """One shot: the shaft's axis in sheet mm, and the opening it left.

    Attributes
    ----------
    x_mm, y_mm : float
        Axis of the shaft where it went through the sheet.
    shaft_mm : float
        Diameter of the shaft.
    hole_mm : float
        Mean diameter of the opening after the paper sprang back.
    patched : bool
        Whether a sticker hides it.
    point : str
        ``round`` (field point), or ``cut2``, ``cut3``, ``cut4``: a head with that many blades.
    cut_mm : float, optional
        Width of a blade cut, tip to tip.
    turn_rad : float
        Direction of its first blade.
    arrow : bool
        Whether the arrow is still in it.
    new : bool
        Whether only the later photo of a pair has it.
    """

    x_mm: float
    y_mm: float
    shaft_mm: float
    hole_mm: float
    patched: bool = False
    point: str = "round"
    cut_mm: float | None = None
    turn_rad: float = 0.0
    arrow: bool = False
    new: bool = False


@dataclass
class Canvas:
    """A sheet's picture in linear light, (h, w, 3) in 0..1, with its size and scale.

    Placed as `groupscan.sheets.artwork.artwork_homography` says.
    """

    picture: Linear
    width_mm: float
    height_mm: float
    px_per_mm: float

    def __post_init__(self) -> None:
        self.gone = np.zeros(self.picture.shape[:2], np.float32)
        """Share of each pixel where an opening has taken the paper away."""

    def px(self, x_mm: Any, y_mm: Any) -> tuple[Any, Any]:
        """Return the picture's pixel coordinates of a point, or of many."""
        s = self.px_per_mm
        return self.width_mm / 2 * s + x_mm * s - 0.5, self.height_mm / 2 * s - y_mm * s - 0.5

    def window(
        self, x_mm: float, y_mm: float, reach_mm: float
    ) -> tuple[tuple[slice, slice], NDArray[np.float64], NDArray[np.float64]] | None:
        """Return the part of the picture near a point, and each pixel's offset from it in mm."""
        height, width = self.picture.shape[:2]
        s = self.px_per_mm
        u, v = self.px(x_mm, y_mm)
        left, right = max(0, int(u - reach_mm * s)), min(width, int(u + reach_mm * s) + 2)
        top, bottom = max(0, int(v - reach_mm * s)), min(height, int(v + reach_mm * s) + 2)
        if left >= right or top >= bottom:
            return None
        columns, rows = np.meshgrid(np.arange(left, right), np.arange(top, bottom))
        return (slice(top, bottom), slice(left, right)), (columns - u) / s, (v - rows) / s

    def lay(self, where: tuple[slice, slice], cover: NDArray[np.float64], colour: object) -> None:
        """Mix a colour in, by cover."""
        share = np.clip(cover, 0.0, 1.0)[..., None]
        self.picture[where] = self.picture[where] * (1 - share) + np.asarray(colour) * share


def _ragged(theta: NDArray[np.float64], rng: np.random.Generator, rough: float) -> NDArray:
    """Return a random periodic function of the angle with a standard deviation near `rough`."""
    total = np.zeros_like(theta)
    for k in range(2, 14):
        total += rng.normal(0, 1 / k**0.7) * np.cos(k * theta + rng.uniform(0, 2 * np.pi))
    return rough * total / 1.1


def paint_hole(canvas: Canvas, hole: Hole, light_rad: float, rng: np.random.Generator) -> None:
    """Shoot one hole: a dented rim, torn slits, a pale fibre edge, a dark inside, perhaps a flap.

    Parameters
    ----------
    canvas : Canvas
        Changed in place.
    hole : Hole
    light_rad : float
        Direction on the sheet towards the light.
    rng : numpy.random.Generator
    """
    base = hole.hole_mm / 2
    found = canvas.window(hole.x_mm, hole.y_mm, 3.2 * base + 2.5)
    if found is None:
        return
    where, x, y = found
    radius, theta = np.hypot(x, y), np.arctan2(y, x)
    soft = 1.0 / canvas.px_per_mm
    edge = base * (1 + _ragged(theta, rng, 0.045))

    # What an earlier shot took away cannot be dented, torn or left as a flap.
    before = canvas.picture[where].copy()
    gone = canvas.gone[where][..., None]

    # The paper round the hole bends inwards: bright towards the light, dark away from it.
    dent = np.exp(-np.maximum(radius - base, 0) / (0.35 * base))
    shade = 1 - 0.10 * dent + 0.22 * dent * np.cos(theta - light_rad - np.pi)
    canvas.picture[where] *= np.clip(shade, 0.3, 1.3)[..., None].astype(np.float32)

    # Slits run outwards from the rim.
    for _ in range(rng.integers(2, 7)):
        turn = rng.uniform(0, 2 * np.pi)
        reach = base * (1 + rng.uniform(0.15, 0.65))
        along, aside = x * np.cos(turn) + y * np.sin(turn), -x * np.sin(turn) + y * np.cos(turn)
        wide = rng.uniform(0.08, 0.22) * np.clip((reach - along) / (reach - 0.6 * base), 0, 1)
        bow = rng.normal(0, 0.04) * along
        slit = np.clip((wide - abs(aside - bow)) / soft + 0.5, 0, 1) * (along > 0) * (wide > 0)
        canvas.lay(where, 0.85 * slit, 0.03)

    # Torn fibres show the paper's white core at the edge.
    fibre = edge + 0.18 + 0.14 * _ragged(theta, rng, 1.0)
    canvas.lay(where, 0.55 * np.clip((fibre - radius) / soft + 0.5, 0, 1), (0.78, 0.76, 0.72))

    # A flap is paper that stayed in the opening on one side.
    opening = edge
    if rng.random() < 0.65:
        middle, half = rng.uniform(0, 2 * np.pi), rng.uniform(0.35, 0.75)
        apart = abs((theta - middle + np.pi) % (2 * np.pi) - np.pi)
        opening = edge - rng.uniform(0.15, 0.5) * base * np.clip(1 - apart / half, 0, 1)
        flap = np.clip((edge - radius) / soft + 0.5, 0, 1) * (apart < half)
        tone = 0.30 + 0.22 * np.cos(middle - light_rad)
        canvas.lay(where, 0.8 * flap, np.array([1.0, 0.98, 0.94]) * tone)

    canvas.picture[where] = canvas.picture[where] * (1 - gone) + before * gone
    inside = np.clip((opening - radius) / soft + 0.5, 0, 1)
    lit = 0.020 + 0.016 * np.clip(-np.cos(theta - light_rad) * radius / base, 0, 1)
    grain = cv2.GaussianBlur(rng.normal(0, 1, x.shape), (0, 0), 0.25 * canvas.px_per_mm)
    tone = lit * np.exp(0.8 * grain * canvas.px_per_mm * 0.25)
    canvas.lay(where, inside, tone[..., None] * np.array([1.0, 0.93, 0.85]))
    canvas.gone[where] = np.maximum(canvas.gone[where], inside)


def paint_speck(canvas: Canvas, x_mm: float, y_mm: float, size_mm: float, rng) -> None:
    """Leave a speck of dirt: small, brown, irregular and not quite opaque."""
    found = canvas.window(x_mm, y_mm, 2 * size_mm + 0.5)
    if found is None:
        return
    where, x, y = found
    turn, flat = rng.uniform(0, np.pi), rng.uniform(0.4, 1.0)
    a, b = x * np.cos(turn) + y * np.sin(turn), (-x * np.sin(turn) + y * np.cos(turn)) / flat
    edge = size_mm / 2 * (1 + _ragged(np.arctan2(b, a), rng, 0.2))
    cover = np.clip((edge - np.hypot(a, b)) / (2 / canvas.px_per_mm) + 0.5, 0, 1)
    canvas.lay(where, rng.uniform(0.35, 0.85) * cover, (0.10, 0.075, 0.05))


def paint_patch(canvas: Canvas, x_mm: float, y_mm: float, across_mm: float, rng) -> None:
    """Put a round paper sticker over a hole."""
    found = canvas.window(x_mm, y_mm, 0.7 * across_mm)
    if found is None:
        return
    where, x, y = found
    radius = np.hypot(x, y)
    edge = across_mm / 2
    shadow = np.exp(-np.maximum(np.hypot(x - 0.2, y + 0.2) - edge, 0) / 0.25)
    canvas.picture[where] *= (1 - 0.25 * shadow)[..., None].astype(np.float32)
    cover = np.clip((edge - radius) * canvas.px_per_mm + 0.5, 0, 1)
    tone = np.array([0.80, 0.78, 0.73]) * rng.uniform(0.92, 1.02)
    dimple = 1 - 0.05 * np.exp(-((radius - 2.4) ** 2) / 0.5)
    canvas.lay(where, cover, tone * dimple[..., None])


def paint_pin(
    canvas: Canvas, x_mm: float, y_mm: float, colour, light_rad: float, across: float = 7.0
) -> None:
    """Push a round-headed pin in: a head with a highlight, and its shadow."""
    found = canvas.window(x_mm, y_mm, 1.4 * across)
    if found is None:
        return
    where, x, y = found
    away = np.array([-np.cos(light_rad), -np.sin(light_rad)]) * 1.6
    shadow = np.clip((across / 2 - np.hypot(x - away[0], y - away[1])) / 0.6 + 0.5, 0, 1)
    canvas.picture[where] *= (1 - 0.55 * shadow)[..., None].astype(np.float32)
    radius = np.hypot(x, y) / (across / 2)
    bulge = np.sqrt(np.maximum(1 - radius**2, 0))
    turned = (x * np.cos(light_rad) + y * np.sin(light_rad)) / (across / 2)
    tone = 0.35 + 0.5 * bulge + 0.35 * turned
    shine = np.exp(-((turned - 0.45) ** 2 + (bulge - 0.85) ** 2) / 0.01)
    head = np.asarray(colour) * tone[..., None] + 0.6 * shine[..., None]
    canvas.lay(where, np.clip((1 - radius) * across / 2 * canvas.px_per_mm + 0.5, 0, 1), head)


def write(canvas: Canvas, text: str, x_mm: float, y_mm: float, height_mm: float) -> None:
    """Write by hand with a blue pen, from (x, y) on the base line."""
    rows, columns = canvas.picture.shape[:2]
    s = canvas.px_per_mm
    left, base = canvas.px(x_mm, y_mm)
    top = max(0, int(base - 2 * height_mm * s))
    bottom = min(rows, int(base + height_mm * s))
    mask = np.zeros((bottom - top, columns), np.uint8)
    # The script font's capitals are some 21 units high at scale 1.
    cv2.putText(
        mask,
        text,
        (round(left), round(base - top)),
        cv2.FONT_HERSHEY_SCRIPT_SIMPLEX,
        height_mm * s / 21,
        255,
        max(1, round(0.45 * s)),
        cv2.LINE_AA,
    )
    where = (slice(top, bottom), slice(0, columns))
    canvas.lay(where, 0.8 * mask / 255.0, (0.03, 0.05, 0.22))
