"""What the records keep that was measured of a rig: chronograph readings, and its sight's pins."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from groupscan.decisions.rig_bench.air_and_drag import air_of, drag_of
from groupscan.decisions.rig_bench.known import with_parts
from groupscan.decisions.rig_bench.launching import LaunchBench, launch_of
from groupscan.errors import RigError

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from groupscan.decisions.rig_bench.known import KnownRig
    from groupscan.records.store import Store
    from groupscan.rigs.chronograph import Chronograph

__all__ = [
    "KeptPins",
    "KeptReadings",
    "KeptSpeed",
    "kept_launch",
    "kept_pins",
    "kept_readings",
    "kept_speed",
]

_ALIKE_G: Final = 0.05
"""Masses that a scale hardly parts are one arrow's."""


@dataclass(frozen=True)
class KeptReadings:
    """The chronograph readings of a rig that tell of it as it is set up.

    Attributes
    ----------
    readings : DataFrame
        Of `groupscan.records.store.list_speeds`, those of today's draw weight and length.
    others : DataFrame
        The readings of another draw weight or length, which shot at another speed.
    notes : tuple of str
    """

    readings: pd.DataFrame
    others: pd.DataFrame
    notes: tuple[str, ...]


@dataclass(frozen=True)
class KeptSpeed:
    """The launch speed of an arrow, from readings that are kept.

    Attributes
    ----------
    speed_mps : float
    basis : str
        Where it comes from, in words.
    measured : Chronograph or None
        The readings' own statistics; None where the speed was carried over from other masses.
    """

    speed_mps: float
    basis: str
    measured: Chronograph | None


@dataclass(frozen=True)
class KeptPins:
    """The pins of a rig's sight as they were set last.

    Attributes
    ----------
    set_on : date
    distance_m : tuple of float
        Nearest first.
    below_mm : tuple of float
        How far each stands below the first on the sight; NaN where not measured.
    notes : tuple of str
    """

    set_on: date
    distance_m: tuple[float, ...]
    below_mm: tuple[float, ...]
    notes: tuple[str, ...]

    def gaps_mm(self) -> tuple[float, ...]:
        """Return the measured gap from each pin to the next; NaN after the last."""
        pairs = zip(self.below_mm, self.below_mm[1:], strict=False)
        return (*(after - before for before, after in pairs), math.nan)


def kept_readings(store: Store, rig_id: int, *, on: date | None = None) -> KeptReadings:
    """Return the chronograph readings that tell of a rig as it is set up on a day.

    Launch speed goes by draw weight, draw length and mass: a reading of another weight or length
    is set aside. One whose setup does not say them counts.

    Parameters
    ----------
    store : Store
    rig_id : int
    on : date, optional
        The day; left out: today. What was read later counts too while its setup stood.
    """
    from groupscan.records.store import list_setups, list_speeds
    from groupscan.records.taken_over import DAY_NOT_KNOWN

    table, setups = list_speeds(store, rig_id), list_setups(store, rig_id)
    day = on or date.today()
    table = table[table["taken_on"].dt.date <= _last_day(setups, day)].reset_index(drop=True)
    held = setups[setups["since"].dt.date <= day]
    drawn = setups.set_index("id")[["draw_weight_n", "draw_length_mm"]]
    dateless = table.loc[table["source"] == DAY_NOT_KNOWN, "taken_on"]
    notes: tuple[str, ...] = ()
    if len(dateless):
        notes = (
            f"Of {len(dateless)} readings the day is not known, {dateless.max():%Y-%m-%d} is the"
            " latest that it can have been: delete those that were shot with the bow set up"
            " otherwise.",
        )
    if not len(held) or not len(table):
        return KeptReadings(table, table.iloc[:0], notes)
    today = drawn.loc[held["id"].iloc[-1]]
    then = drawn.reindex(table["setup_id"].astype("float64"))
    other = ((then - today).abs() > 1e-6 * today.abs()).any(axis=1).to_numpy()
    if other.any():
        notes += (
            f"{other.sum()} readings are left out: they were taken at another draw weight or length"
            " than that of the setup.",
        )
    return KeptReadings(
        table[~other].reset_index(drop=True), table[other].reset_index(drop=True), notes
    )


