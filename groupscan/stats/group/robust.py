"""The spatial median: a centre that one wild shot cannot carry away."""

import numpy as np
from numpy.typing import NDArray

__all__ = ["spatial_median"]

Array = NDArray[np.float64]

_STEPS = 200
_CLOSE = 1e-12
_HALVINGS = 20


def spatial_median(xy_mm: Array) -> tuple[float, float]:
    """Return the point whose summed distance to all shots is smallest.

    Parameters
    ----------
    xy_mm : (n, 2) array, mm

    Returns
    -------
    x, y : float, mm
        Where an even number of shots on a line leaves a whole stretch, a point of it.

    Notes
    -----
    Weiszfeld's iteration with the correction of Vardi and Zhang, which may end on a shot: that
    shot is the median where the unit pulls of all others sum to no more than its own count. Away
    from the shots the sum is smooth, and a Newton step, halved where it leaps too far, is taken
    where it gains more.

    References
    ----------
    Y. Vardi and C.-H. Zhang, "The multivariate L1-median and associated data depth", Proceedings
    of the National Academy of Sciences 97 (2000) 1423-1426.

    Examples
    --------
    >>> spatial_median(np.array([(12.0, -7), (-5, 10), (3, 4), (-14, -2), (9, 15)]))
    (3.0, 4.0)
    """
    origin = xy_mm.mean(axis=0)
    shots = xy_mm - origin
    scale = float(np.abs(shots).max())
    here = np.zeros(2)
    if scale > 0:
        for _ in range(_STEPS):
            nearest = shots[np.hypot(*(shots - here).T).argmin()]
            pull, own, _ = _pull(shots, nearest, scale)
            if np.hypot(*pull) <= own:
                here = nearest
                break
            step = _step(shots, here, scale)
            here = here + step
            if np.hypot(*step) <= _CLOSE * scale:
                break
    x, y = here + origin
    return float(x), float(y)


def _pull(shots: Array, at: Array, scale: float) -> tuple[Array, int, Array]:
    """Return the summed unit pulls of the shots elsewhere, how many lie here, and 1/distances."""
    towards = shots - at
    away = np.hypot(*towards.T)
    elsewhere = away > _CLOSE * scale
    inverse = np.where(elsewhere, 1 / np.where(elsewhere, away, 1.0), 0.0)
    return inverse @ towards, int((~elsewhere).sum()), inverse


def _step(shots: Array, here: Array, scale: float) -> Array:
    pull, own, inverse = _pull(shots, here, scale)
    length = float(np.hypot(*pull))
    kept = max(0.0, 1 - own / length) if length > 0 else 0.0
    weiszfeld: Array = kept * pull / inverse.sum()
    towards = (shots - here) * inverse[:, None]
    bend = inverse.sum() * np.eye(2) - (towards * inverse[:, None]).T @ towards
    if own or np.linalg.det(bend) <= _CLOSE * inverse.sum() ** 2:
        return weiszfeld
    newton: Array = np.linalg.solve(bend, pull)

    def total(step: Array) -> float:
        return float(np.hypot(*(shots - here - step).T).sum())

    # A whole step may leap over a narrow valley; a part of it goes down, as the sum is convex.
    bar = total(weiszfeld)
    for _ in range(_HALVINGS):
        if total(newton) <= bar:
            return newton
        newton = newton / 2
    return weiszfeld
