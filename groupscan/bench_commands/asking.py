"""What the commands of the bench share: the rig, its speed and drag, and the air."""

from __future__ import annotations

import math
from collections.abc import Callable, Container
from dataclasses import dataclass, replace
from functools import wraps
from inspect import Parameter, Signature, signature
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

import typer

from groupscan.errors import GroupscanError
from groupscan.gear_commands.asking import day_of, read_given, records

if TYPE_CHECKING:
    from datetime import date

    from groupscan.decisions.rig_bench import (
        Air,
        Drag,
        KeptPins,
        KeptReadings,
        KeptSpeed,
        KnownRig,
    )
    from groupscan.rigs.chronograph import Chronograph

__all__ = [
    "OF_ONE_RIG",
    "Asked",
    "WithoutFlyers",
    "angle_mrad",
    "distances_in",
    "kept_rig",
    "length_in",
    "over_rig",
    "speed_in",
    "speed_notes",
    "steps_to",
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
_ANGLES: Final = {"mrad": 1.0, "moa": 1e3 * math.pi / 10_800}


@dataclass(frozen=True)
class Asked:
    """A rig as the options say it.

    Attributes
    ----------
    known : KnownRig
    air : Air
    speeds_mps : tuple of float
        Readings of a chronograph; empty where none were given.
    speed_at_m : float
        From the string to the chronograph.
    drag_text : str or None
    head_area_mm2 : float
    home : Path or None
    rig, shooter, build : str or None
        Names that choose shots of the records.
    on : date or None
        The day whose setup counts; None for today.
    units : {'archery', 'si'}
    as_json : bool
    """

    known: KnownRig
    air: Air
    speeds_mps: tuple[float, ...]
    speed_at_m: float
    drag_text: str | None
    head_area_mm2: float
    home: Path | None
    rig: str | None
    shooter: str | None
    build: str | None
    on: date | None
    units: Literal["archery", "si"]
    as_json: bool

    def drag(self, speed_mps: float | None = None, *, mass_g: float | None = None) -> Drag:
        """Return the drag of the arrow, or of one like it of another mass."""
        from groupscan.decisions.rig_bench import drag_of, with_parts

        text = (self.drag_text or "").strip().casefold()
        cd: Any = None
        per_m = None
        if text.endswith("/m"):
            per_m = _number(text.removesuffix("/m"), "--drag")
        elif text in ("laminar", "turbulent"):
            cd = text
        elif text:
            cd = _number(text, "--drag")
        return drag_of(
            self.known if mass_g is None else with_parts(self.known, mass_g=mass_g),
            self.air,
            cd=cd,
            per_m=per_m,
            head_area_mm2=self.head_area_mm2,
            speed_mps=speed_mps,
        )

    def chronograph(self) -> Chronograph | None:
        """Return the launch speed that was measured, at the bow where the drag is known."""
        from groupscan.rigs.chronograph import measure_speed

        if not self.speeds_mps:
            return None
        k = None
        if self.speed_at_m:
            try:
                k = self.drag().per_m
            except ValueError:
                k = None
        return measure_speed(self.speeds_mps, distance_m=self.speed_at_m, drag_per_m=k)

    def speed(self) -> KeptSpeed:
        """Return the launch speed given, or else that of the rig's kept readings."""
        found = self.speed_known()
        if found is None:
            raise GroupscanError(
                "no launch speed: give --speed 280fps, or several readings of a chronograph, "
                '--speed "280fps,281fps,279fps"; or keep them: groupscan gear reading RIG'
            )
        return found

    def speed_known(self) -> KeptSpeed | None:
        """Return the launch speed given or kept; None where neither tells it."""
        from groupscan.decisions.rig_bench import KeptSpeed, kept_speed

        given = self.chronograph()
        if given is not None:
            return KeptSpeed(given.speed_mps, "as given", given)
        kept = self.readings()
        if kept is None:
            return None
        try:
            return kept_speed(kept, self.known)
        except ValueError:
            return None

    def setup_day(self) -> str | None:
        """Return the first day of the setup that was asked for; None where none was."""
        from groupscan.gear_commands.finding import one
        from groupscan.records.store import list_setups

        if self.on is None or self.rig is None:
            return None
        with records(self.home) as store:
            row = one(store, "rig", self.rig, shooter=self.shooter)
            since = list_setups(store, row["id"])["since"].dt.date
        held = since[since <= self.on]
        if held.empty:
            raise GroupscanError(
                f"{self.rig} has no setup of {self.on}: its first is of {since.min()}"
                if len(since)
                else f"{self.rig} has no setup: groupscan gear setup adds one"
            )
        return str(held.iloc[-1])

    def readings(self) -> KeptReadings | None:
        """Return the readings that the records keep of the rig; None without a rig of theirs."""
        from groupscan.decisions.rig_bench import kept_readings
        from groupscan.gear_commands.finding import one

        if self.rig is None:
            return None
        with records(self.home) as store:
            row = one(store, "rig", self.rig, shooter=self.shooter)
            return kept_readings(store, row["id"], on=self.on)

    def pins(self) -> KeptPins | None:
        """Return the pins that the records keep of the rig; None without any."""
        from groupscan.decisions.rig_bench import kept_pins
        from groupscan.gear_commands.finding import one

        if self.rig is None:
            return None
        with records(self.home) as store:
            row = one(store, "rig", self.rig, shooter=self.shooter)
            return kept_pins(store, row["id"], on=self.on)


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
        air=air_of(**air, altitude_m=None if altitude is None else _altitude(altitude)),
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


def speed_notes(shot: KeptSpeed) -> tuple[str, ...]:
    """Say where a launch speed comes from that was not given."""
    if shot.basis == "as given":
        return ()
    many = "" if shot.measured is None else f", {shot.measured.n} readings"
    return (f"Launch speed of the records: {shot.basis}{many}.",)


def length_in(text: str) -> float:
    """Return a length, mm; its unit must be said."""
    from groupscan.units import parse_length

    return parse_length(text)


def speed_in(text: str) -> float:
    """Return a speed, m/s; its unit must be said."""
    from groupscan.units import parse_quantity

    return parse_quantity(text.strip(), "speed")


def distances_in(text: str) -> list[float]:
    """Return distances, m, from a list such as ``20yd,30yd``."""
    from groupscan.units import parse_distance

    return [parse_distance(one.strip()) for one in text.split(",")]


def steps_to(nearest: str, farthest: str, step: str) -> list[float]:
    """Return distances, m, from the nearest to the farthest.

    Examples
    --------
    >>> steps_to("10m", "25m", "5m")
    [10.0, 15.0, 20.0, 25.0]
    """
    (near,), (far,), (by,) = distances_in(nearest), distances_in(farthest), distances_in(step)
    if not near < far:
        raise GroupscanError(f"--from {nearest} must be nearer than --to {farthest}")
    count = math.floor((far - near) / by + 1e-9)
    if count > 500:
        raise GroupscanError(f"--step {step} makes {count} rows: give a longer step")
    return [near + by * i for i in range(count + 1)]


def angle_mrad(text: str) -> float:
    """Return an angle, mrad, from text such as ``1.2mrad`` or ``4moa``.

    Examples
    --------
    >>> angle_mrad("1.2mrad"), round(angle_mrad("4 MOA"), 3)
    (1.2, 1.164)
    """
    low = text.strip().casefold()
    for unit, factor in _ANGLES.items():
        if low.endswith(unit):
            return _number(low.removesuffix(unit), "an angle") * factor
    raise GroupscanError(f"{text!r} is no angle; write it like 1.2mrad or 4moa")


def _number(text: str, what: str) -> float:
    try:
        return float(text)
    except ValueError as err:
        raise GroupscanError(f"{what} {text!r} is no number") from err


def _altitude(text: str) -> float:
    """Return a height above sea level, m; it may be nothing or below."""
    sign = -1.0 if text.strip().startswith("-") else 1.0
    bare = text.strip().lstrip("+-")
    if bare.rstrip("mftyd ").strip("0.") == "":
        return 0.0
    return sign * length_in(bare) / 1e3


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
