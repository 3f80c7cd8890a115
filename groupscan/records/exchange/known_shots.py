"""Ends and sessions known by what they hold, so that none is taken in twice.

An end is the same as another if it was shot on the same day by the same shooter with the same rig
from the same distance, and its shots lie in the same places about the aim, in any order. Heads and
arrow numbers are no part of that: they are what is corrected later, and an end is the same one
before and after. Whoever takes the same table in elsewhere gets the same identities.
"""

from __future__ import annotations

import hashlib
import json
import uuid
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any, Final

import sqlalchemy as sa

from groupscan.records.aimed import aimed_shots
from groupscan.records.connect import Store, reading
from groupscan.records.journal import undone_imports
from groupscan.records.schema import build, rig, scan, session, shooter
from groupscan.records.values.checks import folded

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

__all__ = [
    "EndShots",
    "KnownSession",
    "KnownShots",
    "Occasion",
    "end_shots",
    "known_shots",
    "next_uid",
    "occasion",
    "portable_uid",
    "taken_uids",
]

_NAMESPACE: Final = uuid.UUID("6f1b9a52-1a0e-4f7e-9d0c-3c1d52f0a7be")  # drawn once, of no meaning
#: Places closer than this are one: finer than any ruler, coarser than the digits lost on the way
#: through other programs.
_SAME_PLACE_MM: Final = 0.01
_DIGITS: Final = 6  # to which a typed decimal and its copy agree whatever happened to the last bits
_FAR_MM: Final = 1e9  # beyond, a place is as good as any other; keeps it a whole number

#: Sessions by an identity; None where deleted.
Sessions = dict[str, int | None]
#: Day, shooter, rig and distance (in whole mm; None where not known).
Occasion = tuple[str, str, str, int | None]


def occasion(day: date, shooter: str, rig: str, distance_m: float | None) -> Occasion:
    """Return what shots of one outing share, whatever the case of the names."""
    known = distance_m is not None and distance_m == distance_m
    mm = round(1000 * distance_m) if known and distance_m is not None else None
    return day.isoformat(), folded(shooter.strip()), folded(rig.strip()), mm


def portable_uid(kind: str, *content: Any) -> str:
    """Return the identity of something with this content, the same in every store.

    References
    ----------
    RFC 9562, section 5.5, "UUID Version 5".

    Examples
    --------
    >>> name = '["end", "2026-05-03", 18000]'
    >>> portable_uid("end", "2026-05-03", 18000) == uuid.uuid5(_NAMESPACE, name).hex
    True
    """
    name = json.dumps([kind, *content], ensure_ascii=True).encode()
    digest = bytearray(hashlib.sha1(_NAMESPACE.bytes + name, usedforsecurity=False).digest()[:16])
    digest[6] = digest[6] & 0x0F | 0x50  # the version,
    digest[8] = digest[8] & 0x3F | 0x80  # and the variant; uuid's own way takes four times as long
    return digest.hex()


def next_uid(uid: str) -> str:
    """Return the identity of an end that comes in once more after its import was undone."""
    return portable_uid("end", uid)


@dataclass(frozen=True)
class EndShots:
    """Shots by the end that they are of.

    Attributes
    ----------
    contents : dict of str
        A digest of the places of each end's shots, whatever their order, by the end.
    """

    contents: dict[int, str]
    _bounds: dict[int, slice] = field(repr=False)
    _cells: NDArray[np.int64] = field(repr=False)
    _heads: Sequence[str] = field(repr=False)
    _arrows: Sequence[str] = field(repr=False)

    def differ(self, end: int, theirs: EndShots, their_end: int) -> tuple[str, ...]:
        """Return of ``heads`` and ``arrows`` what `theirs` says otherwise of an end's shots.

        Both have their shots in the same places. What theirs does not say is not otherwise.
        """
        found = []
        for what, ours, said in (
            ("heads", self._heads, theirs._heads),
            ("arrows", self._arrows, theirs._arrows),
        ):
            told = Counter(one for one in theirs._placed(their_end, said) if one[1])
            if told - Counter(self._placed(end, ours)):
                found.append(what)
        return tuple(found)

    def _placed(self, end: int, names: Sequence[str]) -> Iterator[tuple[bytes, str]]:
        bounds = self._bounds[end]
        for cell, name in zip(self._cells[bounds], names[bounds], strict=True):
            yield cell.tobytes(), folded(name.strip())


def end_shots(
    xy_mm: NDArray[np.float64],
    ends: NDArray[np.int64],
    heads: Sequence[str],
    arrows: Sequence[str],
) -> EndShots:
    """Return shots by their ends.

    Parameters
    ----------
    xy_mm : (n, 2) array, mm
        Places about the aim.
    ends : (n,) array of int
        Which end each is of.
    heads, arrows : sequence of str, n long
        What each was shot with; empty where not said.

    Examples
    --------
    >>> import numpy as np
    >>> xy, ends = np.array([[1, 2], [3, 4], [3, 4.001], [1, 2]]), np.array([7, 7, 8, 8])
    >>> shots = end_shots(xy, ends, ["field"] * 4, ["1", "2", "2", "9"])
    >>> shots.contents[7] == shots.contents[8], shots.differ(7, shots, 8)
    (True, ('arrows',))
    """
    import numpy as np

    near = np.clip(np.round(xy_mm, _DIGITS), -_FAR_MM, _FAR_MM) / _SAME_PLACE_MM
    # Again to few digits, so that 12.345 mm is half a step whatever its last bits.
    cells = np.rint(np.round(near, _DIGITS - 2)).astype("<i8")
    place = np.lexsort((cells[:, 1], cells[:, 0], ends))
    cells, ends = cells[place], np.asarray(ends)[place]
    starts = np.flatnonzero(np.diff(ends, prepend=ends[:1] - 1))
    stops = np.append(starts[1:], len(ends))[: len(starts)]
    whose, order = ends[starts].tolist(), place.tolist()
    bounds = dict(zip(whose, map(slice, starts.tolist(), stops.tolist()), strict=True))
    return EndShots(
        {end: hashlib.sha256(cells[one].tobytes()).hexdigest() for end, one in bounds.items()},
        bounds,
        cells,
        [heads[row] for row in order],
        [arrows[row] for row in order],
    )


