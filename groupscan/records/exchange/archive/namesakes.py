"""Entries of two stores that are one thing, although each store gave them an identity of its own.

The records allow one shooter, one head, and for each owner one rig, build or arrow of a name. Two
members of a club who both shoot field points mean the same head, and the season of a student whom
the coach wrote down too is one season; so an entry of the archive that the records could not hold
beside ours is taken for ours, which stays as it is. Where measured values say that the two cannot
be one thing, the archive's comes in beside ours with a number after its name: two that stand apart
can still be seen and put right, but shots of two builds thrown together never again be told apart.

A setup has no name: it says what was changed on a rig and when. Two that say the same of one rig on
one day, to every column, are one change that was written down twice, and as two they would be two
marks in every season of that rig; so one is taken for the other. Where any column differs both
stay, since nobody can tell which is right. The same holds for a pin, but that those of one day are
one sight: where ours is another than the archive's, ours stays and is told. Readings of a
chronograph are never taken for one another: two shots may well be of the same speed.
"""

import math
import re
from typing import Any

import sqlalchemy as sa

from groupscan.records.entries.gear import RETIRED
from groupscan.records.exchange.archive.report import Namesake, Tally
from groupscan.records.gear_rules import CALLED
from groupscan.records.schema import pin
from groupscan.records.values.checks import folded

__all__ = ["STATES", "Doubles", "Namesakes", "same_name"]

AGREE = 0.01
"""Scales and rulers of two people agree to about this share (experience, no source); grains and
inches rounded to the usual whole or eighth do too."""
_CHOSEN = ("hand", "bow", "kind")
#: Entries that say how a rig was from a day on, and the column of that day.
STATES = {"setup": "since", "pin": "set_on"}
_COPIED = 1e-6
"""A number agrees with its copy to this share, whatever units it went through."""
_OWN = frozenset({"id", "uid", "created_at", "updated_at", "revision", "setup_id"})
"""Each store's own; a pin's setup is only that of its day."""

Row = dict[str, Any]


class Namesakes:
    """The entries of one table that were here before, by their owners and names.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction.
    table : sqlalchemy.Table
        The table.
    in_archive : set of str
        Identities in the archive: one of ours that is there itself is no other entry's.
    """

    def __init__(
        self, connection: sa.Connection, table: sa.Table, in_archive: set[str], tally: Tally
    ) -> None:
        self._table = table
        self._name, self._owners = CALLED[table.name]
        self._in_archive = in_archive
        self._tally = tally
        self._ours: dict[tuple[Any, ...], Row] = {}
        for one in connection.execute(sa.select(table).order_by(table.c.id)).mappings():
            row = dict(one)
            if self._counts(row):
                self._ours.setdefault(self._key(row, row[self._name]), row)
        self._taken = set(self._ours)

    def find(self, row: Row) -> int | None:
        """Return the id of ours that a new `row`, owners resolved, is; else None.

        A row that cannot be its namesake is given another name in place.
        """
        if not self._counts(row):
            return None
        name = row[self._name]
        key = self._key(row, name)
        ours = self._ours.get(key)
        if ours is None:
            self._taken.add(key)
            return None
        why = self._contradictions(ours, row)
        if ours["uid"] in self._in_archive:
            why = ("ours is in the archive under another name", *why)
        if not why:
            self._tally.namesakes.append(Namesake(self._table.name, name, ours[self._name]))
            return int(ours["id"])
        number = 2
        while self._key(row, f"{name} ({number})") in self._taken:
            number += 1
        row[self._name] = f"{name} ({number})"
        self._taken.add(self._key(row, row[self._name]))
        self._tally.namesakes.append(Namesake(self._table.name, name, row[self._name], why))
        return None

    def _counts(self, row: Row) -> bool:
        return row["deleted_at"] is None and row.get("state") not in RETIRED

    def _key(self, row: Row, name: str) -> tuple[Any, ...]:
        return (*(row[owner] for owner in self._owners), folded(name))

    def _contradictions(self, ours: Row, theirs: Row) -> tuple[str, ...]:
        found = []
        for column in self._table.c:
            here, there = ours[column.name], theirs[column.name]
            if column.name in _CHOSEN:
                apart = bool(here and there) and here != there
            elif column.foreign_keys or column.name in ("id", "revision"):
                continue
            elif isinstance(column.type, sa.Float | sa.Integer):
                known = here is not None and there is not None
                apart = known and abs(here - there) > AGREE * max(abs(here), abs(there))
            else:
                continue
            if apart:
                found.append(f"{column.name}: {here} here, {there} there")
        return tuple(found)


class Doubles:
    """The setups or pins that were here before, by rig and day.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction.
    table : sqlalchemy.Table
        One of `STATES`.
    in_archive : set of str
        Identities in the archive: one of ours that is there itself is no other entry's.
    """

    def __init__(
        self, connection: sa.Connection, table: sa.Table, in_archive: set[str], tally: Tally
    ) -> None:
        self._table = table
        self._tally = tally
        self._ours: dict[tuple[Any, ...], list[Row]] = {}
        self._sights: dict[tuple[Any, ...], str] = {}
        self._told: set[tuple[Any, ...]] = set()
        query = sa.select(table).where(table.c.deleted_at.is_(None)).order_by(table.c.id)
        for one in connection.execute(query).mappings():
            if table is pin:
                self._sights.setdefault(self._key(one), one["uid"])
            if one["uid"] not in in_archive:
                self._ours.setdefault(self._key(one), []).append(dict(one))

    def find(self, row: Row) -> int | None:
        """Return the id of ours that says what a new `row`, references resolved, says; else None.

        Each of ours is given once.
        """
        of_day = self._ours.get(self._key(row), [])
        for place, ours in enumerate(of_day if row["deleted_at"] is None else ()):
            if all(_same(ours[c.name], row[c.name]) for c in self._table.c if c.name not in _OWN):
                told = f"of {row[STATES[self._table.name]]}"
                self._tally.namesakes.append(Namesake(self._table.name, told, told))
                return int(of_day.pop(place)["id"])
        return None

    def other_sight(self, row: Row) -> bool:
        """Return whether a new pin would be mixed with a sight of ours; note that ours was kept."""
        key = self._key(row)
        if key not in self._sights or row["deleted_at"] is not None:
            return False
        self._tally.count(self._table.name, "kept")
        if key not in self._told:
            self._told.add(key)
            self._tally.differs(self._table.name, self._sights[key], ("the sight of that day",))
        return True

    def _key(self, row: Any) -> tuple[Any, ...]:
        return row["rig_id"], row[STATES[self._table.name]]


def _same(here: Any, there: Any) -> bool:
    if isinstance(here, float) and isinstance(there, float):
        return math.isclose(here, there, rel_tol=_COPIED)
    if isinstance(here, str) and isinstance(there, str):
        return folded(here.strip()) == folded(there.strip())
    return bool(here == there)


def same_name(here: str, there: str) -> bool:
    """Return whether ours is called as theirs, or as theirs was called when it came in.

    Examples
    --------
    >>> same_name("point (2)", "point"), same_name("point", "blade")
    (True, False)
    """
    return here == there or bool(re.fullmatch(re.escape(there) + r" \(\d+\)", here))
