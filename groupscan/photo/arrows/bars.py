"""Straight bars that differ from the sheet, darker or lighter: shafts, and what looks like them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.expected import Flat
from groupscan.photo.pixels import read_at
from groupscan.photo.plane import Floats

__all__ = ["LEAST_LENGTH_MM", "Bar", "find_bars", "without_seams"]

LEAST_LENGTH_MM = 22.0
_WIDTHS_MM = (3.6, 13.5)  # of a shaft as seen: narrower when blurred, wider near the camera
_COARSEST_MM = 1.3  # a cell at which a shaft is still three or four wide
_GAP_MM = 160.0  # between two pieces of one bar: black print hides a dark shaft for so long
_STRONG = 4.0  # standard deviations that a part of a bar stands out by
#: Seams are parallel to within this, radians, this far apart, and more than so many.
_PARALLEL, _APART_MM, _MOST_PARALLEL = 0.05, 12.0, 5
_READINGS = 15  # along a piece
#: What lies this near to a long part is looked at; windows have so much room about it; and they
#: begin at every fifth pixel, for the detector works at four fifths of the scale.
_AROUND, _ROOM_PX, _STEP_PX = np.ones((7, 7), np.uint8), 10, 5
_PIECE_MM, _BESIDE_MM = 9.0, 6.0  # least length of an edge, and of two side by side


@dataclass(frozen=True)
class Bar:
    """A straight bar on the sheet, its ends in no order.

    Attributes
    ----------
    ends_mm : (2, 2) array
    width_mm : float
    """

    ends_mm: Floats
    width_mm: float


def find_bars(flat: Flat, *, drawn: bool = False) -> list[Bar]:
    """Find straight bars of a shaft's width.

    Parameters
    ----------
    flat : Flat
    drawn : bool
        Whether people draw on this sheet, so that what is expected takes in what was seen.

    Returns
    -------
    list of Bar
        Longest first.

    Notes
    -----
    What differs from the expected is kept where it is connected over a few centimetres. Straight
    edges there (line segment detector of Grompone von Gioi et al. 2010) that run side by side, a
    shaft's width apart, make a piece of a bar; pieces on one line are joined.
    """
    picture, windows, factor = _difference(flat, drawn=drawn)
    if not len(windows):
        return []
    scale = flat.px_per_mm / factor
    pairs = _pairs(_segments(picture, windows), scale)
    pieces = _joined(pairs.those(_filled(picture, pairs)), _GAP_MM * scale)
    ends = np.stack([pieces.start, pieces.stop], axis=1)
    return [
        Bar(flat.to_mm((two + 0.5) * factor - 0.5), float(width) / scale)
        for two, width in zip(ends, pieces.width, strict=True)
    ]


def without_seams(bars: list[Bar]) -> list[Bar]:
    """Leave out bars that many others run parallel to: the seams of a layered block.

    Arrows lean a few degrees each their own way, so that many are never so parallel. What lies on
    one line counts once: a shaft may be seen in pieces.
    """
    if len(bars) <= _MOST_PARALLEL:
        return bars
    ends = np.array([bar.ends_mm for bar in bars])
    axis = ends[:, 1] - ends[:, 0]
    unit = axis / np.hypot(axis[:, 0], axis[:, 1])[:, None]
    normal = np.column_stack([-unit[:, 1], unit[:, 0]])
    middle = ends.mean(axis=1)
    aside = np.einsum("ijk,ik->ij", middle[None] - middle[:, None], normal)
    parallel = (np.abs(unit @ unit.T) > np.cos(_PARALLEL)) & (np.abs(aside) > _APART_MM)
    lines = [
        1 + np.sum(np.diff(np.sort(off[others])) > _APART_MM)
        for off, others in zip(aside, parallel, strict=True)
    ]
    return [bar for bar, n in zip(bars, lines, strict=True) if n <= _MOST_PARALLEL]


def _difference(flat: Flat, *, drawn: bool) -> tuple[np.ndarray, NDArray[np.intp], int]:
    """Take seen from expected, in standard deviations, where it is long.

    Returns the picture, the windows (see `_windows`) beyond which it is empty, and its cells' size.
    """
    factor = 2 if 2 / flat.px_per_mm < _COARSEST_MM else 1
    size = (flat.seen.shape[1] // factor, flat.seen.shape[0] // factor)
    # The light passes over anything as narrow as a shaft, drawn or standing.
    short: Any = (flat.light if drawn else flat.expected) - flat.seen
    doubt: Any = flat.doubt
    inside: Any = flat.inside
    if factor > 1:
        short = cv2.resize(short, size, interpolation=cv2.INTER_AREA)
        doubt = 0.5 * cv2.resize(doubt, size, interpolation=cv2.INTER_AREA)
        inside = inside[1::2, 1::2][: size[1], : size[0]]
    short = cv2.GaussianBlur(short, (0, 0), 0.7)
    short /= doubt
    short[~inside] = 0
    scale = flat.px_per_mm / factor
    strong: Any = (np.abs(short) > _STRONG).astype(np.uint8)
    # Print that lies a little off shows as lines thinner than any shaft.
    thin = max(2, round(2.8 * scale))
    strong = cv2.morphologyEx(strong, cv2.MORPH_OPEN, np.ones((thin, thin), np.uint8))
    # Of OpenCV's algorithms the one that is quickest to measure the parts, too.
    _, labels, stats, _ = cv2.connectedComponentsWithStatsWithAlgorithm(
        strong, 8, cv2.CV_32S, cv2.CCL_BBDT
    )
    reach = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) / scale
    area = stats[:, cv2.CC_STAT_AREA] / scale**2
    long = (reach > LEAST_LENGTH_MM) & (area > 2.0 * LEAST_LENGTH_MM)
    long[0] = False
    keep = cv2.dilate(long.astype(np.uint8)[labels], _AROUND)
    windows = _windows(stats[long, :4], strong.shape)
    return np.where(keep > 0, short, 0).astype(np.float32), windows, factor


def _windows(boxes: NDArray[Any], shape: tuple[int, ...]) -> NDArray[np.intp]:
    """Rectangles that hold parts with some room, none touching another.

    Parts are left, top, width and height, the rectangles left, top, right and bottom, px.
    """
    low = np.maximum(boxes[:, :2] - _ROOM_PX, 0) // _STEP_PX
    high = -(-np.minimum(boxes[:, :2] + boxes[:, 2:] + _ROOM_PX, shape[::-1]) // _STEP_PX)
    found = np.hstack([low, high])
    while len(found):
        mask = np.zeros(-(-np.array(shape) // _STEP_PX), np.uint8)
        for left, top, right, bottom in found:
            mask[top:bottom, left:right] = 1
        stats = cv2.connectedComponentsWithStats(mask)[2][1:]
        merged = np.hstack([stats[:, :2], stats[:, :2] + stats[:, 2:4]])
        if len(merged) == len(found):
            break
        found = merged
    return np.asarray(found * _STEP_PX, np.intp)


def _segments(picture: np.ndarray, windows: NDArray[np.intp]) -> Floats:
    """Straight edges, (n, 4) px, each with its darker side on the same hand."""
    detector = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD)
    segments = [np.zeros((0, 4))]
    for left, top, right, bottom in windows:
        here = picture[top:bottom, left:right]
        found = detector.detect(np.clip(128 + 12 * here, 0, 255).astype(np.uint8))[0]
        if found is not None:
            segments.append(np.asarray(found, float).reshape(-1, 4) + [left, top, left, top])
    return np.vstack(segments)


@dataclass(frozen=True)
class _Pieces:
    """Pieces of bars: ends of their axes, (n, 2) px each, and widths, (n,) px."""

    start: Floats
    stop: Floats
    width: Floats

    def those(self, which: NDArray[Any]) -> _Pieces:
        return _Pieces(self.start[which], self.stop[which], self.width[which])


def _pairs(segments: Floats, scale: float) -> _Pieces:
    """Edges that run side by side in opposite sense, the longest first."""
    length = np.hypot(*(segments[:, 2:] - segments[:, :2]).T)
    segments, length = (each[length > _PIECE_MM * scale] for each in (segments, length))
    a, b = segments[:, :2], segments[:, 2:]
    unit = (b - a) / length[:, None]
    middle = (a + b) / 2
    low, high = _WIDTHS_MM[0] * scale, _WIDTHS_MM[1] * scale
    found = [np.zeros((2, 0), np.intp)]
    for i in range(len(a)):
        gap = np.abs((middle[i + 1 :] - middle[i]) @ [-unit[i, 1], unit[i, 0]])
        beside = (gap > low) & (gap < high) & (unit[i + 1 :] @ unit[i] < -0.97)
        j = i + 1 + np.flatnonzero(beside)
        found.append(np.stack([np.full_like(j, i), j]))
    i, j = np.hstack(found)
    t = np.stack([_along(a[j] - a[i], unit[i]), _along(b[j] - a[i], unit[i])])
    common = np.minimum(length[i], t.max(axis=0)) - np.maximum(0.0, t.min(axis=0))
    i, j = (each[common >= _BESIDE_MM * scale] for each in (i, j))
    axis = unit[i] - unit[j]
    axis /= np.hypot(axis[:, 0], axis[:, 1])[:, None]
    through = (middle[i] + middle[j]) / 2
    ends = np.stack([_along(p - through, axis) for p in (a[i], b[i], a[j], b[j])])
    start = through + ends.min(axis=0)[:, None] * axis
    stop = through + ends.max(axis=0)[:, None] * axis
    width = np.abs(_aside(middle[j] - middle[i], unit[i]))
    order = np.argsort(-np.hypot(*(stop - start).T), kind="stable")
    return _Pieces(start, stop, width).those(order)


def _along(off: Floats, unit: Floats) -> Floats:
    """Lengths of offsets, (n, 2), along unit vectors, (n, 2) or (2,)."""
    return np.asarray((off * unit).sum(axis=-1))


def _aside(off: Floats, unit: Floats) -> Floats:
    """Lengths of offsets, (n, 2), across unit vectors, (n, 2) or (2,)."""
    return np.asarray(off[..., 1] * unit[..., 0] - off[..., 0] * unit[..., 1])


def _filled(picture: np.ndarray, pairs: _Pieces) -> NDArray[np.bool_]:
    """Whether what lies between two edges differs from the sheet, as a gap does not."""
    share = np.linspace(0.1, 0.9, _READINGS)[:, None]
    at = pairs.start[:, None] + share * (pairs.stop - pairs.start)[:, None]
    return np.asarray(np.median(np.abs(read_at(picture, at)), axis=1) > _STRONG)


def _joined(pieces: _Pieces, most_gap: float) -> _Pieces:
    """Join pieces that lie on one line, not too far from each other."""
    out = pieces.those(np.zeros(0, np.intp))
    for start, stop, width in zip(pieces.start, pieces.stop, pieces.width, strict=True):
        length = np.hypot(*(out.stop - out.start).T)
        axis = (out.stop - out.start) / length[:, None]
        off = start - out.start, stop - out.start
        aside = np.abs([_aside(each, axis) for each in off]).max(axis=0)
        t = np.array([_along(each, axis) for each in off])
        low, high = t.min(axis=0), t.max(axis=0)
        on = (aside < 0.6 * np.maximum(out.width, width)) & (
            np.maximum(low - length, -high) < most_gap
        )
        if on.any():
            k = int(np.argmax(on))
            first, last = min(low[k], 0.0) * axis[k], max(high[k], length[k]) * axis[k]
            out.start[k], out.stop[k] = out.start[k] + first, out.start[k] + last
            out.width[k] = min(out.width[k], width)
        else:
            out = _Pieces(
                np.vstack([out.start, start]),
                np.vstack([out.stop, stop]),
                np.append(out.width, width),
            )
    return out
