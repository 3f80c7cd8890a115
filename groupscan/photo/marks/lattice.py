"""A printed square grid: a first piece of it, and its crossings at sub-pixel precision.

Places on the grid are counted in its own periods, so that a crossing is a pair of whole numbers,
and a homography takes them to pixels.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.pixels import read_at
from groupscan.photo.plane import Floats
from groupscan.photo.reading import Photo

__all__ = ["Crossings", "Seed", "find_seed", "measure_crossings", "place"]

#: Least long side of the picture that a first piece is looked for in, and the piece's side, px.
_COARSE, _PIECE = 1000, 288
#: Shortest and longest period looked for, px of that picture.
_SHORTEST, _LONGEST = 11.0, 100.0
#: Where pieces are looked for, as shares of the photo, the middle first.
_PLACES = ((0.5, 0.5), (0.5, 0.32), (0.5, 0.68), (0.32, 0.5), (0.68, 0.5))
#: How far lines must stand out, in deviations of what lies between them.
_STANDS_OUT = 4.0
#: Least that is looked at on either side of a line, periods and px.
_BESIDE, _BESIDE_PX = 0.1, 9.0


@dataclass(frozen=True, eq=False)
class Seed:
    """A first piece of a grid.

    Attributes
    ----------
    grey : (h, w) uint8 array
        The reduced picture that it was found in.
    shrink : int
        By how much that is smaller than the photo.
    matrix : (3, 3) array
        Affine map from periods to pixels of the reduced picture near the piece; a crossing is at
        (0, 0), the first axis goes to the right and the second up.
    """

    grey: NDArray[np.uint8]
    shrink: int
    matrix: Floats


@dataclass(frozen=True, eq=False)
class Crossings:
    """Crossings measured: how far each lies from where it was expected, in periods.

    Attributes
    ----------
    off : (n, 2) array
        Along the grid's first and second axis.
    clear : (n, 2) array
        How far the line stands out from what lies beside it, in standard deviations: of the line
        that the first axis crosses, and of that which the second crosses.
    """

    off: Floats
    clear: Floats


def place(matrix: Floats, periods: Floats) -> Floats:
    """Return pixels (..., 2) of places on the grid (..., 2)."""
    q = periods @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(q[..., :2] / q[..., 2:])


def find_seed(photo: Photo) -> Seed | None:
    """Find a first piece of a grid of thin dark lines.

    Parameters
    ----------
    photo : Photo

    Returns
    -------
    Seed or None

    Notes
    -----
    Thin dark lines are what a morphological closing takes away. Their autocorrelation has its
    peaks at the grid's own steps, and the lines' places modulo these steps pile up at the
    crossings.
    """
    grey, shrink = _reduced(photo)
    closed: Any = cv2.morphologyEx(grey, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    height, width = grey.shape
    for share_x, share_y in _PLACES:
        left = int(np.clip(share_x * width - _PIECE / 2, 0, max(width - _PIECE, 0)))
        top = int(np.clip(share_y * height - _PIECE / 2, 0, max(height - _PIECE, 0)))
        here = slice(top, top + _PIECE), slice(left, left + _PIECE)
        piece = _thin_lines(grey[here], closed[here])
        steps = _steps(piece)
        if steps is None:
            continue
        origin = _phase(piece, steps)
        if origin is not None:
            matrix = np.eye(3)
            matrix[:2, :2] = steps.T
            matrix[:2, 2] = origin + [left, top]
            return Seed(grey, shrink, matrix)
    return None


def _reduced(photo: Photo) -> tuple[NDArray[np.uint8], int]:
    """Return the picture in grey, reduced by a power of two, which is quick, and that."""
    shrink = 1
    while max(photo.size) >= 2 * shrink * _COARSE:
        shrink *= 2
    return np.asarray(cv2.cvtColor(photo.reduced(shrink), cv2.COLOR_RGB2GRAY), np.uint8), shrink


def _thin_lines(grey: NDArray[np.uint8], closed: NDArray[np.uint8]) -> NDArray[np.float32]:
    """How much darker than its surroundings each thin thing is, as a share."""
    thin = cv2.subtract(closed, grey).astype(np.float32) / (closed.astype(np.float32) + 8.0)
    # Holes and dirt are darker than any line; they must not speak louder.
    return np.asarray(np.minimum(thin, 0.25))


def _steps(piece: NDArray[np.float32]) -> Floats | None:
    """Two steps (2, 2), px, that take the piece onto itself, the shortest there are."""
    h, w = piece.shape
    window = np.outer(np.hanning(h), np.hanning(w)).astype(np.float32)
    centred = (piece - piece.mean()) * window
    spectrum = np.fft.rfft2(centred)
    power = np.fft.fftshift(np.fft.irfft2(np.abs(spectrum) ** 2, s=(h, w)))
    again: Any = cv2.GaussianBlur(power.astype(np.float32), (0, 0), 1.0)
    top = again >= cv2.dilate(again, np.ones((7, 7), np.uint8))
    rows, columns = np.nonzero(top)
    step = np.column_stack([columns - w // 2, rows - h // 2]).astype(float)
    length = np.hypot(step[:, 0], step[:, 1])
    # Half of the peaks mirror the others; the window makes long steps fainter.
    use = (length > _SHORTEST) & (length < _LONGEST)
    use &= (step[:, 0] > 0) | ((step[:, 0] == 0) & (step[:, 1] > 0))
    step, length = step[use], length[use]
    fade = np.maximum((1 - np.abs(step[:, 0]) / w) * (1 - np.abs(step[:, 1]) / h), 0.1) ** 2
    strength = again[rows, columns][use] / fade
    if len(step) < 2:
        return None
    good = strength > 0.6 * np.sort(strength)[-min(3, len(strength)) :].mean()
    if not good.any():  # a picture without anything in it
        return None
    step, length = step[good], length[good]
    order = np.argsort(length)
    first = step[order[0]]
    for k in order[1:]:
        sine = abs(first[0] * step[k][1] - first[1] * step[k][0]) / (length[order[0]] * length[k])
        if sine > 0.6 and length[k] < 1.8 * length[order[0]]:
            second = step[k]
            # Axes as they will be used: the first to the right, the second up.
            if abs(first[0]) < abs(second[0]):
                first, second = second, first
            return np.array([first * np.sign(first[0] or 1), -second * np.sign(second[1] or 1)])
    return None


def _phase(piece: NDArray[np.float32], steps: Floats) -> Floats | None:
    """Pixel of the crossing nearest to the piece's middle, if lines stand out both ways."""
    h, w = piece.shape
    middle = np.array([(w - 1) / 2, (h - 1) / 2])
    x, y = np.meshgrid(np.arange(w) - middle[0], np.arange(h) - middle[1])
    inner = np.hypot(x, y) < 0.36 * min(h, w)
    periods = np.linalg.solve(steps.T, np.stack([x[inner], y[inner]]))
    bins = 48
    at = np.zeros(2)
    for axis in range(2):
        index = np.floor((periods[axis] % 1.0) * bins).astype(int)
        count = np.maximum(np.bincount(index, None, bins), 1)
        weight = np.bincount(index, piece[inner], bins) / count
        smooth = weight + np.roll(weight, 1) + np.roll(weight, -1)
        peak = int(np.argmax(smooth))
        rest = np.roll(weight, -peak)[4:-3]
        spread = 1.4826 * float(np.median(np.abs(rest - np.median(rest)))) + 1e-4
        if weight[peak] - np.median(rest) < _STANDS_OUT * spread:
            return None
        near = np.arange(peak - 1, peak + 2)
        at[axis] = float((weight[near % bins] * (near + 0.5)).sum() / smooth[peak]) / bins
    at -= np.round(at)
    return np.asarray(middle + at @ steps)


