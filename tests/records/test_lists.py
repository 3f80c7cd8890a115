"""What lists say: the same columns and types empty and full, in order, the deleted ones apart."""

import sqlite3
from dataclasses import replace
from datetime import date, timedelta

import pandas as pd
import pytest
import sqlalchemy as sa

from groupscan.records.store import (
    Arrow,
    Build,
    Head,
    Outing,
    Rig,
    ScanRecord,
    Session,
    Setup,
    Shooter,
    ShotRecord,
    add_photo,
    add_setup,
    delete_entry,
    get_head,
    list_arrows,
    list_builds,
    list_corrections,
    list_heads,
    list_identities,
    list_rigs,
    list_scans,
    list_sessions,
    list_setups,
    list_shooters,
    load_scan,
    rebuild_arrow,
    save_arrow,
    save_build,
    save_head,
    save_outings,
    save_rig,
    save_scan,
    save_session,
    save_shooter,
    shots_frame,
)

BACKENDS = ("sqlite", "postgresql")
DAY = date(2026, 5, 3)
ALL = (
    list_arrows, list_builds, list_corrections, list_heads, list_rigs, list_scans, list_sessions,
    list_setups, list_shooters, shots_frame,
)  # fmt: skip


def end(*places: float, arrow: str = "", **changes) -> ScanRecord:
    shots = tuple(
        ShotRecord(number=k, x_mm=x, y_mm=0.0, arrow=arrow) for k, x in enumerate(places, start=1)
    )
    return replace(ScanRecord(session_id=0, shots=shots), **changes)


@pytest.mark.parametrize("known", [True, False])
def test_lists_have_the_same_columns_and_types_empty_and_full(store, known):
    empty = [listed(store) for listed in ALL]
    shooter = save_shooter(store, Shooter(name="Ada"))
    build = save_build(store, Build(name="Long", shooter_id=shooter if known else None))
    rig = save_rig(store, Rig(name="Heron", shooter_id=shooter if known else None))
    add_setup(store, Setup(rig_id=rig, since=DAY, build_id=build if known else None))
    head = save_head(store, Head(name="H", blades=2 if known else None))
    save_head(store, replace(get_head(store, head), notes="x"))
    save_arrow(store, Arrow(number="1", build_id=build if known else None))
    said = {"shooter": "Ada", "rig": "Heron", "distance_m": 18.0} if known else {}
    save_outings(store, [Outing(Session(held_on=DAY, **said), [end(1.0, arrow="1" * known)])])
    full = [listed(store) for listed in ALL]
    for listed, before, after in zip(ALL, empty, full, strict=True):
        assert len(before) == 0, listed
        assert len(after) == 1, listed
        pd.testing.assert_series_equal(before.dtypes, after.dtypes)


@pytest.mark.parametrize(
    ("save", "listed", "entry"),
    [
        (save_shooter, list_shooters, Shooter(name="")),
        (save_rig, list_rigs, Rig(name="")),
        (save_build, list_builds, Build(name="")),
        (save_head, list_heads, Head(name="")),
    ],
)
def test_gear_is_listed_by_name_and_the_deleted_apart(store, save, listed, entry):
    keys = {name: save(store, replace(entry, name=name)) for name in ("C", "A", "B", "D")}
    delete_entry(store, type(entry).__name__.lower(), keys["B"])
    delete_entry(store, type(entry).__name__.lower(), keys["D"])
    assert listed(store)["name"].tolist() == ["A", "C"]
    assert listed(store, deleted=True)["id"].tolist() == [keys["B"], keys["D"]]
    assert set(list_identities(store, type(entry).__name__.lower()).values()) == set(keys.values())


def test_arrows_of_one_shaft_tell_it(store):
    builds = [save_build(store, Build(name=name)) for name in ("Long", "Short")]
    first = save_arrow(store, Arrow(number="1", build_id=builds[0]))
    other = save_arrow(store, Arrow(number="2", build_id=builds[0]))
    second = rebuild_arrow(store, first, builds[1], on=DAY)
    third = rebuild_arrow(store, second, builds[0], on=DAY)
    assert list_arrows(store)[["id", "shaft_id"]].to_numpy().tolist() == [
        [first, first], [other, other], [second, first], [third, first],
    ]  # fmt: skip
    assert list_arrows(store, builds[1])["id"].tolist() == [second]


