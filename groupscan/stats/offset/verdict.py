"""Together, apart, or not enough arrows: what the limits of an offset allow to be said.

======================  ==========================================================================
verdict                 when
======================  ==========================================================================
"together"              the whole interval of the distance lies inside the tuner's own tolerance
"apart"                 the lower limit is more than 0: the centres differ, and the direction shows
"not enough arrows"     neither
======================  ==========================================================================

A pair of centres that differ by less than the tolerance may be both; it is then "together", which
is what the tuner asked.

At 95 % confidence, "apart" is wrong (the true offset is 0) in at most 5 of 100 comparisons, and so
is "together" (the true distance is the tolerance or more): over all looks, where these are stated.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from groupscan.errors import StatisticsError
from groupscan.stats.power import arrows_for_equivalence, arrows_for_offset

__all__ = ["ArrowsWanted", "Verdict", "arrows_wanted", "decide", "direction_words"]

Verdict = Literal["together", "apart", "not enough arrows"]

# Common practice for planning: a verdict four times out of five, if all is as it was seen.
WANTED_POWER = 0.8

# More than anyone shoots to settle one question; the number is then not worth giving.
MOST_WANTED = 500

# tan(22.5 degrees): offsets are named by the nearest of eight directions.
_OCTANT = math.sqrt(2) - 1


@dataclass(frozen=True)
class ArrowsWanted:
    """How many more arrows of each group would probably settle it; None where it cannot be told."""

    first: int | None
    second: int | None


def decide(low_mm: float, high_mm: float, tolerance_mm: float | None) -> Verdict:
    """Return the verdict.

    Parameters
    ----------
    low_mm, high_mm : float, mm
        Limits of the distance between the centres; NaN where the shots cannot say.
    tolerance_mm : float or None, mm
        Centres closer than this count as together; None: they never do.

    Examples
    --------
    >>> decide(0.0, 18.0, 25.0), decide(12.0, 40.0, 25.0), decide(0.0, 40.0, 25.0)
    ('together', 'apart', 'not enough arrows')
    """
    if tolerance_mm is not None and high_mm <= tolerance_mm:
        return "together"
    return "apart" if low_mm > 0 else "not enough arrows"


def arrows_wanted(
    distance_mm: float,
    sigma_mm: float,
    tolerance_mm: float | None,
    sizes: tuple[int, int],
    level: float,
) -> ArrowsWanted:
    """Return how many more arrows would settle it, were centres and scatter as they were seen.

    Parameters
    ----------
    distance_mm, sigma_mm : float, mm
        Distance and per-axis scatter seen.
    tolerance_mm : float or None, mm
    sizes : tuple of int
        Arrows in each group now.
    level : float
        Level of the decision.

    Returns
    -------
    ArrowsWanted
        For four verdicts in five: "apart" by T² or "together" by equivalence, whichever comes
        first. At least one more of the smaller group.
    """
    if not sigma_mm > 0:
        return ArrowsWanted(None, None)
    needs = []
    if distance_mm > 0:
        needs.append(_or_none(arrows_for_offset, distance_mm, sigma_mm, level=level))
    if tolerance_mm is not None and distance_mm < tolerance_mm:
        needs.append(
            _or_none(arrows_for_equivalence, distance_mm, tolerance_mm, sigma_mm, level=level)
        )
    known = [need for need in needs if need is not None and need <= MOST_WANTED]
    if not known:
        return ArrowsWanted(None, None)
    each = max(min(known), min(sizes) + 1)
    return ArrowsWanted(max(each - sizes[0], 0), max(each - sizes[1], 0))


def _or_none(arrows_for: Callable[..., int], *lengths_mm: float, level: float) -> int | None:
    try:
        return arrows_for(*lengths_mm, power=WANTED_POWER, level=level)
    except StatisticsError:
        return None


def direction_words(x_mm: float, y_mm: float) -> str:
    """Return the nearest of eight directions in the words of the butts.

    Examples
    --------
    >>> direction_words(10, -9), direction_words(0, 5), direction_words(-3, 1)
    ('low right', 'high', 'left')
    """
    words = []
    if abs(y_mm) > _OCTANT * abs(x_mm):
        words.append("high" if y_mm > 0 else "low")
    if abs(x_mm) > _OCTANT * abs(y_mm):
        words.append("right" if x_mm > 0 else "left")
    return " ".join(words) or "at the same place"
