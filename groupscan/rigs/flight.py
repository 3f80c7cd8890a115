"""The flight of an arrow as a point mass with quadratic drag, in wind, up- and downhill.

The arrow's velocity through the air w obeys ``dw/dt = -k |w| w + g``. With ``tau`` from
``dtau/dt = R``, ``R = exp(k * path through the air)``, the velocity is ``w = (w0 + g tau) / R``,
and ``dR/dt = k |w0 + g tau|``. Multiplying by ``R = dtau/dt`` and integrating gives a first
integral, ``R^2 = 1 + 2 k F(tau)`` with ``F(tau)`` the integral of ``|w0 + g s|`` from 0 to tau. So
time and place are plain integrals over tau:

    t = int 1/R,   A = int 1/R^2,   B = int tau/R^2,   place = wind t + w0 A + g B,

with no differential equation left. Gauss-Legendre quadrature takes them to rounding error, because
the integrands are smooth (`NODES`), for all shots at once. This is the classical reduction of the
problem to quadratures (Johann Bernoulli, 1719), written with vectors so that it holds for wind from
any side and for steep shots. `fly_reference` integrates the differential equation itself.
"""

import math
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.polynomial.legendre import leggauss, legvander
from numpy.typing import ArrayLike
from scipy.integrate import solve_ivp
from scipy.special import exprel

from groupscan.errors import RigError
from groupscan.rigs.given import Array, read_number, read_values

__all__ = ["GRAVITY_MPS2", "Flight", "fly", "fly_reference", "sight_angle"]

# Standard gravity, exact by definition. True gravity differs by 0.3 % at most.
GRAVITY_MPS2: Final = 9.80665

# Nothing shot from a bow by hand leaves it at more than about 160 m/s: a greater number was
# most likely meant in feet a second.
FASTEST_MPS: Final = 200.0
FARTHEST_M: Final = 1000.0
# A flu-flu, made to be stopped by the air, has about 0.02 a metre.
MOST_DRAG_PER_M: Final = 0.1
FASTEST_WIND_MPS: Final = 60.0
# The eye is a hand's width above the arrow; a metre was most likely meant in other units.
HIGHEST_PEEP_M: Final = 1.0

# Past e^2 in speed lost to the air the quadrature is no longer good to a hundredth of a millimetre,
# and no sight is made for such a shot.
MOST_SLOWING: Final = 2.0

# Twelve nodes: the nearest singularity of 1/R^2, where R = 0, lies so far off that the error falls
# by about 16 squared a node for a shot of 100 yd, and by 2 squared where the air takes 2/3 of the
# speed (benchmarks/flight.py prints the errors).
NODE_COUNT: Final = 10
_X, _W = leggauss(NODE_COUNT)
NODES: Final = (_X + 1) / 2
WEIGHTS: Final = _W / 2


def _running() -> Array:
    """Return the matrix that integrates from 0 to each node the polynomial through all nodes."""
    values = legvander(_X, NODE_COUNT)
    # The integral of P_n from -1 to x is (P_{n+1} - P_{n-1}) / (2 n + 1), that of P_0 is x + 1.
    integrals = np.column_stack([_X + 1, values[:, 2:] - values[:, :-2]])
    matrix: Array = integrals @ (values[:, :NODE_COUNT] * WEIGHTS[:, None]).T / 2
    return matrix


RUNNING: Final = _running()
LEAST_STRETCH: Final = 1e-9

# A shot is solved this near, and one more step, taken without new integrals, leaves the square.
NEAR_M: Final = 1e-6
NEAR_RAD: Final = 1e-9
MOST_STEPS: Final = 40
# Shots that are worked on together: their arrays stay in the cache.
BLOCK: Final = 2048


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


class _Shot(NamedTuple):
    """Launch in the frame of the line of sight: along it, square to it (up), to the right."""

    along_mps: Array
    up_mps: Array
    right_mps: Array
    drag_per_m: Array
    gravity_along: Array
    gravity_up: Array

    @property
    def speed_mps(self) -> Array:
        speed: Array = np.sqrt(self.along_mps**2 + self.up_mps**2 + self.right_mps**2)
        return speed

    @property
    def pull(self) -> Array:
        """The product of launch velocity and gravity."""
        return self.along_mps * self.gravity_along + self.up_mps * self.gravity_up


class _Path(NamedTuple):
    """Integrals to tau: time, A, B, and R there."""

    time: Array
    run: Array
    fall: Array
    slowing: Array


