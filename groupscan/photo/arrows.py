"""Arrows that still stand in the sheet: where the shaft goes in.

A shaft that stands off the sheet is seen beside the place it went in, farther off the nearer its
end comes to the camera. Its foot is the end that points back to the spot of the sheet that the
camera is right in front of, so the foot can be told from the nock and a shaft from a shadow.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np

from groupscan.photo.expected import Flat
from groupscan.photo.holes import Hole
from groupscan.photo.plane import Floats, Plane

__all__ = ["Shaft", "add_arrows", "find_shafts"]

_LEAST_LENGTH_MM = 22.0
_WIDTHS_MM = (3.8, 13.5)  # of a shaft as seen: wider than it is when near or crisp
#: How far shafts lean from square to the sheet (common practice, no source), radians; with room
#: for the camera's distance, which is known no better than its focal length.
_LEAN = 0.2
#: A shadow takes away less of the light than this (found on renders; no source).
_SHADOW = 0.28
_LEAST_CONTRAST = 7.5  # standard deviations that a shaft stands out by, at least
#: How far the axis lies inside the end that is seen, mm: a dark shaft's end takes in the hole's
#: torn rim; a pale one is in its own hole's shade before it is seen (found on renders; no source).
_DARK_BASE_MM, _PALE_BASE_MM = 4.0, -1.0
_FOOT_SE_MM = 1.2  # of a foot along the shaft, against renders


@dataclass(frozen=True)
class Shaft:
    """A shaft standing in the sheet.

    Attributes
    ----------
    foot_mm : (2,) array
        Where its axis goes through the sheet.
    end_mm : (2,) array
        Where its other end is seen on the sheet's plane.
    width_mm : float
        Its width as seen at the foot.
    contrast : float
        How far it stands out from the sheet, in standard deviations.
    """

    foot_mm: Floats
    end_mm: Floats
    width_mm: float
    contrast: float


def find_shafts(flat: Flat, plane: Plane) -> list[Shaft]:
    """Find arrows that stand in the sheet.

    Parameters
    ----------
    flat : Flat
    plane : Plane

    Returns
    -------
    list of Shaft
        Longest first; empty where nothing long and straight stands out.

    Notes
    -----
    1. What differs from the expected, darker or lighter, is kept where it is connected over a
       few centimetres.
    2. Straight edges there (line segment detector of Grompone von Gioi et al. 2010) that run
       side by side, a shaft's width apart, make a shaft; pieces on one line are joined.
    3. A pair whose direction does not point away from the camera's nearest spot is a shadow.
    4. The foot is where the difference along the axis ends, less what is seen beyond the axis of
       the shaft's round base and of the torn rim about it.
    """
    shift = _difference(flat)
    if shift is None:
        return []
    whole, picture, scale = shift
    pieces = _pairs(_segments(picture), scale)
    rotation, translation = plane.pose()
    # The spot of the sheet's plane that the camera is right in front of, and how far it is.
    spot = -rotation.T @ translation
    shafts = []
    for piece in _joined(pieces):
        shaft = _stand(piece, flat, whole, scale, spot[:2], abs(float(spot[2])))
        if shaft is not None:
            shafts.append(shaft)
    return _apart(shafts)


def add_arrows(holes: list[Hole], shafts: list[Shaft], plane: Plane) -> list[Hole]:
    """Add standing arrows to the holes, and take out what was only a part of one.

    Parameters
    ----------
    holes : list of Hole
    shafts : list of Shaft
    plane : Plane

    Returns
    -------
    list of Hole
        A hole seen at a shaft's foot gives the arrow its place; else the foot does.
    """
    out = list(holes)
    for shaft in shafts:
        axis = shaft.end_mm - shaft.foot_mm
        length = float(np.hypot(*axis))
        axis = axis / length
        foot = None
        for hole in list(out):
            off = np.array([hole.x_mm, hole.y_mm]) - shaft.foot_mm
            along = float(off @ axis)
            aside = abs(float(off @ np.array([-axis[1], axis[0]])))
            if (
                hole.state == "open"
                and -5.0 < along < length + 10.0
                and aside < 0.6 * shaft.width_mm
            ):
                out.remove(hole)
                if along < 5.0 and (foot is None or hole.confidence > foot.confidence):
                    foot = hole
        out.append(_arrow(shaft, foot, plane))
    return sorted(out, key=lambda hole: -hole.confidence)


def _arrow(shaft: Shaft, foot: Hole | None, plane: Plane) -> Hole:
    if foot is not None:
        return replace(foot, state="arrow")
    mm = shaft.foot_mm[None]
    px = plane.to_px(mm)[0]
    own = float(np.trace(plane.position_covariance(mm)[0]) / 2)
    return Hole(
        x_mm=float(mm[0, 0]),
        y_mm=float(mm[0, 1]),
        se_mm=float(np.hypot(_FOOT_SE_MM, np.sqrt(own))),
        x_px=float(px[0]),
        y_px=float(px[1]),
        diameter_mm=float(min(shaft.width_mm, 7.0)),
        cut="round",
        confidence=float(np.clip(0.6 + 0.01 * (shaft.contrast - _LEAST_CONTRAST), 0.6, 0.9)),
        state="arrow",
    )


def _difference(flat: Flat) -> tuple[np.ndarray, np.ndarray, float] | None:
    """Take seen from expected, in standard deviations at half size: all of it, and what is long."""
    size = (flat.seen.shape[1] // 2, flat.seen.shape[0] // 2)
    short = cv2.resize(flat.expected - flat.seen, size, interpolation=cv2.INTER_AREA)
    half: Any = cv2.GaussianBlur(short, (0, 0), 0.7)
    half /= 0.5 * cv2.resize(flat.doubt, size, interpolation=cv2.INTER_AREA)
    half[~flat.inside[1::2, 1::2][: size[1], : size[0]]] = 0
    scale = flat.px_per_mm / 2
    strong: Any = (np.abs(half) > 4).astype(np.uint8)
    # Print that lies a little off shows as lines thinner than any shaft.
    thin = max(2, round(2.8 * scale))
    strong = cv2.morphologyEx(strong, cv2.MORPH_OPEN, np.ones((thin, thin), np.uint8))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(strong)
    reach = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) / scale
    area = stats[:, cv2.CC_STAT_AREA] / scale**2
    long = (reach > _LEAST_LENGTH_MM) & (area > 2.0 * _LEAST_LENGTH_MM)
    long[0] = False
    if not long.any():
        return None
    keep = cv2.dilate(long[labels].astype(np.uint8), np.ones((7, 7), np.uint8))
    return half, np.where(keep > 0, half, 0).astype(np.float32), scale


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
    long = length > 9 * scale
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
            if stop - start < 6 * scale:
                continue
            axis = unit[i] - unit[j]
            axis /= np.hypot(*axis)
            through = (middle[i] + middle[j]) / 2
            ends = np.array([(p - through) @ axis for p in (a[i], b[i], a[j], b[j])])
            out.append(
                (through + ends.min() * axis, through + ends.max() * axis, abs(float(gap[j])))
            )
    return sorted(out, key=lambda p: -float(np.hypot(*(p[1] - p[0]))))


def _joined(pieces: list[tuple[Floats, Floats, float]]) -> list[tuple[Floats, Floats, float]]:
    """Join pieces that lie on one line."""
    out: list[tuple[Floats, Floats, float]] = []
    for start, stop, width in pieces:
        for k, (s, e, w) in enumerate(out):
            axis = (e - s) / np.hypot(*(e - s))
            normal = np.array([-axis[1], axis[0]])
            if max(abs((start - s) @ normal), abs((stop - s) @ normal)) < 0.6 * max(w, width):
                t = np.array([(p - s) @ axis for p in (s, e, start, stop)])
                out[k] = (s + t.min() * axis, s + t.max() * axis, min(w, width))
                break
        else:
            out.append((start, stop, width))
    return out


def _stand(
    piece: tuple[Floats, Floats, float],
    flat: Flat,
    picture: np.ndarray,
    scale: float,
    spot: Floats,
    range_mm: float,
) -> Shaft | None:
    """Make a shaft of a line that points away from the camera's spot and is no shadow."""
    ends = flat.to_mm((np.array(piece[:2]) + 0.5) * 2 - 0.5)
    away = np.hypot(*(ends - spot).T)
    foot, nock = (ends[0], ends[1]) if away[0] < away[1] else (ends[1], ends[0])
    length = float(np.hypot(*(nock - foot)))
    width = piece[2] / scale
    if length < _LEAST_LENGTH_MM or length < 3 * width:
        return None
    axis = (nock - foot) / length
    outward = foot - spot
    distance = max(float(np.hypot(*outward)), 1e-6)
    # A point at height h over the sheet is seen shifted by about h (outward / range + lean).
    turn = np.arccos(np.clip(axis @ outward / distance, -1, 1))
    if turn > np.arcsin(min(1.0, _LEAN * range_mm / distance)):
        return None
    steps = np.arange(-70.0, min(length, 60.0), 0.5)
    z = _along(picture, flat, foot, axis, steps, width, half=True)
    share = _along(1.0 - flat.seen / np.maximum(flat.expected, 1.0), flat, foot, axis, steps, width)
    print_there = _along(flat.doubt, flat, foot, axis, steps, width) > 1.5 * flat.noise
    body = (steps > 3) & (steps < min(length, 50.0))
    typical = float(np.median(np.abs(z[body])))
    gone = float(np.median(share[body]))
    if typical < _LEAST_CONTRAST or abs(gone) < _SHADOW or print_there[body].mean() > 0.5:
        return None
    start = _walk_back(z, steps, typical)
    base = foot + (start + (_DARK_BASE_MM if gone > 0 else _PALE_BASE_MM)) * axis
    return Shaft(base, nock, width, typical)


