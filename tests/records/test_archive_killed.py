"""Programs killed in the middle of imports, restores and undoing: all of it is there, or nothing.

``GROUPSCAN_KILLS=200 pytest tests/records/test_archive_killed.py`` kills more of them.
"""

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import get_args

import pytest

import groupscan
from groupscan.records.exchange.archive import export_archive, import_archive
from groupscan.records.exchange.archive.reading import open_archive
from groupscan.records.exchange.undoing import list_imports, undo_import
from groupscan.records.removal import Entry
from groupscan.records.schema import metadata
from groupscan.records.store import (
    Outing,
    ScanRecord,
    Session,
    ShotRecord,
    Store,
    add_photo,
    open_store,
    photo_bytes,
    save_outings,
    save_session,
)
from groupscan.records.upkeep.check import check_store

KILLS = int(os.environ.get("GROUPSCAN_KILLS", "60"))
"""In all; half of them in imports, half in restores; and half as many in undoing again."""
WORKER = Path(__file__).with_name("archive_worker.py")


class Worker:
    """A program that starts others and tells how they ended."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self._process = process
        assert self._line() == "ready"

    def run(self, what: str, home: Path, file: Path | str, when: str = "0") -> tuple[int, int]:
        """Return the exit code and, of one that came to its end, the steps taken."""
        assert self._process.stdin is not None
        self._process.stdin.write(f"{what} {home} {file} {when}\n")
        self._process.stdin.flush()
        first = self._line()
        if first.startswith("-"):
            return int(first), 0
        return int(self._line()), int(first)

    def _line(self) -> str:
        assert self._process.stdout is not None
        line = self._process.stdout.readline().strip()
        assert line, self._process.stderr and self._process.stderr.read()
        return line


@pytest.fixture(scope="module")
def worker() -> Iterator[Worker]:
    root = str(Path(groupscan.__file__).parents[1])
    path = os.pathsep.join([root, *filter(None, [os.environ.get("PYTHONPATH")])])
    process = subprocess.Popen(
        [sys.executable, WORKER],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": path},
    )
    try:
        yield Worker(process)
    finally:
        process.kill()
        process.communicate()


def season(store: Store, name: str, ends: int) -> None:
    """Save sessions of somebody, each end with a photo."""
    outings = []
    for number in range(ends):
        photo = add_photo(store, f"{name} {number}".encode() * 500, name="end.jpg")
        shots = tuple(
            ShotRecord(number=n, x_mm=n / 3, y_mm=number / 7, head=f"head of {name}", arrow=str(n))
            for n in range(1, 13)
        )
        end = ScanRecord(session_id=0, photo_sha256=photo, image_size_px=(4, 3),
                         mm_to_px=((1, 0, 0), (0, 1, 0), (0, 0, 1)), shots=shots)  # fmt: skip
        day = Session(held_on=date(2026, 1, 1 + number % 28), shooter=name, rig="Heron")
        outings.append(Outing(day, [end]))
    save_outings(store, outings)


@pytest.fixture(scope="module")
def seasons(empty_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the homes and the archives of two people."""
    folder = tmp_path_factory.mktemp("seasons")
    for name, ends in (("Ada", 8), ("Bo", 14)):
        shutil.copytree(empty_home, folder / name)
        with closing(open_store(folder / name)) as store:
            season(store, name, ends)
            export_archive(store, folder / f"{name}.zip")
    return folder


State = dict[str, set[tuple[object, ...]]]


def state(home: Path) -> State:
    """Return every row, after asking SQLite itself whether the file is sound."""
    with closing(sqlite3.connect(home / "groupscan.db")) as plain:
        assert plain.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert plain.execute("PRAGMA foreign_key_check").fetchall() == []
        return {
            table: set(plain.execute(f"SELECT * FROM {table}").fetchall())
            for table in metadata.tables
        }


def check_whole(home: Path) -> None:
    """Open the store, read every photo that a row names, and let it be checked."""
    with closing(open_store(home)) as store:
        for sha256, *_ in state(home)["photo"]:
            assert photo_bytes(store, str(sha256))
        # Photos that were put in place just now may be waiting for their rows.
        assert check_store(store) == []


def rehearse(worker: Worker, what: str, home: Path, seasons: Path) -> tuple[int, float]:
    """Return how many steps the work takes when nobody is killed, and how many seconds."""
    for _ in range(2):  # the first time pays for what is loaded
        fresh(home, seasons)
        begun = time.monotonic()
        code, steps = worker.run(what, home, seasons / "Bo.zip")
        seconds = time.monotonic() - begun
        assert code == 0
    return steps, seconds


