"""Printed pages from the command line: of a session, a comparison, a student and the like."""

from __future__ import annotations

from contextlib import closing
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from groupscan.errors import GroupscanError

if TYPE_CHECKING:
    from groupscan.records.store import Store

__all__ = ["APPLICATION"]

APPLICATION = typer.Typer(
    name="report", help="Print a page as PDF: session, comparison, student, quiver, reach.",
    no_args_is_help=True, rich_markup_mode=None,
)  # fmt: skip

Paper = Annotated[
    Literal["letter", "a4"] | None,
    typer.Option(help="Size of the paper; else Letter for inches, A4 for mm."),
]
Unit = Annotated[
    Literal["mm", "inch", "moa", "mrad"] | None,
    typer.Option(help="Unit of the numbers; else as you prefer in the app."),
]
Out = Annotated[
    Path | None, typer.Option(metavar="FILE.pdf", help="Where to write it; else a name of its own.")
]
Home = Annotated[
    Path | None, typer.Option(metavar="FOLDER", help="Records to read; else your own.")
]
Day = Annotated[
    str | None,
    typer.Option("--made-on", metavar="DAY", help="Day to print at the foot; else today."),
]

Shooter = Annotated[str | None, typer.Option(metavar="NAME", help="Only this shooter.")]
Rig = Annotated[str | None, typer.Option(metavar="NAME", help="Only this rig.")]
Build = Annotated[str | None, typer.Option(metavar="NAME", help="Only this build of arrow.")]
Head = Annotated[str | None, typer.Option(metavar="NAME", help="Only this head.")]
Distance = Annotated[str | None, typer.Option(metavar="20yd", help="Only shots from here.")]
Sessions = Annotated[
    list[str] | None,
    typer.Option(metavar="DAY", help="Only this session, by date; may be repeated."),
]


@APPLICATION.command()
def session(
    number: Annotated[
        int | None,
        typer.Argument(metavar="[ID]", help="As 'groupscan sessions' lists it; else the last."),
    ] = None,
    paper: Paper = None,
    unit: Unit = None,
    out: Out = None,
    home: Home = None,
    made_on: Day = None,
) -> None:
    """Print the page of a session."""
    from groupscan.printouts import print_session
    from groupscan.records.store import list_sessions

    with _opened(home) as store:
        if number is None:
            sessions = list_sessions(store)
            sessions = sessions[sessions["shots"] > 0]
            if sessions.empty:
                raise GroupscanError("the records hold no session with shots: nothing to print")
            number = int(sessions["id"].iloc[0])
        made = print_session(
            store, number, paper=_paper(store, paper), unit=unit, made_on=_day(made_on)
        )
    _write(made, out or Path(f"session-{number}.pdf"))


@APPLICATION.command()
def student(
    name: Annotated[str, typer.Argument(metavar="NAME", help="Whose page.")],
    paper: Paper = None,
    unit: Unit = None,
    out: Out = None,
    home: Home = None,
    made_on: Day = None,
) -> None:
    """Print the page of a student: the season, what to work on, goals and notes."""
    from groupscan.printouts import print_student, student_named

    with _opened(home) as store:
        key = student_named(store, name)
        made = print_student(
            store, key, paper=_paper(store, paper), unit=unit, made_on=_day(made_on)
        )
    _write(made, out or Path(f"student-{key}.pdf"))


