"""Numbered arrows of a build: added, broken, pulled, and built anew."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Annotated, Any, Final, Literal

import typer

from groupscan.errors import GroupscanError
from groupscan.gear_commands.asking import Home, Notes, Whose, day_of, read_given, records
from groupscan.gear_commands.finding import called, one, own_rows
from groupscan.gear_commands.telling import ranges

__all__ = ["COMMANDS", "read_numbers"]

Numbers = Annotated[str, typer.Argument(metavar="NUMBERS", help="What stands on them: 1-6,9.")]
On = Annotated[str | None, typer.Option(metavar="DAY", help="Since when; today if left out.")]
Why = Annotated[str | None, typer.Option(metavar="TEXT", help="What for.")]

_MOST: Final = 144  # twelve dozen: more are mistyped
_LONGEST: Final = 40  # characters of what stands on one arrow; Python reads no 5000 digits


def read_numbers(text: str) -> list[str]:
    """Return the arrows that a text such as ``1-6,9`` names.

    Raises
    ------
    GroupscanError
        If it names none, far too many or one that is too long, or a range runs backwards.

    Examples
    --------
    >>> read_numbers("1-3, 9, A2")
    ['1', '2', '3', '9', 'A2']
    """
    from groupscan.records.values.checks import folded

    found: list[str] = []
    for part in filter(None, (part.strip() for part in text.split(","))):
        low, dash, high = (word.strip() for word in part.partition("-"))
        if max(len(low), len(high)) > _LONGEST:
            raise GroupscanError(
                f"arrow '{part[:12]}...' is too long: give at most {_LONGEST} characters"
            )
        if dash and low.isdecimal() and high.isdecimal():
            first, last = int(low), int(high)
            if last < first:
                raise GroupscanError(f"arrows {part!r}: give the lower number first, as in 1-6")
            if last - first >= _MOST:
                raise GroupscanError(
                    f"arrows {part!r} are {last - first + 1}: give at most {_MOST} in one range"
                )
            found += [str(number) for number in range(first, last + 1)]
        else:
            found.append(part)
    if not found:
        raise GroupscanError("no arrow is named: give numbers such as 1-6,9")
    named: dict[str, str] = {}
    for number in found:  # one that is named twice, such as a2 and A2, is one arrow
        named.setdefault(folded(number), number)
    return list(named.values())


def arrow(
    build: Annotated[str, typer.Argument(metavar="BUILD", help="How they are built.")],
    numbers: Numbers,
    state: Annotated[
        Literal["in-use", "pulled", "broken"] | None,
        typer.Option(help="Pulled: out of the quiver for now."),
    ] = None,
    why: Why = None,
    on: On = None,
    mass: Annotated[
        str | None, typer.Option(metavar="412gr", help="Each one's mass on a scale.")
    ] = None,
    new: Annotated[
        bool,
        typer.Option("--new", help="Another shaft, though the number's was built anew elsewhere."),
    ] = False,
    notes: Notes = None,
    shooter: Whose = None,
    home: Home = None,
) -> None:
    """Add arrows to a build, or say which are pulled or broken.

    A number whose arrow is broken is free for a new one. One that was built anew is that arrow
    still, in its build of today.
    """
    given = read_given({"mass_g": mass, "notes": notes})
    values = dict(given.values)
    if state is not None:
        values |= {
            "state": state.replace("-", " "),
            "state_since": day_of(on),
            "state_why": why or "",
        }
    elif why is not None or on is not None:
        raise GroupscanError("--why and --on tell of a state: give --state as well")
    wanted = read_numbers(numbers)
    with records(home) as store:
        from groupscan.records.store import Arrow, get_arrow, save_arrows

        owner = one(store, "build", build, shooter=shooter)
        arrows = own_rows(store, "arrow")
        rows = [row for row in arrows if row["build_id"] == owner["id"]]
        keys = {number: _current(rows, number, whatever=state is not None) for number in wanted}
        if state in ("pulled", "broken"):
            _check_there(arrows, owner, keys)
        anew = {} if new else _built_anew(arrows, owner, keys)
        keys |= {number: int(row["id"]) for number, row in anew.items()}
        added = [number for number, key in keys.items() if key is None]
        changed = [number for number, key in keys.items() if key is not None and number not in anew]
        entries = [
            Arrow(number=number, build_id=owner["id"], shooter_id=owner["shooter_id"])
            if key is None
            else get_arrow(store, key)
            for number, key in keys.items()
        ]
        save_arrows(store, [replace(entry, **values) for entry in entries])
    told = "changed" if values else "there already"
    for listed, words in ((added, "new"), (changed, told)):
        if listed:
            several = "Arrows" if len(listed) > 1 else "Arrow"
            verb = "are" if len(listed) > 1 else "is"
            typer.echo(f"{several} {ranges(listed)} of {owner['name']} {verb} {words}.")
    for number, row in anew.items():
        done = "that one is changed" if values else "nothing is changed"
        typer.echo(
            f"Arrow {number} of {owner['name']} was built anew and is {called('arrow', row)} now: "
            f"{done}. For another shaft of that number give --new."
        )
    if state is not None:
        typer.echo(
            f"  {state.replace('-', ' ')} since {values['state_since']}: {why or 'no reason said'}"
        )
    if state == "broken":
        typer.echo("Never shoot a cracked shaft: mark it, so that it is not taken for a whole one.")


def rebuild(
    numbers: Numbers,
    from_: Annotated[str, typer.Option("--from", metavar="BUILD", help="What they were.")],
    to: Annotated[str, typer.Option(metavar="BUILD", help="What they are now.")],
    on: On = None,
    why: Why = None,
    shooter: Whose = None,
    home: Home = None,
) -> None:
    """Turn arrows into ones of another build; each keeps its number and its history."""
    day = day_of(on)
    with records(home) as store:
        from groupscan.records.store import rebuild_arrows

        was = one(store, "build", from_, shooter=shooter)
        now = one(store, "build", to, shooter=shooter)
        rows = [row for row in own_rows(store, "arrow") if row["build_id"] == was["id"]]
        wanted = read_numbers(numbers)
        keys = {number: _current(rows, number, whatever=False) for number in wanted}
        if missing := [number for number, key in keys.items() if key is None]:
            there = ranges(row["number"] for row in rows if row["state"] in ("in use", "pulled"))
            raise GroupscanError(
                f"{was['name']} has no whole arrow {ranges(missing)}: it has {there or 'none'}"
            )
        whole = [key for key in keys.values() if key is not None]
        rebuild_arrows(store, whole, now["id"], on=day, why=why or "")
    typer.echo(f"{ranges(wanted)} of {was['name']} are {now['name']} since {day}.")


COMMANDS: tuple[Callable[..., None], ...] = (arrow, rebuild)


def _current(rows: Sequence[dict[str, Any]], number: str, *, whatever: bool) -> int | None:
    """Return the id of the arrow that has a number now, or where asked of one that broke."""
    from groupscan.records.values.checks import folded

    found = [row for row in rows if folded(row["number"]) == folded(number)]
    whole = [row for row in found if row["state"] in ("in use", "pulled")]
    broken = [row for row in found if row["state"] == "broken"] if whatever else []
    chosen = whole or broken
    return int(chosen[-1]["id"]) if chosen else None


def _built_anew(
    arrows: Sequence[dict[str, Any]], owner: dict[str, Any], keys: dict[str, int | None]
) -> dict[str, dict[str, Any]]:
    """Return the arrows of today that numbers without one in their build were built anew as."""
    from groupscan.records.values.checks import folded

    own = [row for row in arrows if row["build_id"] == owner["id"] and row["state"] == "rebuilt"]
    now = {row["shaft_id"]: row for row in arrows if row["state"] != "rebuilt"}
    found = {}
    for number in (number for number, key in keys.items() if key is None):
        shafts = [row["shaft_id"] for row in own if folded(row["number"]) == folded(number)]
        if anew := [now[shaft] for shaft in shafts if shaft in now]:
            found[number] = anew[-1]
    return found


def _check_there(
    arrows: Sequence[dict[str, Any]], owner: dict[str, Any], keys: dict[str, int | None]
) -> None:
    """Raise where a number has no arrow in its build, and say where one built anew is now."""
    missing = [number for number, key in keys.items() if key is None]
    if not missing:
        return
    for number, row in _built_anew(arrows, owner, keys).items():
        raise GroupscanError(
            f"arrow {number} of {owner['name']} was built anew and is {called('arrow', row)} now: "
            "name that build"
        )
    own = [row for row in arrows if row["build_id"] == owner["id"]]
    there = ranges(row["number"] for row in own if row["state"] != "rebuilt")
    raise GroupscanError(
        f"{owner['name']} has no arrow {ranges(missing)}: it has {there or 'none'}"
    )
