"""The shape of a group: its main axis, height against width, and what such patterns usually mean.

Two exact tests, the second asked only where the first speaks, so that a round rig is given a
pattern in at most one group of twenty (`PATTERN_LEVEL`): sphericity (is it round at all?), then
Pitman and Morgan's (is the height scatter the larger, or the sideways one?).
"""

import math
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr, stdtrit

from groupscan.stats.intervals import Estimate

__all__ = [
    "PATTERN_CAUSES",
    "PATTERN_LEVEL",
    "Pattern",
    "Shape",
    "axis_slack",
    "height_ratio_limits",
    "measure_shape",
    "pitman_morgan_p",
    "principal_axes",
    "sphericity_p",
]

Pattern = Literal["vertical", "horizontal", "slanted", "round", "not enough arrows"]

Array = NDArray[np.float64]

#: Chance that a round rig's group is given a pattern.
PATTERN_LEVEL: Final = 0.05

#: What the trade looks at first for each pattern: common practice, no source.
PATTERN_CAUSES: Final[dict[Pattern, str]] = {
    "vertical": "draw length, anchor, nocking point or rest",
    "horizontal": "torque of the bow hand, cant, wind or spine",
    "slanted": "a canted bow, or two of the usual causes at once",
}

# Below this ratio of the variances along the two axes, shots lie on a line but for rounding.
_LINE = 1e-12


@dataclass(frozen=True)
class Shape:
    """The shape of a group.

    Attributes
    ----------
    height_ratio : Estimate
        Sigma up and down over sigma sideways, no unit; exact interval whatever the ellipse.
    height_p : float
        Pitman and Morgan's p-value of "both sigmas are the same".
    length_ratio : float
        Scatter along the main axis over that across it, as seen. Chance alone makes it more than
        1: half of a round rig's groups of five are longer than 2.0, of ten longer than 1.5.
    axis_rad : Estimate
        Direction of the main axis, anticlockwise from +x, value in (-pi/2, pi/2]; limits NaN
        where every direction is possible.
    round_p : float
        Exact p-value of "this rig is round".
    pattern : str
        "vertical", "horizontal", "slanted"; "round" where it cannot be told from round; "not
        enough arrows" below four.
    """

    height_ratio: Estimate
    height_p: float
    length_ratio: float
    axis_rad: Estimate
    round_p: float
    pattern: Pattern

    def to_dict(self) -> dict[str, Any]:
        """Return the shape as JSON-safe values, its angle in degrees."""
        turn = 180 / math.pi
        numbers = {
            "height_ratio": self.height_ratio.value,
            "height_ratio_low": self.height_ratio.low,
            "height_ratio_high": self.height_ratio.high,
            "height_p": self.height_p,
            "length_ratio": self.length_ratio,
            "axis_deg": self.axis_rad.value * turn,
            "axis_deg_low": self.axis_rad.low * turn,
            "axis_deg_high": self.axis_rad.high * turn,
            "round_p": self.round_p,
        }
        return {
            **{key: x if math.isfinite(x) else None for key, x in numbers.items()},
            "pattern": self.pattern,
            "usual_causes_by_common_practice": PATTERN_CAUSES.get(self.pattern),
        }


def principal_axes(scatter: Array) -> tuple[Array, Array, Array]:
    """Return the two eigenvalues of a symmetric 2 x 2 matrix, and the direction of the larger.

    Parameters
    ----------
    scatter : (..., 2, 2) array

    Returns
    -------
    large, small : (...) arrays
    angle : (...) array, rad
        Anticlockwise from +x, in (-pi/2, pi/2].

    Examples
    --------
    >>> [float(x) for x in principal_axes(np.array([[1.0, 0.0], [0.0, 4.0]]))]
    [4.0, 1.0, 1.5707963267948966]
    """
    xx, yy, xy = scatter[..., 0, 0], scatter[..., 1, 1], scatter[..., 0, 1]
    middle, half = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    large = middle + half
    # The determinant over the larger keeps the digits of a small one that a difference loses.
    with np.errstate(divide="ignore", invalid="ignore"):
        small = np.where(large > 0, np.maximum(xx * yy - xy**2, 0.0) / large, 0.0)
    angle = np.arctan2(2 * xy, xx - yy) / 2
    return large, small, np.where(angle <= -math.pi / 2, math.pi / 2, angle)


def sphericity_p(scatter: Array, df: int) -> Array:
    """Return the exact p-value of "this group is round": same sigma in every direction.

    Parameters
    ----------
    scatter : (..., 2, 2) array, mm^2
        Sums of squares and products about the centre.
    df : int
        Their degrees of freedom, n - 1 for one group; one says nothing, and the p-value is 1.

    Returns
    -------
    (...) array

    Notes
    -----
    The likelihood ratio is a function of W = det / (trace/2)^2, and for two axes
    P(W <= w) = w^((df - 1)/2) exactly.

    References
    ----------
    J. W. Mauchly, "Significance test for sphericity of a normal n-variate distribution", Annals
    of Mathematical Statistics 11 (1940) 204-209.

    Examples
    --------
    >>> round(float(sphericity_p(np.diag([4.0, 1.0]), 9)), 4)
    0.1678
    """
    large, small, _ = principal_axes(scatter)
    with np.errstate(divide="ignore", invalid="ignore"):
        w = np.where(large > 0, 2 * np.sqrt(large * small) / (large + small), 1.0)
    p: Array = np.minimum(w, 1.0) ** (df - 1)
    return p


