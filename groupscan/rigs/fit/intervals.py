"""Intervals of fitted speed, drag and peep height: profile likelihood with Student's t.

A value belongs to the interval where holding it, and fitting the rest again, raises the sum of
squares by no more than t^2. Unlike a standard error either side, that does not depend on whether
the speed is fitted or its inverse square, so that weak data get the lopsided interval that they
deserve.

References
----------
D. M. Bates and D. G. Watts, Nonlinear Regression Analysis and Its Applications, Wiley 1988,
chapter 6.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import stdtrit

from groupscan.rigs.fit.design import Design, Seen
from groupscan.rigs.fit.model import PEEPS_MM, SPEEDS_MPS, most_drag
from groupscan.rigs.fit.solve import Solution, solve
from groupscan.rigs.given import Array

__all__ = ["gradient_of", "holds", "limits", "value_of"]

# Of the interval's half width.
NEAR = 1e-4


def value_of(solution: Solution, name: str) -> Array:
    """Return the fitted "speed", "drag" or "peep", (b,)."""
    rigs = solution.rigs
    return {"speed": rigs.speed_mps, "drag": rigs.drag_per_m, "peep": rigs.peep_mm}[name]


def gradient_of(solution: Solution, name: str) -> Array:
    """Return how it hangs on the parameters, (b, p)."""
    free = [one for one in ("speed", "drag", "peep") if one not in solution.held]
    gradient = np.zeros_like(solution.q)
    speed = solution.rigs.speed_mps
    if name == "speed":
        gradient[:, 0] = -(speed**3) / 2
    elif name == "drag":
        gradient[:, free.index("drag")] = speed**2
        if "speed" in free:
            gradient[:, 0] = -solution.rigs.drag_per_m * speed**2
    else:
        gradient[:, free.index("peep")] = 1.0
    return gradient


def _student(solution: Solution, name: str, confidence: float) -> tuple[Array, Array]:
    """Return standard error and Student's factor."""
    se, df = solution.spread(gradient_of(solution, name))
    return se, stdtrit(np.minimum(df, 1e10), (1 + confidence) / 2)


def _rise(design: Design, seen: Seen, solution: Solution, name: str, value: Array) -> Array:
    """Return the rise of the sum of squares where a value is held."""
    held = {**solution.held, name: value}
    refit = solve(design, seen, held, start=solution.rigs, sigma=solution.sigma)
    rise: Array = np.maximum(refit.misfit - solution.misfit, 0.0)
    return rise


def holds(
    design: Design, seen: Seen, solution: Solution, name: str, truth: float, confidence: float
) -> NDArray[np.bool_]:
    """Return whether each data set's interval holds the truth, without finding its ends."""
    _, student = _student(solution, name, confidence)
    rise = _rise(design, seen, solution, name, np.full(len(seen.height_mm), truth))
    within: NDArray[np.bool_] = rise <= student**2
    return within


def limits(
    design: Design, seen: Seen, solution: Solution, name: str, confidence: float
) -> tuple[float, float]:
    """Return the limits for a single data set; infinite where there is none in reach.

    Parameters
    ----------
    design, seen, solution
        Of one data set.
    name : {'speed', 'drag', 'peep'}
    confidence : float

    Returns
    -------
    tuple of float
    """
    se, student = _student(solution, name, confidence)
    if not np.isfinite(se * student).all():
        return -np.inf, np.inf
    most = most_drag(design)
    bounds = {"speed": SPEEDS_MPS, "drag": (-most, most), "peep": PEEPS_MM}[name]
    middle, width, factor = (
        float(part[0]) for part in (value_of(solution, name), se * student, student)
    )

    def short_of(value: float) -> float:
        rise = _rise(design, seen, solution, name, np.array([value]))
        return math.sqrt(float(rise[0])) - factor

    def end(way: int, bound: float) -> float:
        near, far = middle, middle + way * width
        try:
            while True:
                far = bound if way * (far - bound) > 0 else far
                if short_of(far) > 0:
                    return float(brentq(short_of, near, far, xtol=NEAR * width))
                if far == bound:
                    return way * math.inf
                near, far = far, far + 1.5 * (far - near)
        except ValueError:  # the refit's arrows fall short of a group, or it goes astray
            return way * math.inf

    return end(-1, bounds[0]), end(1, bounds[1])
