"""The fit: groups in, launch speed, drag and peep height out."""

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtrc

from groupscan.errors import RigError
from groupscan.rigs.fit.design import Design, Seen, read_groups, read_outside
from groupscan.rigs.fit.intervals import gradient_of, limits, value_of
from groupscan.rigs.fit.notes import ALIKE, DOUBTFUL_P, data_notes, drag_notes, weak_notes
from groupscan.rigs.fit.result import Fitted, FlightFit
from groupscan.rigs.fit.solve import Solution, solve
from groupscan.rigs.given import read_number, read_values

__all__ = ["ANY_ARROW_PER_M", "fit_groups"]

# Beyond this the parameters' scaled derivatives are alike to rounding.
SINGULAR = 1e7
LEAST_DF = 1e-6
# Drag of usual arrows, 1/m: from 42 g, 5 mm and a laminar layer of air to 23 g, 8 mm and a
# turbulent one (published coefficients of `drag`, air of 1.2 kg/m3).
ANY_ARROW_PER_M = (3.5e-4, 3.5e-3)
MOST_DRAG_PER_M = 0.02
NAMES = {"speed": "speed", "drag": "drag", "peep": "peep height"}


def fit_groups(
    distance_m: ArrayLike,
    height_mm: ArrayLike,
    *,
    se_mm: ArrayLike,
    shots: ArrayLike,
    pin: ArrayLike | None = None,
    speed_mps: tuple[float, float] | None = None,
    peep_mm: tuple[float, float] | None = None,
    gap_mm: ArrayLike | None = None,
    gap_se_mm: float | None = None,
    radius_mm: float | None = None,
    published_drag_per_m: tuple[float, float] = ANY_ARROW_PER_M,
    growth: float = 1.0,
    confidence: float = 0.95,
) -> FlightFit:
    """Fit launch speed, drag and peep height to groups shot level at several distances.

    Parameters
    ----------
    distance_m : (n,) array_like, m
        Distance of each group.
    height_mm : (n,) array_like, mm
        Height of its centre above the aim; below is negative.
    se_mm : (n,) array_like, mm
        Standard error of that: the vertical standard deviation of the group's shots over the root
        of their number. Of a single shot it is not used.
    shots : (n,) array_like of int
        How many arrows each group has; one number stands for all.
    pin : (n,) array_like of int, optional
        Which pin was held on the aim, by number; one for all by default.
    speed_mps : tuple of float, optional
        Launch speed measured with a chronograph, and its standard error, m/s.
    peep_mm : tuple of float, optional
        Peep height measured, and its standard error, mm.
    gap_mm : (pins - 1,) array_like, optional
        Gaps measured between each pin and the next, mm, positive downwards; `gap_se_mm` (the
        standard error of each) and `radius_mm` (sight radius) belong to it.
    published_drag_per_m : tuple of float, optional
        Least and largest drag that publications give for this arrow, from `drag.drag_per_m`. It is
        held there where the data tell the drag less well than that. By default the range of all
        usual arrows, which is wide.
    growth : float, default 1
        The scatter grows with this power of the distance.
    confidence : float, default 0.95

    Returns
    -------
    FlightFit

    Raises
    ------
    RigError
        If the input cannot be, or cannot tell what is asked even with the drag held.

    Notes
    -----
    Weighted least squares through the flight itself: the same as a fit to all single shots, each
    weighted by its distance's scatter. Intervals are those of the profile likelihood with Student's
    t; what was measured beside enters as one more observation with its own standard error, and the
    degrees of freedom follow by Satterthwaite's rule. Where the drag is held, it is held at both
    ends and in the middle of the published range, and each interval reaches over all three fits.

    Simulated, 95 % intervals of fitted speed and drag cover 93 to 97 %
    (``python -m benchmarks.coverage fit``).

    Examples
    --------
    Heights at 20 to 60 yards with the 20 yard pin (280 ft/s, drag 0.001), six shots each:

    >>> fit = fit_groups(
    ...     [18.288, 27.432, 36.576, 45.72, 54.864],
    ...     [0.0, -123.4, -365.7, -729.1, -1216.0],
    ...     se_mm=[4.0, 6.0, 8.0, 10.0, 12.0],
    ...     shots=6,
    ...     peep_mm=(101.6, 2.0),
    ...     published_drag_per_m=(7.5e-4, 1.3e-3),
    ... )
    >>> fit.drag_fitted, round(fit.speed_mps.value, 1)
    (False, 85.3)
    """
    level = read_number(confidence, "confidence", "(a share)", least=0.5, most=0.9999)
    design, seen, count, variance = read_groups(distance_m, height_mm, se_mm, shots, pin, growth)
    design, seen = read_outside(design, seen, speed_mps, peep_mm, gap_mm, gap_se_mm, radius_mm)
    published = _published(published_drag_per_m)
    free = _told(design, seen, None)
    if free is None:
        drag, reason = None, "There are too few distances to tell the drag."
    else:
        drag = _fitted(free, "drag", level)
        reason = _why_held(drag, published, _correlation(free.solution))
    fits = [free] if free is not None and not reason else _held_over(design, seen, published)
    if drag is None or reason:
        drag = Fitted(_middle(published), *published)
    speed, peep = (
        _over_all([_fitted(one, name, level) for one in fits]) for name in ("speed", "peep")
    )
    first = fits[0].solution
    correlation = _correlation(first)
    weak = {"speed": speed, "peep height": peep} | ({} if reason else {"drag": drag})
    df, lack_p = float(first.df[0]), fits[0].lack_of_fit_p
    notes = [
        *drag_notes(reason, drag, published),
        *weak_notes(weak, correlation),
        *data_notes(variance, count, lack_p, df, growth),
    ]
    return FlightFit(
        speed,
        drag,
        peep,
        tuple(np.arctan(first.rigs.tangent[0]).tolist()),
        not reason,
        float(first.sigma[0]),
        df,
        lack_p,
        correlation,
        level,
        tuple(notes),
        tuple(one.solution for one in fits),
    )


