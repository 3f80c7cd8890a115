"""What was shot: the fit to groups at several distances, and two rigs side by side."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, NamedTuple

import typer

from groupscan.bench_commands.amounts import distances_in, length_in, speed_in
from groupscan.bench_commands.asked import Asked
from groupscan.bench_commands.asking import OF_ONE_RIG, WithoutFlyers, over_rig
from groupscan.bench_commands.telling import answer
from groupscan.errors import GroupscanError

if TYPE_CHECKING:
    from groupscan.decisions.rig_bench import Measured, Side

__all__ = ["COMMANDS"]

OneHead = Annotated[str | None, typer.Option(metavar="NAME", help="Only shots with this head.")]


@over_rig
def fit(
    asked: Asked,
    csv: Annotated[
        list[Path] | None,
        typer.Argument(metavar="CSV", help="Tables of shots; left out: your records."),
    ] = None,
    session: Annotated[
        list[str] | None,
        typer.Option(metavar="DAY", help="Only this session, by date or label; may be repeated."),
    ] = None,
    head: OneHead = None,
    without_flyers: WithoutFlyers = False,
    pool: Annotated[
        Literal["session", "distance"],
        typer.Option(help="Each session a group, or all shots of a distance one."),
    ] = "session",
    speed_se: Annotated[
        str | None,
        typer.Option(metavar="1fps", help="Standard error of --speed; else from its readings."),
    ] = None,
    chronograph: Annotated[
        bool,
        typer.Option("--chronograph", help="Use the mean of the rig's kept readings as the speed."),
    ] = False,
    peep_se: Annotated[
        str | None,
        typer.Option(metavar="2mm", help="Use the peep height as measured, to within this."),
    ] = None,
    pins: Annotated[
        str | None, typer.Option(metavar='"20yd,30yd"', help="Pins to predict; else those shot.")
    ] = None,
) -> None:
    """Speed, drag and peep height from groups shot with one pin at several distances."""
    from groupscan.decisions.rig_bench import NO_LICENCE, fit_of
    from groupscan.decisions.shot_table import choose_shots, read_shot_csv, shots_of_records

    table = read_shot_csv(csv) if csv else shots_of_records(asked.home)
    chosen = choose_shots(
        table,
        rig=None if csv and "rig" not in table else asked.rig,
        shooter=asked.shooter,
        build=asked.build,
        head=head,
        sessions=session or (),
        setup=asked.setup_day() if "setup" in table else None,
        without_flyers=without_flyers,
    )
    told = fit_of(
        chosen,
        asked.known,
        asked.air,
        pool=pool,
        speed_mps=_speed_with_error(asked, speed_se, kept=chronograph),
        peep_se_mm=None if peep_se is None else length_in(peep_se),
        pins_m=None if pins is None else distances_in(pins),
        head_area_mm2=asked.head_area_mm2,
    )
    answer(
        asked,
        {
            "groups": ("Groups: middle of the shots above the aim", told.groups, 1),
            "fit": ("What they tell of the rig", told.fit.to_frame(), 1),
            "pins": ("Pins, below the line through the peep along the arrow",
                     told.pins_frame(), 0),
        },
        said=[*told.warnings, *([] if told.fit.drag_fitted else [
            "The drag could not be told: it was held over the published range."
        ])],
        notes=told.notes,
        caution=NO_LICENCE,
        warnings=list(told.warnings),
        drag_fitted=told.fit.drag_fitted,
        scatter_mrad=told.fit.scatter_mrad,
        lack_of_fit_p=told.fit.lack_of_fit_p,
        published_drag_per_m=list(told.published_per_m),
    )  # fmt: skip


@partial(over_rig, without=OF_ONE_RIG)
def compare(
    asked: Asked,
    first: Annotated[str, typer.Argument(metavar="FIRST", help="A rig or build of your records.")],
    second: Annotated[str, typer.Argument(metavar="SECOND", help="Another.")],
    by: Annotated[
        Literal["rig", "build"],
        typer.Option(help="What the two are; two builds are shot with --rig."),
    ] = "rig",
    second_speed: Annotated[
        str | None,
        typer.Option(metavar="275fps", help="Launch speed of the second; --speed of the first."),
    ] = None,
    virtual_mass: Annotated[
        str | None,
        typer.Option(metavar="50gr", help="Of the bow: the second build's speed from the first's."),
    ] = None,
    pins: Annotated[
        str, typer.Option(metavar='"20yd,40yd"', help="Distances of pins and drift.")
    ] = "20yd,40yd,60yd",
    crosswind: Annotated[
        str, typer.Option(metavar="3m/s", help="Wind from the left, for the drift.")
    ] = "3m/s",
    circle: Annotated[
        str | None, typer.Option(metavar="150mm", help="Diameter of the circle, for reach.")
    ] = None,
    standard: Annotated[
        float, typer.Option(metavar="SHARE", help="Share of arrows inside, for reach.")
    ] = 0.9,
    head: OneHead = None,
    without_flyers: WithoutFlyers = False,
) -> None:
    """Two rigs or builds side by side: computed, and measured in your records."""
    from groupscan.decisions.rig_bench import side_by_side

    if by == "rig" and (asked.rig or virtual_mass):
        raise GroupscanError("--rig and --virtual-mass go with --by build: two builds of one rig")
    one = _speed(asked, by, first)
    two = (
        speed_in(second_speed)
        if second_speed
        else _speed(replace(asked, speeds_mps=()), by, second)
    )
    at, wind = distances_in(pins), speed_in(crosswind)
    circle_mm = None if circle is None else length_in(circle)
    chosen = _Chosen(head, without_flyers, circle_mm, standard)
    left, why = _side(asked, by, first, one, at, wind, chosen)
    if virtual_mass is not None and second_speed is None:
        two = _carried(asked, second, left, virtual_mass)
    right, other = _side(asked, by, second, two, at, wind, chosen)
    told = side_by_side(left, right, crosswind_mps=wind)
    computed, measured = told.to_frame(), told.measured_frame()
    if not asked.as_json:
        computed = computed.dropna(subset=["first", "second"], how="all")
        measured = measured.dropna(subset=["first", "second"], how="all")
    answer(
        asked,
        {
            "computed": (f"{left.name} and {right.name}, computed", computed, 1),
            "measured": ("Measured in your records; 95 % intervals", measured, 1),
        },
        notes=(
            *told.notes(),
            *why,
            *other,
            f"Whether they hit together or apart says: groupscan compare --by {by}.",
        ),
        caution=told.caution,
        heads={"first": left.name, "second": right.name} if left.name != right.name else None,
        chooses=("head",),
        first_name=left.name,
        second_name=right.name,
    )


COMMANDS: tuple[tuple[str, Callable[..., None]], ...] = (("fit", fit), ("compare", compare))


class _Chosen(NamedTuple):
    """Which of the shots count, and what their reach is held against."""

    head: str | None
    without_flyers: bool
    circle_mm: float | None
    standard: float


def _speed_with_error(
    asked: Asked, speed_se: str | None, *, kept: bool
) -> tuple[float, float] | None:
    shot = asked.chronograph()
    if shot is not None and kept:
        raise GroupscanError("--speed and --chronograph both tell the speed: give one of the two")
    if shot is None and kept:
        told = asked.speed_known()
        shot = None if told is None else told.measured
        if shot is None:
            raise GroupscanError(
                "--chronograph: no reading of this arrow is kept; 'groupscan gear reading RIG' "
                "keeps one"
            )
    if shot is None:
        return None
    if speed_se is not None:
        return shot.speed_mps, speed_in(speed_se)
    if shot.n < 2 or not shot.sd_mps > 0:
        raise GroupscanError("one reading tells no error of the speed: give --speed-se 1fps")
    return shot.speed_mps, shot.sd_mps / math.sqrt(shot.n)


def _known(asked: Asked, by: str, name: str) -> Any:
    """Return one of the two as the records hold it."""
    from groupscan.bench_commands.asking import kept_rig

    if by == "rig":
        return kept_rig(name, None, None, asked.shooter, asked.home)
    known = kept_rig(asked.rig, name, None, asked.shooter, asked.home)
    return replace(known, name=known.build)


def _speed(asked: Asked, by: str, name: str) -> float | None:
    """Return the launch speed given for one of the two, or that of its kept readings."""
    known = _known(asked, by, name)
    one = replace(asked, known=known, rig=name if by == "rig" else asked.rig)
    shot = one.speed_known()
    return None if shot is None else shot.speed_mps


def _carried(asked: Asked, second: str, left: Side, virtual_mass: str) -> float:
    """Return the launch speed of the second build from the first's."""
    import numpy as np

    from groupscan.decisions.rig_bench import speed_by_mass
    from groupscan.units import parse_quantity

    if math.isnan(left.speed_mps):
        raise GroupscanError("--virtual-mass needs --speed: the speed of the first build")
    virtual = parse_quantity(virtual_mass, "mass")
    of_mass = speed_by_mass(left.figures.mass_g, left.speed_mps, virtual)
    return float(of_mass(np.array([_known(asked, "build", second).mass_g()]))[0])


