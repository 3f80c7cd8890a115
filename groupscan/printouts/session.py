"""The page of one session, from the records."""

from __future__ import annotations

from collections.abc import Hashable
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

from groupscan.errors import StoreError, UnitError
from groupscan.printouts.common import EVERY_PAGE, counted, place_of
from groupscan.records.aimed import aimed_shots
from groupscan.records.preferences import Preferences, read_preferences
from groupscan.records.store import get_session, get_setup, list_builds, list_scans, list_setups
from groupscan.report.pages.page import Paper
from groupscan.report.pages.session import SessionSheet, session_pdf
from groupscan.report.scene import group_scene
from groupscan.report.shots import group_of_shots, sheet_under
from groupscan.report.sight import kept_click, parse_click, sight_move
from groupscan.report.words import Unit

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.records.store import Session, Store
    from groupscan.stats.group import Group

__all__ = ["print_session"]


def print_session(
    store: Store,
    session_id: int,
    *,
    paper: Paper = "a4",
    unit: Unit | None = None,
    made_on: date | None = None,
) -> bytes:
    """Return the page of a session as the bytes of a PDF.

    Parameters
    ----------
    store : Store
        The records.
    session_id : int
    paper : {"letter", "a4"}
    unit : {"mm", "inch", "moa", "mrad"}, optional
        Left out: as the reader prefers.
    made_on : date, optional
        Printed at the foot; left out: today.

    Raises
    ------
    StoreError
        If there is no such session, or it holds no shot.
    """
    session = get_session(store, session_id)
    preferences = read_preferences(store)
    scans = [row for row in list_scans(store, session_id).to_dict("records") if row["shots"]]
    if not scans:
        raise StoreError(
            f"session {session_id} of {session.held_on} holds no shot: nothing to print"
        )
    number = {int(row["id"]): i for i, row in enumerate(scans, 1)}
    typed = [int(row["id"]) for row in scans if not row["photo_sha256"]]
    shots = aimed_shots(store, scan_ids=list(number))
    label = shots["number"].astype("string")
    if len(number) > 1:
        label = shots["scan_id"].map(number).astype("string") + "." + label
    shots = shots.assign(
        label=label, origin=shots["origin"].mask(shots["scan_id"].isin(typed), "typed")
    )
    away = session.distance_m
    unit = unit or preferences.read_unit(angles=away is not None)
    group = group_of_shots(shots, distance_m=away)
    under = sheet_under(shots, {row["sheet"] for row in scans})
    day = preferences.day_text(session.held_on)
    return session_pdf(
        SessionSheet(
            title=f"Session of {day}",
            below=" · ".join(
                filter(None, (session.shooter, session.rig, preferences.distance_text(away)))
            ),
            particulars=_particulars(store, session, preferences, shots, scans),
            scene=group_scene(
                shots,
                group,
                sheet=under.sheet,
                sheet_aim_mm=under.aim_mm,
                sheet_reach_mm=under.reach_mm,
            ),
            cautions=EVERY_PAGE,
            source=_source(store, session, list(number)),
            made_on=made_on or datetime.now(UTC).astimezone().date(),
            day_text=preferences.day_text,
            ends=_ends(shots, number, away),
            others=_others(shots, group, away),
            sight=_sight(store, session, group, preferences, unit),
            shooter_notes=session.notes,
            pooled=_pooled(shots, scans, typed),
            unit=unit,
            axes=preferences.axis_unit(unit),
        ),
        paper=paper,
    )


def _ends(shots: pd.DataFrame, number: dict[int, int], away: float | None) -> dict[str, Group]:
    return {
        f"End {place}": group_of_shots(shots[shots["scan_id"] == key], distance_m=away)
        for key, place in number.items()
        if (shots["scan_id"] == key).any()
    }


