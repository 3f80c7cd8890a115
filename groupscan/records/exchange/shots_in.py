"""Shots from a plain table of positions: first a dry run that tells all, then all at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from groupscan.csvfile import read_csv
from groupscan.errors import StoreError, TableError
from groupscan.records.connect import Store, reading, writing
from groupscan.records.exchange.column_map import ColumnMap, choose_columns, suggest_columns
from groupscan.records.exchange.known_shots import known_shots, taken_uids
from groupscan.records.exchange.shots_read import (
    BadCell,
    Defaults,
    Whence,
    position_units,
    read_defaults,
    read_shots,
)
from groupscan.records.exchange.typed_ends import (
    SkippedEnd,
    numbered_twice,
    sort_out,
    typed_ends,
    typed_outings,
    with_ends,
)
from groupscan.records.files import Progress, share_of
from groupscan.records.journal import note_import
from groupscan.records.names import ForeseenNames, Names
from groupscan.records.outings import Outing, insert_outings
from groupscan.records.rows import uncollected
from groupscan.records.schema import metadata, session
from groupscan.records.schema.base import new_uid
from groupscan.records.tables import listed
from groupscan.records.values.checks import folded

__all__ = [
    "BadCell",
    "ColumnMap",
    "Defaults",
    "ImportPlan",
    "NotTaken",
    "SkippedEnd",
    "choose_columns",
    "commit",
    "plan_import",
    "read_defaults",
    "suggest_columns",
]


@dataclass(frozen=True)
class NotTaken:
    """What a table says of a session of the records that goes on, and is not stored.

    Attributes
    ----------
    session : int
        The session, by its id. It stays as it is but for the new ends.
    what : str
        Of place, purpose and notes.
    said, ours : str
        By the table (of notes: the lines that are new), and by the records.
    """

    session: int
    what: str
    said: str
    ours: str


@dataclass(frozen=True)
class ImportPlan:
    """What taking a table in would do; nothing is done yet.

    Attributes
    ----------
    path : Path
    columns : ColumnMap
        Which column says what.
    units : dict
        The unit in which each column of positions is read, and what tells it.
    distances_m : tuple of float or None
        The distances of the shots, in m, as they come; None where it is not said.
    sessions, continued, ends, shots : int
        New sessions, sessions of the records that get more ends, new ends, and their shots.
    new : dict
        Names of the entries that would be made, by kind: shooter, rig, build, head, arrow.
    skipped : tuple of SkippedEnd
        Ends that are known.
    not_taken : tuple of NotTaken
        What is said otherwise of sessions that get more ends.
    alike : int
        New ends, of one or two shots, that lie where others of the table do.
    bad : tuple of BadCell
        All that is wrong with the table. With any, nothing can be taken in.
    uid : str
        The identity of the import that taking it in is, for
        `groupscan.records.exchange.undoing.undo_import`.
    """

    path: Path
    columns: ColumnMap
    units: dict[str, tuple[str, Whence]] = field(default_factory=dict)
    distances_m: tuple[float | None, ...] = ()
    sessions: int = 0
    continued: int = 0
    ends: int = 0
    shots: int = 0
    new: dict[str, tuple[str, ...]] = field(default_factory=dict)
    skipped: tuple[SkippedEnd, ...] = ()
    not_taken: tuple[NotTaken, ...] = ()
    bad: tuple[BadCell, ...] = ()
    alike: int = 0
    uid: str = field(default_factory=new_uid)
    _outings: tuple[tuple[Outing, str], ...] = field(default=(), repr=False)  # and their builds

    def to_dict(self) -> dict[str, Any]:
        """Return the plan as JSON-safe values."""
        return {
            "file": str(self.path),
            "columns": self.columns.told(),
            "units": {
                head: {"unit": unit, "from": whence} for head, (unit, whence) in self.units.items()
            },
            "distances_m": list(self.distances_m),
            "sessions": self.sessions,
            "continued_sessions": self.continued,
            "ends": self.ends,
            "shots": self.shots,
            "new": {kind: list(names) for kind, names in self.new.items()},
            "skipped": [vars(one) for one in self.skipped],
            "not_taken": [vars(one) for one in self.not_taken],
            "bad": [vars(one) for one in self.bad],
            "alike": self.alike,
        }


def plan_import(
    store: Store,
    path: Path,
    columns: ColumnMap | str = "",
    *,
    unit: str | None = None,
    defaults: Defaults | None = None,
    progress: Progress | None = None,
) -> ImportPlan:
    r"""Read a whole table of shots and return what taking it in would do: a dry run.

    Parameters
    ----------
    store : Store
        The records. Nothing is written to them.
    path : Path
        A CSV file as `groupscan.csvfile.read_csv` reads it, with a row a shot.
    columns : ColumnMap or str
        Which column says what, or what `choose_columns` reads; left out: as the names suggest.
    unit : str, optional
        Of the positions, where a column's name does not say it: mm (left out), cm or in.
    defaults : Defaults, optional
        What holds where the table says nothing.
    progress : callable, optional
        Called with how much of the work is done and how much there is; what it raises ends it.

    Returns
    -------
    ImportPlan

    Raises
    ------
    TableError
        The table as a whole cannot be read. What is wrong with single cells is in the plan.

    Notes
    -----
    Shots of one session, day, shooter, rig, distance, build, place and purpose are one session,
    and of one end in it one end; without a column for ends, all of a session's shots are one.
    An end is known, and skipped, if the records or, of three shots and more, an earlier row hold
    one of the same day, shooter, rig and distance with its shots in the same places about the aim
    to 0.01 mm, or if it was taken in before, however corrected or deleted since; not if that import
    was undone, for then it comes in anew. Heads and arrows are not compared for that: where the
    table says other ones, ours are kept and `SkippedEnd.differs` tells. Ends of one or two shots
    are told apart by how often the same places come, since single shots do hit one place twice.

    A session continues one of the records that holds one of its ends, or else the likest of its
    occasion and build whose place and purpose are the same or not said on one side, if the table
    has but one of that occasion. It then keeps its own place, purpose and notes.

    Examples
    --------
    >>> from contextlib import closing
    >>> from tempfile import TemporaryDirectory
    >>> from groupscan.records.store import open_store
    >>> with TemporaryDirectory() as folder, closing(open_store(Path(folder))) as store:
    ...     path = Path(folder, "shots.csv")
    ...     _ = path.write_text("date,end,x_in,y_in\n2026-05-03,1,1,-2\n2026-05-03,1,0,0.5\n")
    ...     plan = plan_import(store, path)
    ...     _ = commit(store, plan)
    ...     again = plan_import(store, path)
    >>> plan.sessions, plan.ends, plan.shots, again.shots, again.skipped[0].why
    (1, 1, 2, 0, 'is in the records')
    """
    with uncollected():
        return _plan(store, path, columns, unit, defaults or Defaults(), progress)


def _plan(
    store: Store,
    path: Path,
    columns: ColumnMap | str,
    unit: str | None,
    defaults: Defaults,
    progress: Progress | None,
) -> ImportPlan:
    # Shares of the time that a table of 100,000 shots takes.
    file = read_csv(path)
    if isinstance(columns, str):
        columns = choose_columns(file.heads, columns)
    table, bad = read_shots(
        file, columns, unit=unit, defaults=defaults, progress=share_of(progress, 0.1, 0.3)
    )
    table = with_ends(table, columns)
    bad = sorted([*bad, *numbered_twice(table, columns)], key=lambda one: one.row)
    share_of(progress, 0.3, 0.4)(0, 1)
    known = known_shots(store, set(table["day"]))
    ends, shots = typed_ends(table)
    fresh, skipped, homes = sort_out(ends, shots, known, progress=share_of(progress, 0.4, 0.6))
    outings = list(typed_outings(table, fresh, homes, known, progress=share_of(progress, 0.6, 0.8)))
    new = _foreseen(store, outings, progress=share_of(progress, 0.8, 1.0))
    return ImportPlan(
        path=path,
        columns=columns,
        units=position_units(columns, unit),
        distances_m=tuple(dict.fromkeys(None if m != m else m for m in table["distance_m"])),
        sessions=sum(o.session.id is None for o, _ in outings),
        continued=len({o.session.id for o, _ in outings if o.session.id is not None}),
        ends=sum(len(o.scans) for o, _ in outings),
        shots=sum(len(end.rows) for end in fresh),
        new=new,
        skipped=tuple(skipped),
        not_taken=_not_taken(store, outings),
        bad=tuple(bad),
        alike=len(fresh) - len({(end.occasion, end.content) for end in fresh}),
        _outings=tuple(outings),
    )


def commit(
    store: Store, plan: ImportPlan, *, name: str = "", progress: Progress | None = None
) -> list[int]:
    """Take in what a plan found, all of it in one transaction.

    Parameters
    ----------
    store : Store
        The records.
    plan : ImportPlan
        From `plan_import`.
    name : str
        What the file is called in the journal; left out: its name on the disk.
    progress : callable, optional
        Called with how much of the work is done and how much there is, and once more before all
        of it is kept; what it raises ends the work, and nothing is stored.

    Returns
    -------
    list of int
        The ids of the sessions that are new or got ends.

    Raises
    ------
    TableError
        Something is wrong with the table. Nothing is stored then.
    StoreError
        The records have changed since the plan was made, or cannot be written to. Nothing is
        stored then.
    """
    if plan.bad:
        more = f" and {len(plan.bad) - 1} more" if len(plan.bad) > 1 else ""
        raise TableError(f"{plan.path}, {plan.bad[0]}{more}. Nothing was stored")
    with writing(store) as connection, uncollected():
        names = Names(connection)
        ends, sessions = taken_uids(connection)
        looking = share_of(progress, 0.0, 0.1)
        outings = []
        for done, (outing, build) in enumerate(plan._outings):
            looking(done, len(plan._outings))
            taken = outing.session.uid in sessions or any(s.uid in ends for s in outing.scans)
            if taken:
                raise StoreError(
                    f"some of {plan.path} has come into the records since it was looked through. "
                    "Nothing was stored: look it through again"
                )
            if build and outing.session.id is None:
                build_id = names.build(build, names.shooter(outing.session.shooter))
                outing = replace(outing, session=replace(outing.session, build_id=build_id))
            outings.append(outing)
        ids = insert_outings(connection, names, outings, progress=share_of(progress, 0.1, 1.0))
        _note(connection, plan, name, names)
        share_of(progress, 0.0, 1.0)(1, 1)
        return ids


def _note(connection: sa.Connection, plan: ImportPlan, name: str, names: Names) -> None:
    """Note what came in, so that it can be undone."""
    if not plan._outings:
        return
    outings = [outing for outing, _ in plan._outings]
    added = {
        "session": [o.session.uid or "" for o in outings if o.session.id is None],
        "scan": [end.uid or "" for outing in outings for end in outing.scans],
    }
    for kind, ids in names.new_ids.items():
        table = metadata.tables[kind]
        query = sa.select(table.c.uid).where(table.c.id.in_(listed(ids))).order_by(table.c.id)
        added[kind] = list(connection.scalars(query))
    new = {kind: len(uids) for kind, uids in added.items()} | {"shot": plan.shots}
    note_import(connection, plan.uid, file=name or plan.path.name, new=new, added=added)


def _not_taken(store: Store, outings: Sequence[tuple[Outing, str]]) -> tuple[NotTaken, ...]:
    """Return what the sessions that go on will not be told of what the table says of them."""
    going_on = [outing.session for outing, _ in outings if outing.session.id is not None]
    if not going_on:
        return ()
    query = sa.select(session.c.id, session.c.place, session.c.purpose, session.c.notes)
    with reading(store) as connection:
        kept = {key: ours for key, *ours in connection.execute(query)}
    found: list[NotTaken] = []
    for one in going_on:
        ours = kept[one.id]
        known = ours[2].splitlines()
        notes = "\n".join(line for line in one.notes.splitlines() if line not in known)
        found += [
            NotTaken(one.id or 0, what, said, old)
            for what, said, old in zip(
                ("place", "purpose", "notes"), (one.place, one.purpose, notes), ours, strict=True
            )
            if said and folded(said) != folded(old)
        ]
    return tuple(dict.fromkeys(found))


def _foreseen(
    store: Store, outings: Sequence[tuple[Outing, str]], *, progress: Progress
) -> dict[str, tuple[str, ...]]:
    """Return the names that saving would make entries of."""
    with reading(store) as connection:
        names = ForeseenNames(connection)
        owners = {
            key: (shooter_id, build_id)
            for key, shooter_id, build_id in connection.execute(
                sa.select(session.c.id, session.c.shooter_id, session.c.build_id)
            )
        }
        for done, (outing, build) in enumerate(outings):
            progress(done, len(outings))
            told = outing.session
            if told.id is not None:
                shooter_id, build_id = owners[told.id]
            else:
                shooter_id = names.shooter(told.shooter)
                rig_id = names.rig(told.rig, shooter_id)
                build_id = names.build(build, shooter_id)
                if build_id is None and rig_id is not None:
                    build_id = names.setup(rig_id, told.held_on)[1]
            shots = [shot for scan in outing.scans for shot in scan.shots]
            for head in {shot.head: None for shot in shots}:
                names.head(head)
            for arrow in {shot.arrow: None for shot in shots}:
                names.arrow(arrow, build_id, shooter_id, held_on=told.held_on)
    kinds = ("shooter", "rig", "build", "head", "arrow")
    return {kind: tuple(names.made.get(kind, ())) for kind in kinds}
