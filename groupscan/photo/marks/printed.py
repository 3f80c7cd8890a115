"""Where the printed edges of a known sheet are seen, once its plane is roughly known.

At many places along every edge the artwork is laid beside the photo, across the edge, and moved
until it fits best. So it does not matter whether the edge is a step or a line, or of which
colours: what counts is that the photo changes there as the artwork does.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.marks.bands import sample
from groupscan.photo.plane import Floats, Marks, Plane
from groupscan.sheets.artwork import artwork_homography, draw_artwork
from groupscan.sheets.catalogue import Sheet
from groupscan.sheets.prints import Prints

__all__ = ["Fits", "Stations", "lay_stations", "measure_prints", "printed_marks"]

#: Half length of the piece of artwork that is laid over the photo, and steps of the photo, px.
_HALF, _STEP = 5.0, 0.5
#: Correlation from which a place counts, and least contrast of the artwork there, grey levels.
_ALIKE, _LEAST_CONTRAST = 0.8, 8.0
#: Contrast of artwork that must show, and correlation below which another edge is in its place.
_CLEAR, _UNLIKE = 25.0, 0.6
#: Most places along one edge, and how far they are apart at least, px.
_MOST, _APART = 64, 3.0
#: Largest picture of the artwork, px, and its blur and the photo's, px (renders; no source).
_LARGEST, _BLUR = 4e6, 0.8
_ROUND = 1.3  # a step between scales that artwork is drawn and stations are laid for
#: Standard error of one place, px: print, paper, pixels (found on renders; no source).
_SE_PX = 0.3


@dataclass(frozen=True, eq=False)
class Stations:
    """Places on printed edges.

    Attributes
    ----------
    mm, normal : (n, 2) arrays
        Places on the sheet, and unit vectors across the edge there.
    figure : (n,) array
        Which edge each is on.
    centre_mm : (n, 2) array
        Centre of the circle, where it is one.
    size_mm : (n,) array
        Radius of the circle, or how far the straight line lies from the sheet's centre.
    straight : (n,) bool array
        Whether the edge is a straight line.
    """

    mm: Floats
    normal: Floats
    figure: Floats
    centre_mm: Floats
    size_mm: Floats
    straight: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Fits:
    """How artwork and photo agree at stations.

    Attributes
    ----------
    shift_mm : (n,) array
        How far along the normal the edge is seen.
    alike : (n,) array
        Correlation there; -1 where the artwork shows no edge or the photo does not reach.
    against : (n,) bool array
        Where the photo shows another edge in the place of this one.
    drawn : (n,) bool array
        Where the artwork shows an edge.
    counts : (n,) bool array
        Where it does, and the photo reaches.
    step_px : float
        Pixels of the photo for one of the picture measured in.
    """

    shift_mm: Floats
    alike: Floats
    against: NDArray[np.bool_]
    drawn: NDArray[np.bool_]
    counts: NDArray[np.bool_]
    step_px: float

    @property
    def good(self) -> NDArray[np.bool_]:
        """Stations whose edge is seen."""
        return np.asarray(self.alike > _ALIKE)

    @property
    def score(self) -> float:
        """Share of the stations that could be seen and are; -1 where the photo contradicts."""
        if self.counts.sum() < 12:
            return -1.0
        return float(np.maximum(self.alike[self.counts], 0.0).mean())


def _rounded(scale: float) -> float:
    """Round a scale, so that what is drawn or laid out for it serves others, too."""
    return float(_ROUND ** np.round(np.log(max(scale, 1e-6)) / np.log(_ROUND)))


def lay_stations(prints: Prints, mm_per_px: float) -> Stations:
    """Lay stations along all edges.

    Parameters
    ----------
    prints : Prints
    mm_per_px : float
        Roughly, so that stations do not crowd.

    Returns
    -------
    Stations
    """
    return _laid(prints, _rounded(mm_per_px))


@lru_cache(maxsize=16)
def _laid(prints: Prints, mm_per_px: float) -> Stations:
    parts: list[tuple[Floats, Floats, int, Floats, Floats, bool]] = []
    figure = 0
    for x, y, radius in prints.circles_mm:
        count = int(np.clip(2 * np.pi * radius / mm_per_px / _APART, 8, _MOST))
        turn = (np.arange(count) + 0.5) * 2 * np.pi / count
        out = np.column_stack([np.cos(turn), np.sin(turn)])
        middle = np.array([x, y])
        parts.append(
            (middle + radius * out, out, figure, np.tile(middle, (count, 1)),
             np.full(count, radius), False)
        )  # fmt: skip
        figure += 1
    for x0, y0, x1, y1 in prints.segments_mm:
        start, along = np.array([x0, y0]), np.array([x1 - x0, y1 - y0])
        length = float(np.hypot(*along))
        count = int(np.clip(length / mm_per_px / _APART, 0, _MOST))
        if count < 3:
            continue
        share = (np.arange(count) + 0.5) / count
        out = np.tile(np.array([along[1], -along[0]]) / length, (count, 1))
        mm = start + share[:, None] * along
        parts.append((mm, out, figure, np.zeros((count, 2)), (mm * out).sum(axis=1), True))
        figure += 1
    if not parts:
        none = np.zeros((0, 2))
        return Stations(none, none, none[:, 0], none, none[:, 0], none[:, 0] > 0)
    return Stations(
        np.vstack([p[0] for p in parts]),
        np.vstack([p[1] for p in parts]),
        np.concatenate([np.full(len(p[0]), p[2]) for p in parts]),
        np.vstack([p[3] for p in parts]),
        np.concatenate([p[4] for p in parts]),
        np.concatenate([np.full(len(p[0]), p[5]) for p in parts]),
    )


def measure_prints(
    picture: NDArray[np.uint8],
    plane: Plane,
    sheet: Sheet,
    stations: Stations,
    *,
    reach_px: float,
    shrink: float = 1.0,
) -> Fits:
    """Measure where printed edges are seen.

    Parameters
    ----------
    picture : (h, w, 3) uint8 array
        The photo, or the photo reduced.
    plane : Plane
    sheet : Sheet
    stations : Stations
    reach_px : float
        How far off the edges may be, px of the picture.
    shrink : float
        By how much the picture is reduced.

    Returns
    -------
    Fits
    """
    n = len(stations.mm)
    jacobian = plane.jacobian(stations.mm)
    px_per_mm = np.linalg.norm(np.einsum("nij,nj->ni", jacobian, stations.normal), axis=1) / shrink
    margin = int(np.ceil(reach_px / _STEP))
    half = int(_HALF / _STEP)
    offset = np.arange(-half - margin, half + margin + 1) * _STEP
    way = offset[None, :] / px_per_mm[:, None]
    mm = stations.mm[:, None] + way[..., None] * stations.normal[:, None]
    px = (plane.to_px(mm.reshape(-1, 2)) + 0.5) / shrink - 0.5
    values, inside = sample(picture, px)
    seen = values.reshape(n, len(offset), 3)
    whole = inside.reshape(n, -1).all(axis=1)
    # Of a sheet much larger than the picture too little would be seen: no need to draw it finer.
    most = max(picture.shape) / max(sheet.width_mm, sheet.height_mm, 1.0)
    art, matrix = _artwork(sheet, _rounded(min(float(np.median(px_per_mm)), most)))
    core = mm[:, margin : margin + 2 * half + 1].reshape(-1, 2)
    want = sample(art, core @ matrix[:2, :2].T + matrix[:2, 2])[0].reshape(n, -1, 3)
    want = want - want.mean(axis=1, keepdims=True)
    contrast = np.sqrt((want**2).mean(axis=1).sum(axis=1))
    drawn = np.asarray(contrast > _LEAST_CONTRAST)
    counts = whole & drawn
    length = want.shape[1]
    windows = np.lib.stride_tricks.sliding_window_view(seen, length, axis=1)
    both = sum(np.einsum("nst,nt->ns", windows[:, :, k], want[..., k]) for k in range(3))
    mean, square = (_running_mean(power, length) for power in (seen, seen**2))
    spread = np.maximum(square - mean**2, 0.0).sum(axis=-1)
    size = np.sqrt(spread) * contrast[:, None] * length
    alike = both / np.maximum(size, 1e-6)
    best = np.clip(np.argmax(alike, axis=1), 1, alike.shape[1] - 2)
    row = np.arange(n)
    before, peak, after = alike[row, best - 1], alike[row, best], alike[row, best + 1]
    bend = np.minimum(before - 2 * peak + after, -1e-9)
    shift = (best + np.clip(0.5 * (before - after) / bend, -1, 1) - margin) * _STEP / px_per_mm
    strong = (contrast > _CLEAR) & (np.sqrt(spread[:, margin]) > 0.5 * contrast)
    against = counts & strong & (alike.max(axis=1) < _UNLIKE)
    return Fits(shift, np.where(counts, peak, -1.0), against, drawn, counts, shrink)


def _running_mean(values: Floats, length: int) -> Floats:
    """Means over windows along the second axis, (n, s, 3)."""
    total = np.cumsum(values, axis=1, dtype=np.float64)
    total = np.concatenate([np.zeros_like(total[:, :1]), total], axis=1)
    return np.asarray((total[:, length:] - total[:, :-length]) / length)


def printed_marks(plane: Plane, stations: Stations, fits: Fits, sheet: Sheet) -> Marks:
    """Turn what was measured into marks.

    Parameters
    ----------
    plane : Plane
        That the fits were measured with.
    stations : Stations
    fits : Fits
    sheet : Sheet

    Returns
    -------
    Marks
    """
    on = fits.good
    px = plane.to_px(stations.mm + fits.shift_mm[:, None] * stations.normal)
    round_, straight = on & ~stations.straight, on & stations.straight
    se = _SE_PX * fits.step_px
    return Marks(
        source="print",
        sheet=sheet.id,
        circles_px=px[round_],
        circles_radius_mm=stations.size_mm[round_],
        circles_inset=np.zeros(int(round_.sum())),
        circles_centre_mm=stations.centre_mm[round_],
        circles_se_px=np.full(int(round_.sum()), se),
        lines_px=px[straight],
        lines_normal=stations.normal[straight],
        lines_offset_mm=stations.size_mm[straight],
        lines_se_px=np.full(int(straight.sum()), se),
        start=plane.homography,
        start_k1=plane.k1,
    )


@lru_cache(maxsize=6)
def _artwork(sheet: Sheet, px_per_mm: float) -> tuple[NDArray[np.uint8], Floats]:
    """Artwork at about the photo's scale, blurred alike, and the map to its pixels."""
    most = float(np.sqrt(_LARGEST / max(sheet.width_mm * sheet.height_mm, 1.0)))
    scale = min(1.2 * max(px_per_mm, 0.05), most)
    light: Any = np.square(draw_artwork(sheet, px_per_mm=scale).astype(np.float32) / 255)
    light = cv2.GaussianBlur(light, (0, 0), _BLUR * scale / max(px_per_mm, 0.05))
    art = np.asarray(255 * np.sqrt(light) + 0.5, np.uint8)
    return art, artwork_homography(sheet, px_per_mm=scale)
