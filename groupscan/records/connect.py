"""Connections and transactions, on SQLite and on PostgreSQL.

One writer works at a time. On SQLite it begins with ``BEGIN IMMEDIATE``: a transaction that reads
and then writes would otherwise fail at once with "database is locked" whenever another writer came
between, however long the busy timeout. On PostgreSQL it takes a lock of ours first, which ends with
the transaction: what it has read is then still so when it writes. Readers go through an engine of
their own, see one state of the records throughout, and wait for nobody.
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

from groupscan.records.trouble import BUSY_TIMEOUT_S, explain

__all__ = ["Store", "make_engine", "reading", "transaction", "writing"]

CONNECT_TIMEOUT_S = 10
"""How long to wait for a server to answer, seconds: long for any network, short for a person."""
STANDSTILL_S = 300
"""After this many seconds without a word from a writer the server gives it up: a laptop that went
to sleep in the middle of saving must not keep a whole club from its records."""
WRITER_LOCK = int.from_bytes(b"grpscan")
"""Number of the advisory lock of whoever writes; any that other programs are unlikely to use."""
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
    postgresql = url.get_backend_name() == "postgresql"
    options: dict[str, Any] = {"poolclass": sa.NullPool} if role == "upgrade" else {}
    if postgresql:
        # Writers look again at each statement, so that what others stored while they waited for
        # the lock is seen; readers look once.
        options["isolation_level"] = "REPEATABLE READ" if role == "read" else "READ COMMITTED"
        # A connection that a restart of the server or a lost network cut is replaced unseen.
        options["pool_pre_ping"] = role != "upgrade"
        if "connect_timeout" not in url.query:
            options["connect_args"] = {"connect_timeout": CONNECT_TIMEOUT_S}
    engine = sa.create_engine(url, **options)
    if postgresql:
        _prepare_postgresql(engine, role)
    elif engine.dialect.name == "sqlite":
        _prepare_sqlite(engine, role)
    return engine


def _prepare_postgresql(engine: sa.Engine, role: Role) -> None:
    if role == "read":

        @event.listens_for(engine, "connect")
        def _only_read(connection: Any, _record: Any) -> None:
            connection.read_only = True

        return

    @event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        # Set for this transaction alone, as poolers between here and the server ask for.
        connection.exec_driver_sql(
            f"SELECT set_config('lock_timeout', '{BUSY_TIMEOUT_S * 1000:.0f}', true), "
            f"set_config('idle_in_transaction_session_timeout', '{STANDSTILL_S * 1000}', true)"
        )
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITER_LOCK})")


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
            if not err.sqlite_errorname.startswith("SQLITE_BUSY") or time.monotonic() > give_up:
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
