"""Commands that decide: group, compare, arrows, season, reach, plan. They ask, call and show."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable
from functools import wraps
from inspect import Parameter, Signature, signature
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from groupscan.errors import GroupscanError

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.report.decisions import Part, Shown
    from groupscan.stats.group import Estimate
    from groupscan.stats.plan import ShootingOrder

__all__ = ["COMMANDS", "looks_of"]

#: Returns the table of the shots that the options of a command choose.
Shots = Callable[[], Any]
Json = Annotated[bool, typer.Option("--json", help="One JSON object instead of tables.")]
Unit = Annotated[
    Literal["mm", "inch", "moa", "mrad"] | None,
    typer.Option(help="Unit of the numbers; angles need the one distance of all shots."),
]
Length = Annotated[
    Literal["mm", "inch"] | None, typer.Option("--unit", help="Unit of the lengths.")
]
Tolerance = Annotated[
    str | None, typer.Option(metavar="40mm", help="Centres closer than this count as together.")
]


def _choose(
    csv: Annotated[
        list[Path] | None,
        typer.Argument(metavar="CSV", help="Tables of shots; left out: your records."),
    ] = None,
    home: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Records to read; else your own.")
    ] = None,
    rig: Annotated[str | None, typer.Option(metavar="NAME", help="Only shots of this rig.")] = None,
    shooter: Annotated[
        str | None, typer.Option(metavar="NAME", help="Only shots of this shooter.")
    ] = None,
    head: Annotated[
        str | None, typer.Option(metavar="NAME", help="Only shots with this head.")
    ] = None,
    build: Annotated[
        str | None, typer.Option(metavar="NAME", help="Only shots of this arrow build.")
    ] = None,
    setup: Annotated[
        str | None, typer.Option(metavar="DAY", help="Only shots of the rig's setup since then.")
    ] = None,
    session: Annotated[
        list[str] | None,
        typer.Option(metavar="DAY", help="Only this session, by date or label; may be repeated."),
    ] = None,
    distance: Annotated[
        str | None,
        typer.Option(
            metavar="20yd",
            help="Only shots from here; where the table has no distance, that of all.",
        ),
    ] = None,
    without_flyers: Annotated[
        bool, typer.Option("--without-flyers", help="Leave out shots marked as flyers.")
    ] = False,
) -> Any:
    """Return the table of the shots that a command is about."""
    from groupscan.decisions.shot_table import choose_shots, read_shot_csv, shots_of_records

    if csv and home:
        raise GroupscanError("give CSV files or --home, not both")
    table = read_shot_csv(csv) if csv else shots_of_records(home)
    return choose_shots(
        table,
        rig=rig,
        shooter=shooter,
        head=head,
        build=build,
        setup=setup,
        sessions=session or (),
        distance_m=_distance(distance) if distance else None,
        without_flyers=without_flyers,
    )


def _over_shots(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the options of `_choose` after its own; it takes what they choose first."""
    own = list(signature(command, eval_str=True).parameters.values())[1:]
    choosing = signature(_choose, eval_str=True).parameters

    @wraps(command)
    def run(**given: Any) -> None:
        chosen = {name: given.pop(name) for name in choosing}
        command(lambda: _choose(**chosen), **given)

    every = [one.replace(kind=Parameter.KEYWORD_ONLY) for one in (*own, *choosing.values())]
    run.__signature__ = Signature(every)  # type: ignore[attr-defined]
    run.__annotations__ = {one.name: one.annotation for one in every}
    return run


@_over_shots
def group(
    shots: Shots,
    as_json: Json = False,
) -> None:
    """Measure all shots as one group, with what the ends tell."""
    from groupscan.decisions.questions import group_of
    from groupscan.report.decisions import notes_part
    from groupscan.report.decisions.layout import line
    from groupscan.report.tables import group_tables
    from groupscan.report.words import meaning

    table = shots()
    measured, notes = group_of(table)
    if as_json:
        _print_json({"group": measured.to_dict(), "notes": list(notes)})
        return
    _show([line(meaning(measured)), *group_tables(measured), *notes_part(notes + measured.notes)])


