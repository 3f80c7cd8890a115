"""The page of a quiver, from the shots of its numbered arrows."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

from groupscan.decisions.shafts import shafts_of
from groupscan.printouts.about import line_about, particulars_of, sessions_of
from groupscan.printouts.common import EVERY_PAGE, for_reader, place_of
from groupscan.records.preferences import read_preferences
from groupscan.report.pages.page import Paper
from groupscan.report.pages.quiver import QuiverSheet, quiver_pdf
from groupscan.report.quiver import quiver_scene
from groupscan.report.words import Unit

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.records.store import Store
    from groupscan.stats.arrows import Quiver

__all__ = ["print_arrows", "print_quiver"]


def print_quiver(
    store: Store,
    quiver: Quiver,
    rows: pd.DataFrame,
    *,
    notes: Sequence[str] = (),
    distance_m: float | None = None,
    words: str = "",
    paper: Paper = "a4",
    unit: Unit | None = None,
    made_on: date | None = None,
) -> bytes:
    """Return the page of numbered arrows as the bytes of a PDF.

    Parameters
    ----------
    store : Store
        The records: what state each arrow is in, and how the reader likes units and days.
    quiver : Quiver
    rows : DataFrame
        The table of shots that it measured.
    notes : sequence of str
        What was pooled.
    distance_m : float, optional
        Shooting distance, m; angles need it.
    words : str
        What it is about, in plain text; left out: what all shots share.
    paper : {"letter", "a4"}
    unit : {"mm", "inch", "moa", "mrad"}, optional
        Left out: as the reader prefers.
    made_on : date, optional
        Printed at the foot; left out: today.
    """
    prefer = read_preferences(store)
    away = prefer.distance_text(distance_m)
    below = words or line_about(rows, away)
    rig = str(rows["rig"].iloc[0])
    unit = unit or prefer.read_unit(angles=distance_m is not None)
    return quiver_pdf(
        QuiverSheet(
            title=f"Quiver of {rig}" if rig else "Quiver",
            below=below,
            particulars=(
                *particulars_of(rows, prefer, told_above=below),
                ("Offset that matters", prefer.length_text(quiver.worth_mm)),
            ),
            scene=quiver_scene(quiver, states=shafts_of(store, rows).states()),
            quiver=quiver,
            notes=tuple(for_reader(note, prefer) for note in (*notes, *quiver.notes)),
            cautions=EVERY_PAGE,
            source=f"{sessions_of(rows)} of {place_of(store)}",
            made_on=made_on or datetime.now(UTC).astimezone().date(),
            day_text=prefer.day_text,
            unit=unit,
            axes=prefer.axis_unit(unit),
            distance_m=distance_m,
        ),
        paper=paper,
    )


def print_arrows(
    store: Store,
    *,
    worth_mm: float | None = None,
    shooter: str | None = None,
    rig: str | None = None,
    build: str | None = None,
    head: str | None = None,
    distance_m: float | None = None,
    sessions: Sequence[str] = (),
    paper: Paper = "a4",
    unit: Unit | None = None,
    made_on: date | None = None,
) -> bytes:
    """Hold the numbered arrows of the records against one another; return the page as a PDF.

    Parameters
    ----------
    store : Store
        The records.
    worth_mm : float, optional
        The smallest offset that matters; left out: one sigma of the arrows.
    shooter, rig, build, head : str, optional
        Only shots of these.
    distance_m : float, optional
        Only shots from here.
    sessions : sequence of str
        Only these, by date or label; empty: all.
    paper : {"letter", "a4"}
    unit : {"mm", "inch", "moa", "mrad"}, optional
        Left out: as the reader prefers.
    made_on : date, optional

    Raises
    ------
    TableError, StatisticsError
        If no shot has an arrow's number, or the shots cannot be pooled.
    """
    from groupscan.decisions.questions import arrows_of
    from groupscan.decisions.shot_table import choose_shots, shots_of_store

    day_text = read_preferences(store).day_text
    table = choose_shots(
        shots_of_store(store, day_text=day_text), shooter=shooter, rig=rig, build=build, head=head,
        sessions=sessions, distance_m=distance_m, day_text=day_text,
    )  # fmt: skip
    quiver, notes = arrows_of(table, worth_mm=worth_mm)
    rows = table[table["arrow"] != ""]
    far = rows["distance_m"].dropna()
    return print_quiver(
        store, quiver, rows, notes=notes, distance_m=float(far.iloc[0]) if len(far) else None,
        paper=paper, unit=unit, made_on=made_on,
    )  # fmt: skip
