"""Compare the holes found in one photo with the true ones.

Pure arithmetic, no pictures: :mod:`benchmarks.accuracy` feeds it, :mod:`benchmarks.sums` pools it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.spatial.distance import pdist

from benchmarks.kinds import KindScore, score_arrows, score_cuts
from benchmarks.matching import match, match_gate, rigid_fit
from benchmarks.truths import Floats, Found, Truth

__all__ = ["Score", "score_photo"]


@dataclass(frozen=True)
class Score:
    """How one photo went.

    Errors are found minus true. ``pairs`` holds (true, found) indices; ``missed`` true and
    ``false`` found ones. Group errors compare what the user gets (all finds) with the truth (all
    visible holes); those that end in ``_matched_pct`` compare matched holes only, so that they show
    the error of the positions alone. NaN where there is nothing to compare. ``se_mm`` is that of
    the matched holes, ``stated`` the confidence of each find.
    """

    true: int
    found: int
    pairs: tuple[tuple[int, int], ...]
    missed: tuple[int, ...]
    false: tuple[int, ...]
    dx_mm: tuple[float, ...]
    dy_mm: tuple[float, ...]
    se_mm: tuple[float, ...]
    turn_deg: float
    mean_radius_pct: float
    extreme_spread_pct: float
    mean_radius_matched_pct: float
    extreme_spread_matched_pct: float
    centre_mm: float
    scale_pct: float
    stated: tuple[float, ...] = ()
    cuts: KindScore = field(default_factory=KindScore)
    arrows: KindScore = field(default_factory=KindScore)

    @property
    def hits(self) -> int:
        """Matched holes that had to be found."""
        return self.true - len(self.missed)


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
        se_mm=tuple(float(v) for v in found.se_mm[columns]),
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
        stated=tuple(float(v) for v in found.confidence),
        cuts=score_cuts(truth, found),
        arrows=score_arrows(truth, found),
    )


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