@_over_shots
def compare(
    shots: Shots,
    by: Annotated[
        str, typer.Option(metavar="COLUMN", help="What parts the shots: head, rig, any column.")
    ] = "head",
    reference: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Compare the others with this; else the field point."),
    ] = None,
    tolerance: Tolerance = None,
    looks: Annotated[
        str | None,
        typer.Option(metavar="N|any", help="You look and may stop up to N times, or at any time."),
    ] = None,
    planned: Annotated[
        bool, typer.Option("--planned", help="The shots follow an order of 'groupscan plan'.")
    ] = False,
    tuned: Annotated[
        Literal["head", "bare-shaft"] | None,
        typer.Option(help="Advise for heads, or for bare against fletched shafts."),
    ] = None,
    bow: Annotated[
        Literal["compound", "recurve"] | None, typer.Option(help="Say what to move on this bow.")
    ] = None,
    hand: Annotated[Literal["right", "left"], typer.Option(help="The shooter's hand.")] = "right",
    unit: Unit = None,
    as_json: Json = False,
) -> None:
    """Compare heads, shafts or builds: together or apart."""
    from groupscan.decisions.comparing import compared
    from groupscan.report.decisions import compare_parts, notes_part

    if planned and looks:
        raise GroupscanError(
            "--looks does not go with --planned: a planned order is looked at once"
        )
    table = shots()
    found = compared(
        table,
        by=by,
        reference=reference,
        tolerance_mm=_length(tolerance),
        looks=looks_of(looks),
        planned=planned,
        tuned="bare shaft" if tuned == "bare-shaft" else tuned,
        bow=bow,
        hand=hand,
    )
    if as_json:
        _print_json(found.to_dict())
        return
    shown = _shown(unit, table)
    advised = f"a {hand}-handed {bow} bow"
    if bow is None:
        advised = "Say --bow compound or --bow recurve to be told, where they are apart."
    elif not found.advice:
        advised = "Say --tuned head or --tuned bare-shaft to be told, where they are apart."
    parts = compare_parts(
        found.reference,
        found.shots,
        centres=found.centres,
        planned=found.planned,
        builds=found.builds,
        advice=found.advice,
        advised=advised,
        shown=shown,
    )
    _show([*parts, *notes_part(map(shown.told, found.notes))])


@_over_shots
def arrows(
    shots: Shots,
    worth: Annotated[
        str | None, typer.Option(metavar="30mm", help="Offset that matters to you; else one sigma.")
    ] = None,
    unit: Unit = None,
    as_json: Json = False,
) -> None:
    """Hold numbered arrows against one another: which is odd."""
    from groupscan.decisions.questions import arrows_of
    from groupscan.report.decisions import arrow_parts

    table = shots()
    quiver, notes = arrows_of(table, worth_mm=_length(worth))
    if as_json:
        _print_json({**quiver.to_dict(), "notes": [*quiver.notes, *notes]})
        return
    _show(arrow_parts(quiver, notes, shown=_shown(unit, table)))


@_over_shots
def season(
    shots: Shots,
    unit: Unit = None,
    as_json: Json = False,
) -> None:
    """Report a season: what is usual, what changed and when."""
    from groupscan.decisions.season import season_of
    from groupscan.report.decisions import season_parts

    told = season_of(shots())
    if as_json:
        _print_json(told.to_dict())
        return
    _show(
        season_parts(
            told.trend,
            today=told.today,
            order_known=told.order_known,
            distances_m=told.distances_m,
            unit=unit,
            notes=told.notes,
        )
    )


