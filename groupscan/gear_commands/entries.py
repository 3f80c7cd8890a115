"""Gear as it stands: listed, shown, renamed, deleted and brought back."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Annotated, Any, Literal, cast, get_args

import typer

from groupscan.errors import GroupscanError
from groupscan.gear_commands.asking import Deleted, Home, Whose, records, value_words
from groupscan.gear_commands.finding import GearKind, called, one, own_rows
from groupscan.gear_commands.measured import (
    MEASURED,
    MeasuredKind,
    measured_called,
    measured_rows,
)
from groupscan.gear_commands.telling import (
    field_words,
    ranges,
    show,
    table,
    told_values,
)
from groupscan.units import distance_text

if TYPE_CHECKING:
    from rich.table import Table

    from groupscan.records.store import Store

__all__ = ["COMMANDS"]

Kept = Literal["shooter", "rig", "setup", "build", "arrow", "head", "reading", "pin"]
KeptOf = Annotated[
    Kept,
    typer.Argument(metavar="KIND", help="shooter, rig, setup, build, arrow, head, reading or pin."),
]
KeptCalled = Annotated[
    str,
    typer.Argument(
        metavar="NAME",
        help="Its name; RIG/DAY of a setup, BUILD/NUMBER of an arrow; of readings and pins their "
        "ids such as 3-5, or RIG/DAY for all of a day.",
    ),
]
KindOf = Annotated[
    GearKind, typer.Argument(metavar="KIND", help="shooter, rig, setup, build, arrow or head.")
]
Called = Annotated[
    str,
    typer.Argument(metavar="NAME", help="Its name; RIG/DAY of a setup, BUILD/NUMBER of an arrow."),
]


def list_(deleted: Deleted = False, home: Home = None) -> None:
    """List shooters, rigs as they are set up today, builds with their arrows, and heads."""
    with records(home) as store:
        parts = list(_deleted_parts(store) if deleted else _parts(store))
    nothing = "Nothing is deleted." if deleted else (
        "No gear is kept yet. Begin with: groupscan gear rig NAME --bow compound"
    )  # fmt: skip
    show(parts, nothing=nothing)


def show_(kind: KindOf, name: Called, shooter: Whose = None, home: Home = None) -> None:
    """Show all that is known of one: of a rig its setups, of an arrow what it was before."""
    with records(home) as store:
        row = one(store, kind, name, shooter=shooter)
        entry = _load(store, kind, row["id"])
        lines = {
            field_words(field): text
            for field, text in told_values(store, entry, {}).items()
            if text != "not said"
        }
        setups = _setup_rows(store, row["id"]) if kind == "rig" else []
        history = _history(store, row) if kind == "arrow" else []
        measured = _measured(store, row["id"]) if kind == "rig" else []
    typer.echo(f"{kind.capitalize()} {called(kind, row)}")
    width = max((len(name) for name in lines), default=0)
    for words, text in lines.items():
        typer.echo(f"  {words:{width}}  {text}")
    heads = ("since", "changed", "draw", "length", "sight radius", "peep", "build", "rest", "sight")
    listed = table("Setups", heads, setups)
    before = table("One shaft", ("build", "number", "state", "since", "why"), history)
    show([listed, before, *measured], nothing="")


def rename(
    kind: KindOf,
    name: Called,
    new: Annotated[str, typer.Argument(metavar="NEW", help="What it is called from now on.")],
    shooter: Whose = None,
    home: Home = None,
) -> None:
    """Call an entry by another name; everything that was shot with it stays with it."""
    if kind == "setup":
        raise GroupscanError("a setup has no name: it is called by its rig and its day")
    with records(home) as store:
        row = one(store, kind, name, shooter=shooter)
        was = _load(store, kind, row["id"])
        field = "number" if kind == "arrow" else "name"
        now = replace(was, **{field: new})
        _save(store, kind, now)
        typer.echo(f"{kind.capitalize()} {called(kind, row)} is called {new} now.")


def delete(kind: KeptOf, name: KeptCalled, shooter: Whose = None, home: Home = None) -> None:
    """Hide an entry; what was shot with it keeps it. 'gear restore' brings it back."""
    with records(home) as store:
        from groupscan.records.store import delete_entry

        if kind == "reading" or kind == "pin":
            keys = measured_called(store, kind, name, shooter=shooter, deleted=False)
            delete_entry(store, MEASURED[kind], *keys)
            typer.echo(
                f"{_many(kind, keys)} deleted. Bring back: groupscan gear restore {kind} "
                f"{ranges(map(str, keys)).replace(' ', '')}"
            )
            return
        row = one(store, kind, name, shooter=shooter)
        delete_entry(store, kind, row["id"])
        name = called(kind, row)
    typer.echo(f"{kind.capitalize()} {name} is deleted. Bring it back: groupscan gear restore "
               f"{kind} '{name}'")  # fmt: skip


def restore(kind: KeptOf, name: KeptCalled, shooter: Whose = None, home: Home = None) -> None:
    """Bring back what was deleted."""
    with records(home) as store:
        from groupscan.records.store import restore_entry

        if kind == "reading" or kind == "pin":
            keys = measured_called(store, kind, name, shooter=shooter, deleted=True)
            restore_entry(store, MEASURED[kind], *keys)
            typer.echo(f"{_many(kind, keys)} back.")
            return
        row = one(store, kind, name, shooter=shooter, deleted=True)
        restore_entry(store, kind, row["id"])
    typer.echo(f"{kind.capitalize()} {called(kind, row)} is back.")


#: ``list`` and ``show`` first; the commands that add come between these and the others.
COMMANDS: tuple[Callable[..., None], ...] = (list_, show_, rename, delete, restore)


def _many(kind: MeasuredKind, keys: list[int]) -> str:
    return f"{len(keys)} {kind}s are" if len(keys) > 1 else f"{kind.capitalize()} {keys[0]} is"


def _parts(store: Store) -> Iterator[Table | None]:
    shooters = own_rows(store, "shooter")
    yield table(
        "Shooters", ("name", "hand", "coach", "goals"),
        [(r["name"], r["hand"], r["coach"], r["goals"]) for r in shooters],
    )  # fmt: skip
    setups = _today(store)
    yield table(
        "Rigs, as set up today",
        ("rig", "shooter", "bow", "hand", "since", "draw", "length", "build"),
        [(r["name"], r["shooter"], r["bow"], r["hand"], *setups.get(r["id"], ("",) * 4))
         for r in own_rows(store, "rig")],
    )  # fmt: skip
    arrows = own_rows(store, "arrow")
    builds = own_rows(store, "build")
    yield table(
        "Builds",
        ("build", "shooter", "shaft", "length", "spine", "point", "mass"),
        [(r["name"], r["shooter"], r["shaft"], _said("length_mm", r), _said("spine", r),
          _said("point_g", r), _said("mass_g", r)) for r in builds],
    )  # fmt: skip
    named = [(row["id"], row["name"]) for row in builds] + [(None, "no build said")]
    rows = []
    for key, name in named:
        own = [row for row in arrows if row["build_id"] == key]
        states = [ranges(r["number"] for r in own if r["state"] == state) for state in
                  ("in use", "pulled", "broken", "rebuilt")]  # fmt: skip
        rows += [(name, *states)] if own else []
    yield table("Arrows", ("build", "in use", "pulled", "broken", "rebuilt"), rows)
    yield table(
        "Heads", ("head", "kind", "blades", "cut", "mass"),
        [(r["name"], r["kind"], r["blades"], _said("cut_mm", r), _said("mass_g", r))
         for r in own_rows(store, "head")],
    )  # fmt: skip


def _deleted_parts(store: Store) -> Iterator[Table | None]:
    for kind in get_args(GearKind):
        rows = [
            (row["id"], called(kind, row), row.get("shooter") or "")
            for row in own_rows(store, kind, deleted=True)
        ]
        yield table(f"Deleted {kind}s", ("id", kind, "shooter" if kind != "shooter" else ""), rows)
    yield from _measured(store, None, deleted=True)


def _measured(store: Store, rig_id: int | None, *, deleted: bool = False) -> list[Table | None]:
    """Return the readings and pins of a rig, or of all, as tables."""
    gone = "Deleted c" if deleted else "C"
    of_rig = [
        [row for row in measured_rows(store, kind, deleted=deleted)
         if rig_id in (None, row["rig_id"])]
        for kind in get_args(MeasuredKind)
    ]  # fmt: skip
    named = () if rig_id is not None else ("rig",)
    readings = [
        (row["id"], *(row[name] for name in named), f"{row['taken_on']:%Y-%m-%d}",
         _said("mass_g", row), row["build"], _said("speed_mps", row),
         distance_text(row["distance_m"]), row["source"])
        for row in of_rig[0]
    ]  # fmt: skip
    pins = [
        (row["id"], *(row[name] for name in named), f"{row['set_on']:%Y-%m-%d}",
         distance_text(row["distance_m"]), _said("below_mm", row), row["notes"])
        for row in of_rig[1]
    ]  # fmt: skip
    return [
        table(f"{gone}hronograph readings",
              ("id", *named, "day", "arrow", "build", "speed", "at", "source"), readings),
        table("Deleted pins" if deleted else "Pins",
              ("id", *named, "set on", "right at", "below the first", "notes"), pins),
    ]  # fmt: skip


def _today(store: Store) -> dict[int, tuple[str, ...]]:
    """Return what is told of the setup of each rig that holds today."""
    held: dict[int, tuple[str, ...]] = {}
    for row in own_rows(store, "setup"):  # the oldest first
        if row["since"].date() <= date.today():
            held[row["rig_id"]] = (
                f"{row['since']:%Y-%m-%d}", _said("draw_weight_n", row),
                _said("draw_length_mm", row), row["build"],
            )  # fmt: skip
    return held


def _setup_rows(store: Store, rig_id: int) -> list[tuple[str, ...]]:
    amounts = ("draw_weight_n", "draw_length_mm", "sight_radius_mm", "peep_height_mm")
    return [
        (f"{row['since']:%Y-%m-%d}", row["changed"], *(_said(name, row) for name in amounts),
         row["build"], row["rest"], row["sight"])
        for row in reversed(own_rows(store, "setup"))
        if row["rig_id"] == rig_id
    ]  # fmt: skip


def _history(store: Store, arrow: dict[str, Any]) -> list[tuple[str, ...]]:
    rows = [row for row in own_rows(store, "arrow") if row["shaft_id"] == arrow["shaft_id"]]
    if len(rows) < 2:
        return []
    return [
        (row["build"], row["number"], row["state"],
         f"{row['state_since']:%Y-%m-%d}" if row["state_since"] else "", row["state_why"])
        for row in rows
    ]  # fmt: skip


def _said(field: str, row: dict[str, Any]) -> str:
    return "" if row[field] is None else value_words(field, row[field])


def _load(store: Store, kind: GearKind, key: int) -> Any:
    from groupscan.records import store as kept

    return getattr(kept, f"get_{kind}")(store, key)


def _save(store: Store, kind: GearKind, entry: Any) -> int:
    from groupscan.records import store as kept

    return cast(int, getattr(kept, f"save_{kind}")(store, entry))
