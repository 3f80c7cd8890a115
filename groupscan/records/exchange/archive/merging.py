"""The rows of an archive added to those that are here; what is here is never overwritten."""

from collections.abc import Callable
from datetime import datetime
from operator import itemgetter
from typing import Any, get_args

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.exchange.archive.cells import encoder
from groupscan.records.exchange.archive.columns import fields, key_of, tables_in_order
from groupscan.records.exchange.archive.namesakes import STATES, Doubles, Namesakes, same_name
from groupscan.records.exchange.archive.reading import Archive, chunks
from groupscan.records.exchange.archive.replacing import ROWS_AT_ONCE, link_within, number_on
from groupscan.records.exchange.archive.report import Tally
from groupscan.records.exchange.returning import (
    ends_in_otherwise,
    may_return,
    settle_undone,
)
from groupscan.records.files import Counter, Progress
from groupscan.records.gear_rules import CALLED
from groupscan.records.journal import undone_imports
from groupscan.records.removal import Entry
from groupscan.records.schema import metadata, scan, session, shot
from groupscan.records.tables import listed

__all__ = ["merge"]

Row = dict[str, Any]

# Kept by each store for itself: they say nothing of what is told. A photo's name is the first it
# came with here.
_OWN = frozenset({"id", "revision", "created_at", "updated_at"})
_OF_PHOTO = frozenset({"name", "width_px", "height_px", "added_at", "size_bytes"})


def merge(
    connection: sa.Connection, archive: Archive, *, progress: Progress | None = None
) -> Tally:
    """Add the rows of a checked archive, in the caller's transaction.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction.
    archive : Archive
        The rows; its tables are those of this version.
    progress : callable, optional
        Called with how many rows are looked at and how many there are.

    Returns
    -------
    Tally
        What became of them.

    Raises
    ------
    StoreError
        Shots of one identity belong to different ends here and there.

    Notes
    -----
    An entry is known by its identity. One that is here and the same is left out; one that is here
    and not the same stays as it is here and is told. An end is one thing with its shots: either
    all of it comes in, or none. What is here but hidden, with an import that was undone, is brought
    back as it is here; but gear whose name another has by now stays hidden, and so do ends that
    came in with another import.
    """
    return _Merge(connection, archive, progress).run()


