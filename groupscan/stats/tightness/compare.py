"""Which build is tighter, by how much and how sure: two builds, or several at once.

The ratio of two sigmas has an exact F interval. For groups of any shape it is the ratio of the
sigmas of the circles of equal area, on 2 (n - 2) degrees of freedom a build; who takes the groups
for circular gains 2 more. The default is any shape: a test for the circle first, and the circular
ratio where it passes, was simulated to call one of two like elliptical builds tighter in up to 9 %
of comparisons instead of 5, since few shots cannot tell an ellipse from a circle.

With ends as blocks only the scatter within ends counts, so that a sight moved between ends, or a
shooter who settles in elsewhere each time, is not taken for a wide group; each end costs one shot
of evidence.

=====================  ==========================================================================
verdict                said when
=====================  ==========================================================================
"A is tighter"         the test of equal sigmas rejects, and A's is the smaller
"together"             the interval of the ratio lies within the ratio that the tuner cares about
"not enough arrows"    neither; `more_arrows` says how many more of each
=====================  ==========================================================================

Error rates: of two builds that are alike, either is called tighter in `1 - confidence` of
comparisons (5 %), the wider of two that differ in at most half of that. Of several builds, *any*
false "tighter" is as rare (Holm). Two that differ by more than the tuner's ratio are called
together in at most half of `1 - confidence`.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from groupscan.errors import StatisticsError
from groupscan.stats.group.shape import sphericity_p
from groupscan.stats.inputs import read_labels, read_level, read_shots
from groupscan.stats.intervals import Estimate
from groupscan.stats.multiplicity import holm
from groupscan.stats.power import arrows_for_sigma_ratio
from groupscan.stats.scatter import (
    Shape,
    bartlett,
    brown_forsythe,
    f_ratio,
    radii,
    reduced,
    scatter_about,
)
from groupscan.stats.tightness.builds import Builds, Tightness
from groupscan.telling import chance

__all__ = ["compare_builds", "compare_tightness"]

# A quarter more sigma is a quarter more of every radius; less is hard to see in any score and
# takes hundreds of arrows to prove. Common practice, no source; the tuner may set another.
WORTH_RATIO = 1.25
NOT_CIRCULAR_P = 0.05
# Scatter below a nanometre is rounding, not shooting.
ROUNDING_MM = 1e-6
ROUNDING_SHARE = 1e-6

UNKNOWN = Estimate(math.nan)

Array = NDArray[np.float64]
Codes = NDArray[np.intp]


def compare_tightness(
    first_mm: ArrayLike,
    second_mm: ArrayLike,
    *,
    names: tuple[str, str] = ("A", "B"),
    ends: tuple[Sequence[object], Sequence[object]] | None = None,
    shape: Shape = "elliptical",
    worth_ratio: float = WORTH_RATIO,
    confidence: float = 0.95,
) -> Tightness:
    """Compare how tight two builds shoot.

    Parameters
    ----------
    first_mm, second_mm : (n, 2) array_like, mm
        Shots of each build.
    names : tuple of str, default ("A", "B")
    ends : tuple of two sequences, optional
        The end of each shot, build by build; scatter then counts within ends only.
    shape : {'elliptical', 'circular'}, default 'elliptical'
        Circular only where it is known before the shots are seen.
    worth_ratio : float, default 1.25
        The smallest ratio of sigmas that the tuner cares about, more than 1.
    confidence : float, default 0.95
        Level of the intervals; 1 - confidence is the rate of false verdicts.

    Returns
    -------
    Tightness

    Raises
    ------
    StatisticsError
        If there is no shot, a number is not finite, or the labels do not fit.

    Examples
    --------
    The field points and broadheads of a small made-up session, inches:

    >>> field = [(0.4, -0.6), (-0.8, 0.3), (0.9, 0.7), (-0.2, -1.1), (0.6, 0.2), (-0.5, 0.8)]
    >>> heads = [(1.7, -1.2), (0.3, -2.4), (2.5, 0.4), (1.1, -0.1), (2.9, -1.9), (0.8, 1.0)]
    >>> found = compare_tightness(heads, field, shape="circular")
    >>> round(found.ratio.value, 4), round(found.p_value, 4), found.verdict
    (1.6721, 0.1203, 'not enough arrows')
    """
    if len(set(names)) != 2:
        raise StatisticsError(f"names {names!r} must be two different ones")
    by_name = dict(zip(names, (first_mm, second_mm), strict=True))
    labels = None if ends is None else dict(zip(names, ends, strict=True))
    builds = compare_builds(
        by_name, ends=labels, shape=shape, worth_ratio=worth_ratio, confidence=confidence
    )
    return builds.pairs[0]


def compare_builds(
    shots_mm: Mapping[str, ArrayLike],
    *,
    ends: Mapping[str, Sequence[object]] | None = None,
    shape: Shape = "elliptical",
    worth_ratio: float = WORTH_RATIO,
    confidence: float = 0.95,
) -> Builds:
    """Compare how tight several builds shoot, with one error rate for all verdicts together.

    Parameters
    ----------
    shots_mm : mapping of str to (n, 2) array_like, mm
        Shots by build; two builds or more.
    ends : mapping of str to (n,) sequence, optional
        The end of each shot, by build.
    shape, worth_ratio, confidence
        As for `compare_tightness`.

    Returns
    -------
    Builds

    Raises
    ------
    StatisticsError
        As for `compare_tightness`, or for fewer than two builds.

    Notes
    -----
    Pairs: F tests, Holm's adjusted p-values; intervals at the level that makes all of them hold
    at once (Bonferroni). The overall tests are told beside them and decide nothing.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> shots = {name: s * rng.normal(size=(30, 2)) for name, s in zip("ABC", (10, 10, 30))}
    >>> [pair.verdict for pair in compare_builds(shots).pairs]
    ['B is tighter', 'A is tighter', 'not enough arrows']
    """
    if len(shots_mm) < 2:
        raise StatisticsError("one build alone cannot be compared; give two or more")
    if shape not in ("elliptical", "circular"):
        raise StatisticsError(f"shape {shape!r} is not known; say elliptical or circular")
    if not (math.isfinite(worth_ratio) and worth_ratio > 1):
        raise StatisticsError(f"worth_ratio {worth_ratio!r} must be a ratio of more than 1")
    level = read_level(confidence)
    builds = [_read_build(name, shots, ends) for name, shots in shots_mm.items()]
    told = [build for build in builds if build.scatters and build.df > 1]
    p_circle = _circular_p(told)
    overall, robust = _overall(builds, shape)
    pairs = list(combinations(builds, 2))
    adjusted = holm([_p_value(first, second, shape) for first, second in pairs])
    each = 1 - (1 - level) / len(pairs)
    found = [
        _compare(*pair, shape, p, each, 1 - level, worth_ratio)
        for pair, p in zip(pairs, adjusted.tolist(), strict=True)
    ]
    found.sort(key=lambda pair: math.inf if math.isnan(pair.p_value) else pair.p_value)
    return Builds(
        names=tuple(build.name for build in builds),
        shape=shape,
        p_value=overall,
        robust_p=robust,
        pairs=tuple(found),
        notes=tuple(_shape_notes(shape, p_circle)),
    )


@dataclass(frozen=True)
class _Build:
    name: str
    n: int
    scatter: Array
    df: int
    radii: Array
    ends: int

    @property
    def scatters(self) -> bool:
        return self.df > 0 and float(np.trace(self.scatter)) > self.n * ROUNDING_MM**2

    def told(self, shape: Shape) -> tuple[Array, int] | None:
        """Return sum of squares and degrees of freedom; None where there is nothing to go by."""
        square, df = reduced(self.scatter, self.df, shape)
        # An area of less than a millionth of the circle's is a line, and rounding.
        least = ROUNDING_SHARE * float(np.trace(self.scatter))
        return (square, df) if self.scatters and df > 0 and square > least else None


def _read_build(name: str, shots: ArrayLike, ends: Mapping[str, Sequence[object]] | None) -> _Build:
    xy = read_shots(shots)
    blocks = None
    if ends is not None:
        if name not in ends:
            raise StatisticsError(f"build {name!r} has no end labels; give one a shot")
        blocks = read_labels(ends[name], len(xy), "end")[1]
    scatter, df = scatter_about(xy, blocks)
    count = 1 if blocks is None else int(blocks.max()) + 1
    return _Build(name, len(xy), scatter, df, radii(xy, blocks), count)


def _circular_p(builds: list[_Build]) -> float:
    """Return the p-value of "all builds are circular", each with a sigma of its own.

    Their own p-values are joined by Fisher's method: R. A. Fisher, "Statistical Methods for
    Research Workers" (1932), section 21.1.
    """
    if not builds:
        return 1.0
    with np.errstate(divide="ignore"):
        joined = -2 * sum(float(np.log(sphericity_p(one.scatter, one.df))) for one in builds)
    return float(chdtrc(2 * len(builds), joined))


def _overall(builds: list[_Build], shape: Shape) -> tuple[float, float]:
    """Return the p-values of "all alike", by Bartlett and by Brown and Forsythe."""
    told = [build.told(shape) for build in builds]
    plain = robust = math.nan
    if all(told):
        squares, dfs = zip(*(one for one in told if one), strict=True)
        plain = float(bartlett(squares, dfs)[1])
    # Two shots lie equally far from their own median: their radii hold no scatter of their own.
    if all(len(build.radii) > 2 and build.scatters for build in builds):
        robust = float(brown_forsythe([build.radii for build in builds])[1])
    return plain, robust


def _p_value(first: _Build, second: _Build, shape: Shape) -> float:
    told, other = first.told(shape), second.told(shape)
    if told is None or other is None:
        return math.nan
    one_sided = float(f_ratio(told, other, 0.95)[3])
    return min(1.0, 2 * min(one_sided, 1 - one_sided))


def _compare(
    first: _Build,
    second: _Build,
    shape: Shape,
    p_value: float,
    confidence: float,
    level: float,
    worth_ratio: float,
) -> Tightness:
    told, other = first.told(shape), second.told(shape)
    ratio, sure, verdict = UNKNOWN, math.nan, "not enough arrows"
    if told is None or other is None:
        p_value = math.nan
    else:
        value, low, high, one_sided = map(float, f_ratio(told, other, confidence))
        ratio = Estimate(value, low, high)
        # The F distribution's middle is not at 1 where the builds differ in number.
        sure = max(one_sided, 1 - one_sided)
        if p_value <= level:
            verdict = f"{(first if one_sided < 0.5 else second).name} is tighter"
        elif 1 / worth_ratio < low and high < worth_ratio:
            verdict = "together"
    wanting = verdict == "not enough arrows"
    found = Tightness(
        first=first.name,
        second=second.name,
        n=(first.n, second.n),
        shape=shape,
        sigma=(_sigma(told), _sigma(other)),
        ratio=ratio,
        ratio_x=_axis_ratio(first, second, 0, confidence),
        ratio_y=_axis_ratio(first, second, 1, confidence),
        p_value=p_value,
        robust_p=_overall([first, second], shape)[1],
        sure=sure,
        verdict=verdict,
        more_arrows=_more_arrows(first, second, shape, worth_ratio, 1 - confidence)
        if wanting
        else None,
        notes=tuple(_build_notes(first, shape)) + tuple(_build_notes(second, shape)),
    )
    return replace(found, notes=found.notes + tuple(_pair_notes(found, level)))


def _sigma(told: tuple[Array, int] | None) -> float:
    return math.nan if told is None else math.sqrt(float(told[0]) / told[1])


def _axis_ratio(first: _Build, second: _Build, axis: int, confidence: float) -> Estimate:
    squares = [build.scatter[axis, axis] for build in (first, second)]
    if not (first.df > 0 and second.df > 0 and min(squares) > 0):
        return UNKNOWN
    value, low, high, _ = f_ratio((squares[0], first.df), (squares[1], second.df), confidence)
    return Estimate(float(value), float(low), float(high))


def _more_arrows(
    first: _Build, second: _Build, shape: Shape, worth_ratio: float, level: float
) -> int:
    """Return how many more of each, at least one; an end's centre and the shape cost one each."""
    wanted_df = arrows_for_sigma_ratio(worth_ratio, level=level) - (shape == "circular")
    return max(1, wanted_df - min(first.df, second.df))


