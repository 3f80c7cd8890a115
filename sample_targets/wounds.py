"""Holes and blade cuts as they look from close by: torn, dented, fringed and dark inside."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_targets.marks import Canvas, Hole

__all__ = ["FOAM", "PAPER", "Lit", "Material", "blade_turns", "paint_wound"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Material:
    """How a face tears.

    Attributes
    ----------
    fringe : float
        How much torn fibres show, 0 to 1.
    core : (float, float, float)
        Their colour.
    dent : float
        Depth of the dent round a hole, as a share of its radius.
    ragged : float
        Deviation of the edge, as a share of the radius.
    flaps : float
        How often a tongue of paper stays in the opening or is pushed out of it.
    """

    fringe: float
    core: tuple[float, float, float]
    dent: float
    ragged: float
    flaps: float


PAPER = Material(0.7, (0.60, 0.59, 0.56), 0.30, 0.045, 0.4)
FOAM = Material(0.12, (0.30, 0.30, 0.30), 0.16, 0.05, 0.08)


@dataclass(frozen=True)
class Lit:
    """Light where the hole is.

    Attributes
    ----------
    share : float
        How much of it comes from a direction.
    towards : (float, float, float)
        Unit vector to where it comes from.
    inside : (float, float, float)
        How the hole in the butt appears.
    behind : (float, float, float)
        How the butt's face appears through the opening, where the hole in it is not seen.
    drift_mm : (float, float)
        How far the hole in the butt seems to lie from the opening, to who looks aslant.
    """

    share: float
    towards: tuple[float, float, float]
    inside: tuple[float, float, float]
    behind: tuple[float, float, float] = (0.0, 0.0, 0.0)
    drift_mm: tuple[float, float] = (0.0, 0.0)


def _wavy(theta: Floats, rng: np.random.Generator, low: int, high: int) -> Floats:
    """Return a random periodic function of the angle with unit standard deviation."""
    total = np.zeros_like(theta)
    power = 0.0
    for k in range(low, high):
        weight = rng.normal(0, 1 / k**0.7)
        total += weight * np.cos(k * theta + rng.uniform(0, 2 * np.pi))
        power += weight**2 / 2
    return np.asarray(total / np.sqrt(max(power, 1e-9)))


def _relief(z: Floats, px_per_mm: float, lit: Lit) -> Floats:
    """Return how a relief in mm changes the light on it."""
    down, across = np.gradient(z, 1 / px_per_mm)
    # Rows run downwards and y upwards.
    rise_x, rise_y = across, -down
    lx, ly, lz = lit.towards
    facing = (lz - rise_x * lx - rise_y * ly) / np.sqrt(1 + rise_x**2 + rise_y**2)
    return np.asarray(1 + lit.share * (np.clip(facing / max(lz, 0.35), 0.15, 1.5) - 1))


def blade_turns(point: str, turn_rad: float, rng: np.random.Generator) -> list[float]:
    """Return the directions of a head's blades, a little uneven; none for a field point."""
    if not point.startswith("cut"):
        return []
    blades = int(point[3:])
    step = 2 * np.pi / blades
    return [turn_rad + k * step + float(rng.normal(0, 0.03)) for k in range(blades)]


