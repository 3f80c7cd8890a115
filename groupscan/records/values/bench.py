"""Rows of what was measured of a rig."""

from typing import Any

from groupscan.errors import StoreError
from groupscan.records.entries.bench import Pin, Speed
from groupscan.records.values.checks import day, positive, reference, uid, whole_number, words

__all__ = ["pin_row", "speed_row"]


def speed_row(entry: Speed) -> dict[str, Any]:
    """Return the columns of a reading, without those that the store itself keeps."""
    return {
        **uid(entry.uid),
        "rig_id": whole_number(entry.rig_id, "the rig of the reading"),
        "setup_id": reference(entry.setup_id, "the setup of the reading"),
        "build_id": reference(entry.build_id, "the build of the reading"),
        "taken_on": day(entry.taken_on, "the day of the reading"),
        "mass_g": _needed(entry.mass_g, "mass of the arrow, g,"),
        "speed_mps": _needed(entry.speed_mps, "speed of the arrow, m/s,"),
        "distance_m": positive(entry.distance_m, "distance to the chronograph, m,", zero=True),
        "source": words(entry.source),
        "notes": words(entry.notes),
    }


def pin_row(entry: Pin) -> dict[str, Any]:
    """Return the columns of a pin, without those that the store itself keeps."""
    return {
        **uid(entry.uid),
        "rig_id": whole_number(entry.rig_id, "the rig of the pin"),
        "setup_id": reference(entry.setup_id, "the setup of the pin"),
        "set_on": day(entry.set_on, "the day on which the pin was set"),
        "distance_m": _needed(entry.distance_m, "distance of the pin, m,"),
        "below_mm": positive(entry.below_mm, "place of the pin below the first, mm,", zero=True),
        "notes": words(entry.notes),
    }


def _needed(value: Any, what: str) -> float:
    found = positive(value, what)
    if found is None:
        raise StoreError(f"{what} is not said: give one above zero")
    return found
