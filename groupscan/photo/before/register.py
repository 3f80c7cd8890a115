"""Lay one photo's holes and remainders on another's of the same sheet.

Both photos are in sheet millimetres already, by the sheet's marks. What the marks leave open is how
the sheet is turned (rings look alike at every turn, a grid at four, paper at two) and, where the
marks are a length only, where its origin lies. Both are told by what the two photos have in common:
the pattern of the old holes first, and the pictures' remainders (holes, stickers, writing).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from scipy.optimize import linear_sum_assignment

from groupscan.photo.expected import Flat
from groupscan.photo.plane import Floats
from groupscan.sheets.catalogue import Sheet

__all__ = ["Motion", "carry", "pair_up", "register"]

#: How far two fits of the same marks may place a sheet's origin apart, mm, and how far they
#: commonly do (curl moves the edges of paper more than rings or printed marks).
_SLACK_MM, _USUAL_SLACK_MM = 8.0, 0.8
#: Scatter of a hole's place between two photos, mm: fit, curl and lens of both together.
_SCATTER_MM = 0.8
_REACH_MM = 3.0
#: What an old hole that is not seen again costs: one in ten is missed or covered, in nats.
_UNSEEN = -np.log(0.1)
#: How a photo is turned by chance, against as the one before; nats.
_TURNED = np.log(20.0)
#: Independent places that the pictures' remainders are taken to hold, for weighing their likeness.
_PLACES = 60.0
_STEP_DEG, _CELL_MM = 1.0, 4.0  # of the search for turns and shifts
_COARSE_MM = 2.0  # a pixel of the pictures that are compared
_TRIES = 16


@dataclass(frozen=True)
class Motion:
    """A turn, a shift and a small change of scale: ``to = scale * from @ turn.T + shift``.

    Attributes
    ----------
    turn : (2, 2) array
    shift : (2,) array, mm
    scale : float
    """

    turn: Floats
    shift: Floats
    scale: float = 1.0

    def __call__(self, mm: Floats) -> Floats:
        """Move places, (n, 2) mm."""
        return np.asarray(self.scale * mm @ self.turn.T + self.shift)

    def back(self, mm: Floats) -> Floats:
        """Move places the other way, (n, 2) mm."""
        return np.asarray((mm - self.shift) @ self.turn / self.scale)

    @property
    def angle_deg(self) -> float:
        """Anticlockwise, -180 to 180."""
        return float(np.degrees(np.arctan2(self.turn[1, 0], self.turn[0, 0])))


def register(
    now_mm: Floats,
    old_mm: Floats,
    *,
    sheet: Sheet,
    now: Flat | None = None,
    old: Flat | None = None,
) -> tuple[Motion, bool]:
    """Find how the earlier photo's sheet lies on the later one's.

    Parameters
    ----------
    now_mm, old_mm : (n, 2) and (m, 2) arrays, mm
        Holes of the later and of the earlier photo.
    sheet : Sheet
        Tells which turns and shifts its marks leave open.
    now, old : Flat, optional
        The pictures' remainders; left out, the holes alone decide.

    Returns
    -------
    motion : Motion
        Earlier to later.
    sure : bool
        False where another turn fits nearly as well.

    Notes
    -----
    Every turn that the marks leave open is tried; for each, the differences of all pairs of holes
    vote for a shift (a Hough transform). The best are refined by pairing and least squares in turn
    and weighed by likelihood: each hole seen again against the chance that a hole lies there, each
    one lost, and the correlation of the remainders.
    """
    turns, reach = _open_turns(sheet), _open_shift(sheet)
    motions = [Motion(np.eye(2), np.zeros(2))]
    motions += _voted(now_mm, old_mm, turns, reach)
    if len(turns) <= 4 or len(old_mm) < 4:
        # Few holes may fit by chance: let the pictures try the turns that no hole votes for, too.
        motions += [_turned(float(a)) for a in (turns if len(turns) <= 4 else turns[::3])]
    motions = [_refined(m, now_mm, old_mm, reach, resize=reach is None) for m in motions]
    scores = np.array([_holes_score(m, now_mm, old_mm, reach) for m in motions])
    order = np.argsort(-scores)[:_TRIES] if len(old_mm) >= 4 else np.arange(len(motions))
    total = scores[order]
    if now is not None and old is not None:
        pictures = _Pictures.of(now, old)
        total = total + [_PLACES * pictures.likeness(motions[i]) for i in order]
    best = int(np.argmax(total))
    motion = motions[order[best]]
    others = [t for i, t in zip(order, total, strict=True) if _apart(motions[i], motion)]
    return motion, not others or bool(total[best] - max(others) > 3.0)


def pair_up(now_mm: Floats, old_mm: Floats, reach: float | Floats = _REACH_MM) -> Floats:
    """Pair places of one and the same hole, nearest in sum; (k, 2) indices: now, old."""
    if not len(now_mm) or not len(old_mm):
        return np.zeros((0, 2), int)
    away = np.hypot(*(now_mm[:, None] - old_mm[None]).transpose(2, 0, 1))
    rows, columns = linear_sum_assignment(np.minimum(away, np.max(reach) + 1.0) + (away > reach))
    keep = (away <= reach)[rows, columns]
    return np.column_stack([rows[keep], columns[keep]])


def carry(picture: Floats, old: Flat, now: Flat, motion: Motion) -> Floats:
    """Lay a picture of the earlier photo's flat sheet on the later one's; 0 where it has none."""
    h, w = now.dark.shape
    corners = np.array([[0.0, 0.0], [w - 1.0, 0.0], [0.0, h - 1.0]])
    there = old.to_px(motion.back(now.to_mm(corners)))
    return _warped(picture, corners, there, (w, h))


def _warped(picture: Floats, to_px: Floats, from_px: Floats, size: tuple[int, int]) -> Floats:
    """Read a picture out by the affine map that three points give."""
    read: Any = cv2.getAffineTransform(to_px.astype(np.float32), from_px.astype(np.float32))
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(picture, read, size, flags=flags))


def _open_turns(sheet: Sheet) -> Floats:
    """Return the turns, in degrees, that the sheet's marks leave open."""
    if sheet.fiducials:
        return np.array([0.0])
    if sheet.kind == "paper":
        square = abs(sheet.width_mm - sheet.height_mm) < 1.0
        return np.array([0.0, 90.0, 180.0, 270.0] if square else [0.0, 180.0])
    if sheet.kind == "grid":
        return np.array([0.0, 90.0, 180.0, 270.0])
    return np.arange(0.0, 360.0, _STEP_DEG)


