"""Expected minus seen: the sheet laid flat, what it should look like, and what is darker.

A hole lets the dark behind the sheet through. So the question at each place is how far what is
seen has gone from what is expected there (paper and print, under the light that falls there)
towards black: 0 is paper as it should be, 1 is a hole. Everything after this room works on that
one picture, whatever the sheet.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.errors import MarksError
from groupscan.photo.face import Face
from groupscan.photo.plane import Floats, Plane
from groupscan.photo.reading import Photo
from groupscan.sheets.artwork import draw_artwork
from groupscan.sheets.catalogue import Sheet

__all__ = ["DRAWN_ON", "Flat", "flatten", "telling", "with_hole_level"]

Bytes: TypeAlias = NDArray[Any]
Singles: TypeAlias = NDArray[Any]

#: Finest and coarsest working scale, mm a pixel, and the most pixels along the sheet's longer
#: side: a 5 mm hole is then 8 to 12 pixels wide on paper and 6 on the largest face.
_FINEST, _COARSEST, _LONGEST = 0.45, 1.2, 1100
#: Window of the median that tells the light from the holes, mm: over twice a wide hole.
_LIGHT_WINDOW_MM = 26.0
#: Sheets that people draw or paint on, and the least length of what they draw, mm.
DRAWN_ON = ("paper", "grid", "known-length")
_DRAWN_MM = 20.0
_WIDER_THAN_HOLES_MM = 12.0
#: Broadest ink drawn, mm; grain at which it is looked for, mm; and how dark ink is against paper.
_BROAD_INK_MM, _INK_CELL_MM, _INK_TONE = 90.0, 4.0, 0.45
#: How dark a hole is against lit paper where the photo's own holes do not tell yet: veiling glare
#: and the phone's tone curve lift it from about 0.04 to 0.18. Found on renders; no source.
_HOLE_LEVEL = 0.06
#: Blur of a phone's picture, standard deviation in pixels (found on renders; no source).
_BLUR_PX = 0.8
#: Noise is told for grey levels so many together that cover this share of the sheet, and is
#: nowhere more than so many times that of the whole.
_LEVELS_A_BIN, _TELLS_NOISE, _MOST_NOISE = 16, 0.004, 3.0
#: How far print may lie from where the plane puts it, working pixels.
_PRINT_SLACK_PX = 0.5


@dataclass(frozen=True)
class Flat:
    """A sheet laid flat at a working scale.

    Attributes
    ----------
    seen : (h, w) uint8 array
        Brightest channel of the photo; coloured print is nearly as bright in it as paper.
    expected : (h, w) float32 array
        What it should be, by the artwork and the light.
    dark : (h, w) float32 array
        0 where seen is as expected, 1 where it is as dark as a hole; noise goes both ways.
    weight : (h, w) float32 array
        0 to 1: how well a hole could be told from the sheet there.
    doubt : (h, w) float32 array
        Standard deviation of seen about expected, noise and misplaced print together.
    light : (h, w) float32 array
        What plain paper would show there.
    noise : (256,) array
        Standard deviation of seen against expected, grey levels, by what is expected.
    inside : (h, w) bool array
        Where the photo shows the sheet.
    px_per_mm : float
    blur_mm : float
        How far the photo's own pixels smear an edge on the sheet, standard deviation.
    size_mm : (float, float)
        Width and height of the part of the plane shown; its centre is the sheet's.
    hole_level : float
        How dark a hole is in this photo, as a share of what paper would show.
    drawn_on : bool
        Whether people draw on such sheets.
    """

    seen: Bytes
    expected: Singles
    dark: Singles
    weight: Singles
    doubt: Singles
    light: Singles
    noise: Floats
    inside: NDArray[np.bool_]
    px_per_mm: float
    blur_mm: float
    size_mm: tuple[float, float]
    hole_level: float = _HOLE_LEVEL
    drawn_on: bool = False

    def to_mm(self, px: Floats) -> Floats:
        """Sheet mm of flat pixels, (n, 2)."""
        w, h = self.size_mm
        x = (px[:, 0] + 0.5) / self.px_per_mm - w / 2
        y = h / 2 - (px[:, 1] + 0.5) / self.px_per_mm
        return np.column_stack([x, y])

    def to_px(self, mm: Floats) -> Floats:
        """Flat pixels of sheet mm, (n, 2)."""
        w, h = self.size_mm
        x = (mm[:, 0] + w / 2) * self.px_per_mm - 0.5
        y = (h / 2 - mm[:, 1]) * self.px_per_mm - 0.5
        return np.column_stack([x, y])


def flatten(photo: Photo, plane: Plane, sheet: Sheet, face: Face | None = None) -> Flat:
    """Lay the sheet flat and take the expected from the seen.

    Parameters
    ----------
    photo : Photo
    plane : Plane
    sheet : Sheet
        Gives the artwork. A sheet without artwork is plain paper of its size.
    face : Face, optional
        Where a face of unknown size is; elsewhere nothing is looked for.

    Returns
    -------
    Flat

    Notes
    -----
    Print has few tones: the median of the seen over each tone of the artwork tells how that tone
    came out in this photo. Divided out, a sheet without holes would show the light alone; a
    median filter over a window much larger than a hole gives the light and keeps the edges of
    shadows (Huang, Yang and Tang 1979 for the filter). The artwork under that light is the
    expected.
    """
    width, height = sheet.width_mm, sheet.height_mm
    native = float(np.median(plane.mm_per_px(_spread(width, height))))
    step = float(np.clip(max(width, height) / _LONGEST, _FINEST, _COARSEST))
    px_per_mm = 1.0 / step
    size = (round(width * px_per_mm), round(height * px_per_mm))
    seen, inside = _lay_flat(photo, plane, (width, height), size, px_per_mm, native)
    if face is not None:
        inside &= _on_face(face, plane, (width, height), size, px_per_mm)
    art = _art_tone(sheet, px_per_mm)
    tone = _tones_as_printed(seen, inside, art)
    lit = cv2.multiply(seen, 1.0 / np.maximum(tone, 0.05), dtype=cv2.CV_32F)
    # Statistics of the whole sheet need no more than every third row and column.
    few = (slice(None, None, 3), slice(None, None, 3))
    shown = inside[few]
    if not shown.any():
        msg = f"{photo.name}: the sheet lies outside the photo; check the marks given by hand"
        raise MarksError(msg)
    top = max(float(np.percentile(lit[few][shown], 99.5)), 1.0)
    eight = np.asarray(cv2.convertScaleAbs(lit, alpha=200.0 / top))
    light = _light(eight, step) * np.float32(top / 200.0)
    if sheet.kind in DRAWN_ON:
        # What people drew or painted is not in the artwork: where it is larger than a hole, the
        # photo itself tells what to expect.
        ground = _without_small_dark(eight, step) * np.float32(top / 200.0)
    else:
        ground = light
    expected = ground * tone
    short = expected - seen
    if sheet.kind in DRAWN_ON:
        lean = np.float32(np.median(short[few][shown]))  # closing leans to the bright of noise
        expected, short = expected - lean, short - lean
        light = _beside_ink(light, step)
    across = cv2.Sobel(expected, cv2.CV_32F, 1, 0, ksize=3, scale=_PRINT_SLACK_PX / 8)
    down = cv2.Sobel(expected, cv2.CV_32F, 0, 1, ksize=3, scale=_PRINT_SLACK_PX / 8)
    slack = across * across + down * down
    # Beside an edge of print its place tells more than noise does.
    even = shown & (slack[few] < 1.0)
    noise = _noise_by_level(short[few][even], expected[few][even])
    grain: Any = cv2.LUT(cv2.convertScaleAbs(expected), noise.astype(np.float32))
    doubt = slack + grain * grain
    dark, weight = _against_holes(short, expected, light, doubt, _HOLE_LEVEL)
    weight[~inside] = 0
    return Flat(
        seen=seen,
        expected=expected,
        dark=dark,
        weight=weight,
        doubt=np.sqrt(doubt),
        light=light,
        noise=noise,
        inside=inside,
        px_per_mm=px_per_mm,
        blur_mm=_BLUR_PX * native,
        size_mm=(width, height),
        drawn_on=sheet.kind in DRAWN_ON,
    )


def with_hole_level(flat: Flat, level: float) -> Flat:
    """Judge a sheet again by how dark holes are in this photo.

    Parameters
    ----------
    flat : Flat
    level : float
        Of a hole, as a share of what paper would show.

    Returns
    -------
    Flat
        With its `dark` and `weight` measured against holes of that level.
    """
    short = flat.expected - flat.seen
    dark, weight = _against_holes(short, flat.expected, flat.light, flat.doubt**2, level)
    weight[~flat.inside] = 0
    return replace(flat, dark=dark, weight=weight, hole_level=level)


def _against_holes(
    short: Singles, expected: Singles, light: Singles, doubt: Singles, level: float
) -> tuple[Singles, Singles]:
    """Darkness, 1 being a hole's, and how well a hole could be told; `doubt` is a variance."""
    depth = np.maximum(expected - np.float32(level) * light, np.float32(1.0))
    weight = np.minimum(depth * depth / (9 * doubt), 1)
    dark = np.clip(short / depth, -0.5, 1.25) * telling(depth, light)
    return dark, weight


