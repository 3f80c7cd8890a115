"""What was measured of the invented rigs: chronograph readings, pins, and a walk back.

A walk back is one arrow build shot with one pin from nearer and farther, without a touch of the
sight: where the arrows land tells launch speed and drag.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np

from groupscan.demo import effects as true
from groupscan.demo.club import BUILDS, COACH, SETUPS
from groupscan.demo.shooting import SEED, DrawnSession, DrawnShot
from groupscan.records.entries import Setup
from groupscan.rigs.energy import kinetic_energy_j
from groupscan.rigs.flight import fly, sight_angle
from groupscan.rigs.launch import launch_speed
from groupscan.rigs.sight import Sight, pin_positions
from groupscan.units import yd_to_m

__all__ = ["MeasuredPin", "Reading", "draw_pins", "draw_readings", "draw_walk_back"]

READ_ON: Final = {"Heron": date(2026, 4, 4), "Slate": date(2026, 5, 9), "Tern": date(2026, 8, 15)}
SET_ON: Final = {**READ_ON, "Heron": true.NEW_STRING}
SOURCE: Final = "club's chronograph, a step in front of the bow"
_AWAY_M: Final = 1.0
_SHOTS: Final = 6


@dataclass(frozen=True)
class Reading:
    """One reading of the chronograph: rig, build, day, and the speed at the chronograph, m/s."""

    rig: str
    build: str
    taken_on: date
    mass_g: float
    speed_mps: float
    distance_m: float


@dataclass(frozen=True)
class MeasuredPin:
    """One pin or mark of a rig's sight: where it is right, and its place below the first, mm."""

    rig: str
    set_on: date
    distance_m: float
    below_mm: float


def draw_readings(seed: int = SEED) -> tuple[Reading, ...]:
    """Draw the chronograph readings of every rig.

    Examples
    --------
    >>> sorted({(one.rig, one.build) for one in draw_readings()})[:2]
    [('Heron', 'Heron aluminium'), ('Heron', 'Heron brass')]
    """
    mass = {build.name: build.mass_g or 0.0 for build in BUILDS}
    virtual = true.HERON_VIRTUAL_G
    energy = float(kinetic_energy_j(mass["Heron aluminium"] + virtual, true.HERON_SPEED))
    brass = float(launch_speed(energy, virtual, mass["Heron brass"]))
    shot = (
        ("Heron", "Heron aluminium", true.HERON_SPEED),
        ("Heron", "Heron brass", brass),
        ("Slate", "Slate", true.SLATE_SPEED),
        ("Tern", "Slate", true.TERN_SPEED),
    )
    found = []
    for rig, build, speed in shot:
        rng = np.random.default_rng([seed, *f"speed of {build} from {rig}".encode()])
        at_bow = speed + rng.normal(0, true.SPEED_SD, _SHOTS)
        drag = true.TERN_DRAG if rig == "Tern" else true.PIN_DRAG
        seen = at_bow * np.exp(-drag * _AWAY_M)
        found += [
            Reading(rig, build, READ_ON[rig], mass[build], round(float(one), 1), _AWAY_M)
            for one in seen
        ]
    return tuple(found)


def draw_pins() -> tuple[MeasuredPin, ...]:
    """Return the pins of each rig, where its flight says that they belong, to a tenth of a mm.

    Examples
    --------
    >>> heron = [pin for pin in draw_pins() if pin.rig == "Heron"]
    >>> len(heron), heron[0].below_mm
    (5, 0.0)
    """
    of_rig = {
        "Heron": (true.HERON_YARDS, true.HERON_SPEED, true.PIN_DRAG),
        "Slate": (true.SLATE_YARDS, true.SLATE_SPEED, true.PIN_DRAG),
        "Tern": ((true.TERN_PIN_YARDS,), true.TERN_SPEED, true.TERN_DRAG),
    }
    found = []
    for rig, (yards, speed, drag) in of_rig.items():
        setup = _setup(rig)
        sight = Sight(speed, drag, setup.peep_height_mm or 0.0, setup.sight_radius_mm or 0.0)
        far = [yd_to_m(one) for one in yards]
        place = pin_positions(sight, far)
        found += [
            MeasuredPin(rig, SET_ON[rig], metres, round(float(one), 1))
            for metres, one in zip(far, place - place[0], strict=True)
        ]
    return tuple(found)


def draw_walk_back(seed: int = SEED) -> tuple[DrawnSession, ...]:
    """Draw the walk back of the rig Tern: a group from each distance, all with its one pin.

    Examples
    --------
    >>> groups = draw_walk_back()
    >>> groups[0].distance, groups[-1].distance, len(groups[0].shots)
    ('10 yd', '60 yd', 18)
    """
    return tuple(_walk_back(seed))


def _walk_back(seed: int) -> Iterator[DrawnSession]:
    peep_m = (_setup("Tern").peep_height_mm or 0.0) / 1000
    pin_m = yd_to_m(true.TERN_PIN_YARDS)
    angle = float(sight_angle(true.TERN_SPEED, true.TERN_DRAG, pin_m, peep_m=peep_m))
    for yards in true.WALK_BACK_YARDS:
        far = yd_to_m(yards)
        flown = fly(true.TERN_SPEED, angle, true.TERN_DRAG, [far], peep_m=peep_m)
        middle = 1000 * float(flown.height_m[0])
        called = f"Tern {true.WALK_BACK} from {yards} yd"
        rng = np.random.default_rng([seed, *called.encode()])
        shots: list[DrawnShot] = []
        for end in (1, 2, 3):
            for arrow in rng.permutation(6).tolist():
                right, high = rng.normal((0.0, middle), true.TERN_SIGMA * far).round(1).tolist()
                order = len(shots) + 1
                shots.append(DrawnShot(end, order, "field point", str(arrow + 1), right, high))
        yield DrawnSession(
            called=called,
            held_on=true.WALK_BACK,
            shooter=COACH.name,
            rig="Tern",
            build="",
            purpose="walk back with one pin",
            distance=f"{yards} yd",
            distance_m=far,
            weather="calm",
            temperature_c=15.0,
            wind_m_s=0.0,
            shots=tuple(shots),
        )


def _setup(rig: str) -> Setup:
    return next(setup for name, _, setup in reversed(SETUPS) if name == rig)
