"""Pool the scores of many photos: holes are counted together, group errors averaged over photos."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from benchmarks.calibration import confidence_table, se_shares, sure_are_real
from benchmarks.kinds import sum_kinds
from benchmarks.scoring import Score

__all__ = ["sum_scores", "summary"]

#: Errors that a photo has one of, rather than each hole.
PHOTO_ERRORS = (
    "mean_radius_pct",
    "extreme_spread_pct",
    "mean_radius_matched_pct",
    "extreme_spread_matched_pct",
    "centre_mm",
    "scale_pct",
    "turn_deg",
)


def summary(score: Score) -> dict[str, Any]:
    """Return the numbers of one photo, errors with their sign."""
    return {**_counted([score]), **{name: getattr(score, name) for name in PHOTO_ERRORS}}


def sum_scores(scores: Sequence[Score]) -> dict[str, Any]:
    """Pool photos: of each error of a photo the mean, median and worst of the sizes."""
    sizes: dict[str, float] = {}
    for name in PHOTO_ERRORS:
        values = np.abs([getattr(score, name) for score in scores])
        if name == "mean_radius_pct":
            # A photo without a group to measure is as wrong as can be, or it would be left out.
            lost = [score.true >= 2 and not np.isfinite(score.mean_radius_pct) for score in scores]
            values = np.where(lost, 100.0, values)
        values = values[np.isfinite(values)]
        for label, of in (("", np.mean), ("_median", np.median), ("_worst", np.max)):
            sizes[f"{name}{label}"] = float(of(values)) if values.size else float("nan")
    return {
        "photos": len(scores),
        **_counted(scores),
        **sizes,
        "cuts": sum_kinds([score.cuts for score in scores]),
        "arrows": sum_kinds([score.arrows for score in scores]),
        "confidence": confidence_table(scores),
    }


def _counted(scores: Sequence[Score]) -> dict[str, float | int]:
    true, hits = sum(s.true for s in scores), sum(s.hits for s in scores)
    found, false = sum(s.found for s in scores), sum(len(s.false) for s in scores)
    dx = np.array([v for s in scores for v in s.dx_mm])
    dy = np.array([v for s in scores for v in s.dy_mm])
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
        **se_shares(scores),
        "sure_are_real": sure_are_real(scores),
    }
