"""A made-up rig whose arrows fly by the law: groups at six distances, all with one pin."""

from datetime import date

import numpy as np

from groupscan.records.entries import Arrow, Build, Head, Rig, Session, Setup, Shooter
from groupscan.records.store import (
    Outing,
    ScanRecord,
    ShotRecord,
    Speed,
    add_setup,
    add_speeds,
    save_arrow,
    save_build,
    save_head,
    save_outings,
    save_rig,
    save_shooter,
)
from groupscan.rigs.flight import fly, sight_angle

SPEED_MPS, DRAG_PER_M, PEEP_MM, RADIUS_MM = 88.0, 0.0013, 110.0, 860.0
SIGMA_MRAD = 1.4
DISTANCES_M = (15.0, 20.0, 30.0, 40.0, 50.0, 60.0)
READINGS = {26.0: (88.1, 87.9, 88.0), 29.0: (84.4, 84.2, 84.5)}
HOSTILE = "<b>Wren</b> $x$ *y* | `z`"


def keep_gear(store, *, name="Wren"):
    """Keep a shooter, a rig with two setups, two builds with arrows, a head; return the rig."""
    shooter = save_shooter(store, Shooter(name="Ilse Marrow"))
    parts = {
        "shooter_id": shooter, "shaft_mm": 6.2, "length_mm": 720.0, "shaft_g_per_m": 21.0,
        "insert_g": 2.0, "point_g": 6.5, "fletching_g": 1.5, "nock_g": 0.7, "balance_mm": 450.0,
    }  # fmt: skip
    light = save_build(store, Build(name="Reed", mass_g=26.0, **parts))
    save_build(store, Build(name="Oak", **(parts | {"insert_g": 5.0, "mass_g": 29.0})))
    rig = save_rig(store, Rig(name=name, shooter_id=shooter, bow="compound"))
    setup = {"rig_id": rig, "sight_radius_mm": RADIUS_MM, "build_id": light}
    add_setup(store, Setup(since=date(2026, 1, 1), draw_weight_n=250.0, **setup))
    add_setup(
        store,
        Setup(since=date(2026, 3, 1), draw_weight_n=270.0, peep_height_mm=PEEP_MM,
              changed="new string", **setup),
    )  # fmt: skip
    for number in ("1", "2"):
        save_arrow(store, Arrow(number=number, build_id=light, shooter_id=shooter))
    save_head(store, Head(name="field", kind="field point", mass_g=6.5))
    return rig


def keep_readings(store, readings=READINGS, *, rig=1, on=date(2026, 4, 1), **more):
    """Keep chronograph readings, m/s by mass, g."""
    return add_speeds(
        store,
        [Speed(rig_id=rig, taken_on=on, mass_g=mass, speed_mps=one, **more)
         for mass, speeds in readings.items() for one in speeds],
    )  # fmt: skip


def keep_groups(store, *, rig="Wren", shots=8):
    """Keep a session at each distance, shot with the pin for 20 m on the aim."""
    angle = float(sight_angle(SPEED_MPS, DRAG_PER_M, 20.0, peep_m=PEEP_MM / 1000))
    flown = fly(SPEED_MPS, angle, DRAG_PER_M, DISTANCES_M, peep_m=PEEP_MM / 1000)
    rng = np.random.default_rng(7)
    outings = []
    for day, (far, high) in enumerate(zip(DISTANCES_M, 1000 * flown.height_m, strict=True), 1):
        places = rng.normal((0.0, high), SIGMA_MRAD * far, (shots, 2))
        session = Session(
            held_on=date(2026, 4, day), shooter="Ilse Marrow", rig=rig, distance_m=far
        )
        holes = tuple(
            ShotRecord(number=n, x_mm=float(x), y_mm=float(y), head="field")
            for n, (x, y) in enumerate(places, 1)
        )
        outings.append(Outing(session, [ScanRecord(session_id=0, shots=holes)]))
    save_outings(store, outings)