def _open_shift(sheet: Sheet) -> float | None:
    """Return how far the origin may have moved, mm; None if anywhere."""
    return None if sheet.kind in ("grid", "known-length") else _SLACK_MM


def _turned(degrees: float) -> Motion:
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return Motion(np.array([[c, -s], [s, c]]), np.zeros(2))


def _voted(now_mm: Floats, old_mm: Floats, turns: Floats, reach: float | None) -> list[Motion]:
    """Return turns and shifts that most pairs of holes agree on."""
    if not len(now_mm) or not len(old_mm):
        return []
    votes: list[tuple[int, float, Floats]] = []
    for degrees in turns:
        moved = _turned(float(degrees))(old_mm)
        shifts = (now_mm[:, None] - moved[None]).reshape(-1, 2)
        if reach is not None:
            shifts = shifts[np.hypot(shifts[:, 0], shifts[:, 1]) <= reach]
        if not len(shifts):
            continue
        cells = np.round(shifts / _CELL_MM).astype(int)
        # Pairs that agree may fall on either side of a cell's edge: count neighbours too.
        kinds, count = np.unique(cells, axis=0, return_counts=True)
        near = np.abs(kinds[:, None] - kinds[None]).max(axis=2) <= 1
        total = near @ count
        for i in np.argsort(-total)[:2]:
            agree = np.abs(cells - kinds[i]).max(axis=1) <= 1
            votes.append((int(total[i]), float(degrees), np.median(shifts[agree], axis=0)))
    votes.sort(key=lambda vote: -vote[0])
    return [Motion(_turned(degrees).turn, shift) for _, degrees, shift in votes[: 4 * _TRIES]]


def _refined(
    motion: Motion, now_mm: Floats, old_mm: Floats, reach: float | None, *, resize: bool
) -> Motion:
    """Pair and fit in turn, nearer each time (Kabsch 1976)."""
    for gate in (2.5 * _REACH_MM, 1.5 * _REACH_MM, _REACH_MM):
        pairs = pair_up(now_mm, motion(old_mm), gate)
        if len(pairs) >= 2:
            old, now = old_mm[pairs[:, 1]], now_mm[pairs[:, 0]]
            motion = _fit(old, now, resize=resize and len(pairs) >= 4)
        if reach is not None and len(pairs) < 3:
            # One or two holes, of which a new one may have carried one off, say less of the
            # shift than the marks do.
            motion = replace(motion, shift=np.zeros(2))
    return motion


