"""Blade cuts and standing arrows, scored apart from the other holes.

Blade cuts count only if the scan names the right number of blades and places the shaft's axis to
within `CUT_MM`. Arrows that stand in the sheet count as found by the gate of all holes, whatever
the scan calls them; whether it calls them arrows is the precision of the state.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchmarks.matching import match, match_gate
from benchmarks.truths import Floats, Found, Truth

__all__ = ["CUT_MM", "KindScore", "score_arrows", "score_cuts", "sum_kinds"]

CUT_MM = 1.5


@dataclass(frozen=True)
class KindScore:
    """How one kind of shot went in one photo; errors are found minus true.

    ``claims`` are the finds that the scan gives this kind, ``right`` those of them that are,
    ``hits`` the true ones found.
    """

    true: int = 0
    hits: int = 0
    claims: int = 0
    right: int = 0
    away_mm: tuple[float, ...] = ()
    length_mm: tuple[float, ...] = ()
    angle_deg: tuple[float, ...] = ()


def score_cuts(truth: Truth, found: Found) -> KindScore:
    """Score blade cuts: number of blades and axis within `CUT_MM`.

    A cut with its arrow in, or behind another arrow, is welcome but not asked for.
    """
    pairs: list[tuple[int, int]] = []
    for blades in np.unique(truth.blades[truth.blades > 0]):
        true_at = np.flatnonzero(truth.blades == blades)
        found_at = np.flatnonzero(found.blades == blades)
        gate = np.full(len(true_at), CUT_MM)
        near = match(truth.xy_mm[true_at], found.xy_mm[found_at], gate)
        pairs += [(int(true_at[i]), int(found_at[j])) for i, j in near]
    rows, columns = _columns(pairs)
    asked = (truth.blades > 0) & ~truth.hidden & ~truth.arrow
    period = 360.0 / np.maximum(truth.blades[rows], 1)
    turned = found.blade_angle_deg[columns] - truth.blade_angle_deg[rows]
    turned = (turned + period / 2) % period - period / 2
    return KindScore(
        true=int(asked.sum()),
        hits=int(asked[rows].sum()),
        claims=int((found.blades > 0).sum()),
        right=len(pairs),
        away_mm=_lengths(found.xy_mm[columns] - truth.xy_mm[rows]),
        length_mm=_finite(found.blade_mm[columns] - truth.blade_mm[rows]),
        angle_deg=_finite(turned),
    )


def score_arrows(truth: Truth, found: Found) -> KindScore:
    """Score holes in which an arrow stands, by the gate of all holes."""
    pairs = match(truth.xy_mm, found.xy_mm, match_gate(truth.diameter_mm))
    rows, columns = _columns(pairs)
    asked = truth.arrow & ~truth.hidden
    standing = truth.arrow[rows]
    return KindScore(
        true=int(asked.sum()),
        hits=int(asked[rows].sum()),
        claims=int(found.arrow.sum()),
        right=int((standing & found.arrow[columns]).sum()),
        away_mm=_lengths((found.xy_mm[columns] - truth.xy_mm[rows])[standing]),
    )


def sum_kinds(scores: Sequence[KindScore]) -> dict[str, float | int]:
    """Pool one kind over photos: counts, shares, and root mean square errors."""
    true, hits = sum(s.true for s in scores), sum(s.hits for s in scores)
    claims, right = sum(s.claims for s in scores), sum(s.right for s in scores)
    nan = float("nan")
    return {
        "true": true,
        "claims": claims,
        "recall": hits / true if true else nan,
        "precision": right / claims if claims else nan,
        "rmse_mm": _rms([v for s in scores for v in s.away_mm]),
        "length_rmse_mm": _rms([v for s in scores for v in s.length_mm]),
        "angle_rmse_deg": _rms([v for s in scores for v in s.angle_deg]),
    }


def _columns(pairs: list[tuple[int, int]]) -> tuple[NDArray[np.int_], NDArray[np.int_]]:
    both = np.array(pairs, dtype=int).reshape(-1, 2)
    return both[:, 0], both[:, 1]


def _lengths(delta: Floats) -> tuple[float, ...]:
    return tuple(float(v) for v in np.linalg.norm(delta, axis=1))


def _finite(values: Floats) -> tuple[float, ...]:
    return tuple(float(v) for v in values if np.isfinite(v))


def _rms(values: Sequence[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values)))) if len(values) else float("nan")
