"""What measured shots cannot say about reach, in plain sentences."""

import math
from collections.abc import Iterator

from groupscan.stats.intervals import Estimate
from groupscan.stats.reach.result import Reach
from groupscan.telling import chance, tied

__all__ = ["reach_notes"]

DOUBTFUL_P = 0.05


def reach_notes(
    reach: Reach,
    nearest: Estimate,
    span: tuple[float, float],
    *,
    shape_p: float,
    stray_p: float,
    told: bool,
) -> Iterator[str]:
    """Yield what these shots cannot say about reach, and why.

    Parameters
    ----------
    reach : Reach
        As measured.
    nearest : Estimate
        The chance at the shortest distance measured.
    span : tuple of float, m
        The distances that the shots can speak of.
    shape_p, stray_p : float
        p-values of a round scatter, and of centres that do not stray.
    told : bool
        Whether the groups were given, so that straying centres are allowed for.
    """
    measured = reach.measured_m
    if math.isnan(nearest.value):
        yield "Too few shots to see any scatter: no chance is given. Shoot more."
        return
    if math.isnan(nearest.low):
        yield (
            "The shots show no scatter: inside or outside is all that can be said, and nothing "
            "bounds it. Shoot more."
        )
        return
    yield from _reach_notes(reach, nearest, span)
    if len(measured) == 1:
        yield (
            f"Only {tied(measured[0], 'm', '.4g')} was shot: how bias and scatter grow is not "
            "measured. The bias is taken for the same angle, the scatter for growing with distance "
            "up to its square. Shoot a group at another distance."
        )
    if reach.shape == "elliptical" and shape_p < DOUBTFUL_P:
        yield (
            f"The scatter is longer than wide, more than chance explains ({chance(shape_p)}): "
            "the chance is that of an ellipse."
        )
    if stray_p < DOUBTFUL_P:
        meant = (
            "the intervals allow for it"
            if told
            else "the intervals are too narrow, unless the group or day of each shot is given"
        )
        yield (
            "The centres of the groups stray more than the scatter inside them explains "
            f"({chance(stray_p)}): arrows of one group go astray together; {meant}. Check the "
            "sight mark of each distance, and shoot on several days."
        )


def _reach_notes(reach: Reach, nearest: Estimate, span: tuple[float, float]) -> Iterator[str]:
    wanted, measured, reliable = f"{reach.standard:.3g}", reach.measured_m, reach.reach_m.low
    if math.isnan(reliable):
        yield (
            f"At no distance down to {tied(span[0], 'm')} do these {reach.n} shots show {wanted} "
            f"of arrows inside: at {tied(measured[0], 'm', '.4g')} the next one lands inside with "
            f"probability {nearest.value:.2f}, and in the long run as few as {nearest.low:.2f} may."
        )
        if nearest.value >= reach.standard:
            yield "The chance itself meets the standard there; more arrows may show it."
    elif reliable >= span[1]:
        yield (
            f"The standard still holds at {tied(span[1], 'm')}, the end of what these shots can "
            "speak of; shoot further out to learn where it falls."
        )
    if reach.basis == "extrapolated":
        side = "beyond the longest" if reliable > measured[-1] else "nearer than the shortest"
        yield f"The reach is extrapolated: it lies {side} distance measured."
    if span[1] < measured[-1]:
        yield (
            f"Nothing was measured near distances just past {tied(span[1], 'm')}: the search for "
            "the reach ends there. Shoot a group in the gap."
        )
