"""From the names that people use to the rows that they mean, within one transaction.

A name is found among the entries that are not deleted, first letter by letter, then whatever its
case. One that is not found makes an entry: nobody has to set up anything before the first save.
"""

from bisect import bisect_right
from datetime import date
from typing import Any

import sqlalchemy as sa

from groupscan.records.entries.gear import HEAD_KINDS, RETIRED
from groupscan.records.rows import insert_row
from groupscan.records.schema import arrow, build, head, rig, setup, shooter
from groupscan.records.values.checks import folded

__all__ = ["ForeseenNames", "Names"]

Key = tuple[Any, ...]
_Retired = tuple[date | None, str, int]  # since when, what it is now, its id


class Names:
    """The names known so far; each table is read once, when a name of it is first asked for.

    Attributes
    ----------
    new_ids : dict of list of int
        The ids of the entries that were made, by the kind of entry.
    """

    def __init__(self, connection: sa.Connection) -> None:
        self.new_ids: dict[str, list[int]] = {}
        self._connection = connection
        self._known: dict[str, dict[Key, int]] = {}
        self._retired: dict[Key, list[_Retired]] = {}
        self._setups: dict[int, list[tuple[date, int, int | None]]] = {}
        self._asked: dict[Key, int | None] = {}  # arrows, of which each shot has one

    def shooter(self, name: str) -> int | None:
        """Return the id of a shooter; None for an empty name."""
        return self._find(shooter, (name,), {"name": name}) if name else None

    def head(self, name: str) -> int | None:
        """Return the id of a head; None for an empty name."""
        kind = name.lower() if name.lower() in HEAD_KINDS else ""
        return self._find(head, (name,), {"name": name, "kind": kind}) if name else None

    def rig(self, name: str, shooter_id: int | None) -> int | None:
        """Return the id of a shooter's rig, or else of one that nobody owns; None for no name."""
        if not name:
            return None
        for owner in (shooter_id, None):
            if (known := self._seek(rig, (owner, name))) is not None:
                return known
        return self._find(rig, (shooter_id, name), {"name": name, "shooter_id": shooter_id})

    def build(self, name: str, shooter_id: int | None) -> int | None:
        """Return the id of a shooter's build, or else of one that nobody owns; None for no name."""
        if not name:
            return None
        for owner in (shooter_id, None):
            if (known := self._seek(build, (owner, name))) is not None:
                return known
        return self._find(build, (shooter_id, name), {"name": name, "shooter_id": shooter_id})

    def arrow(
        self,
        number: str,
        build_id: int | None,
        shooter_id: int | None,
        *,
        held_on: date | None = None,
    ) -> int | None:
        """Return the id of an arrow of a build; None for no number.

        Where several had the number one after the other, it is the one that was shot on the day
        `held_on`: one that broke or was built anew was shot up to that day. A broken arrow is not
        shot later, so that the number then makes a new one; one that was built anew may well be,
        by somebody who forgot to say which build.
        """
        if not number:
            return None
        asked = (number, build_id, shooter_id, held_on)
        if asked not in self._asked:
            self._asked[asked] = self._arrow(number, build_id, shooter_id, held_on)
        return self._asked[asked]

    def _arrow(
        self, number: str, build_id: int | None, shooter_id: int | None, held_on: date | None
    ) -> int:
        for owner in (shooter_id, None):
            if (known := self._seek_arrow((owner, build_id, number), held_on)) is not None:
                return known
        values = {"number": number, "build_id": build_id, "shooter_id": shooter_id}
        return self._find(arrow, (shooter_id, build_id, number), values)

    def setup(self, rig_id: int | None, held_on: date) -> tuple[int | None, int | None]:
        """Return a rig's setup of a day and the build that it shoots, or None for each."""
        if rig_id is None:
            return None, None
        if rig_id not in self._setups:
            query = sa.select(setup.c.since, setup.c.id, setup.c.build_id)
            query = query.where(setup.c.rig_id == rig_id, setup.c.deleted_at.is_(None))
            rows = self._connection.execute(query.order_by(setup.c.since, setup.c.id))
            self._setups[rig_id] = [(row.since, row.id, row.build_id) for row in rows]
        setups = self._setups[rig_id]
        place = bisect_right(setups, held_on, key=lambda one: one[0])
        return setups[place - 1][1:] if place else (None, None)

    def _find(self, table: sa.Table, key: Key, values: dict[str, Any]) -> int:
        known = self._seek(table, key)
        if known is None:
            known = self._make(table, values)
            for form in _forms(key):
                self._known[table.name].setdefault(form, known)
        return known

    def _make(self, table: sa.Table, values: dict[str, Any]) -> int:
        texts = {c.name: "" for c in table.c if isinstance(c.type, sa.Text)}
        if table is arrow:
            texts["state"] = "in use"
        key = insert_row(self._connection, table, {**texts, **values})
        self.new_ids.setdefault(table.name, []).append(key)
        return key

    def _seek(self, table: sa.Table, key: Key) -> int | None:
        if table.name not in self._known:
            self._known[table.name] = self._read(table)
        known = self._known[table.name]
        return next((known[form] for form in _forms(key) if form in known), None)

    def _read(self, table: sa.Table) -> dict[Key, int]:
        columns = {
            "shooter": (shooter.c.name,),
            "head": (head.c.name,),
            "rig": (rig.c.shooter_id, rig.c.name),
            "build": (build.c.shooter_id, build.c.name),
            "arrow": (arrow.c.shooter_id, arrow.c.build_id, arrow.c.number),
        }[table.name]
        query = sa.select(table.c.id, *columns).where(table.c.deleted_at.is_(None))
        if table is arrow:
            self._read_retired()
            query = query.where(arrow.c.state.not_in(RETIRED))
        rows = self._connection.execute(query.order_by(table.c.id.desc())).all()
        known: dict[Key, int] = {}
        for form in (0, 1):  # letter by letter goes before whatever the case
            for key_id, *key in rows:
                known.setdefault(_forms(tuple(key))[form], key_id)
        return known

    def _seek_arrow(self, key: Key, held_on: date | None) -> int | None:
        now = self._seek(arrow, key)
        for form in _forms(key):
            retired = self._retired.get(form, ())
            if held_on is not None:
                then = [one for one in retired if one[0] is not None and held_on <= one[0]]
                if then:
                    return min((day, one) for day, _, one in then)[1]
            if now is not None and form in self._known["arrow"]:
                return now
            perhaps = [one for day, state, one in retired if state == "rebuilt" or day is None]
            if perhaps:
                return max(perhaps)
        return now

    def _read_retired(self) -> None:
        columns = ("shooter_id", "build_id", "number", "state_since", "state", "id")
        query = sa.select(*[arrow.c[name] for name in columns])
        query = query.where(arrow.c.deleted_at.is_(None), arrow.c.state.in_(RETIRED))
        for *key, day, state, key_id in self._connection.execute(query):
            for form in _forms(tuple(key)):
                self._retired.setdefault(form, []).append((day, state, key_id))


class ForeseenNames(Names):
    """What saving would find and make, by the same rules, with nothing made.

    Attributes
    ----------
    made : dict of list of str
        The names that saving would make entries of, by the kind of entry.
    """

    def __init__(self, connection: sa.Connection) -> None:
        super().__init__(connection)
        self.made: dict[str, list[str]] = {}

    def _make(self, table: sa.Table, values: dict[str, Any]) -> int:
        made = self.made.setdefault(table.name, [])
        made.append(str(values["number" if table is arrow else "name"]))
        return -len(made)  # of no row: ids of rows are positive


def _forms(key: Key) -> tuple[Key, Key]:
    """Return a key as it stands, and one that forgives the case of its name."""
    return key, (*key[:-1], folded(key[-1]), "any case")
