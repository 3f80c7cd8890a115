"""The benchmark of the records, on small ones: what it fills, what it asks, what it compares."""

from __future__ import annotations

import math
import sqlite3
from contextlib import closing

import pytest

from benchmarks import records
from groupscan.records.schema import metadata
from groupscan.records.store import list_corrections, list_sessions, open_store, shots_frame

SHOTS = 400


@pytest.fixture(scope="module")
def small():
    with records.filled(SHOTS) as made:
        yield made


def test_it_fills_ten_years_of_rigs_and_shooters(small):
    store, _, line = small
    sessions = list_sessions(store)
    assert len(sessions) == SHOTS / 25
    assert set(sessions["shots"]) == {25}
    assert sessions["shooter"].nunique() == records.SHOOTERS
    assert sessions["rig"].nunique() == records.RIGS
    assert sessions["setup_id"].notna().all()
    years = (sessions["held_on"].max() - sessions["held_on"].min()).days / 365
    assert years == pytest.approx(records.YEARS, rel=0.1)
    assert shots_frame(store)["arrow"].nunique() == records.END_SHOTS
    assert line.took_ms > line.raw_ms > 0


def test_the_raw_rows_are_the_rows_that_were_saved(small, tmp_path):
    store, _, _ = small
    open_store(tmp_path / "raw").close()
    target = tmp_path / "raw" / "groupscan.db"
    assert records.raw_insert(store.home / "groupscan.db", target) > 0
    with (
        closing(sqlite3.connect(store.home / "groupscan.db")) as old,
        closing(sqlite3.connect(target)) as new,
    ):
        for table in metadata.sorted_tables:
            query = f"SELECT * FROM {table.name}"
            assert new.execute(query).fetchall() == old.execute(query).fetchall()


def test_every_task_runs_and_is_compared_with_queries_of_as_many_rows(small):
    store, _, _ = small
    asked = {task.what: task for task in records.tasks(store)}
    for task in asked.values():
        line = records.measure(store, task, repeats=1)
        assert line.took_ms > 0
        assert line.raw_ms > 0
        assert task.what in str(line)
    assert len(list_corrections(store)) > 0  # the one that saves did correct a shot
    frame = asked["a shooter's year of shots"].run()
    assert 0 < len(frame) < SHOTS
    with closing(sqlite3.connect(store.home / "groupscan.db")) as plain:
        statements = records.told(store, asked["every shot"].run)
        ends = SHOTS // records.END_SHOTS
        assert records.replayed(plain, statements) == SHOTS + ends


def test_a_line_says_what_is_over_its_bar():
    assert str(records.Line("x", 101.0, 10.0, 100.0)).endswith("over its bar")
    assert str(records.Line("x", 99.0, 10.0, 100.0)).split()[1:] == ["99.0", "10.00", "9.9", "100"]
    assert str(records.Line("x", 5.0, 10.0, math.inf)).split()[1:] == ["5.0", "10.00", "0.5"]


def test_everything_goes_out_and_in(small):
    store, folder, _ = small
    lines = list(records.bulk(store, folder))
    assert all(line.took_ms > 0 for line in lines)
    for name in ("archive", "csv"):
        with closing(open_store(folder / name)) as target:
            assert len(shots_frame(target)) == SHOTS
            assert len(list_sessions(target)) == len(list_sessions(store))
