"""How SQLite is opened: WAL, foreign keys, a patient lock, and readers that only read."""

import shutil
import sqlite3
from contextlib import closing

import pytest

from groupscan.records import trouble
from groupscan.records.connect import make_engine, reading, writing
from groupscan.records.store import open_store


def pragma(connection, name: str):
    return connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()


def test_a_writer_works_in_wal_with_foreign_keys_and_waits_for_others(store):
    with writing(store) as connection:
        assert pragma(connection, "journal_mode") == "wal"
        assert pragma(connection, "foreign_keys") == 1
        assert pragma(connection, "busy_timeout") == 1000 * trouble.BUSY_TIMEOUT_S >= 5000
        assert pragma(connection, "synchronous") == 2  # FULL
        assert pragma(connection, "query_only") == 0


def test_a_reader_only_reads(store):
    with reading(store) as connection:
        assert pragma(connection, "query_only") == 1
        assert pragma(connection, "busy_timeout") == 1000 * trouble.BUSY_TIMEOUT_S


def test_an_upgrade_may_replace_tables_that_others_refer_to(store):
    with make_engine(store.engine.url, "upgrade").begin() as connection:
        assert pragma(connection, "foreign_keys") == 0


def test_a_second_writer_begins_when_the_first_has_ended(store):
    with closing(sqlite3.connect(store.home / "groupscan.db", timeout=0)) as other:
        with writing(store), pytest.raises(sqlite3.OperationalError, match="locked"):
            other.execute("BEGIN IMMEDIATE")
        other.execute("BEGIN IMMEDIATE")
        other.execute("ROLLBACK")


def test_opening_does_not_wait_for_a_writer(store):
    with writing(store), closing(open_store(store.home)) as second, reading(second) as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM session").scalar_one() == 0


def test_a_copy_without_wal_gets_it_on_opening(empty_home, tmp_path):
    home = tmp_path / "copied"
    shutil.copytree(empty_home, home)
    with closing(sqlite3.connect(home / "groupscan.db")) as plain:
        assert plain.execute("PRAGMA journal_mode = DELETE").fetchone() == ("delete",)
    open_store(home).close()
    with closing(sqlite3.connect(home / "groupscan.db")) as plain:
        assert plain.execute("PRAGMA journal_mode").fetchone() == ("wal",)