def _sight(
    store: Store, session: Session, group: Group, preferences: Preferences, unit: Unit
) -> str:
    """Say how to move the sight: in its clicks where they are known, else by its radius."""
    said = kept_click(preferences.remembered, session.rig_id, session.rig)
    try:
        click = parse_click(said) if said else None
    except UnitError:
        click = None
    radius = None
    if session.setup_id is not None:
        radius = get_setup(store, session.setup_id).sight_radius_mm
    return sight_move(
        group, unit, click_rad=click, sight_radius_mm=radius,
        pin_unit=preferences.axis_unit(unit),
    )  # fmt: skip


def _others(shots: pd.DataFrame, group: Group, away: float | None) -> dict[str, Group]:
    """Return the group without the flyer flagged by the numbers, and without those marked."""
    found = {}
    if group.flyer is not None and group.without_flyer is not None:
        found[f"without {group.flyer.name}"] = group.without_flyer
    marked = shots["flyer"].astype(bool)
    if marked.any() and not marked.all():
        named = ", ".join(shots.loc[marked, "label"].astype(str))
        found[f"without those marked ({named})"] = group_of_shots(shots[~marked], distance_m=away)
    return found


def _particulars(
    store: Store,
    session: Session,
    preferences: Preferences,
    shots: pd.DataFrame,
    scans: list[dict[Hashable, Any]],
) -> tuple[tuple[str, str], ...]:
    heads = [str(name) for name in shots["head"].unique()]
    air = (
        f"{session.temperature_c:.0f} °C" if session.temperature_c is not None else "",
        f"wind {session.wind_m_s:.2g} m/s" if session.wind_m_s is not None else "",
    )
    return (
        ("Setup since", _setup(store, session, preferences)),
        ("Arrow build", _named(list_builds, store, session.build_id)),
        ("Head", heads[0] if len(heads) == 1 else f"{len(heads)} kinds, told below"),
        ("Ends and shots", f"{len(scans)} and {len(shots)}"),
        ("Place", session.place),
        ("Purpose", session.purpose),
        ("Weather", ", ".join(filter(None, (session.weather, *air)))),
    )


def _setup(store: Store, session: Session, preferences: Preferences) -> str:
    for deleted in (False, True):  # a session keeps a setup that was deleted
        for row in list_setups(store, deleted=deleted).to_dict("records"):
            if row["id"] == session.setup_id:
                said = preferences.day_text(row["since"])
                return f"{said}: {row['changed']}" if row["changed"] else said
    return ""


def _named(listed: Any, store: Store, key: int | None) -> str:
    for deleted in (False, True):
        for row in listed(store, deleted=deleted).to_dict("records"):
            if row["id"] == key:
                return str(row["name"])
    return ""


def _pooled(
    shots: pd.DataFrame, scans: list[dict[Hashable, Any]], typed: list[int]
) -> tuple[str, ...]:
    notes = []
    if len(scans) > 1:
        notes.append(f"{len(scans)} ends are pooled, each about its own aim.")
    for column, several in (("head", "heads"), ("build", "builds")):
        if column not in shots:
            continue
        counts = shots[column].fillna("").replace("", "not said").value_counts()
        if len(counts) > 1:
            told = counted({str(name): int(count) for name, count in counts.items()})
            notes.append(f"Shots with {len(counts)} {several} are pooled: {told}.")
    marked = shots["flyer"].astype(bool)
    if marked.any():
        named = (
            f"{label} ({why})" if why else str(label)
            for label, why in zip(
                shots.loc[marked, "label"], shots.loc[marked, "flyer_why"].fillna(""), strict=True
            )
        )
        notes.append(f"Marked as flyers by the shooter, and counted: {', '.join(named)}.")
    if typed:
        some = "All ends were" if len(typed) == len(scans) else f"{len(typed)} of the ends were"
        notes.append(f"{some} typed in: no photo shows them.")
    moved = shots["origin"].isin(("moved", "added"))
    if moved.any():
        notes.append(f"{int(moved.sum())} of {len(shots)} holes were placed or moved by hand.")
    return tuple(notes)


def _source(store: Store, session: Session, ends: list[int]) -> str:
    listed = ", ".join(map(str, ends[:12])) + (", …" if len(ends) > 12 else "")
    which = "end" if len(ends) == 1 else "ends"
    return f"session {session.id}, {which} {listed} of {place_of(store)}"