def test_the_shots_of_a_shaft_and_only_those(store):
    builds = [save_build(store, Build(name=name)) for name in ("Long", "Short")]
    first = save_arrow(store, Arrow(number="1", build_id=builds[0]))
    save_outings(store, [Outing(Session(held_on=DAY, build_id=builds[0]), [end(1.0, arrow="1")])])
    rebuild_arrow(store, first, builds[1], on=DAY)
    late = Session(held_on=DAY + timedelta(days=7), build_id=builds[1])
    save_outings(store, [Outing(late, [end(2.0, arrow="1"), end(3.0, arrow="2"), end(4.0)])])
    frame = shots_frame(store, shaft_id=first)
    assert frame[["x_mm", "build"]].to_numpy().tolist() == [[1.0, "Long"], [2.0, "Short"]]
    assert shots_frame(store)["shaft_id"].isna().tolist() == [False, False, False, True]
    assert shots_frame(store, shaft_id=99).empty


def test_the_last_of_a_list(store):
    days = [DAY + timedelta(days=k) for k in (3, 1, 2)]
    keys = save_outings(
        store, [Outing(Session(held_on=day), [end(1.0), end(1.0, 2.0)]) for day in days]
    )
    assert list_sessions(store, last=2)["id"].tolist() == [keys[0], keys[2]]
    assert list_sessions(store, last=9)["id"].tolist() == [keys[0], keys[2], keys[1]]
    scans = list_scans(store)
    assert scans["id"].is_monotonic_increasing
    assert len(scans) == 6
    pd.testing.assert_frame_equal(list_scans(store, last=2), scans.iloc[-2:].reset_index(drop=True))
    assert list_scans(store, keys[1], last=1)["shots"].tolist() == [2]


def test_the_scans_of_a_photo(store):
    photos = [add_photo(store, data, name="a.jpg") for data in (b"one", b"two")]
    whole = {"image_size_px": (4, 3), "mm_to_px": ((1, 0, 0), (0, 1, 0), (0, 0, 1))}
    ends = [end(1.0, photo_sha256=photo, **whole) for photo in (photos[0], photos[1], photos[0])]
    save_outings(store, [Outing(Session(held_on=DAY), [*ends, end(1.0)])])
    assert list_scans(store, photo_sha256=photos[0])["id"].tolist() == [1, 3]
    assert list_scans(store)["photo_sha256"].tolist() == [photos[0], photos[1], photos[0], ""]
    assert list_scans(store, photo_sha256="0" * 64).empty


def test_counts_leave_out_what_is_removed_or_deleted(store):
    [key] = save_outings(store, [Outing(Session(held_on=DAY), [end(1.0, 2.0, 3.0), end(4.0)])])
    record = load_scan(store, 1)
    save_scan(store, replace(record, shots=record.shots[1:]))
    empty = save_session(store, Session(held_on=DAY - timedelta(days=1)))
    assert list_scans(store)["shots"].tolist() == [2, 1]
    assert list_sessions(store)[["id", "ends", "shots"]].to_numpy().tolist() == [
        [key, 2, 3],
        [empty, 0, 0],
    ]
    delete_entry(store, "scan", 1)
    assert list_sessions(store)[["ends", "shots"]].to_numpy().tolist() == [[1, 1], [0, 0]]
    assert list_scans(store, deleted=True)["shots"].tolist() == [2]


def test_more_ids_than_a_statement_takes_values(store):
    # SQLite takes 32,766 and PostgreSQL 65,535.
    save_outings(store, [Outing(Session(held_on=DAY), [end(1.0), end(2.0)])])
    assert shots_frame(store, scan_ids=range(2, 70_000))["x_mm"].tolist() == [2.0]
    assert len(shots_frame(store, session_ids=range(1, 70_000))) == 2


def plans(store, plain: sqlite3.Connection, run) -> list[list[str]]:
    """Return how SQLite finds what each query of `run` asks for."""
    said = []
    sa.event.listen(
        store.reader, "before_cursor_execute", lambda *told: said.append((told[2], told[3]))
    )
    run()
    asked = [(sql, values) for sql, values in said if sql.startswith("SELECT")]
    return [
        [row[-1] for row in plain.execute(f"EXPLAIN QUERY PLAN {sql}", values)]
        for sql, values in asked
    ]


@pytest.mark.parametrize("listed", [list_sessions, list_scans])
def test_counting_reads_an_index_and_not_the_shots(store, plain, listed):
    [steps] = plans(store, plain, lambda: listed(store))
    assert any("shot USING INDEX uq_shot_live_number" in step for step in steps), steps
    assert not any(step.startswith("SCAN shot") for step in steps), steps


@pytest.mark.parametrize("chosen", [{"session_ids": [1]}, {"scan_ids": [1]}, {"shaft_id": 1}])
def test_few_shots_are_found_without_reading_all(store, plain, chosen):
    ends, shots = plans(store, plain, lambda: shots_frame(store, **chosen))
    assert any("shot USING INDEX" in step for step in shots), shots
    for steps in (ends, shots):
        assert not any(step.startswith(("SCAN shot", "SCAN scan")) for step in steps), steps