def telling(depth: Singles, light: Singles) -> Singles:
    """1 where a hole would be darker than the sheet, 0 where ink is as black as a hole."""
    return np.asarray(np.clip((depth / light - 0.02) / 0.05, 0, 1))


def _spread(width: float, height: float) -> Floats:
    x, y = np.meshgrid(np.linspace(-0.4, 0.4, 5) * width, np.linspace(-0.4, 0.4, 5) * height)
    return np.column_stack([x.ravel(), y.ravel()])


def _lay_flat(
    photo: Photo,
    plane: Plane,
    size_mm: tuple[float, float],
    size: tuple[int, int],
    px_per_mm: float,
    native: float,
) -> tuple[Bytes, NDArray[np.bool_]]:
    """Brightest channel of the sheet square on, from a photo shrunk to about that scale."""
    factor = max(1, int(1.0 / px_per_mm / native))
    rgb: Any = photo.rgb
    height, width = rgb.shape[:2]
    if factor > 1:
        # Only what the sheet covers, so that a small sheet in a big photo costs little.
        w, h = size_mm
        outline = plane.to_px(_outline(w, h))
        low = np.clip(np.floor(outline.min(axis=0)).astype(int) - 8, 0, [width - 1, height - 1])
        high = np.clip(np.ceil(outline.max(axis=0)).astype(int) + 8, low + 1, [width, height])
        rgb = rgb[low[1] : high[1], low[0] : high[0]]
        crop = (rgb.shape[1] // factor, rgb.shape[0] // factor)
        rgb = rgb[: crop[1] * factor, : crop[0] * factor]
        if min(crop) < 1:
            rgb, factor, low = photo.rgb, 1, np.zeros(2, int)
        else:
            rgb = cv2.resize(rgb, crop, interpolation=cv2.INTER_AREA)
    else:
        low = np.zeros(2, int)
    # The map is smooth: every sixteenth pixel is computed, the rest interpolated.
    coarse = 16
    gx = np.arange(-coarse, size[0] + 2 * coarse, coarse)
    gy = np.arange(-coarse, size[1] + 2 * coarse, coarse)
    x = (gx + 0.5) / px_per_mm - size_mm[0] / 2
    y = size_mm[1] / 2 - (gy + 0.5) / px_per_mm
    mm = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    px = ((plane.to_px(mm) - low + 0.5) / factor - 0.5).reshape(len(gy), len(gx), 2)
    # Grid node i lies at pixel coarse * i - coarse: an affine read-out of the small map.
    read = np.array([[1 / coarse, 0, 1.0], [0, 1 / coarse, 1.0]])
    maps = cv2.warpAffine(
        px.astype(np.float32), read, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )
    flat = cv2.remap(
        rgb, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT
    )
    red, green, blue = cv2.split(flat)
    h, w = rgb.shape[:2]
    inside = (
        (maps[..., 0] >= 0)
        & (maps[..., 1] >= 0)
        & (maps[..., 0] <= w - 1)
        & (maps[..., 1] <= h - 1)
    )
    return np.asarray(cv2.max(cv2.max(red, green), blue)), inside


def _on_face(
    face: Face, plane: Plane, size_mm: tuple[float, float], size: tuple[int, int], px_per_mm: float
) -> NDArray[np.bool_]:
    """Where the flat picture shows the face, to a few pixels."""
    coarse = 4
    x = (np.arange(0, size[0], coarse) + 0.5) / px_per_mm - size_mm[0] / 2
    y = size_mm[1] / 2 - (np.arange(0, size[1], coarse) + 0.5) / px_per_mm
    mm = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    shown: Any = face.shows(plane.to_px(mm)).reshape(len(y), len(x)).astype(np.uint8)
    return np.asarray(cv2.resize(shown, size, interpolation=cv2.INTER_NEAREST) > 0)


def _outline(w: float, h: float) -> Floats:
    t = np.linspace(-0.5, 0.5, 9)
    one = np.full(9, 0.5)
    return np.vstack(
        [
            np.column_stack([t * w, one * h]),
            np.column_stack([t * w, -one * h]),
            np.column_stack([one * w, t * h]),
            np.column_stack([-one * w, t * h]),
        ]
    )


@lru_cache(maxsize=4)
def _art_tone(sheet: Sheet, px_per_mm: float) -> Bytes:
    """Brightest channel of the artwork."""
    art = draw_artwork(sheet, px_per_mm=px_per_mm)
    tone = np.asarray(art.max(axis=2))
    tone.setflags(write=False)
    return tone


def _tones_as_printed(seen: Bytes, inside: NDArray[np.bool_], art: Bytes) -> Singles:
    """Tone of each pixel's artwork as this photo shows it, plain paper being 1."""
    few = (slice(None, None, 3), slice(None, None, 3))
    shown, tones, looks = inside[few], art[few], seen[few]
    area = np.bincount(tones[shown], minlength=256)
    counted = max(int(area.sum()), 1)
    main = np.flatnonzero(area > 0.01 * counted)
    if not len(main):
        return np.ones(art.shape, np.float32)
    levels = np.array([float(np.median(looks[shown & (tones == tone)])) for tone in main])
    paper = levels[np.argmax(main)] if main.max() > 128 else 255.0
    table = np.interp(np.arange(256), main, np.maximum(levels, 1.0) / max(paper, 1.0))
    below = np.arange(256) < main[0]
    # Ink darker than any broad area: thin lines.
    table[below] = table[main[0]] * np.arange(256)[below] / max(float(main[0]), 1.0)
    return np.asarray(cv2.LUT(art, table.astype(np.float32)))


def _noise_by_level(short: Floats, expected: Floats) -> Floats:
    """Noise of the photo at each grey level expected, (256,).

    A phone's tone curve lifts the dark, and its noise: in black print and in shade it may be two
    to three times that on lit paper.
    """
    overall = max(1.0, 1.4826 * float(np.median(np.abs(short)))) if len(short) else 1.0
    level = np.clip(expected, 0, 255).astype(np.uint8) // _LEVELS_A_BIN
    counts = np.bincount(level)
    told = np.flatnonzero(counts > _TELLS_NOISE * len(level))
    if not len(told):
        return np.full(256, overall)
    noises = [1.4826 * float(np.median(np.abs(short[level == k]))) for k in told]
    bounded = np.clip(noises, 1.0, _MOST_NOISE * overall)
    return np.asarray(np.interp(np.arange(256), (told + 0.5) * _LEVELS_A_BIN, bounded))


def _light(lit: Bytes, step: float) -> Singles:
    """Median-filtered light, at half the working scale to save time."""
    h, w = lit.shape
    half = cv2.resize(lit, (max(1, w // 2), max(1, h // 2)), interpolation=cv2.INTER_AREA)
    window = int(_LIGHT_WINDOW_MM / step / 2) | 1
    window = min(window, 2 * (min(half.shape) // 2) - 1, 101)
    if window >= 3:
        half = cv2.medianBlur(half, window)
    return np.maximum(
        cv2.resize(half, (w, h), interpolation=cv2.INTER_LINEAR).astype(np.float32), 1.0
    )


def _beside_ink(light: Singles, step: float) -> Singles:
    """Light that falls on broad ink, which the median took for the paper: that of its surroundings.

    Shade takes less than ink does: half of what a phone shows of paper is the bar. Where shade
    falls on ink, the ink is paler beside it; it is as deep at most as on the paper around.
    """
    h, w = light.shape
    cell = max(1, round(_INK_CELL_MM / step))
    small = cv2.resize(light, (max(1, w // cell), max(1, h // cell)), interpolation=cv2.INTER_AREA)
    reach = round(_BROAD_INK_MM / _INK_CELL_MM) | 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    around: Any = cv2.dilate(small, disc)
    inked = np.clip((_INK_TONE - small / around) / 0.1, 0, 1)
    if not inked.any():
        return light
    broad = cv2.erode((inked > 0.5).astype(np.uint8), np.ones((3, 3), np.uint8))  # less its blur
    palest = cv2.dilate(np.where(broad > 0, small, 0), disc)
    palest = np.where(palest > 0, palest, np.maximum(small, 1.0))
    deepest = cv2.erode(np.where(inked > 0, around, small), disc)
    around = cv2.GaussianBlur(around, (0, 0), reach / 6)
    beside: Any = np.clip(around * small / palest, np.minimum(deepest, around), around)
    around, beside = (
        cv2.resize(a, (w, h), interpolation=cv2.INTER_LINEAR) for a in (around, beside)
    )
    inked = np.clip((_INK_TONE - light / around) / 0.1, 0, 1)
    return np.asarray(light + inked * (beside - light))


def _without_small_dark(lit: Bytes, step: float) -> Singles:
    """Fill up what is dark and no larger than a hole, at half the working scale.

    A closing by a disc wider than any hole (Serra 1982) keeps drawn dots and blocks and fills
    holes with what surrounds them, those on a dot's rim too; but it fills drawn bars as well.
    The least of the closings by a long segment in eight directions (Soille 2003, section 8)
    keeps bars; where that makes a long difference, a bar was drawn.
    """
    h, w = lit.shape
    half: Any = cv2.resize(lit, (max(1, w // 2), max(1, h // 2)), interpolation=cv2.INTER_AREA)
    half = cv2.medianBlur(half, 3)
    cell = 2 * step
    size = max(3, round(_WIDER_THAN_HOLES_MM / cell)) | 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)).astype(np.uint8)
    ground: Any = _closed(half, disc)
    length = max(3, round(_DRAWN_MM / cell)) | 1
    bars: Any = ground
    for turn in np.arange(8) * np.pi / 8:
        bars = cv2.min(bars, _closed(half, _segment(length, float(turn))))
    thin: Any = (ground > 1.3 * bars.astype(np.float32)).astype(np.uint8)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(thin)
    reach = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) * cell
    long = reach > 1.2 * _DRAWN_MM
    long[0] = False
    drawn: Any = cv2.dilate(long[labels].astype(np.uint8), np.ones((3, 3), np.uint8))
    ground = np.where(drawn > 0, bars, ground)
    ground = cv2.GaussianBlur(ground, (0, 0), 0.8)
    full: Any = cv2.resize(ground, (w, h), interpolation=cv2.INTER_LINEAR)
    return np.asarray(np.maximum(full.astype(np.float32), 1.0))


def _closed(picture: Bytes, element: NDArray[np.uint8]) -> Bytes:
    return np.asarray(
        cv2.morphologyEx(picture, cv2.MORPH_CLOSE, element, borderType=cv2.BORDER_REPLICATE)
    )


def _segment(length: int, turn: float) -> NDArray[np.uint8]:
    """Draw a segment through the middle of a square, as a structuring element."""
    element = np.zeros((length, length), np.uint8)
    middle, reach = length // 2, (length - 1) / 2
    x, y = round(reach * np.cos(turn)), round(reach * np.sin(turn))
    cv2.line(element, (middle - x, middle - y), (middle + x, middle + y), 1)
    return element
