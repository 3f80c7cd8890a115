"""The recorded shots of a rig, and how closely they group."""

from __future__ import annotations

from typing import TYPE_CHECKING

from groupscan.decisions.pooling import values_in
from groupscan.decisions.rig_bench import RigScatter, scatter_mrad_of
from groupscan.decisions.shot_table import choose_shots
from groupscan.errors import GroupscanError
from groupscan.records.store import get_rig, get_shooter
from groupscan.screens.choosing import recorded_shots

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.screens.bench.asking import Bench

__all__ = ["rig_shots", "scatter_of", "setups_shot"]


def rig_shots(bench: Bench, *, build: str = "", setup: str = "") -> pd.DataFrame | None:
    """Return a rig's shots from known distances, or of one build or setup; None without any."""
    table = recorded_shots(bench.store)
    if table is None:
        return None
    own = table[(table["rig"] == bench.known.name) & table["distance_m"].notna()]
    if build and "build" in own:
        own = own[own["build"] == build]
    if setup and "setup" in own:
        own = own[own["setup"] == setup]
    owner = get_rig(bench.store, bench.rig_id).shooter_id
    if owner is not None and len(set(own["shooter"])) > 1:
        own = own[own["shooter"] == get_shooter(bench.store, owner).name]
    return choose_shots(own) if len(own) else None


def setups_shot(bench: Bench) -> list[str]:
    """Return the setups that a rig's shots were shot with, the last one first."""
    shots = rig_shots(bench)
    if shots is None or "setup" not in shots:
        return []
    return values_in(shots.sort_values("day", ascending=False, kind="stable"), "setup")


def scatter_of(bench: Bench, *, setup: str = "") -> tuple[RigScatter | None, str]:
    """Return the scatter measured of a rig, or None and why there is none."""
    shots = rig_shots(bench, setup=setup)
    if shots is None:
        return None, "no recorded end of this rig says how far it was shot from"
    try:
        return scatter_mrad_of(shots), ""
    except GroupscanError as err:
        return None, str(err)
