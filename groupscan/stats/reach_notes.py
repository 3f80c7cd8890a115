"""What measured shots cannot say about reach, in plain sentences."""

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

from groupscan.stats.growth import Growth
from groupscan.stats.intervals import Estimate
from groupscan.stats.reach_result import Reach

__all__ = ["reach_notes", "stray_p"]

DOUBTFUL_P = 0.05

Array = NDArray[np.float64]


def stray_p(
    growth: Growth, xy_mm: Array, distance_m: Array, group: NDArray[np.intp] | None
) -> float:
    """Return the p-value of "the groups' centres differ from the fit by their scatter alone".

    An F test of lack of fit, both axes pooled. Groups are those given, apart by distance.

    Parameters
    ----------
    growth : Growth
        The fit.
    xy_mm : (n, 2) array, mm
    distance_m : (n,) array, m
    group : (n,) array of int, or None

    Returns
    -------
    float
        NaN where there are no more groups than the fit has columns, or no scatter inside them.

    Examples
    --------
    >>> from groupscan.stats.growth import fit_growth
    >>> at = np.full(4, 20.0)
    >>> shots = np.array([(0.0, 1), (1, 0), (9, 10), (10, 9)])
    >>> stray_p(fit_growth(shots, at), shots, at, np.array([0, 0, 1, 1])) < 0.05
    True
    """
    keys = np.stack([distance_m, np.zeros(len(xy_mm)) if group is None else group])
    names, member = np.unique(keys, axis=1, return_inverse=True)
    member = member.ravel()
    counts = np.bincount(member)
    node = int(growth.weight.argmax())
    places = [growth.at(float(distance)) for distance in distance_m]
    shot_sd = np.sqrt([variance[node] for _, variance, _ in places])
    left = (xy_mm - np.array([centre[node] for centre, _, _ in places])) / shot_sd[:, None]
    means = np.stack([np.bincount(member, axis) / counts for axis in left.T], axis=1)
    between = float((counts[:, None] * means**2).sum())
    within = float(((left - means[member]) ** 2).sum())
    df_between = 2 * (names.shape[1] - growth.coefficients.shape[1])
    df_within = 2 * (len(xy_mm) - names.shape[1])
    if df_between < 1 or df_within < 1 or within <= 1e-12 * between or within == 0:
        return math.nan
    return float(fdtrc(df_between, df_within, between / df_between / (within / df_within)))


def reach_notes(
    reach: Reach,
    nearest: Estimate,
    span: tuple[float, float],
    *,
    shape_p: float,
    wander_p: float,
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
    shape_p, wander_p : float
        p-values of a round scatter, and of centres that do not wander.
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
            f"Only {measured[0]:.4g} m was shot: how bias and scatter grow is not measured. The "
            "bias is taken for the same angle, the scatter for growing with distance up to its "
            "square. Shoot a group at another distance."
        )
    if reach.shape == "elliptical" and shape_p < DOUBTFUL_P:
        yield (
            f"The scatter is longer than wide, more than chance explains (p = {shape_p:.2g}): "
            "the chance is that of an ellipse."
        )
    if wander_p < DOUBTFUL_P:
        yield (
            "The centres of the groups stray more than the scatter inside them explains "
            f"(p = {wander_p:.2g}): arrows of one group go astray together, so that the intervals "
            "are too narrow. Check the sight mark of each distance, and shoot on several days."
        )


def _reach_notes(reach: Reach, nearest: Estimate, span: tuple[float, float]) -> Iterator[str]:
    wanted, measured, reliable = f"{reach.standard:.3g}", reach.measured_m, reach.reach_m.low
    if math.isnan(reliable):
        yield (
            f"At no distance down to {span[0]:.3g} m do these {reach.n} shots show {wanted} of "
            f"arrows inside: at {measured[0]:.4g} m the next one lands inside with probability "
            f"{nearest.value:.2f}, and in the long run as few as {nearest.low:.2f} may."
        )
        if nearest.value >= reach.standard:
            yield "The chance itself meets the standard there; more arrows may show it."
    elif reliable >= span[1]:
        yield (
            f"The standard still holds at {span[1]:.3g} m, the end of what these shots can speak "
            "of; shoot further out to learn where it falls."
        )
    if reach.basis == "extrapolated":
        side = "beyond the longest" if reliable > measured[-1] else "nearer than the shortest"
        yield f"The reach is extrapolated: it lies {side} distance measured."
    if span[1] < measured[-1]:
        yield (
            f"Nothing was measured near distances just past {span[1]:.3g} m: the search for the "
            "reach ends there. Shoot a group in the gap."
        )
