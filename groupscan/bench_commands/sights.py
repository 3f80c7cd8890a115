"""Pins: where they belong and what they cover, the best ones, a scale to print."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, TypeAlias

import typer

from groupscan.bench_commands.amounts import angle_mrad, distances_in, length_in, steps_to
from groupscan.bench_commands.asked import Asked, speed_notes
from groupscan.bench_commands.asking import WithoutFlyers, over_rig
from groupscan.bench_commands.telling import answer, write_pdf
from groupscan.errors import GroupscanError, TableError

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.decisions.rig_bench import PinBench, RigScatter
    from groupscan.rigs.sight import Sight

    _Scatter: TypeAlias = tuple[RigScatter | None, tuple[str, ...]]

__all__ = ["COMMANDS"]

From = Annotated[str, typer.Option("--from", metavar="10yd", help="Nearest distance.")]
To = Annotated[str, typer.Option("--to", metavar="60yd", help="Farthest distance.")]
Circle = Annotated[str, typer.Option(metavar="150mm", help="Diameter of the circle about the aim.")]
Sigma = Annotated[
    str | None,
    typer.Option(metavar="1.2mrad", help="Scatter per axis, mrad or moa; else of your records."),
]
HeadOf = Annotated[
    str | None, typer.Option("--head", metavar="NAME", help="Scatter of shots with this head.")
]


@over_rig
def pins(
    asked: Asked,
    pins: Annotated[
        str | None,
        typer.Option(
            metavar='"20yd,30yd"',
            help="Where the pins are right, nearest first; else as kept of the rig.",
        ),
    ] = None,
    circle: Circle = "150mm",
    from_: From = "10yd",
    to: To = "60yd",
    step: Annotated[str, typer.Option(metavar="5yd", help="Of the tables by distance.")] = "5yd",
    hold: Annotated[
        str | None,
        typer.Option(metavar='"1,1.5,2"', help="What is held: pin 1, half-way to pin 2, pin 2."),
    ] = None,
    sigma: Sigma = None,
    head: HeadOf = None,
    without_flyers: WithoutFlyers = False,
) -> None:
    """Where pins belong, where each lands, what each covers; the chance with a rig's scatter."""
    from groupscan.decisions.rig_bench import pin_chances, pins_of

    sight, notes = _sight(asked)
    distances = steps_to(from_, to, step)
    (near,), (far,) = distances_in(from_), distances_in(to)
    right_at, pin_notes = _pins(asked, pins)
    notes += pin_notes
    held = None if hold is None else [_hold(one, len(right_at)) for one in hold.split(",")]
    circle_mm = length_in(circle)
    told = pins_of(
        sight,
        right_at,
        circle_mm=circle_mm,
        nearest_m=near,
        farthest_m=far,
        distance_m=distances,
        hold=held,
    )
    frames = {
        "pins": ("Pins, below the line through the peep along the arrow", told.pins_frame(), 0),
        "bands": (f"Covered inside {circle} across, the middle of the shots",
                  told.bands_frame().drop(columns="hold"), 1),
        "landing": (
            "Height of the arrow with each hold",
            told.landing_frame() if asked.as_json else _narrow(told),
            0,
        ),
    }  # fmt: skip
    scatter, why = _scatter(asked, sigma, head, without_flyers)
    notes += why
    if scatter is not None:
        chances = pin_chances(
            sight, right_at, scatter, circle_mm=circle_mm, distance_m=distances, hold=held
        )
        notes += chances.notes
        frames["chances"] = (
            f"Chance inside {circle} across, with the hold that lands nearest",
            chances.to_frame()[["held", "distance_m", "miss_mm", "probability", "low", "high"]],
            1,
        )
    from groupscan.report.decisions import shown_amount

    gaps = [
        f"No hold covers {shown_amount(a, 'm', asked.units)} to {shown_amount(b, 'm', asked.units)}"
        f" inside {circle} across."
        for a, b in told.open_m
    ]
    answer(
        asked,
        frames,
        said=gaps or [f"Between them the holds cover {from_} to {to} inside {circle} across."],
        notes=notes,
        caution=told.caution,
        uncovered_m=[list(one) for one in told.open_m],
        scatter=scatter,
    )


@over_rig
def best_pins(
    asked: Asked,
    from_: From = "10yd",
    to: To = "60yd",
    counts: Annotated[str, typer.Option(metavar='"2,3,4,5"', help="How many pins.")] = "2,3,4,5",
    held: Annotated[
        Literal["pins", "gaps"],
        typer.Option(help="Hold pins only, or half-way between neighbours too."),
    ] = "gaps",
) -> None:
    """Find the best two to five pins for a range: least in the largest miss."""
    from groupscan.decisions.rig_bench import best_pins_of

    sight, notes = _sight(asked)
    (near,), (far,) = distances_in(from_), distances_in(to)
    wanted = [one.strip() for one in counts.split(",")]
    if not all(one.isdecimal() for one in wanted):
        raise GroupscanError(f"--counts {counts!r}: write numbers of pins, like 2,3,4,5")
    told = best_pins_of(
        sight,
        nearest_m=near,
        farthest_m=far,
        counts=[int(one) for one in wanted],
        held="pins" if held == "pins" else "pins and gaps",
    )
    answer(
        asked,
        {"plans": (f"Best pins for {from_} to {to}, and how far the best hold can miss",
                   told.to_frame(), 0)},
        notes=(*notes, "Scatter is left out, and the distance is taken for known."),
        caution=told.caution,
        held=told.held,
    )  # fmt: skip


