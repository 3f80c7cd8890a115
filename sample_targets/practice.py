"""Plan a photo of any practice target, as easy or as hard as asked for."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from groupscan.sheets.catalogue import get_sheet
from groupscan.sheets.shapes import Sheet
from sample_targets.arrows import Arrow, hides
from sample_targets.backdrop import BACKS, BAGS, FOAMS
from sample_targets.camera import Camera
from sample_targets.drawn import Sticker
from sample_targets.light import Lighting, set_light
from sample_targets.marks import Hole
from sample_targets.stance import picture_size, stand
from sample_targets.surface import Curl, hang_paper
from sample_targets.volley import ARROW_MM, Recipe, aim_points, shoot, stand_arrow

__all__ = ["KINDS", "LEVELS", "PracticePlan", "plan_practice"]

KINDS = {
    "ring_40": "ring-40",
    "ring_60": "ring-60",
    "ring_80": "ring-80",
    "ring_122": "ring-122",
    "letter": "plain-letter",
    "a4": "plain-a4",
    "grid": "inch-grid",
    "butt": "known-length",
}
FACE_MM = 620.0
"""Side of the foam face of kind ``butt``."""

_COARSEST_MM = (0.55, 1.1)
_FOCALS = [24.0, 24.0, 26.0, 28.0, 35.0, 43.0, 50.0]


@dataclass(frozen=True)
class Level:
    """What a difficulty means."""

    tilt_deg: tuple[float, float]
    curl_mm: tuple[float, float]
    lights: tuple[str, ...]
    sizes: tuple[int, ...]
    fill: tuple[float, float]
    blur_px: tuple[float, float]
    recipe: Recipe


LEVELS = {
    "easy": Level(
        (1, 10), (0.3, 0.9), ("overcast", "sun", "overcast", "indoor"), (2,), (0.62, 0.85),
        (0.55, 0.8), Recipe((6, 10), 0.0, (0, 0), (0, 0), 0.25, 0.0),
    ),
    "medium": Level(
        (8, 23), (1.5, 3.2), ("overcast", "sun", "sun_shadow", "sun_post", "indoor"), (1, 2, 2),
        (0.5, 0.8), (0.6, 0.95), Recipe((6, 16), 0.25, (0, 3), (0, 3), 1.2, 0.06),
    ),
    "hard": Level(
        (18, 40), (3.2, 5.5), ("sun_shadow", "foliage", "glare", "lowlight", "lowlight"),
        (0, 1, 2, 2), (0.45, 0.75), (0.7, 1.2), Recipe((9, 24), 0.5, (1, 4), (0, 4), 2.2, 0.25),
    ),
}  # fmt: skip


@dataclass(frozen=True)
class PracticePlan:
    """Everything that is true about one photo of a practice target.

    Attributes
    ----------
    kind, difficulty : str
    sheet : Sheet
        With the size of this face and the points aimed at.
    camera : Camera
    bend : Curl
    light : Lighting
    holes : tuple of Hole
    arrows : tuple of Arrow
        In the order of the holes that have one.
    stickers : tuple of Sticker
    specks : tuple of (x_mm, y_mm, size_mm)
    pins : tuple of (x_mm, y_mm)
    pin_kind : {"pin", "staple", "none"}
    mark : str
        Shape that is aimed at, on sheets without printed aims.
    strip : (x_mm, y_mm, turn_rad), optional
    butt : str
    butt_colour : (float, float, float)
    curl_mm : float
    blur_px, sharpen : float
    focal_eq_mm : float
    orientation : int
    quality : int
        Of the JPEG.
    seed : int
        Of everything that is random and not listed: rims, textures, noise; the same in both
        photos of a pair.
    role : {"before", "after"}, optional
        Place in a pair.
    """

    kind: str
    difficulty: str
    sheet: Sheet
    camera: Camera
    bend: Curl
    light: Lighting
    holes: tuple[Hole, ...]
    arrows: tuple[Arrow, ...]
    stickers: tuple[Sticker, ...]
    specks: tuple[tuple[float, float, float], ...]
    pins: tuple[tuple[float, float], ...]
    pin_kind: str
    mark: str
    strip: tuple[float, float, float] | None
    butt: str
    butt_colour: tuple[float, float, float]
    curl_mm: float
    blur_px: float
    sharpen: float
    focal_eq_mm: float
    orientation: int
    quality: int
    seed: int
    role: str | None = None

    def hidden(self, hole: Hole) -> bool:
        """Tell whether an arrow that stands in another hole hides this one."""
        at = self.camera.project(self.bend.lift(np.array([[hole.x_mm, hole.y_mm]])))[0]
        foot = np.array([hole.x_mm, hole.y_mm])
        return any(
            np.hypot(*(self.bend.flatten(*np.array(a.foot_mm[:2])) - foot)) > 1.0
            and hides(a, self.camera, at)
            for a in self.arrows
        )


def _face(kind: str) -> Sheet:
    sheet = get_sheet(KINDS[kind])
    if kind == "butt":
        return replace(sheet, width_mm=FACE_MM, height_mm=FACE_MM)
    return sheet


def plan_practice(
    kind: str,
    difficulty: str,
    *,
    seed: int,
    role: str | None = None,
    megapixels: float | None = None,
    light: str | None = None,
) -> PracticePlan:
    """Plan one photo.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    difficulty : {"easy", "medium", "hard"}
    seed : int
        Equal arguments give equal plans; both photos of a pair have the same seed.
    role : {"before", "after"}, optional
        Makes the photo one of a pair: the later one shows the same sheet with more holes.
    megapixels : float, optional
        Most that the picture has; by default 3 to 12, as phones have it.
    light : str, optional
        One of `sample_targets.light.LIGHTS`.

    Returns
    -------
    PracticePlan

    Raises
    ------
    KeyError
        If there is no such kind or difficulty.
    """
    level = LEVELS[difficulty]
    on_sheet = np.random.default_rng([seed, 1])
    sheet = _face(kind)
    half = np.array([sheet.width_mm, sheet.height_mm]) / 2
    mark, aims = aim_points(sheet, on_sheet)
    sheet = replace(sheet, aims_mm=aims)
    volley = shoot(sheet, level.recipe, on_sheet, later=role is not None)
    curl_mm = 0.0 if kind == "butt" else float(on_sheet.uniform(*level.curl_mm))
    specks = _specks(half, on_sheet)
    pin_kind = "none" if kind == "butt" else str(on_sheet.choice(["pin", "pin", "staple"]))
    strip = None
    if kind == "butt":
        strip = (float(on_sheet.uniform(-90, 90)), float(on_sheet.uniform(-215, -165)),
                 float(on_sheet.normal(0, 0.08)))  # fmt: skip
    butt = "foam" if kind == "butt" else str(on_sheet.choice(BACKS))
    # A strip's black blocks must be told from the face that they lie on.
    colours = BAGS if butt == "bag" else FOAMS[1:] if kind == "butt" else FOAMS
    colour = colours[int(on_sheet.integers(len(colours)))]

    # From here on everything belongs to this one photo.
    rng = np.random.default_rng([seed, 2, 0 if role != "after" else 1])
    bend = hang_paper(rng, half, curl_mm)
    names = level.lights
    lighting = set_light(str(rng.choice(names)) if light is None else light, rng, half)
    size = picture_size(rng, level.sizes, half, megapixels)
    # Who has arrows in the way steps back and zooms in.
    focals = [35.0, 43.0, 50.0] if any(h.arrow for h in volley.holes) else _FOCALS
    focal = float(rng.choice(focals))
    fill = float(rng.uniform(*level.fill))
    if kind == "ring_122" and difficulty == "hard":
        fill *= 0.65
    tilt = math.radians(rng.uniform(*level.tilt_deg))
    nearest = 2.2 * ARROW_MM[1] if any(h.arrow for h in volley.holes) else 0.0
    coarsest = _COARSEST_MM[kind == "ring_122"]
    camera = stand(rng, sheet, size, focal, tilt, fill, nearest, coarsest)
    arrows = tuple(
        stand_arrow(
            hole,
            bend.lift(np.array([hole.x_mm, hole.y_mm])),
            np.random.default_rng([seed, 3, k]),
        )
        for k, hole in enumerate(volley.holes)
        if hole.arrow
    )
    return PracticePlan(
        kind=kind,
        difficulty=difficulty,
        sheet=sheet,
        camera=camera,
        bend=bend,
        light=lighting,
        holes=tuple(h for h in volley.holes if role != "before" or not h.new),
        arrows=arrows,
        stickers=volley.stickers,
        specks=specks,
        pins=() if kind == "butt" else _pins(kind, half),
        pin_kind=pin_kind,
        mark=mark,
        strip=strip,
        butt=butt,
        butt_colour=colour,
        curl_mm=curl_mm,
        blur_px=float(rng.uniform(*level.blur_px)),
        sharpen=float(rng.uniform(0.2, 0.9)),
        focal_eq_mm=focal,
        orientation=int(rng.choice([1, 1, 1, 1, 6, 8, 3])),
        quality=int(rng.integers(84, 96)),
        seed=seed,
        role=role,
    )


def _pins(kind: str, half: NDArray[np.float64]) -> tuple[tuple[float, float], ...]:
    inset = 9.0 if kind.startswith("ring") else 11.0
    return tuple(
        (float(a * (half[0] - inset)), float(b * (half[1] - inset)))
        for a in (-1, 1)
        for b in (-1, 1)
    )


def _specks(
    half: NDArray[np.float64], rng: np.random.Generator
) -> tuple[tuple[float, float, float], ...]:
    places = rng.uniform(-0.95, 0.95, (int(rng.integers(2, 12)), 2)) * half
    sizes = rng.uniform(0.3, 2.0, len(places)) ** 1.3
    return tuple((float(x), float(y), float(s)) for (x, y), s in zip(places, sizes, strict=True))