@APPLICATION.command()
def match(
    by: Annotated[
        Literal["head", "build", "setup", "rig"], typer.Option(help="What parts the shots.")
    ] = "head",
    reference: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Compare the others with this; else the field point."),
    ] = None,
    tolerance: Annotated[
        str | None, typer.Option(metavar="40mm", help="Centres closer than this are together.")
    ] = None,
    looks: Annotated[
        str | None,
        typer.Option(metavar="N|any", help="You looked up to N times, or after every end."),
    ] = None,
    shooter: Shooter = None,
    rig: Rig = None,
    distance: Distance = None,
    session: Sessions = None,
    paper: Paper = None,
    unit: Unit = None,
    out: Out = None,
    home: Home = None,
    made_on: Day = None,
) -> None:
    """Print the page of a comparison of heads, builds, setups or rigs."""
    from groupscan.decision_commands import looks_of
    from groupscan.printouts import print_comparison
    from groupscan.units import parse_distance, parse_length

    with _opened(home) as store:
        made = print_comparison(
            store,
            by=by,
            reference=reference,
            tolerance_mm=parse_length(tolerance, default_unit="mm") if tolerance else None,
            shooter=shooter,
            rig=rig,
            distance_m=parse_distance(distance, default_unit="m") if distance else None,
            sessions=session or (),
            looks=looks_of(looks),
            paper=_paper(store, paper),
            unit=unit,
            made_on=_day(made_on),
        )
    _write(made, out or Path(f"match-{by}.pdf"))


@APPLICATION.command()
def quiver(
    worth: Annotated[
        str | None, typer.Option(metavar="30mm", help="Offset that matters to you; else one sigma.")
    ] = None,
    shooter: Shooter = None,
    rig: Rig = None,
    build: Build = None,
    head: Head = None,
    distance: Distance = None,
    session: Sessions = None,
    paper: Paper = None,
    unit: Unit = None,
    out: Out = None,
    home: Home = None,
    made_on: Day = None,
) -> None:
    """Print the page of numbered arrows: where each lands, which to turn or pull."""
    from groupscan.printouts import print_arrows
    from groupscan.units import parse_distance, parse_length

    with _opened(home) as store:
        made = print_arrows(
            store,
            worth_mm=parse_length(worth, default_unit="mm") if worth else None,
            shooter=shooter,
            rig=rig,
            build=build,
            head=head,
            distance_m=parse_distance(distance, default_unit="m") if distance else None,
            sessions=session or (),
            paper=_paper(store, paper),
            unit=unit,
            made_on=_day(made_on),
        )
    _write(made, out or Path("quiver.pdf"))


@APPLICATION.command()
def reach(
    circle: Annotated[
        str | None,
        typer.Option(metavar="150mm", help="Diameter of the circle about the aim; else your last."),
    ] = None,
    standard: Annotated[
        float | None,
        typer.Option(metavar="SHARE", help="Share of arrows that must land inside, such as 0.9."),
    ] = None,
    shooter: Shooter = None,
    rig: Rig = None,
    build: Build = None,
    head: Head = None,
    session: Sessions = None,
    paper: Paper = None,
    out: Out = None,
    home: Home = None,
    made_on: Day = None,
) -> None:
    """Print the page of how far out arrows can be trusted to hit a circle."""
    from groupscan.printouts import print_distances
    from groupscan.units import parse_length

    with _opened(home) as store:
        made = print_distances(
            store,
            circle_mm=parse_length(circle, default_unit="mm") if circle else None,
            standard=standard,
            shooter=shooter,
            rig=rig,
            build=build,
            head=head,
            sessions=session or (),
            paper=_paper(store, paper),
            made_on=_day(made_on),
        )
    _write(made, out or Path("reach.pdf"))


def _opened(home: Path | None) -> closing[Store]:
    from groupscan.records.store import open_store

    if home is not None and not home.is_dir():
        raise GroupscanError(f"there are no records in {home}: the folder does not exist")
    return closing(open_store(home))


def _paper(store: Store, asked: Literal["letter", "a4"] | None) -> Any:
    from groupscan.printouts import paper_of
    from groupscan.records.preferences import read_preferences

    return asked or paper_of(read_preferences(store))


def _day(text: str | None) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError as err:
        raise GroupscanError(f"{text!r} is no day: write it as 2026-05-03") from err


def _write(contents: bytes, path: Path) -> None:
    try:
        path.write_bytes(contents)
    except OSError as err:
        raise GroupscanError(f"{path} was not written: {err.strerror or err}") from err
    typer.echo(f"Wrote {path}. Print it at 100 %, so that its scale is true.")
