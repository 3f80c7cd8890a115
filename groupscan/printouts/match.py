"""The page of a comparison, from the shots that were compared."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any, Final, Literal

from groupscan.decisions.matching import (
    after_each_end,
    comparable,
    kinds_in,
    match_of,
    tuned_by_head,
    usual_reference,
)
from groupscan.decisions.shot_bow import bow_of_shots
from groupscan.errors import TableError
from groupscan.printouts.about import particulars_of, sessions_of
from groupscan.printouts.common import EVERY_PAGE, for_reader, place_of
from groupscan.records.preferences import Preferences, read_preferences
from groupscan.report.match.looks import LooksScene, looks_scene
from groupscan.report.match.scene import MOST_KINDS, match_scene, offsets_of
from groupscan.report.match.words import match_sentence
from groupscan.report.pages.match import MatchSheet, match_pdf
from groupscan.report.pages.page import Paper
from groupscan.report.words import Unit

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.decisions.matching import Match
    from groupscan.records.store import Store

__all__ = ["print_comparison", "print_match"]

_PARTED: Final = {
    "head": "Heads", "build": "Arrow builds", "setup": "Setups", "rig": "Rigs",
}  # fmt: skip


def print_match(
    match: Match,
    rows: pd.DataFrame,
    *,
    unit: Unit,
    paper: Paper = "a4",
    words: str = "",
    distance_m: float | None = None,
    bow: str | None = None,
    hand: str = "right",
    looks: float | None = None,
    source: str = "the records",
    preferences: Preferences | None = None,
    made_on: date | None = None,
) -> bytes:
    """Return the page of a comparison as the bytes of a PDF.

    Parameters
    ----------
    match : Match
        From `groupscan.decisions.matching.match_of`.
    rows : DataFrame
        The table of shots that it compared.
    unit : {"mm", "inch", "moa", "mrad"}
    paper : {"letter", "a4"}
    words : str
        What was compared, in plain text.
    distance_m : float, optional
        Shooting distance, m; angles need it.
    bow, hand : str
        What the advice is for; no bow: not known.
    looks : float, optional
        Most looks that the verdicts allow for; left out: one, after the last shot. Infinite: after
        any end, and the page shows how it stood after each.
    source : str
        Whose records they are.
    preferences : Preferences, optional
        How to write distances and dates.
    made_on : date, optional
        Printed at the foot; left out: today.
    """
    found = match.compared
    prefer = preferences or Preferences()
    offsets = offsets_of(found.centres, found.planned)
    answer = found.centres or found.planned
    advice = {name: one.said(prefer.told) for name, one in found.advice.items()}
    tolerance_mm = match.tolerance_mm
    tolerance = "" if tolerance_mm is None else prefer.length_text(tolerance_mm)
    others = [name for name in found.shots if name != found.reference]
    scene = match_scene(
        match.shots, match.centres, offsets,
        tolerance_mm=tolerance_mm, confidence=answer.confidence if answer else 0.95,
    )  # fmt: skip
    return match_pdf(
        MatchSheet(
            title=f"{_PARTED.get(found.by, found.by)}: {', '.join(others)} "
            f"against {found.reference}",
            below=words,
            particulars=(
                *particulars_of(rows, prefer, parted_by=found.by),
                ("Distance", prefer.distance_text(distance_m)),
                ("Tolerance", tolerance),
            ),
            sentence=match_sentence(offsets, found.reference, advice, tolerance=tolerance),
            scene=scene,
            builds=found.builds,
            advice=advice,
            advised=_advised(match, bow, hand),
            looks=_looks(match, rows) if looks == math.inf else (),
            pooled=_notes(match, prefer),
            cautions=EVERY_PAGE,
            source=f"{sessions_of(rows)} of {source}",
            made_on=made_on or datetime.now(UTC).astimezone().date(),
            day_text=prefer.day_text,
            unit=unit,
            axes=prefer.axis_unit(unit),
            distance_m=distance_m,
        ),
        paper=paper,
    )


def _looks(match: Match, rows: pd.DataFrame) -> tuple[LooksScene, ...]:
    found = match.compared
    others = [name for name in found.shots if name != found.reference]
    looked = after_each_end(
        rows, by=found.by, reference=found.reference, others=others,
        tolerance_mm=match.tolerance_mm,
    )  # fmt: skip
    return tuple(
        looks_scene(name, found.reference, ones, match.tolerance_mm)
        for name, ones in looked.items()
    )


def _advised(match: Match, bow: str | None, hand: str) -> str:
    if match.compared.advice:
        return f"For a {hand}-handed {bow} bow; common practice of the trade."
    return (
        "What to move is said for broadheads against field points and for bare against fletched "
        "shafts, where bow and hand are known."
    )


def _notes(match: Match, prefer: Preferences) -> tuple[str, ...]:
    found = match.compared
    notes = list(found.notes)
    if found.centres is not None:
        against = found.centres.against
        for name, one in against.items():
            notes += [note if len(against) == 1 else f"{name}: {note}" for note in one.notes]
    if found.planned is not None:
        notes += [found.planned.how, *found.planned.notes]
    notes += [note for pair in found.builds.pairs for note in pair.notes] + [*found.builds.notes]
    return tuple(dict.fromkeys(for_reader(note, prefer) for note in notes))


def print_comparison(
    store: Store,
    *,
    by: str = "head",
    reference: str | None = None,
    tolerance_mm: float | None = None,
    shooter: str | None = None,
    rig: str | None = None,
    distance_m: float | None = None,
    sessions: Sequence[str] = (),
    looks: float | None = None,
    paper: Paper = "a4",
    unit: Unit | None = None,
    made_on: date | None = None,
) -> bytes:
    """Compare shots of the records and return the page of it as the bytes of a PDF.

    Parameters
    ----------
    store : Store
        The records.
    by : {"head", "build", "setup", "rig"}
        What parts the shots.
    reference : str, optional
        What the others are held against; left out: the usual one.
    tolerance_mm : float, optional
    shooter, rig : str, optional
        Only shots of these.
    distance_m : float, optional
        Only shots from here.
    sessions : sequence of str
        Only these, by date or label; empty: all.
    looks : float, optional
        Most looks that the verdicts allow for; left out: one, after the last shot. Infinite: after
        any end, and the page shows how it stood after each.
    paper : {"letter", "a4"}
    unit : {"mm", "inch", "moa", "mrad"}, optional
        Left out: as the reader prefers.
    made_on : date, optional

    Raises
    ------
    TableError, StatisticsError
        If the shots cannot be compared.
    """
    from groupscan.decisions.shot_table import choose_shots, shots_of_store

    preferences = read_preferences(store)
    table = choose_shots(
        shots_of_store(store, day_text=preferences.day_text),
        shooter=shooter, rig=rig, sessions=sessions, distance_m=distance_m,
    )  # fmt: skip
    rows = comparable(table, by)
    kinds = list(kinds_in(rows, by))
    if len(kinds) < 2:
        raise TableError(
            f"these shots hold no two {by}s from one distance by one shooter: nothing to compare"
        )
    if reference is None:
        reference = usual_reference(rows, by, kinds)
    elif reference not in kinds:
        raise TableError(f"no shot has the {by} {reference!r}: there is {', '.join(kinds)}")
    others = [name for name in kinds if name != reference][: MOST_KINDS - 1]
    rows = rows[rows[by].isin([reference, *others])]
    bow, hand = _bow_of(store, rows)
    tuned = tuned_by_head(rows, reference, others) if by == "head" else {}
    match = match_of(
        rows, by=by, reference=reference, others=others, tolerance_mm=tolerance_mm, looks=looks,
        tuned=tuned, bow=bow, hand=hand,
    )  # fmt: skip
    far = rows["distance_m"].dropna()
    away = float(far.iloc[0]) if len(far) else None
    return print_match(
        match, rows,
        unit=unit or preferences.read_unit(angles=away is not None),
        paper=paper, distance_m=away, bow=bow, hand=hand, looks=looks, source=place_of(store),
        preferences=preferences, made_on=made_on,
    )  # fmt: skip


def _bow_of(
    store: Store, rows: pd.DataFrame
) -> tuple[Literal["compound", "recurve"] | None, Literal["right", "left"]]:
    """Return bow and hand as the records say them; no bow where they lack either."""
    bow, hand = bow_of_shots(store, rows)
    known: Any = bow if hand and bow in ("compound", "recurve") else None
    return known, "left" if hand == "left" else "right"
