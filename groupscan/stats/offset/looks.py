"""How two groups' centres stood after each end, quick enough for a season of ends.

The same limits and verdicts as `groupscan.stats.offset.compare.compare_after_each_end`, without the
tests and permutations that nobody reads of an earlier look.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from groupscan.errors import StatisticsError
from groupscan.stats.inputs import read_labels, read_shots
from groupscan.stats.intervals import Estimate
from groupscan.stats.offset.pair import Labels, Question, read_pair
from groupscan.stats.offset.verdict import Verdict, decide

__all__ = ["Look", "look_after_each_end"]


@dataclass(frozen=True)
class Look:
    """What somebody saw who looked after an end.

    Attributes
    ----------
    end : int
        Its place among the ends that hold both groups, from 1.
    first_n, second_n : int
        Shots of each group by then.
    distance : Estimate
        Between the centres, mm.
    verdict : {'together', 'apart', 'not enough arrows'}
    """

    end: int
    first_n: int
    second_n: int
    distance: Estimate
    verdict: Verdict


def look_after_each_end(
    first_mm: ArrayLike,
    second_mm: ArrayLike,
    *,
    first_end: Labels,
    second_end: Labels,
    tolerance_mm: float | None = None,
    confidence: float = 0.95,
    looks: float = float("inf"),
    most: int | None = None,
) -> list[Look]:
    """Return how the centres stood after each end that holds both groups.

    Parameters
    ----------
    first_mm, second_mm, first_end, second_end, tolerance_mm, confidence, looks
        As for `groupscan.stats.offset.compare_after_each_end`.
    most : int, optional
        Look no more often than this, at ends evenly spread, the last among them: fewer looks than
        were paid for are never wrong more often.

    Returns
    -------
    list of Look

    Raises
    ------
    StatisticsError
        As for `groupscan.stats.offset.compare_centres`, or if `most` is not 1 or more.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> end = np.repeat([1, 2, 3, 4, 5, 6], 3)
    >>> field, bare = rng.normal(0, 10, (18, 2)), rng.normal(0, 10, (18, 2)) + [22, 0]
    >>> asked = {"first_end": end, "second_end": end, "looks": 6}
    >>> [one.verdict for one in look_after_each_end(field, bare, **asked)][-2:]
    ['apart', 'apart']
    >>> [one.end for one in look_after_each_end(field, bare, **asked, most=3)]
    [2, 4, 6]
    """
    if most is not None and most < 1:
        raise StatisticsError(f"most {most!r} looks must be 1 or more")
    first, second = read_shots(first_mm), read_shots(second_mm)
    read_labels(first_end, len(first), "end")
    _, codes = read_labels([*first_end, *second_end], len(first) + len(second), "end")
    a, b = codes[: len(first)], codes[len(first) :]
    shared = np.intersect1d(a, b)
    question = Question(tolerance_mm, None, confidence, looks, 1)
    count = len(shared)
    taken = range(1, count + 1)
    if most is not None and count > most:
        step = -(-count // most)
        taken = range(count, 0, -step)[::-1]
    found = []
    for end in taken:
        last = shared[end - 1]
        pair = read_pair(
            first[a <= last],
            second[b <= last],
            (a[a <= last], b[b <= last]),
            (None, None),
            question,
        )
        low, high = pair.low(question.level), pair.high(question.level)
        away = float(np.hypot(*pair.contrast.seen.offset))
        found.append(
            Look(
                end,
                len(pair.shots[0]),
                len(pair.shots[1]),
                Estimate(away, low, high),
                decide(low, high, tolerance_mm),
            )
        )
    return found
