"""The flight of an arrow as a point mass with quadratic drag, in wind, up- and downhill.

`fly` and `sight_angle` take it from integrals, all shots at once (`integrals` says how);
`fly_reference` integrates the differential equation itself, one shot at a time.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.integrate import solve_ivp

from groupscan.errors import RigError
from groupscan.rigs.given import (
    Array,
    read_angle,
    read_distance,
    read_drag,
    read_peep,
    read_speed,
    read_wind,
    together,
)
from groupscan.rigs.integrals import GRAVITY_MPS2, aim, arrive, in_blocks
from groupscan.telling import tied

__all__ = ["GRAVITY_MPS2", "Flight", "fly", "fly_reference", "sight_angle"]


@dataclass(frozen=True)
class Flight:
    """Where arrows are and how they fly, once they have gone a distance along the line of sight.

    Attributes
    ----------
    distance_m : ndarray
        Distance from the eye along the line of sight (slant), m.
    height_m : ndarray
        Height above the line of sight, square to it, m; below is negative.
    time_s : ndarray
        Time of flight, s.
    speed_mps : ndarray
        Speed over the ground, m/s.
    drift_m : ndarray
        Way to the right that the wind carried the arrow, m.
    """

    distance_m: Array
    height_m: Array
    time_s: Array
    speed_mps: Array
    drift_m: Array


def fly(
    speed_mps: ArrayLike,
    angle_rad: ArrayLike,
    drag_per_m: ArrayLike,
    distance_m: ArrayLike,
    *,
    peep_m: ArrayLike = 0.0,
    slope_rad: ArrayLike = 0.0,
    crosswind_mps: ArrayLike = 0.0,
    headwind_mps: ArrayLike = 0.0,
) -> Flight:
    """Return where arrows are at distances along the line of sight.

    The arrow starts on the bore line, square below the eye. All arguments are broadcast against
    one another.

    Parameters
    ----------
    speed_mps : array_like
        Launch speed, m/s.
    angle_rad : array_like
        Angle of the bore line above the line of sight, rad.
    drag_per_m : array_like
        k of ``drag.drag_per_m``, 1/m; 0 is a vacuum.
    distance_m : array_like
        Distance from the eye along the line of sight, m.
    peep_m : array_like
        Height of the eye above the arrow, square to the line of sight, m.
    slope_rad : array_like
        Angle of the line of sight above level, rad; downhill is negative.
    crosswind_mps : array_like
        Level wind that blows to the right, m/s.
    headwind_mps : array_like
        Level wind that blows towards the archer, m/s; a tailwind is negative.

    Returns
    -------
    Flight
        Arrays of the broadcast shape.

    Raises
    ------
    RigError
        If an argument cannot be, or an arrow does not get that far.

    Notes
    -----
    A point mass: the arrow does not turn into the wind, and its drag stays the same all the way.

    Examples
    --------
    280 ft/s, Cd 2.0, sighted in at 20 yd, seen at 30 and 40 yd; height in inches:

    >>> flight = fly(85.344, 18.020509e-3, 9.990955e-4, [27.432, 36.576], peep_m=0.1016)
    >>> (flight.height_m / 0.0254).round(3).tolist()
    [-4.856, -14.396]
    """
    given = together(
        speed_mps=read_speed(speed_mps),
        angle_rad=read_angle(angle_rad, "angle_rad"),
        drag_per_m=read_drag(drag_per_m),
        distance_m=read_distance(distance_m),
        peep_m=read_peep(peep_m),
        slope_rad=read_angle(slope_rad, "slope_rad"),
        crosswind_mps=read_wind(crosswind_mps, "crosswind_mps"),
        headwind_mps=read_wind(headwind_mps, "headwind_mps"),
    )
    height, time, speed, drift = in_blocks(arrive, 4, given)
    return Flight(given[3].copy(), height, time, speed, drift)


def sight_angle(
    speed_mps: ArrayLike,
    drag_per_m: ArrayLike,
    distance_m: ArrayLike,
    *,
    peep_m: ArrayLike,
    slope_rad: ArrayLike = 0.0,
) -> Array:
    """Return the angle of the bore line with which the arrow meets the line of sight.

    The lower of the two ways that lead there. All arguments are broadcast.

    Parameters
    ----------
    speed_mps, drag_per_m, distance_m, peep_m, slope_rad : array_like
        As for `fly`.

    Returns
    -------
    ndarray
        Angle of the bore line above the line of sight, rad.

    Raises
    ------
    RigError
        If an argument cannot be, or no angle reaches that far.

    Examples
    --------
    >>> angle = sight_angle(85.344, 9.990955e-4, [18.288, 36.576], peep_m=0.1016)
    >>> (1000 * angle).round(4).tolist()
    [18.0205, 28.0244]
    """
    given = together(
        speed_mps=read_speed(speed_mps),
        drag_per_m=read_drag(drag_per_m),
        distance_m=read_distance(distance_m, positive=True),
        peep_m=read_peep(peep_m),
        slope_rad=read_angle(slope_rad, "slope_rad"),
    )
    (angle,) = in_blocks(aim, 1, given)
    return angle


def fly_reference(
    speed_mps: float,
    angle_rad: float,
    drag_per_m: float,
    distance_m: float,
    *,
    peep_m: float = 0.0,
    slope_rad: float = 0.0,
    crosswind_mps: float = 0.0,
    headwind_mps: float = 0.0,
) -> Flight:
    """Return the same as `fly` for one shot, by integrating the differential equation in distance.

    Slow, and independent of `fly`: what `fly` is checked against.

    Examples
    --------
    >>> flight = fly_reference(85.344, 18.020509e-3, 9.990955e-4, 36.576, peep_m=0.1016)
    >>> round(float(flight.height_m) / 0.0254, 3)
    -14.396
    """
    speed, k = float(read_speed(speed_mps)), float(read_drag(drag_per_m))
    angle, slope = (
        float(read_angle(angle_rad, "angle_rad")),
        float(read_angle(slope_rad, "slope_rad")),
    )
    distance, peep = float(read_distance(distance_m)), float(read_peep(peep_m))
    crosswind = float(read_wind(crosswind_mps, "crosswind_mps"))
    headwind = float(read_wind(headwind_mps, "headwind_mps"))
    wind = np.array([-headwind * math.cos(slope), headwind * math.sin(slope), crosswind])
    gravity = np.array([-math.sin(slope), -math.cos(slope), 0.0]) * GRAVITY_MPS2

    def change(_: float, state: Array) -> Array:
        velocity = state[3:]
        through = velocity - wind
        force = -k * float(np.linalg.norm(through)) * through + gravity
        out: Array = np.concatenate([[1.0], velocity[1:], force]) / velocity[0]
        return out

    start = [0.0, -peep, 0.0, speed * math.cos(angle), speed * math.sin(angle), 0.0]
    solved = solve_ivp(change, (0.0, distance), start, method="DOP853", rtol=1e-12, atol=1e-13)
    if not solved.success:
        raise RigError(f"distance_m {tied(distance, 'm', '.6g')} is beyond the arrow's reach")
    time, height, drift, *velocity = (np.asarray(value) for value in solved.y[:, -1])
    return Flight(np.asarray(distance), height, time, np.asarray(np.linalg.norm(velocity)), drift)
