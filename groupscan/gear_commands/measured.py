"""What was measured of a rig: chronograph readings and the pins of its sight, kept by its name."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from groupscan.errors import GroupscanError
from groupscan.gear_commands.arrows import read_numbers
from groupscan.gear_commands.asking import Home, Notes, Whose, day_of, records, value_words
from groupscan.gear_commands.finding import one, rows_of
from groupscan.gear_commands.telling import ranges

if TYPE_CHECKING:
    from groupscan.records.store import Store

__all__ = ["COMMANDS", "MEASURED", "MeasuredKind", "measured_called", "measured_rows"]

MeasuredKind = Literal["reading", "pin"]
#: What each kind is to the records.
MEASURED: dict[str, Literal["speed", "pin"]] = {"reading": "speed", "pin": "pin"}

Rig = Annotated[str, typer.Argument(metavar="RIG", help="Which rig.")]
On = Annotated[str | None, typer.Option(metavar="DAY", help="The day; today if left out.")]


def reading(
    rig: Rig,
    speeds: Annotated[
        str, typer.Argument(metavar='"280fps,281fps"', help="What the chronograph showed.")
    ],
    mass: Annotated[
        str | None,
        typer.Option(metavar="412gr", help="Of the arrow; left out: as its build weighs."),
    ] = None,
    build: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="How the arrow was built; else as the setup says."),
    ] = None,
    at: Annotated[
        str | None, typer.Option(metavar="1m", help="From the string to the chronograph.")
    ] = None,
    on: On = None,
    source: Annotated[
        str | None, typer.Option(metavar="TEXT", help="Whose chronograph, who read it.")
    ] = None,
    notes: Notes = None,
    shooter: Whose = None,
    home: Home = None,
) -> None:
    """Keep chronograph readings of an arrow. 'bench launch --rig RIG' says what they tell."""
    from groupscan.decisions.rig_bench import launch_of
    from groupscan.several import is_zero, parse_several
    from groupscan.units import parse_length, parse_quantity

    day = day_of(on)
    found = parse_several(speeds, "speed")
    away = None if at is None else 0.0 if is_zero(at) else parse_length(at) / 1e3
    with records(home) as store:
        from groupscan.records.store import Speed, add_speeds

        row = one(store, "rig", rig, shooter=shooter)
        built = None
        if build is not None:
            built = one(store, "build", build, shooter=shooter)["id"]
        elif mass is None:
            built = _build_of(store, row["id"], day)
        grams = parse_quantity(mass, "mass") if mass is not None else None
        if grams is None:
            grams = _mass_of(store, row["id"], built, day)
        launch_of([grams] * len(found), found, distance_m=away or 0.0)  # refuses what cannot be
        keys = add_speeds(
            store,
            [
                Speed(
                    rig_id=row["id"], taken_on=day, mass_g=grams, speed_mps=one_speed,
                    distance_m=away, build_id=built, source=source or "", notes=notes or "",
                )
                for one_speed in found
            ],
        )  # fmt: skip
        name = row["name"]
    typer.echo(
        f"{_many(keys, 'reading')} of {name} kept of {day}, at {value_words('mass_g', grams)}. "
        f"Take back: {_back('reading', keys)}"
    )


def pins(
    rig: Rig,
    at: Annotated[str, typer.Argument(metavar='"20yd,39.5yd"', help="Where the pins are right.")],
    below: Annotated[
        str | None,
        typer.Option(metavar='"0,19mm"', help="How far each stands below the first, by a ruler."),
    ] = None,
    on: On = None,
    notes: Notes = None,
    shooter: Whose = None,
    home: Home = None,
) -> None:
    """Keep the pins of a rig's sight, or marks of its tape, as they were set on a day."""
    from groupscan.several import parse_distances, parse_places

    day = day_of(on)
    far = parse_distances(at)
    if far != sorted(set(far)):
        raise GroupscanError(f"pins {at!r}: give the nearest first, each once")
    places = [None] * len(far) if below is None else parse_places(below, len(far))
    with records(home) as store:
        from groupscan.records.store import Pin, add_pins

        row = one(store, "rig", rig, shooter=shooter)
        there = [pin for pin in measured_rows(store, "pin") if pin["rig_id"] == row["id"]]
        if any(pin["set_on"].date() == day for pin in there):
            raise GroupscanError(
                f"pins of {row['name']} are kept of {day} already: groupscan gear delete pin "
                f"'{row['name']}/{day}', or give another --on DAY"
            )
        keys = add_pins(
            store,
            [
                Pin(
                    rig_id=row["id"], set_on=day, distance_m=metres, below_mm=place,
                    notes=notes or "",
                )
                for metres, place in zip(far, places, strict=True)
            ],
        )  # fmt: skip
    typer.echo(
        f"{_many(keys, 'pin')} of {row['name']} kept as set on {day}. "
        f"Take back: {_back('pin', keys)}"
    )