def _walk_back(z: Floats, steps: Floats, typical: float) -> float:
    """Where the shaft begins: back from its body over gaps that print or its own sheen leave."""
    level = 0.35 * typical
    smooth = cv2.blur(np.abs(z).astype(np.float32)[:, None], (1, 5))[:, 0]
    here = int(np.searchsorted(steps, 6.0))
    begin, gap, run = here, 0, 0
    for i in range(here, -1, -1):
        if smooth[i] > level:
            run += 1
            # After a gap only a run of 3 mm counts as shaft again.
            if gap == 0 or run >= 6:
                begin, gap = i, 0
        else:
            gap += 1
            run = 0
            if gap > 8:
                break
    # To the nearest half of what the shaft shows there, where it begins sharply.
    return float(steps[begin])


def _along(
    picture: np.ndarray,
    flat: Flat,
    foot: Floats,
    axis: Floats,
    steps: Floats,
    width: float,
    *,
    half: bool = False,
) -> Floats:
    """Median of a picture across the shaft at steps along its axis."""
    across = np.linspace(-0.3, 0.3, 5) * min(width, 7.0)
    normal = np.array([-axis[1], axis[0]])
    mm = foot + steps[:, None, None] * axis + across[None, :, None] * normal
    px = flat.to_px(mm.reshape(-1, 2))
    if half:
        px = (px + 0.5) / 2 - 0.5
    maps = px.astype(np.float32).reshape(len(steps), len(across), 2)
    seen = cv2.remap(np.asarray(picture, np.float32), maps[..., 0], maps[..., 1], cv2.INTER_LINEAR)
    return np.asarray(np.median(seen, axis=1), float)


def _apart(shafts: list[Shaft]) -> list[Shaft]:
    """One shaft a foot, the longest."""
    out: list[Shaft] = []
    for shaft in sorted(shafts, key=lambda s: -float(np.hypot(*(s.end_mm - s.foot_mm)))):
        if all(np.hypot(*(shaft.foot_mm - other.foot_mm)) > 6.0 for other in out):
            out.append(shaft)
    return out