def _fit(old: Floats, now: Floats, *, resize: bool) -> Motion:
    """Turn and shift, and scale if asked, that lay places on places with least squares.

    Means for the turn: medians of x and of y may be of different holes, which turn differently.
    """
    a, b = old - old.mean(axis=0), now - now.mean(axis=0)
    u, stretch, vt = np.linalg.svd(b.T @ a)
    mirror = np.array([1.0, float(np.sign(np.linalg.det(u @ vt))) or 1.0])
    turn = u @ np.diag(mirror) @ vt
    scale = 1.0
    if resize and (a**2).sum() > 0:
        scale = float(np.clip((stretch * mirror).sum() / (a**2).sum(), 0.97, 1.03))
    shift = np.median(now - scale * old @ turn.T, axis=0)
    return Motion(turn, shift, scale)


def _holes_score(motion: Motion, now_mm: Floats, old_mm: Floats, reach: float | None) -> float:
    """Log likelihood of the later holes, given the earlier ones, against chance."""
    unlikely = _TURNED if abs(motion.angle_deg) > 10 else 0.0
    if reach is not None:
        unlikely += float(motion.shift @ motion.shift) / (2 * _USUAL_SLACK_MM**2)
    if not len(now_mm) or not len(old_mm):
        return -unlikely
    moved = motion(old_mm)
    pairs = pair_up(now_mm, moved)
    away = np.hypot(*(now_mm[pairs[:, 0]] - moved[pairs[:, 1]]).T)
    area = 4 * np.pi * max(float(now_mm.var(axis=0).sum()) / 2, 20.0**2)
    again = np.log(area / (2 * np.pi * _SCATTER_MM**2)) - away**2 / (2 * _SCATTER_MM**2)
    return float(again.sum() - _UNSEEN * (len(old_mm) - len(pairs)) - unlikely)


def _apart(one: Motion, other: Motion) -> bool:
    turn = abs((one.angle_deg - other.angle_deg + 180) % 360 - 180)
    return turn > 3.0 or float(np.hypot(*(one.shift - other.shift))) > 6.0


@dataclass(frozen=True)
class _Pictures:
    """The two remainders at a coarse scale."""

    now: Floats
    seen_now: Floats
    old: Floats
    seen_old: Floats
    now_flat: Flat
    old_flat: Flat
    shrink_now: float
    shrink_old: float

    @classmethod
    def of(cls, now: Flat, old: Flat) -> _Pictures:
        a, b = (1.0 / (_COARSE_MM * flat.px_per_mm) for flat in (now, old))
        return cls(*_coarse(now, a), *_coarse(old, b), now, old, a, b)

    def likeness(self, motion: Motion) -> float:
        """Gain in log likelihood a place by the correlation of what both show, 0 or more."""
        h, w = self.now.shape
        corners = np.array([[0.0, 0.0], [w - 1.0, 0.0], [0.0, h - 1.0]])
        full = (corners + 0.5) / self.shrink_now - 0.5
        there = self.old_flat.to_px(motion.back(self.now_flat.to_mm(full)))
        there = (there + 0.5) * self.shrink_old - 0.5
        old = _warped(self.old, corners, there, (w, h))
        seen = _warped(self.seen_old, corners, there, (w, h))
        trust = seen * self.seen_now
        if float(trust.sum()) < 0.2 * float(self.seen_now.sum()):
            return 0.0
        a = self.now - np.average(self.now, weights=trust)
        b = old - np.average(old, weights=trust)
        power = float((trust * a * a).sum() * (trust * b * b).sum())
        r = float((trust * a * b).sum()) / np.sqrt(power) if power > 0 else 0.0
        return -0.5 * float(np.log(1.0 - min(max(r, 0.0), 0.99) ** 2))


def _coarse(flat: Flat, shrink: float) -> tuple[Floats, Floats]:
    """Shrink the remainder and its weight, and blur a little."""
    size = (max(8, round(flat.dark.shape[1] * shrink)), max(8, round(flat.dark.shape[0] * shrink)))
    weighted: Any = np.clip(flat.dark, -0.5, 1.0) * flat.weight
    dark = cv2.GaussianBlur(cv2.resize(weighted, size, interpolation=cv2.INTER_AREA), (0, 0), 0.8)
    weight = cv2.resize(flat.weight, size, interpolation=cv2.INTER_AREA)
    return np.asarray(dark), np.asarray(weight)
