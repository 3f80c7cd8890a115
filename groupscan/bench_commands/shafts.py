"""Builds and launch speeds."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated

import typer

from groupscan.bench_commands.amounts import speed_in
from groupscan.bench_commands.asked import Asked, speed_notes
from groupscan.bench_commands.asking import over_rig
from groupscan.bench_commands.telling import answer
from groupscan.errors import GroupscanError

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.decisions.rig_bench import KeptSpeed

__all__ = ["COMMANDS"]

VirtualMass = Annotated[
    str | None,
    typer.Option(metavar="50gr", help="Of the bow, as 'bench launch' tells: speeds of others."),
]


@over_rig
def build(
    asked: Asked,
    try_insert: Annotated[
        str | None, typer.Option(metavar='"25gr,50gr"', help="Inserts to try.")
    ] = None,
    try_point: Annotated[
        str | None, typer.Option(metavar='"100gr,125gr"', help="Points to try.")
    ] = None,
    virtual_mass: VirtualMass = None,
) -> None:
    """Mass, balance, energy, grains per pound of a build; what other inserts and points do."""
    from groupscan.decisions.rig_bench import speed_by_mass
    from groupscan.rigs.build import measure_arrow
    from groupscan.rigs.what_if import what_if

    known, shot = asked.known, asked.speed_known()
    speed = None if shot is None else shot.speed_mps
    figures = measure_arrow(known.parts, draw_weight_n=known.draw_weight_n, speed_mps=speed)
    frames = {"figures": (f"Build {known.build}".strip(), _known_rows(figures.to_frame()), 1)}
    if try_insert or try_point:
        speed_of = None
        if virtual_mass is not None:
            if speed is None:
                raise GroupscanError("--virtual-mass needs --speed: the speed of this arrow")
            speed_of = speed_by_mass(figures.mass_g, speed, _masses(virtual_mass)[0])
        tried = what_if(
            known.parts,
            _masses(try_insert) if try_insert else known.parts.insert_g or 0.0,
            _masses(try_point) if try_point else known.parts.point_g or 0.0,
            draw_weight_n=known.draw_weight_n,
            speed_of=speed_of,
        )
        frames["what_if"] = ("With other inserts and points", tried.to_frame(), 0)
    answer(
        asked,
        frames,
        said=figures.warnings,
        notes=(*known.notes, *figures.notes, *_speed_said(shot)),
        caution=figures.caution,
        warnings=list(figures.warnings),
    )


@over_rig
def launch(
    asked: Asked,
    arrow: Annotated[
        list[str] | None,
        typer.Option(
            metavar='"412gr:280fps,281fps"',
            help="Readings of an arrow of that mass; may be repeated.",
        ),
    ] = None,
    predict: Annotated[
        str | None, typer.Option(metavar='"380gr,450gr"', help="Speeds of arrows not shot.")
    ] = None,
    ratings: Annotated[
        bool, typer.Option("--ratings", help="Under which conditions bows are rated.")
    ] = False,
) -> None:
    """Launch speed from a chronograph; of other arrows by the bow's virtual mass."""
    from groupscan.decisions.rig_bench import kept_launch, launch_of, ratings_frame

    frames, said = {}, list[str]()
    if ratings:
        rated = ratings_frame()
        said = [f"{one['name']}: {one['what']} Source: {one['source']}."
                for one in rated.to_dict("records")]  # fmt: skip
        if not asked.as_json:
            rated = rated.drop(columns=["what", "source"])
        frames["ratings"] = ("How speeds of bows are rated", rated, 1)
    mass: list[float] = []
    speed: list[float] = []
    for text in arrow or ():
        weight, colon, readings = text.partition(":")
        if not colon:
            raise GroupscanError(f"--arrow {text!r}: write it like 412gr:280fps,281fps")
        found = [speed_in(one) for one in readings.split(",")]
        mass += _masses(weight) * len(found)
        speed += found
    if asked.speeds_mps:
        mass += [asked.known.mass_g()] * len(asked.speeds_mps)
        speed += asked.speeds_mps
    kept = asked.readings() if not mass else None
    if kept is not None and not len(kept.readings):
        kept = None
    if not mass and not ratings and kept is None:
        raise GroupscanError(
            'no readings: give --arrow "412gr:280fps,281fps", or --speed with the arrow\'s --mass, '
            "or --rig with readings that 'groupscan gear reading' kept"
        )
    from groupscan.rigs.build import MAKERS_FIRST

    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    told = None
    if kept is not None:
        told = kept_launch(kept, asked.known, predict_g=_masses(predict) if predict else ())
    elif mass:
        k = None
        if asked.speed_at_m and (asked.known.shaft_mm or asked.drag_text):
            k = [asked.drag(mass_g=one).per_m for one in mass]
        told = launch_of(
            mass,
            speed,
            predict_g=_masses(predict) if predict else (),
            draw_weight_n=asked.known.draw_weight_n,
            distance_m=asked.speed_at_m,
            drag_per_m=k,
        )
    if told is not None:
        notes, warnings = told.notes, told.warnings
        frames |= {
            "readings": ("Launch speed, by mass of arrow", told.readings_frame(), 0),
            "bow": ("The bow", told.bow_frame(), 1),
            "predicted": ("Arrows that were not shot", told.predicted_frame(), 0),
        }
    answer(
        asked,
        frames,
        said=(*warnings, *said),
        notes=(*asked.known.notes, *notes),
        caution=MAKERS_FIRST,
        warnings=list(warnings),
    )


def _speed_said(shot: KeptSpeed | None) -> tuple[str, ...]:
    if shot is None:
        return ()
    return (*speed_notes(shot), *(shot.measured.notes if shot.measured is not None else ()))


def _known_rows(frame: pd.DataFrame) -> pd.DataFrame:
    return frame[frame["value"].notna()]


def _masses(text: str) -> list[float]:
    """Return masses, g; their unit must be said."""
    from groupscan.units import parse_quantity

    return [parse_quantity(one.strip(), "mass") for one in text.split(",")]


COMMANDS: tuple[tuple[str, Callable[..., None]], ...] = (("build", build), ("launch", launch))
