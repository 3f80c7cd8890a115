"""How far chance carries an offset: for one look at the shots, for a few, or for any number.

Who looks after every end and stops at the first verdict gives chance many tries. A `Boundary` says
how many standard errors the true offset may lie from the one seen, at a level that already pays
for the looks:

==================  =====================================================================
looks               rule
==================  =====================================================================
one                 Student t and Hotelling T²
at most 12, stated  the same, each look at level/looks: the level is spent evenly
more, or any        a confidence sequence, which holds at all looks at once
==================  =====================================================================

The confidence sequence turns a test martingale round. For a true offset, T² has a known density;
for an offset that is itself drawn from a normal distribution with covariance PRIOR times that of
the shots, it has another; the ratio of the two, as shots come in, is a martingale with mean 1 (the
likelihood ratio of all that does not depend on units, tilt and ends' centres), which ever reaches
1/level with a probability of at most level (Ville). For p coordinates, df degrees of freedom and
g = PRIOR / (variance of the offset in units of one shot's),

    ratio = (1 + g)^(-p/2) [(1 + T²/df) / (1 + T²/(df (1 + g)))]^((df + 1)/2).

References
----------
T. L. Lai, "On confidence sequences", Annals of Statistics 4 (1976) 265-280. J. E. Jackson and R. A.
Bradley, "Sequential chi-square and T² tests", Annals of Mathematical Statistics 32 (1961)
1063-1077. W. J. Hall, R. A. Wijsman and J. K. Ghosh, "The relationship between sufficiency and
invariance with applications in sequential analysis", Annals of Mathematical Statistics 36 (1965)
575-614. M. F. Pérez-Ortiz, T. Lardy, R. de Heide and P. D. Grünwald, "E-statistics, group
invariance and anytime-valid testing", Annals of Statistics 52 (2024) 1410-1432.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtr, stdtrit

from groupscan.stats.offset.hotelling import critical_t2

__all__ = ["MOST_SPENT_LOOKS", "Boundary", "plan_boundary"]

# Up to here spending the level evenly asks for no more arrows than the sequence does, at 5 to 20
# shots a side.
MOST_SPENT_LOOKS = 12

# Spread of the offsets that the sequence is sharpest for: sqrt(2) sigma. It decides how many shots
# a verdict takes, never its error rate. Sharper ones serve 5 to 10 shots a side worse, wider ones
# 20 and more.
PRIOR = 2.0

# The one-sided limit of the sequence takes the side for sure, then for as likely as it is at that
# limit, and so on: each step leaves less than a hundredth of the error, since it nearly is sure.
_STEPS = 6

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Boundary:
    """Limits, in standard errors, at a level that already pays for the looks.

    Attributes
    ----------
    level : float or array
        Of each look, or of all together where `sequence` holds.
    sequence : bool
        Whether the limits hold at any number of looks.
    """

    level: float | Array
    sequence: bool = False

    def ellipse(self, df: ArrayLike, unit: ArrayLike) -> Array:
        """Return the radius of the joint region of the offset, in standard errors.

        Parameters
        ----------
        df : array_like
            Degrees of freedom of the offset's variance.
        unit : array_like
            Variance of the offset in units of one shot's: 1/n1 + 1/n2.

        Returns
        -------
        array
            Infinite where the shots are too few to exclude any offset.
        """
        if not self.sequence:
            return np.sqrt(critical_t2(df, self.level))
        return np.sqrt(_sequence_square(2, df, unit, self.level))

    def two_sided(self, df: ArrayLike, unit: ArrayLike) -> Array:
        """Return the half-width of the interval of one coordinate, in standard errors."""
        if not self.sequence:
            return np.asarray(stdtrit(df, 1 - self.level / 2))
        return np.sqrt(_sequence_square(1, df, unit, self.level))

    def one_sided(self, df: ArrayLike, unit: ArrayLike) -> Array:
        """Return how far a limit on one side lies from the value seen, in standard errors."""
        if not self.sequence:
            return np.asarray(stdtrit(df, 1 - self.level))
        return _sequence_one_sided(df, unit, self.level)

    def beside(self, df: ArrayLike) -> "Boundary":
        """Return the boundary of a one-sided limit that keeps the level beside the ellipse.

        An interval whose lower end is the ellipse's and whose upper end is one-sided would miss
        more than `level` of all far offsets: the one-sided rate and what little the ellipse
        misses in one direction. That little is taken off.
        """
        if self.sequence:
            return self
        missed = np.asarray(stdtr(df, -np.minimum(self.ellipse(df, 1.0), 1e150)))
        return replace(self, level=self.level - missed)


def plan_boundary(level: float, looks: float | None) -> Boundary:
    """Return the boundary for the looks that will be taken.

    Parameters
    ----------
    level : float
        Rate of false verdicts over all looks.
    looks : float or None
        Most looks that will be taken, infinite for any number; None for one.

    Examples
    --------
    >>> plan_boundary(0.05, None), plan_boundary(0.05, 5)
    (Boundary(level=0.05, sequence=False), Boundary(level=0.01, sequence=False))
    >>> plan_boundary(0.05, float("inf"))
    Boundary(level=0.05, sequence=True)
    """
    if looks is None or looks <= MOST_SPENT_LOOKS:
        return Boundary(level / (looks or 1))
    return Boundary(level, sequence=True)


def _sequence_square(
    coordinates: int, df: ArrayLike, unit: ArrayLike, level: float | Array
) -> Array:
    """Return the T² at which the martingale reaches 1/level; infinite where it never does."""
    df, g = np.asarray(df, float), PRIOR / np.asarray(unit, float)
    ratio = np.exp(2 / (df + 1) * (coordinates / 2 * np.log1p(g) - np.log(level)))
    rest = 1 - ratio / (1 + g)
    reached = rest > 0
    return np.where(reached, df * (ratio - 1) / np.where(reached, rest, 1.0), np.inf)


def _sequence_one_sided(df: ArrayLike, unit: ArrayLike, level: float | Array) -> Array:
    """Return the t at which the one-sided martingale reaches 1/level.

    Its prior is the half of the normal on one side: the ratio is twice the two-sided one times
    the posterior probability of that side, which is a Student t's on df + 1 degrees of freedom.
    """
    df, g = np.broadcast_arrays(np.asarray(df, float), PRIOR / np.asarray(unit, float))
    side = np.ones(df.shape)
    for _ in range(_STEPS):
        t = np.sqrt(_sequence_square(1, df, unit, 2 * level * side))
        # The limit of the posterior's t as t grows; what is infinite stays so.
        square = np.where(np.isfinite(t), t, 1e9) ** 2 / df
        shrunk = g / (1 + g) * square / (1 + square / (1 + g))
        side = stdtr(df + 1, np.sqrt((df + 1) * shrunk))
    return t
