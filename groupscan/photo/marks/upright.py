"""Which way is up, where a sheet's marks leave it open: the paper's edges, else the photo's up."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.marks.bands import looks_like
from groupscan.photo.plane import Floats, Plane
from groupscan.photo.reading import Photo

__all__ = ["Turn", "paper_turn"]

#: A paper edge farther than this from the photo's up does not square the sheet.
_MOST_TURN = np.radians(20)
#: Samples along a ray, and how many of them show what the paper looks like there.
_SAMPLES, _BEGIN = 180, 10
#: How well a person holds a phone upright, used where nothing else tells (no source).
_HAND_SE = np.radians(1.5)


@dataclass(frozen=True)
class Turn:
    """Rotation to give the sheet's axes, anticlockwise, and its standard error."""

    angle_rad: float
    se_rad: float
    half_sizes_mm: tuple[float, ...] = ()
    notes: tuple[str, ...] = ()


def paper_turn(
    photo: Photo, plane: Plane, *, inner_mm: float, outer_mm: float, paper: Floats
) -> Turn:
    """Square the sheet by the edges of its paper.

    Parameters
    ----------
    photo : Photo
    plane : Plane
        Whose up is that of the photo, near enough.
    inner_mm, outer_mm : float
        The paper's edge is looked for between these distances from the centre, mm.
    paper : (3,) array
        Colour of the paper in lit parts of the photo: where something else lies over it, its edge
        is not looked for.

    Returns
    -------
    Turn
        With `half_sizes_mm` the distances of the edges found from the sheet's centre: right,
        top, left, bottom; NaN where one was not found.

    Notes
    -----
    Rays from the centre walk outwards over the paper until its tone ends. Points that have a
    consistent direction modulo a quarter turn vote for the rotation; a line is then fitted to
    each side by iteratively reweighted least squares.
    """
    rays = 180
    turn = np.linspace(-np.pi, np.pi, rays, endpoint=False)
    along = np.stack([np.cos(turn), np.sin(turn)], -1)
    count = _SAMPLES
    radius = np.linspace(inner_mm, outer_mm, count)
    mm = radius[None, :, None] * along[:, None, :]
    px = plane.to_px(mm.reshape(-1, 2)).astype(np.float32).reshape(rays, count, 2)
    height, width = photo.rgb.shape[:2]
    seen = cv2.remap(photo.rgb, px[..., 0], px[..., 1], cv2.INTER_LINEAR).astype(np.float32)
    inside = (px >= 0).all(-1) & (px[..., 0] < width) & (px[..., 1] < height)
    # What the paper looks like right here: the start of the ray.
    begins = np.median(seen[:, :_BEGIN], axis=1, keepdims=True)
    edge_at = _end_of_paper(seen, begins, inside)
    ok = np.isfinite(edge_at) & looks_like(begins, paper[None, None])
    r = inner_mm + np.where(ok, edge_at, 0.0) * (radius[1] - radius[0])
    points = r[:, None] * along
    angle = _vote(points, ok)
    if angle is None:
        return Turn(0.0, _HAND_SE, (), ("Up is the photo's up: no paper edge was found.",))
    angle, se, sizes = _fit_sides(points[ok], angle, inner_mm)
    if abs(angle) > _MOST_TURN or not np.isfinite(se):
        return Turn(0.0, _HAND_SE, (), ("Up is the photo's up: the paper is turned in it.",))
    return Turn(float(angle), float(max(se, 5e-4)), sizes)


def _end_of_paper(seen: Floats, start: Floats, inside: NDArray[np.bool_]) -> Floats:
    """Index along each ray where the paper's tone ends for good, NaN where it does not."""
    rays, count, _ = seen.shape
    level = np.maximum(start.sum(axis=2), 1.0)
    change = np.abs(seen - start).sum(axis=2) / level
    off = (change > 0.22) | ~inside
    # Off for good: most of the next nine samples are off as well.
    run = cv2.blur(off.astype(np.float32), (9, 1), anchor=(0, 0), borderType=cv2.BORDER_REPLICATE)
    gone = off & (run > 0.7)
    first = np.argmax(gone, axis=1)
    row = np.arange(rays)
    found = gone.any(axis=1) & (first > 2) & inside[row, np.minimum(first + 3, count - 1)]
    # Sub-sample: where the change crosses half of what lies beyond, at most five samples on.
    ahead = np.minimum(first[:, None] + np.arange(-1, 5), count - 2)
    rise = change[row[:, None], ahead]
    half = np.median(rise[:, 2:], axis=1, keepdims=True) / 2
    up = np.where((rise[:, 1:] >= half).any(axis=1), np.argmax(rise[:, 1:] >= half, axis=1), 4)
    a, b = rise[row, up], rise[row, up + 1]
    part = np.where(b > a, np.clip((half[:, 0] - a) / np.where(b > a, b - a, 1.0), 0, 1), 0.5)
    return np.where(found, ahead[row, up] + part, np.nan)


