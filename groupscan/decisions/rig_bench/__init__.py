"""The rig bench: builds, launch, flight, pins, the fit to groups, two rigs side by side.

Every question takes plain values or entries and gives a frozen result with tables, units in the
names of their columns, notes on what it rests on, and a caution to show beside the numbers.
Amounts of a build come from `groupscan.rigs.build.measure_arrow` and
`groupscan.rigs.what_if.what_if`, with a `KnownRig`'s ``parts``.
"""

from groupscan.decisions.rig_bench.air_and_drag import Air, Drag, air_of, drag_of
from groupscan.decisions.rig_bench.chances import Chances, pin_chances
from groupscan.decisions.rig_bench.fitting import FitBench, fit_of, heights_of
from groupscan.decisions.rig_bench.flights import NO_LICENCE, FlightTable, flight_table
from groupscan.decisions.rig_bench.kept import (
    KeptPins,
    KeptReadings,
    KeptSpeed,
    kept_launch,
    kept_pins,
    kept_readings,
    kept_speed,
)
from groupscan.decisions.rig_bench.known import (
    KnownRig,
    known_build,
    known_rig,
    rig_of_store,
    with_parts,
)
from groupscan.decisions.rig_bench.launching import (
    LaunchBench,
    launch_of,
    ratings_frame,
    speed_by_mass,
)
from groupscan.decisions.rig_bench.pins import (
    BestPins,
    PinBench,
    best_pins_of,
    pins_of,
)
from groupscan.decisions.rig_bench.scatter import RigScatter, given_scatter, scatter_mrad_of
from groupscan.decisions.rig_bench.setups import (
    Measured,
    Side,
    SideBySide,
    measured_of,
    side_by_side,
    side_of,
)

__all__ = [
    "NO_LICENCE",
    "Air",
    "BestPins",
    "Chances",
    "Drag",
    "FitBench",
    "FlightTable",
    "KeptPins",
    "KeptReadings",
    "KeptSpeed",
    "KnownRig",
    "LaunchBench",
    "Measured",
    "PinBench",
    "RigScatter",
    "Side",
    "SideBySide",
    "air_of",
    "best_pins_of",
    "drag_of",
    "fit_of",
    "flight_table",
    "given_scatter",
    "heights_of",
    "kept_launch",
    "kept_pins",
    "kept_readings",
    "kept_speed",
    "known_build",
    "known_rig",
    "launch_of",
    "measured_of",
    "pin_chances",
    "pins_of",
    "ratings_frame",
    "rig_of_store",
    "scatter_mrad_of",
    "side_by_side",
    "side_of",
    "speed_by_mass",
    "with_parts",
]
