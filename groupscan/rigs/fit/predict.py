"""Pins that a fitted rig predicts, with the fit's intervals (delta method)."""

import numpy as np
from scipy.special import stdtrit

from groupscan.rigs.fit.model import Rigs, derivatives
from groupscan.rigs.fit.solve import Solution
from groupscan.rigs.flight import sight_angle
from groupscan.rigs.given import Array

__all__ = ["predict"]


def predict(
    solution: Solution, distance_m: Array, radius_mm: float, pin: int | None, confidence: float
) -> tuple[Array, Array]:
    """Return pin positions and their half widths, both (b, d), mm.

    Parameters
    ----------
    solution : Solution
        Of b data sets.
    distance_m : (d,) array
    radius_mm : float
    pin : int or None
        The pin held at the groups from which positions are counted, down; None counts from the
        peep's line.
    confidence : float
    """

    def positions(rigs: Rigs) -> Array:
        angle = sight_angle(
            rigs.speed_mps[:, np.newaxis],
            # Noise can ask for less drag than none.
            np.maximum(rigs.drag_per_m, 0.0)[:, np.newaxis],
            distance_m,
            peep_m=rigs.peep_mm[:, np.newaxis] / 1000,
        )
        from_ = 0.0 if pin is None else rigs.tangent[:, [pin]]
        position: Array = radius_mm * (np.tan(angle) - from_)
        return position

    gradients = derivatives(positions, solution.q, solution.held)
    half = []
    for gradient in gradients.swapaxes(0, 1):
        se, df = solution.spread(gradient)
        half.append(se * stdtrit(np.minimum(df, 1e10), (1 + confidence) / 2))
    return positions(solution.rigs), np.stack(half, axis=1)
