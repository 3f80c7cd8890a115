"""The analysis that fits a shooting order of `groupscan.stats.plan.design`.

*Heads that pass around the arrows*: one additive fit of head, end and arrow, the last two as fixed
effects (rows and columns of the square), so that neither a sight moved between ends nor an odd
arrow counts for or against a head. The residuals of all heads are pooled.

*Builds that keep their arrows*: an arrow cannot be told from its build, so that a build's arrows
are its sample. Each arrow's centre, freed of what moves whole ends, is one observation; builds are
compared by them, however many times each arrow was shot.

The offsets then get the limits and the verdict of `groupscan.stats.offset`: "apart" where the lower
limit of the distance is not 0, "together" where its upper limit lies within the tolerance. The
error rates hold for all comparisons with the reference together (Bonferroni): at most 5 in 100
analyses at 95 % say any false "apart", and as many any false "together".
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.errors import StatisticsError
from groupscan.stats.inputs import read_level, read_positive, read_shots
from groupscan.stats.intervals import Ellipse, Estimate
from groupscan.stats.offset.distance import (
    OffsetSeen,
    component_limits,
    farthest,
    nearest,
    offset_ellipse,
)
from groupscan.stats.offset.sequential import plan_boundary
from groupscan.stats.offset.verdict import Verdict, decide, direction_words
from groupscan.stats.plain import json_safe
from groupscan.stats.plan.design import PlannedShot, ShootingOrder
from groupscan.stats.power import power_equivalence, power_offset
from groupscan.telling import tied

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Analysis", "PlannedOffset", "analyse_order", "fit_order", "order_power"]

# A smaller area than this share of a circle's is a line, and rounding.
FLAT = 1e-12

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PlannedOffset:
    """One build against the reference; lengths in mm.

    Attributes
    ----------
    build : str
    verdict : {'together', 'apart', 'not enough arrows'}
    x, y : Estimate
        Offset of its centre from the reference's.
    distance : Estimate
        Its length; the interval that the verdict is read from.
    ellipse : Ellipse
        Joint confidence region of the offset.
    """

    build: str
    verdict: Verdict
    x: Estimate
    y: Estimate
    distance: Estimate
    ellipse: Ellipse

    @property
    def sentence(self) -> str:
        """The verdict in one sentence."""
        if self.verdict == "apart":
            words = direction_words(self.x.value, self.y.value)
            return (
                f"{self.build}: apart, it hits {words}, its centre "
                f"{tied(f'{self.distance.low:.3g} to {self.distance.high:.3g}', 'mm')} away."
            )
        if self.verdict == "together":
            return f"{self.build}: together, no more than {tied(self.distance.high, 'mm')} away."
        return f"{self.build}: not enough arrows to say; shoot more ends of the order."


@dataclass(frozen=True)
class Analysis:
    """What a planned comparison says.

    Attributes
    ----------
    reference : str
        The build that the others are compared with.
    offsets : tuple of PlannedOffset
        One for each other build.
    sigma_mm : float
        Per-axis scatter that the offsets were measured with: of one shot, or of the arrows'
        centres where builds keep their arrows.
    df : int
        Degrees of freedom of it, one axis.
    how : str
        Which analysis, and where to look for the rest.
    tolerance_mm, confidence
        As given.
    notes : tuple of str
    """

    reference: str
    offsets: tuple[PlannedOffset, ...]
    sigma_mm: float
    df: int
    how: str
    tolerance_mm: float | None
    confidence: float
    notes: tuple[str, ...]

    def to_frame(self) -> "pd.DataFrame":
        """Return one row a build: verdict and offset with limits, mm."""
        import pandas as pd

        rows = [
            {
                "build": one.build,
                "verdict": one.verdict,
                "x_mm": one.x.value,
                "y_mm": one.y.value,
                "distance_mm": one.distance.value,
                "distance_low_mm": one.distance.low,
                "distance_high_mm": one.distance.high,
            }
            for one in self.offsets
        ]
        return pd.DataFrame(rows)

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values, None for what is not known."""
        plain: dict[str, Any] = json_safe(self)
        return plain


ROTATED = (
    "Head, end and arrow fitted together, ends and arrows as fixed effects. For tightness compare "
    "the shots of each head with compare_builds, ends as blocks; for odd arrows see the arrows."
)
KEPT = (
    "Each arrow's centre, freed of its ends, is one observation; builds compared by their arrows. "
    "For tightness compare the shots of each build with compare_builds, ends as blocks."
)