def pitman_morgan_p(scatter: Array, df: int) -> Array:
    """Return the exact two-sided p-value of "height and sideways scatter are the same".

    Both come from the same shots, so that they may be correlated and an F test is not valid:
    the sum and the difference of the two coordinates are uncorrelated where their variances are
    the same, which Student's t tests.

    Parameters
    ----------
    scatter : (..., 2, 2) array, mm^2
        Sums of squares and products about the centre.
    df : int
        Their degrees of freedom, n - 1, at least 2.

    References
    ----------
    E. J. G. Pitman, "A note on normal correlation", Biometrika 31 (1939) 9-12. W. A. Morgan, "A
    test for the significance of the difference between the two variances in a sample from a
    normal bivariate population", Biometrika 31 (1939) 13-19.

    Examples
    --------
    >>> round(float(pitman_morgan_p(np.diag([4.0, 1.0]), 9)), 4)
    0.0667
    """
    xx, yy, xy = scatter[..., 0, 0], scatter[..., 1, 1], scatter[..., 0, 1]
    determinant = np.maximum(xx * yy - xy**2, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.abs(yy - xx) / (2 * np.sqrt(determinant)) * math.sqrt(df - 1)
    return np.asarray(2 * stdtr(df - 1, -t))


def height_ratio_limits(scatter: Array, df: int, confidence: float) -> tuple[Array, Array]:
    """Return the limits of sigma up and down over sigma sideways, by Pitman and Morgan's test.

    Parameters
    ----------
    scatter : (..., 2, 2) array, mm^2
        Sums of squares and products about the centre.
    df : int
        Their degrees of freedom, n - 1, at least 2.
    confidence : float
    """
    xx, yy, xy = scatter[..., 0, 0], scatter[..., 1, 1], scatter[..., 0, 1]
    t = float(stdtrit(df - 1, (1 + confidence) / 2))
    with np.errstate(divide="ignore", invalid="ignore"):
        free = np.maximum(1 - xy**2 / (xx * yy), 0.0)
        k = 1 + 2 * free * t**2 / (df - 1)
        upper = k + np.sqrt(k**2 - 1)
        return np.sqrt(yy / xx / upper), np.sqrt(yy / xx * upper)


def axis_slack(scatter: Array, df: int, confidence: float) -> Array:
    """Return how far either way the true main axis may lie from the one seen, rad.

    A direction is a principal axis where the shots' coordinates along and across it are
    uncorrelated, which Student's t tests exactly; NaN where every direction passes.

    Parameters
    ----------
    scatter : (..., 2, 2) array, mm^2
        Sums of squares and products about the centre.
    df : int
        Their degrees of freedom, n - 1, at least 2.
    confidence : float
    """
    large, small, _ = principal_axes(scatter)
    t = float(stdtrit(df - 1, (1 + confidence) / 2))
    with np.errstate(divide="ignore", invalid="ignore"):
        sine = 2 * t * np.sqrt(large * small / (df - 1)) / (large - small)
        slack: Array = np.where(sine < 1, np.arcsin(np.minimum(sine, 1.0)) / 2, math.nan)
    return slack


def measure_shape(scatter: Array, n: int, confidence: float) -> Shape:
    """Measure the shape of one group of n shots from its sums of squares and products.

    Parameters
    ----------
    scatter : (2, 2) array, mm^2
    n : int
    confidence : float

    Examples
    --------
    >>> measure_shape(np.diag([100.0, 900.0]), 12, 0.95).pattern
    'vertical'
    """
    df = n - 1
    large, small, angle = (float(x) for x in principal_axes(scatter))
    if n < 3 or large == 0:
        none = Estimate(math.nan)
        return Shape(none, math.nan, math.nan, none, math.nan, "not enough arrows")
    line = small <= _LINE * large
    with np.errstate(divide="ignore"):
        ratio = float(np.sqrt(scatter[1, 1] / scatter[0, 0]))
    low, high = (float(x) for x in height_ratio_limits(scatter, df, confidence))
    slack = float(axis_slack(scatter, df, confidence))
    round_p, height_p = float(sphericity_p(scatter, df)), float(pitman_morgan_p(scatter, df))
    pattern: Pattern = "not enough arrows" if n < 4 else "round"
    if n >= 4 and round_p < PATTERN_LEVEL:
        pattern = "slanted"
        if height_p < PATTERN_LEVEL:
            pattern = "vertical" if ratio > 1 else "horizontal"
    if line:
        # The interval would have no width: no such rig exists, and rounding made the numbers.
        low = high = slack = math.nan
    return Shape(
        height_ratio=Estimate(ratio, low, high),
        height_p=height_p,
        length_ratio=math.inf if line else math.sqrt(large / small),
        axis_rad=Estimate(angle, angle - slack, angle + slack),
        round_p=round_p,
        pattern=pattern,
    )
