"""Connections and transactions, and what to tell the user when one fails.

Writers begin with ``BEGIN IMMEDIATE``: a transaction that reads and then writes would otherwise
fail at once with "database is locked" whenever another writer came between, however long the
busy timeout. Readers go through an engine of their own, which waits for nobody.
"""

import sqlite3
import time
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import sqlalchemy as sa
from sqlalchemy import event

from groupscan.errors import StoreError

__all__ = ["Store", "describe", "explain", "make_engine", "reading", "transaction", "writing"]

BUSY_TIMEOUT_S = 30.0
Role = Literal["write", "read", "upgrade"]


@dataclass(frozen=True)
class Store:
    """Handle on the records: what every function of `groupscan.records.store` takes first.

    Attributes
    ----------
    engine : sqlalchemy.Engine
        Connections that write, one transaction at a time.
    reader : sqlalchemy.Engine
        Connections that only read, and never wait for a writer.
    photo_dir : Path
        Folder of the photos.
    home : Path
        Folder of the records.
    """

    engine: sa.Engine
    reader: sa.Engine
    photo_dir: Path
    home: Path

    def close(self) -> None:
        """Close every connection. The handle may be used again; it then connects anew."""
        self.reader.dispose()
        self.engine.dispose()


def make_engine(url: sa.URL, role: Role) -> sa.Engine:
    """Return an engine for `url` that writes, only reads, or changes the tables."""
    if role == "upgrade":
        engine = sa.create_engine(url, poolclass=sa.NullPool)
    else:
        engine = sa.create_engine(url)
    if engine.dialect.name == "sqlite":
        _prepare_sqlite(engine, role)
    return engine


def _prepare_sqlite(engine: sa.Engine, role: Role) -> None:
    # Tables are changed with foreign keys off, as SQLite's own instructions ask: replacing a
    # table would otherwise delete the rows that refer to it. The upgrade checks them at its end.
    foreign_keys = "OFF" if role == "upgrade" else "ON"
    begin = "BEGIN" if role == "read" else "BEGIN IMMEDIATE"

    @event.listens_for(engine, "connect")
    def _set_up(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # we say BEGIN ourselves
        try:
            connection.execute(f"PRAGMA busy_timeout={BUSY_TIMEOUT_S * 1000:.0f}")
            if role == "upgrade":
                _switch_to_wal(connection)
            connection.execute(f"PRAGMA foreign_keys={foreign_keys}")
            connection.execute("PRAGMA synchronous=FULL")  # what was saved survives a power cut
            connection.execute(f"PRAGMA query_only={'ON' if role == 'read' else 'OFF'}")
        except sqlite3.Error:
            connection.close()  # the pool has not taken it over yet
            raise

    @event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        connection.exec_driver_sql(begin)


def _switch_to_wal(connection: sqlite3.Connection) -> None:
    # The file remembers WAL, so this acts once in its life; but two programs that create the
    # file together meet here, and SQLite refuses the second at once instead of waiting.
    give_up = time.monotonic() + BUSY_TIMEOUT_S
    while True:
        try:
            connection.execute("PRAGMA journal_mode=WAL")
            return
        except sqlite3.OperationalError as err:
            if not _code(err).startswith("SQLITE_BUSY") or time.monotonic() > give_up:
                raise
            time.sleep(0.02)


@contextmanager
def transaction(engine: sa.Engine) -> Iterator[sa.Connection]:
    """Run one transaction; whatever fails in it undoes all of it and is told as a StoreError."""
    try:
        with engine.begin() as connection:
            yield connection
    except (sa.exc.SQLAlchemyError, sqlite3.Error, OverflowError) as err:
        raise explain(err, engine.url) from err


def writing(store: Store) -> AbstractContextManager[sa.Connection]:
    """Return the context of one transaction that writes."""
    return transaction(store.engine)


def reading(store: Store) -> AbstractContextManager[sa.Connection]:
    """Return the context of one consistent look at the records."""
    return transaction(store.reader)


_ADVICE = {
    "SQLITE_FULL": (
        "the disk is full. Nothing of this step was stored and everything stored before is "
        "intact: free some space and do it again"
    ),
    "SQLITE_READONLY": (
        "it may not be written to. Give your user the right to write to the file and its folder, "
        "or set GROUPSCAN_HOME to a folder of your own"
    ),
    "SQLITE_CANTOPEN": (
        "the file cannot be opened or created. Check that its folder exists and that your user "
        "may write there, or set GROUPSCAN_HOME to a folder of your own"
    ),
    "SQLITE_CORRUPT": (
        "the database is damaged. Nothing was changed: put a backup copy in its place, or move "
        "the file aside to start with empty records"
    ),
    "SQLITE_NOTADB": (
        "the file is not a database, or its beginning is damaged. Nothing was changed: put a "
        "backup copy in its place, or move the file aside to start with empty records"
    ),
    "SQLITE_BUSY": (
        f"another program has kept it locked for more than {BUSY_TIMEOUT_S:.0f} s. Nothing of "
        "this step was stored: close the other program and do it again"
    ),
    "SQLITE_IOERR": (
        "the disk failed to read or write. Nothing of this step was stored: check the disk and "
        "its free space, then do it again"
    ),
    "SQLITE_CONSTRAINT": (
        "the values break a rule of the records. Nothing of this step was stored: load the entry "
        "again, correct it and save it"
    ),
}


def explain(err: BaseException, url: sa.URL) -> StoreError:
    """Turn an error of the database into one that says what to do next.

    Parameters
    ----------
    err : BaseException
        What SQLAlchemy or the database driver raised.
    url : sqlalchemy.URL
        The database; told without its password.
    """
    driver_error = getattr(err, "orig", None) or err
    code = _code(driver_error)
    cause = " ".join(str(driver_error).split())
    for prefix, advice in _ADVICE.items():
        if code.startswith(prefix):
            return StoreError(f"records in {describe(url)}: {advice} ({cause})")
    return StoreError(
        f"records in {describe(url)}: {cause}. Nothing of this step was stored; check that the "
        "database can be reached and do it again"
    )


def describe(url: sa.URL) -> str:
    """Return the file of an SQLite database, or the address without its password."""
    if url.get_backend_name() == "sqlite" and url.database:
        return url.database
    return url.render_as_string(hide_password=True)


def _code(err: BaseException) -> str:
    return str(getattr(err, "sqlite_errorname", ""))
