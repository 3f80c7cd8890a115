"""Simulated coverage of fits to groups at several distances: ``... coverage fit``.

A known rig shoots groups; what was measured beside it carries its own normal error. Each interval
is asked whether it holds the truth, which takes one more fit with the truth held instead of a
search for the ends. Where the drag is held over a range, the true drag is drawn from that range.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchmarks.coverage.rows import Row
from groupscan.rigs.fit import fit_groups
from groupscan.rigs.fit.design import Design, Seen
from groupscan.rigs.fit.intervals import holds, value_of
from groupscan.rigs.fit.model import Rigs, outcomes
from groupscan.rigs.fit.predict import predict
from groupscan.rigs.fit.solve import solve
from groupscan.rigs.flight import sight_angle

LEVEL = 0.95
YARD = 0.9144
# 280 ft/s, Cd 2.0 of 535 gr and 6 mm; peep 4 in above the arrow, 34 in before the pins.
SPEED_MPS, DRAG_PER_M, PEEP_MM, RADIUS_MM = 85.344, 9.990955e-4, 101.6, 863.6
# Cd 1.5 to 2.6 of the same arrow.
PUBLISHED = (7.493216e-4, 1.2988241e-3)
# The pins whose predicted positions are judged: inside and beyond the distances shot.
PINS_M = np.array([25, 45, 90]) * YARD
# Fits and their profiles take a tenth of a millisecond a data set, `fit_groups` a tenth of a
# second.
SLOWER, ONE_BY_ONE = 10, 250
CHUNK = 2000
# Of data sets that fit best with less drag than none, the share from which on pins are not judged.
NEGATIVE = 0.02

Array = NDArray[np.float64]
Held = NDArray[np.bool_]


@dataclass(frozen=True)
class Case:
    """What is shot: distances, arrows at each, scatter (mrad); what is measured beside."""

    yards: tuple[int, ...]
    shots: int
    sigma: float
    speed_se: float | None = None
    peep_se: float | None = None
    # Yards of the second pin's groups, if there is one.
    second: tuple[int, ...] = ()

    @property
    def design(self) -> Design:
        """The groups as the fit takes them."""
        distance = np.array(self.yards + self.second) * YARD
        pin = np.repeat([0, 1], [len(self.yards), len(self.second)])
        return Design(
            distance,
            pin,
            2 if self.second else 1,
            self.shots / distance**2,
            len(distance) * (self.shots - 1),
            self.speed_se,
            self.peep_se,
        )


FREE = {
    "one pin": Case((10, 20, 30, 40, 50, 60, 70, 80), 12, 1.0),
    "tight": Case((10, 20, 30, 40, 50, 60, 70, 80), 24, 0.3),
    "peep": Case((10, 20, 30, 40, 50, 60, 70), 12, 1.0, peep_se=2.0),
    "peep, speed": Case((10, 20, 30, 40, 50, 60), 6, 1.0, speed_se=0.5, peep_se=2.0),
    "few shots": Case((20, 30, 40, 50, 60), 3, 0.7, speed_se=0.5, peep_se=2.0),
    "two pins": Case((10, 20, 30, 40, 50), 6, 1.0, 0.5, 2.0, second=(30, 40, 50, 60, 70)),
}
HELD = {
    "3 distances": Case((20, 30, 40), 6, 1.0, peep_se=2.0),
    "5 distances": Case((10, 20, 30, 40, 50), 6, 1.0),
    "60 yd, many": Case((20, 30, 40, 50, 60), 24, 0.5, peep_se=2.0),
}


def _simulated(case: Case, drag: Array, rng: np.random.Generator) -> tuple[Design, Seen, Rigs]:
    """Return data sets of a rig, one for each true drag."""
    design, sets = case.design, len(drag)
    pins = np.array([20.0, 40.0])[: design.pins] * YARD
    angle = sight_angle(SPEED_MPS, drag[:, np.newaxis], pins, peep_m=PEEP_MM / 1000)
    speed, peep = np.full(sets, SPEED_MPS), np.full(sets, PEEP_MM)
    truth = Rigs(speed, drag, peep, np.tan(angle))
    mean = outcomes(design, truth)
    n = len(design.distance_m)
    se = np.concatenate([case.sigma / np.sqrt(design.precision), design.outside_se])
    drawn = mean + se * rng.standard_normal(mean.shape)
    within = case.sigma**2 * rng.chisquare(design.within_df, sets)
    return design, Seen(drawn[:, :n], within, drawn[:, n:]), truth


def _true_pins(truth: Rigs, below: int | None) -> Array:
    angle = sight_angle(SPEED_MPS, truth.drag_per_m[:, np.newaxis], PINS_M, peep_m=PEEP_MM / 1000)
    from_ = 0.0 if below is None else truth.tangent[:, [below]]
    position: Array = RADIUS_MM * (np.tan(angle) - from_)
    return position


def _fitted(case: Case, sets: int, rng: np.random.Generator) -> dict[str, float]:
    """Return the share of intervals that hold the truth, drag fitted."""
    found: dict[str, list[Array | Held]] = {}
    negative: list[Held] = []
    for first in range(0, sets, CHUNK):
        drag = np.full(min(CHUNK, sets - first), DRAG_PER_M)
        design, seen, truth = _simulated(case, drag, rng)
        fit = solve(design, seen, {})
        for name, true in (("speed", SPEED_MPS), ("drag", DRAG_PER_M), ("peep", PEEP_MM)):
            found.setdefault(name, []).append(holds(design, seen, fit, name, true, LEVEL))
        for what, below in (("pin", None), ("pin from pin", 0)):
            position, half = predict(fit, PINS_M, RADIUS_MM, below, LEVEL)
            held = np.abs(position - _true_pins(truth, below)) <= half
            for place, metres in enumerate(PINS_M):
                name = f"{what}, {metres / YARD:.0f} yd"
                found.setdefault(name, []).append(held[:, place])
        negative.append(fit.rigs.drag_per_m < 0)
    if np.concatenate(negative).mean() > NEGATIVE:
        # `fit_groups` predicts no pins from such a drag: it holds it.
        found |= {name: [np.full(1, math.nan)] for name in found if name.startswith("pin")}
    return {name: float(np.concatenate(one).mean()) for name, one in found.items()}


def _missed_held(case: Case, sets: int, rng: np.random.Generator) -> tuple[float, float]:
    """Return how often the drag held over its range misses speed, and the farthest pin."""
    drag = rng.uniform(*PUBLISHED, sets)
    design, seen, truth = _simulated(case, drag, rng)
    true_pin = _true_pins(truth, 0)[:, -1]
    # An interval over all fits misses where each fit's own misses on the same side.
    above, below = np.ones((2, 2, sets), bool)
    for held in (np.sqrt(PUBLISHED[0] * PUBLISHED[1]), *PUBLISHED):
        fit = solve(design, seen, {"drag": np.full(sets, held)})
        misses = ~holds(design, seen, fit, "speed", SPEED_MPS, LEVEL)
        position, half = predict(fit, PINS_M[-1:], RADIUS_MM, 0, LEVEL)
        over = np.array([value_of(fit, "speed") - SPEED_MPS, position[:, 0] - true_pin])
        outside = np.array([misses, np.abs(over[1]) > half[:, 0]])
        above &= outside & (over > 0)
        below &= outside & (over < 0)
    speed, pin = (above | below).mean(axis=1)
    return float(speed), float(pin)


def _missed_by_the_whole(case: Case, sets: int, rng: np.random.Generator) -> float:
    """Return how often `fit_groups`, with all that it decides itself, misses the speed."""
    drag = rng.uniform(*PUBLISHED, sets)
    design, seen, _ = _simulated(case, drag, rng)
    df = case.shots - 1
    missed = 0
    for height, outside in zip(seen.height_mm, seen.outside, strict=True):
        se = np.sqrt(case.sigma**2 * rng.chisquare(df, len(height)) / df / design.precision)
        known = list(outside)
        fit = fit_groups(
            design.distance_m,
            height,
            se_mm=se,
            shots=case.shots,
            speed_mps=(known.pop(0), case.speed_se) if case.speed_se else None,
            peep_mm=(known.pop(0), case.peep_se) if case.peep_se else None,
            published_drag_per_m=PUBLISHED,
        )
        missed += not fit.speed_mps.low <= SPEED_MPS <= fit.speed_mps.high
    return missed / sets


def rows(groups: int, seed: int) -> list[Row]:
    """Return the coverage of fitted values and pins, and the rates of misses with drag held."""
    rng = np.random.default_rng(seed)
    sets = max(groups // SLOWER, 1)
    shares = {name: _fitted(case, sets, rng) for name, case in FREE.items()}
    names = {"speed": "launch speed", "drag": "drag", "peep": "peep height"}
    found = [
        Row(
            names.get(what, what),
            "approximate",
            LEVEL,
            {name: share[what] for name, share in shares.items()},
            sets,
        )
        for what in next(iter(shares.values()))
    ]
    missed = {name: _missed_held(case, sets, rng) for name, case in HELD.items()}
    for place, what in enumerate(("launch speed", "90 yd pin from pin")):
        by_case: dict[int | str, float] = {name: one[place] for name, one in missed.items()}
        found.append(Row(f"{what} missed, drag held", "rate", 1 - LEVEL, by_case, sets))
    few = max(groups // ONE_BY_ONE, 1)
    cases = {"peep, speed": FREE["peep, speed"], "5 distances": HELD["5 distances"]}
    whole: dict[int | str, float] = {
        name: _missed_by_the_whole(case, few, rng) for name, case in cases.items()
    }
    found.append(Row("launch speed missed, all decisions", "rate", 1 - LEVEL, whole, few))
    return found