def _path(speed: Array, pull: Array, drag: Array, tau: Array) -> _Path:
    """Return the integrals to tau; all arrays have one shape (n,)."""
    doubled = 2 * drag
    # In flat fire R^2 grows as exp(stretch * share of the way): nodes laid out evenly in distance
    # leave little for the polynomial to follow. Any positive stretch is right, so zero is avoided.
    stretch = np.log1p(doubled * speed * tau) + LEAST_STRETCH
    grown = np.expm1(stretch * NODES[:, None])
    scale = tau / np.expm1(stretch)
    at = grown * scale
    width = (1 + grown) * (scale * stretch)
    rate = width * np.sqrt(speed**2 + at * (2 * pull + GRAVITY_MPS2**2 * at))
    by_square = 1 / (1 + doubled * (RUNNING @ rate))
    width_by_square = width * by_square
    return _Path(
        WEIGHTS @ (width * np.sqrt(by_square)),
        WEIGHTS @ width_by_square,
        WEIGHTS @ (at * width_by_square),
        np.sqrt(1 + doubled * (WEIGHTS @ rate)),
    )


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
    given = np.broadcast_arrays(
        _speed(speed_mps),
        read_values(
            angle_rad, "angle_rad", "rad", least=-1.5, most=1.5, advice="is it in degrees?"
        ),
        _drag(drag_per_m),
        _distance(distance_m, positive=False),
        _peep(peep_m),
        _angle(slope_rad, "slope_rad"),
        _wind(crosswind_mps, "crosswind_mps"),
        _wind(headwind_mps, "headwind_mps"),
    )
    shape = given[0].shape
    flat = [values.ravel() for values in given]
    out = np.empty((4, flat[0].size))
    for start in range(0, flat[0].size, BLOCK):
        block = slice(start, start + BLOCK)
        with np.errstate(all="ignore"):  # arrows that turn round: refused below by name
            out[:, block] = _fly(*(values[block] for values in flat))
    height, time, speed, drift = (row.reshape(shape) for row in out)
    return Flight(given[3].copy(), height, time, speed, drift)


def _fly(
    speed: Array,
    angle: Array,
    drag: Array,
    distance: Array,
    peep: Array,
    slope: Array,
    crosswind: Array,
    headwind: Array,
) -> Array:
    """Return height, time, speed and drift, stacked, of shots of shape (n,)."""
    wind_along, wind_up = -headwind * np.cos(slope), headwind * np.sin(slope)
    shot = _Shot(
        speed * np.cos(angle) - wind_along,
        speed * np.sin(angle) - wind_up,
        -crosswind,
        drag,
        -GRAVITY_MPS2 * np.sin(slope),
        -GRAVITY_MPS2 * np.cos(slope),
    )
    through_air, pull = shot.speed_mps, shot.pull
    # Flat fire for a start.
    over_ground = speed * np.cos(angle)
    slowed = 2 * drag * through_air * distance / over_ground
    _check_slowing(slowed)
    tau = distance / over_ground * exprel(slowed)
    for _ in range(MOST_STEPS):
        path = _path(through_air, pull, drag, tau)
        missing = distance - (
            wind_along * path.time + shot.along_mps * path.run + shot.gravity_along * path.fall
        )
        rate = (
            wind_along + (shot.along_mps + shot.gravity_along * tau) / path.slowing
        ) / path.slowing
        by = missing / rate
        if _all_near(missing, rate):
            break
        tau = _onward(tau, by, rate)
    else:
        raise _out_of_reach(missing, rate, distance)
    # One step more, so small that its square is below rounding.
    slowing = (
        path.slowing
        + drag
        * by
        * np.sqrt(through_air**2 + tau * (2 * pull + GRAVITY_MPS2**2 * tau))
        / path.slowing
    )
    time = path.time + by / slowing
    run = path.run + by / slowing**2
    fall = path.fall + tau * by / slowing**2
    tau = tau + by
    along = (shot.along_mps + shot.gravity_along * tau) / slowing + wind_along
    up = (shot.up_mps + shot.gravity_up * tau) / slowing + wind_up
    right = crosswind * (1 - 1 / slowing)
    return np.stack(
        [
            wind_up * time + shot.up_mps * run + shot.gravity_up * fall - peep,
            time,
            np.sqrt(along**2 + up**2 + right**2),
            crosswind * (time - run),
        ]
    )


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
    given = np.broadcast_arrays(
        _speed(speed_mps),
        _drag(drag_per_m),
        _distance(distance_m, positive=True),
        _peep(peep_m),
        _angle(slope_rad, "slope_rad"),
    )
    flat = [values.ravel() for values in given]
    out = np.empty(flat[0].size)
    for start in range(0, out.size, BLOCK):
        block = slice(start, start + BLOCK)
        with np.errstate(all="ignore"):
            out[block] = _aim(*(values[block] for values in flat))
    return out.reshape(given[0].shape)


