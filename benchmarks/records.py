"""Time the records at ten years' size as ratios to raw sqlite3: ``python -m benchmarks.records``.

Records of 100,000 shots in 4,000 sessions are made in a temporary folder, through the same
functions that the program uses. Then each line is what a screen or a command asks of them:

- ms: the median of several calls, with what Python makes of the answer;
- raw ms: the same statements by ``sqlite3`` alone on the same file, fetched to tuples; for what
  writes, a plain transaction that changes as many rows;
- times raw: the ratio, which is what to compare between machines;
- bar ms: what must not be exceeded; a screen's query has 100 ms.

Then everything goes out and into empty records, each once. ``--shots`` makes smaller records, for
trying. Close other programs, since a busy machine adds to both; ``--cpu`` counts what the processor
spent instead of what the clock showed, which leaves out waiting for the disk.
"""

import argparse
import itertools
import math
import os
import platform
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import sqlalchemy as sa

from groupscan.records.aimed import aimed_shots
from groupscan.records.exchange.archive import export_archive, import_archive
from groupscan.records.exchange.shots_in import commit, plan_import
from groupscan.records.exchange.shots_out import write_shots
from groupscan.records.schema import metadata
from groupscan.records.store import (
    Build,
    Head,
    Outing,
    Rig,
    ScanRecord,
    Session,
    Setup,
    Shooter,
    ShotRecord,
    Store,
    add_photo,
    add_setup,
    get_session,
    list_arrows,
    list_corrections,
    list_scans,
    list_sessions,
    list_setups,
    load_scan,
    open_store,
    save_build,
    save_head,
    save_outings,
    save_rig,
    save_scan,
    save_shooter,
    shots_frame,
)
from groupscan.records.upkeep.backup import backup

__all__ = ["Line", "Task", "bulk", "fill", "filled", "main", "measure", "replayed", "tasks", "told"]

SHOTS = 100_000
END_SHOTS, SESSION_ENDS = 5, 5
YEARS = 10
FIRST_DAY = date(2016, 1, 2)
SHOOTERS, RIGS = 8, 4
SCREEN_MS, OPEN_MS, BULK_MS = 100.0, 1_000.0, 15_000.0
Statement = tuple[str, Any]
Clock = Callable[[], float]