def analyse_order(
    order: ShootingOrder,
    xy_mm: ArrayLike,
    *,
    numbers: Sequence[int] | None = None,
    tolerance_mm: float | None = None,
    confidence: float = 0.95,
) -> Analysis:
    """Analyse the shots of a planned order with the fit that belongs to it.

    Parameters
    ----------
    order : ShootingOrder
        As shot; its first build is the reference.
    xy_mm : (n, 2) array_like, mm
        Shots in the order shot, from their aim.
    numbers : (n,) sequence of int, optional
        Their numbers in the order, where not all were shot or found; all by default.
    tolerance_mm : float, optional
        Centres closer than this count as together; without it no verdict is.
    confidence : float, default 0.95
        One less the rate of any false verdict.

    Returns
    -------
    Analysis

    Raises
    ------
    StatisticsError
        If shots and numbers do not fit the order, or an input is not sensible.

    Examples
    --------
    >>> from groupscan.stats.plan.design import rotate_heads
    >>> order = rotate_heads(["field", "broad"], 6, 4)
    >>> rng = np.random.default_rng(5)
    >>> low = np.array([60.0 * (shot.build == "broad") for shot in order.shots])
    >>> shots = 15 * rng.standard_normal((24, 2)) - np.stack([0 * low, low], axis=1)
    >>> [one.verdict for one in analyse_order(order, shots, tolerance_mm=25).offsets]
    ['apart']
    """
    xy, shots = read_shots(xy_mm), _shot(order, numbers)
    if len(xy) != len(shots):
        raise StatisticsError(
            f"{len(xy)} shots for {len(shots)} of the order; give the numbers of those found"
        )
    tolerance = None if tolerance_mm is None else read_positive(tolerance_mm, "tolerance, mm,")
    level = read_level(confidence)
    boundary = plan_boundary((1 - level) / (len(order.builds) - 1), None)
    offsets, notes, sigma, df = [], set[str](), math.nan, 0
    for build, seen in zip(order.builds[1:], fit_order(order, shots, xy), strict=True):
        df = int(seen.dfs[0])
        trace, det = float(np.trace(seen.variance)), float(np.linalg.det(seen.variance))
        x, y = (float(value) for value in seen.offset)
        found = PlannedOffset(
            build,
            "not enough arrows",
            Estimate(x),
            Estimate(y),
            Estimate(math.hypot(x, y)),
            Ellipse(x, y, math.nan, math.nan, math.nan),
        )
        if math.isnan(x):
            notes.add(f"No end and arrow link {build} to {order.builds[0]}: nothing to compare.")
        elif df < 2 or det <= FLAT * trace**2:
            notes.add("Too few shots left, or without scatter: nothing bounds the offsets' errors.")
        else:
            sigma = math.sqrt(trace / 2 / seen.unit)
            (low_x, low_y), (high_x, high_y) = component_limits(seen, boundary)
            low, high = float(nearest(seen, boundary)), float(farthest(seen, boundary))
            found = replace(
                found,
                verdict=decide(low, high, tolerance),
                x=Estimate(x, float(low_x), float(high_x)),
                y=Estimate(y, float(low_y), float(high_y)),
                distance=Estimate(found.distance.value, low, high),
                ellipse=offset_ellipse(seen, float(boundary.ellipse(df, seen.unit))),
            )
        offsets.append(found)
    if tolerance is None:
        notes.add("No tolerance was given, so that no verdict can be 'together'.")
    how = ROTATED if order.rotated else KEPT
    return Analysis(
        order.builds[0], tuple(offsets), sigma, df, how, tolerance, level, tuple(sorted(notes))
    )


def order_power(
    order: ShootingOrder,
    sigma_mm: float,
    *,
    offset_mm: float | None = None,
    tolerance_mm: float | None = None,
    level: float = 0.05,
) -> float:
    """Return the chance that an order shows an offset, or (the centres being one) "together".

    Parameters
    ----------
    order : ShootingOrder
    sigma_mm : float, mm
        Per-axis scatter expected: of a shot where heads pass around, of the arrows' centres where
        builds keep their arrows.
    offset_mm : float, optional
        Offset to be seen; give this or the tolerance.
    tolerance_mm : float, optional
    level : float, default 0.05
        Rate of any false verdict.

    Returns
    -------
    float
        For the build that the order tells worst from the reference.

    Raises
    ------
    StatisticsError
        If not one of offset and tolerance is given, or a number is not sensible.

    Examples
    --------
    >>> from groupscan.stats.plan.design import rotate_heads
    >>> order = rotate_heads(["field", "broad"], 6, 4)
    >>> round(order_power(order, 20.0, offset_mm=30.0), 2)
    0.84
    """
    seen = fit_order(order, order.shots, np.zeros((len(order.shots), 2)))
    one, sigma = level / (len(order.builds) - 1), read_positive(sigma_mm, "sigma, mm,")
    # As many arrows each, without blocks, would place the offset as well.
    worth, df = min(2 / offset.unit for offset in seen), int(seen[0].dfs[0])
    if offset_mm is not None and tolerance_mm is None:
        return power_offset(worth, worth, offset_mm, sigma, level=one, df=df)
    if tolerance_mm is None or offset_mm is not None:
        raise StatisticsError("give the offset to be seen, or the tolerance: one of them")
    return power_equivalence(worth, worth, 0.0, tolerance_mm, sigma, level=one, df=df)


