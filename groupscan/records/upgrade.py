"""Bring a database to the tables of this program, or say why that cannot be.

The migrations are part of the package and need no ini file. An upgrade is one transaction: it
happens whole or not at all, and a second program that opens the same records waits for it.
"""

import threading
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.address import describe
from groupscan.records.connect import make_engine, transaction
from groupscan.records.schema import REVISION

if TYPE_CHECKING:
    from alembic.config import Config

__all__ = ["alembic_config", "bare_config", "known_revisions", "prepare", "step_to"]

_VERSIONS = "alembic_version"
_ALEMBIC_LOCK = threading.Lock()  # alembic keeps its current run in module globals


def prepare(url: sa.URL) -> None:
    """Create the tables, or bring older ones up to date.

    Parameters
    ----------
    url : sqlalchemy.URL
        The database; an SQLite file is created where there is none.

    Raises
    ------
    StoreError
        The database is damaged, cannot be written to, belongs to a newer version of this
        program or to another program. It is then left as it was.
    """
    if _is_ready(url):
        return
    with transaction(make_engine(url, "upgrade")) as connection:
        sqlite = connection.dialect.name == "sqlite"
        if sqlite:
            _check_sound(connection)
        revision = _revision(connection)  # another program may have been here while we waited
        if revision == REVISION:
            return
        with _ALEMBIC_LOCK:
            _upgrade(connection, revision)
        if sqlite:
            _check_references(connection)


def _is_ready(url: sa.URL) -> bool:
    """Look, without waiting for whoever writes, whether there is nothing to be done."""
    sqlite = url.get_backend_name() == "sqlite"
    if sqlite and not Path(url.database or "").is_file():
        return False  # looking would make an empty file
    engine = make_engine(url, "read")
    try:
        with transaction(engine) as connection:
            if sqlite:
                # About 40 ms for 100,000 shots, and the sooner damage is known the better.
                _check_sound(connection)
                # A copy made by SQLite's own tools comes without WAL.
                if connection.exec_driver_sql("PRAGMA journal_mode").scalar_one() != "wal":
                    return False
            return _revision(connection) == REVISION
    finally:
        engine.dispose()


def alembic_config(connection: sa.Connection) -> "Config":
    """Return alembic's settings for working on `connection`, inside its transaction."""
    config = bare_config()
    config.set_main_option("file_template", "v%%(rev)s_%%(slug)s")
    config.attributes["connection"] = connection
    return config


def bare_config() -> "Config":
    """Return alembic's settings for looking at the migrations."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "groupscan.records:migrations")
    return config


def known_revisions() -> set[str]:
    """Return every state of the tables that this program can bring up to date."""
    from alembic.script import ScriptDirectory

    scripts = ScriptDirectory.from_config(bare_config())
    return {script.revision for script in scripts.walk_revisions()}


def step_to(connection: sa.Connection, revision: str) -> None:
    """Bring the tables to one of the `known_revisions`, in the caller's transaction."""
    from alembic import command

    with _ALEMBIC_LOCK:
        command.upgrade(alembic_config(connection), revision)


def _upgrade(connection: sa.Connection, revision: str | None) -> None:
    from alembic import command

    config = alembic_config(connection)
    name = describe(connection.engine.url)
    if revision is not None and revision not in known_revisions():
        raise StoreError(
            f"records in {name} were written by a newer version of groupscan (their tables are at "
            f"{revision}, this version knows up to {REVISION}). Nothing was changed: install the "
            "newer version, or set GROUPSCAN_HOME to another folder"
        )
    tables = [name for name in sa.inspect(connection).get_table_names() if name != _VERSIONS]
    if revision is None and tables:
        raise StoreError(
            f"{name} already holds tables that are not groupscan's ({', '.join(tables[:3])}). "
            "Nothing was changed: set GROUPSCAN_HOME or GROUPSCAN_DATABASE_URL to another place"
        )
    if connection.dialect.name == "postgresql":
        _check_encoding(connection)
    command.upgrade(config, "head")


def _revision(connection: sa.Connection) -> str | None:
    if not sa.inspect(connection).has_table(_VERSIONS):
        return None
    return connection.scalar(
        sa.select(sa.column("version_num", sa.String)).select_from(sa.table(_VERSIONS))
    )


def _check_sound(connection: sa.Connection) -> None:
    finding = " ".join(connection.exec_driver_sql("PRAGMA quick_check(1)").scalar_one().split())
    if finding != "ok":
        raise StoreError(
            f"records in {describe(connection.engine.url)}: the database is damaged ({finding}). "
            "Nothing was changed: put a backup copy in its place, or move the file aside to start "
            "with empty records"
        )


def _check_encoding(connection: sa.Connection) -> None:
    encoding = connection.exec_driver_sql("SHOW server_encoding").scalar_one()
    if encoding != "UTF8":
        raise StoreError(
            f"the database {describe(connection.engine.url)} holds text as {encoding}, which lacks "
            "many letters. Nothing was changed: use one made with createdb --encoding=UTF8"
        )


def _check_references(connection: sa.Connection) -> None:
    if broken := connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall():
        raise StoreError(
            f"records in {describe(connection.engine.url)} could not be brought up to date: "
            f"{len(broken)} rows refer to entries that are not there (first: {broken[0]}). Nothing "
            "was changed: put a backup copy in its place"
        )
