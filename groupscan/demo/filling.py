"""The whole demo: the club, its photos and its season, in a folder of its own."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path
from typing import Final

from groupscan.demo.photos import Show, find_samples, keep_photos

__all__ = ["TO_TRY", "fill_demo", "told_of"]

TO_TRY: Final = (
    "compare --rig Heron --distance 20yd --tolerance 30mm --bow compound",
    'season --rig Heron --head "field point"',
    'season --shooter "Wenna Marsh"',
    "bench fit --rig Tern --chronograph",
)
"""Commands that find something in the season; the folder of the demo goes with each."""


def fill_demo(*, samples: Path | None, home: Path | None, show: Show) -> Path:
    """Keep an invented club and its season, and scan the sample photos into it.

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
        that was cut short is completed by the next one; what was deleted there stays away.

    Raises
    ------
    GroupscanError
        If the samples are not there or not whole; the message names the file.
    """
    from platformdirs import user_data_path

    from groupscan.demo.keeping import keep_club, keep_measured, keep_season
    from groupscan.records.store import open_store

    folder = find_samples(samples)
    home = home or user_data_path("groupscan-demo", appauthor=False)
    with closing(open_store(home)) as store:
        keep_club(store)  # first, so that the photos' sessions find their rig and its setup
        keep_photos(store, folder, show=show)
        keep_season(store)
        keep_measured(store)
    return home


def told_of(home: Path) -> tuple[str, ...]:
    """Return lines that say what the demo's records hold and what to try on them.

    Parameters
    ----------
    home : Path
        From `fill_demo`.
    """
    from groupscan.records import store as records

    with closing(records.open_store(home)) as store:
        sessions = records.list_sessions(store)
        counts = (
            f"{len(sessions)} sessions, {sessions['shots'].sum()} shots, "
            f"{len(records.list_shooters(store))} shooters, {len(records.list_rigs(store))} rigs, "
            f"{len(records.list_builds(store))} builds and {len(records.list_heads(store))} heads"
        )
    place = f'"{home}"' if " " in str(home) else str(home)
    return (
        f"The demo club's records are in {home}: {counts}.",
        "All of it is invented, with effects put in to be found (docs/DEMO.md). Try:",
        *(f"  groupscan {command} --home {place}" for command in TO_TRY),
    )
