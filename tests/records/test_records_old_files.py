"""Records that earlier programs wrote open with everything kept, on either database.

How the stored files came about is told in ``data/make_old_records.py``.
"""

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.script import ScriptDirectory

from groupscan.records import schema, upgrade
from groupscan.records.connect import make_engine
from groupscan.records.store import (
    Session,
    list_scans,
    list_sessions,
    load_scan,
    open_store,
    restore_entry,
    save_scan,
    save_session,
    shots_frame,
)

BACKENDS = ("sqlite", "postgresql")
DATA = Path(__file__).with_name("data")
STORED = sorted(DATA.glob("revision_*.db"))
Rows = dict[str, dict[Any, dict[str, Any]]]


def rows(engine: sa.Engine) -> Rows:
    """Return every row of every table by its key, instants in UTC."""
    tables = sa.MetaData()
    tables.reflect(engine)
    found = {}
    with engine.connect() as connection:
        for table in tables.sorted_tables:
            (key,) = table.primary_key.columns or [None]
            if key is not None and table.name != "alembic_version":
                every = connection.execute(sa.select(table)).mappings()
                found[table.name] = {row[key]: {n: utc(v) for n, v in row.items()} for row in every}
    return found


def utc(value: Any) -> Any:
    if not isinstance(value, datetime):
        return value
    return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def rows_of_file(file: Path) -> Rows:
    # A copy is looked at: the stored file stays byte for byte what it was.
    engine = sa.create_engine(f"sqlite:///{file}", poolclass=sa.NullPool)
    return rows(engine)


def put_into(url: sa.URL, revision: str, old: Rows) -> None:
    """Put rows into PostgreSQL as a program at `revision` would have left them."""
    engine = make_engine(url, "upgrade")
    with engine.begin() as connection:
        command.upgrade(upgrade.alembic_config(connection), revision)
        tables = sa.MetaData()
        tables.reflect(connection)
        for table in tables.sorted_tables:
            if table.name in old:
                connection.execute(sa.insert(table), list(old[table.name].values()))
            if "id" in table.c:
                connection.exec_driver_sql(
                    f"SELECT setval(pg_get_serial_sequence('{table.name}', 'id'), max(id)) "
                    f"FROM {table.name}"
                )


@pytest.fixture(params=STORED, ids=lambda path: path.stem)
def old(request, tmp_path) -> Rows:
    shutil.copy(request.param, tmp_path / "copy.db")
    return rows_of_file(tmp_path / "copy.db")


@pytest.fixture(params=BACKENDS)
def open_old(request, tmp_path, old) -> Callable[[], Any]:
    """Return what opens the old records with this program."""
    stored = Path(request.node.callspec.params["old"])
    home = tmp_path / "home"
    home.mkdir()
    if request.param == "sqlite":
        shutil.copy(stored, home / "groupscan.db")
        return lambda: open_store(home)
    url = request.getfixturevalue("bare_database")()
    put_into(url, stored.stem.removeprefix("revision_"), old)
    return lambda: open_store(home, database_url=url.render_as_string(hide_password=False))


def test_each_earlier_revision_has_a_stored_file(tmp_path):
    engine = make_engine(sa.URL.create("sqlite", database=str(tmp_path / "x.db")), "upgrade")
    with engine.begin() as connection:
        scripts = ScriptDirectory.from_config(upgrade.alembic_config(connection))
        known = {script.revision for script in scripts.walk_revisions()}
    stored = {path.stem.removeprefix("revision_") for path in STORED}
    assert stored == known - {schema.REVISION}
    for path in STORED:
        assert path.stat().st_size < 250_000
        with closing(sqlite3.connect(f"file:{path}?mode=ro&immutable=1", uri=True)) as plain:
            (revision,) = plain.execute("SELECT version_num FROM alembic_version").fetchone()
        assert path.stem == f"revision_{revision}"


def test_every_value_of_an_old_store_is_kept(open_old, old):
    with closing(open_old()) as store:
        new = rows(store.reader)
    heads = {key: row["name"] for key, row in new["head"].items()}
    arrows = {key: row["number"] for key, row in new["arrow"].items()}
    shooters = {key: row["name"] for key, row in new["shooter"].items()}
    rigs = {key: row["name"] for key, row in new["rig"].items()}
    for table, known in old.items():
        assert new[table].keys() == known.keys()
        for key, before in known.items():
            after = dict(new[table][key])
            if table == "session":
                after |= {
                    "shooter": shooters.get(after["shooter_id"], ""),
                    "rig": rigs.get(after["rig_id"], ""),
                }
            if table == "shot":
                after |= {
                    "head": heads.get(after["head_id"], ""),
                    "arrow": arrows.get(after["arrow_id"], ""),
                }
            assert {name: after[name] for name in before} == before
    for table in ("session", "scan", "shot"):
        identities = [row["uid"] for row in new[table].values()]
        assert len(set(identities)) == len(identities)
        assert all(len(uid) == 32 for uid in identities)


def test_a_name_becomes_one_entry_and_belongs_to_its_shooter(open_old, old):
    with closing(open_old()) as store:
        new = rows(store.reader)
    if "shooter" in old:  # entries already
        assert new["shooter"] == old["shooter"]
        return
    named = {row["shooter"] for row in old["session"].values()} - {""}
    assert sorted(row["name"] for row in new["shooter"].values()) == sorted(named)
    named = {row["head"] for row in old["shot"].values()} - {""}
    assert sorted(row["name"] for row in new["head"].values()) == sorted(named)
    of_whom = {key: row["shooter_id"] for key, row in new["session"].items()}
    scans = {key: row["session_id"] for key, row in new["scan"].items()}
    for row in new["session"].values():
        if row["rig_id"] is not None:
            assert new["rig"][row["rig_id"]]["shooter_id"] == row["shooter_id"]
    for row in new["shot"].values():
        if row["arrow_id"] is not None:
            owner = new["arrow"][row["arrow_id"]]["shooter_id"]
            assert owner == of_whom[scans[row["scan_id"]]]


def test_an_old_store_is_worked_on_like_a_new_one(open_old, old):
    with closing(open_old()) as store:
        gone = [key for key, row in old["session"].items() if row["deleted_at"] is not None]
        assert set(list_sessions(store)["id"]) == old["session"].keys() - set(gone)
        assert len(shots_frame(store)) > 0
        for key in gone:
            restore_entry(store, "session", key)
        assert set(list_sessions(store)["id"]) == old["session"].keys()
        assert save_session(store, Session(held_on=date(2026, 1, 1))) not in old["session"]
        for key in list_scans(store)["id"]:
            record = load_scan(store, int(key))
            assert save_scan(store, record) == key
            assert load_scan(store, int(key)).shots == record.shots
