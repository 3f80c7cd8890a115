"""The demo club: the sample photos, scanned and kept as an invented club's sessions."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from groupscan.errors import GroupscanError

if TYPE_CHECKING:
    from groupscan.photo.reading import Photo
    from groupscan.photo.scan import Scan
    from groupscan.records.store import Session, Store
    from groupscan.stats.group import Group

__all__ = ["fill_demo", "find_samples"]

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
    checkout = Path(__file__).parent.parent
    places = [folder] if folder else [Path("sample_targets"), checkout / "sample_targets"]
    for place in places:
        if (place / "scenario.toml").is_file():
            return place
    msg = (
        f"no sample photos in {', '.join(str(p) for p in places)}: run this in a clone of the "
        "repository, or say where they are with --samples"
    )
    raise GroupscanError(msg)


def fill_demo(*, samples: Path | None, home: Path | None, show: Show) -> Path:
    """Scan the sample photos, show each group, and keep them as sessions of the demo club.

    Parameters
    ----------
    samples : Path, optional
        Folder of the sample photos.
    home : Path, optional
        Folder of the demo's records. Left out: one beside the user's own, so that invented data
        never mixes with real shots.
    show : callable
        Called with each scan and its group.

    Returns
    -------
    Path
        Folder of the demo's records. What it already holds is not added again, so that a demo
        that was cut short is completed by the next one.

    Raises
    ------
    GroupscanError
        If the samples are not there or not whole; the message names the file.
    """
    from platformdirs import user_data_path

    from groupscan.records.store import open_store

    folder = find_samples(samples)
    home = home or user_data_path("groupscan-demo", appauthor=False)
    scenario = _read_scenario(folder / "scenario.toml")
    with closing(open_store(home)) as store:
        for session, ends in scenario:
            _keep_session(store, folder, session, ends, show)
    return home


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
    from groupscan.records.store import list_scans, save_session

    scanned = []
    for end in ends:
        scan, photo, data = _scan(folder, end)
        show(scan, group_of(scan, distance_m=session.distance_m))
        scanned.append((end, scan, photo, data))
    if _was_deleted(store, session):
        return
    session_id = _kept_id(store, session)
    if session_id is None:
        session_id = save_session(store, session)
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


def _kept_id(store: Store, session: Session) -> int | None:
    from groupscan.records.store import get_session, list_sessions

    for key in list_sessions(store)["id"]:
        kept = get_session(store, int(key))
        if (kept.held_on, kept.rig, kept.notes) == (session.held_on, session.rig, session.notes):
            return kept.id
    return None


def _was_deleted(store: Store, session: Session) -> bool:
    """Tell whether the reader threw this session away: it must not come back by itself."""
    from groupscan.records.store import list_sessions

    gone = list_sessions(store, deleted=True)
    days = zip(gone["held_on"], gone["rig"], strict=True)
    return (session.held_on, session.rig) in {(day.date(), rig) for day, rig in days}


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
