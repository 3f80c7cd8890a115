"""Two programs at once, and programs that die in the middle."""

import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import sqlalchemy as sa

import groupscan
from groupscan.records.store import (
    Store,
    get_session,
    list_scans,
    load_scan,
    open_store,
    photo_bytes,
    save_scan,
)

BACKENDS = ("sqlite", "postgresql")
WRITER = Path(__file__).with_name("record_writer.py")


@contextmanager
def program(*arguments: object, on: sa.URL | None = None) -> Iterator[subprocess.Popen[str]]:
    root = str(Path(groupscan.__file__).parents[1])
    path = os.pathsep.join([root, *filter(None, [os.environ.get("PYTHONPATH")])])
    environment = {**os.environ, "PYTHONPATH": path}
    if on is not None:
        environment["GROUPSCAN_DATABASE_URL"] = on.render_as_string(hide_password=False)
    process = subprocess.Popen(
        [sys.executable, WRITER, *map(str, arguments)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment,
    )
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


def start(process: subprocess.Popen[str]) -> None:
    process.stdin.write("go\n")
    process.stdin.flush()


def together(first: subprocess.Popen[str], second: subprocess.Popen[str]) -> None:
    for process in (first, second):
        assert process.stdout.readline() == "ready\n", process.stderr.read()
    for process in (first, second):
        start(process)
    for process in (first, second):
        _, errors = process.communicate(timeout=120)
        assert process.returncode == 0, errors


def check_sound(store: Store) -> None:
    """Ask SQLite itself, not our code. PostgreSQL lets no file be looked into."""
    if store.engine.dialect.name == "sqlite":
        check_file(store.home)


def check_file(home: Path) -> None:
    with closing(sqlite3.connect(home / "groupscan.db")) as plain:
        assert plain.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert plain.execute("PRAGMA foreign_key_check").fetchall() == []


def test_two_programs_open_a_new_folder_together(tmp_path):
    new = tmp_path / "new"
    with program("open", new) as first, program("open", new) as second:
        together(first, second)
    check_file(new)
    with closing(sqlite3.connect(new / "groupscan.db")) as plain:
        assert plain.execute("SELECT count(*) FROM alembic_version").fetchone() == (1,)
        ((sha256, name),) = plain.execute("SELECT sha256, name FROM photo").fetchall()
        assert plain.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    with closing(open_store(new)) as store:
        assert (photo_bytes(store, sha256), name) == (b"same", "same.jpg")


def test_two_programs_open_a_new_database_together(tmp_path, bare_database):
    url = bare_database()
    with (
        program("open", tmp_path / "a", on=url) as first,
        program("open", tmp_path / "b", on=url) as second,
    ):
        together(first, second)
    with sa.create_engine(url, poolclass=sa.NullPool).connect() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM alembic_version").scalar() == 1
        assert connection.exec_driver_sql("SELECT count(*) FROM photo").scalar() == 1


def test_two_programs_writing_lose_nothing_and_meet_no_lock(store, make_scan):
    record = make_scan(warnings=())
    saved = save_scan(store, record)
    turns = 8
    arguments = ("turns", store.home, record.session_id, saved, turns)
    with (
        program(*arguments, on=store.engine.url) as first,
        program(*arguments, on=store.engine.url) as second,
    ):
        together(first, second)
        marks = {f"{process.pid}-{turn}" for process in (first, second) for turn in range(turns)}
    session = get_session(store, record.session_id)
    scan = load_scan(store, saved)
    assert sorted(session.notes.split()) == sorted(marks)
    assert sorted(scan.warnings) == sorted(marks)
    assert session.revision == scan.revision == 1 + 2 * turns
    assert sorted(list_scans(store)["photo_name"])[: len(marks)] == sorted(marks)
    check_sound(store)


def test_programs_killed_while_saving_leave_nothing_half(store, make_scan):
    saved = save_scan(store, make_scan(count=40))
    store.close()
    with program("rewrite", store.home, saved, on=store.engine.url) as process:
        for pause_ms in range(1, 60, 6):
            assert process.stdout.readline() == "ready\n", process.stderr.read()
            start(process)
            child = int(process.stdout.readline())
            time.sleep(pause_ms / 1000)
            os.kill(child, signal.SIGKILL)
            check_sound(store)
    assert load_scan(store, saved).revision > 10
    for scan_id in list_scans(store)["id"]:
        record = load_scan(store, int(scan_id))
        assert [shot.number for shot in record.shots] == list(range(1, 41))
        assert {shot.head for shot in record.shots} == set(record.warnings)


def test_death_at_any_statement_of_a_saving_undoes_the_saving(store, make_scan):
    saved = save_scan(store, make_scan())
    before = load_scan(store, saved)
    store.close()
    ends = []
    with program("die", store.home, saved, on=store.engine.url) as process:
        while 0 not in ends:
            assert process.stdout.readline() == "ready\n", process.stderr.read()
            start(process)
            ends.append(int(process.stdout.readline()))
            check_sound(store)
            if ends[-1] != 0:
                assert load_scan(store, saved) == before
    # BEGIN, what is there, the scan, the shots moved away, the shots, the new shots: all of these.
    assert len(ends) > 6
    assert set(ends[:-1]) == {-signal.SIGKILL}
    after = load_scan(store, saved)
    assert after.revision == 2
    assert [shot.number for shot in after.shots] == [1, 2, 3, 101, 102, 103]
    assert {shot.head for shot in after.shots[:3]} == {"dead"}