def fresh(home: Path, seasons: Path) -> None:
    """Put Ada's records where the work is done."""
    shutil.rmtree(home, ignore_errors=True)
    shutil.copytree(seasons / "Ada", home)


def moments(steps: int, seconds: float, seed: int) -> list[str]:
    """Return when to kill: a third late, where the rows go in, the rest anywhere."""
    choice = random.Random(seed)
    third = KILLS // 6
    return [
        *(str(choice.randint(1, steps)) for _ in range(third)),
        *(str(choice.randint(steps * 2 // 3, steps)) for _ in range(third)),
        *(f"{choice.uniform(0, seconds):.4f}s" for _ in range(KILLS // 2 - 2 * third)),
    ]


def test_a_killed_import_is_done_whole_or_not_at_all(worker, seasons, tmp_path):
    home = tmp_path / "home"
    ends = Counter()
    new = {table: len(rows) for table, rows in state(seasons / "Bo").items()}
    # The journal says that something was imported, and names it, a line a table.
    new["audit"] += 1 + sum(bool(new[table]) for table in get_args(Entry))
    for when in moments(*rehearse(worker, "import", home, seasons), seed=1):
        fresh(home, seasons)
        with closing(open_store(home)) as store:  # something committed shortly before
            save_session(store, Session(held_on=date(2026, 6, 1), place="just now"))
        before = state(home)
        code, _ = worker.run("import", home, seasons / "Bo.zip", when)
        after = state(home)
        for table, rows in before.items():
            assert rows <= after[table], (table, when)
        added = {table: len(after[table] - before[table]) for table in before}
        assert added in (dict.fromkeys(before, 0), new), (when, added)
        assert code != 0 or added == new, when
        check_whole(home)
        ends[code, "whole" if added == new else "not at all"] += 1
    assert ends[-signal.SIGKILL, "not at all"] > KILLS // 4
    assert worker.run("import", home, seasons / "Bo.zip")[0] == 0
    check_whole(home)


def test_a_killed_restore_leaves_the_old_records_or_the_new(worker, seasons, tmp_path):
    home = tmp_path / "home"
    ends = Counter()
    old, new = (state(seasons / name) for name in ("Ada", "Bo"))
    for when in moments(*rehearse(worker, "restore", home, seasons), seed=2):
        fresh(home, seasons)
        code, _ = worker.run("restore", home, seasons / "Bo.zip", when)
        after = state(home)
        assert after in (old, new), when
        assert code != 0 or after == new, when
        check_whole(home)
        for path in (home / "backups").glob("*.zip"):  # whole, wherever it was cut short
            with open_archive(path) as archive:
                assert archive.manifest.rows["shot"] == len(old["shot"])
        ends[code, "whole" if after == new else "not at all"] += 1
    assert ends[-signal.SIGKILL, "not at all"] > KILLS // 4
    assert worker.run("restore", home, seasons / "Bo.zip")[0] == 0
    assert state(home) == new
    check_whole(home)


@pytest.mark.parametrize("what", ["undo", "back"])
def test_a_killed_undoing_hides_all_of_an_import_or_nothing(worker, seasons, tmp_path, what):
    kept = tmp_path / "kept"
    shutil.copytree(seasons / "Ada", kept)
    with closing(open_store(kept)) as store:
        uid = import_archive(store, seasons / "Bo.zip").uid
        if what == "back":
            undo_import(store, uid)
    home = tmp_path / "home"
    shutil.copytree(kept, home)
    full = live(home)
    begun = time.monotonic()
    code, steps = worker.run(what, home, uid)
    seconds = time.monotonic() - begun
    done = live(home)
    assert (code, full != done) == (0, True)
    ends = Counter()
    for when in moments(steps, seconds, seed=3)[:: 2 if what == "undo" else 3]:
        shutil.rmtree(home)
        shutil.copytree(kept, home)
        code, _ = worker.run(what, home, uid, when)
        after = live(home)
        assert after in (full, done), when
        assert code != 0 or after == done, when
        with closing(open_store(home)) as store:  # what is hidden is told as undone, and only that
            undone = [one.undone_at is not None for one in list_imports(store)]
        assert undone == [(after == done) == (what == "undo")], when
        check_whole(home)
        ends[code, "whole" if after == done else "not at all"] += 1
    assert ends[-signal.SIGKILL, "not at all"] > 0


def live(home: Path) -> dict[str, set[tuple[object, ...]]]:
    """Return the rows of each table that are not hidden."""
    state(home)
    with closing(sqlite3.connect(home / "groupscan.db")) as plain:
        return {
            table: set(plain.execute(f"SELECT uid FROM {table} WHERE deleted_at IS NULL"))
            for table in get_args(Entry)
        }
