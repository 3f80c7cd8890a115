"""Heights and outside measurements that a rig would give, and how they hang on it.

The parameters are those in which heights are all but linear: u = 1/v^2 scales the drop, w = k/v^2
what drag adds to it, and peep height and the tangents of the sight angles are straight lines:

    height = -peep + d tan(a) - g u d^2/2 - g w d^3/3 - ...

so that Gauss-Newton steps land where they should, whatever the start. The heights themselves come
from the flight.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from groupscan.rigs.fit.design import Design
from groupscan.rigs.flight import fly
from groupscan.rigs.given import Array

__all__ = ["Held", "Rigs", "derivatives", "inside", "outcomes", "parameters", "rigs_of"]

# What is not fitted but held, by name: "speed" (m/s), "drag" (1/m), "peep" (mm); one a data set.
Held = Mapping[str, Array]

SPEEDS_MPS = 15.0, 195.0
PEEPS_MM = -900.0, 900.0
# Drag is searched for within what slows an arrow by this many e-folds at the farthest group.
MOST_SLOWING = 1.5
# Steps of u, w (of u), peep (mm) and tangents for central differences.
STEPS = 1e-4, 1e-5, 1e-1, 1e-4


@dataclass(frozen=True)
class Rigs:
    """Rigs, one for each of b data sets: (b,) arrays, and tangents of sight angles (b, pins)."""

    speed_mps: Array
    drag_per_m: Array
    peep_mm: Array
    tangent: Array


def rigs_of(q: Array, held: Held) -> Rigs:
    """Return the rigs of parameters (b, p): u, w and peep, as far as not held, then tangents."""
    columns = list(q.T)
    square = held["speed"] ** -2.0 if "speed" in held else columns.pop(0)
    drag = held["drag"] if "drag" in held else columns.pop(0) / square
    peep = held["peep"] if "peep" in held else columns.pop(0)
    return Rigs(square**-0.5, drag, peep, np.stack(columns, axis=1))


def parameters(rigs: Rigs, held: Held) -> Array:
    """Return the parameters (b, p) of rigs."""
    square = rigs.speed_mps**-2.0
    columns = {"speed": square, "drag": rigs.drag_per_m * square, "peep": rigs.peep_mm}
    free = [column for name, column in columns.items() if name not in held]
    return np.concatenate([np.stack(free, axis=1), rigs.tangent], axis=1) if free else rigs.tangent


def most_drag(design: Design) -> float:
    """Return the bound within which drag is searched for, 1/m."""
    return float(MOST_SLOWING / design.distance_m.max())


def inside(design: Design, rigs: Rigs) -> Rigs:
    """Return the rigs moved to where arrows fly at all."""
    most = most_drag(design)
    return Rigs(
        np.clip(rigs.speed_mps, *SPEEDS_MPS),
        np.clip(rigs.drag_per_m, -most, most),
        np.clip(rigs.peep_mm, *PEEPS_MM),
        np.clip(rigs.tangent, -0.5, 0.5),
    )


def outcomes(design: Design, rigs: Rigs) -> Array:
    """Return what the rigs would give, (b, n + m): heights, mm, then outside measurements.

    Noise can ask for less drag than none. Below zero the flight is continued by its mirror image,
    which keeps value and slope.
    """
    drag = rigs.drag_per_m
    heights = _heights(design, rigs, np.abs(drag))
    if (drag < 0).any():
        mirrored = 2 * _heights(design, rigs, np.zeros_like(drag)) - heights
        heights = np.where(drag[:, np.newaxis] < 0, mirrored, heights)
    parts = [heights]
    if design.speed_se is not None:
        parts.append(rigs.speed_mps[:, np.newaxis])
    if design.peep_se is not None:
        parts.append(rigs.peep_mm[:, np.newaxis])
    if design.radius_mm is not None:
        parts.append(design.radius_mm * np.diff(rigs.tangent, axis=1))
    return np.concatenate(parts, axis=1)


def _heights(design: Design, rigs: Rigs, drag: Array) -> Array:
    flight = fly(
        rigs.speed_mps[:, np.newaxis],
        np.arctan(rigs.tangent)[:, design.pin],
        drag[:, np.newaxis],
        design.distance_m,
        peep_m=rigs.peep_mm[:, np.newaxis] / 1000,
    )
    heights: Array = 1000 * flight.height_m
    return heights


def derivatives(function: Callable[[Rigs], Array], q: Array, held: Held) -> Array:
    """Return the derivatives of a function of the rigs, (b, m), by the parameters, (b, m, p)."""
    rigs = rigs_of(q, held)
    square = rigs.speed_mps**-2.0
    steps = {"speed": STEPS[0] * square, "drag": STEPS[1] * square, "peep": STEPS[2] + 0 * square}
    free = [step for name, step in steps.items() if name not in held]
    step = np.stack(free + [STEPS[3] + 0 * square] * rigs.tangent.shape[1], axis=1)
    # All steps at once, each up and down: one flight is no quicker than many.
    sets, count = q.shape
    move = step[:, :, np.newaxis] * np.eye(count)
    moved = np.stack([q[:, np.newaxis] + move, q[:, np.newaxis] - move], axis=2)
    many = {name: np.repeat(one, 2 * count) for name, one in held.items()}
    found = function(rigs_of(moved.reshape(-1, count), many)).reshape(sets, count, 2, -1)
    slopes: Array = (found[:, :, 0] - found[:, :, 1]) / (2 * step[:, :, np.newaxis])
    return slopes.swapaxes(1, 2)
