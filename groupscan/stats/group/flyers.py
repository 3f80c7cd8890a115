"""Flyers: the shot farthest out, tested against its group; flagged, never removed."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betainc

__all__ = ["FLYER_LEVEL", "Flyer", "find_flyer", "flyer_p"]

Array = NDArray[np.float64]

#: Chance that a group without a flyer has a shot flagged.
FLYER_LEVEL: Final = 0.05


@dataclass(frozen=True)
class Flyer:
    """The shot that lies farthest out for the shape of its group.

    Attributes
    ----------
    shot : int
        Its place, from 1, in the order given.
    name : str
        What it is called: its place, or its name where the shots have names.
    p : float
        Chance that one of this many shots of a normal rig lies so far out or farther.
    flagged : bool
        Whether `p` is below `FLYER_LEVEL`.
    farther : str
        What the shot farthest from the centre is called where that is another, which lies where
        the group is long; empty otherwise.
    """

    shot: int
    name: str
    p: float
    flagged: bool
    farther: str = ""


def flyer_p(deviation: ArrayLike) -> Array:
    """Return each shot's p-value as the group's only outlier, corrected for the choice among all.

    Parameters
    ----------
    deviation : (..., n, k) array_like, mm
        Shots about their centre, in k coordinates (2; or 1 for Grubbs' test of one axis);
        n at least k + 2, and not all on one line.

    Returns
    -------
    (..., n) array
        The smallest is below a level in at most that share of normal groups.

    Notes
    -----
    With D^2 the squared Mahalanobis distance from the centre by the group's own covariance,
    n D^2 / (n - 1)^2 of one shot is Beta(k/2, (n - k - 1)/2); Wilks' scatter ratio is one less
    that. The smallest p of n shots is multiplied by n (Bonferroni), which is close to exact,
    since two shots of one group can hardly both lie so far out. One flyer is sought: two on the
    same side can hide one another.

    References
    ----------
    S. S. Wilks, "Multivariate statistical outliers", Sankhya A 25 (1963) 407-426. For k = 1:
    F. E. Grubbs, "Procedures for detecting outlying observations in samples", Technometrics 11
    (1969) 1-21.

    Examples
    --------
    >>> shots = np.array([(0, 0), (1, 0), (0, 1), (-1, 0), (0, -1), (1, 1), (30, 4)], float)
    >>> flyer_p(shots - shots.mean(axis=0)).argmin()
    np.int64(6)
    """
    away = np.asarray(deviation, float)
    n, k = away.shape[-2:]
    scatter = np.swapaxes(away, -1, -2) @ away
    scaled = np.linalg.solve(scatter, np.swapaxes(away, -1, -2))
    share = n / (n - 1) * (away * np.swapaxes(scaled, -1, -2)).sum(axis=-1)
    p: Array = np.minimum(n * betainc((n - k - 1) / 2, k / 2, np.clip(1 - share, 0, 1)), 1.0)
    return p


def find_flyer(deviation: Array, names: Sequence[str] | None = None) -> Flyer | None:
    """Return the shot farthest out of one group about its centre; None where no test is possible.

    Parameters
    ----------
    deviation : (n, 2) array, mm
        Four shots at least; no test where all, or all but one, lie on one line.
    names : (n,) sequence of str, optional
        What each shot is called.
    """
    n = len(deviation)
    if n < 4:
        return None
    if _on_a_line(deviation):
        return None
    p = flyer_p(deviation)
    shot = int(p.argmin())
    # Beside shots that lie on a line, as places in whole mm may, any other is infinitely far out.
    if _on_a_line(np.delete(deviation, shot, axis=0)):
        return None
    away = np.hypot(*deviation.T)
    called = [str(place + 1) for place in range(n)] if names is None else names
    farther = called[int(away.argmax())] if away.max() > away[shot] else ""
    return Flyer(shot + 1, called[shot], float(p[shot]), bool(p[shot] < FLYER_LEVEL), farther)


def _on_a_line(shots: Array) -> bool:
    """Return whether the shots lie on one line, but for rounding."""
    narrow, wide = np.linalg.svd(shots - shots.mean(axis=0), compute_uv=False)[::-1]
    return bool(narrow <= 1e-6 * wide)
