"""The ends and sessions that the rows of a table of shots make, beside those of the records."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from groupscan.records.entries import ScanRecord, Session, ShotRecord
from groupscan.records.exchange.column_map import ColumnMap
from groupscan.records.exchange.known_shots import (
    EndShots,
    KnownSession,
    KnownShots,
    Occasion,
    end_shots,
    next_uid,
    occasion,
    portable_uid,
)
from groupscan.records.exchange.shots_read import BadCell
from groupscan.records.files import Progress
from groupscan.records.outings import Outing
from groupscan.records.values.checks import folded

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "SkippedEnd",
    "TypedEnd",
    "numbered_twice",
    "sort_out",
    "typed_ends",
    "typed_outings",
    "with_ends",
]

_TYPED: Final = "typed"  # what gave the scale of an end that came as numbers
#: From so many shots on, the same places tell the same end. Whole inches are the roughest that
#: anybody types: in a group of sigma 2 in, one shot hits the place of another with a chance of
#: 1 / (4 pi 2^2) = 2 %, three of three others with 3! of its cube, 5 in 100,000.
_TELLING: Final = 3
_STEP: Final = 500  # ends between two looks whether to go on


@dataclass(frozen=True)
class SkippedEnd:
    """An end that is not taken in, because it is known.

    Attributes
    ----------
    row : int
        Its first row in the file, as a spreadsheet counts.
    shots : int
    why : str
        Where it is known from.
    differs : tuple of str
        Of ``heads`` and ``arrows``, what the table says otherwise than the records, whose are kept.
    """

    row: int
    shots: int
    why: str
    differs: tuple[str, ...] = ()


@dataclass(frozen=True)
class TypedEnd:
    """An end of the table: its session, its rows in the table, and its identity anywhere."""

    number: int
    of_session: int
    rows: Sequence[int]
    row: int
    occasion: Occasion
    content: str
    uid: str


def with_ends(table: pd.DataFrame, columns: ColumnMap) -> pd.DataFrame:
    """Return the shots with their sessions and ends numbered in the order of appearance.

    What a session is called is kept, unless it is a number of other records or its day.
    """
    import pandas as pd

    same = table[["session", "day", "place", "purpose"]].copy()
    same["distance"] = (1000 * table["distance_m"]).round()
    for name in ("shooter", "rig", "build"):
        same[name] = table[name].map({text: folded(text) for text in set(table[name])})
    sessions = same.groupby(list(same.columns), sort=False, dropna=False).ngroup()
    ends = pd.DataFrame({"session": sessions, "end": table["end"]})
    called = table["session"].mask(table["session"] == table["day"].astype(str), "")
    return table.assign(
        called="" if columns.columns.get("session") == "session_id" else called,
        in_session=sessions,
        in_end=ends.groupby(["session", "end"], sort=False).ngroup(),
    )


def numbered_twice(table: pd.DataFrame, columns: ColumnMap) -> Iterator[BadCell]:
    """Yield what is wrong where two shots of an end have one number."""
    said = table[table["number"] > 0]
    twice = said[said.duplicated(["in_end", "number"])]
    for row, number in zip(twice["row"], twice["number"], strict=True):
        yield BadCell(
            row,
            columns.columns["number"],
            f"shot {number} stands twice in its end",
            "number each once, say which column parts the ends, or leave numbers out",
        )


def typed_ends(table: pd.DataFrame) -> tuple[list[TypedEnd], EndShots]:
    """Return the ends of a table that `with_ends` returned, and their shots by their numbers."""
    import numpy as np

    of_end = table["in_end"].to_numpy(np.int64)
    shots = end_shots(
        table[["right_mm", "high_mm"]].to_numpy(float),
        of_end,
        table["head"].tolist(),
        table["arrow"].tolist(),
    )
    groups = table.groupby("in_end", sort=False).indices
    session, row = table["in_session"].tolist(), table["row"].tolist()
    told = [table[name].tolist() for name in ("day", "shooter", "rig", "distance_m")]
    ends = []
    for end, content in shots.contents.items():
        rows = np.asarray(groups[end]).tolist()
        first = rows[0]
        own = occasion(*(column[first] for column in told))
        uid = portable_uid("end", *own, content)
        ends.append(TypedEnd(end, session[first], rows, row[first], own, content, uid))
    return ends, shots


def sort_out(
    ends: Sequence[TypedEnd],
    shots: EndShots,
    known: KnownShots,
    *,
    progress: Progress | None = None,
) -> tuple[list[TypedEnd], list[SkippedEnd], dict[int, int]]:
    """Return the ends that are new, those that are not, and the records' sessions of the latter.

    One that is hidden with an import that was undone is new, and gets another identity. So does one
    of few shots that lies where an earlier one of the table does: typed to the inch or to the
    millimetre, single arrows hit one place again and again, while three or more do not by chance.
    """
    fresh: list[TypedEnd] = []
    skipped: list[SkippedEnd] = []
    homes: dict[int, int] = {}
    seen: dict[tuple[Occasion, str], list[TypedEnd]] = {}
    for done, one in enumerate(ends):
        if progress is not None and done % _STEP == 0:
            progress(done, len(ends))
        key = (one.occasion, one.content)
        alike = seen.setdefault(key, [])
        turn = len(alike) if len(one.rows) < _TELLING else 0
        end = replace(one, uid=_identity(one.uid, turn, known.undone))
        ours = known.ends.get(key, ())[turn:]
        home = ours[0][1] if ours else known.end_uids.get(end.uid)
        differs: tuple[str, ...] = ()
        if home is not None:
            homes.setdefault(end.of_session, home)
            why = "is in the records"
            if ours and known.shots is not None:
                differs = known.shots.differ(ours[0][0], shots, end.number)
        elif end.uid in known.end_uids:
            why = "was deleted from the records: restore it there"
        elif alike and len(end.rows) >= _TELLING:
            why = f"has the same shots as the end at row {alike[0].row}"
            differs = shots.differ(alike[0].number, shots, end.number)
        else:
            fresh.append(end)
            alike.append(end)
            continue
        alike.append(end)
        if differs:
            why += f", with other {' and '.join(differs)}"
        skipped.append(SkippedEnd(end.row, len(end.rows), why, differs))
    return fresh, skipped, homes


def _identity(uid: str, turn: int, undone: Collection[str]) -> str:
    """Return the identity of the end that is alike after `turn` others, undone ones passed over."""
    if turn:
        uid = portable_uid("end", uid, turn)
    while uid in undone:
        uid = next_uid(uid)
    return uid


def typed_outings(
    table: pd.DataFrame,
    ends: Sequence[TypedEnd],
    homes: dict[int, int],
    known: KnownShots,
    *,
    progress: Progress | None = None,
) -> Iterator[tuple[Outing, str]]:
    """Yield the sessions to save, with the names of their builds."""
    columns = {name: table[name].tolist() for name in table.columns}
    by_session: dict[int, list[TypedEnd]] = {}
    for end in ends:
        by_session.setdefault(end.of_session, []).append(end)
    firsts = table.drop_duplicates("in_session")
    alone: dict[Occasion, int] = {}  # how many sessions of the table are of one occasion
    for told in zip(*(firsts[n] for n in ("day", "shooter", "rig", "distance_m")), strict=True):
        own = occasion(*told)
        alone[own] = alone.get(own, 0) + 1
    taken = set(known.session_uids)
    for done, (number, own_ends) in enumerate(by_session.items()):
        if progress is not None:
            progress(done, len(by_session))
        first = {name: cells[own_ends[0].rows[0]] for name, cells in columns.items()}
        own = own_ends[0].occasion
        build = str(first["build"])
        uid = portable_uid(
            "session", *own, folded(build), first["session"], first["place"], first["purpose"]
        )
        key = homes.get(number) or known.session_uids.get(uid)
        if key is None and alone[own] == 1:
            key = _fitting(known.sessions.get(own, []), build, first["place"], first["purpose"])
        while key is None and uid in taken:  # by a session that was deleted
            uid = portable_uid("session", uid)
        taken.add(uid)
        notes = (columns["notes"][row] for end in own_ends for row in end.rows)
        saved = Session(
            held_on=first["day"],
            shooter=first["shooter"],
            rig=first["rig"],
            distance_m=None if first["distance_m"] != first["distance_m"] else first["distance_m"],
            place=first["place"],
            purpose=first["purpose"],
            notes="\n".join(dict.fromkeys(filter(None, (first["called"], *notes)))),
            uid=uid if key is None else None,
            id=key,
        )
        yield Outing(saved, [_scan(end, columns) for end in own_ends]), build


def _fitting(sessions: Sequence[KnownSession], build: str, place: str, purpose: str) -> int | None:
    """Return the session that nothing said contradicts: the likest, of these the first saved."""
    told = folded(place), folded(purpose)
    fitting: list[tuple[int, int]] = []
    for one in sessions:
        differ = [(a, b) for a, b in zip((one.place, one.purpose), told, strict=True) if a != b]
        if (not build or one.build == folded(build)) and not any(a and b for a, b in differ):
            fitting.append((len(differ), one.id))
    return min(fitting)[1] if fitting else None


def _scan(end: TypedEnd, columns: dict[str, list[Any]]) -> ScanRecord:
    said = {columns["number"][row] for row in end.rows}
    free = (number for number in range(1, len(end.rows) + len(said) + 1) if number not in said)
    return ScanRecord(
        session_id=0,
        label=columns["end_label"][end.rows[0]],
        scale_source=_TYPED,
        aims_mm=((0.0, 0.0),),
        shots=tuple(_shot(columns, row, free) for row in end.rows),
        uid=end.uid,
    )


def _shot(columns: dict[str, list[Any]], row: int, free: Iterator[int]) -> ShotRecord:
    se_mm = columns["se_mm"][row]
    return ShotRecord(
        number=columns["number"][row] or next(free),
        x_mm=columns["right_mm"][row],
        y_mm=columns["high_mm"][row],
        se_mm=None if se_mm != se_mm else se_mm,
        order=columns["order"][row] or None,
        head=columns["head"][row],
        arrow=columns["arrow"][row],
        flyer=columns["flyer"][row],
        flyer_why=columns["flyer_why"][row],
    )
