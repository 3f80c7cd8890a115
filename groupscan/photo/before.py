"""What is new since an earlier photo of the same sheet."""

from __future__ import annotations

import numpy as np
from scipy.optimize import linear_sum_assignment

from groupscan.photo.holes import Hole
from groupscan.photo.plane import Floats

__all__ = ["only_new"]

#: Farthest that a hole may seem to move between two photos of it, mm, once the two are aligned.
_REACH_MM = 3.0


def only_new(
    after: tuple[Hole, ...], before: tuple[Hole, ...]
) -> tuple[tuple[Hole, ...], tuple[str, ...]]:
    """Take the holes of an earlier photo out of those of a later one.

    Parameters
    ----------
    after, before : tuple of Hole
        Of the same sheet, in its own mm.

    Returns
    -------
    new : tuple of Hole
    notes : tuple of str
        What a person should know of the comparison.

    Notes
    -----
    Both photos are in sheet millimetres, but the sheet may have been squared a little differently
    in each. A turn and a shift are estimated from the holes in both (Kabsch 1976), then old and
    new are paired so that the sum of distances is least (Hungarian method).
    """
    if not before:
        return after, ()
    old = np.array([[h.x_mm, h.y_mm] for h in before])
    now = np.array([[h.x_mm, h.y_mm] for h in after]).reshape(-1, 2)
    pairs = _pair(now, old, 2 * _REACH_MM)
    if len(pairs) >= 2:
        old = _align(old, now, pairs)
    pairs = _pair(now, old, _REACH_MM)
    seen = {int(i) for i, _ in pairs}
    lost = len(before) - len(pairs)
    notes: tuple[str, ...] = ()
    if lost:
        notes = (f"{lost} of {len(before)} earlier holes were not found again.",)
    return tuple(h for i, h in enumerate(after) if i not in seen), notes


def _pair(now: Floats, old: Floats, reach: float) -> Floats:
    """Pair holes that are one and the same, (k, 2) indices: now, old."""
    away = np.hypot(*(now[:, None] - old[None]).transpose(2, 0, 1))
    rows, columns = linear_sum_assignment(np.minimum(away, reach + 1.0))
    keep = away[rows, columns] <= reach
    return np.column_stack([rows[keep], columns[keep]])


def _align(old: Floats, now: Floats, pairs: Floats) -> Floats:
    """Turn and shift the old holes onto the new picture by the holes in both."""
    a, b = old[pairs[:, 1]], now[pairs[:, 0]]
    # Means for the turn: medians of x and of y may be of different holes, which turn differently.
    u, _, vt = np.linalg.svd((a - a.mean(axis=0)).T @ (b - b.mean(axis=0)))
    turn = u @ np.diag([1.0, np.sign(np.linalg.det(u @ vt)) or 1.0]) @ vt
    return np.asarray(old @ turn + np.median(b - a @ turn, axis=0))
