"""The demo club: the sample photos, scanned and kept as an invented club's sessions."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Any

from groupscan.errors import GroupscanError

if TYPE_CHECKING:
    from groupscan.photo.scan import Scan
    from groupscan.records.store import Store
    from groupscan.stats.group import Group

__all__ = ["fill_demo", "find_samples"]

Show = Callable[["Scan", "Group | None"], None]


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
        Folder of the demo's records. Where it already holds sessions, nothing is added.
    """
    from platformdirs import user_data_path

    from groupscan.records.frames import list_sessions
    from groupscan.records.store import open_store

    folder = find_samples(samples)
    home = home or user_data_path("groupscan-demo", appauthor=False)
    scenario = tomllib.loads((folder / "scenario.toml").read_text(encoding="utf-8"))
    with closing(open_store(home)) as store:
        fresh = list_sessions(store).empty
        for session in scenario["session"]:
            _keep_session(store if fresh else None, folder, session, show)
    return home


def _keep_session(store: Store | None, folder: Path, session: dict[str, Any], show: Show) -> None:
    from groupscan.pipeline import save_end
    from groupscan.records.entries import Session
    from groupscan.records.store import save_session
    from groupscan.units import parse_distance

    distance_m = parse_distance(session["distance"])
    session_id = None
    if store is not None:
        facts = {name: session[name] for name in ("held_on", "place", "shooter", "rig", "notes")}
        session_id = save_session(store, Session(distance_m=distance_m, **facts))
    for end in session["ends"]:
        scan, photo, data = _scan(folder, end)
        show(scan, _group(scan, distance_m))
        if store is not None and session_id is not None:
            save_end(store, scan, photo, data, session_id=session_id, head=end["head"])


def _scan(folder: Path, end: dict[str, Any]) -> tuple[Scan, Any, bytes]:
    from groupscan.photo.reading import read_photo
    from groupscan.photo.scan import scan_photo

    data = (folder / end["photo"]).read_bytes()
    photo = read_photo(data, name=end["photo"])
    before = read_photo(folder / end["before"]) if "before" in end else None
    scan = scan_photo(photo, sheet=end["sheet"], shaft_mm=end["shaft_mm"], before=before)
    return scan, photo, data


def _group(scan: Scan, distance_m: float) -> Group | None:
    from groupscan.pipeline import group_of

    return group_of(scan, distance_m=distance_m)