def paint_wound(
    canvas: Canvas, hole: Hole, material: Material, lit: Lit, rng: np.random.Generator
) -> None:
    """Shoot one hole or blade cut.

    Parameters
    ----------
    canvas : Canvas
        Changed in place.
    hole : Hole
    material : Material
    lit : Lit
    rng : numpy.random.Generator
    """
    base = hole.hole_mm / 2
    reach = max(3.4 * base + 1.5, 0.6 * (hole.cut_mm or 0) + 1.5)
    found = canvas.window(hole.x_mm, hole.y_mm, reach)
    if found is None:
        return
    where, x, y = found
    radius, theta = np.hypot(x, y), np.arctan2(y, x)
    soft = 1.0 / canvas.px_per_mm
    rough = material.ragged * rng.uniform(0.5, 1.5)
    edge = base * (1 + rough * _wavy(theta, rng, 2, 6) + 0.5 * rough * _wavy(theta, rng, 6, 20))
    before, gone = canvas.picture[where].copy(), canvas.gone[where].copy()[..., None]

    past = np.maximum(radius - edge, 0)
    _dent(canvas, where, theta, past, base, material, lit, rng)
    opening = _slits(x, y, base, hole.arrow, soft, rng)
    strength = material.fringe * rng.uniform(0.15, 1.0)
    wide = base * 0.05 * np.clip(0.9 + 1.3 * _wavy(theta, rng, 2, 9), 0.0, 4.0)
    rim = np.clip((edge + wide - radius) / soft + 0.5, 0, 1) * np.clip(2 * wide / soft, 0, 1)
    canvas.lay(where, strength * rim, material.core)
    bite = edge
    if not hole.arrow and rng.random() < material.flaps:
        bite = _flap(canvas, where, radius, theta, edge, base, lit, rng, soft)
    opening = np.maximum(opening, np.clip((bite - radius) / soft + 0.5, 0, 1))
    for turn in blade_turns(hole.point, hole.turn_rad, rng):
        assert hole.cut_mm is not None
        slit, lip = _blade(x, y, turn, hole.cut_mm / 2, base, soft, rng)
        canvas.picture[where] *= _relief(lip, canvas.px_per_mm, lit)[..., None].astype(np.float32)
        opening = np.maximum(opening, slit)

    # What an earlier shot took away cannot be dented, torn or fringed.
    canvas.picture[where] = canvas.picture[where] * (1 - gone) + before * gone
    canvas.lay(where, opening, _inside(x, y, base, lit, canvas.px_per_mm, rng))
    canvas.gone[where] = np.maximum(canvas.gone[where], opening.astype(np.float32))


def _dent(canvas, where, theta, past, base, material, lit, rng) -> None:
    """Draw the paper in round the hole, in folds."""
    wide = base * rng.uniform(0.25, 0.6)
    folds = 1 + 0.45 * _wavy(theta, rng, 1, 7)
    z = -material.dent * rng.uniform(0.2, 1.3) * base * folds * np.exp(-past / wide)
    # Folds run out within the window, and a relief has no step at the opening.
    z = np.where(past > 0, z, -material.dent * base)
    shade = _relief(z, canvas.px_per_mm, lit)
    buried = 0.22 * rng.uniform(0.3, 1.2) * np.exp(-past / (0.3 * base)) * np.clip(folds, 0, 2)
    shade = np.where(past > 0, shade, 1.0) * (1 - np.clip(buried, 0, 0.7))
    canvas.picture[where] *= shade[..., None].astype(np.float32)


def _slits(x, y, base, tight, soft, rng) -> Floats:
    """Return tears that run outwards from the rim."""
    total = np.zeros_like(x)
    for _ in range(rng.integers(0, 7) if not tight else rng.integers(0, 3)):
        turn = rng.uniform(0, 2 * np.pi)
        reach = base * (1 + rng.uniform(0.1, 0.85) ** 1.3)
        along, aside = x * np.cos(turn) + y * np.sin(turn), -x * np.sin(turn) + y * np.cos(turn)
        wide = rng.uniform(0.08, 0.22) * np.clip((reach - along) / (reach - 0.7 * base), 0, 1)
        bow = rng.normal(0, 0.05) * along
        slit = np.clip((wide - abs(aside - bow)) / soft + 0.5, 0, 1) * np.clip(
            2 * wide / soft, 0, 1
        )
        total = np.maximum(total, 0.9 * slit * (along > 0) * (along < reach))
    return total


