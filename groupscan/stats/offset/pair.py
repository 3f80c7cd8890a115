"""Two groups to compare: what was given, read, and what their shots say at a level."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.errors import StatisticsError
from groupscan.stats.inputs import (
    read_distance,
    read_labels,
    read_level,
    read_noise_variance,
    read_shots,
)
from groupscan.stats.intervals import Ellipse, Estimate
from groupscan.stats.offset.comparison import CentreTest, Comparison
from groupscan.stats.offset.contrast import Contrast, contrast, shared_ends
from groupscan.stats.offset.distance import (
    OffsetSeen,
    component_limits,
    direction_limits,
    farthest,
    nearest,
    offset_ellipse,
)
from groupscan.stats.offset.hotelling import t2_test, yao_df
from groupscan.stats.offset.permutation import permute_centres
from groupscan.stats.offset.sequential import MOST_SPENT_LOOKS, plan_boundary
from groupscan.stats.offset.verdict import decide

__all__ = ["Labels", "Pair", "Question", "read_pair"]

# A variance flatter than this is a line for all that rounded coordinates can tell.
FLAT = 1e-12

NOTHING = CentreTest(math.nan, math.nan, math.nan, math.nan)
UNKNOWN = Estimate(math.nan)

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
Labels = Sequence[object] | NDArray[np.generic]


@dataclass(frozen=True)
class Question:
    """What is asked of every comparison; refuses what makes no sense.

    Raises
    ------
    StatisticsError
    """

    tolerance_mm: float | None
    distance_m: float | None
    confidence: float
    looks: float | None
    seed: int

    def __post_init__(self) -> None:
        tolerance = self.tolerance_mm
        if tolerance is not None and not (math.isfinite(tolerance) and tolerance > 0):
            raise StatisticsError(f"tolerance {tolerance!r} mm must be more than zero and finite")
        looks = self.looks
        if looks is not None and not (looks >= 1 and (math.isinf(looks) or looks % 1 == 0)):
            raise StatisticsError(f"looks {looks!r} must be 1, 2, ... or infinite for any number")
        read_distance(self.distance_m)
        read_level(self.confidence)

    @property
    def level(self) -> float:
        """Rate of false verdicts."""
        return 1 - self.confidence


@dataclass(frozen=True)
class Pair:
    """Two groups that were read, and what was asked of them."""

    shots: tuple[Array, Array]
    codes: tuple[Codes, Codes] | None
    least: tuple[float, float]
    question: Question
    notes: tuple[str, ...]

    @cached_property
    def contrast(self) -> Contrast:
        """The offset and its variance."""
        ends = self.codes or (None, None)
        return contrast(*self.shots, *ends, least_variance=self.least)

    @cached_property
    def solid(self) -> bool:
        """Whether the scatter seen bounds the offset in every direction."""
        trace, det = _size(self.contrast.seen.variance)
        return bool(det > FLAT * trace**2)

    def low(self, level: float) -> float:
        """Return the lower limit of the distance, NaN where the shots cannot say."""
        if not self.solid:
            return math.nan
        return float(nearest(self.contrast.seen, plan_boundary(level, self.question.looks)))

    def high(self, level: float) -> float:
        """Return the upper limit of the distance, NaN where the shots cannot say."""
        if not self.solid:
            return math.nan
        return float(farthest(self.contrast.seen, plan_boundary(level, self.question.looks)))

    def compared(self, apart_level: float, together_level: float) -> Comparison:
        """Return the comparison at these levels of its two verdicts."""
        seen, pooled = self.contrast.seen, self.contrast.pooled
        sizes = len(self.shots[0]), len(self.shots[1])
        x_mm, y_mm = (float(value) for value in seen.offset)
        away = math.hypot(x_mm, y_mm)
        boundary = plan_boundary(apart_level, self.question.looks)
        low, high = self.low(apart_level), self.high(together_level)
        sigma = math.sqrt(_size(seen.variance)[0] / 2 / seen.unit)
        x, y, direction, test, yao = Estimate(x_mm), Estimate(y_mm), UNKNOWN, NOTHING, NOTHING
        ellipse = Ellipse(x_mm, y_mm, math.nan, math.nan, math.nan)
        if self.solid:
            lows, highs = component_limits(seen, boundary)
            x = Estimate(x_mm, float(lows[0]), float(highs[0]))
            y = Estimate(y_mm, float(lows[1]), float(highs[1]))
            radius = float(boundary.ellipse(seen.df, seen.unit))
            ellipse = offset_ellipse(seen, radius)
            direction = Estimate(
                math.atan2(y_mm, x_mm), *direction_limits(seen.offset, seen.variance, radius)
            )
            test = _test(seen.offset, seen.variance, float(seen.df))
            yao = _test(
                seen.offset, seen.variance, float(yao_df(seen.offset, seen.parts, seen.dfs))
            )
        labels = self.codes or (None, None)
        compared = Comparison(
            verdict=decide(low, high, self.question.tolerance_mm),
            tolerance_mm=self.question.tolerance_mm,
            x=x,
            y=y,
            distance=Estimate(away, low, high),
            direction_rad=direction,
            ellipse=ellipse,
            sigma_mm=sigma if pooled.dfs[0] > 0 else math.nan,
            test=test,
            pooled=_pooled_test(pooled),
            yao=yao,
            permutation=permute_centres(
                *self.shots, first_end=labels[0], second_end=labels[1], seed=self.question.seed
            ),
            first_n=sizes[0],
            second_n=sizes[1],
            ends=None if self.codes is None else len(np.unique(self.codes[0])),
            looks=self.question.looks,
            look_level=apart_level / min(self.question.looks or 1, MOST_SPENT_LOOKS),
            confidence=self.question.confidence,
            distance_m=self.question.distance_m,
            notes=self.notes,
        )
        return replace(compared, notes=self.notes + tuple(self._cautions(compared)))

    def _cautions(self, compared: Comparison) -> Iterator[str]:
        """Yield what these shots cannot say, and why."""
        df, level = self.contrast.pooled.dfs[0], self.question.level
        if df == 0:
            yield "One shot of each: nothing bounds their scatter."
        elif not self.solid and not self.contrast.pooled.variance.any():
            yield (
                "All shots of a group lie at one point: no scatter was seen, so that nothing "
                "bounds the centres' errors; give the photo's standard errors or shoot more."
            )
        elif not self.solid:
            yield "The shots lie on one line: nothing bounds their scatter across it."
        elif self.contrast.alike_needed:
            yield (
                "A group has too few shots for a scatter of its own: both are taken to scatter "
                "alike, and the verdict is wrong more often where they do not."
            )
        if self.solid and math.isinf(compared.ellipse.semi_major_mm):
            yield "With so few shots no offset, however large, could show."
        if self.question.tolerance_mm is None:
            yield "No tolerance was given, so that the verdict cannot be 'together'."
        elif compared.verdict == "together" and compared.distance.low > 0:
            yield "The centres do differ, but by less than the tolerance."
        elif compared.verdict == "apart" and not compared.distance.low > self.question.tolerance_mm:
            yield "The centres differ; whether by more than the tolerance is not sure yet."
        permutation = compared.permutation
        if compared.verdict == "apart" and permutation.least_p <= level < permutation.p:
            yield (
                f"Splits at random part the centres as far in {permutation.p:.0%} of all ways: "
                "one odd shot may carry this verdict."
            )


def _size(variance: Array) -> tuple[float, float]:
    """Return trace and determinant."""
    trace = float(variance[0, 0] + variance[1, 1])
    return trace, float(variance[0, 0] * variance[1, 1] - variance[0, 1] * variance[1, 0])


def _test(offset: Array, variance: Array, df: float) -> CentreTest:
    test = t2_test(offset, variance, df)
    return CentreTest(float(test.t2), float(test.f), df, float(test.p))


def _pooled_test(pooled: OffsetSeen) -> CentreTest:
    trace, det = _size(pooled.variance)
    if not det > FLAT * trace**2:
        return NOTHING
    return _test(pooled.offset, pooled.variance, pooled.dfs[0])


def read_pair(
    first_mm: ArrayLike,
    second_mm: ArrayLike,
    ends: tuple[Labels | None, Labels | None],
    se_mm: tuple[ArrayLike | None, ArrayLike | None],
    question: Question,
) -> Pair:
    """Return the shots to compare, their ends where these can be used, and notes on both.

    Raises
    ------
    StatisticsError
        As `groupscan.stats.offset.compare.compare_centres`.
    """
    first, second = read_shots(first_mm), read_shots(second_mm)
    least = (
        read_noise_variance(se_mm[0], len(first)) or 0.0,
        read_noise_variance(se_mm[1], len(second)) or 0.0,
    )
    shots, codes, notes = _usable(first, second, *ends)
    return Pair(shots, codes, least, question, notes)


def _usable(
    first: Array, second: Array, first_end: Labels | None, second_end: Labels | None
) -> tuple[tuple[Array, Array], tuple[Codes, Codes] | None, tuple[str, ...]]:
    """Return shots and ends that can be compared, and notes on those that cannot."""
    if first_end is None and second_end is None:
        return (first, second), None, ()
    if first_end is None or second_end is None:
        raise StatisticsError("ends were given for one group only; give them for both, or neither")
    if len(first_end) != len(first):
        raise StatisticsError(f"{len(first_end)} end labels for {len(first)} shots; one a shot")
    _, codes = read_labels([*first_end, *second_end], len(first) + len(second), "end")
    a, b = codes[: len(first)], codes[len(first) :]
    both = shared_ends(a, b)
    if not both.size:
        return (
            (first, second),
            None,
            (
                "No end holds shots of both groups: what moved a whole end cannot be told from "
                "the offset, and the verdict takes it for none. Shoot both in each end.",
            ),
        )
    kept_a, kept_b = np.isin(a, both), np.isin(b, both)
    left_out = int((~kept_a).sum() + (~kept_b).sum())
    notes: tuple[str, ...] = ()
    if left_out:
        notes = (f"{left_out} shots are left out, whose ends hold one group only.",)
    return (first[kept_a], second[kept_b]), (a[kept_a], b[kept_b]), notes
