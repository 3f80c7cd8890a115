"""Readings and pins that earlier versions kept among the preferences, taken into the records.

Until revision 0004 the chronograph readings and the pins of a rig were answers that the rig bench
remembered, as they were typed. Archives leave preferences out, so they are kept as rows now.
"""

import uuid
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date, datetime
from typing import Any, Final

import sqlalchemy as sa

from groupscan.errors import GroupscanError
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

__all__ = ["take_over"]

_ANSWERS: Final = "bench_"
_FAMILY: Final = uuid.UUID("0f5c7a52-7c1b-5b1e-8d60-2f6f3f0f9a10")
"""Any fixed number: what is taken over twice has one identity, and is kept once."""
_SOURCE: Final = "typed on the rig bench; the day is the latest that it can have been"
_ALIKE_G: Final = 0.05  # masses that a scale hardly parts


def take_over(store: Store) -> None:
    """Turn what the preferences hold of readings and pins into rows, once.

    A text that cannot be read, or of a rig that is not here, stays where it is; so does everything
    where the records or the preferences cannot be written just now: the next opening tries again.
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
            remembered[name] = _taken(store, name.removeprefix(_ANSWERS), answers, preferences, day)
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
        except ValueError:  # what cannot be read; a StoreError goes up
            continue
        del left[what]
    return left


def _keep_readings(
    store: Store, rig_id: int, called: str, text: str, preferences: Preferences, day: date
) -> None:
    pairs = parse_readings(text, mass_unit=preferences.mass, speed_unit=preferences.speed)
    shot = _arrow_of(store, rig_id, day)
    entries = [
        Speed(
            rig_id=rig_id, taken_on=day, mass_g=mass, speed_mps=mps, source=_SOURCE,
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
            rig_id=rig_id, set_on=day, distance_m=metres, notes=_SOURCE,
            uid=uuid.uuid5(_FAMILY, f"{called} {number}").hex,
        )
        for number, metres in enumerate(sorted(set(at)))
    ]  # fmt: skip
    known = _known(store, pin)
    add_pins(store, [one for one in entries if one.uid not in known])


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


def _known(store: Store, table: sa.Table) -> set[str]:
    with reading(store) as connection:
        return set(connection.scalars(sa.select(table.c.uid)))
