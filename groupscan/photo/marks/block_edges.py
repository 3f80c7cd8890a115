"""Edges of a strip of alternating blocks, measured in the photo at sub-pixel precision.

In the strip's own frame x runs from 0 to 6 along it, one a block, and the long edges are y = -1
and y = 1. All else is in pixels.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.marks.blocks import LEAST_RATIO
from groupscan.photo.marks.steps import fit_steps, outward, rough_steps, sample_profiles
from groupscan.photo.plane import Floats
from groupscan.photo.reading import Photo

__all__ = ["Edges", "measure_edges"]

Bytes: TypeAlias = NDArray[Any]

_STATIONS = np.linspace(0.12, 0.88, 12)  # of the profiles along each edge, clear of its ends
_FLOOR_SE_PX = 0.15  # of one crossing: blur, sharpening and ragged print stray together
_LEAST_BLOCK_PX = 8.0
#: Crossings of one edge that must agree, and how far they may stray, as a share of a block.
_LEAST_AGREE, _MOST_STRAY = 5, 0.03
#: A chessboard has strips in it: what lies beyond a dark and a light block may differ by at most
#: this share of the blocks' own difference.
_MOST_BESIDE = 0.45
_LEAST_SHARE = 0.5  # of the usual contrast of neighbours (logarithm) that each two must have


@dataclass(frozen=True)
class Edges:
    """Crossings of a strip's edges, one row each.

    Attributes
    ----------
    px : (n, 2) array
        Where the crossing is seen.
    axis : (n,) array of int
        0 on the short edge ``x = level``, 1 on the long edge ``y = level``.
    level : (n,) array
    bright : (n,) array
        Towards which side it is bright, +1 or -1 along the axis.
    se_px : (n,) array
        Standard error across the edge.
    homography : (3, 3) array
        Strip's frame to pixels, without the lens.
    """

    px: Floats
    axis: NDArray[Any]
    level: Floats
    bright: Floats
    se_px: Floats
    homography: Floats


#: The edges: 7 short ones, then the long ones block by block; start and end in the strip's frame.
_AXIS = np.array([0] * 7 + [1] * 12)
_LEVEL = np.array([float(k) for k in range(7)] + [-1.0, 1.0] * 6)
_START = np.array([[k, -1.0] for k in range(7)] + [[b, y] for b in range(6) for y in (-1, 1)])
_END = np.array([[k, 1.0] for k in range(7)] + [[b + 1, y] for b in range(6) for y in (-1, 1)])


def measure_edges(photo: Photo, homography: Floats, *, slack_px: float) -> Edges | None:
    """Measure the edges of a strip that is known to within `slack_px`.

    Parameters
    ----------
    photo : Photo
    homography : (3, 3) array
        Strip's frame to pixels, roughly.
    slack_px : float

    Returns
    -------
    Edges or None
        None where there is no strip: too few edges, or not straight, or not alternating.
    """
    size = np.array(photo.size)
    frame = _apply(homography, np.array([[0, -1], [6, -1], [6, 1], [0, 1.0]]))
    if not np.isfinite(frame).all() or (frame < 1).any() or (frame > size - 2).any():
        return None
    margin = int(2 * slack_px + 12)
    low = np.maximum(np.floor(frame.min(axis=0)).astype(int) - margin, 0)
    high = np.minimum(np.ceil(frame.max(axis=0)).astype(int) + margin, size)
    crop: Any = np.ascontiguousarray(photo.rgb[low[1] : high[1], low[0] : high[0]])
    grey = np.asarray(cv2.cvtColor(crop, cv2.COLOR_RGB2GRAY))
    homography = np.array([[1, 0, -low[0]], [0, 1, -low[1]], [0, 0, 1.0]]) @ homography
    edges: Edges | None = None
    for reach, fine in ((slack_px, False), (0.6 * slack_px + 1, False), (3.5, True), (3.5, True)):
        block = _least_side(homography)
        if block < _LEAST_BLOCK_PX:
            return None
        edges = _crossings(grey, homography, min(reach, 0.3 * block), fine=fine)
        if edges is None:
            return None
        homography = edges.homography
    if edges is None or not _is_strip(grey, edges):
        return None
    back = np.array([[1, 0, low[0]], [0, 1, low[1]], [0, 0, 1.0]])
    return Edges(
        edges.px + low, edges.axis, edges.level, edges.bright, edges.se_px, back @ edges.homography
    )


def _least_side(homography: Floats) -> float:
    """Least length or height of the end blocks, px."""
    ends = np.array([[0, 0], [1, 0], [5, 0], [6, 0], [0, -1], [0, 1], [6, -1], [6, 1.0]])
    at = _apply(homography, ends)
    return float(np.linalg.norm(at[1::2] - at[::2], axis=1).min())


def _crossings(grey: Bytes, homography: Floats, reach: float, *, fine: bool) -> Edges | None:
    """Cross every edge by profiles, and fit the strip's frame to where they go over it."""
    middle = (_START + _END) / 2
    aside = np.where(_AXIS[:, None] == 0, [0.2, 0.0], [0.0, 0.4])
    shares = np.linspace(0.2, 0.8, 7)[:, None, None]
    here = _START + shares * (_END - _START)
    beyond, before = (
        np.median(_read(grey, _apply(homography, here + sign * aside)), axis=0) for sign in (1, -1)
    )
    bright = np.where(beyond > before, 1.0, -1.0)
    start, end = _apply(homography, _START), _apply(homography, _END)
    to_light = _apply(homography, middle + bright[:, None] * aside) - _apply(homography, middle)
    turn = (outward(start, end) * to_light).sum(axis=1) < 0
    start[turn], end[turn] = end[turn], start[turn]
    profiles = sample_profiles(
        grey,
        start[:, None],
        end[:, None],
        stations=_STATIONS,
        reach=np.full(len(start), reach),
    )
    steps = fit_steps(profiles) if fine else rough_steps(profiles)
    place, good = steps.place[:, 0], steps.good[:, 0]
    at = start[:, None] + (end - start)[:, None] * _STATIONS[:, None]
    px = at + outward(start, end)[:, None] * place[..., None]
    good, stray = _straight(place, good)
    # Where block and ground are alike there is no edge, only texture.
    most = _MOST_STRAY * _least_side(homography) + 0.3
    good &= (stray < most)[:, None]
    if good[1:6].sum(axis=1).min() < _LEAST_AGREE or good[7:].sum() < 30:
        return None
    which, _ = np.nonzero(good)
    fitted, rest = _fit_frame(px[good], _AXIS[which], _LEVEL[which])
    loose = np.abs(rest) > max(3 * 1.4826 * float(np.median(np.abs(rest))), 0.5)
    if loose.mean() > 0.4 or np.median(np.abs(rest)) > most:
        return None
    fitted, rest = _fit_frame(px[good][~loose], _AXIS[which][~loose], _LEVEL[which][~loose])
    which = which[~loose]
    se = np.hypot(_FLOOR_SE_PX, np.maximum(stray[which], np.abs(rest) / 3))
    return Edges(px[good][~loose], _AXIS[which], _LEVEL[which], bright[which], se, fitted)


