"""Straight bars that differ from the sheet, darker or lighter: shafts, and what looks like them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from groupscan.photo.expected import Flat
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
    picture, factor = _difference(flat, drawn=drawn)
    if picture is None:
        return []
    scale = flat.px_per_mm / factor
    pairs = [pair for pair in _pairs(_segments(picture), scale) if _filled(picture, *pair[:2])]
    pieces = _joined(pairs, _GAP_MM * scale)
    return [
        Bar(flat.to_mm((np.array(piece[:2]) + 0.5) * factor - 0.5), piece[2] / scale)
        for piece in pieces
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


def _difference(flat: Flat, *, drawn: bool) -> tuple[np.ndarray | None, int]:
    """Take seen from expected, in standard deviations, where it is long; and the cells' size."""
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
    _, labels, stats, _ = cv2.connectedComponentsWithStats(strong)
    reach = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) / scale
    area = stats[:, cv2.CC_STAT_AREA] / scale**2
    long = (reach > LEAST_LENGTH_MM) & (area > 2.0 * LEAST_LENGTH_MM)
    long[0] = False
    if not long.any():
        return None, factor
    keep = cv2.dilate(long.astype(np.uint8)[labels], np.ones((7, 7), np.uint8))
    return np.where(keep > 0, short, 0).astype(np.float32), factor


def _segments(picture: np.ndarray) -> Floats:
    """Straight edges, (n, 4) px, each with its darker side on the same hand."""
    grey = np.clip(128 + 12 * picture, 0, 255).astype(np.uint8)
    found = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD).detect(grey)[0]
    if found is None:
        return np.zeros((0, 4))
    return np.asarray(found, float).reshape(-1, 4)


def _pairs(segments: Floats, scale: float) -> list[tuple[Floats, Floats, float]]:
    """Edges that run side by side in opposite sense: axis ends, (2,) px each, and width, px."""
    a, b = segments[:, :2], segments[:, 2:]
    along = b - a
    length = np.hypot(along[:, 0], along[:, 1])
    long = length > _PIECE_MM * scale
    a, b, along, length = a[long], b[long], along[long], length[long]
    unit = along / length[:, None]
    middle = (a + b) / 2
    low, high = _WIDTHS_MM[0] * scale, _WIDTHS_MM[1] * scale
    out = []
    for i in range(len(a)):
        normal = np.array([-unit[i, 1], unit[i, 0]])
        gap = (middle - middle[i]) @ normal
        against = unit @ unit[i]
        for j in np.flatnonzero((against < -0.97) & (np.abs(gap) > low) & (np.abs(gap) < high)):
            if j <= i:
                continue
            t = np.array([(p - a[i]) @ unit[i] for p in (a[j], b[j])])
            start, stop = max(0.0, t.min()), min(length[i], t.max())
            if stop - start < _BESIDE_MM * scale:
                continue
            axis = unit[i] - unit[j]
            axis /= np.hypot(*axis)
            through = (middle[i] + middle[j]) / 2
            ends = np.array([(p - through) @ axis for p in (a[i], b[i], a[j], b[j])])
            out.append(
                (through + ends.min() * axis, through + ends.max() * axis, abs(float(gap[j])))
            )
    return sorted(out, key=lambda p: -float(np.hypot(*(p[1] - p[0]))))


def _filled(picture: np.ndarray, start: Floats, stop: Floats) -> bool:
    """Whether what lies between two edges differs from the sheet, as a gap does not."""
    at = (start + np.linspace(0.1, 0.9, _READINGS)[:, None] * (stop - start)).astype(np.float32)
    read = cv2.remap(picture, at[:, :1].copy(), at[:, 1:].copy(), cv2.INTER_LINEAR)
    return float(np.median(np.abs(read))) > _STRONG


def _joined(
    pieces: list[tuple[Floats, Floats, float]], most_gap: float
) -> list[tuple[Floats, Floats, float]]:
    """Join pieces that lie on one line, not too far from each other."""
    out: list[tuple[Floats, Floats, float]] = []
    for start, stop, width in pieces:
        for k, (s, e, w) in enumerate(out):
            axis = (e - s) / np.hypot(*(e - s))
            normal = np.array([-axis[1], axis[0]])
            aside = max(abs((start - s) @ normal), abs((stop - s) @ normal))
            t = np.array([(p - s) @ axis for p in (s, e, start, stop)])
            gap = max(t[2:].min() - t[:2].max(), t[:2].min() - t[2:].max())
            if aside < 0.6 * max(w, width) and gap < most_gap:
                out[k] = (s + t.min() * axis, s + t.max() * axis, min(w, width))
                break
        else:
            out.append((start, stop, width))
    return out