def _build_notes(build: _Build, shape: Shape) -> Iterator[str]:
    if build.df < 1:
        alone = "one shot" if build.ends == 1 else "one shot in each end"
        yield f"{build.name} has {alone}: no scatter to go by; shoot at least two an end."
    elif not build.scatters:
        yield f"All shots of {build.name} lie at one point: no scatter was seen to compare."
    elif build.told(shape) is None and build.df < 2:
        yield f"{build.name} has too few shots for an ellipse; shoot at least three an end."
    elif build.told(shape) is None:
        yield f"The shots of {build.name} lie on one line: their ellipse has no area to compare."


def _pair_notes(pair: Tightness, level: float) -> Iterator[str]:
    decided = pair.verdict.endswith("is tighter")
    if decided and pair.robust_p > level:
        yield (
            f"{pair.verdict}, but the test that minds wild shots less does not see it "
            f"({chance(pair.robust_p)}): look for a flyer before you trust it."
        )
    if pair.shape == "elliptical" and decided and pair.ratio.value == pair.ratio.value:
        wider_axis = [
            name
            for name, axis in (("left and right", pair.ratio_x), ("up and down", pair.ratio_y))
            if (axis.value - 1) * (pair.ratio.value - 1) < 0
        ]
        if wider_axis:
            yield f"The tighter one is the wider one {wider_axis[0]}."


def _shape_notes(shape: Shape, p_circle: float) -> Iterator[str]:
    if p_circle < NOT_CIRCULAR_P:
        told = "they were taken for circles" if shape == "circular" else "their areas are compared"
        yield (
            f"The groups are longer than wide, more than chance explains ({chance(p_circle)}): "
            f"{told}; see also the ratio along each axis."
        )
