"""Readings and pins that earlier versions kept among the preferences, taken into the records.

Until revision 0004 the chronograph readings and the pins of a rig were answers that the rig bench
remembered, as they were typed. Archives leave preferences out, so they are kept as rows now.
"""

import uuid
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import date, datetime
from typing import Any, Final

import sqlalchemy as sa

from groupscan.errors import GroupscanError, StoreError, UnitError
from groupscan.records.connect import Store, reading
from groupscan.records.entries.bench import Pin, Speed
from groupscan.records.measured import add_pins, add_speeds
from groupscan.records.preferences import (
    PREFERENCES_FILE,
    Preferences,
    read_preferences,
    save_preferences,
)
from groupscan.records.schema import build, pin, rig, setup, speed
from groupscan.several import parse_distances, parse_readings

__all__ = ["DAY_NOT_KNOWN", "take_over"]

_ANSWERS: Final = "bench_"
_FAMILY: Final = uuid.UUID("0f5c7a52-7c1b-5b1e-8d60-2f6f3f0f9a10")
"""Any fixed number: what is taken over twice has one identity, and is kept once."""
DAY_NOT_KNOWN: Final = "typed on the rig bench; the day is the latest that it can have been"
"""What stands as the source of readings, and with pins, whose day nobody wrote down."""
_ALIKE_G: Final = 0.05  # masses that a scale hardly parts
# What the bench takes for readings of arrows from one bow: nothing shot by hand leaves at more than
# about 160 m/s, and between a child's cane and a fishing arrow lie all masses.
_MASSES_G: Final = (5.0, 150.0)
_FASTEST_MPS: Final = 200.0
_MOST_RATIO: Final = 1.3  # of the speeds of one arrow


def take_over(store: Store) -> None:
    """Turn what the preferences hold of readings and pins into rows, once.

    A text that cannot be read or be so, of a rig that is not here, or of a sight whose pins are
    kept otherwise, stays where it is; so does what cannot be written just now: the next opening
    tries again. No rig waits for another.
    """
    preferences = read_preferences(store)
    kept = {
        name: answers
        for name, answers in preferences.remembered.items()
        if name.startswith(_ANSWERS) and isinstance(answers, dict)
        and any(isinstance(answers.get(what), str) for what in _KINDS)
    }  # fmt: skip
    if not kept:
        return
    try:
        day = datetime.fromtimestamp((store.home / PREFERENCES_FILE).stat().st_mtime).date()
        remembered = dict(preferences.remembered)
        for name, answers in kept.items():
            with suppress(GroupscanError, ValueError):  # the latter: more digits than int() reads
                remembered[name] = _taken(
                    store, name.removeprefix(_ANSWERS), answers, preferences, day
                )
        if remembered != preferences.remembered:
            save_preferences(store, replace(preferences, remembered=remembered))
    except (GroupscanError, OSError):
        return


def _taken(
    store: Store, rig_id: str, answers: Mapping[str, Any], preferences: Preferences, day: date
) -> dict[str, Any]:
    """Keep the texts of one rig as rows; return its answers without those that are kept now."""
    left = dict(answers)
    rig_uid = _uid_of(store, rig_id)
    if rig_uid is None:
        return left
    for what, keep in _KINDS.items():
        text = answers.get(what)
        if not isinstance(text, str):
            continue
        try:
            if text.strip():
                keep(store, int(rig_id), f"{rig_uid} {what} {text}", text, preferences, day)
        except (ValueError, StoreError):  # what cannot be read, or be kept just now
            continue
        del left[what]
    return left


def _keep_readings(
    store: Store, rig_id: int, called: str, text: str, preferences: Preferences, day: date
) -> None:
    pairs = parse_readings(text, mass_unit=preferences.mass, speed_unit=preferences.speed)
    _check(pairs)
    shot = _arrow_of(store, rig_id, day)
    entries = [
        Speed(
            rig_id=rig_id, taken_on=day, mass_g=mass, speed_mps=mps, source=DAY_NOT_KNOWN,
            build_id=shot[0] if shot is not None and abs(shot[1] - mass) <= _ALIKE_G else None,
            uid=uuid.uuid5(_FAMILY, f"{called} {number}").hex,
        )
        for number, (mass, mps) in enumerate(pairs)
    ]  # fmt: skip
    known = _known(store, speed)
    add_speeds(store, [one for one in entries if one.uid not in known])


def _keep_pins(
    store: Store, rig_id: int, called: str, text: str, preferences: Preferences, day: date
) -> None:
    at = parse_distances(text, default_unit=preferences.distance)
    entries = [
        Pin(
            rig_id=rig_id, set_on=day, distance_m=metres, notes=DAY_NOT_KNOWN,
            uid=uuid.uuid5(_FAMILY, f"{called} {number}").hex,
        )
        for number, metres in enumerate(sorted(set(at)))
    ]  # fmt: skip
    known = _known(store, pin)
    new = [one for one in entries if one.uid not in known]
    if new and _has_pins(store, rig_id):
        raise StoreError("the rig has pins: which of the two are the newer nobody can tell")
    add_pins(store, new)


_KINDS: Final[Mapping[str, Callable[[Store, int, str, str, Preferences, date], None]]] = {
    "readings": _keep_readings,
    "pins": _keep_pins,
}


def _uid_of(store: Store, rig_id: str) -> str | None:
    """Return the identity of a rig that is not deleted; None where there is none."""
    if not rig_id.isdecimal():
        return None
    with reading(store) as connection:
        query = sa.select(rig.c.uid).where(rig.c.id == int(rig_id), rig.c.deleted_at.is_(None))
        found: str | None = connection.scalar(query)
        return found


def _arrow_of(store: Store, rig_id: int, day: date) -> tuple[int, float] | None:
    """Return the build that a rig's setup of a day names, and its mass; None where not known."""
    query = (
        sa.select(build.c.id, build.c.mass_g, build.c.deleted_at)
        .select_from(setup.outerjoin(build))
        .where(setup.c.rig_id == rig_id, setup.c.deleted_at.is_(None), setup.c.since <= day)
        .order_by(setup.c.since.desc(), setup.c.id.desc())
        .limit(1)
    )
    with reading(store) as connection:
        row = connection.execute(query).first()
    if row is None or row.mass_g is None or row.deleted_at is not None:
        return None
    return int(row.id), float(row.mass_g)


def _check(pairs: Sequence[tuple[float, float]]) -> None:
    """Raise UnitError where readings cannot be of arrows from one bow."""
    of_mass: dict[float, list[float]] = {}
    for mass, mps in pairs:
        of_mass.setdefault(mass, []).append(mps)
    for mass, speeds in of_mass.items():
        if (
            not _MASSES_G[0] <= mass <= _MASSES_G[1]
            or not 0 < min(speeds) <= max(speeds) <= _FASTEST_MPS
            or max(speeds) > _MOST_RATIO * min(speeds)
        ):
            raise UnitError(f"no arrow of {mass:.4g} g flies at {speeds} m/s from one bow")


def _has_pins(store: Store, rig_id: int) -> bool:
    query = sa.select(pin.c.id).where(pin.c.rig_id == rig_id, pin.c.deleted_at.is_(None))
    with reading(store) as connection:
        return connection.scalar(query.limit(1)) is not None


def _known(store: Store, table: sa.Table) -> set[str]:
    with reading(store) as connection:
        return set(connection.scalars(sa.select(table.c.uid)))
