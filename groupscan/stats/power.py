"""Power: how likely a comparison of two groups is to see what is there, and for how many arrows.

The model of every function: independent shots, normal, the same standard deviation sigma in x and
y; the two groups may differ in size. "Each" is the number of arrows in each of two equal groups.

===================  =========================================================================
decision             rule whose power is given
===================  =========================================================================
offset               Hotelling's two-sample T² with pooled covariance, p below `level`; or its
                     circular twin, which pools one sigma over both axes
sigma ratio          F test of the two pooled variances, 2 (n - 1) degrees of freedom each
equivalence          the upper limit of the distance between the centres, the largest one-sided t
                     limit of any of its components, lies within the tolerance
===================  =========================================================================

Numbers that are NaN give NaN; groups too small for the test never see anything, so that their
power is 0.
"""

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri, chndtr, fdtr, fdtrc, fdtri, ncfdtr, stdtr, stdtrit

from groupscan.errors import StatisticsError
from groupscan.stats.inputs import read_positive, read_share

__all__ = [
    "arrows_for_equivalence",
    "arrows_for_offset",
    "arrows_for_sigma_ratio",
    "power_equivalence",
    "power_offset",
    "power_sigma_ratio",
]

# Past this the tables that a plan could be made from end; nobody shoots so many arrows.
MOST_ARROWS = 1_000_000

# An offset so large is seen by any test; the square of much more is no number any more.
_MOST_SIGMAS = 1e100

# Nodes for the sample covariance, two chi-squares in their probability and one normal, and the
# directions tried: together they leave less than 0.002 in the power.
_CHI_NODES, _CHI_WEIGHTS = np.polynomial.legendre.leggauss(12)
_NORMAL_NODES, _NORMAL_WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
_ANGLES = np.linspace(-math.pi / 2, math.pi / 2, 65)[1:-1]

Array = NDArray[np.float64]


def power_offset(
    n_first: float,
    n_second: float,
    offset_mm: float,
    sigma_mm: float,
    *,
    level: float = 0.05,
    circular: bool = False,
    df: int | None = None,
) -> float:
    """Return the probability that the T² test sees an offset between two group centres.

    Parameters
    ----------
    n_first, n_second : float
        Arrows in each group; a fraction where blocks make them worth less.
    offset_mm : float, mm
        True distance between the centres.
    sigma_mm : float, mm
        Per-axis standard deviation of the shots, the same in both groups.
    level : float, default 0.05
        Level of the test: its rate of false alarms where the centres are one.
    circular : bool, default False
        Power of the test that takes sigma for the same in x and y.
    df : int, optional
        Degrees of freedom of one axis where blocks take some, or other groups add to them;
        n1 + n2 - 2 by default.

    Returns
    -------
    float
        Upper tail of the non-central F with 2 and df - 1 degrees of freedom (circular: 2 df) and
        non-centrality n1 n2/(n1 + n2) (offset/sigma)²; 0 where there are too few for the test.

    Raises
    ------
    StatisticsError
        If the level does not lie between 0 and 1.

    References
    ----------
    T. W. Anderson, "An Introduction to Multivariate Statistical Analysis", 3rd edition (2003),
    section 5.2.2: T² has a non-central F distribution.

    Examples
    --------
    >>> round(power_offset(10, 10, 20.0, 20.0), 4)
    0.4325
    """
    level = read_share(level, "level")
    one_axis = n_first + n_second - 2 if df is None else df
    left = 2 * one_axis if circular else one_axis - 1
    if math.isnan(offset_mm + sigma_mm):
        return math.nan
    if min(n_first, n_second) <= 0 or left < 1:
        return 0.0
    if sigma_mm == 0:
        return 1.0 if offset_mm else math.nan
    apart = min(offset_mm / sigma_mm, _MOST_SIGMAS)
    shift = n_first * n_second / (n_first + n_second) * apart**2
    missed = math.nan
    while math.isnan(missed):
        # Far out the series is lost here and there. Half the shift is missed more often, and there
        # still less than once in 1e100: what the step takes from the power is nothing.
        missed = float(ncfdtr(2, left, shift, fdtri(2, left, 1 - level)))
        shift /= 2
    return 1 - missed


