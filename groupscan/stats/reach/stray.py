"""Groups whose centres stray from the fit: days and sight marks that move whole groups at once.

Shots of one group that go astray together are worth fewer than they are: the centre rests on the
number of groups, and the scatter of the next arrow, on a day of its own, holds the wander of the
centres, too. `allow_for` puts both into a fitted growth.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

from groupscan.stats.reach.growth import Growth

__all__ = ["Stray", "allow_for", "measure_stray"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Stray:
    """Mean squares of groups' centres about the fit, and of shots about their centres.

    Attributes
    ----------
    between, within : float
        Over sigma^2 of the reference distance, mm^2; both axes pooled.
    df_between, df_within : int
        Their degrees of freedom; 0 or less where there are too few groups, or shots.
    size : float
        Shots a group: their mean.
    """

    between: float
    within: float
    df_between: int
    df_within: int
    size: float

    @property
    def told(self) -> bool:
        """Whether there is anything to compare."""
        return min(self.df_between, self.df_within) > 0 and self.within > 1e-12 * self.between

    @property
    def p(self) -> float:
        """The p-value of "the centres stray by the scatter alone" (F test of lack of fit)."""
        if not self.told:
            return math.nan
        return float(fdtrc(self.df_between, self.df_within, self.between / self.within))


def measure_stray(
    growth: Growth, xy_mm: Array, distance_m: Array, group: NDArray[np.intp] | None
) -> Stray:
    """Measure how the groups' centres stray from the fit.

    Parameters
    ----------
    growth : Growth
        The fit.
    xy_mm : (n, 2) array, mm
    distance_m : (n,) array, m
    group : (n,) array of int, or None
        Groups are those given, apart by distance.

    Examples
    --------
    >>> from groupscan.stats.reach.growth import fit_growth
    >>> at = np.full(4, 20.0)
    >>> shots = np.array([(0.0, 1), (1, 0), (9, 10), (10, 9)])
    >>> measure_stray(fit_growth(shots, at), shots, at, np.array([0, 0, 1, 1])).p < 0.05
    True
    """
    keys = np.stack([distance_m, np.zeros(len(xy_mm)) if group is None else group])
    names, member = np.unique(keys, axis=1, return_inverse=True)
    member = member.ravel()
    counts = np.bincount(member)
    node = int(growth.weight.argmax())
    distances, at = np.unique(distance_m, return_inverse=True)
    places = [growth.at(float(distance)) for distance in distances]
    centre = np.array([place[0][node] for place in places])[at]
    shot_sd = np.sqrt([place[1][node] for place in places])[at]
    left = (xy_mm - centre) / shot_sd[:, None]
    means = np.stack([np.bincount(member, axis) / counts for axis in left.T], axis=1)
    between = float((counts[:, None] * means**2).sum())
    within = float(((left - means[member]) ** 2).sum())
    df_between = 2 * (names.shape[1] - growth.coefficients.shape[1])
    df_within = 2 * (len(xy_mm) - names.shape[1])
    return Stray(
        between / max(df_between, 1),
        within / max(df_within, 1),
        df_between,
        df_within,
        len(xy_mm) / names.shape[1],
    )


def allow_for(growth: Growth, stray: Stray) -> Growth:
    """Return the growth with the wander of the centres in its scatter and in its doubts.

    Notes
    -----
    The variance of an arrow on a day of its own is B/m + (1 - 1/m) W, with B and W the mean squares
    and m the shots a group (B no less than W), on Satterthwaite's degrees of freedom. The fitted
    centre's variance is B over the shots' number.

    References
    ----------
    F. E. Satterthwaite, "An approximate distribution of estimates of variance components",
    Biometrics Bulletin 2 (1946) 110-114.
    """
    if not stray.told or stray.size <= 1:
        return growth
    between = max(stray.between, stray.within)
    parts = between / stray.size, (1 - 1 / stray.size) * stray.within
    total = sum(parts)
    df = total**2 / (parts[0] ** 2 / stray.df_between + parts[1] ** 2 / stray.df_within)
    # One axis; at least the two that an ellipse needs, at most what the fit has.
    one_axis = int(min(max(df / 2, 1.0), growth.df))
    trace = np.trace(growth.scatter, axis1=1, axis2=2)[:, None, None]
    return replace(
        growth,
        df=one_axis,
        scatter=growth.scatter / trace * (2 * one_axis * total),
        inverse=growth.inverse * (between / total),
    )
