"""The options of a rig that the commands of the bench share."""

from __future__ import annotations

from collections.abc import Callable, Container
from dataclasses import replace
from functools import wraps
from inspect import Parameter, Signature, signature
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

import typer

from groupscan.bench_commands.amounts import altitude_in, length_in, speed_in
from groupscan.bench_commands.asked import Asked
from groupscan.gear_commands.asking import day_of, read_given, records

if TYPE_CHECKING:
    from groupscan.decisions.rig_bench import KnownRig

__all__ = [
    "OF_ONE_RIG",
    "WithoutFlyers",
    "kept_rig",
    "over_rig",
]

WithoutFlyers = Annotated[
    bool, typer.Option("--without-flyers", help="Leave out shots marked as flyers.")
]
Mass = Annotated[str | None, typer.Option(metavar="50gr")]

# Options named after fields of an arrow's parts, and of a rig.
_PARTS: Final = {
    "length": "length_mm", "gpi": "shaft_g_per_m", "insert_mass": "insert_g",
    "collar_mass": "collar_g", "point_mass": "point_g", "fletching_mass": "fletching_g",
    "wrap_mass": "wrap_g", "nock_mass": "nock_g", "mass": "mass_g", "balance": "balance_mm",
}  # fmt: skip
_RIG: Final = {
    "diameter": "shaft_mm", "draw_weight": "draw_weight_n", "sight_radius": "sight_radius_mm",
    "peep_height": "peep_height_mm",
}  # fmt: skip
# What only the rig of a command that is about one can be told.
OF_ONE_RIG: Final = (*_PARTS, *_RIG, "build", "setup")
_AIR: Final = {
    "temperature": "temperature_c", "pressure": "pressure_pa", "humidity": "humidity",
}  # fmt: skip


