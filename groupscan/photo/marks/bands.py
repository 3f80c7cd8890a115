"""The five coloured bands of a ten-zone face in a photo."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.marks.spotting import classes
from groupscan.photo.plane import Floats, Plane
from groupscan.photo.reading import Photo

__all__ = ["Bands", "looks_like", "sample", "see_bands"]

#: Where bands are looked at for their colour, in zone widths from a line: clear of lines that are
#: misplaced by a fifth.
_CLEAR = np.linspace(0.25, 0.75, 4)
#: Fewest rays that a colour is told from.
_FEWEST_RAYS = 6
#: How far two bands side by side may look from what they are under any light, as a share. Shade,
#: glare and lamps leave 0.05 to 0.15 on faces, boards and grass are 0.3 and more off (renders).
_MISFIT = 0.22


@dataclass(frozen=True, eq=False)
class Bands:
    """How a photo shows the bands of a face.

    Attributes
    ----------
    colours : (5, 3) array
        Their colours where light falls on most of them, yellow first.
    visible : (4, rays) bool array
        Whether each of the four edges between them is in view on each ray from the centre.
    there : (rays,) bool array
        Which rays lie inside the photo as far as black reaches.
    """

    colours: Floats
    visible: NDArray[np.bool_]
    there: NDArray[np.bool_]


def see_bands(photo: Photo, plane: Plane, *, zone_mm: float, rays: int) -> Bands:
    """Look at the bands of a face.

    Parameters
    ----------
    photo : Photo
    plane : Plane
        Known to a fifth of a zone's width.
    zone_mm : float
        Width of a zone, mm; a band is two.
    rays : int
        How many directions from the centre to look in.

    Returns
    -------
    Bands

    Notes
    -----
    An edge is in view where the colours on its two sides are those of the bands under one light:
    not where a board, a hand, a hole or another sheet lies over it.
    """
    turn = np.linspace(0, 2 * np.pi, rays, endpoint=False)
    ray = np.stack([np.cos(turn), np.sin(turn)], -1)
    radius = (2 * np.arange(5)[:, None] + np.concatenate([_CLEAR, 1 + _CLEAR])) * zone_mm
    mm = (radius[..., None, None] * ray).reshape(-1, 2)
    values, within = sample(photo.rgb, plane.to_px(mm))
    samples, inside = values.reshape(*radius.shape, rays, 3), within.reshape(*radius.shape, rays)
    colours = _zone_colours(samples, inside)
    zone = len(_CLEAR)
    seen = np.stack([samples[:4, zone:].mean(axis=1), samples[1:, :zone].mean(axis=1)], axis=-2)
    want = np.stack([colours[:4], colours[1:]], axis=-2)[:, None]
    there = inside[:4, zone:].all(axis=1) & inside[1:, :zone].all(axis=1)
    within = np.asarray(inside[:4].all(axis=(0, 1)))
    return Bands(colours, np.asarray(there & looks_like(seen, want)), within)


def _zone_colours(samples: Floats, inside: NDArray[np.bool_]) -> Floats:
    """Median colour of the five bands, yellow first, (5, 3), where they are in view."""
    middle = samples.mean(axis=1)
    whole = np.asarray(inside.all(axis=1))
    right = classes(np.clip(middle[:3], 0, 255).astype(np.uint8))[[0, 1, 2], [0, 1, 2]] & whole[:3]
    out = np.full((5, 3), 128.0)
    for band in range(5):
        # A board may be yellow too, and black and white have no hue: a ray counts where yellow,
        # red and blue are in their order.
        good = np.asarray(right.all(axis=0) & whole[band])
        if good.sum() < _FEWEST_RAYS:
            good = right[band] if band < 3 else whole[band]
        if good.any():
            out[band] = np.median(middle[band][good], axis=0)
    return out


def looks_like(seen: Floats, want: Floats) -> NDArray[np.bool_]:
    """Tell whether colours are those wanted, under one light.

    Parameters
    ----------
    seen, want : (..., n, 3) arrays
        Colours; the light is one for the n of them.

    Returns
    -------
    (...) bool array
    """
    light = (seen * want).sum(axis=(-2, -1)) / (want**2).sum(axis=(-2, -1))
    off = ((seen - light[..., None, None] * want) ** 2).sum(axis=(-2, -1))
    return np.asarray(off < _MISFIT**2 * (seen**2).sum(axis=(-2, -1)))


def sample(rgb: NDArray[np.uint8], px: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Take colours at places of a picture.

    Parameters
    ----------
    rgb : (h, w, 3) uint8 array
    px : (n, 2) array, px

    Returns
    -------
    values : (n, 3) array
        Bilinear, with the picture's rim carried on; and whether each place lies inside, (n,).
    """
    height, width = rgb.shape[:2]
    inside = np.asarray(((px >= 0) & (px <= [width - 1, height - 1])).all(axis=1))
    # remap takes maps of fewer than 32768 rows; one row of blocks keeps any count in bounds.
    columns = 4096
    rows = -(-len(px) // columns)
    padded = np.zeros((rows * columns, 2), np.float32)
    padded[: len(px)] = px
    maps = padded.reshape(rows, columns, 2)
    out = cv2.remap(
        rgb, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return out.reshape(-1, 3)[: len(px)].astype(np.float32), inside