def _aim(speed: Array, drag: Array, distance: Array, peep: Array, slope: Array) -> Array:
    """Return the angles of shots of shape (n,)."""
    gravity_along, gravity_up = -GRAVITY_MPS2 * np.sin(slope), -GRAVITY_MPS2 * np.cos(slope)
    # The launch velocity times A must make up for what gravity times B takes away. A and B hang on
    # the angle only through the drag, and weakly: the angle is carried along with tau.
    straight = np.hypot(distance, peep)
    slowed = 2 * drag * straight
    _check_slowing(slowed)
    tau = straight / speed * exprel(slowed)
    angle = np.arctan2(peep, distance)
    for _ in range(MOST_STEPS):
        pull = speed * (np.cos(angle) * gravity_along + np.sin(angle) * gravity_up)
        path = _path(speed, pull, drag, tau)
        along = distance - gravity_along * path.fall
        up = peep - gravity_up * path.fall
        needed = np.hypot(along, up)
        missing = needed - speed * path.run
        square = path.slowing**2
        rate = (speed + tau * (along * gravity_along + up * gravity_up) / needed) / square
        before, angle = angle, np.arctan2(up, along)
        if _all_near(missing, rate) and np.abs(angle - before).max(initial=0.0) < NEAR_RAD:
            break
        tau = _onward(tau, missing / rate, rate)
    else:
        raise _out_of_reach(missing, rate, distance)
    # The last step of tau, which the angle takes over by its change with B.
    fall = path.fall + tau / square * missing / rate
    last: Array = np.arctan2(peep - gravity_up * fall, distance - gravity_along * fall)
    return last


def _all_near(missing: Array, rate: Array) -> bool:
    """Tell whether all shots are within one step of their distance, and still on their way out."""
    return bool(((np.abs(missing) < NEAR_M) & (rate > 0)).all())


def _onward(tau: Array, by: Array, rate: Array) -> Array:
    """Take Newton's step within bounds; go back where the arrow has turned round."""
    step: Array = np.where(rate > 0, np.clip(by, -tau / 2, tau), -tau / 2)
    return tau + step


def _out_of_reach(missing: Array, rate: Array, distance: Array) -> RigError:
    """Return the error that names the first distance that was not reached."""
    far = distance[(np.abs(missing) >= NEAR_M) | (rate <= 0)]
    return RigError(
        f"distance_m {float(far[0] if far.size else distance.max()):.6g} m is beyond the arrow's"
        " reach with this speed, drag and slope; give a shorter distance"
    )


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
    numbers = [
        speed_mps, angle_rad, drag_per_m, distance_m, peep_m, slope_rad, crosswind_mps, headwind_mps
    ]  # fmt: skip
    speed, angle, k, distance, peep, slope, crosswind, headwind = (
        read_number(number, "each argument of a reference flight", "its unit") for number in numbers
    )
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
        raise RigError(f"distance_m {distance:.6g} m is beyond the arrow's reach")
    time, height, drift, *velocity = (np.asarray(value) for value in solved.y[:, -1])
    return Flight(np.asarray(distance), height, time, np.asarray(np.linalg.norm(velocity)), drift)


def _speed(given: ArrayLike) -> Array:
    return read_values(
        given, "speed_mps", "m/s", positive=True, most=FASTEST_MPS, advice="is it in ft/s?"
    )


def _drag(given: ArrayLike) -> Array:
    return read_values(
        given,
        "drag_per_m",
        "1/m",
        least=0.0,
        most=MOST_DRAG_PER_M,
        advice="an arrow's drag lies near 0.001; see drag_per_m() in drag.py",
    )


def _distance(given: ArrayLike, *, positive: bool) -> Array:
    return read_values(
        given,
        "distance_m",
        "m",
        least=0.0,
        most=FARTHEST_M,
        positive=positive,
        advice="is it in metres?",
    )


def _peep(given: ArrayLike) -> Array:
    return read_values(
        given,
        "peep_m",
        "m",
        least=-HIGHEST_PEEP_M,
        most=HIGHEST_PEEP_M,
        advice="give the height of the eye above the arrow in metres, about 0.1",
    )


def _angle(given: ArrayLike, field: str) -> Array:
    right_angle = math.pi / 2
    return read_values(
        given, field, "rad", least=-right_angle, most=right_angle, advice="is it in degrees?"
    )


def _wind(given: ArrayLike, field: str) -> Array:
    return read_values(
        given,
        field,
        "m/s",
        least=-FASTEST_WIND_MPS,
        most=FASTEST_WIND_MPS,
        advice="that is beyond any storm to shoot in",
    )


def _check_slowing(doubled: Array) -> None:
    if not (doubled <= 2 * MOST_SLOWING).all():
        raise RigError(
            "drag_per_m and distance_m together leave the arrow less than 1/7 of its speed;"
            " give a shorter distance or check the drag"
        )