def _straight(place: Floats, good: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], Floats]:
    """Which crossings lie on a line along their edge, (n, p), and their spread about it, (n,)."""
    t = _STATIONS - _STATIONS.mean()
    keep = good & (good.sum(axis=1) >= _LEAST_AGREE)[:, None]
    spread = np.full(len(place), np.inf)
    for _ in range(3):
        count = np.maximum(keep.sum(axis=1), 1)
        t_mean, p_mean = (keep * t).sum(axis=1) / count, (keep * place).sum(axis=1) / count
        off = keep * (t - t_mean[:, None])
        slope = (off * place).sum(axis=1) / np.maximum((off**2).sum(axis=1), 1e-9)
        rest = place - p_mean[:, None] - slope[:, None] * (t - t_mean[:, None])
        middle = np.sort(np.where(keep, np.abs(rest), np.inf), axis=1)
        spread = 1.4826 * middle[np.arange(len(place)), (count - 1) // 2]
        again = good & (np.abs(rest) < 3 * np.maximum(spread, 0.05)[:, None])
        enough = again.sum(axis=1) >= _LEAST_AGREE
        keep = np.where(enough[:, None], again, keep)
    return keep, spread


def _fit_frame(px: Floats, axis: NDArray[Any], level: Floats) -> tuple[Floats, Floats]:
    """Homography that puts each crossing on its edge, and the distances that remain, px."""
    centre, reach = px.mean(axis=0), float(np.abs(px - px.mean(axis=0)).max())
    q = np.column_stack([(px - centre) / reach, np.ones(len(px))])
    # The inverse sends q to (g1 q, g2 q) / g3 q; its first row is asked in blocks from the middle.
    rows = np.zeros((len(px), 9))
    value = np.where(axis == 0, (level - 3) / 3, level)
    for a in (0, 1):
        mine = axis == a
        rows[mine, 3 * a : 3 * a + 3] = q[mine]
    rows[:, 6:] = -value[:, None] * q
    weight = np.ones(len(px))
    for _ in range(3):
        weighted = rows * weight[:, None]
        inverse = np.linalg.eigh(weighted.T @ weighted)[1][:, 0].reshape(3, 3)
        top = np.einsum("ni,ni->n", q, inverse[axis])
        below = q @ inverse[2]
        # First-order distance: misfit over the slope of the level across the picture.
        slope = inverse[axis, :2] - (top / below)[:, None] * inverse[2, :2]
        steep = np.maximum(np.hypot(slope[:, 0], slope[:, 1]), 1e-12)
        rest = (top - value * below) / steep * reach
        spread = max(1.4826 * float(np.median(np.abs(rest))), 0.05)
        weight = 1 / steep / (1 + (rest / (3 * spread)) ** 2)
    scale = np.array([[reach, 0, centre[0]], [0, reach, centre[1]], [0, 0, 1.0]])
    into = np.array([[1 / 3, 0, -1.0], [0, 1, 0], [0, 0, 1.0]])
    homography = scale @ np.linalg.inv(inverse) @ into
    return homography / homography[2, 2], np.asarray(rest)


def _is_strip(grey: Bytes, edges: Edges) -> bool:
    """Whether the six blocks alternate evenly and what lies beside them does not."""
    x, y = np.meshgrid(np.linspace(0.15, 0.85, 6), np.linspace(-0.7, 0.7, 5))
    inner = np.stack([x.ravel(), y.ravel()], -1)
    seen = np.stack([_read(grey, _apply(edges.homography, inner + [b, 0])) for b in range(6)])
    level = np.median(seen, axis=1)
    rough = np.median(np.abs(seen - level[:, None]), axis=1)
    odd, even = level[1::2], level[::2]
    light, dark = (odd, even) if odd.sum() > even.sum() else (even, odd)
    # Neighbours are compared, since a shadow may cover a part of the strip.
    ratio = np.r_[light / np.maximum(dark, 1), light[:-1] / np.maximum(dark[1:], 1)]
    # A block's worth of ground beyond the end is between the two, unless it passes for a block.
    contrast = np.log(np.maximum(ratio, 1e-3))
    if contrast.min() < max(np.log(LEAST_RATIO), _LEAST_SHARE * float(np.median(contrast))):
        return False
    if (rough > 0.25 * (light.mean() - dark.mean())).any():
        return False
    along = np.arange(6)[:, None] + np.linspace(0.2, 0.8, 7)
    for side in (-1.5, 1.5):
        strip = np.stack([along, np.full_like(along, side)], axis=-1)
        beside = np.median(_read(grey, _apply(edges.homography, strip)), axis=1)
        differ = abs(float(np.median(beside[::2]) - np.median(beside[1::2])))
        if differ > _MOST_BESIDE * (light.mean() - dark.mean()):
            return False
    return True


def _read(grey: Bytes, px: Floats) -> Floats:
    """Grey levels at places (..., 2), nearest pixel, the border repeated."""
    at = np.rint(px).astype(int)
    h, w = grey.shape
    return np.asarray(grey[at[..., 1].clip(0, h - 1), at[..., 0].clip(0, w - 1)], float)


def _apply(homography: Floats, points: Floats) -> Floats:
    q = points @ homography[:, :2].T + homography[:, 2]
    return np.asarray(q[..., :2] / q[..., 2:], float)
