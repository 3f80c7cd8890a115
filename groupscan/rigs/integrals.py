"""The integrals of an arrow's flight: a point mass with quadratic drag, in wind, on any slope.

The arrow's velocity through the air w obeys ``dw/dt = -k |w| w + g``. With ``tau`` from
``dtau/dt = R``, ``R = exp(k * path through the air)``, the velocity is ``w = (w0 + g tau) / R``,
and ``dR/dt = k |w0 + g tau|``. Multiplying by ``R = dtau/dt`` and integrating gives a first
integral, ``R^2 = 1 + 2 k F(tau)`` with ``F(tau)`` the integral of ``|w0 + g s|`` from 0 to tau. So
time and place are plain integrals over tau:

    t = int 1/R,   A = int 1/R^2,   B = int tau/R^2,   place = wind t + w0 A + g B,

with no differential equation left. Gauss-Legendre quadrature takes them to rounding error, because
the integrands are smooth (`NODES`), for all shots at once. This is the classical reduction of the
problem to quadratures (Johann Bernoulli, 1719), written with vectors so that it holds for wind from
any side and for steep shots.
"""

from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.polynomial.legendre import leggauss, legvander
from scipy.special import exprel

from groupscan.errors import RigError
from groupscan.rigs.given import Array
from groupscan.telling import tied

__all__ = ["GRAVITY_MPS2", "aim", "arrive", "in_blocks"]

# Standard gravity, exact by definition. True gravity differs by 0.3 % at most.
GRAVITY_MPS2: Final = 9.80665

# Where the air takes more than 6/7 of the speed the quadrature is no longer good to a hundredth of
# a millimetre, and no sight is made for such a shot.
MOST_SLOWING: Final = 2.0

# Ten nodes: to rounding error wherever an arrow keeps half of its speed;
# benchmarks/flight.py prints the errors.
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


class _Shot(NamedTuple):
    """Launch in the frame of the line of sight: along it, square to it (up), to the right."""

    along_mps: Array
    up_mps: Array
    right_mps: Array
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


def in_blocks(solve: Callable[..., Array], rows: int, arguments: Sequence[Array]) -> list[Array]:
    """Return what `solve` makes of arrays of one shape, block by block: `rows` arrays of it."""
    flat = [values.ravel() for values in arguments]
    out = np.empty((rows, flat[0].size))
    for start in range(0, out.shape[1], BLOCK):
        block = slice(start, start + BLOCK)
        # An arrow that turns round on its way is refused by name, not by a warning of numpy.
        with np.errstate(all="ignore"):
            out[:, block] = solve(*(values[block] for values in flat))
    return [row.reshape(arguments[0].shape) for row in out]


def arrive(
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


def aim(speed: Array, drag: Array, distance: Array, peep: Array, slope: Array) -> Array:
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
        f"distance_m {tied(float(far[0] if far.size else distance.max()), 'm', '.6g')} is beyond"
        " the arrow's reach with this speed, drag and slope; give a shorter distance"
    )


def _check_slowing(doubled: Array) -> None:
    if not (doubled <= 2 * MOST_SLOWING).all():
        raise RigError(
            "drag_per_m and distance_m together leave the arrow less than 1/7 of its speed;"
            " give a shorter distance or check the drag"
        )