@_over_shots
def reach(
    shots: Shots,
    circle: Annotated[
        str, typer.Option(metavar="150mm", help="Diameter of the circle about the aim.")
    ],
    standard: Annotated[
        float,
        typer.Option(metavar="SHARE", help="Share of arrows that must land inside, such as 0.9."),
    ] = 0.9,
    at: Annotated[
        str | None,
        typer.Option(metavar='"20yd,30yd"', help="Distances to tabulate; a bare number is metres."),
    ] = None,
    unit: Length = None,
    as_json: Json = False,
) -> None:
    """Say how far out arrows can be trusted to hit a circle."""
    from groupscan.decisions.questions import reach_of
    from groupscan.report.decisions import Shown, nice_distances, reach_parts

    table = shots()
    asked = [_distance(text) for text in at.split(",")] if at else None
    if asked is None and table["distance_m"].notna().any():
        asked = nice_distances(table["distance_m"].dropna().unique().tolist())
    found, notes = reach_of(table, circle_mm=_length(circle) or 0.0, standard=standard, at_m=asked)
    if as_json:
        _print_json({**found.to_dict(), "notes": [*found.notes, *notes]})
        return
    _show(reach_parts(found, notes, shown=Shown(unit or "mm")))


@_over_shots
def plan(
    shots: Shots,
    offset: Annotated[
        str | None, typer.Option(metavar="30mm", help="Offset of the centres to be seen.")
    ] = None,
    tolerance: Annotated[
        str | None, typer.Option(metavar="40mm", help="Distance within which to call together.")
    ] = None,
    ratio: Annotated[
        float | None, typer.Option(metavar="R", help="How many times wider one is, to be seen.")
    ] = None,
    scatter: Annotated[
        str | None,
        typer.Option(metavar="18mm", help="Scatter (sigma per axis); else from your shots."),
    ] = None,
    builds: Annotated[int, typer.Option(metavar="N", help="Heads or builds compared, 2 to 4.")] = 2,
    power: Annotated[
        float, typer.Option(metavar="SHARE", help="Chance wanted of a verdict.")
    ] = 0.8,
    order: Annotated[
        str | None,
        typer.Option(
            metavar='"field point,fixed-blade"',
            help="Write a shooting order for these heads, the reference first; for builds that "
            'keep their arrows "old=1 2 3,new=4 5 6".',
        ),
    ] = None,
    arrows: Annotated[
        int | None, typer.Option(metavar="N", min=1, help="Arrows that the heads pass around.")
    ] = None,
    ends: Annotated[int | None, typer.Option(metavar="N", min=1, help="Ends to shoot.")] = None,
    seed: Annotated[int, typer.Option(metavar="S", help="Gives the same order again.")] = 1,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE.csv", help="Write the order to fill in and to compare."),
    ] = None,
    unit: Length = None,
    as_json: Json = False,
) -> None:
    """Plan a comparison: how many arrows, in which order."""
    from groupscan.report.decisions import Shown, needed_parts, notes_part, order_parts
    from groupscan.stats.plan import plan_arrows

    offset_mm, tolerance_mm = _length(offset), _length(tolerance)
    asked = (offset_mm, tolerance_mm, ratio) != (None, None, None)
    if not asked and order is None:
        raise GroupscanError(
            "nothing to plan: give --offset, --tolerance or --ratio for how many arrows, or "
            '--order "field point,fixed-blade" with --arrows and --ends for a shooting order'
        )
    if out is not None and order is None:
        raise GroupscanError("--out writes a shooting order: give --order, --arrows and --ends")
    written = _order(order, arrows, ends, seed) if order is not None else None
    if written is not None:
        builds = len(written.builds)
    parts: list[Part] = []
    told: dict[str, Any] = {"notes": []}
    if asked:
        sigma: Estimate | None = None
        notes: tuple[str, ...] = ()
        if offset_mm is not None or tolerance_mm is not None:
            sigma, notes = _scatter(scatter, shots)
        question: dict[str, Any] = {
            "offset_mm": offset_mm, "tolerance_mm": tolerance_mm, "ratio": ratio,
        }  # fmt: skip
        needed = plan_arrows(sigma.value if sigma else None, **question, builds=builds, power=power)
        wider = None
        if sigma is not None and math.isfinite(sigma.high):
            wider = plan_arrows(sigma.high, **question, builds=builds, power=power)
        told |= {
            "needed": needed.to_dict(),
            "needed_if_wider": wider.to_dict() if wider else None,
            "scatter_mm": sigma,
            "notes": list(notes),
        }
        parts += needed_parts(
            needed, sigma=sigma, if_wider=wider, **question, shown=Shown(unit or "mm")
        )
        parts += notes_part(notes)
    if written is not None:
        told["order"] = written.to_dict()
        parts += order_parts(written)
    if written is not None and out is not None:
        _write_order(written, out)
    if as_json:
        _print_json(told)
        return
    _show(parts)
    if written is not None and out is not None:
        by = "head" if written.rotated else "build"
        typer.echo(
            f"Wrote {out}. Fill in right_mm and high_mm (mm from the aim), then: groupscan compare "
            f'{out} --by {by} --reference "{written.builds[0]}" --planned --tolerance 40mm'
        )


