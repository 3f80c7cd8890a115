"""Compare found holes with true ones: matching, errors of each photo, sums over photos.

Pure arithmetic, no pictures: :mod:`benchmarks.accuracy` feeds it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.spatial.distance import pdist

__all__ = [
    "Found",
    "Score",
    "Truth",
    "match",
    "match_gate",
    "rigid_fit",
    "score_photo",
    "sum_scores",
]

Floats = NDArray[np.float64]

MATCH_MM = 3.0
MATCH_DIAMETERS = 0.75


@dataclass(frozen=True)
class Truth:
    """The true holes of one photo; those under a patch are already left out.

    Attributes
    ----------
    xy_mm, xy_px : (n, 2) array
        Where they are, on the flat sheet and in the upright photo.
    diameter_mm : (n,) array
        Opening of each hole.
    hidden : (n,) array of bool
        Behind an arrow: to find it is right, to miss it is no fault.
    mm_per_px : float
        True scale at the sheet's centre; NaN where it is not known.
    """

    xy_mm: Floats
    xy_px: Floats
    diameter_mm: Floats
    hidden: NDArray[np.bool_]
    mm_per_px: float = float("nan")


@dataclass(frozen=True)
class Found:
    """The holes that a scan reported, in the same axes as the truth: (m, 2) and (m,) arrays."""

    xy_mm: Floats
    se_mm: Floats
    mm_per_px: float = float("nan")


@dataclass(frozen=True)
class Score:
    """How one photo went.

    Errors are found minus true. ``pairs`` holds (true, found) indices; ``missed`` true and
    ``false`` found ones. Group errors compare what the user gets (all finds) with the truth (all
    visible holes); those that end in ``_matched_pct`` compare matched holes only, so that they show
    the error of the positions alone. NaN where there is nothing to compare.
    """

    true: int
    found: int
    pairs: tuple[tuple[int, int], ...]
    missed: tuple[int, ...]
    false: tuple[int, ...]
    dx_mm: tuple[float, ...]
    dy_mm: tuple[float, ...]
    within_2se: tuple[bool, ...]
    turn_deg: float
    mean_radius_pct: float
    extreme_spread_pct: float
    mean_radius_matched_pct: float
    extreme_spread_matched_pct: float
    centre_mm: float
    scale_pct: float

    @property
    def hits(self) -> int:
        """Matched holes that had to be found."""
        return self.true - len(self.missed)

    def summary(self) -> dict[str, float | int]:
        """Return the numbers of one line of the printed table."""
        own = {
            key: value
            for key, value in asdict(self).items()
            if isinstance(value, (int, float)) and key not in {"true", "found"}
        }
        return {**_counted([self]), **own}


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


def score_photo(truth: Truth, found: Found) -> Score:
    """Match and measure one photo."""
    pairs = match(truth.xy_mm, found.xy_mm, match_gate(truth.diameter_mm))
    rows = np.array([i for i, _ in pairs], dtype=int)
    columns = np.array([j for _, j in pairs], dtype=int)
    delta = found.xy_mm[columns] - truth.xy_mm[rows]

    # A hidden hole that was found belongs to the truth of the group; one that was not does not.
    expected = ~truth.hidden
    in_group = expected.copy()
    in_group[rows] = True
    missed = np.setdiff1d(np.flatnonzero(expected), rows)
    false = np.setdiff1d(np.arange(len(found.xy_mm)), columns)

    group_true, group_found = truth.xy_mm[in_group], found.xy_mm
    centre = float("nan")
    if len(group_true) and len(group_found):
        centre = float(np.linalg.norm(group_found.mean(axis=0) - group_true.mean(axis=0)))
    return Score(
        true=int(expected.sum()),
        found=len(found.xy_mm),
        pairs=tuple(pairs),
        missed=tuple(int(i) for i in missed),
        false=tuple(int(j) for j in false),
        dx_mm=tuple(float(v) for v in delta[:, 0]),
        dy_mm=tuple(float(v) for v in delta[:, 1]),
        within_2se=tuple(
            bool(v) for v in np.linalg.norm(delta, axis=1) <= 2.0 * found.se_mm[columns]
        ),
        turn_deg=_turn_deg(found.xy_mm[columns], truth.xy_mm[rows]),
        mean_radius_pct=_percent(_mean_radius(group_found), _mean_radius(group_true)),
        extreme_spread_pct=_percent(_extreme_spread(group_found), _extreme_spread(group_true)),
        mean_radius_matched_pct=_percent(
            _mean_radius(group_found[columns]), _mean_radius(truth.xy_mm[rows])
        ),
        extreme_spread_matched_pct=_percent(
            _extreme_spread(group_found[columns]), _extreme_spread(truth.xy_mm[rows])
        ),
        centre_mm=centre,
        scale_pct=_percent(found.mm_per_px, truth.mm_per_px),
    )


def sum_scores(scores: Sequence[Score]) -> dict[str, Any]:
    """Pool photos: holes are counted together; group errors as mean and worst of their sizes."""
    worst: dict[str, float] = {}
    for name in (
        "mean_radius_pct",
        "extreme_spread_pct",
        "mean_radius_matched_pct",
        "extreme_spread_matched_pct",
        "centre_mm",
        "scale_pct",
        "turn_deg",
    ):
        sizes = np.abs([getattr(score, name) for score in scores])
        sizes = sizes[np.isfinite(sizes)]
        worst[name] = float(sizes.mean()) if sizes.size else float("nan")
        worst[f"{name}_worst"] = float(sizes.max()) if sizes.size else float("nan")
    return {"photos": len(scores), **_counted(scores), **worst}


def _counted(scores: Iterable[Score]) -> dict[str, float | int]:
    scores = list(scores)
    true, hits = sum(s.true for s in scores), sum(s.hits for s in scores)
    found, false = sum(s.found for s in scores), sum(len(s.false) for s in scores)
    dx = np.concatenate([np.asarray(s.dx_mm, dtype=float) for s in scores] or [np.empty(0)])
    dy = np.concatenate([np.asarray(s.dy_mm, dtype=float) for s in scores] or [np.empty(0)])
    inside = [value for s in scores for value in s.within_2se]
    nan = float("nan")
    return {
        "true": true,
        "found": found,
        "missed": true - hits,
        "false": false,
        "recall": hits / true if true else nan,
        "precision": (found - false) / found if found else nan,
        "rmse_mm": float(np.sqrt(np.mean(dx**2 + dy**2))) if dx.size else nan,
        "bias_x_mm": float(dx.mean()) if dx.size else nan,
        "bias_y_mm": float(dy.mean()) if dy.size else nan,
        "within_2se": float(np.mean(inside)) if inside else nan,
    }


def _mean_radius(xy: Floats) -> float:
    if len(xy) < 2:
        return float("nan")
    return float(np.linalg.norm(xy - xy.mean(axis=0), axis=1).mean())


def _extreme_spread(xy: Floats) -> float:
    return float(pdist(xy).max()) if len(xy) >= 2 else float("nan")


def _percent(value: float, reference: float) -> float:
    return 100.0 * (value / reference - 1.0) if reference else float("nan")


def _turn_deg(found_mm: Floats, true_mm: Floats) -> float:
    """How far the finds are turned against the truth: shows a roll that the scan did not see."""
    if len(found_mm) < 2:
        return float("nan")
    turn, _ = rigid_fit(true_mm, found_mm)
    return float(np.degrees(np.arctan2(turn[1, 0], turn[0, 0])))
