"""The page of one student, from the records."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Final

from groupscan.decisions.gear_changes import gear_changes
from groupscan.decisions.roster import main_shots, standing_of
from groupscan.decisions.season import Seasoned, season_of
from groupscan.decisions.shot_table import choose_shots, shots_of_store
from groupscan.errors import GroupscanError, StoreError, TableError
from groupscan.printouts.common import EVERY_PAGE, for_reader, place_of
from groupscan.records.preferences import Preferences, read_preferences
from groupscan.records.store import get_shooter, list_setups, list_shooters
from groupscan.report.pages.page import Paper
from groupscan.report.pages.student import StudentSheet, student_pdf
from groupscan.report.season import (
    Reading,
    findings,
    progress_words,
    season_scene,
    season_sentence,
    session_rows,
    within_lines,
    work_on,
)
from groupscan.report.words import Unit

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.records.store import Shooter, Store

__all__ = ["print_student", "student_named"]

_LAST: Final = 5
_NO_SHOTS: Final = (
    "No shot of this student can be measured yet: save ends with this name as the shooter; four "
    "sessions on different days show a change."
)


def student_named(store: Store, name: str) -> int:
    """Return the id of the shooter of a name, however it is capitalised.

    Raises
    ------
    StoreError
        If there is none.
    """
    shooters = list_shooters(store)
    same = shooters[shooters["name"].str.casefold() == name.strip().casefold()]
    if same.empty:
        known = ", ".join(map(str, shooters["name"])) or "nobody"
        raise StoreError(f"the records know no shooter {name!r}; there is {known}")
    return int(same["id"].iloc[0])


def print_student(
    store: Store,
    shooter_id: int,
    *,
    paper: Paper = "a4",
    unit: Unit | None = None,
    made_on: date | None = None,
) -> bytes:
    """Return the page of a student as the bytes of a PDF.

    Parameters
    ----------
    store : Store
        The records.
    shooter_id : int
    paper : {"letter", "a4"}
    unit : {"mm", "inch", "moa", "mrad"}, optional
        Left out: as the reader prefers.
    made_on : date, optional
        Printed at the foot; left out: today.

    Raises
    ------
    StoreError
        If there is no such shooter.
    """
    shooter = get_shooter(store, shooter_id)
    preferences = read_preferences(store)
    own = _own_shots(store, shooter.name, preferences)
    made_on = made_on or datetime.now(UTC).astimezone().date()
    source = f"the shots of {shooter.name} in {place_of(store)}"
    try:
        if own is None:
            raise TableError("no shots")
        kept, left_out = main_shots(own)
        seasoned = season_of(choose_shots(kept))
    except GroupscanError as err:
        reason = () if own is None else (for_reader(str(err), preferences),)
        return student_pdf(
            StudentSheet(
                title=shooter.name, below="", particulars=_about(store, shooter),
                word="too few arrows", evidence="no season that can be measured yet",
                sentence=_NO_SHOTS, scene=None, work_on=(), within=(), sessions=(), where="",
                goals=shooter.goals, notes=shooter.notes, pooled=reason, cautions=EVERY_PAGE,
                source=source, made_on=made_on, day_text=preferences.day_text,
            ),
            paper=paper,
        )  # fmt: skip
    return student_pdf(
        _sheet(
            store, shooter, kept, seasoned, left_out, preferences, unit, source=source,
            made_on=made_on,
        ),
        paper=paper,
    )  # fmt: skip


def _sheet(
    store: Store,
    shooter: Shooter,
    kept: pd.DataFrame,
    seasoned: Seasoned,
    left_out: tuple[str, ...],
    preferences: Preferences,
    unit: Unit | None,
    *,
    source: str,
    made_on: date,
) -> StudentSheet:
    trend = seasoned.trend
    distances = seasoned.distances_m
    unit = unit or preferences.read_unit(angles=bool(distances))
    if len(distances) > 1 and unit in ("mm", "inch"):
        unit = preferences.angle  # shots from several distances compare as angles alone
    away = distances[0] if distances else None
    reading = Reading(unit, away, preferences.distance_text(away))
    gear = gear_changes(kept, list_setups(store))
    scene = season_scene(trend, reading, gear=gear, day_text=preferences.day_text)
    found = findings(
        trend, seasoned.progress, scene.names, reading,
        today=seasoned.today, gear=gear, order_known=seasoned.order_known,
    )  # fmt: skip
    rig, head = (str(kept[column].iloc[0]) for column in ("rig", "head"))
    far = ", ".join(preferences.distance_text(one) for one in distances)
    standing = standing_of(shooter.name, kept)
    parts = (trend.baseline, trend.slope, trend.fatigue, trend.cold_arrow)
    notes = (*left_out, *seasoned.notes, *(note for part in parts for note in part.notes))
    days = kept["day"].dropna()
    return StudentSheet(
        title=shooter.name,
        below=" · ".join(filter(None, (rig, head, far))),
        particulars=(
            *_about(store, shooter),
            ("Sessions and shots", f"{len(scene.names)} and {len(kept)}"),
            ("First session", preferences.day_text(days.min().date()) if len(days) else ""),
            ("Last session", preferences.day_text(days.max().date()) if len(days) else ""),
        ),
        word=standing.word,
        evidence=progress_words(seasoned.progress, reading),
        sentence=season_sentence(found, trend, todo=False),
        scene=scene,
        work_on=work_on(found),
        within=tuple(within_lines(trend, reading, order_known=seasoned.order_known)),
        sessions=tuple(session_rows(trend, scene.names, reading, last=_LAST)),
        where=reading.where,
        goals=shooter.goals,
        notes=shooter.notes,
        pooled=tuple(dict.fromkeys(for_reader(note, preferences) for note in notes)),
        cautions=EVERY_PAGE[1:],
        source=source,
        made_on=made_on,
        day_text=preferences.day_text,
    )


def _own_shots(store: Store, name: str, preferences: Preferences) -> pd.DataFrame | None:
    try:
        table = shots_of_store(store, day_text=preferences.day_text)
    except TableError:
        return None
    own = table[table["shooter"] == name]
    return None if own.empty else own


def _about(store: Store, shooter: Shooter) -> tuple[tuple[str, str], ...]:
    coach = "" if shooter.coach_id is None else get_shooter(store, shooter.coach_id).name
    return (("Coach", coach), ("Draws with", shooter.hand))