@dataclass(frozen=True)
class KnownSession:
    """A session of the records: its id, and its build, place and purpose in small letters."""

    id: int
    build: str
    place: str
    purpose: str


@dataclass(frozen=True)
class KnownShots:
    """What the records hold of certain days.

    Attributes
    ----------
    ends : dict
        The ids of ends and of their sessions, by the end's occasion and content.
    shots : EndShots
        What those ends hold, by their ids.
    end_uids : dict
        The session of an end by the end's identity; None where end or session was deleted.
    session_uids : dict
        A session by its identity; None where it was deleted.
    sessions : dict
        Sessions by their occasion, the first saved first.
    undone : set of str
        Identities of ends that are hidden with an import that was undone.
    """

    ends: Mapping[tuple[Occasion, str], Sequence[tuple[int, int]]] = field(default_factory=dict)
    shots: EndShots | None = None
    end_uids: Mapping[str, int | None] = field(default_factory=dict)
    session_uids: Mapping[str, int | None] = field(default_factory=dict)
    sessions: Mapping[Occasion, list[KnownSession]] = field(default_factory=dict)
    undone: frozenset[str] = frozenset()


def known_shots(store: Store, days: set[date]) -> KnownShots:
    """Return what the records hold of these days, and all identities that are taken."""
    sessions: dict[Occasion, list[KnownSession]] = {}
    ends: dict[tuple[Occasion, str], list[tuple[int, int]]] = {}
    shots = None
    if days:
        occasions = dict(_sessions(store, days, sessions))
        found = aimed_shots(store, since=min(days), until=max(days))
        found = found[found["session_id"].isin(occasions)]
        homes = dict(zip(found["scan_id"].tolist(), found["session_id"].tolist(), strict=True))
        shots = _by_end(found)
        for end, content in shots.contents.items():
            ends.setdefault((occasions[homes[end]], content), []).append((end, homes[end]))
    with reading(store) as connection:
        return KnownShots(ends, shots, *taken_uids(connection), sessions, _undone(connection))


def taken_uids(connection: sa.Connection) -> tuple[Sessions, Sessions]:
    """Return the sessions of all ends, and all sessions, by identity; None where deleted."""
    gone = sa.or_(scan.c.deleted_at.is_not(None), session.c.deleted_at.is_not(None))
    of_ends = sa.select(scan.c.uid, sa.case((gone, None), else_=session.c.id)).join(session)
    live = sa.case((session.c.deleted_at.is_(None), session.c.id), else_=None)
    ends = dict(connection.execute(of_ends).all())
    return ends, dict(connection.execute(sa.select(session.c.uid, live)).all())


def _undone(connection: sa.Connection) -> frozenset[str]:
    at = set(undone_imports(connection).values())
    if not at:
        return frozenset()
    hidden = sa.or_(scan.c.deleted_at.in_(at), session.c.deleted_at.in_(at))
    return frozenset(connection.scalars(sa.select(scan.c.uid).join(session).where(hidden)))


def _sessions(
    store: Store, days: set[date], sessions: dict[Occasion, list[KnownSession]]
) -> Iterator[tuple[int, Occasion]]:
    """Yield the occasions of the sessions of these days, and fill in `sessions`."""
    query = (
        sa.select(
            session.c.id,
            session.c.held_on,
            sa.func.coalesce(shooter.c.name, ""),
            sa.func.coalesce(rig.c.name, ""),
            session.c.distance_m,
            sa.func.coalesce(build.c.name, ""),
            session.c.place,
            session.c.purpose,
        )
        .select_from(session)
        .outerjoin(shooter, session.c.shooter_id == shooter.c.id)
        .outerjoin(rig, session.c.rig_id == rig.c.id)
        .outerjoin(build, session.c.build_id == build.c.id)
        .where(session.c.deleted_at.is_(None))
        .where(session.c.held_on.between(min(days), max(days)))
        .order_by(session.c.id)
    )
    with reading(store) as connection:
        rows = connection.execute(query).all()
    for key, day, by, with_rig, distance_m, *told in rows:
        if day in days:
            own = occasion(day, by, with_rig, distance_m)
            sessions.setdefault(own, []).append(KnownSession(key, *map(folded, told)))
            yield key, own


def _by_end(shots: pd.DataFrame) -> EndShots:
    import numpy as np

    return end_shots(
        shots[["right_mm", "high_mm"]].to_numpy(float),
        shots["scan_id"].to_numpy(np.int64),
        shots["head"].tolist(),
        shots["arrow"].tolist(),
    )
