"""What was shot and what was measured beside it: everything about a fit but the heights seen."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.errors import RigError
from groupscan.rigs.given import Array, read_number, read_values

__all__ = ["Design", "Seen", "read_groups", "read_outside"]

FARTHEST_M = 300.0
# The height of a group that lands beside the butt was not measured in mm.
HIGHEST_MM = 20_000.0


@dataclass(frozen=True)
class Design:
    """Groups and outside measurements of one rig.

    Attributes
    ----------
    distance_m : (n,) array
    pin : (n,) array of int
        Pin held at each group, 0 to pins - 1.
    pins : int
    precision : (n,) array
        Of each group's mean height over that of one shot at 1 m: shots over distance to twice the
        power with which scatter grows.
    within_df : int
        Degrees of freedom of the scatter inside the groups.
    speed_se, peep_se, gap_se : float or None
        Standard errors of launch speed, peep height and pin gaps measured beside; None is not
        measured.
    radius_mm : float or None
        Sight radius, for the gaps.
    """

    distance_m: Array
    pin: NDArray[np.intp]
    pins: int
    precision: Array
    within_df: int
    speed_se: float | None = None
    peep_se: float | None = None
    gap_se: float | None = None
    radius_mm: float | None = None

    @property
    def outside_se(self) -> Array:
        """Standard errors of what was measured beside: speed, peep, gaps."""
        gaps = [] if self.gap_se is None else [self.gap_se] * (self.pins - 1)
        return np.array([se for se in (self.speed_se, self.peep_se) if se is not None] + gaps)


@dataclass(frozen=True)
class Seen:
    """What was seen of a design, for each of b data sets.

    Attributes
    ----------
    height_mm : (b, n) array
        Mean height of each group above the aim.
    within : (b,) array
        Sum of squares inside the groups, at 1 m.
    outside : (b, m) array
        Values measured beside, as `Design.outside_se`.
    """

    height_mm: Array
    within: Array
    outside: Array


def read_groups(
    distance_m: ArrayLike,
    height_mm: ArrayLike,
    se_mm: ArrayLike,
    shots: ArrayLike,
    pin: ArrayLike | None,
    growth: float,
) -> tuple[Design, Seen, Array, Array]:
    """Return the design, what was seen, each group's shots, and its variance of one at 1 m.

    Raises
    ------
    RigError
        If the groups cannot be what they are said to be.
    """
    distance = np.atleast_1d(
        read_values(
            distance_m, "distance_m", "m", positive=True, most=FARTHEST_M, advice="is it in metres?"
        )
    )
    n = len(distance)
    height, count = (
        _one_each(read_values(given, field, unit, least=least, most=most), field, n)
        for given, field, unit, least, most in (
            (height_mm, "height_mm", "mm", -HIGHEST_MM, HIGHEST_MM),
            (shots, "shots", "shots", 1, 1e6),
        )
    )
    if (count != np.round(count)).any():
        raise RigError("shots must be whole numbers: how many arrows each group has")
    single = count == 1
    try:
        given = _one_each(np.asarray(se_mm, float), "se_mm", n)
    except (TypeError, ValueError) as err:
        raise RigError(f"se_mm must be numbers in mm, one a group, but is {se_mm!r}") from err
    # A single shot has no standard error of its own, whatever stands there.
    own = np.where(single, 0.0, given)
    advice = "give the group's scatter over the root of its shots, or leave the group out"
    se = read_values(own, "se_mm", "mm", least=0, most=HIGHEST_MM, advice=advice)
    if not single.all() and not se.any():
        raise RigError(
            "se_mm is zero throughout: without the standard errors of the groups' mean heights no"
            " interval can be given; give the scatter of each group over the root of its shots"
        )
    power = read_number(growth, "growth", "powers of distance", least=0, most=3)
    scale = distance**power
    variance = se**2 * count / scale**2
    labels = np.zeros(n) if pin is None else _one_each(read_values(pin, "pin", "pins"), "pin", n)
    names, place = np.unique(labels, return_inverse=True)
    design = Design(
        distance, place.astype(np.intp), len(names), count / scale**2, int(count.sum()) - n
    )
    within = np.array([((count - 1) * variance).sum()])
    return design, Seen(height[np.newaxis], within, np.empty((1, 0))), count, variance


def read_outside(
    design: Design,
    seen: Seen,
    speed_mps: tuple[float, float] | None,
    peep_mm: tuple[float, float] | None,
    gap_mm: ArrayLike | None,
    gap_se_mm: float | None,
    radius_mm: float | None,
) -> tuple[Design, Seen]:
    """Return both with what was measured beside.

    Raises
    ------
    RigError
        If a measurement lacks its standard error, or cannot be.
    """
    values: list[float] = []
    if speed_mps is not None:
        value, se = _with_error(speed_mps, "speed_mps", "m/s", 20, 200, "is it in ft/s?")
        values.append(value)
        design = replace(design, speed_se=se)
    if peep_mm is not None:
        value, se = _with_error(peep_mm, "peep_mm", "mm", 0, 300, "is it in inches?")
        values.append(value)
        design = replace(design, peep_se=se)
    if gap_mm is not None:
        gaps = np.atleast_1d(read_values(gap_mm, "gap_mm", "mm", least=-100, most=100))
        if gaps.shape != (design.pins - 1,):
            raise RigError(
                f"gap_mm has {gaps.size} gaps for {design.pins} pins; give one between each pin and"
                " the next, in their order"
            )
        if gap_se_mm is None or radius_mm is None:
            raise RigError("gap_mm needs gap_se_mm and radius_mm beside it; give both in mm")
        values += gaps.tolist()
        design = replace(
            design,
            gap_se=read_number(gap_se_mm, "gap_se_mm", "mm", positive=True, most=100),
            radius_mm=read_number(radius_mm, "radius_mm", "mm", least=200, most=2000),
        )
    return design, replace(seen, outside=np.array([values], float).reshape(1, -1))


def _with_error(
    given: tuple[float, float], field: str, unit: str, least: float, most: float, advice: str
) -> tuple[float, float]:
    pair = read_values(given, field, unit)
    if pair.shape != (2,):
        raise RigError(f"{field} must be a pair: the value measured and its standard error")
    value = read_number(pair[0], field, unit, least=least, most=most, advice=advice)
    what = f"the standard error of {field}"
    return value, read_number(pair[1], what, unit, positive=True, most=most)


def _one_each(values: Array, field: str, n: int) -> Array:
    if values.shape not in ((), (n,)):
        raise RigError(f"{field} has shape {values.shape}; give one number, or {n}: one a group")
    return np.broadcast_to(values, (n,)).astype(float)