def _vote(points: Floats, ok: np.ndarray) -> float | None:
    """Rotation of the straight parts of the outline, radians in (-pi/4, pi/4]."""
    reach = 3
    ahead = np.roll(points, -reach, axis=0)
    both = ok & np.roll(ok, -reach)
    delta = ahead - points
    length = np.hypot(delta[:, 0], delta[:, 1])
    typical = np.median(length[both]) if both.sum() >= 20 else 0.0
    use = both & (length < 3 * typical)
    if use.sum() < 30:
        return None
    direction = np.arctan2(delta[use, 1], delta[use, 0])
    folded = np.mod(direction, np.pi / 2)
    bins = np.histogram(folded, bins=90, range=(0, np.pi / 2))[0].astype(float)
    smooth = bins + np.roll(bins, 1) + np.roll(bins, -1)
    peak = int(np.argmax(smooth))
    if smooth[peak] < 0.25 * use.sum():
        return None
    centre = (peak + 0.5) * np.pi / 180
    near = np.mod(folded - centre + np.pi / 4, np.pi / 2) - np.pi / 4
    angle = centre + float(np.median(near[np.abs(near) < np.radians(4)]))
    return float(np.mod(angle + np.pi / 4, np.pi / 2) - np.pi / 4)


def _fit_sides(
    points: Floats, angle: float, inner_mm: float
) -> tuple[float, float, tuple[float, ...]]:
    """Refine a rotation by a robust line through each side of the paper."""
    angles, errors = [], []
    sizes = []
    for side in range(4):
        c, s = np.cos(angle + side * np.pi / 2), np.sin(angle + side * np.pi / 2)
        out = points @ np.array([c, s])  # distance from the centre towards this side
        by = points @ np.array([-s, c])
        mine = (out > 0.9 * inner_mm) & (np.abs(by) < 0.95 * out)
        sizes.append(np.nan)
        if mine.sum() < 10:
            continue
        x, y = by[mine], out[mine]
        # Start from the densest distance, so that a post or a shadow does not pull the line.
        middle = float(np.median(y))
        weights = 1.0 / (1.0 + ((y - middle) / (0.02 * inner_mm)) ** 2)
        for _ in range(12):
            a = np.column_stack([np.ones_like(x), x]) * np.sqrt(weights)[:, None]
            (level, slope), *_ = np.linalg.lstsq(a, y * np.sqrt(weights), rcond=None)
            rest = y - level - slope * x
            spread = max(1.4826 * float(np.median(np.abs(rest))), 1e-3 * inner_mm)
            weights = 1.0 / (1.0 + (rest / spread) ** 2) ** 2
        good = np.abs(rest) < 3 * spread
        if good.sum() < 8 or good.mean() < 0.4 or np.ptp(x[good]) < 0.6 * inner_mm:
            continue
        se = spread / (np.std(x[good]) * np.sqrt(good.sum()))
        angles.append(-float(np.arctan(slope)))
        errors.append(float(se))
        sizes[-1] = float(level)
    if not angles:
        return angle, np.inf, tuple(sizes)
    deltas, w = np.array(angles), 1.0 / np.array(errors) ** 2
    # Median of the sides: one bent or torn edge must not turn the sheet.
    best = float(np.median(deltas)) if len(deltas) > 2 else float((deltas * w).sum() / w.sum())
    between = float(np.ptp(deltas)) / 2 if len(deltas) > 1 else np.radians(0.5)
    return angle + best, between / np.sqrt(len(deltas)) + float(np.sqrt(1 / w.sum())), tuple(sizes)