def _rig(
    rig: Annotated[
        str | None, typer.Option(metavar="NAME", help="A rig of your records, as set up.")
    ] = None,
    build: Annotated[
        str | None, typer.Option(metavar="NAME", help="A build of your records.")
    ] = None,
    setup: Annotated[
        str | None,
        typer.Option(
            metavar="DAY",
            help="The rig as set up that day, and its shots alone; else today, and all shots.",
        ),
    ] = None,
    shooter: Annotated[str | None, typer.Option(metavar="NAME", help="Whose it is.")] = None,
    home: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Records to read; else your own.")
    ] = None,
    draw_weight: Annotated[
        str | None, typer.Option(metavar="60lb", help="Peak; this and below instead of records.")
    ] = None,
    sight_radius: Annotated[
        str | None, typer.Option(metavar="34in", help="From the peep to the pins.")
    ] = None,
    peep_height: Annotated[
        str | None, typer.Option(metavar="4in", help="Of the peep above the arrow.")
    ] = None,
    diameter: Annotated[
        str | None, typer.Option(metavar="6mm", help="Outside diameter of the shaft.")
    ] = None,
    length: Annotated[
        str | None, typer.Option(metavar="28in", help="Cut length of the shaft.")
    ] = None,
    gpi: Annotated[
        str | None, typer.Option(metavar="9.3gpi", help="Mass of the shaft per inch, or g/m.")
    ] = None,
    insert_mass: Mass = None,
    collar_mass: Mass = None,
    point_mass: Annotated[
        str | None, typer.Option(metavar="100gr", help="Of the point or head.")
    ] = None,
    fletching_mass: Annotated[
        str | None, typer.Option(metavar="18gr", help="Of all vanes together.")
    ] = None,
    wrap_mass: Mass = None,
    nock_mass: Mass = None,
    mass: Annotated[
        str | None, typer.Option(metavar="412gr", help="Of the whole arrow, on a scale.")
    ] = None,
    balance: Annotated[
        str | None, typer.Option(metavar="17in", help="Balance point from the nock's throat.")
    ] = None,
    speed: Annotated[
        str | None,
        typer.Option(metavar='"280fps,281fps"', help="Launch speed: chronograph readings."),
    ] = None,
    speed_at: Annotated[
        str | None, typer.Option(metavar="1m", help="From the string to the chronograph.")
    ] = None,
    drag: Annotated[
        str | None,
        typer.Option(
            metavar="laminar|turbulent|2.0|0.0011/m",
            help="Drag coefficient, or loss a metre; else between the published ones.",
        ),
    ] = None,
    head_area: Annotated[
        float, typer.Option(metavar="MM2", help="Drag area that the head adds, mm2; a guess.")
    ] = 0.0,
    temperature: Annotated[str | None, typer.Option(metavar="12C")] = None,
    pressure: Annotated[
        str | None,
        typer.Option(metavar="1013hPa", help="Of the place; with --altitude reduced to sea level."),
    ] = None,
    altitude: Annotated[
        str | None, typer.Option(metavar="500m", help="Of the place above sea level.")
    ] = None,
    humidity: Annotated[str | None, typer.Option(metavar="60%")] = None,
    units: Annotated[
        Literal["archery", "si"], typer.Option(help="Units of the tables; JSON is always SI.")
    ] = "archery",
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object, in SI units.")] = False,
) -> Asked:
    """Return the rig that the options say."""
    typed = dict(locals())
    from groupscan.decisions.rig_bench import KnownRig, air_of, with_parts

    known = kept_rig(rig, build, setup, shooter, home) if rig or build else KnownRig()
    parts = read_given({field: typed[name] for name, field in _PARTS.items()}).values
    if "length_mm" in parts:
        parts["cut_mm"] = parts.pop("length_mm")
    if parts:
        known = with_parts(known, **parts)
    given = read_given({field: typed[name] for name, field in _RIG.items()}).values
    renamed = {"sight_radius_mm": "radius_mm", "peep_height_mm": "peep_mm"}
    known = replace(known, **{renamed.get(name, name): value for name, value in given.items()})
    air = read_given({field: typed[name] for name, field in _AIR.items()}).values
    return Asked(
        known=known,
        air=air_of(**air, altitude_m=None if altitude is None else altitude_in(altitude)),
        speeds_mps=() if speed is None else tuple(speed_in(one) for one in speed.split(",")),
        speed_at_m=0.0 if speed_at is None else length_in(speed_at) / 1e3,
        drag_text=drag,
        head_area_mm2=head_area,
        home=home,
        rig=rig,
        shooter=shooter,
        build=build,
        on=None if setup is None else day_of(setup),
        units=units,
        as_json=as_json,
    )


def over_rig(command: Callable[..., None], *, without: Container[str] = ()) -> Callable[..., None]:
    """Give a command the options of a rig after its own, less some; it takes the `Asked` first."""
    own = list(signature(command, eval_str=True).parameters.values())[1:]
    every = signature(_rig, eval_str=True).parameters
    asking = {name: one for name, one in every.items() if name not in without}

    @wraps(command)
    def run(**given: Any) -> None:
        command(_rig(**{name: given.pop(name) for name in asking}), **given)

    told = [one.replace(kind=Parameter.KEYWORD_ONLY) for one in (*own, *asking.values())]
    run.__signature__ = Signature(told)  # type: ignore[attr-defined]
    run.__annotations__ = {one.name: one.annotation for one in told}
    return run


def kept_rig(
    rig: str | None, build: str | None, setup: str | None, shooter: str | None, home: Path | None
) -> KnownRig:
    """Return what the records hold of a rig, a build, or both."""
    from groupscan.decisions.rig_bench import known_build, rig_of_store
    from groupscan.gear_commands.finding import one

    with records(home) as store:
        from groupscan.records.store import get_build

        built: Any = None
        if build is not None:
            built = one(store, "build", build, shooter=shooter)["id"]
        if rig is None:
            return known_build(get_build(store, built))
        row = one(store, "rig", rig, shooter=shooter)
        on = None if setup is None else day_of(setup)
        return rig_of_store(store, row["id"], on=on, build_id=built)