def _flap(canvas, where, radius, theta, edge, base, lit, rng, soft) -> Floats:
    """Leave a tongue of paper: hanging in the opening, or pushed out beside it."""
    middle, half = rng.uniform(0, 2 * np.pi), rng.uniform(0.3, 0.8)
    apart = abs((theta - middle + np.pi) % (2 * np.pi) - np.pi)
    shape = np.sqrt(np.clip(1 - (apart / half) ** 2, 0, 1))
    lx, ly, _ = lit.towards
    facing = np.cos(middle) * lx + np.sin(middle) * ly
    if rng.random() < 0.65:
        # Turned in: the opening is smaller there, and some of the tongue is seen in the dark.
        bite = edge - rng.uniform(0.15, 0.55) * base * shape
        tongue = np.clip((edge - radius) / soft + 0.5, 0, 1) * (apart < half)
        tone = 0.16 + 0.35 * lit.share * max(0.0, facing) + 0.2 * (1 - lit.share)
        share = np.clip(tongue * rng.uniform(0.4, 0.9), 0, 1)[..., None]
        canvas.picture[where] *= 1 - share * (1 - tone)
        return np.asarray(bite)
    # Turned out: its back, and the paper under it, in its own shade.
    length = rng.uniform(0.25, 0.7) * base * shape
    tongue = np.clip((edge + length - radius) / soft + 0.5, 0, 1) * (apart < half)
    tone = 0.45 + 0.3 * (1 - lit.share) - 0.2 * lit.share * facing
    canvas.picture[where] *= 1 - tongue[..., None] * (1 - np.clip(tone, 0.25, 0.95))
    rim = np.exp(-(((radius - edge - length) / (1.2 * soft)) ** 2)) * (apart < half)
    canvas.picture[where] *= 1 - 0.25 * rim[..., None]
    return np.asarray(edge)


def _blade(x, y, turn, reach, base, soft, rng) -> tuple[Floats, Floats]:
    """Return one blade's slit, and the lips that it leaves, in mm of height."""
    along, aside = x * np.cos(turn) + y * np.sin(turn), -x * np.sin(turn) + y * np.cos(turn)
    reach = reach * rng.uniform(0.96, 1.03)
    root = rng.uniform(0.35, 0.8)
    left = np.clip((reach - along) / reach, 0, 1)
    wide = root * left ** rng.uniform(0.6, 1.1)
    bow = rng.normal(0, 0.006) * along * left * 4
    off = abs(aside - bow)
    ahead = (along > -0.2 * base) & (along < reach)
    slit = np.clip((wide - off) / soft + 0.5, 0, 1) * np.clip(2 * wide / soft, 0, 1) * ahead
    lip = -0.35 * left * np.exp(-np.maximum(off - wide, 0) / 0.5) * ahead
    return slit, lip


def _inside(x, y, base, lit, px_per_mm, rng) -> Floats:
    """Return what is seen in the opening: the butt's dark, and where the light reaches its wall."""
    lx, ly, _ = lit.towards
    away = -(x * lx + y * ly) / max(base, 1e-6)
    wall = lit.share * rng.uniform(0, 1) ** 3 * 4 * np.clip(away - rng.uniform(0, 0.6), 0, 1)
    grain = cv2.GaussianBlur(rng.normal(0, 1, x.shape), (0, 0), 0.3 * px_per_mm)
    grain = grain / max(float(grain.std()), 1e-9)
    tone = (1 + wall) * np.exp(0.35 * grain)
    flecks = (grain > 2.2) * rng.uniform(0, 1) ** 6 * 0.12
    warm = np.array([1.15, 0.95, 0.7])
    core = np.hypot(x - lit.drift_mm[0], y - lit.drift_mm[1]) - base * rng.uniform(0.6, 0.85)
    past = np.clip(core * px_per_mm / 1.5 + 0.5, 0, 1)[..., None]
    colour = np.array(lit.inside) * (1 - past) + np.maximum(lit.behind, lit.inside) * past
    return np.asarray(tone[..., None] * colour + flecks[..., None] * lit.share * warm)