def fill(store: Store, shots: int = SHOTS) -> None:
    """Fill empty records with `shots` shots over ten years of 4 rigs and 8 shooters."""
    rng = np.random.default_rng(5)
    rigs = _gear(store)
    photo = add_photo(store, b"stands for a photo", name="end.jpg")
    count = max(1, shots // (END_SHOTS * SESSION_ENDS))
    save_outings(store, [_outing(rng, k, count, rigs, photo) for k in range(count)])


def _gear(store: Store) -> list[str]:
    for k in range(SHOOTERS):
        save_shooter(store, Shooter(name=f"Shooter {k + 1}"))
    for name, kind in (("field", "field point"), ("wide", "fixed-blade"), ("bare", "bare shaft")):
        save_head(store, Head(name=name, kind=kind))
    builds = [save_build(store, Build(name=f"Build {k + 1}", mass_g=24.0 + k)) for k in range(6)]
    rigs = [f"Rig {k + 1}" for k in range(RIGS)]
    for name in rigs:
        rig_id = save_rig(store, Rig(name=name))
        for quarter in range(4 * YEARS):  # a new setup each quarter of a year
            add_setup(
                store,
                Setup(
                    rig_id=rig_id,
                    since=FIRST_DAY + timedelta(days=91 * quarter),
                    build_id=builds[quarter % len(builds)],
                ),
            )
    return rigs


def _outing(
    rng: np.random.Generator, turn: int, count: int, rigs: Sequence[str], photo: str
) -> Outing:
    session = Session(
        held_on=FIRST_DAY + timedelta(days=int(turn * 365 * YEARS / count)),
        place=f"Range {turn % 3 + 1}",
        shooter=f"Shooter {turn % SHOOTERS + 1}",
        rig=rigs[turn % RIGS],
        distance_m=18.0 if turn % 2 else 30.0,
        purpose="practice",
    )
    head = ("field", "field", "wide", "bare")[turn // SHOOTERS % 4]
    xy = rng.normal(0.0, 25.0, (SESSION_ENDS, END_SHOTS, 2))
    return Outing(session, [_end(k, xy[k], head, photo) for k in range(SESSION_ENDS)])


def _end(place: int, xy_mm: np.ndarray, head: str, photo: str) -> ScanRecord:
    shots = tuple(
        ShotRecord(
            number=k + 1,
            x_mm=x,
            y_mm=y,
            auto_x_mm=x,
            auto_y_mm=y,
            auto_se_mm=0.2,
            auto_shared_se_mm=0.1,
            se_mm=0.2,
            x_px=2000.0 + 10 * x,
            y_px=1500.0 - 10 * y,
            diameter_mm=5.9,
            confidence=0.97,
            order=END_SHOTS * place + k + 1,
            head=head,
            arrow=str(k + 1),
        )
        for k, (x, y) in enumerate(xy_mm)
    )
    return ScanRecord(
        session_id=0,
        label=str(place + 1),
        photo_sha256=photo,
        photo_name=f"end {place + 1}.jpg",
        image_size_px=(4000, 3000),
        sheet="ring-40",
        scale_source="rings",
        mm_per_px=0.1,
        mm_to_px=((10.0, 0.0, 2000.0), (0.0, -10.0, 1500.0), (0.0, 0.0, 1.0)),
        aims_mm=((0.0, 0.0),),
        shots=shots,
    )


@dataclass(frozen=True)
class Task:
    """Something to time: `run`, against its `bar_ms`, and `raw` for what is no plain query."""

    what: str
    bar_ms: float
    run: Callable[[], object]
    raw: Callable[[], object] | None = None


@dataclass(frozen=True)
class Line:
    """What was measured, in ms."""

    what: str
    took_ms: float
    raw_ms: float
    bar_ms: float

    def __str__(self) -> str:
        mark = "  over its bar" if self.took_ms > self.bar_ms else ""
        bar = f"{self.bar_ms:.0f}" if math.isfinite(self.bar_ms) else ""
        return (
            f"{self.what:44s}{self.took_ms:9.1f}{self.raw_ms:9.2f}"
            f"{self.took_ms / self.raw_ms:11.1f}{bar:>9s}{mark}"
        )


def tasks(store: Store) -> list[Task]:
    """Return what is timed on filled records."""
    sessions = list_sessions(store)
    middle = int(sessions["id"].iloc[len(sessions) // 2])
    scan_id = int(list_scans(store, middle)["id"].iloc[0])
    rig_id, shooter_id = (int(sessions[name].iloc[0]) for name in ("rig_id", "shooter_id"))
    last = sessions["held_on"].iloc[0].date()
    year = last - timedelta(days=365)
    shaft_id = int(list_arrows(store)["shaft_id"].iloc[0])
    turns = itertools.count()

    def correct() -> None:
        record = load_scan(store, scan_id)
        moved = replace(record.shots[0], x_mm=float(next(turns)))
        save_scan(store, replace(record, shots=(moved, *record.shots[1:])))

    def reopen() -> None:
        with closing(open_store(store.home)) as again:
            get_session(again, middle)

    screens = {
        "list of sessions": lambda: list_sessions(store),
        "one session": lambda: get_session(store, middle),
        "one session's ends": lambda: list_scans(store, middle),
        "one end with its shots": lambda: load_scan(store, scan_id),
        "one session's shots": lambda: shots_frame(store, session_ids=[middle]),
        "a rig's year of shots": lambda: shots_frame(store, rig_id=rig_id, since=year),
        "a shooter's year of shots": lambda: shots_frame(store, shooter_id=shooter_id, since=year),
        "a shooter's ten years of shots": lambda: shots_frame(store, shooter_id=shooter_id),
        "everybody's year of shots": lambda: shots_frame(store, since=year),
        "an arrow's ten years": lambda: shots_frame(store, shaft_id=shaft_id),
        "one session's shots about their aims": lambda: aimed_shots(store, session_ids=[middle]),
        "the newest session and end": lambda: (
            list_sessions(store, last=1),
            list_scans(store, last=1),
        ),
        "setups of a rig": lambda: list_setups(store, rig_id),
        "the last 100 corrections": lambda: list_corrections(store, last=100),
    }
    return [
        Task("opening, and one session", OPEN_MS, reopen, lambda: _raw_open(store, middle)),
        Task("one shot corrected and saved", SCREEN_MS, correct, lambda: _raw_correct(store)),
        *(Task(what, SCREEN_MS, run) for what, run in screens.items()),
        Task("every end", math.inf, lambda: list_scans(store)),
        Task("every shot", math.inf, lambda: shots_frame(store)),
    ]


def measure(store: Store, task: Task, *, repeats: int, clock: Clock = time.perf_counter) -> Line:
    """Time a task and its raw counterpart in turn, so that a busy moment hits both."""
    raw = task.raw
    if raw is None:
        statements = list(told(store, task.run))
        plain = sqlite3.connect(store.home / "groupscan.db")
        raw = lambda: replayed(plain, statements)  # noqa: E731
    else:
        task.run()
    raw()
    took: list[float] = []
    base: list[float] = []
    for _ in range(repeats):
        took.append(_ms(task.run, clock))
        base.append(_ms(raw, clock))
    return Line(task.what, statistics.median(took), statistics.median(base), task.bar_ms)


def replayed(connection: sqlite3.Connection, statements: Sequence[Statement]) -> int:
    """Run queries by sqlite3 alone and return how many rows they gave."""
    return sum(len(connection.execute(sql, values).fetchall()) for sql, values in statements)


def told(store: Store, run: Callable[[], object]) -> list[Statement]:
    """Run a task once and return the queries that it made."""
    said: list[Statement] = []

    def note(_conn: Any, _cursor: Any, sql: str, values: Any, *_rest: Any) -> None:
        if sql.lstrip().startswith(("SELECT", "WITH")):
            said.append((sql, values))

    sa.event.listen(store.reader, "before_cursor_execute", note)
    try:
        run()
    finally:
        sa.event.remove(store.reader, "before_cursor_execute", note)
    return said


def _ms(run: Callable[[], object], clock: Clock) -> float:
    start = clock()
    run()
    return 1e3 * (clock() - start)


def _raw_open(store: Store, session_id: int) -> None:
    with closing(sqlite3.connect(store.home / "groupscan.db")) as plain:
        plain.execute("SELECT * FROM session WHERE id = ?", (session_id,)).fetchall()


def _raw_correct(store: Store) -> None:
    with closing(sqlite3.connect(store.home / "groupscan.db", isolation_level=None)) as plain:
        plain.execute("PRAGMA synchronous=FULL")
        plain.execute("BEGIN IMMEDIATE")
        plain.execute("UPDATE scan SET updated_at = updated_at WHERE id = 1")
        plain.execute("UPDATE shot SET x_mm = x_mm WHERE id = 1")
        plain.execute("COMMIT")


def bulk(store: Store, folder: Path, clock: Clock = time.perf_counter) -> Iterator[Line]:
    """Carry everything out of filled records and into empty ones, once each."""
    selecting = raw_select(store.home / "groupscan.db", clock)
    archive, table = folder / "records.zip", folder / "shots.csv"
    took = _ms(lambda: export_archive(store, archive), clock)
    yield Line("export of everything", took, selecting, BULK_MS)
    with _empty(folder / "in") as target:
        inserting = raw_insert(store.home / "groupscan.db", target.home / "groupscan.db", clock)
    with _empty(folder / "archive") as target:
        took = _ms(lambda: import_archive(target, archive), clock)
        yield Line("import of everything", took, inserting, BULK_MS)
        took = _ms(lambda: import_archive(target, archive), clock)
        yield Line("the same once more: all known", took, inserting, BULK_MS)
    took = _ms(lambda: backup(store, folder / "backup.zip"), clock)
    yield Line("backup", took, selecting, BULK_MS)
    took = _ms(lambda: write_shots(store, table), clock)
    yield Line("shots to a CSV file", took, selecting, BULK_MS)
    _typed(store).to_csv(table, index=False)
    with _empty(folder / "csv") as target:
        took = _ms(lambda: commit(target, plan_import(target, table)), clock)
        yield Line("shots from a CSV file", took, inserting, BULK_MS)


def _typed(store: Store) -> pd.DataFrame:
    names = ["session_id", "held_on", "shooter", "rig", "distance_m", "label", "number"]
    shots = shots_frame(store)[[*names, "x_mm", "y_mm", "head", "arrow"]]
    renamed = {"session_id": "session", "held_on": "date", "label": "end"}
    return shots.rename(columns=renamed)


@contextmanager
def _empty(home: Path) -> Iterator[Store]:
    with closing(open_store(home)) as store:
        yield store


def raw_select(source: Path, clock: Clock = time.perf_counter) -> float:
    """Return the ms that reading every row by sqlite3 alone takes."""
    queries = [(f"SELECT * FROM {table.name}", ()) for table in metadata.sorted_tables]
    with closing(sqlite3.connect(source)) as old:
        return _ms(lambda: replayed(old, queries), clock)


def raw_insert(source: Path, target: Path, clock: Clock = time.perf_counter) -> float:
    """Insert the rows of filled records into empty ones by sqlite3 alone; return the ms."""
    with closing(sqlite3.connect(source)) as old, closing(sqlite3.connect(target)) as new:
        tables = [table.name for table in metadata.sorted_tables]
        rows = {name: old.execute(f"SELECT * FROM {name}").fetchall() for name in tables}
        new.execute("PRAGMA synchronous=FULL")

        def insert() -> None:
            for name, found in rows.items():
                if found:
                    marks = ", ".join("?" * len(found[0]))
                    new.executemany(f"INSERT INTO {name} VALUES ({marks})", found)
            new.commit()

        return _ms(insert, clock)


@contextmanager
def filled(shots: int, clock: Clock = time.perf_counter) -> Iterator[tuple[Store, Path, Line]]:
    """Give filled records, the temporary folder that they are in, and how long filling took."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        home, other = folder / "home", folder / "other"
        open_store(other).close()
        with closing(open_store(home)) as store:
            took = _ms(lambda: fill(store, shots), clock)
            raw = raw_insert(home / "groupscan.db", other / "groupscan.db", clock)
            yield store, folder, Line(f"saving {shots:,} shots at once", took, raw, BULK_MS)


def main(argv: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.records", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("--shots", type=int, default=SHOTS, help=f"how many shots ({SHOTS})")
    parser.add_argument("--repeats", type=int, default=7, help="calls of each line (7)")
    parser.add_argument("--no-bulk", action="store_true", help="leave exports and imports out")
    parser.add_argument("--cpu", action="store_true", help="count the processor's time")
    options = parser.parse_args(argv)
    clock = time.process_time if options.cpu else time.perf_counter
    print(
        f"python {platform.python_version()}, sqlite {sqlite3.sqlite_version}, "
        f"sqlalchemy {sa.__version__}, pandas {pd.__version__}, {os.cpu_count()} cores"
    )
    print(f"\n{'':44s}{'ms':>9s}{'raw ms':>9s}{'times raw':>11s}{'bar ms':>9s}")
    with filled(options.shots, clock) as (store, folder, saving):
        print(saving, flush=True)
        for task in tasks(store):
            print(measure(store, task, repeats=options.repeats, clock=clock), flush=True)
        if not options.no_bulk:
            for line in bulk(store, folder, clock):
                print(line, flush=True)


if __name__ == "__main__":
    main()
