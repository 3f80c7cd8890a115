"""What entries are called, by their identity: for lines that people read."""

from collections.abc import Callable, Collection, Mapping
from datetime import date
from typing import Any

import sqlalchemy as sa

from groupscan.records.connect import Store, reading
from groupscan.records.journal import IMPORT, file_of
from groupscan.records.schema import (
    arrow,
    audit,
    build,
    head,
    metadata,
    pin,
    rig,
    scan,
    session,
    setup,
    shooter,
    shot,
    speed,
)

__all__ = ["setup_title", "titles"]

_ENDS = scan.join(session)
_QUERIES: Mapping[str, sa.Select[Any]] = {
    **{table.name: sa.select(table.c.uid, table.c.name) for table in (shooter, rig, build, head)},
    "setup": sa.select(setup.c.uid, rig.c.name, setup.c.since, setup.c.changed).join(rig),
    "arrow": sa.select(arrow.c.uid, arrow.c.number, build.c.name)
    .select_from(arrow.outerjoin(build)),
    "session": sa.select(session.c.uid, session.c.id, session.c.held_on),
    "scan": sa.select(scan.c.uid, scan.c.id, session.c.held_on).select_from(_ENDS),
    "shot": sa.select(shot.c.uid, shot.c.number, scan.c.id, session.c.held_on)
    .select_from(shot.join(_ENDS)),
    "speed": sa.select(speed.c.uid, rig.c.name, speed.c.taken_on, speed.c.speed_mps).join(rig),
    "pin": sa.select(pin.c.uid, rig.c.name, pin.c.set_on, pin.c.distance_m).join(rig),
    IMPORT: sa.select(audit.c.entry_uid, audit.c.after).where(audit.c.action == "imported"),
}  # fmt: skip
_IDENTITIES = {
    **{name: metadata.tables[name].c.uid for name in _QUERIES if name != IMPORT},
    IMPORT: audit.c.entry_uid,
}


def titles(
    store: Store,
    wanted: Mapping[str, Collection[str]],
    *,
    day_text: Callable[[date], str] = date.isoformat,
) -> dict[str, str]:
    """Return what entries are called, deleted ones too.

    Parameters
    ----------
    store : Store
        The records.
    wanted : mapping
        Identities (``uid``) by the table they are of. Those that are not here are left out.
    day_text : callable
        Writes the day of an entry.

    Returns
    -------
    dict
        Words by identity, such as ``"setup Heron 2026-05-03: rest moved"``. An import goes by
        the table ``import``.
    """
    told = {}
    with reading(store) as connection:
        for name, uids in wanted.items():
            if name not in _QUERIES:  # a line of somebody else's archive may say anything
                continue
            query = _QUERIES[name].where(_IDENTITIES[name].in_(sorted(uids)))
            for uid, *parts in connection.execute(query):
                told[uid] = _title(name, parts, day_text)
    return told


def setup_title(
    rig_name: str, since: date, changed: str, *, day_text: Callable[[date], str] = date.isoformat
) -> str:
    """Return what a setup is called.

    Examples
    --------
    >>> setup_title("Heron", date(2026, 5, 3), "rest moved")
    'Heron 2026-05-03: rest moved'
    """
    return f"{rig_name} {day_text(since)}" + (f": {changed}" if changed else "")


def _title(name: str, parts: list[Any], day_text: Callable[[date], str]) -> str:
    if name == "setup":
        return f"setup {setup_title(*parts, day_text=day_text)}"
    if name == "arrow":
        number, build_name = parts
        return f"arrow {number}" + (f" of {build_name}" if build_name else "")
    if name in ("session", "scan"):
        key, held_on = parts
        return f"{'end' if name == 'scan' else name} {key} of {day_text(held_on)}"
    if name == "shot":
        number, key, held_on = parts
        return f"shot {number} of end {key}, {day_text(held_on)}"
    if name == "speed":
        rig_name, taken_on, mps = parts
        return f"reading of {mps:.1f} m/s, {rig_name} {day_text(taken_on)}"
    if name == "pin":
        rig_name, set_on, metres = parts
        return f"pin for {metres:.4g} m, {rig_name} {day_text(set_on)}"
    if name == IMPORT:
        return f"import of {file_of(parts[0])}"
    return f"{name} {parts[0]}"
