"""Sessions: listed, shown, put right, deleted and brought back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any

import typer

from groupscan.errors import GroupscanError
from groupscan.gear_commands.asking import Deleted, Home, Notes, day_of, read_given, records
from groupscan.gear_commands.finding import one, own_rows, rows_of
from groupscan.gear_commands.telling import field_words, say_change, show, table, told_values
from groupscan.units import distance_text

if TYPE_CHECKING:
    from groupscan.gear_commands.finding import GearKind
    from groupscan.records.store import Session, Store

__all__ = ["COMMANDS"]

Id = Annotated[int, typer.Argument(metavar="ID", help="As 'groupscan sessions' lists it.")]
Text = Annotated[str | None, typer.Option(metavar="TEXT")]
Rig = Annotated[str | None, typer.Option(metavar="NAME", help="Only of this rig.")]


def list_(
    shooter: Annotated[
        str | None, typer.Option(metavar="NAME", help="Only of this shooter.")
    ] = None,
    rig: Rig = None,
    since: Annotated[str | None, typer.Option(metavar="DAY", help="Only from this day on.")] = None,
    until: Annotated[str | None, typer.Option(metavar="DAY", help="Only up to this day.")] = None,
    deleted: Deleted = False,
    home: Home = None,
) -> None:
    """List sessions, newest first."""
    with records(home) as store:
        from groupscan.records.store import list_sessions

        rows = rows_of(list_sessions(store, deleted=deleted))
    for column, wanted in (("shooter", shooter), ("rig", rig)):
        if wanted is not None:
            asked = wanted.strip().casefold()
            rows = [row for row in rows if row[column].casefold() == asked]
    rows = [
        row
        for row in rows
        if (since is None or row["held_on"].date() >= day_of(since))
        and (until is None or row["held_on"].date() <= day_of(until))
    ]
    heads = ("id", "day", "place", "shooter", "rig", "from", "ends", "shots", "purpose")
    cells = [
        (
            *(row["id"], f"{row['held_on']:%Y-%m-%d}", row["place"], row["shooter"], row["rig"]),
            *(distance_text(row["distance_m"]), row["ends"], row["shots"], row["purpose"]),
        )
        for row in rows
    ]
    title = "Deleted sessions" if deleted else "Sessions"
    show([table(title, heads, cells)], nothing="There are none.")


def show_(session: Id, home: Home = None) -> None:
    """Show one session, and its ends with their ids."""
    with records(home) as store:
        from groupscan.records.store import get_session, list_scans

        entry = get_session(store, session)
        told = {k: text for k, text in _told(store, entry).items() if text != "not said"}
        ends = rows_of(list_scans(store, session))
    typer.echo(f"Session {session}")
    width = max(len(name) for name in told)
    for words, text in told.items():
        typer.echo(f"  {words:{width}}  {text}")
    rows = [
        (end["id"], end["label"], end["photo_name"] if end["photo_sha256"] else "typed",
         end["sheet"], end["shots"])
        for end in ends
    ]  # fmt: skip
    show([table("Ends", ("end", "label", "photo", "sheet", "shots"), rows)], nothing="  no end yet")


def set_(
    session: Id,
    date: Annotated[str | None, typer.Option(metavar="DAY")] = None,
    place: Text = None,
    shooter: Annotated[str | None, typer.Option(metavar="NAME")] = None,
    rig: Annotated[str | None, typer.Option(metavar="NAME")] = None,
    distance: Annotated[str | None, typer.Option(metavar="20yd")] = None,
    purpose: Annotated[
        str | None, typer.Option(metavar="TEXT", help="What it was for, such as tuning.")
    ] = None,
    weather: Text = None,
    temperature: Annotated[str | None, typer.Option(metavar="12C")] = None,
    pressure: Annotated[str | None, typer.Option(metavar="1013hPa")] = None,
    humidity: Annotated[str | None, typer.Option(metavar="60%")] = None,
    wind: Annotated[str | None, typer.Option(metavar="3m/s")] = None,
    setup: Annotated[
        str | None, typer.Option(metavar="DAY", help="The rig's setup since that day.")
    ] = None,
    build: Annotated[str | None, typer.Option(metavar="NAME", help="Arrow build shot.")] = None,
    notes: Notes = None,
    home: Home = None,
) -> None:
    """Change what is said of a session. An empty text ('') empties it."""
    given = read_given(
        {
            "place": place, "shooter": shooter, "rig": rig, "distance_m": distance,
            "purpose": purpose, "weather": weather, "temperature_c": temperature,
            "pressure_pa": pressure, "humidity": humidity, "wind_m_s": wind, "notes": notes,
        }
    )  # fmt: skip
    values: dict[str, Any] = dict(given.values)
    if date is not None:
        values["held_on"] = day_of(date)
    with records(home) as store:
        from groupscan.records.store import get_session, save_session

        was = get_session(store, session)
        known = _known(store)
        if setup is not None:
            values["setup_id"] = _setup(store, was, setup) if setup.strip() else None
        if build is not None:
            values["build_id"] = _build(store, was, build) if build.strip() else None
        save_session(store, replace(was, **values))
        now = get_session(store, session)
        say_change(store, f"Session {session}", was, now, units=given.units)
    for kind, keys in known.items():
        key = getattr(now, f"{kind}_id")
        if key is not None and key not in keys:
            typer.echo(f"New {kind}: {getattr(now, kind)}")


def delete(session: Id, home: Home = None) -> None:
    """Hide a session with its ends. 'sessions restore' brings it back."""
    with records(home) as store:
        from groupscan.records.store import delete_entry, get_session

        held = get_session(store, session).held_on
        delete_entry(store, "session", session)
    typer.echo(
        f"Session {session} of {held} is deleted. Bring it back: groupscan sessions restore "
        f"{session}"
    )


def restore(session: Id, home: Home = None) -> None:
    """Bring back a deleted session with its ends."""
    with records(home) as store:
        from groupscan.records.store import get_session, restore_entry

        restore_entry(store, "session", session)
        held = get_session(store, session).held_on
    typer.echo(f"Session {session} of {held} is back.")


COMMANDS: tuple[Callable[..., None], ...] = (list_, show_, set_, delete, restore)


def _told(store: Store, entry: Session) -> dict[str, str]:
    told = told_values(store, entry, {})
    told["distance_m"] = distance_text(entry.distance_m) or "not said"
    twice = ("shooter_id", "rig_id", "plan")  # told by their names; and no text of one line
    return {field_words(name): text for name, text in told.items() if name not in twice}


def _known(store: Store) -> dict[GearKind, set[int]]:
    """Return the ids of what a session names, which a name that is mistyped adds to."""
    kinds: tuple[GearKind, ...] = ("shooter", "rig")
    return {
        kind: {row["id"] for gone in (False, True) for row in own_rows(store, kind, deleted=gone)}
        for kind in kinds
    }


def _setup(store: Store, session: Session, text: str) -> int:
    day = day_of(text)
    own = [row for row in own_rows(store, "setup") if row["rig_id"] == session.rig_id]
    found = [row["id"] for row in own if row["since"].date() == day]
    if not found:
        there = ", ".join(f"{row['since']:%Y-%m-%d}" for row in own)
        raise GroupscanError(
            f"rig {session.rig!r} has no setup since {day}: it has those since {there or 'no day'}"
        )
    return int(found[-1])


def _build(store: Store, session: Session, name: str) -> int:
    own = [
        row["id"]
        for row in own_rows(store, "build")
        if row["name"] == name and row["shooter_id"] == session.shooter_id
    ]
    return int(own[0] if own else one(store, "build", name)["id"])