def kept_launch(
    kept: KeptReadings, known: KnownRig, *, predict_g: Sequence[float] = ()
) -> LaunchBench | None:
    """Return what kept readings say of the bow; None without any.

    The speeds told are those at the bow: what the air took on the way to the chronograph is put
    back where the arrow's drag is known.

    Parameters
    ----------
    kept : KeptReadings
    known : KnownRig
        The rig as it is set up; its shaft tells the drag of all masses.
    predict_g : sequence of float
        Masses of arrows that were not shot.

    Raises
    ------
    RigError
        If the readings cannot be of one bow.
    """
    table = kept.readings
    if not len(table):
        return None
    mass = table["mass_g"].tolist()
    away = table["distance_m"].fillna(0.0).tolist()
    at_bow: list[float] = []
    notes = list(kept.notes)
    for grams, speed, metres in zip(mass, table["speed_mps"].tolist(), away, strict=True):
        try:
            drag = drag_of(with_parts(known, mass_g=grams), air_of()).per_m if metres else 0.0
        except RigError:
            drag = 0.0
            notes.append(
                "Some speeds are those at the chronograph, in front of the bow: with the diameter"
                " of the shaft the speed at the bow is told, a thousandth or two more a metre."
            )
        at_bow.append(speed * math.exp(drag * metres))
    told = launch_of(mass, at_bow, predict_g=predict_g, draw_weight_n=known.draw_weight_n)
    if any(away) and at_bow != table["speed_mps"].tolist():
        notes.append("What the air took on the way to the chronograph is put back.")
    return LaunchBench(
        told.mass_g,
        told.speeds,
        told.launch,
        told.predicted,
        told.grains_per_pound,
        told.warnings,
        tuple(dict.fromkeys((*notes, *told.notes))),
        told.caution,
    )


def kept_speed(kept: KeptReadings, known: KnownRig) -> KeptSpeed | None:
    """Return the launch speed of a rig's arrow from kept readings; None where they tell none.

    Readings of its very mass come first; else the bow's virtual mass carries those of two other
    masses over.

    Raises
    ------
    RigError
        If the readings cannot be of one bow, or the mass of the arrow is not known.
    """
    grams = known.mass_g()
    told = kept_launch(kept, known, predict_g=(grams,))
    if told is None:
        return None
    for mass, one in zip(told.mass_g, told.speeds, strict=True):
        if abs(mass - grams) <= _ALIKE_G:
            return KeptSpeed(one.speed_mps, "measured by chronograph", one)
    if told.predicted is None:
        return None
    speed = float(told.predicted.speed_mps[0])
    return KeptSpeed(speed, "from the chronograph, for this mass", None)


def kept_pins(store: Store, rig_id: int, *, on: date | None = None) -> KeptPins | None:
    """Return the pins of a rig's sight as it is set up on a day; None where none are kept.

    Parameters
    ----------
    store : Store
    rig_id : int
    on : date, optional
        The day; left out: today. Pins that were set later count too while its setup stood.
    """
    from groupscan.records.store import list_pins, list_setups
    from groupscan.records.taken_over import DAY_NOT_KNOWN

    day = on or date.today()
    table, setups = list_pins(store, rig_id), list_setups(store, rig_id)
    table = table[table["set_on"].dt.date <= _last_day(setups, day)]
    if not len(table):
        return None
    table = table[table["set_on"] == table["set_on"].iloc[-1]]
    set_on = table["set_on"].iloc[-1].date()
    since = setups["since"].dt.date
    later = setups[(since > set_on) & (since <= day)]
    notes: tuple[str, ...] = ()
    if (table["notes"] == DAY_NOT_KNOWN).any():
        notes = (
            f"The day on which the pins were set is not known, {set_on} is the latest that it can"
            " have been: prove them again.",
        )
    elif len(later):
        what = str(later["changed"].iloc[-1]) or "another setup"
        notes = (
            f"The pins were set on {set_on}, before the setup of {later['since'].iloc[-1]:%Y-%m-%d}"
            f" ({what}): prove them again.",
        )
    return KeptPins(
        set_on, tuple(table["distance_m"].tolist()), tuple(table["below_mm"].tolist()), notes
    )


def _last_day(setups: pd.DataFrame, day: date) -> date:
    """Return the last day on which a rig is set up as on a day: that before its next setup."""
    since = setups["since"].dt.date
    later = since[since > day]
    return max(day, date.today()) if later.empty else later.min() - timedelta(days=1)
