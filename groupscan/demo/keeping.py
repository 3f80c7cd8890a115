"""The club and its season put into the records: what is there, or was thrown away, is left alone.

Sessions and ends have an identity made from what they are called, so that a second demo knows them
again even if they were renamed, moved or deleted. Gear is known by its name.
"""

from __future__ import annotations

import uuid
from dataclasses import replace
from itertools import groupby
from typing import TYPE_CHECKING, Any, Final

from groupscan.demo import club
from groupscan.demo.measuring import SOURCE, draw_pins, draw_readings, draw_walk_back
from groupscan.demo.shooting import DrawnSession, draw_season
from groupscan.records import store as records
from groupscan.records.entries import Arrow, Pin, ScanRecord, Session, ShotRecord, Speed

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.records.connect import Store

__all__ = ["keep_club", "keep_measured", "keep_season"]

_FAMILY: Final = uuid.UUID("6f0d51c4-5c7e-5f0e-9d5d-6a4f8f6f2a3b")
"""Any fixed number: identities made with it are the demo's own."""


def keep_club(store: Store) -> None:
    """Keep the shooters, rigs, setups, builds, arrows and heads that are not there yet."""
    coach_id = _kept(store, "shooter", club.COACH)
    for shooter in club.SHOOTERS:
        _kept(store, "shooter", replace(shooter, coach_id=coach_id))
    for head in club.HEADS:
        _kept(store, "head", head)
    builds = {b.name: _kept(store, "build", replace(b, shooter_id=coach_id)) for b in club.BUILDS}
    rigs = {r.name: _kept(store, "rig", replace(r, shooter_id=coach_id)) for r in club.RIGS}
    _keep_setups(store, rigs, builds)
    _keep_arrows(store, builds, coach_id)


def keep_season(store: Store) -> None:
    """Keep the sessions of the invented season that are not there yet, in one transaction."""
    known = records.list_identities(store, "session")
    builds = records.list_builds(store).drop_duplicates("name").set_index("name")["id"].to_dict()
    drawn = (*draw_season(), *draw_walk_back())
    new = [one for one in drawn if _identity(one.called) not in known]
    records.save_outings(store, [_outing(one, builds.get(one.build)) for one in new])


def keep_measured(store: Store) -> None:
    """Keep the readings and pins of the rigs that are not there yet."""
    rigs, builds = (
        _everything(store, kind).drop_duplicates("name").set_index("name")["id"].to_dict()
        for kind in ("rig", "build")
    )
    speeds = [
        Speed(
            rig_id=rigs[one.rig], taken_on=one.taken_on, mass_g=one.mass_g,
            speed_mps=one.speed_mps, distance_m=one.distance_m, source=SOURCE,
            build_id=builds[one.build], uid=_identity(f"speed {one.rig} {one.build} {number}"),
        )
        for number, one in enumerate(draw_readings())
    ]  # fmt: skip
    pins = [
        Pin(
            rig_id=rigs[one.rig], set_on=one.set_on, distance_m=one.distance_m,
            below_mm=one.below_mm, uid=_identity(f"pin {one.rig} {one.distance_m:.2f}"),
        )
        for one in draw_pins()
    ]  # fmt: skip
    here, known = set(_live(store, "rig")), records.list_identities(store, "speed")
    built = set(_live(store, "build"))
    records.add_speeds(
        store,
        [one for one in speeds
         if one.uid not in known and one.rig_id in here and one.build_id in built],
    )  # fmt: skip
    known = records.list_identities(store, "pin")
    records.add_pins(store, [one for one in pins if one.uid not in known and one.rig_id in here])


def _live(store: Store, kind: str) -> list[int]:
    """Return the ids of the entries that were not thrown away."""
    return [int(key) for key in getattr(records, f"list_{kind}s")(store)["id"]]


def _outing(drawn: DrawnSession, build_id: int | None) -> records.Outing:
    session = Session(
        held_on=drawn.held_on,
        place="Quillmere Bowmen, south butts",
        shooter=drawn.shooter,
        rig=drawn.rig,
        distance_m=drawn.distance_m,
        purpose=drawn.purpose,
        weather=drawn.weather,
        temperature_c=drawn.temperature_c,
        wind_m_s=drawn.wind_m_s,
        build_id=build_id,
        uid=_identity(drawn.called),
    )
    ends = [
        ScanRecord(
            session_id=0,
            label=f"end {end}",
            scale_source="typed",
            uid=_identity(f"{drawn.called}, end {end}"),
            shots=tuple(
                ShotRecord(
                    number=number, x_mm=shot.right_mm, y_mm=shot.high_mm, order=shot.order,
                    head=shot.head, arrow=shot.arrow,
                    flyer=bool(shot.flyer_why), flyer_why=shot.flyer_why,
                )
                for number, shot in enumerate(shots, 1)
            ),
        )
        for end, shots in groupby(drawn.shots, key=lambda shot: shot.end)
    ]  # fmt: skip
    return records.Outing(session, ends)


def _identity(called: str) -> str:
    return uuid.uuid5(_FAMILY, called).hex


def _everything(store: Store, kind: str) -> pd.DataFrame:
    """List the entries of a kind with the deleted ones, which must not come back, behind."""
    import pandas as pd

    listed = getattr(records, f"list_{kind}s")
    both: pd.DataFrame = pd.concat([listed(store), listed(store, deleted=True)])
    return both


def _kept(store: Store, kind: str, entry: Any) -> int:
    """Return the id of what is called as the entry is; save it where nothing is."""
    there = _everything(store, kind)
    same = there.loc[there["name"] == entry.name, "id"]
    if len(same):
        return int(same.iloc[0])
    saved: int = getattr(records, f"save_{kind}")(store, entry)
    return saved


def _keep_setups(store: Store, rigs: dict[str, int], builds: dict[str, int]) -> None:
    there = _everything(store, "setup")
    known = set(zip(there["rig_id"], there["since"].dt.date, strict=True))
    for rig, build, setup in club.SETUPS:
        if (rigs[rig], setup.since) not in known:
            records.add_setup(store, replace(setup, rig_id=rigs[rig], build_id=builds[build]))


def _keep_arrows(store: Store, builds: dict[str, int], coach_id: int) -> None:
    there = _everything(store, "arrow")
    known = set(zip(there["build_id"], there["number"], strict=True))
    for build, number in [(b, number) for b, own in club.ARROWS.items() for number in own]:
        if (builds[build], number) in known:
            continue
        state, since, why = club.STATES.get((build, number), ("in use", None, ""))
        records.save_arrow(
            store,
            Arrow(
                number=number, build_id=builds[build], shooter_id=coach_id,
                state=state, state_since=since, state_why=why,
            ),
        )  # fmt: skip
    was, number, now, on, why = club.REBUILT
    if (builds[now], number) in known:
        return
    arrows = records.list_arrows(store, builds[was])
    in_use = arrows[(arrows["number"] == number) & (arrows["state"] == "in use")]
    if len(in_use):  # thrown away otherwise
        records.rebuild_arrow(store, int(in_use["id"].iloc[0]), builds[now], on=on, why=why)
