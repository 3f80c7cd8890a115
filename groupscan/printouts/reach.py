"""The page of a reach, from the shots that were measured."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Final

from groupscan.printouts.about import line_about, particulars_of, sessions_of
from groupscan.printouts.common import EVERY_PAGE, counted, for_reader, place_of
from groupscan.records.preferences import read_preferences
from groupscan.report.pages.page import Paper
from groupscan.report.pages.reach import ReachSheet, reach_pdf
from groupscan.report.reach import (
    ReachScene,
    curve_distances,
    reach_scene,
    share_words,
)
from groupscan.units import parse_length

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.records.store import Store

__all__ = ["print_distances", "print_reach"]

#: The circle of who has not said one, by the reader's unit of lengths.
_CIRCLES: Final = {"mm": "150 mm", "in": "6 in"}
_STANDARD: Final = 90


def print_reach(
    store: Store,
    scene: ReachScene,
    rows: pd.DataFrame,
    *,
    notes: Sequence[str] = (),
    words: str = "",
    paper: Paper = "a4",
    made_on: date | None = None,
) -> bytes:
    """Return the page of a reach as the bytes of a PDF.

    Parameters
    ----------
    store : Store
        The records: how the reader likes units and days.
    scene : ReachScene
    rows : DataFrame
        The table of shots that it measured.
    notes : sequence of str
        What was pooled.
    words : str
        What it is about, in plain text; left out: what all shots share.
    paper : {"letter", "a4"}
    made_on : date, optional
        Printed at the foot; left out: today.
    """
    prefer, reach = read_preferences(store), scene.reach
    circle = prefer.length_text(2 * reach.radius_mm)
    below = words or line_about(rows)
    rig = str(rows["rig"].iloc[0])
    shot = [(f"{scene.shown(at):.4g} {scene.unit}", count) for at, count in scene.shots]
    return reach_pdf(
        ReachSheet(
            title=f"Reach of {rig}" if rig else "Reach",
            below=below,
            particulars=(
                *particulars_of(rows, prefer, told_above=below),
                ("Arrows by distance", counted(shot)),
                ("Circle about the aim", f"{circle} across"),
                ("Your standard", f"{share_words(reach.standard)} inside"),
            ),
            scene=scene,
            circle=circle,
            notes=tuple(for_reader(note, prefer) for note in (*notes, *reach.notes)),
            cautions=EVERY_PAGE,
            source=f"{sessions_of(rows)} of {place_of(store)}",
            made_on=made_on or datetime.now(UTC).astimezone().date(),
            day_text=prefer.day_text,
        ),
        paper=paper,
    )


def print_distances(
    store: Store,
    *,
    circle_mm: float | None = None,
    standard: float | None = None,
    shooter: str | None = None,
    rig: str | None = None,
    build: str | None = None,
    head: str | None = None,
    sessions: Sequence[str] = (),
    paper: Paper = "a4",
    made_on: date | None = None,
) -> bytes:
    """Measure how far out the arrows of the records can be trusted; return the page as a PDF.

    Parameters
    ----------
    store : Store
        The records.
    circle_mm : float, optional
        Diameter of the circle about the aim; left out: as it was last asked for in the app.
    standard : float, optional
        Share of arrows that must land inside; left out: as it was last asked for in the app.
    shooter, rig, build, head : str, optional
        Only shots of these.
    sessions : sequence of str
        Only these, by date or label; empty: all.
    paper : {"letter", "a4"}
    made_on : date, optional

    Raises
    ------
    TableError, StatisticsError
        If shots have no distance or cannot be pooled.
    """
    from groupscan.decisions.questions import reach_of
    from groupscan.decisions.shot_table import choose_shots, shots_of_store

    prefer = read_preferences(store)
    rows = choose_shots(
        shots_of_store(store, day_text=prefer.day_text),
        shooter=shooter, rig=rig, build=build, head=head, sessions=sessions,
    )  # fmt: skip
    away = rows["distance_m"].dropna()
    unit = prefer.distance
    at = curve_distances(sorted(away.unique()), unit) if len(away) else None
    if circle_mm is None:
        said = str(prefer.remembered.get("reach_circle") or _CIRCLES[prefer.length])
        circle_mm = parse_length(said, default_unit=prefer.length)
    if standard is None:
        standard = float(prefer.remembered.get("reach_standard") or _STANDARD) / 100
    reach, notes = reach_of(rows, circle_mm=circle_mm, standard=standard, at_m=at)
    scene = reach_scene(reach, away, unit=unit)
    return print_reach(store, scene, rows, notes=notes, paper=paper, made_on=made_on)
