"""Bring a database to the tables of this program, or say why that cannot be.

The migrations are part of the package and need no ini file. An upgrade is one transaction: it
happens whole or not at all, and a second program that opens the same records waits for it.
"""

import threading
from typing import TYPE_CHECKING

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.connect import describe, make_engine, transaction
from groupscan.records.schema import REVISION

if TYPE_CHECKING:
    from alembic.config import Config

__all__ = ["alembic_config", "prepare"]

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
    engine = make_engine(url, "upgrade")
    with transaction(engine) as connection:
        if engine.dialect.name == "sqlite":
            _check_sound(connection)
        revision = _revision(connection)
        if revision == REVISION:
            return
        with _ALEMBIC_LOCK:
            _upgrade(connection, revision)
        if engine.dialect.name == "sqlite":
            _check_references(connection)


def alembic_config(connection: sa.Connection) -> "Config":
    """Return alembic's settings for working on `connection`, inside its transaction."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "groupscan.records:migrations")
    config.set_main_option("file_template", "v%%(rev)s_%%(slug)s")
    config.attributes["connection"] = connection
    return config


def _upgrade(connection: sa.Connection, revision: str | None) -> None:
    from alembic import command
    from alembic.script import ScriptDirectory

    config = alembic_config(connection)
    known = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
    name = describe(connection.engine.url)
    if revision is not None and revision not in known:
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


def _check_references(connection: sa.Connection) -> None:
    if broken := connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall():
        raise StoreError(
            f"records in {describe(connection.engine.url)} could not be brought up to date: "
            f"{len(broken)} rows refer to entries that are not there (first: {broken[0]}). Nothing "
            "was changed: put a backup copy in its place"
        )