class _Merge:
    def __init__(
        self, connection: sa.Connection, archive: Archive, progress: Progress | None
    ) -> None:
        self._connection = connection
        self._counter = Counter(progress, sum(archive.manifest.rows.values()))
        self._archive = archive
        self._tally = Tally()
        self._ids: dict[str, dict[str, int]] = {}
        self._ends_here: dict[str, int] = {}
        self._imports = undone_imports(connection)
        self._undone = set(self._imports.values())
        self._twice = ends_in_otherwise(connection) if self._undone else set()
        self._homes_twice: set[str] = self._homes_of_twice() if self._twice else set()
        self._homes_back: set[int] = set()
        self._ends_back: set[int] = set()

    def run(self) -> Tally:
        for table in tables_in_order(metadata):
            self._tally.count(table.name, "new", 0)
            if table is shot:
                self._add_shots()
            else:
                self._add(table)
            number_on(self._connection, table)
        settle_undone(self._connection, self._imports)
        return self._tally

    def _homes_of_twice(self) -> set[str]:
        """Return the sessions of which the archive has but ends that stand here otherwise."""
        homes: dict[bool, set[str]] = {True: set(), False: set()}
        for row in self._archive.rows(scan):
            if row["deleted_at"] is None:
                homes[row["uid"] in self._twice].add(row["session_id"])
        return homes[True] - homes[False]

    def _add(self, table: sa.Table) -> None:
        key = key_of(table).name
        known_ids = self._ids.setdefault(table.name, {})
        numbers = _Numbers(self._connection, table)
        within = [field.name for field in fields(table) if field.of_own_table]
        namesakes: Namesakes | Doubles | None = None
        if table.name in CALLED or table.name in STATES:
            in_archive = {row[key] for row in self._archive.rows(table)}
            kind = Namesakes if table.name in CALLED else Doubles
            namesakes = kind(self._connection, table, in_archive, self._tally)
        links: list[Row] = []
        to_compare: list[tuple[Row, Row]] = []
        for rows in chunks(self._archive.rows(table), ROWS_AT_ONCE):
            self._counter.add(len(rows))
            ours = self._here(table, [row[key] for row in rows])
            new = []
            for row in rows:
                self._resolve(table, row)
                kept = ours.get(row[key])
                if kept is not None:
                    known_ids[row[key]] = kept.get("id", 0)
                    to_compare.append((kept, row))
                    continue
                joined = namesakes.find(row) if namesakes else None
                if joined is not None:
                    known_ids[row[key]] = joined
                    self._tally.count(table.name, "joined")
                    continue
                if isinstance(namesakes, Doubles) and namesakes.other_sight(row):
                    continue
                if "id" in row:
                    row["id"] = known_ids[row[key]] = numbers.take(row["id"])
                link = {name: row[name] for name in within if row[name] is not None}
                if link:
                    links.append({"id": row["id"], **link})
                    row.update(dict.fromkeys(link))
                new.append(row)
            self._insert(table, new)
            if not within:  # else what they refer to may come later
                self._compare(table, to_compare)
                to_compare = []
        link_within(self._connection, table, links, known_ids)
        for _, row in to_compare:
            row.update({name: known_ids[row[name]] for name in within if row[name] is not None})
        self._compare(table, to_compare)

    def _add_shots(self) -> None:
        numbers = _Numbers(self._connection, shot)
        ends = {key: uid for uid, key in self._ends_here.items()}
        signature = _signature_of()
        theirs = _Sums()
        for rows in chunks(self._archive.rows(shot), ROWS_AT_ONCE):
            self._counter.add(len(rows))
            ours = self._here(shot, [row["uid"] for row in rows])
            new = []
            for row in rows:
                self._resolve(shot, row)
                kept = ours.get(row["uid"])
                if kept is not None and kept["scan_id"] != row["scan_id"]:
                    raise StoreError(
                        f"{self._archive.path}: a shot of it is in another end here (identity "
                        f"{row['uid']}): it was not written by groupscan. Nothing was changed"
                    )
                if row["scan_id"] in ends:
                    theirs.add(row["scan_id"], signature(row))
                else:
                    row["id"] = numbers.take(row["id"])
                    new.append(row)
            self._insert(shot, new)
        sums = _Sums()
        for keys in chunks(iter(sorted(ends)), ROWS_AT_ONCE):
            query = sa.select(shot).where(shot.c.scan_id.in_(keys))
            for here in self._connection.execute(query).mappings():
                sums.add(here["scan_id"], signature(here))
        told = {uid for table, uid, _ in self._tally.conflicts if table == scan.name}
        for key, uid in ends.items():
            same = sums.of(key) == theirs.of(key)
            how = "kept" if not same else "back" if key in self._ends_back else "known"
            self._tally.count(shot.name, how, theirs.of(key)[0])
            if same or uid in told:
                continue
            if key not in self._ends_back:  # else it is counted as that
                self._tally.count(scan.name, "known", -1)
                self._tally.count(scan.name, "kept")
            self._tally.differs(scan.name, uid, ("shots",))

    def _here(self, table: sa.Table, uids: list[str]) -> dict[str, Row]:
        key = key_of(table)
        query = sa.select(table).where(key.in_(uids))
        return {row[key.name]: dict(row) for row in self._connection.execute(query).mappings()}

    def _resolve(self, table: sa.Table, row: Row) -> None:
        """Put numbers of this store in place of identities, but within the table itself."""
        for field in fields(table):
            if field.target is not None and not field.of_own_table and row[field.name] is not None:
                row[field.name] = self._ids[field.target.name][row[field.name]]

    def _insert(self, table: sa.Table, rows: list[Row]) -> None:
        if rows:
            self._connection.execute(sa.insert(table), rows)
            self._tally.count(table.name, "new", len(rows))
            if table.name in get_args(Entry):
                live = (row["uid"] for row in rows if row["deleted_at"] is None)
                self._tally.added.setdefault(table.name, []).extend(live)

    def _compare(self, table: sa.Table, pairs: list[tuple[Row, Row]]) -> None:
        for ours, theirs in pairs:
            uid = theirs[key_of(table).name]
            if table is scan:
                self._ends_here[uid] = ours["id"]
            back = self._bring_back(table, ours, theirs)
            differs = _differences(table, ours, theirs)
            if back:
                self._tally.count(table.name, "back")
                if differs:
                    self._tally.differs(table.name, uid, differs)
            elif differs:
                self._tally.keep(table.name, uid, differs)
            else:
                self._tally.count(table.name, "known")

    def _bring_back(self, table: sa.Table, ours: Row, theirs: Row) -> bool:
        """Bring ours back where it went with an import that was undone; return whether it did."""
        if not self._undone or table.name not in get_args(Entry):
            return False
        at = ours["deleted_at"]
        back = at in self._undone and theirs["deleted_at"] is None
        twice = {scan.name: self._twice, session.name: self._homes_twice}.get(table.name, ())
        if back and ours["uid"] not in twice and may_return(self._connection, table, ours):
            ours["deleted_at"] = None
            where = table.c.id == ours["id"]
            self._connection.execute(sa.update(table).where(where).values(deleted_at=None))
            self._tally.added.setdefault(table.name, []).append(ours["uid"])
        else:
            back = False
        if table is session and back:
            self._homes_back.add(ours["id"])
            self._hide_twice(ours["id"], at)
        if table is scan:  # its session may have been hidden, and not it itself
            with_it = ours["session_id"] in self._homes_back and ours["deleted_at"] is None
            if with_it and not back:
                self._tally.added.setdefault(table.name, []).append(ours["uid"])
            back = back or with_it
            if back:
                self._ends_back.add(ours["id"])
        return back

    def _hide_twice(self, home: int, at: datetime) -> None:
        """Leave hidden which ends of a session that comes back stand here otherwise."""
        if self._twice:
            query = sa.select(scan.c.id, scan.c.uid)
            query = query.where(scan.c.session_id == home, scan.c.deleted_at.is_(None))
            keys = [key for key, uid in self._connection.execute(query) if uid in self._twice]
            hidden = sa.update(scan).where(scan.c.id.in_(listed(keys))).values(deleted_at=at)
            self._connection.execute(hidden)


