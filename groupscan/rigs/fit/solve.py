"""Weighted least squares by Gauss-Newton, for many data sets at once."""

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from groupscan.rigs.fit.design import Design, Seen
from groupscan.rigs.fit.model import (
    Held,
    Rigs,
    derivatives,
    inside,
    outcomes,
    parameters,
    rigs_of,
)
from groupscan.rigs.given import Array

__all__ = ["Solution", "first_guess", "solve"]

MOST_STEPS = 40
# A step this small, in standard errors, changes no digit that is printed.
SMALL_STEP = 1e-5
# A shot's scatter at 1 m, mm, that no group undercuts; it keeps exact data from dividing by zero.
LEAST_SIGMA = 1e-7


@dataclass(frozen=True)
class Solution:
    """The fitted rigs of b data sets.

    Attributes
    ----------
    rigs : Rigs
    q : (b, p) array
        Parameters.
    held : Held
    sigma : (b,) array
        Scatter of one shot at 1 m, mm.
    df : (b,) array
        Degrees of freedom of sigma.
    misfit : (b,) array
        Sum of squares of heights and outside measurements in their standard errors.
    lack : (b,) array
        Weighted sum of squares of the groups' centres about the fit, at 1 m.
    used : (b,) array
        How many parameters the heights were used up for; the rest the outside measurements told.
    triangle : (b, p, p) array
        R of the weighted derivatives.
    share : (b, p, p) array
        Q'Q of the heights' rows.
    converged : (b,) array of bool
    """

    rigs: Rigs
    q: Array
    held: Held
    sigma: Array
    df: Array
    misfit: Array
    lack: Array
    used: Array
    triangle: Array
    share: Array
    converged: NDArray[np.bool_]

    def spread(self, gradient: Array) -> tuple[Array, Array]:
        """Return standard error and degrees of freedom of a function of the parameters.

        The heights' share of the variance rests on a sigma that was estimated, the outside
        measurements' share does not: the degrees of freedom follow by Satterthwaite's rule.

        Parameters
        ----------
        gradient : (b, p) array

        Returns
        -------
        tuple of (b,) array
        """
        turned = np.linalg.solve(self.triangle.swapaxes(1, 2), gradient[..., np.newaxis])[..., 0]
        variance = (turned**2).sum(axis=1)
        from_heights = np.einsum("bi,bij,bj->b", turned, self.share, turned)
        with np.errstate(divide="ignore", invalid="ignore"):
            df = self.df * (variance / from_heights) ** 2
        return np.sqrt(variance), df


def first_guess(design: Design, seen: Seen, held: Held) -> Rigs:
    """Return rigs to begin with: usual ones, or what was measured."""
    sets = len(seen.height_mm)
    outside = list(seen.outside.T)
    speed = outside.pop(0) if design.speed_se is not None else np.full(sets, 80.0)
    peep = outside.pop(0) if design.peep_se is not None else np.full(sets, 100.0)
    return Rigs(
        held.get("speed", speed),
        held.get("drag", np.full(sets, 1e-3)),
        held.get("peep", peep),
        np.full((sets, design.pins), 0.02),
    )


def solve(
    design: Design,
    seen: Seen,
    held: Held,
    *,
    start: Rigs | None = None,
    sigma: Array | None = None,
) -> Solution:
    """Fit the rigs.

    Parameters
    ----------
    design : Design
    seen : Seen
    held : Held
        What is not fitted.
    start : Rigs, optional
    sigma : (b,) array, optional
        Scatter of one shot at 1 m, mm. By default it is estimated: from inside the groups and from
        their centres about the fit together, as the fit to all single shots would.

    Returns
    -------
    Solution
    """
    n = len(design.distance_m)
    q = parameters(first_guess(design, seen, held) if start is None else start, held)
    target = np.concatenate([seen.height_mm, seen.outside], axis=1)
    root = np.sqrt(design.precision)
    outside = np.broadcast_to(1 / design.outside_se, seen.outside.shape)
    scatter = np.ones(len(seen.height_mm)) if sigma is None else sigma
    for _ in range(MOST_STEPS):
        left = target - outcomes(design, rigs_of(q, held))
        slopes = derivatives(partial(outcomes, design), q, held)
        weight = np.concatenate([root / scatter[:, np.newaxis], outside], axis=1)
        orthogonal, triangle = np.linalg.qr(slopes * weight[..., np.newaxis])
        lack = ((left[:, :n] * root) ** 2).sum(axis=1)
        used = (orthogonal[:, :n] ** 2).sum(axis=(1, 2))
        df = n + design.within_df - used
        misfit = ((left * weight) ** 2).sum(axis=1)
        before = scatter
        if sigma is None:
            with np.errstate(divide="ignore", invalid="ignore"):
                estimate = np.sqrt((seen.within + lack) / df)
            scatter = np.where(df > 1e-6, np.maximum(estimate, LEAST_SIGMA), np.nan_to_num(before))
        turned = np.einsum("bni,bn->bi", orthogonal, left * weight)
        step = np.linalg.solve(triangle, turned[..., np.newaxis])[..., 0]
        small = np.abs(turned).max(axis=1) < SMALL_STEP
        settled = np.abs(scatter / before - 1) < SMALL_STEP
        converged = small & (settled | (seen.outside.shape[1] == 0))
        q = np.where(small[:, np.newaxis], q, _stepped(design, q, step, held))
        if converged.all():
            break
    share = np.einsum("bni,bnj->bij", orthogonal[:, :n], orthogonal[:, :n])
    # Without outside measurements sigma scales all weights alike, and is known only now.
    scale = before / scatter
    if not seen.outside.shape[1]:
        triangle, misfit = triangle * scale[:, np.newaxis, np.newaxis], misfit * scale**2
    rigs = rigs_of(q, held)
    return Solution(rigs, q, held, scatter, df, misfit, lack, used, triangle, share, converged)


def _stepped(design: Design, q: Array, step: Array, held: Held) -> Array:
    """Return the parameters after a step, kept where arrows fly and their speed positive."""
    moved = q + step
    if "speed" not in held:
        moved[:, 0] = np.clip(moved[:, 0], q[:, 0] / 4, 4 * q[:, 0])
    return parameters(inside(design, rigs_of(moved, held)), held)
