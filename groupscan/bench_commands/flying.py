"""The flight: a table, and a range card to print."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

import typer

from groupscan.bench_commands.amounts import distances_in, speed_in, steps_to
from groupscan.bench_commands.asked import Asked, speed_notes
from groupscan.bench_commands.asking import over_rig
from groupscan.bench_commands.telling import answer, write_pdf
from groupscan.errors import GroupscanError

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.decisions.rig_bench import FlightTable

__all__ = ["COMMANDS"]

# Nobody stands on a steeper line of sight.
_STEEPEST_DEG: Final = 80.0

At = Annotated[
    str | None,
    typer.Option("--at", metavar='"20yd,30yd"', help="Distances; else --from, --to, --step."),
]
From = Annotated[str, typer.Option("--from", metavar="10yd", help="Nearest distance.")]
To = Annotated[str, typer.Option("--to", metavar="60yd", help="Farthest distance.")]
Step = Annotated[str, typer.Option("--step", metavar="10yd", help="Between distances.")]
Sighted = Annotated[
    str, typer.Option("--sighted", metavar="20yd", help="Where the sight is right, on level.")
]
Slope = Annotated[
    float,
    typer.Option("--slope", metavar="DEGREES", help="Line of sight above level; down is minus."),
]
Crosswind = Annotated[
    str | None, typer.Option("--crosswind", metavar="3m/s", help="Wind from the left.")
]
Headwind = Annotated[
    str | None, typer.Option("--headwind", metavar="3m/s", help="Wind in the face.")
]
Tailwind = Annotated[
    str | None, typer.Option("--tailwind", metavar="3m/s", help="Wind from behind.")
]
PaperSize = Annotated[Literal["a4", "letter"], typer.Option("--paper", help="Size of the page.")]


@over_rig
def flight(
    asked: Asked,
    at: At = None,
    from_: From = "10yd",
    to: To = "60yd",
    step: Step = "10yd",
    sighted: Sighted = "20yd",
    slope: Slope = 0.0,
    crosswind: Crosswind = None,
    headwind: Headwind = None,
    tailwind: Tailwind = None,
) -> None:
    """Drop, time, speed, energy and drift by distance; up- and downhill; in any air."""
    distances = distances_in(at) if at else steps_to(from_, to, step)
    told, speed = _flown(asked, distances, sighted, slope, crosswind, headwind, tailwind)
    frame = _shown(told, slope, crosswind)
    if asked.as_json:
        frame = told.to_frame()
    words = f"Set right at {sighted}, launched at {speed}"
    if slope:
        words += f", {abs(slope):g} degrees {'up' if slope > 0 else 'down'}"
    answer(
        asked,
        {"flight": (words, frame, 0)},
        notes=(*told.notes, _air_words(asked)),
        caution=told.caution,
        air={"density": asked.air.density, "temperature_c": asked.air.temperature_c},
    )


@over_rig
def card(
    asked: Asked,
    out: Annotated[Path, typer.Option(metavar="FILE.pdf", help="The page to write.")] = Path(
        "range-card.pdf"
    ),
    at: At = None,
    from_: From = "10yd",
    to: To = "60yd",
    step: Step = "5yd",
    sighted: Sighted = "20yd",
    slope: Slope = 0.0,
    crosswind: Crosswind = "3m/s",
    headwind: Headwind = None,
    tailwind: Tailwind = None,
    paper: PaperSize = "a4",
) -> None:
    """Write a range card to print: pin, drop, time, speed, energy and drift by distance."""
    from groupscan.report.decisions.rigs import shown_cells
    from groupscan.report.sight_scale import range_card_pdf
    from groupscan.rigs.sight import pin_positions

    distances = distances_in(at) if at else steps_to(from_, to, step)
    told, speed = _flown(asked, distances, sighted, slope, crosswind, headwind, tailwind)
    frame = _shown(told, slope, crosswind)
    known = asked.known
    if known.radius_mm is not None and known.peep_mm is not None:
        shot = asked.speed().speed_mps
        sight = known.sight(shot, asked.drag(shot).per_m)
        pins = pin_positions(sight, distances, slope_rad=math.radians(slope))
        frame.insert(1, "pin_mm", pins)
    heads, rows = shown_cells(frame, asked.units)
    title = f"Range card: {known.name or 'arrow'}, {speed}"
    notes = [*told.notes, _air_words(asked), *_card_words(slope, crosswind), told.caution]
    data = range_card_pdf(heads, rows, title=title, words=notes, paper=paper)
    write_pdf(out, data)
    if asked.as_json:
        answer(asked, {"card": (title, frame, 0)}, notes=notes[:-1], caution=told.caution,
               file=str(out))  # fmt: skip
        return
    typer.echo(f"Wrote {out}.")


COMMANDS: tuple[tuple[str, Callable[..., None]], ...] = (("flight", flight), ("card", card))


def _flown(
    asked: Asked,
    distances: list[float],
    sighted: str,
    slope: float,
    crosswind: str | None,
    headwind: str | None,
    tailwind: str | None,
) -> tuple[FlightTable, str]:
    """Return the flight, and its launch speed in words."""
    from groupscan.decisions.rig_bench import flight_table
    from groupscan.report.decisions import shown_amount

    if not -_STEEPEST_DEG <= slope <= _STEEPEST_DEG:
        raise GroupscanError(
            f"--slope {slope:g}: give degrees above level, {-_STEEPEST_DEG:g} to {_STEEPEST_DEG:g}"
        )
    if headwind and tailwind:
        raise GroupscanError("the wind is in the face or from behind: --headwind or --tailwind")
    along = speed_in(headwind) if headwind else -speed_in(tailwind) if tailwind else 0.0
    shot = asked.speed()
    (right_at,) = distances_in(sighted)
    told = flight_table(
        asked.known,
        shot.speed_mps,
        asked.drag(shot.speed_mps),
        distances,
        sighted_m=right_at,
        slope_rad=math.radians(slope),
        crosswind_mps=speed_in(crosswind) if crosswind else 0.0,
        headwind_mps=along,
    )
    told = replace(told, notes=(*speed_notes(shot), *told.notes))
    return told, shown_amount(shot.speed_mps, "mps", asked.units)


def _shown(told: FlightTable, slope: float, crosswind: str | None) -> pd.DataFrame:
    """Return the columns that say something here."""
    frame = told.to_frame()
    idle: list[Any] = ["lower_mm", "higher_mm"]
    if not slope:
        idle += ["level_m", "shoot_as_m"]
    if not crosswind:
        idle.append("drift_mm")
    return frame.drop(columns=idle)


def _air_words(asked: Asked) -> str:
    air = asked.air
    taken = "; assumed" if air.assumed else ""
    return (
        f"Air of {air.density:.3f} kg/m3 ({air.temperature_c:.0f} °C, {air.pressure_pa / 100:.0f}"
        f" hPa, {100 * air.humidity:.0f} % humid{taken})."
    )


def _card_words(slope: float, crosswind: str | None) -> list[str]:
    said = []
    if slope:
        said.append(f"Line of sight {slope:g} degrees above level; distances along it.")
    if crosswind:
        said.append(f"Drift in a wind of {crosswind} straight across.")
    return said