@dataclass(frozen=True)
class _Told:
    """A fit, what it rests on, and whether the groups' centres lie on its curve."""

    design: Design
    seen: Seen
    solution: Solution
    lack_of_fit_p: float


def _held_over(design: Design, seen: Seen, published: tuple[float, float]) -> list[_Told]:
    """Return the fits with the drag held in the middle and at the ends of a range."""
    middle = _told(design, seen, _middle(published))
    if middle is None:
        raise RigError(
            "distance_m: these groups cannot tell launch speed and peep height, even with the drag"
            " held; shoot at more distances, or give speed_mps or peep_mm as measured"
        )
    if published[0] == published[1]:
        return [middle]
    ends = (solve(middle.design, middle.seen, {"drag": np.array([one])}) for one in published)
    return [middle, *(replace(middle, solution=one) for one in ends)]


def _published(given: tuple[float, float]) -> tuple[float, float]:
    pair = read_values(given, "published_drag_per_m", "1/m", least=0, most=MOST_DRAG_PER_M)
    if pair.shape != (2,) or pair[0] > pair[1]:
        raise RigError("published_drag_per_m must be a pair: the least and the largest, 1/m")
    return float(pair[0]), float(pair[1])


def _middle(published: tuple[float, float]) -> float:
    """Return the drag in the middle of a range: by factors, as it is known."""
    low, high = published
    return math.sqrt(low * high) if low > 0 else high / 2


def _told(design: Design, seen: Seen, drag: float | None) -> _Told | None:
    """Return the fit, or None where the data do not tell all that it asks."""
    held = {} if drag is None else {"drag": np.array([drag])}
    unknown = 3 - len(held) + design.pins
    # Groups of one distance and pin are one place of the curve, however many they are.
    places = len(set(zip(design.distance_m.tolist(), design.pin.tolist(), strict=True)))
    if places + len(design.outside_se) < unknown:
        return None
    try:
        found = solve(design, seen, held)
    except (np.linalg.LinAlgError, RigError):  # the latter: to arrows that fall short
        return None
    scaled = found.triangle[0] / np.linalg.norm(found.triangle[0], axis=0)
    if not found.converged.all() or not np.linalg.cond(scaled) < SINGULAR:
        return None
    if found.df[0] < LEAST_DF:
        raise RigError(
            "shots: single arrows at no more distances than there are unknowns leave no scatter to"
            " judge by; shoot more arrows at each distance"
        )
    lack_p = _lack_of_fit(design, found, seen)
    if lack_p < DOUBTFUL_P:
        # How far the groups' centres lie from the curve is then all that tells the errors.
        design, seen = replace(design, within_df=0), replace(seen, within=np.zeros(1))
        found = solve(design, seen, held)
    return _Told(design, seen, found, lack_p)


def _lack_of_fit(design: Design, solution: Solution, seen: Seen) -> float:
    """Return the p-value of the groups' centres about the fit against the scatter inside them."""
    left = len(design.distance_m) - float(solution.used[0])
    within = float(seen.within[0])
    # Less than half a degree of freedom is what outside measurements that tell little leave over.
    if left < 0.5 or within == 0:
        return math.nan
    ratio = float(solution.lack[0]) / left / (within / design.within_df)
    return float(fdtrc(left, design.within_df, ratio))


def _why_held(
    drag: Fitted, published: tuple[float, float], correlation: dict[tuple[str, str], float]
) -> str:
    """Return why the drag must be held, or nothing."""
    low, high = published
    if drag.value <= 0:
        return "The groups fit best with no drag at all, which cannot be."
    if drag.high - drag.low <= high - low:
        return ""
    alike = [
        f" from the {first} (correlation {one:.3f})"
        for (first, second), one in correlation.items()
        if second == "drag" and abs(one) > ALIKE
    ]
    ends = "anything" if math.isinf(drag.high) else f"{drag.low:.3g} to {drag.high:.3g} per metre"
    return f"The groups cannot tell the drag{''.join(alike)}: its interval would be {ends}."


def _fitted(told: _Told, name: str, level: float) -> Fitted:
    low, high = limits(told.design, told.seen, told.solution, name, level)
    value = float(value_of(told.solution, name)[0])
    if name != "speed":
        # Neither can be less than nothing.
        value, low, high = max(value, 0.0), max(low, 0.0), max(high, 0.0)
    return Fitted(value, low, high)


def _over_all(fits: list[Fitted]) -> Fitted:
    """Return the first value with limits that reach over all."""
    return Fitted(fits[0].value, min(one.low for one in fits), max(one.high for one in fits))


def _correlation(solution: Solution) -> dict[tuple[str, str], float]:
    names = [name for name in NAMES if name not in solution.held]
    gradients = np.stack([gradient_of(solution, name)[0] for name in names])
    turned = np.linalg.solve(solution.triangle[0].T, gradients.T)
    turned /= np.linalg.norm(turned, axis=0)
    alike = turned.T @ turned
    return {
        (NAMES[names[i]], NAMES[names[j]]): float(alike[i, j])
        for i, j in itertools.combinations(range(len(names)), 2)
    }