#: What the command line takes in, in the order of its help.
COMMANDS: tuple[Callable[..., None], ...] = (group, compare, arrows, season, reach, plan)


def _shown(unit: Literal["mm", "inch", "moa", "mrad"] | None, table: pd.DataFrame) -> Shown:
    """Return how to show lengths on the target; of no one distance, no angle can be told."""
    from groupscan.decisions.pooling import one_distance
    from groupscan.report.decisions import Shown

    away = one_distance(table)
    if unit in ("moa", "mrad") and away is None:
        raise GroupscanError(
            f"--unit {unit} is an angle, and these shots have no one distance: give --distance"
        )
    return Shown(unit or "mm", away)


def _length(text: str | None) -> float | None:
    from groupscan.units import parse_length

    return None if text is None else parse_length(text, default_unit="mm")


def _distance(text: str) -> float:
    from groupscan.units import parse_distance

    return parse_distance(text, default_unit="m")


def looks_of(text: str | None) -> float | None:
    """Read how often somebody looks: a number, or ``any``.

    Raises
    ------
    GroupscanError
        If it is neither.

    Examples
    --------
    >>> looks_of("4"), looks_of("any"), looks_of(None)
    (4, inf, None)
    """
    if text is None:
        return None
    if text == "any":
        return math.inf
    if text.isdecimal() and int(text) >= 1:
        return int(text)
    raise GroupscanError(f"--looks {text!r} is neither a number of looks, such as 4, nor 'any'")


def _scatter(text: str | None, shots: Shots) -> tuple[Estimate, tuple[str, ...]]:
    from groupscan.decisions.questions import scatter_of
    from groupscan.stats.intervals import Estimate

    given = _length(text)
    return (Estimate(given), ()) if given is not None else scatter_of(shots())


def _order(text: str, arrows: int | None, ends: int | None, seed: int) -> ShootingOrder:
    from groupscan.stats.plan import alternate_builds, rotate_heads

    names = [name.strip() for name in text.split(",")]
    if ends is None:
        raise GroupscanError(
            "say with --ends how many ends you shoot; best as many as heads, or twice"
        )
    kept_apart = ["=" in name for name in names]
    if any(kept_apart) and not all(kept_apart):
        raise GroupscanError(
            'say of every build which arrows it keeps ("old=1 2 3,new=4 5 6"), or of none'
        )
    if all(kept_apart):
        kept = dict(name.split("=", 1) for name in names)
        numbers = {name.strip(): numbers.split() for name, numbers in kept.items()}
        return alternate_builds(numbers, ends, seed=seed)
    if arrows is None:
        raise GroupscanError("say with --arrows how many arrows the heads pass around")
    return rotate_heads(names, arrows, ends, seed=seed)


def _write_order(order: ShootingOrder, out: Path) -> None:
    from groupscan.csvfile import csv_bytes
    from groupscan.decisions.planning import order_frame

    try:
        out.write_bytes(csv_bytes(order_frame(order)))
    except OSError as err:
        raise GroupscanError(f"{out} cannot be written: {err.strerror or err}") from err


def _print_json(value: dict[str, Any]) -> None:
    from groupscan.stats.plain import json_safe

    typer.echo(json.dumps(json_safe(value), allow_nan=False))


def _show(parts: Iterable[Part]) -> None:
    from rich.console import Console

    console = Console()
    for part in parts:
        console.print(part)
