"""Which aim a shot was meant for, where a sheet has several."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["nearest_aims"]


def nearest_aims(xy_mm: ArrayLike, aims_mm: ArrayLike) -> NDArray[np.float64]:
    """Return the aim that lies nearest to each shot.

    Parameters
    ----------
    xy_mm : (n, 2) array_like, mm
    aims_mm : (m, 2) array_like, mm
        At least one.

    Returns
    -------
    (n, 2) array, mm
        Of aims at the same distance, the one given first.

    Examples
    --------
    >>> nearest_aims([(9, 1), (-8, 0)], [(-10, 0), (10, 0)]).tolist()
    [[10.0, 0.0], [-10.0, 0.0]]
    """
    xy = np.asarray(xy_mm, float).reshape(-1, 2)
    aims = np.asarray(aims_mm, float).reshape(-1, 2)
    away = np.hypot(*(xy[:, np.newaxis] - aims).transpose(2, 0, 1))
    nearest: NDArray[np.float64] = aims[away.argmin(axis=1)]
    return nearest
