"""The sample photos, scanned and kept as sessions of the demo club."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from groupscan.errors import GroupscanError

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.photo.reading import Photo
    from groupscan.photo.scan import Scan
    from groupscan.records.store import Session, Store
    from groupscan.stats.group import Group

__all__ = ["Show", "find_samples", "keep_photos"]

Show = Callable[["Scan", "Group | None"], None]


@dataclass(frozen=True)
class _End:
    photo: str
    sheet: str
    shaft_mm: float
    head: str
    before: str | None


def find_samples(folder: Path | None = None) -> Path:
    """Find the folder of sample photos.

    Parameters
    ----------
    folder : Path, optional
        Where they are. Left out: ``sample_targets`` here, or in the checkout.

    Returns
    -------
    Path

    Raises
    ------
    GroupscanError
        If there are none.
    """
    checkout = Path(__file__).parent.parent.parent
    places = [folder] if folder else [Path("sample_targets"), checkout / "sample_targets"]
    for place in places:
        if (place / "scenario.toml").is_file():
            return place
    msg = (
        f"no sample photos in {', '.join(str(p) for p in places)}: run this in a clone of the "
        "repository, or say where they are with --samples"
    )
    raise GroupscanError(msg)


def keep_photos(store: Store, folder: Path, *, show: Show) -> None:
    """Scan the sample photos, show each group, and keep the sessions that are not there yet.

    Parameters
    ----------
    store : Store
    folder : Path
        Where the photos and their ``scenario.toml`` are.
    show : callable
        Called with each scan and its group.

    Raises
    ------
    GroupscanError
        If the samples are not whole; the message names the file.
    """
    for session, ends in _read_scenario(folder / "scenario.toml"):
        _keep_session(store, folder, session, ends, show)


def _read_scenario(path: Path) -> list[tuple[Session, list[_End]]]:
    try:
        tables = tomllib.loads(path.read_text(encoding="utf-8"))["session"]
        return [(_session(table), [_end(end) for end in table["ends"]]) for table in tables]
    except KeyError as err:
        raise _unusable(path, f"{err} is missing") from err
    except (GroupscanError, OSError, ValueError, TypeError) as err:
        raise _unusable(path, str(err)) from err


def _unusable(path: Path, why: str) -> GroupscanError:
    return GroupscanError(f"{path} cannot be used: {why}. Put the samples back as they came")


def _session(table: dict[str, Any]) -> Session:
    from groupscan.records.entries import Session
    from groupscan.units import parse_distance

    held_on = table["held_on"]
    if not isinstance(held_on, date) or isinstance(held_on, datetime):
        raise TypeError(f"held_on is {held_on!r}, not a day such as 2026-04-12")
    return Session(
        held_on=held_on,
        place=str(table["place"]),
        shooter=str(table["shooter"]),
        rig=str(table["rig"]),
        distance_m=parse_distance(str(table["distance"])),
        notes=str(table["notes"]),
    )


def _end(table: dict[str, Any]) -> _End:
    return _End(
        photo=str(table["photo"]),
        sheet=str(table["sheet"]),
        shaft_mm=float(table["shaft_mm"]),
        head=str(table["head"]),
        before=str(table["before"]) if "before" in table else None,
    )


def _keep_session(
    store: Store, folder: Path, session: Session, ends: list[_End], show: Show
) -> None:
    """Scan a session's ends, which takes long and may be cut short; then save what is missing."""
    from groupscan.pipeline import group_of, save_end
    from groupscan.records.store import list_scans, list_sessions, save_session

    scanned = []
    for end in ends:
        scan, photo, data = _scan(folder, end)
        show(scan, group_of(scan, distance_m=session.distance_m))
        scanned.append((end, scan, photo, data))
    there = _sought(list_sessions(store), session)
    if not there and _sought(list_sessions(store, deleted=True), session):
        return  # the reader threw it away: it must not come back by itself
    session_id = there[0] if there else save_session(store, session)
    kept = {
        name
        for deleted in (False, True)
        for name in list_scans(store, session_id, deleted=deleted)["photo_name"]
    }
    for end, scan, photo, data in scanned:
        if photo.name not in kept:
            save_end(
                store, scan, photo, data,
                session_id=session_id, head=end.head, shaft_mm=end.shaft_mm,
            )  # fmt: skip


def _sought(sessions: pd.DataFrame, session: Session) -> list[int]:
    """Return the ids of what is on this day at this place: a reader may rename all else."""
    same = (sessions["held_on"].dt.date == session.held_on) & (sessions["place"] == session.place)
    return [int(key) for key in sessions.loc[same, "id"]]


def _scan(folder: Path, end: _End) -> tuple[Scan, Photo, bytes]:
    from groupscan.photo.reading import read_photo
    from groupscan.photo.scan import scan_photo

    path = folder / end.photo
    try:
        data = path.read_bytes()
    except OSError as err:
        raise _unusable(path, err.strerror or str(err)) from err
    photo = read_photo(data, name=end.photo)
    before = read_photo(folder / end.before) if end.before else None
    scan = scan_photo(photo, sheet=end.sheet, shaft_mm=end.shaft_mm, before=before)
    return scan, photo, data