@over_rig
def scale(
    asked: Asked,
    out: Annotated[Path, typer.Option(metavar="FILE.pdf", help="The page to write.")] = Path(
        "sight-scale.pdf"
    ),
    from_: From = "20yd",
    to: To = "80yd",
    step: Annotated[str, typer.Option(metavar="5yd", help="Between marks.")] = "5yd",
    reference: Annotated[
        str, typer.Option(metavar="20yd", help="Where the pin is sighted in: the first mark.")
    ] = "20yd",
    paper: Annotated[Literal["a4", "letter"], typer.Option(help="Size of the page.")] = "a4",
) -> None:
    """Write the scale of a movable pin to print, true to size, with a 100 mm bar to check."""
    import pandas as pd

    from groupscan.report.decisions import shown_amount
    from groupscan.report.sight_scale import near_marks_note, sight_scale_pdf
    from groupscan.rigs.sight import slider_scale

    sight, notes = _sight(asked)
    distances = steps_to(from_, to, step)
    (right_at,) = distances_in(reference)
    found = slider_scale(sight, distances, reference_m=right_at)
    from groupscan.decisions.rig_bench import NO_LICENCE
    from groupscan.units import m_to_yd

    yards = asked.units == "archery"
    labels = [f"{m_to_yd(d) if yards else d:.4g}" for d in distances]
    if found.doubtful.any():
        notes += (near_marks_note(shown_amount(found.turning_m, "m", asked.units)),)
    title = f"Sight scale: {asked.known.name or 'arrow'}, {'yards' if yards else 'metres'}"
    words = (
        f"The mark for {reference} belongs where the pin stands when it is sighted in there;"
        " farther marks lie below.",
        f"Sight radius {shown_amount(sight.radius_mm, 'mm', asked.units)}, peep"
        f" {shown_amount(sight.peep_mm, 'mm', asked.units)} above the arrow,"
        f" {shown_amount(sight.speed_mps, 'mps', asked.units)}.",
        "Shoot at two far distances before you trust it.",
        *notes,
        NO_LICENCE,
    )
    write_pdf(out, sight_scale_pdf(found.mark_mm, labels, title=title, words=words, paper=paper))
    frame = pd.DataFrame({"distance_m": distances, "mark_mm": found.mark_mm})
    if not asked.as_json:
        typer.echo(f"Wrote {out}. Print it at 100 %, then measure the 100 mm bar with a ruler.")
    answer(asked, {"marks": ("Marks, below the reference mark", frame, 0)}, notes=notes,
           caution=NO_LICENCE, file=str(out))  # fmt: skip


COMMANDS: tuple[tuple[str, Callable[..., None]], ...] = (
    ("pins", pins), ("best-pins", best_pins), ("scale", scale),
)  # fmt: skip


def _sight(asked: Asked) -> tuple[Sight, tuple[str, ...]]:
    """Return the rig as its sight sees it, with what that rests on."""
    shot = asked.speed()
    drag = asked.drag(shot.speed_mps)
    notes = (*asked.known.notes, *speed_notes(shot), f"Drag: {drag.basis}.", *drag.notes)
    return asked.known.sight(shot.speed_mps, drag.per_m), notes


def _pins(asked: Asked, pins: str | None) -> tuple[list[float], tuple[str, ...]]:
    """Return the pins given, or those that the records keep of the rig, and what to say of them."""
    if pins is not None:
        return distances_in(pins), ()
    kept = asked.pins()
    if kept is None:
        raise GroupscanError(
            'no pins: give --pins "20yd,30yd", or keep those of a rig: groupscan gear pins RIG'
        )
    gaps = [f"{gap:.1f} mm" for gap in kept.gaps_mm()[:-1] if gap == gap]
    measured = f"; gaps as measured: {', '.join(gaps)}" if gaps else ""
    return list(kept.distance_m), (f"Pins as set on {kept.set_on}{measured}.", *kept.notes)


def _scatter(asked: Asked, sigma: str | None, head: str | None, without_flyers: bool) -> _Scatter:
    """Return the scatter as said, or that of the rig's shots on record; or why there is none."""
    from groupscan.decisions.rig_bench import given_scatter, scatter_mrad_of
    from groupscan.decisions.shot_table import choose_shots, shots_of_records

    if sigma is not None:
        return given_scatter(angle_mrad(sigma)), ()
    if asked.rig is None and asked.build is None:
        return None, ("No scatter is known: give --sigma 1.2mrad, or --rig with shots on record.",)
    try:
        table = choose_shots(
            shots_of_records(asked.home),
            rig=asked.rig,
            shooter=asked.shooter,
            build=asked.build,
            setup=asked.setup_day(),
            head=head,
            without_flyers=without_flyers,
        )
        return scatter_mrad_of(table), ()
    except TableError as err:
        return None, (f"No chances without a scatter (--sigma 1.2mrad): {err}.",)


def _narrow(told: PinBench) -> pd.DataFrame:
    """Return the landing table with heads that fit side by side."""
    import pandas as pd

    heads = [
        f"pin {hold + 1:g}" if hold % 1 == 0 else f"{int(hold) + 1} to {int(hold) + 2}"
        if hold % 1 == 0.5 else f"{hold + 1:.4g}"
        for hold in told.landing.hold
    ]  # fmt: skip
    heights = zip(heads, told.landing.height_mm, strict=True)
    return pd.DataFrame(
        {"distance_m": told.landing.distance_m, **{f"{head}_mm": row for head, row in heights}}
    )


def _hold(text: str, pins: int) -> float:
    """Return a hold of so many pins, 0 for the first one."""
    try:
        if not 1 <= float(text) <= pins:
            raise GroupscanError(
                f"--hold {text.strip()}: a hold must lie between 1 (the first pin) and {pins} (the"
                " last)"
            )
        return float(text) - 1
    except ValueError as err:
        raise GroupscanError(f"--hold {text!r}: pin 1 is 1, half-way to pin 2 is 1.5") from err
