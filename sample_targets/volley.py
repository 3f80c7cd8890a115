"""Shots at a sheet: where they go, what they leave, and what has been stuck over them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from groupscan.sheets.shapes import Sheet
from sample_targets.arrows import Arrow
from sample_targets.drawn import Sticker
from sample_targets.marks import Hole

__all__ = ["ARROW_MM", "Recipe", "Volley", "aim_points", "shoot", "stand_arrow"]

Point = tuple[float, float]

ARROW_MM = (480.0, 680.0)
"""How far an arrow stands out of the sheet."""

_PALE = ((0.70, 0.68, 0.58), (0.76, 0.75, 0.71))
_DARK = ((0.018, 0.018, 0.020), (0.035, 0.035, 0.036))
_BRIGHT = ((0.62, 0.03, 0.03), (0.75, 0.60, 0.03), (0.04, 0.22, 0.52), (0.12, 0.45, 0.10))
_VANES = ((0.75, 0.03, 0.03), (0.05, 0.7, 0.1), (0.8, 0.6, 0.02), (0.75, 0.75, 0.75),
          (0.03, 0.08, 0.7), (0.9, 0.25, 0.02))  # fmt: skip
_SHAFTS = ((0.012, 0.012, 0.013), (0.02, 0.02, 0.022), (0.03, 0.032, 0.04), (0.18, 0.18, 0.18))


@dataclass(frozen=True)
class Recipe:
    """What a sheet of one difficulty has on it.

    Attributes
    ----------
    shots : (int, int)
        Fewest and most.
    close : float
        How often a shot lands in or beside the hole of another.
    stickers, arrows : (int, int)
        Fewest and most; arrows only where arrows are common.
    cuts : float
        Mean number of blade cuts on sheets that broadheads are shot at.
    cut_close : float
        How often a cut touches a hole.
    """

    shots: tuple[int, int]
    close: float
    stickers: tuple[int, int]
    arrows: tuple[int, int]
    cuts: float
    cut_close: float


@dataclass(frozen=True)
class Volley:
    """Holes and stickers."""

    holes: tuple[Hole, ...]
    stickers: tuple[Sticker, ...]


def aim_points(sheet: Sheet, rng: np.random.Generator) -> tuple[str, tuple[Point, ...]]:
    """Return what is aimed at, and where, on sheets that leave it open."""
    if sheet.kind == "known-length":
        places = [(-150, 135), (145, 125), (-150, -60), (150, -62)]
        return "spot", tuple((float(x + rng.normal(0, 8)), float(y + rng.normal(0, 8)))
                             for x, y in places)  # fmt: skip
    if sheet.kind == "grid":
        return str(rng.choice(["diamond", "diamond", "square", "disc", "cross"])), ((0.0, 0.0),)
    if sheet.kind != "paper":
        return "printed", sheet.aims_mm
    shape = str(rng.choice(["disc", "disc", "cross", "diamond", "ring"]))
    if rng.random() < 0.35:
        return shape, tuple((float(a * 52 + rng.normal(0, 2.5)), float(b * 70 + rng.normal(0, 2.5)))
                            for a in (-1, 1) for b in (1, -1))  # fmt: skip
    return shape, ((float(rng.normal(0, 4)), float(rng.normal(0, 4))),)


def shoot(sheet: Sheet, recipe: Recipe, rng: np.random.Generator, *, later: bool) -> Volley:
    """Shoot at a sheet.

    Parameters
    ----------
    sheet : Sheet
        Its aims are shot at.
    recipe : Recipe
    rng : numpy.random.Generator
    later : bool
        Whether a few more shots come later (`Hole.new`).

    Returns
    -------
    Volley
        Holes that a sticker covers by chance are left out, unless meant to be (`Hole.patched`).
    """
    half = np.array([sheet.width_mm, sheet.height_mm]) / 2
    ring = sheet.kind == "rings"
    foam = sheet.kind == "known-length"
    shaft = float(np.round(rng.uniform(5.0, 8.0), 1))
    spread = 0.16 * half.min() if ring else min(0.16 * half.min(), 34.0)
    spread = spread * rng.uniform(0.6, 1.5)
    offset = rng.normal(0, 1.0 * spread, 2)
    reach = half - 14.0
    count = int(rng.integers(recipe.shots[0], recipe.shots[1] + 1))
    cuts = 0 if ring or foam else min(4, int(rng.poisson(recipe.cuts)))

    def opening() -> float:
        return float(shaft * (rng.uniform(0.63, 0.90) if foam else rng.uniform(0.88, 1.0)))

    def near(aim: Point) -> NDArray[np.float64]:
        return np.clip(np.array(aim) + offset + rng.normal(0, spread, 2), -reach, reach)

    holes: list[Hole] = []
    for k in range(count):
        for _ in range(60):
            if holes and rng.random() < recipe.close * 0.6:
                old = holes[int(rng.integers(len(holes)))]
                step = rng.uniform(0.5, 1.3) * shaft
                turn = rng.uniform(0, 2 * np.pi)
                at = np.array([old.x_mm + step * np.cos(turn), old.y_mm + step * np.sin(turn)])
                at = np.clip(at, -reach, reach)
            else:
                at = near(sheet.aims_mm[k % len(sheet.aims_mm)])
            apart = [np.hypot(h.x_mm - at[0], h.y_mm - at[1]) for h in holes]
            if recipe.close > 0 or not apart or min(apart) > 1.25 * shaft:
                break
        if apart and min(apart) < (0.35 if recipe.close else 1.25) * shaft:
            continue
        holes.append(Hole(float(at[0]), float(at[1]), shaft, opening()))
    for _ in range(cuts):
        holes.append(_cut(sheet, holes, shaft, recipe, near, reach, opening, rng))
    holes = _leave_arrows(holes, sheet, recipe, rng)
    stickers = _stick(sheet, holes, shaft, recipe, near, rng)
    if later:
        for _ in range(int(rng.integers(2, 6))):
            at = near(sheet.aims_mm[0])
            holes.append(Hole(float(at[0]), float(at[1]), shaft, opening(), new=True))
    holes = [h for h in holes if h.patched or not _covered(h, stickers)]
    order = rng.permutation(len(holes))
    return Volley(tuple(holes[k] for k in order), tuple(stickers))


def _cut(sheet, holes, shaft, recipe, near, reach, opening, rng) -> Hole:
    wide = float(rng.uniform(25.0, 30.0))
    blades = int(rng.choice([2, 3, 3, 4]))
    for _ in range(40):
        at = np.clip(near(sheet.aims_mm[0]) + rng.normal(0, 35, 2), 15 - reach, reach - 15)
        touch = holes and rng.random() < recipe.cut_close
        if touch:
            old = holes[int(rng.integers(len(holes)))]
            turn, step = rng.uniform(0, 2 * np.pi), rng.uniform(3.5, 0.5 * wide)
            at = np.array([old.x_mm + step * np.cos(turn), old.y_mm + step * np.sin(turn)])
        apart = [
            np.hypot(h.x_mm - at[0], h.y_mm - at[1]) - 0.5 * (wide + (h.cut_mm or h.hole_mm))
            for h in holes
        ]
        if touch or not apart or min(apart) > 1.0:
            break
    return Hole(float(at[0]), float(at[1]), shaft, opening(), point=f"cut{blades}", cut_mm=wide,
                turn_rad=float(rng.uniform(0, 2 * np.pi)))  # fmt: skip


def _leave_arrows(holes, sheet, recipe, rng) -> list[Hole]:
    """Leave some arrows in; on small paper nobody takes the photo before they are pulled."""
    often = {"rings": 0.75, "grid": 0.2, "known-length": 0.2}.get(sheet.kind, 0.0)
    if recipe.arrows[1] == 0 or rng.random() > often:
        return holes
    count = int(rng.integers(max(1, recipe.arrows[0]), recipe.arrows[1] + 1))
    round_ones = [k for k, h in enumerate(holes) if h.point == "round"]
    chosen = set(rng.permutation(round_ones)[:count].tolist())
    return [
        replace(h, arrow=True, hole_mm=h.shaft_mm) if k in chosen else h
        for k, h in enumerate(holes)
    ]


def _stick(sheet, holes, shaft, recipe, near, rng) -> list[Sticker]:
    """Patch old holes, which are added to `holes`."""
    stickers: list[Sticker] = []
    half = np.array([sheet.width_mm, sheet.height_mm]) / 2
    if sheet.kind == "known-length":
        return stickers
    palette = (_PALE, _PALE, _PALE, _DARK, _DARK, _DARK, _BRIGHT)[int(rng.integers(7))]
    for _ in range(int(rng.integers(recipe.stickers[0], recipe.stickers[1] + 1))):
        at = near(sheet.aims_mm[int(rng.integers(len(sheet.aims_mm)))]) + rng.normal(0, 12, 2)
        at = np.clip(at, 18 - half, half - 18)
        across = float(rng.choice([19.0, 22.0, 25.0]))
        off = np.clip(rng.normal(0, 1.5, 2), -3.5, 3.5)
        sticker = Sticker(float(at[0] + off[0]), float(at[1] + off[1]), across,
                          palette[int(rng.integers(len(palette)))])  # fmt: skip
        # Nobody sticks one over an arrow, or over a fresh hole without covering it.
        reach = [
            np.hypot(h.x_mm - sticker.x_mm, h.y_mm - sticker.y_mm) - 0.5 * (h.cut_mm or h.hole_mm)
            for h in holes
            if not h.patched
        ]
        if reach and min(reach) < 0.5 * across:
            continue
        stickers.append(sticker)
        holes.append(Hole(float(at[0]), float(at[1]), shaft, float(shaft * rng.uniform(0.88, 1.0)),
                          patched=True))  # fmt: skip
    return stickers


def _covered(hole: Hole, stickers: list[Sticker]) -> bool:
    return any(
        np.hypot(hole.x_mm - s.x_mm, hole.y_mm - s.y_mm) < (s.across_mm + hole.hole_mm) / 2
        for s in stickers
    )


def stand_arrow(hole: Hole, foot_mm: NDArray[np.float64], rng: np.random.Generator) -> Arrow:
    """Return the arrow that stands in a hole: nearly square to the sheet, its nock a little up."""
    lean = np.array([rng.normal(0, 0.035), rng.normal(0.05, 0.035), 1.0])
    lean /= np.linalg.norm(lean)
    pick = rng.permutation(len(_VANES))
    cock, hens, wrap, nock = (_VANES[int(k)] for k in pick[:4])
    return Arrow(
        foot_mm=tuple(float(a) for a in foot_mm),  # type: ignore[arg-type]
        along=tuple(float(a) for a in lean),  # type: ignore[arg-type]
        length_mm=float(rng.uniform(*ARROW_MM)),
        shaft_mm=hole.shaft_mm,
        shaft=_SHAFTS[int(rng.integers(len(_SHAFTS)))],
        wrap=wrap if rng.random() < 0.7 else _SHAFTS[0],
        nock=nock,
        vanes=(cock, hens, hens),
        gloss=float(rng.uniform(0.01, 0.14)),
        turn_rad=float(rng.uniform(0, 2 * np.pi)),
    )