def _side(
    asked: Asked,
    by: str,
    name: str,
    speed_mps: float | None,
    at: list[float],
    wind: float,
    chosen: _Chosen,
) -> tuple[Side, tuple[str, ...]]:
    """Return one of the two, and why nothing measured of it is told."""
    from groupscan.decisions.rig_bench import side_of

    known = _known(asked, by, name)
    drag = None
    if speed_mps is not None:
        drag = replace(asked, known=known).drag(speed_mps)
    measured, why = _measured(asked, by, name, chosen)
    side = side_of(
        known,
        speed_mps=speed_mps,
        drag=drag,
        distance_m=at,
        crosswind_mps=wind,
        measured=measured,
    )
    return side, why


def _measured(
    asked: Asked, by: str, name: str, chosen: _Chosen
) -> tuple[Measured | None, tuple[str, ...]]:
    """Return what the records say of one of the two; None and why where they hold no such shot."""
    from groupscan.decisions.rig_bench import measured_of
    from groupscan.decisions.shot_table import choose_shots, shots_of_records
    from groupscan.errors import TableError

    try:
        table = choose_shots(
            shots_of_records(asked.home),
            rig=name if by == "rig" else asked.rig,
            build=name if by == "build" else None,
            shooter=asked.shooter,
            head=chosen.head,
            without_flyers=chosen.without_flyers,
        )
    except TableError as err:
        return None, (f"{name}: nothing measured: {err}.",)
    return measured_of(table, circle_mm=chosen.circle_mm, standard=chosen.standard), ()
