"""The shots of one end: listed, and told what no photo shows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any

import typer

from groupscan.errors import GroupscanError
from groupscan.gear_commands.asking import Home, records
from groupscan.gear_commands.finding import rows_of
from groupscan.gear_commands.telling import say_change, show, table

if TYPE_CHECKING:
    from groupscan.records.store import ScanRecord, ShotRecord

__all__ = ["COMMANDS"]

End = Annotated[int, typer.Argument(metavar="END", help="As 'groupscan sessions show' lists it.")]


def list_(end: End, home: Home = None) -> None:
    """List the shots of an end, from the aim in mm."""
    with records(home) as store:
        from groupscan.records.aimed import aimed_shots
        from groupscan.records.store import load_scan

        load_scan(store, end)  # which says where there is none
        rows = rows_of(aimed_shots(store, scan_ids=[end]))
    cells = [
        (
            row["number"],
            f"{row['right_mm']:.1f}",
            f"{row['high_mm']:.1f}",
            *(row["head"], row["arrow"], None if row["order"] is None else f"{row['order']:g}"),
            (row["flyer_why"] or "yes") if row["flyer"] else "",
        )
        for row in rows
    ]
    heads = ("shot", "right", "high", "head", "arrow", "order", "flyer")
    show([table(f"End {end}, mm from the aim", heads, cells)], nothing=f"End {end} has no shot.")


def set_(
    end: End,
    number: Annotated[int, typer.Argument(metavar="NUMBER", help="Which shot of the end.")],
    flyer: Annotated[
        str | None, typer.Option(metavar="WHY", help="Mark it as a flyer, such as 'let go early'.")
    ] = None,
    no_flyer: Annotated[bool, typer.Option("--no-flyer", help="Take the mark away.")] = False,
    order: Annotated[
        str | None, typer.Option(metavar="3", help="Its place in the session in the order shot.")
    ] = None,
    arrow: Annotated[str | None, typer.Option(metavar="4", help="Number of the arrow.")] = None,
    head: Annotated[str | None, typer.Option(metavar="NAME", help="What it was shot with.")] = None,
    home: Home = None,
) -> None:
    """Say of a shot what no photo shows. An empty text ('') empties it.

    A flyer stays in the numbers; '--without-flyers' of the commands that decide leaves it out.
    """
    if flyer is not None and no_flyer:
        raise GroupscanError("give either --flyer or --no-flyer, not both")
    if flyer is not None and not flyer.strip():
        raise GroupscanError(
            "--flyer is empty: say why, such as 'let go early'; --no-flyer takes the mark away"
        )
    values: dict[str, Any] = {}
    if flyer is not None or no_flyer:
        values |= {"flyer": not no_flyer, "flyer_why": (flyer or "").strip()}
    if order is not None:
        values["order"] = _order(order)
    values |= {k: v.strip() for k, v in (("arrow", arrow), ("head", head)) if v is not None}
    with records(home) as store:
        from groupscan.records.store import load_scan, save_scan

        record = load_scan(store, end)
        was = _shot(record, number)
        now = replace(was, **values)
        shots = tuple(now if shot is was else shot for shot in record.shots)
        save_scan(store, replace(record, shots=shots))
        say_change(store, f"Shot {number} of end {end}", was, now)


# Python reads no number of thousands of digits, and no session has a billion shots.
_LONGEST = 9

COMMANDS: tuple[Callable[..., None], ...] = (list_, set_)


def _shot(record: ScanRecord, number: int) -> ShotRecord:
    live = {shot.number: shot for shot in record.shots if not shot.removed}
    if number not in live:
        listed = ", ".join(str(key) for key in live)
        raise GroupscanError(f"end {record.id} has no shot {number}: it has {listed or 'none'}")
    return live[number]


def _order(text: str) -> int | None:
    text = text.strip()
    if not text:
        return None
    if not text.isdecimal() or len(text) > _LONGEST or int(text) < 1:
        raise GroupscanError(f"--order {text!r} is no place: give a whole number from 1")
    return int(text)