COMMANDS: tuple[Callable[..., None], ...] = (reading, pins)


def measured_rows(
    store: Store, kind: MeasuredKind, *, deleted: bool = False
) -> list[dict[str, Any]]:
    """Return the readings or pins of all rigs."""
    from groupscan.records import store as kept

    listed = kept.list_speeds if kind == "reading" else kept.list_pins
    return rows_of(listed(store, deleted=deleted))


def measured_called(
    store: Store, kind: MeasuredKind, name: str, *, shooter: str | None, deleted: bool
) -> list[int]:
    """Return the ids of readings or pins: those said, or of a rig's day as ``RIG/DAY``.

    Raises
    ------
    GroupscanError
        If there is none.
    """
    rows = measured_rows(store, kind, deleted=deleted)
    if "/" not in name:
        wanted = read_numbers(name)
        found = [row["id"] for row in rows if str(row["id"]) in wanted]
        if len(found) < len(wanted):
            found = []
    else:
        rig, _, day = name.rpartition("/")
        owner = one(store, "rig", rig, shooter=shooter)["id"]
        dated = "taken_on" if kind == "reading" else "set_on"
        found = [
            row["id"] for row in rows
            if row["rig_id"] == owner and f"{row[dated]:%Y-%m-%d}" == day.strip()
        ]  # fmt: skip
    if not found:
        what, where = (f"deleted {kind}", "list --deleted") if deleted else (kind, "show rig RIG")
        raise GroupscanError(
            f"there is no {what} {name!r}: give ids such as 3-5, or RIG/DAY, as 'groupscan gear "
            f"{where}' lists them"
        )
    return found


def _build_of(store: Store, rig_id: int, day: date) -> int | None:
    """Return the build that a rig's setup of a day names."""
    from groupscan.records.store import list_setups

    setups = list_setups(store, rig_id)
    held = setups[setups["since"].dt.date <= day].dropna(subset=["build_id"])
    return int(held["build_id"].iloc[-1]) if len(held) else None


def _mass_of(store: Store, rig_id: int, build_id: int | None, day: date) -> float:
    """Return what the arrow of a build weighs."""
    from groupscan.decisions.rig_bench import rig_of_store
    from groupscan.errors import RigError

    try:
        if build_id is None:
            raise RigError("no build is said")
        return rig_of_store(store, rig_id, on=day, build_id=build_id).mass_g()
    except RigError as err:
        raise GroupscanError(
            f"the mass of the arrow is not known ({err}): give --mass 412gr, or --build with one "
            "whose mass is kept"
        ) from err


def _many(keys: list[int], what: str) -> str:
    return f"{len(keys)} {what}s" if len(keys) > 1 else f"One {what}"


def _back(kind: MeasuredKind, keys: list[int]) -> str:
    return f"groupscan gear delete {kind} {ranges(str(key) for key in keys).replace(' ', '')}"
