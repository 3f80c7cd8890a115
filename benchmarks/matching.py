"""Pair found holes with true ones, and lay one set of places on another."""

from __future__ import annotations

import numpy as np
from scipy.optimize import linear_sum_assignment

from benchmarks.truths import Floats

__all__ = ["match", "match_gate", "rigid_fit"]

MATCH_MM = 3.0
MATCH_DIAMETERS = 0.75


def match_gate(diameter_mm: Floats) -> Floats:
    """Return how far a find may lie from each true hole, mm: 3 mm, or 3/4 of a wide hole.

    Examples
    --------
    >>> match_gate(np.array([4.0, 10.0]))
    array([3. , 7.5])
    """
    return np.maximum(MATCH_MM, MATCH_DIAMETERS * np.asarray(diameter_mm, dtype=float))


def match(true_mm: Floats, found_mm: Floats, gate_mm: Floats) -> list[tuple[int, int]]:
    """Match as many holes as the gates allow and, among those matchings, the nearest.

    Parameters
    ----------
    true_mm : (n, 2) array
    found_mm : (m, 2) array
    gate_mm : (n,) array
        Largest distance allowed for each true hole.

    Returns
    -------
    list of (true index, found index), in the order of the true holes

    Examples
    --------
    >>> match(np.array([[0.0, 0.0], [9.0, 0.0]]), np.array([[8.0, 0.0]]), np.array([3.0, 3.0]))
    [(1, 0)]
    """
    if len(true_mm) == 0 or len(found_mm) == 0:
        return []
    distance = np.linalg.norm(true_mm[:, None, :] - found_mm[None, :, :], axis=2)
    allowed = distance <= gate_mm[:, None]
    # One forbidden pair must cost more than all allowed ones together: count first, then distance.
    forbidden = 1.0 + float(np.max(gate_mm)) * (min(distance.shape) + 1)
    rows, columns = linear_sum_assignment(np.where(allowed, distance, forbidden))
    return [(int(i), int(j)) for i, j in zip(rows, columns, strict=True) if allowed[i, j]]


def rigid_fit(from_mm: Floats, to_mm: Floats) -> tuple[Floats, Floats]:
    """Return the turn (2, 2) and shift (2,) that best lay one set of points on another.

    Scale and mirror stay as they are: ``to ~ from @ turn.T + shift`` (the orthogonal Procrustes
    problem; P. H. Schonemann, Psychometrika 31 (1966), doi:10.1007/BF02289451).
    """
    mean_from, mean_to = from_mm.mean(axis=0), to_mm.mean(axis=0)
    u, _, vt = np.linalg.svd((to_mm - mean_to).T @ (from_mm - mean_from))
    mirror = np.diag([1.0, float(np.sign(np.linalg.det(u @ vt))) or 1.0])
    turn = u @ mirror @ vt
    return turn, mean_to - turn @ mean_from
