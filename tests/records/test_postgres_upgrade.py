"""Migrations on PostgreSQL: the same tables as the schema's, up and down, whole or not at all."""

import threading
from contextlib import closing
from datetime import date

import pytest
import sqlalchemy as sa
from alembic import command

from groupscan.errors import StoreError
from groupscan.records import schema, upgrade
from groupscan.records.connect import make_engine, writing
from groupscan.records.store import Session, get_session, open_store, save_session

BACKENDS = ("postgresql",)
OWN_DATABASE = True


def tables(url: sa.URL) -> dict[str, object]:
    """Return what PostgreSQL itself says of columns, constraints and indexes, by name."""
    engine = sa.create_engine(url, poolclass=sa.NullPool)
    with engine.connect() as connection:
        columns = connection.exec_driver_sql(
            "SELECT table_name, column_name, data_type, is_nullable, character_maximum_length "
            "FROM information_schema.columns WHERE table_schema = 'public'"
        ).fetchall()
        constraints = connection.exec_driver_sql(
            "SELECT conrelid::regclass::text, conname, pg_get_constraintdef(oid) "
            "FROM pg_constraint WHERE connamespace = 'public'::regnamespace"
        ).fetchall()
        indexes = connection.exec_driver_sql(
            "SELECT tablename, indexname, indexdef FROM pg_indexes WHERE schemaname = 'public'"
        ).fetchall()
    found = [tuple(row) for row in (*columns, *constraints, *indexes)]
    return {str(row) for row in found if row[0] != "alembic_version"}


def test_alembic_finds_no_difference_between_tables_and_migrations(empty_database):
    with make_engine(empty_database(), "upgrade").begin() as connection:
        command.check(upgrade.alembic_config(connection))


def test_migrated_tables_equal_those_made_from_the_schema(empty_database, bare_database):
    direct = bare_database()
    schema.metadata.create_all(sa.create_engine(direct, poolclass=sa.NullPool))
    assert tables(empty_database()) == tables(direct)


def test_down_to_nothing_and_up_again(empty_database):
    url = empty_database()
    before = tables(url)
    with make_engine(url, "upgrade").begin() as connection:
        command.downgrade(upgrade.alembic_config(connection), "base")
    assert tables(url) == set()
    upgrade.prepare(url)
    assert tables(url) == before


def test_down_keeps_what_the_older_tables_hold_and_numbers_go_on(store, make_scan):
    session = make_scan().session_id
    url = store.engine.url
    store.close()
    with make_engine(url, "upgrade").begin() as connection:
        command.downgrade(upgrade.alembic_config(connection), "0002")
        named = connection.exec_driver_sql("SELECT id, shooter, rig FROM session").fetchall()
    assert named == [(session, "Ada Fenwick", "Heron 62")]
    text = url.render_as_string(hide_password=False)
    with closing(open_store(store.home, database_url=text)) as again:
        assert get_session(again, session).shooter == "Ada Fenwick"
        assert save_session(again, Session(held_on=date(2026, 1, 1))) > session


def test_an_upgrade_that_fails_leaves_everything_as_it_was(store, monkeypatch):
    saved = save_session(store, Session(held_on=date(2026, 1, 1), place="Barn"))
    text = store.engine.url.render_as_string(hide_password=False)

    def half_way(connection, _revision):
        connection.exec_driver_sql("CREATE TABLE half (id INTEGER)")
        connection.exec_driver_sql("DELETE FROM session")
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = 'next'")
        connection.exec_driver_sql("SELECT no_such_column FROM session")

    with monkeypatch.context() as patch:
        patch.setattr(upgrade, "REVISION", "next")
        patch.setattr(upgrade, "_upgrade", half_way)
        with pytest.raises(StoreError, match="no_such_column"):
            open_store(store.home, database_url=text)
    with closing(open_store(store.home, database_url=text)) as again:
        assert get_session(again, saved).place == "Barn"
        assert not sa.inspect(again.reader).has_table("half")


def test_an_upgrade_waits_for_a_writer(store, monkeypatch, until_one_waits):
    monkeypatch.setattr(upgrade, "REVISION", "next")
    upgraded = []
    monkeypatch.setattr(upgrade, "_upgrade", lambda *_: upgraded.append(1))
    waiting = threading.Thread(target=upgrade.prepare, args=(store.engine.url,))
    with writing(store) as connection:
        waiting.start()
        until_one_waits(connection, waiting)
        assert upgraded == []
    waiting.join()
    assert upgraded == [1]
