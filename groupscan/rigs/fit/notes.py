"""What groups cannot tell of a rig, in plain sentences."""

import math
from collections.abc import Iterator

import numpy as np
from scipy.special import chdtrc

from groupscan.rigs.fit.result import Fitted
from groupscan.rigs.given import Array
from groupscan.telling import chance

__all__ = ["ALIKE", "DOUBTFUL_P", "data_notes", "drag_notes", "weak_notes"]

DOUBTFUL_P = 0.01
# Two estimates more alike than this move together: one cannot be told without the other.
ALIKE = 0.99
# An interval wider than this says less than a guess (speed), a ruler (peep) or publications (drag:
# laminar and turbulent flow differ by half as much).
WIDE = {"speed": (10.0, "m/s"), "peep height": (40.0, "mm"), "drag": (0.001, "per metre")}
MEASURE = {
    "speed": "measure the launch speed with a chronograph",
    "drag": "give the drag that is published for such arrows",
    "peep height": "measure the peep height",
}


def data_notes(
    variance: Array, shots: Array, lack_of_fit_p: float, df: float, growth: float
) -> Iterator[str]:
    """Yield what is odd about the groups.

    Parameters
    ----------
    variance : (n,) array
        Of one shot at 1 m, by group.
    shots : (n,) array
    lack_of_fit_p, df, growth : float
    """
    if df < 5:
        yield (
            f"Few shots: their scatter is known with {df:.2g} degrees of freedom, and the intervals"
            " are wide for it."
        )
    p = _equal_p(variance, shots)
    if p < DOUBTFUL_P:
        yield (
            f"The groups' scatter does not grow with distance to the power {growth:g} ({chance(p)})"
            ": the weights of near and far groups may be wrong. Wind or one bad group would do"
            " this; look at the groups."
        )
    if lack_of_fit_p < DOUBTFUL_P:
        yield (
            "The groups' centres lie farther from the curve than their scatter explains"
            f" ({chance(lack_of_fit_p)}): the aim, the sight or the weather changed between them,"
            " or a distance is wrong. The intervals rest on how far the centres lie from the curve."
        )


def drag_notes(reason: str, drag: Fitted, published: tuple[float, float]) -> Iterator[str]:
    """Yield why the drag was held, if it was, and over what range; or that it is a strange one."""
    low, high = published
    span = f"{low:.3g} per metre" if low == high else f"{low:.3g} to {high:.3g} per metre"
    if reason:
        yield (
            f"{reason} The drag was held at the published {span}, and the other intervals hold for"
            " all of that. Groups farther out, with more shots, or a measured launch speed would"
            " tell it."
        )
    elif drag.low > high or drag.high < low:
        yield (
            f"The fitted drag lies outside the published {span}: check the distances, the sight and"
            " the mass and diameter that the published drag was worked out for."
        )


def weak_notes(
    intervals: dict[str, Fitted], correlation: dict[tuple[str, str], float]
) -> Iterator[str]:
    """Yield which values the data cannot tell, or not apart."""
    for (first, second), alike in correlation.items():
        if abs(alike) > ALIKE:
            yield (
                f"These groups cannot tell {first} and {second} apart (correlation {alike:.3f}):"
                f" either may be off if the other is. To part them, {MEASURE[first]} or"
                f" {MEASURE[second]}."
            )
    for name, one in intervals.items():
        widest, unit = WIDE[name]
        if not one.high - one.low <= widest:
            yield (
                f"These groups hardly tell the {name}: its interval is wider than {widest:g}"
                f" {unit}. Shoot over a wider span of distances, or {MEASURE[name]}."
            )


def _equal_p(variance: Array, shots: Array) -> float:
    """Return the p-value of Bartlett's test that all groups scatter alike."""
    several = (shots > 1) & (variance > 0)
    df, each = shots[several] - 1, variance[several]
    if len(each) < 2:
        return math.nan
    total = df.sum()
    pooled = (df * each).sum() / total
    statistic = total * math.log(pooled) - (df * np.log(each)).sum()
    correction = 1 + ((1 / df).sum() - 1 / total) / (3 * (len(each) - 1))
    return float(chdtrc(len(each) - 1, statistic / correction))
