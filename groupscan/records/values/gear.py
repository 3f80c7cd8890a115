"""Rows of shooters, rigs, setups, builds, arrows and heads."""

from collections.abc import Mapping
from typing import Any, TypeVar

from groupscan.errors import StoreError
from groupscan.records.entries.gear import (
    ARROW_STATES,
    BOWS,
    HANDS,
    HEAD_KINDS,
    Arrow,
    Build,
    Head,
    Rig,
    Setup,
    Shooter,
)
from groupscan.records.values.checks import (
    choice,
    day,
    missing,
    name,
    number,
    positive,
    reference,
    whole_number,
    words,
)

__all__ = ["Gear", "gear_from_row", "gear_row"]

Gear = Shooter | Rig | Setup | Build | Arrow | Head
_G = TypeVar("_G", Shooter, Rig, Setup, Build, Arrow, Head)

_STORES_OWN = frozenset({"id", "revision", "first_id"})
_CHOICES: dict[str, tuple[str, ...]] = {
    "hand": HANDS,
    "bow": BOWS,
    "kind": HEAD_KINDS,
    "state": ARROW_STATES,
}


def gear_row(entry: Gear) -> dict[str, Any]:
    """Return the columns of an entry, without those that the store itself keeps."""
    kind = type(entry).__name__.lower()
    return {
        field: _value(field, getattr(entry, field), kind)
        for field in type(entry).__dataclass_fields__
        if field not in _STORES_OWN
    }


def gear_from_row(kind: type[_G], row: Mapping[str, Any]) -> _G:
    """Return the entry of one row."""
    return kind(**{field: row[field] for field in kind.__dataclass_fields__})


def _value(field: str, value: Any, kind: str) -> Any:
    what = f"{field} of the {kind}"
    if field in ("name", "number"):
        return name(value, what)
    if field in _CHOICES:
        return choice(value, _CHOICES[field], what)
    if field.endswith("_id"):
        return whole_number(value, what) if field == "rig_id" else reference(value, what)
    if field in ("since", "state_since"):
        return None if missing(value) and field == "state_since" else day(value, what)
    if field == "blades":
        return _count(value, what)
    if field == "spine" or field.endswith(("_mm", "_g", "_n", "_g_per_m")):
        part = kind == "build" and field.endswith("_g") and field != "mass_g"
        return positive(value, what, zero=part)
    return words(value)


def _count(value: Any, what: str) -> int | None:
    if missing(value):
        return None
    found = number(value, what)
    if found is None or found != int(found) or not 0 <= found < 100:
        raise StoreError(f"{what} is {value!r}: give a whole number from 0")
    return int(found)
