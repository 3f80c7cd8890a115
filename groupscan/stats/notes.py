"""What one group of shots cannot say, and why, in plain sentences."""

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from groupscan.stats.intervals import Estimate
from groupscan.stats.results import Group

__all__ = ["group_notes"]

NOTED_SHARE = 0.01
NOTED_CIRCULARITY_P = 0.01

Array = NDArray[np.float64]


def group_notes(group: Group, scatter: Array) -> Iterator[str]:
    """Yield what the group's shots cannot say, and why.

    Parameters
    ----------
    group : Group
        The measured group.
    scatter : (2, 2) array, mm^2
        Sums of squares and products of the shots about their centre.
    """
    n = group.n
    if n == 1:
        yield "One shot: its place is known, but neither the scatter nor the centre's error."
        return
    if not scatter.any():
        yield (
            "All shots lie at one point: no scatter was seen, so that nothing bounds sigma "
            "or the centre's error."
        )
        return
    if n == 2:
        yield "Two shots: no joint ellipse for the centre; the intervals are valid but very wide."
    if n == 3:
        yield "Three shots: the joint ellipse rests on one degree of freedom and is very wide."
    yield from _shape_notes(scatter, n)
    yield from _noise_notes(group)
    for name in ("extreme_spread", "mean_radius", "figure_of_merit"):
        seen: Estimate = getattr(group, name)
        if not seen.low <= seen.value <= seen.high:
            side = "above" if seen.value > seen.high else "below"
            yield (
                f"The {name.replace('_', ' ')} seen lies {side} the interval for what groups of "
                f"{n} are expected to average."
            )


def _shape_notes(scatter: Array, n: int) -> Iterator[str]:
    for axis, name in enumerate("xy"):
        if scatter[axis, axis] == 0:
            yield f"All shots have the same {name}: nothing bounds sigma_{name} or that error."
    small, large = np.linalg.eigvalsh(scatter)
    circular = "sigma, R50, R90, the offset and the expected spreads assume a circular group"
    if n > 2 and small <= 1e-12 * large:
        yield f"All shots lie on one line: the ellipse has no width, and {circular}."
    elif n > 2:
        # Likelihood ratio of a circular against an elliptical normal: exact for two axes.
        p = (2 * math.sqrt(small * large) / (small + large)) ** (n - 2)
        if p < NOTED_CIRCULARITY_P:
            yield (
                f"The group is {math.sqrt(large / small):.1f} times as long as wide, more than "
                f"chance explains (p = {p:.2g}); {circular}."
            )


def _noise_notes(group: Group) -> Iterator[str]:
    share = group.measurement_share
    if share is None or share < NOTED_SHARE:
        return
    if share >= 1:
        yield (
            "The scatter seen is no more than the photo's own error: sigma cannot be told from 0, "
            "and its upper limit is that of the scatter seen."
        )
        return
    yield (
        f"The photo's own error makes up {share:.0%} of the variance seen; it is taken out of "
        "sigma, R50, R90 and the expected spreads, not out of the spreads seen."
    )
