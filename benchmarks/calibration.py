"""Is a scan as sure as it should be? Stated confidence and standard errors against what came true.

All finds of all photos are pooled: of those given a confidence of 0.9, nine in ten should be
real. An error of a true standard error in each axis lies within 1 and 2 of it with probability
0.683 and 0.954 in one axis, and 0.393 and 0.865 radially (1 - exp(-k²/2), the Rayleigh law).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchmarks.scoring import Score
from benchmarks.truths import Floats

__all__ = ["CONFIDENCE_BINS", "confidence_table", "se_shares", "sure_are_real"]

CONFIDENCE_BINS = (0.0, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 1.0)


def confidence_table(scores: Sequence[Score]) -> list[dict[str, Any]]:
    """Return one row a bin of stated confidence: finds, mean stated, share that is real.

    Bins hold their upper end; empty ones are left out. ``se`` is the binomial standard error of
    the share under the stated confidence, so that a small bin is not taken for a bad one.
    """
    stated, real = _stated(scores)
    rows = []
    for low, high in pairwise(CONFIDENCE_BINS):
        inside = (stated > low) & (stated <= high)
        if inside.any():
            mean, n = float(stated[inside].mean()), int(inside.sum())
            rows.append(
                {
                    "from": low,
                    "to": high,
                    "finds": n,
                    "stated": mean,
                    "real": float(real[inside].mean()),
                    "se": float(np.sqrt(mean * (1 - mean) / n)),
                }
            )
    return rows


def se_shares(scores: Sequence[Score]) -> dict[str, float]:
    """Return the shares of matched holes within 1 and 2 standard errors, per axis and radially."""
    dx = np.array([v for s in scores for v in s.dx_mm])
    dy = np.array([v for s in scores for v in s.dy_mm])
    se = np.array([v for s in scores for v in s.se_mm])
    out = {}
    for k in (1, 2):
        axes = np.abs(np.concatenate([dx, dy])) <= k * np.tile(se, 2)
        radial = np.hypot(dx, dy) <= k * se
        out[f"axis_{k}se"] = float(axes.mean()) if axes.size else float("nan")
        out[f"radial_{k}se"] = float(radial.mean()) if radial.size else float("nan")
    return out


def sure_are_real(scores: Sequence[Score], *, least: float = 0.9) -> float:
    """Return the share of finds given at least this confidence that are real."""
    stated, real = _stated(scores)
    return float(real[stated >= least].mean()) if (stated >= least).any() else float("nan")


def _stated(scores: Sequence[Score]) -> tuple[Floats, NDArray[np.bool_]]:
    """Return each find's stated confidence, and whether it is real."""
    stated = np.array([value for score in scores for value in score.stated], dtype=float)
    real = [j not in score.false for score in scores for j in range(len(score.stated))]
    return stated, np.array(real, dtype=bool)
