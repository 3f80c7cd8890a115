"""Reach: how far out the next arrow can be trusted to land inside a circle about the aim.

`measure_reach` takes shots at one or several distances, fits how bias and scatter grow with
distance (`groupscan.stats.reach.growth`) and gives, by distance, the probability that the next
arrow lands inside, with an interval (`groupscan.stats.reach.landing`). The reach is the distance at
which the *lower* end of that interval falls below the shooter's own standard, such as 9 in 10: few
arrows mean a wide interval, and less reach.

Its rate: of rigs whose shots follow the model, the reach stated is longer than the true one in at
most half of 1 - `confidence` (2.5 % at 95 %), whatever the number of shots; in at most 3.5 %, by
approximation, where the centre wanders from day to day and the days are given. Wander that is not
given is not allowed for, and the reach is then too long more often. Simulated by
``python -m benchmarks.coverage reach``.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from groupscan.stats.group.shape import sphericity_p
from groupscan.stats.inputs import (
    read_aim,
    read_distances,
    read_labels,
    read_level,
    read_positive,
    read_share,
    read_shots,
)
from groupscan.stats.intervals import Estimate
from groupscan.stats.reach.growth import Growth, fit_growth
from groupscan.stats.reach.landing import elliptical_landing, round_landing
from groupscan.stats.reach.notes import reach_notes
from groupscan.stats.reach.result import CAUTION, Basis, Reach, ReachPoint
from groupscan.stats.reach.stray import allow_for, measure_stray

__all__ = ["CAUTION", "Reach", "ReachPoint", "measure_reach"]

Shape = Literal["auto", "round", "elliptical"]

# Scatter grows with distance or with its square: within this factor of a measured distance the two
# differ by no more than the factor itself. Further off nothing is said.
NEAR = 1.5
# A twentieth further is a twentieth more scatter, less than sixty arrows can tell.
SAME = 1.05

# Level of the openly made choice of an ellipse.
DOUBTFUL_P = 0.05
# An ellipse needs this many degrees of freedom before its t has a finite variance.
ELLIPSE_DF = 4
# Scatter below a nanometre is rounding, not shooting.
ROUNDING_MM = 1e-6
CURVE_POINTS = 25
# Steps of the search for the crossing, outward and inward; it is then found to a centimetre.
STEPS, STEP_M = 13, 0.01

Array = NDArray[np.float64]


def measure_reach(
    xy_mm: ArrayLike,
    distance_m: ArrayLike,
    *,
    radius_mm: float,
    standard: float = 0.9,
    aim_mm: tuple[float, float] = (0.0, 0.0),
    group: Sequence[object] | None = None,
    at_m: Sequence[float] | None = None,
    shape: Shape = "auto",
    confidence: float = 0.95,
) -> Reach:
    """Measure how far out arrows can be trusted to land inside a circle about the aim.

    Parameters
    ----------
    xy_mm : (n, 2) array_like, mm
        Shots, x right, y up.
    distance_m : float or (n,) array_like, m
        Distance each was shot from.
    radius_mm : float, mm
        Radius of the circle.
    standard : float, default 0.9
        Share of arrows that must land inside, the shooter's own choice.
    aim_mm : tuple of float, default (0, 0)
        Point of aim in the coordinates of the shots.
    group : (n,) sequence, optional
        The group or session of each shot. The wander of their centres is then part of the scatter,
        and of what is not known of the bias (`groupscan.stats.reach.stray`).
    at_m : sequence of float, optional
        Distances to tabulate; by default 25 over all that the shots can speak of, and those
        measured.
    shape : {'auto', 'round', 'elliptical'}, default 'auto'
        The scatter's. 'auto' takes it for round unless the exact test of a round scatter finds
        p < 0.05, and says so.
    confidence : float, default 0.95
        Level of the intervals.

    Returns
    -------
    Reach

    Raises
    ------
    StatisticsError
        If there is no shot, a shape is wrong, or a number is not finite or not sensible.

    Notes
    -----
    Shots are normal about a centre whose angle from the aim changes in proportion to distance at
    most, and independent; with groups given, so are the groups. Bias, scatter and their growth are
    estimated together, and what the shots leave open of each counts.

    Examples
    --------
    >>> rng = np.random.default_rng(3)
    >>> distance = np.repeat([20.0, 30.0], 30)
    >>> shots = 1.5 * distance[:, None] * rng.standard_normal((60, 2))
    >>> reach = measure_reach(shots, distance, radius_mm=100, standard=0.9)
    >>> reach.basis, 20 < reach.reach_m.low < reach.reach_m.value < 2 * 100 / 2.146 / 1.5
    ('between', True)
    """
    aim = read_aim(aim_mm)
    xy = read_shots(xy_mm) - aim
    n = len(xy)
    distances = read_distances(distance_m, n)
    radius = read_positive(radius_mm, "radius of the circle, mm,")
    standard, level = read_share(standard, "standard"), read_level(confidence)
    names = None if group is None else read_labels(group, n, "group")[1]
    measured = np.unique(distances)
    span = _span(measured)

    def fitted(round_shape: bool) -> Growth:
        growth = fit_growth(xy, distances, round_shape=round_shape)
        if names is None:
            return growth
        return allow_for(growth, measure_stray(growth, xy, distances, names))

    growth = fitted(round_shape=True)
    scatter = growth.scatter[growth.weight.argmax()]
    p_round = float(sphericity_p(scatter, growth.df)) if growth.df > 1 else 1.0
    elliptical = growth.df >= ELLIPSE_DF and (
        shape == "elliptical" or (shape == "auto" and p_round < DOUBTFUL_P)
    )
    if elliptical:
        growth = fitted(round_shape=False)
        elliptical = growth.df >= ELLIPSE_DF

    @cache
    def landing(distance: float) -> Estimate:
        return _landing(growth, distance, radius, level, elliptical=elliptical)

    asked = (
        np.unique(np.round(np.concatenate([np.geomspace(*span, CURVE_POINTS), measured]), 6))
        if at_m is None
        else read_distances(np.array(at_m, dtype=float), len(at_m))
    )
    curve = tuple(_point(landing, float(at), measured) for at in asked)
    shortest = float(measured[0])
    reach = Estimate(
        _falls_below(standard, lambda at: landing(at).value, shortest, span),
        _falls_below(standard, lambda at: landing(at).low, shortest, span, at_least=True),
        _falls_below(standard, lambda at: landing(at).high, shortest, span),
    )
    result = Reach(
        radius_mm=radius,
        standard=standard,
        confidence=level,
        n=n,
        measured_m=tuple(measured.tolist()),
        shape="elliptical" if elliptical else "round",
        curve=curve,
        reach_m=reach,
        basis=_basis(reach.low, measured),
        notes=(),
    )
    stray_p = measure_stray(fit_growth(xy, distances), xy, distances, names).p
    notes = reach_notes(
        result, landing(shortest), span, shape_p=p_round, stray_p=stray_p, told=names is not None
    )
    return replace(result, notes=tuple(notes))


def _landing(
    growth: Growth, distance: float, radius: float, level: float, *, elliptical: bool
) -> Estimate:
    if growth.df < 1:
        return Estimate(math.nan)
    centre, shot, own = growth.at(distance)
    away, square = np.hypot(*centre.T), np.trace(growth.scatter, axis1=1, axis2=2)
    if not (square > ROUNDING_MM**2 * growth.df).all():
        return Estimate(float(away[0] <= radius))
    if elliptical:
        return elliptical_landing(
            radius, centre, growth.scatter, growth.df, shot, own, growth.weight, level
        )
    return round_landing(radius, away, square, 2 * growth.df, shot, own, growth.weight, level)


def _point(landing: Callable[[float], Estimate], at: float, measured: Array) -> ReachPoint:
    basis = _basis(at, measured)
    return ReachPoint(at, Estimate(math.nan) if basis == "nothing near" else landing(at), basis)


def _span(measured: Array) -> tuple[float, float]:
    """Return the distances, from the shortest measured in both directions, that are near one."""
    last = float(measured[0])
    for distance in measured[1:]:
        if distance / NEAR > last * NEAR:
            break
        last = float(distance)
    return float(measured[0]) / NEAR, last * NEAR


def _basis(at: float, measured: Array) -> Basis:
    factor = np.maximum(at / measured, measured / at)
    # NaN is near to nothing.
    if not (factor <= NEAR * (1 + 1e-12)).any():
        return "nothing near"
    if not measured[0] - STEP_M <= at <= measured[-1] + STEP_M:
        return "extrapolated"
    return "measured" if (factor <= SAME).any() else "between"


def _falls_below(
    standard: float,
    chance: Callable[[float], float],
    start: float,
    span: tuple[float, float],
    *,
    at_least: bool = False,
) -> float:
    """Return the first distance, outward from the start, at which the chance falls short.

    Where it falls short at the start, the nearest shorter distance that meets the standard; NaN
    where none does, and where the standard still holds at the end, unless `at_least`.
    """
    holds = chance(start) >= standard
    if math.isnan(chance(start)):
        return math.nan
    before = start
    for at in np.geomspace(start, span[1] if holds else span[0], STEPS)[1:].tolist():
        if (chance(at) >= standard) != holds:
            return float(brentq(lambda d: chance(d) - standard, before, at, xtol=STEP_M))
        before = at
    return before if holds and at_least else math.nan
