"""Compare where groups hit: field points with broadheads, bare shafts with fletched, two builds.

`compare_centres` gives the offset of the second group's centre from the first's, with intervals,
and a verdict with a stated error rate: together, apart, or not enough arrows. `compare_with` does
so for several groups against one reference.

How sure the rates are (all simulated by ``python -m benchmarks.coverage offset``; normal shots):

=====================================  ===========================================================
what                                   rate
=====================================  ===========================================================
pooled T²                              exact where both groups scatter alike, round or not
one shot of each in every end          exact whatever the two scatters
"apart" where the centres are one      approximate: 1 to 5 in 100 at 95 %, for 3 to 20 shots a
                                       side, sigmas up to threefold apart, any ellipses; with 3
                                       shots of a tenfold wider group up to 8
"together" at the tolerance or beyond  approximate: at most 5 in 100, likewise
with `looks`                           the same rates over all looks; proved for groups that
                                       scatter alike and for stated looks, simulated else
permutation p-value                    exact where both groups scatter alike, whatever the shape
=====================================  ===========================================================
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.errors import StatisticsError
from groupscan.stats.comparison import CentreTest, Comparison, Comparisons
from groupscan.stats.contrast import Contrast, contrast, shared_ends
from groupscan.stats.distance import (
    OffsetSeen,
    component_limits,
    direction_limits,
    farthest,
    nearest,
)
from groupscan.stats.hotelling import t2_test, yao_df
from groupscan.stats.inputs import (
    read_distance,
    read_labels,
    read_level,
    read_noise_variance,
    read_shots,
)
from groupscan.stats.intervals import Ellipse, Estimate
from groupscan.stats.permutation import permute_centres
from groupscan.stats.sequential import MOST_SPENT_LOOKS, plan_boundary
from groupscan.stats.verdict import decide

__all__ = ["Comparison", "Comparisons", "compare_centres", "compare_with"]

# A variance flatter than this is a line for all that rounded coordinates can tell.
FLAT = 1e-12

NOTHING = CentreTest(math.nan, math.nan, math.nan, math.nan)
UNKNOWN = Estimate(math.nan)

Array = NDArray[np.float64]
Labels = Sequence[object] | NDArray[np.generic]


def compare_centres(
    first_mm: ArrayLike,
    second_mm: ArrayLike,
    *,
    tolerance_mm: float | None = None,
    first_end: Labels | None = None,
    second_end: Labels | None = None,
    first_se_mm: ArrayLike | None = None,
    second_se_mm: ArrayLike | None = None,
    distance_m: float | None = None,
    confidence: float = 0.95,
    looks: float | None = None,
    seed: int = 1,
) -> Comparison:
    """Compare the centres of two groups of shots.

    Parameters
    ----------
    first_mm, second_mm : (n, 2) array_like, mm
        Shots of each group, x right, y up, from the same point of aim; n >= 1.
    tolerance_mm : float, optional
        The tuner's own: centres closer than this count as together. Without it the verdict is
        never "together".
    first_end, second_end : (n,) sequence, optional
        End of each shot. Where ends hold both groups, the offset is taken within ends, so that
        what moves a whole end does not count; shots of ends that hold one group are left out.
    first_se_mm, second_se_mm : float or (n,) array_like, optional
        Per-axis standard error of each position, mm. It is part of the scatter already; it keeps
        shots that happen to lie at one point from claiming to have no scatter.
    distance_m : float, optional
        Shooting distance, m, for angles.
    confidence : float, default 0.95
        Level of the intervals; one less the rate of false verdicts.
    looks : float, optional
        Most times that someone looks and would stop at a verdict, stated before the first shot,
        ``float("inf")`` for "as often as they like". Left out: the shots were counted beforehand
        and this is the one look.
    seed : int, default 1
        For random permutations; the same shots give the same answer.

    Returns
    -------
    Comparison

    Raises
    ------
    StatisticsError
        If there is no shot, a shape is wrong, or a number is not finite or not sensible.

    Notes
    -----
    The interval of the distance runs from the nearest point of the offset's confidence ellipse to
    the largest one-sided limit over all directions (`groupscan.stats.distance`); it covers the
    true distance in at least `confidence` of all cases: exactly so at distance 0 and far out, more
    often between. "Together" is read from its upper end and "apart" from its lower, so that no
    verdict contradicts the interval shown.

    The groups may scatter differently: the variance of the offset is S1/n1 + S2/n2 on careful
    degrees of freedom (`groupscan.stats.hotelling.careful_df`). Only where a group has fewer than
    three shots, or the ends leave it fewer than two degrees of freedom, are both taken to scatter
    alike, and a note says so.

    References
    ----------
    H. Hotelling, "The generalization of Student's ratio", Annals of Mathematical Statistics 2
    (1931) 360-378. Y. Yao, "An approximate degrees of freedom solution to the multivariate
    Behrens-Fisher problem", Biometrika 52 (1965) 139-147. R. L. Berger and J. C. Hsu,
    "Bioequivalence trials, intersection-union tests and equivalence confidence sets", Statistical
    Science 11 (1996) 283-319.

    Examples
    --------
    >>> field = [(10, -15), (-20, 8), (23, 18), (-5, -28), (15, 5), (-13, 20)]
    >>> broad = [(103, -30), (68, -61), (124, 10), (88, -3), (134, -48), (80, 25)]
    >>> compared = compare_centres(field, broad, tolerance_mm=25)
    >>> compared.verdict
    'apart'
    >>> compared.sentence
    "Apart: the second group hits right, its centre 56.9 to 124 mm from the first's."
    """
    shots, codes, notes = _read(first_mm, second_mm, first_end, second_end)
    pair = _Pair(
        shots=shots,
        codes=codes,
        least=(
            read_noise_variance(first_se_mm, len(read_shots(first_mm))) or 0.0,
            read_noise_variance(second_se_mm, len(read_shots(second_mm))) or 0.0,
        ),
        tolerance_mm=_read_tolerance(tolerance_mm),
        distance_m=read_distance(distance_m),
        confidence=read_level(confidence),
        looks=_read_looks(looks),
        seed=seed,
        notes=notes,
    )
    level = 1 - pair.confidence
    return pair.compared(level, level)


def compare_with(
    reference_mm: ArrayLike,
    others_mm: Mapping[str, ArrayLike],
    *,
    tolerance_mm: float | None = None,
    reference_end: Labels | None = None,
    other_ends: Mapping[str, Labels] | None = None,
    reference_se_mm: ArrayLike | None = None,
    other_se_mm: Mapping[str, ArrayLike] | None = None,
    distance_m: float | None = None,
    confidence: float = 0.95,
    looks: float | None = None,
    seed: int = 1,
) -> Comparisons:
    """Compare several groups with one reference, at one error rate for all of them.

    Parameters
    ----------
    reference_mm : (n, 2) array_like, mm
        Shots of the reference, such as field points.
    others_mm : mapping of str to (n, 2) array_like, mm
        Shots of each other group by name.
    tolerance_mm, distance_m, confidence, looks, seed
        As for `compare_centres`.
    reference_end, other_ends, reference_se_mm, other_se_mm
        As for `compare_centres`, the others' by name.

    Returns
    -------
    Comparisons
        Any false "apart" among them is as rare as one comparison's; any false "together" likewise.

    Raises
    ------
    StatisticsError
        As for `compare_centres`, or if there is no other group.

    Notes
    -----
    Holm's steps, once for "apart" and once for "together": of m comparisons, each is first decided
    at level/m; those decided drop out, and the rest are decided at level/(m - number decided), as
    long as that decides more. Each comparison's limits are those at the level that it was last
    looked at, so that verdict and interval agree.

    References
    ----------
    S. Holm, "A simple sequentially rejective multiple test procedure", Scandinavian Journal of
    Statistics 6 (1979) 65-70.

    Examples
    --------
    >>> field = [(10, -15), (-20, 8), (23, 18), (-5, -28), (15, 5), (-13, 20)]
    >>> fixed = [(103, -30), (68, -61), (124, 10), (88, -3), (134, -48), (80, 25)]
    >>> expandable = [(8, 2), (-11, 16), (20, -9), (-16, -20), (2, 25), (12, -12)]
    >>> found = compare_with(field, {"fixed": fixed, "expandable": expandable}, tolerance_mm=60)
    >>> {name: one.verdict for name, one in found.against.items()}
    {'fixed': 'apart', 'expandable': 'together'}
    """
    if not others_mm:
        raise StatisticsError("no group to compare with the reference; give at least one")
    level = 1 - read_level(confidence)
    pairs = {}
    for name, other in others_mm.items():
        end = (other_ends or {}).get(name)
        shots, codes, notes = _read(
            reference_mm, other, None if end is None else reference_end, end
        )
        pairs[name] = _Pair(
            shots=shots,
            codes=codes,
            least=(
                read_noise_variance(reference_se_mm, len(read_shots(reference_mm))) or 0.0,
                read_noise_variance((other_se_mm or {}).get(name), len(read_shots(other))) or 0.0,
            ),
            tolerance_mm=_read_tolerance(tolerance_mm),
            distance_m=read_distance(distance_m),
            confidence=confidence,
            looks=_read_looks(looks),
            seed=seed,
            notes=notes,
        )
    apart = _holm_levels(pairs, level, lambda pair, at: pair.low(at) > 0)
    together = _holm_levels(
        pairs,
        level,
        lambda pair, at: pair.tolerance_mm is not None and pair.high(at) <= pair.tolerance_mm,
    )
    against = {name: pair.compared(apart[name], together[name]) for name, pair in pairs.items()}
    return Comparisons(against, confidence)


@dataclass(frozen=True)
class _Pair:
    """Two groups that were read, and what was asked of them."""

    shots: tuple[Array, Array]
    codes: tuple[NDArray[np.intp], NDArray[np.intp]] | None
    least: tuple[float, float]
    tolerance_mm: float | None
    distance_m: float | None
    confidence: float
    looks: float | None
    seed: int
    notes: tuple[str, ...]

    @cached_property
    def contrast(self) -> Contrast:
        ends = self.codes or (None, None)
        return contrast(*self.shots, *ends, least_variance=self.least)

    @cached_property
    def solid(self) -> bool:
        """Whether the scatter seen bounds the offset in every direction."""
        trace, det = _size(self.contrast.seen.variance)
        return bool(det > FLAT * trace**2)

    def low(self, level: float) -> float:
        if not self.solid:
            return math.nan
        return float(nearest(self.contrast.seen, plan_boundary(level, self.looks)))

    def high(self, level: float) -> float:
        if not self.solid:
            return math.nan
        return float(farthest(self.contrast.seen, plan_boundary(level, self.looks)))

    def compared(self, apart_level: float, together_level: float) -> Comparison:
        """Return the comparison at these levels of its two verdicts."""
        seen, pooled = self.contrast.seen, self.contrast.pooled
        sizes = len(self.shots[0]), len(self.shots[1])
        x_mm, y_mm = (float(value) for value in seen.offset)
        away = math.hypot(x_mm, y_mm)
        boundary = plan_boundary(apart_level, self.looks)
        low, high = self.low(apart_level), self.high(together_level)
        sigma = math.sqrt(_size(seen.variance)[0] / 2 / seen.unit)
        x, y, direction, test, yao = Estimate(x_mm), Estimate(y_mm), UNKNOWN, NOTHING, NOTHING
        ellipse = Ellipse(x_mm, y_mm, math.nan, math.nan, math.nan)
        if self.solid:
            lows, highs = component_limits(seen, boundary)
            x = Estimate(x_mm, float(lows[0]), float(highs[0]))
            y = Estimate(y_mm, float(lows[1]), float(highs[1]))
            radius = float(boundary.ellipse(seen.df, seen.unit))
            ellipse = _ellipse(seen, radius)
            direction = Estimate(
                math.atan2(y_mm, x_mm), *direction_limits(seen.offset, seen.variance, radius)
            )
            test = _test(seen.offset, seen.variance, float(seen.df))
            yao = _test(
                seen.offset, seen.variance, float(yao_df(seen.offset, seen.parts, seen.dfs))
            )
        labels = self.codes or (None, None)
        compared = Comparison(
            verdict=decide(low, high, self.tolerance_mm),
            tolerance_mm=self.tolerance_mm,
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
                *self.shots, first_end=labels[0], second_end=labels[1], seed=self.seed
            ),
            first_n=sizes[0],
            second_n=sizes[1],
            ends=None if self.codes is None else len(np.unique(self.codes[0])),
            looks=self.looks,
            look_level=apart_level / min(self.looks or 1, MOST_SPENT_LOOKS),
            confidence=self.confidence,
            distance_m=self.distance_m,
            notes=self.notes,
        )
        return replace(compared, notes=self.notes + tuple(self._cautions(compared)))

    def _cautions(self, compared: Comparison) -> Iterator[str]:
        """Yield what these shots cannot say, and why."""
        df, level = self.contrast.pooled.dfs[0], 1 - self.confidence
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
        if self.tolerance_mm is None:
            yield "No tolerance was given, so that the verdict cannot be 'together'."
        elif compared.verdict == "together" and compared.distance.low > 0:
            yield "The centres do differ, but by less than the tolerance."
        elif compared.verdict == "apart" and not compared.distance.low > self.tolerance_mm:
            yield "The centres differ; whether by more than the tolerance is not sure yet."
        permutation = compared.permutation
        if compared.verdict == "apart" and permutation.least_p <= level < permutation.p:
            yield (
                f"Splits at random part the centres as far in {permutation.p:.0%} of all ways: "
                "one odd shot may carry this verdict."
            )


def _read(
    first_mm: ArrayLike,
    second_mm: ArrayLike,
    first_end: Labels | None,
    second_end: Labels | None,
) -> tuple[tuple[Array, Array], tuple[NDArray[np.intp], NDArray[np.intp]] | None, tuple[str, ...]]:
    """Return the shots to compare, their ends where these can be used, and notes on both."""
    first, second = read_shots(first_mm), read_shots(second_mm)
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


def _read_tolerance(tolerance_mm: float | None) -> float | None:
    if tolerance_mm is None:
        return None
    if not (math.isfinite(tolerance_mm) and tolerance_mm > 0):
        raise StatisticsError(f"tolerance {tolerance_mm!r} mm must be more than zero and finite")
    return float(tolerance_mm)


def _read_looks(looks: float | None) -> float | None:
    if looks is not None and not looks >= 1:
        raise StatisticsError(f"looks {looks!r} must be 1 or more; leave it out for one look")
    return looks


def _size(variance: Array) -> tuple[float, float]:
    """Return trace and determinant."""
    trace = float(variance[0, 0] + variance[1, 1])
    return trace, float(variance[0, 0] * variance[1, 1] - variance[0, 1] * variance[1, 0])


def _ellipse(seen: OffsetSeen, radius: float) -> Ellipse:
    values, vectors = np.linalg.eigh(seen.variance)
    minor, major = radius * np.sqrt(np.maximum(values, 0.0))
    angle = math.atan2(vectors[1, 1], vectors[0, 1])
    # A direction, not a heading: fold the half turn.
    angle -= math.pi * math.ceil(angle / math.pi - 0.5)
    return Ellipse(float(seen.offset[0]), float(seen.offset[1]), float(major), float(minor), angle)


def _test(offset: Array, variance: Array, df: float) -> CentreTest:
    test = t2_test(offset, variance, df)
    return CentreTest(float(test.t2), float(test.f), df, float(test.p))


def _pooled_test(pooled: OffsetSeen) -> CentreTest:
    trace, det = _size(pooled.variance)
    if not det > FLAT * trace**2:
        return NOTHING
    return _test(pooled.offset, pooled.variance, pooled.dfs[0])


def _holm_levels(
    pairs: Mapping[str, _Pair], level: float, decided: Callable[[_Pair, float], bool]
) -> dict[str, float]:
    """Return the level that Holm's steps leave to each comparison."""
    levels: dict[str, float] = {}
    left = dict(pairs)
    while left:
        share = level / len(left)
        done = [name for name, pair in left.items() if decided(pair, share)]
        levels |= dict.fromkeys(done or left, share)
        if not done:
            break
        left = {name: pair for name, pair in left.items() if name not in done}
    return levels
