"""Shooters, rigs, setups, builds and heads: said by name, and said again to change them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from groupscan.errors import GroupscanError
from groupscan.gear_commands.asking import (
    MAKERS_LIMITS,
    Home,
    Notes,
    Whose,
    day_of,
    read_given,
    records,
)
from groupscan.gear_commands.finding import OWNED, GearKind, keep, name_of, one, own_rows
from groupscan.gear_commands.telling import say_change

if TYPE_CHECKING:
    from groupscan.records.store import Setup, Store

__all__ = ["COMMANDS"]

Name = Annotated[str, typer.Argument(metavar="NAME", help="A new name, or one to change.")]
Text = Annotated[str | None, typer.Option(metavar="TEXT")]
Length = Annotated[str | None, typer.Option(metavar="29in")]
Mass = Annotated[str | None, typer.Option(metavar="50gr")]
Hand = Annotated[
    Literal["right", "left"] | None, typer.Option(help="The hand that draws the string.")
]


def shooter(
    name: Name,
    coach: Annotated[
        str | None, typer.Option(metavar="NAME", help="The shooter who coaches this one.")
    ] = None,
    hand: Hand = None,
    goals: Text = None,
    notes: Notes = None,
    home: Home = None,
) -> None:
    """Add or change a shooter. An empty text ('') empties a field, here and below."""
    with records(home) as store:
        values = {} if coach is None else {"coach_id": _id(store, "shooter", coach)}
        _keep(store, "shooter", name, None, {"hand": hand, "goals": goals, "notes": notes}, values)


def rig(
    name: Name,
    shooter: Whose = None,
    bow: Annotated[
        Literal["compound", "recurve", "longbow", "crossbow"] | None, typer.Option()
    ] = None,
    hand: Hand = None,
    notes: Notes = None,
    home: Home = None,
) -> None:
    """Add or change a rig: a bow as you call it. How it is set up says 'gear setup'."""
    with records(home) as store:
        _keep(store, "rig", name, shooter, {"bow": bow, "hand": hand, "notes": notes})


def setup(
    rig: Annotated[str, typer.Argument(metavar="RIG", help="Which rig.")],
    since: Annotated[
        str | None, typer.Option(metavar="DAY", help="First day; today if left out.")
    ] = None,
    changed: Annotated[
        str | None, typer.Option(metavar="TEXT", help="What was changed, such as 'rest 1 mm left'.")
    ] = None,
    draw_weight: Annotated[
        str | None, typer.Option(metavar="60lb", help="At its peak, as measured.")
    ] = None,
    draw_length: Length = None,
    sight_radius: Annotated[
        str | None, typer.Option(metavar="33in", help="Pin to peep, or to the eye.")
    ] = None,
    peep_height: Annotated[
        str | None, typer.Option(metavar="4.2in", help="Peep above the arrow.")
    ] = None,
    build: Annotated[
        str | None, typer.Option(metavar="NAME", help="The arrow build that it shoots.")
    ] = None,
    rest: Text = None,
    sight: Text = None,
    notes: Notes = None,
    shooter: Whose = None,
    home: Home = None,
) -> None:
    """Say how a rig is set up from a day on. What is not said stays as it was before.

    A setup never changes, so that sessions keep theirs; delete one that was mistyped.
    """
    given = read_given(
        {
            "draw_weight_n": draw_weight, "draw_length_mm": draw_length,
            "sight_radius_mm": sight_radius, "peep_height_mm": peep_height,
            "rest": rest, "sight": sight, "notes": notes,
        }
    )  # fmt: skip
    day = day_of(since)
    with records(home) as store:
        from groupscan.records.store import Setup, add_setup, get_setup

        found = one(store, "rig", rig, shooter=shooter)
        values: dict[str, Any] = dict(given.values)
        if build is not None:
            values["build_id"] = _id(store, "build", build, shooter=found["shooter"] or None)
        if not values and not (changed or "").strip():
            raise GroupscanError("nothing is said of the setup: give --changed, or what it is now")
        before = _setup_before(store, found["id"], day)
        was = before or Setup(rig_id=found["id"], since=day)
        entry = replace(was, id=None, since=day, changed=(changed or "").strip(), **values)
        key = add_setup(store, entry)
        now = replace(get_setup(store, key), rig_id=found["id"])
        title = f"Setup {found['name']}/{day}"
        say_change(store, title, None, now, units=given.units)
        if before is not None:
            typer.echo(f"What was not said is as in the setup of {before.since}.")
        _say_sessions(store, found["id"], key, day)
    if draw_weight is not None:
        typer.echo(MAKERS_LIMITS)


def build(
    name: Name,
    shooter: Whose = None,
    shaft: Text = None,
    diameter: Annotated[
        str | None, typer.Option(metavar="5.9mm", help="Outer diameter of the shaft.")
    ] = None,
    length: Length = None,
    spine: Annotated[
        str | None, typer.Option(metavar="340", help="Static spine as the trade numbers it.")
    ] = None,
    gpi: Annotated[
        str | None, typer.Option(metavar="9.3", help="Shaft's mass: grains per inch, or 23.7g/m.")
    ] = None,
    insert: Text = None,
    insert_mass: Mass = None,
    collar_mass: Mass = None,
    point_mass: Mass = None,
    fletching: Text = None,
    fletching_mass: Annotated[
        str | None, typer.Option(metavar="21gr", help="Of all vanes together.")
    ] = None,
    wrap_mass: Mass = None,
    nock: Text = None,
    nock_mass: Mass = None,
    mass: Annotated[
        str | None, typer.Option(metavar="412gr", help="Whole arrow, on a scale.")
    ] = None,
    balance: Annotated[
        str | None, typer.Option(metavar="16.5in", help="Balance point from the nock's throat.")
    ] = None,
    notes: Notes = None,
    home: Home = None,
) -> None:
    """Add an arrow build, or put right what was mistyped. What is built anew is another build."""
    texts = {
        "shaft": shaft, "shaft_mm": diameter, "length_mm": length, "spine": spine,
        "shaft_g_per_m": gpi, "insert": insert, "insert_g": insert_mass, "collar_g": collar_mass,
        "point_g": point_mass, "fletching": fletching, "fletching_g": fletching_mass,
        "wrap_g": wrap_mass, "nock": nock, "nock_g": nock_mass, "mass_g": mass,
        "balance_mm": balance, "notes": notes,
    }  # fmt: skip
    with records(home) as store:
        _keep(store, "build", name, shooter, texts)
    if any(text for field, text in texts.items() if field not in _PLAIN):
        typer.echo(MAKERS_LIMITS)


def head(
    name: Name,
    kind: Annotated[
        Literal["field-point", "fixed-blade", "expandable", "bare-shaft"] | None, typer.Option()
    ] = None,
    blades: Annotated[str | None, typer.Option(metavar="2", help="How many blades.")] = None,
    cut: Annotated[str | None, typer.Option(metavar="1.125in", help="Cutting diameter.")] = None,
    mass: Mass = None,
    notes: Notes = None,
    home: Home = None,
) -> None:
    """Add or change a head, a point, or a bare shaft."""
    spelt = kind if kind in (None, "fixed-blade") else kind.replace("-", " ")
    texts = {"kind": spelt, "blades": blades, "cut_mm": cut, "mass_g": mass, "notes": notes}
    with records(home) as store:
        _keep(store, "head", name, None, texts)
    if mass is not None:
        typer.echo(MAKERS_LIMITS)


COMMANDS: tuple[Callable[..., None], ...] = (shooter, rig, setup, build, head)

_PLAIN = ("shaft", "insert", "fletching", "nock", "notes")  # say nothing of strength or mass


def _keep(
    store: Store,
    kind: GearKind,
    name: str,
    shooter: str | None,
    texts: dict[str, str | None],
    values: dict[str, Any] | None = None,
) -> None:
    given = read_given(texts)
    was, now = keep(store, kind, name, {**given.values, **(values or {})}, shooter=shooter)
    whose = f" of {name_of(store, 'shooter_id', now.shooter_id)}" if _owner(kind, now) else ""
    say_change(store, f"{kind.capitalize()} {now.name}{whose}", was, now, units=given.units)


def _owner(kind: GearKind, entry: Any) -> bool:
    return kind in OWNED and entry.shooter_id is not None


def _id(store: Store, kind: GearKind, name: str, *, shooter: str | None = None) -> int | None:
    """Return the id of a named entry, rather one of the shooter's own; None for an empty name."""
    if not name.strip():
        return None
    rows = own_rows(store, kind)
    own = [r for r in rows if shooter and (r["name"], r["shooter"]) == (name, shooter)]
    return int(own[0]["id"] if own else one(store, kind, name)["id"])


def _setup_before(store: Store, rig_id: int, day: object) -> Setup | None:
    """Return the rig's setup of a day as it was known, or None."""
    from groupscan.records.store import get_setup

    rows = [
        r for r in own_rows(store, "setup") if r["rig_id"] == rig_id and r["since"].date() <= day
    ]
    return get_setup(store, rows[-1]["id"]) if rows else None


def _say_sessions(store: Store, rig_id: int, setup_id: int, day: object) -> None:
    """Say which saved sessions might have been shot with a setup that is told late."""
    from groupscan.records.store import list_sessions

    listed = list_sessions(store)
    late = listed[(listed["rig_id"] == rig_id) & (listed["held_on"].dt.date >= day)]
    if len(late):
        ids = ", ".join(str(key) for key in late["id"][:10])
        typer.echo(
            f"{len(late)} saved sessions of that time keep the setup that they have ({ids}): "
            f"'groupscan sessions set ID --setup {day}' gives one this."
        )