def fit_order(order: ShootingOrder, shots: Sequence[PlannedShot], xy_mm: Array) -> list[OffsetSeen]:
    """Return the offset of each build from the first, fitted as the order wants it.

    Parameters
    ----------
    order : ShootingOrder
    shots : sequence of PlannedShot, length n
        Those of the order that were shot.
    xy_mm : (..., n, 2) array, mm
        Where they landed; leading axes are cases.

    Returns
    -------
    list of OffsetSeen
        NaN offsets where the shots do not link a build to the first.
    """
    ends = _dummies([str(shot.end) for shot in shots])[:, 1:]
    builds = np.array([[shot.build == build for build in order.builds] for shot in shots], float)
    if order.rotated:
        arrows = _dummies([shot.arrow for shot in shots])[:, 1:]
        return _offsets(np.hstack([builds, ends, arrows]), xy_mm, len(order.builds))
    # First each arrow's centre, freed of the ends; then the builds by their arrows.
    labels = sorted({shot.arrow for shot in shots})
    arrows = np.array([[shot.arrow == label for label in labels] for shot in shots], float)
    design = np.hstack([arrows, ends])
    inverse = np.asarray(np.linalg.pinv(design), float)
    build_of = {shot.arrow: shot.build for shot in shots}
    kept = np.array([[build_of[a] == build for build in order.builds] for a in labels], float)
    found = _offsets(kept, inverse[: len(labels)] @ xy_mm, len(order.builds))
    # Arrows whose ends have nothing in common have centres freed of nothing: no offset then.
    means = (kept / np.maximum(kept.sum(axis=0), 1)).T
    contrasts: Array = np.pad(means[1:] - means[0], ((0, 0), (0, ends.shape[1])))
    return [
        seen if _linked(contrast, inverse, design) else _unlinked(seen)
        for seen, contrast in zip(found, contrasts, strict=True)
    ]


def _offsets(design: Array, xy_mm: Array, builds: int) -> list[OffsetSeen]:
    """Return least-squares offsets of builds 1, 2, ... from build 0, the design's first columns."""
    inverse = np.asarray(np.linalg.pinv(design), float)
    coefficients = inverse @ xy_mm
    left = xy_mm - design @ coefficients
    df = len(design) - int(np.linalg.matrix_rank(design))
    covariance = left.swapaxes(-1, -2) @ left / max(df, 1)
    found = []
    for build in range(1, builds):
        contrast = np.zeros(design.shape[1])
        contrast[0], contrast[build] = -1.0, 1.0
        factor = float(np.sum((contrast @ inverse) ** 2))
        seen = OffsetSeen(
            contrast @ coefficients, (covariance * factor,), (float(df),), (1 / factor,)
        )
        found.append(seen if _linked(contrast, inverse, design) else _unlinked(seen))
    return found


def _linked(contrast: Array, inverse: Array, design: Array) -> bool:
    """Return whether the shots tell a contrast: only then is it one that the design spans."""
    return np.allclose(contrast @ inverse @ design, contrast, atol=1e-8)


def _unlinked(seen: OffsetSeen) -> OffsetSeen:
    return replace(seen, offset=np.full_like(seen.offset, math.nan))


def _shot(order: ShootingOrder, numbers: Sequence[int] | None) -> list[PlannedShot]:
    if numbers is None:
        return list(order.shots)
    wanted = [int(number) for number in numbers]
    if len(set(wanted)) < len(wanted) or not set(wanted) <= set(range(1, len(order.shots) + 1)):
        raise StatisticsError(
            f"shot numbers must differ and lie between 1 and {len(order.shots)}, as in the order"
        )
    return [order.shots[number - 1] for number in wanted]


def _dummies(labels: Sequence[str]) -> Array:
    names = sorted(set(labels))
    return np.array([[label == name for name in names] for label in labels], float)