def arrows_for_offset(
    offset_mm: float,
    sigma_mm: float,
    *,
    power: float = 0.8,
    level: float = 0.05,
    circular: bool = False,
) -> int:
    """Return how many arrows each group needs to see an offset.

    Parameters
    ----------
    offset_mm, sigma_mm, level, circular
        As for `power_offset`; both lengths more than zero.
    power : float, default 0.8
        Probability wanted of seeing it.

    Returns
    -------
    int
        The smallest number, each.

    Raises
    ------
    StatisticsError
        If an input is not sensible, or a million arrows would not do.

    Examples
    --------
    >>> arrows_for_offset(20.0, 20.0)
    21
    """
    ratio = read_positive(offset_mm, "offset") / read_positive(sigma_mm, "sigma")
    return _fewest(
        lambda n: power_offset(n, n, ratio, 1.0, level=level, circular=circular),
        power,
        f"an offset of {ratio:.2g} sigma",
    )


def power_sigma_ratio(
    n_first: int,
    n_second: int,
    ratio: float,
    *,
    level: float = 0.05,
    one_sided: bool = False,
) -> float:
    """Return the probability that the F test sees that one build is wider than the other.

    Parameters
    ----------
    n_first, n_second : int
        Arrows in each group.
    ratio : float
        True sigma of the first group over that of the second; one-sided: the suspected wider one
        comes first.
    level : float, default 0.05
        Level of the test.
    one_sided : bool, default False
        Whether only "the first is wider" was asked before shooting.

    Returns
    -------
    float
        0 where a group has fewer than two arrows.

    Raises
    ------
    StatisticsError
        If the level does not lie between 0 and 1.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.9, for the test; its power
    follows, since the ratio of sample variances is ratio² times a central F.

    Examples
    --------
    >>> round(power_sigma_ratio(10, 10, 1.5), 4)
    0.3828
    """
    level = read_share(level, "level")
    if math.isnan(ratio):
        return math.nan
    df_first, df_second = 2 * (n_first - 1), 2 * (n_second - 1)
    if min(df_first, df_second) < 1:
        return 0.0
    square = ratio * ratio
    if square == 0 or math.isinf(square):
        return 0.0 if one_sided and square == 0 else 1.0
    tail = level if one_sided else level / 2
    seen = float(fdtrc(df_first, df_second, fdtri(df_first, df_second, 1 - tail) / square))
    if not one_sided:
        seen += float(fdtr(df_first, df_second, fdtri(df_first, df_second, tail) / square))
    return seen


def arrows_for_sigma_ratio(
    ratio: float, *, power: float = 0.8, level: float = 0.05, one_sided: bool = False
) -> int:
    """Return how many arrows each build needs to see that one is wider than the other.

    Parameters
    ----------
    ratio : float
        Wider sigma over tighter sigma; below 1 it is turned round.
    power : float, default 0.8
        Probability wanted of seeing it.
    level, one_sided
        As for `power_sigma_ratio`.

    Returns
    -------
    int
        The smallest number, each.

    Raises
    ------
    StatisticsError
        If an input is not sensible, or a million arrows would not do.

    Examples
    --------
    >>> arrows_for_sigma_ratio(1.5)
    26
    """
    ratio = read_positive(ratio, "sigma ratio")
    wider = max(ratio, 1 / ratio)
    return _fewest(
        lambda n: power_sigma_ratio(n, n, wider, level=level, one_sided=one_sided),
        power,
        f"a sigma ratio of {wider:.3g}",
    )


def power_equivalence(
    n_first: float,
    n_second: float,
    offset_mm: float,
    tolerance_mm: float,
    sigma_mm: float,
    *,
    level: float = 0.05,
    df: int | None = None,
) -> float:
    """Return the probability that two groups are declared together within a tolerance.

    Parameters
    ----------
    n_first, n_second : float
        As for `power_offset`.
    offset_mm : float, mm
        True distance between the centres.
    tolerance_mm : float, mm
        The tuner's own: centres closer than this count as together.
    sigma_mm : float, mm
        Per-axis standard deviation of the shots, the same in both groups.
    level : float, default 0.05
        Rate at which centres exactly a tolerance apart are called together.
    df : int, optional
        As for `power_offset`.

    Returns
    -------
    float
        At `offset_mm` = `tolerance_mm` this is the rate of false "together", at most `level`; 0
        where the groups are too small.

    Raises
    ------
    StatisticsError
        If the level does not lie between 0 and 1.

    Notes
    -----
    Given the sample covariance S, pooled on n1 + n2 - 2 degrees of freedom, the centres seen a
    distance r apart are called together where r cos(a) + t se(a) stays within the tolerance for
    every angle a from the offset, se(a) from S in that direction, and t for what of the `level`
    the lower end of the same interval, an ellipse, leaves to its upper. S does not depend
    on the offset and knows no direction, so that the largest such r has the same distribution
    whatever the offset; its square is compared with the non-central chi-square of the distance
    seen, and averaged over S (Bartlett's factors).

    References
    ----------
    R. L. Berger and J. C. Hsu, "Bioequivalence trials, intersection-union tests and equivalence
    confidence sets", Statistical Science 11 (1996) 283-319.

    Examples
    --------
    >>> round(power_equivalence(20, 20, 0.0, 20.0, 20.0), 2)
    0.61
    """
    level = read_share(level, "level", below=0.5)
    if math.isnan(offset_mm + tolerance_mm + sigma_mm):
        return math.nan
    left = n_first + n_second - 2 if df is None else df
    if min(n_first, n_second) <= 0 or left < 2 or tolerance_mm <= 0:
        return 0.0
    if sigma_mm == 0:
        return float(offset_mm < tolerance_mm)
    unit = sigma_mm * math.sqrt(1 / n_first + 1 / n_second)
    edge, weight = _farthest_together(tolerance_mm / unit, left, level)
    return float(weight @ chndtr(edge**2, 2, (offset_mm / unit) ** 2))