def measure_crossings(
    picture: NDArray[np.uint8],
    matrix: Floats,
    nodes: Floats,
    *,
    reach: float,
    line: float,
    rows: int = 3,
) -> Crossings:
    """Measure crossings near where they are expected.

    Parameters
    ----------
    picture : (h, w) or (h, w, 3) uint8 array
        Of a colour picture the second channel is used.
    matrix : (3, 3) array
        Homography from periods to pixels of the picture, good to `reach`.
    nodes : (n, 2) array
        Where crossings are expected, periods; whole numbers plus what is known of their place.
    reach : float
        How far to look, periods.
    line : float
        Width of the printed lines, periods.
    rows : int, default 3
        In how many rows on either side of the crossing each line is crossed.

    Returns
    -------
    Crossings

    Notes
    -----
    The rows' median is taken, which a hole in one of them does not move; the line is where the
    second derivative is greatest.
    """
    n = len(nodes)
    beside = np.linspace(0.12, 0.44, rows)
    beside = np.concatenate([-beside[::-1], beside])
    middle = place(matrix, nodes)
    off, clear = np.zeros((n, 2)), np.zeros((n, 2))
    for axis in range(2):
        unit = np.eye(2)[axis]
        half = np.linalg.norm(place(matrix, nodes + 0.5 * unit) - middle, axis=1)
        px = 2 * float(np.median(half))
        sigma = max(0.9, 0.5 * line * px)
        step = max(0.8, 0.7 * sigma) / px
        # What lies beside the line tells how far it stands out, so the profile is never short.
        look = max(reach, _BESIDE, min(_BESIDE_PX / px, 0.4))
        count = int(np.ceil((look + 3 * sigma / px) / step))
        margin = count - int(np.ceil(reach / step))
        offset = np.arange(-count, count + 1) * step
        # Over so short a way the homography is straight: its two ends will do.
        at = (nodes[:, None] + unit[::-1] * beside[:, None]).reshape(-1, 1, 2)
        ends = place(matrix, at + unit * offset[[0, -1], None]).astype(np.float32)
        share = np.linspace(0, 1, len(offset), dtype=np.float32)[:, None]
        maps = ends[:, :1] + (ends[:, 1:] - ends[:, :1]) * share
        profile = np.median(_sample(picture, maps).reshape(n, len(beside), -1), axis=1)
        bend = cv2.filter2D(profile.astype(np.float32), -1, _bend(sigma / px / step))
        inner = bend[:, margin : len(offset) - margin]
        best = np.clip(np.argmax(inner, axis=1), 1, inner.shape[1] - 2)
        row = np.arange(n)
        before, peak, after = inner[row, best - 1], inner[row, best], inner[row, best + 1]
        curve = np.minimum(before - 2 * peak + after, -1e-9)
        shift = np.clip(0.5 * (before - after) / curve, -1.0, 1.0)
        off[:, axis] = offset[margin] + (best + shift) * step
        noise = 1.4826 * np.median(np.abs(bend), axis=1)
        clear[:, axis] = peak / (noise + 0.3)
    return Crossings(off, clear)


def _sample(picture: NDArray[np.uint8], maps: Floats) -> NDArray[np.float32]:
    """Grey levels at (m, k, 2) places."""
    levels = read_at(picture, maps)
    return (levels if levels.ndim == 2 else levels[..., 1]).astype(np.float32)


def _bend(sigma: float) -> Floats:
    """Second derivative of a Gaussian, of unit height for a line."""
    reach = int(np.ceil(3 * sigma))
    x = np.arange(-reach, reach + 1.0)
    g = np.exp(-0.5 * (x / sigma) ** 2)
    kernel = (x**2 / sigma**2 - 1) * g
    kernel -= kernel.mean()
    return np.asarray((kernel / np.abs(kernel).sum() * 2)[None, :], np.float32)