def _differences(table: sa.Table, ours: Row, theirs: Row) -> tuple[str, ...]:
    found = []
    for name in table.c.keys():  # noqa: SIM118  (columns are no mapping)
        if name in _OWN or ("sha256" in table.c and name in _OF_PHOTO):
            continue
        here, there = ours[name], theirs[name]
        if name == "deleted_at":
            here, there = here is not None, there is not None
        elif table.name in CALLED and name == CALLED[table.name][0] and same_name(here, there):
            continue
        if here != there:
            found.append({"deleted_at": "deleted"}.get(name, name.removesuffix("_id")))
    return tuple(found)


class _Numbers:
    """Numbers for new rows, which keep the order of the archive: its own where those are free."""

    def __init__(self, connection: sa.Connection, table: sa.Table) -> None:
        self._taken: set[int] = set()
        if "id" in table.c:
            self._taken.update(connection.scalars(sa.select(table.c.id)))
        self._after = max(self._taken, default=0)
        self._last = 0

    def take(self, wanted: int) -> int:
        if wanted in self._taken or wanted <= self._last:
            wanted = max(self._after, self._last) + 1
        self._last = wanted
        return wanted


class _Sums:
    """What the shots of each end come to, in whatever order they are read."""

    def __init__(self) -> None:
        self._sums: dict[int, tuple[int, int]] = {}

    def add(self, end: int, signature: int) -> None:
        count, total = self.of(end)
        self._sums[end] = (count + 1, total + signature)

    def of(self, end: int) -> tuple[int, int]:
        return self._sums.get(end, (0, 0))


def _signature_of() -> Callable[[Any], int]:
    """Return what makes one number of all that a shot tells; another for another shot."""
    own = {"id", "uid", "scan_id"}
    told = [column for column in shot.c if column.name not in own]
    plain = itemgetter(*(c.name for c in told if not isinstance(c.type, sa.JSON)))
    nested = [(c.name, encoder(c)) for c in told if isinstance(c.type, sa.JSON)]
    return lambda row: hash((plain(row), *(write(row[name]) for name, write in nested)))
