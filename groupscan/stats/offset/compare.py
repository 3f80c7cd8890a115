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
"apart" where the centres are one      approximate: 0 to 5 in 100 at 95 %, for 3 to 20 shots a
                                       side, sigmas up to threefold apart, any ellipses; with 3
                                       shots of a tenfold wider group up to 8
"together" at the tolerance or beyond  approximate: at most 5 in 100, likewise
with `looks`                           the same rates over all looks; proved for groups that
                                       scatter alike and for stated looks, simulated else
permutation p-value                    exact where both groups scatter alike, whatever the shape
=====================================  ===========================================================
"""

from collections.abc import Callable, Mapping

from numpy.typing import ArrayLike

from groupscan.errors import StatisticsError
from groupscan.stats.inputs import read_labels, read_shots
from groupscan.stats.offset.comparison import Comparison, Comparisons
from groupscan.stats.offset.pair import Labels, Pair, Question, read_pair

__all__ = [
    "Comparison",
    "Comparisons",
    "compare_after_each_end",
    "compare_centres",
    "compare_with",
]


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
    the largest one-sided limit over all directions (`groupscan.stats.offset.distance`); it covers
    the true distance in at least `confidence` of all cases: exactly so at distance 0 and far out,
    more often between. "Together" is read from its upper end and "apart" from its lower, so that no
    verdict contradicts the interval shown.

    The groups may scatter differently: the variance of the offset is S1/n1 + S2/n2 on careful
    degrees of freedom (`groupscan.stats.offset.hotelling.careful_df`). Only where a group has fewer
    than three shots, or the ends leave it fewer than two degrees of freedom, are both taken to
    scatter alike, and a note says so.

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
    'Apart: the second hits right, its centre 100 mm (57 to 124) from that of the first.'
    """
    question = Question(tolerance_mm, distance_m, confidence, looks, seed)
    pair = read_pair(
        first_mm, second_mm, (first_end, second_end), (first_se_mm, second_se_mm), question
    )
    return pair.compared(question.level, question.level)


def compare_after_each_end(
    first_mm: ArrayLike,
    second_mm: ArrayLike,
    *,
    first_end: Labels,
    second_end: Labels,
    tolerance_mm: float | None = None,
    distance_m: float | None = None,
    confidence: float = 0.95,
    looks: float = float("inf"),
    seed: int = 1,
) -> dict[str, Comparison]:
    """Compare the centres as they stood after each end, as someone does who cannot wait.

    Parameters
    ----------
    first_mm, second_mm, first_end, second_end, tolerance_mm, distance_m, confidence, seed
        As for `compare_centres`; the ends are taken in the order of their numbers.
    looks : float, default inf
        Most looks that will be taken. Up to 12, stated before the first shot, ask for fewer
        arrows than "as often as they like".

    Returns
    -------
    dict of str to Comparison
        By end, from the first after which both groups have a shot. The first verdict that is not
        "not enough arrows" may be acted on: over all looks, it is wrong no more often than one
        look's.

    Raises
    ------
    StatisticsError
        As for `compare_centres`.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> end = np.repeat([1, 2, 3, 4, 5, 6], 3)
    >>> field, bare = rng.normal(0, 10, (18, 2)), rng.normal(0, 10, (18, 2)) + [22, 0]
    >>> looks = compare_after_each_end(field, bare, first_end=end, second_end=end, looks=6)
    >>> [one.verdict for one in looks.values()][-2:]
    ['apart', 'apart']
    """
    first, second = read_shots(first_mm), read_shots(second_mm)
    read_labels(first_end, len(first), "end")
    names, codes = read_labels([*first_end, *second_end], len(first) + len(second), "end")
    a, b = codes[: len(first)], codes[len(first) :]
    return {
        name: compare_centres(
            first[a <= end],
            second[b <= end],
            tolerance_mm=tolerance_mm,
            first_end=a[a <= end],
            second_end=b[b <= end],
            distance_m=distance_m,
            confidence=confidence,
            looks=looks,
            seed=seed,
        )
        for end, name in enumerate(names)
        if (a <= end).any() and (b <= end).any()
    }


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
        As for `compare_centres`, or if there is no other group or a name is none of theirs.

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
    for given in (other_ends, other_se_mm):
        unknown = sorted(set(given or {}) - set(others_mm))
        if unknown:
            raise StatisticsError(f"no group is named {unknown[0]!r}; name the groups alike")
    question = Question(tolerance_mm, distance_m, confidence, looks, seed)
    level, pairs = question.level, {}
    for name, other in others_mm.items():
        pairs[name] = read_pair(
            reference_mm,
            other,
            (reference_end, (other_ends or {}).get(name)),
            (reference_se_mm, (other_se_mm or {}).get(name)),
            question,
        )
    apart = _holm_levels(pairs, level, lambda pair, at: pair.low(at) > 0)
    together = _holm_levels(
        pairs,
        level,
        lambda pair, at: tolerance_mm is not None and pair.high(at) <= tolerance_mm,
    )
    against = {name: pair.compared(apart[name], together[name]) for name, pair in pairs.items()}
    return Comparisons(against, confidence)


def _holm_levels(
    pairs: Mapping[str, Pair], level: float, decided: Callable[[Pair, float], bool]
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