def arrows_for_equivalence(
    offset_mm: float,
    tolerance_mm: float,
    sigma_mm: float,
    *,
    power: float = 0.8,
    level: float = 0.05,
) -> int:
    """Return how many arrows each group needs to be declared together within a tolerance.

    Parameters
    ----------
    offset_mm, tolerance_mm, sigma_mm, level
        As for `power_equivalence`; the offset is smaller than the tolerance, often 0.
    power : float, default 0.8
        Probability wanted of declaring it.

    Returns
    -------
    int
        The smallest number, each.

    Raises
    ------
    StatisticsError
        If an input is not sensible, or a million arrows would not do.

    Examples
    --------
    >>> arrows_for_equivalence(0.0, 20.0, 20.0) > arrows_for_equivalence(0.0, 40.0, 20.0)
    True
    """
    tolerance = read_positive(tolerance_mm, "tolerance") / read_positive(sigma_mm, "sigma")
    offset = offset_mm / sigma_mm
    if not 0 <= offset < tolerance:
        raise StatisticsError(
            f"offset {offset_mm!r} mm must be 0 or more and less than the tolerance"
            f" {tolerance_mm:g} mm: centres further apart are never together"
        )
    return _fewest(
        lambda n: power_equivalence(n, n, offset, tolerance, 1.0, level=level),
        power,
        f"a tolerance of {tolerance:.2g} sigma",
    )


def _farthest_together(tolerance: float, df: float, level: float) -> tuple[Array, Array]:
    """Return the largest distances seen that still count as together, and their weights.

    Distances in units of the offset's standard error, one for each sample covariance.
    """
    probability, chi_weight = (1 - _CHI_NODES) / 2, _CHI_WEIGHTS / 2
    first = np.sqrt(chdtri(df, probability) / df)[:, None, None]
    second = np.sqrt(chdtri(df - 1, probability) / df)[None, :, None]
    slant = _NORMAL_NODES[None, None, :] / math.sqrt(df)
    cosine, sine = np.cos(_ANGLES), np.sin(_ANGLES)
    along = first[..., None] * cosine + slant[..., None] * sine
    error = np.hypot(along, second[..., None] * sine)
    # The share of far offsets that the other end of the interval, the T² ellipse, leaves out.
    ellipse = math.sqrt(2 * df / (df - 1) * float(fdtri(2, df - 1, 1 - level)))
    student = float(stdtrit(df, 1 - level + float(stdtr(df, -ellipse))))
    left = tolerance - student * error
    farthest = np.maximum((left / cosine).min(axis=-1), 0.0)
    normal_weight = _NORMAL_WEIGHTS / _NORMAL_WEIGHTS.sum()
    weight = chi_weight[:, None, None] * chi_weight[None, :, None] * normal_weight
    return farthest.ravel(), weight.ravel()


def _fewest(seen_by: Callable[[int], float], power: float, what: str) -> int:
    """Return the smallest number of arrows whose power is enough: doubling, then halving."""
    power = read_share(power, "power")
    enough = 2
    while seen_by(enough) < power:
        enough *= 2
        if enough > MOST_ARROWS:
            raise StatisticsError(f"{what} is beyond {MOST_ARROWS:,} arrows a group; ask for more")
    too_few = enough // 2
    while enough - too_few > 1:
        middle = (enough + too_few) // 2
        if seen_by(middle) < power:
            too_few = middle
        else:
            enough = middle
    return enough
