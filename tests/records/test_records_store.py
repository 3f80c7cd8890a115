"""What goes into the records comes out again, and nothing is dropped on the way."""

import math
import sqlite3
import struct
from contextlib import closing
from dataclasses import fields, replace
from datetime import UTC, date, datetime, timedelta, timezone
from functools import partial
from typing import get_args

import numpy as np
import pandas as pd
import pytest
import sqlalchemy as sa
from hypothesis import given, settings
from hypothesis import strategies as st

from groupscan.errors import StoreError
from groupscan.records import schema
from groupscan.records.entries import CUTS, STATES
from groupscan.records.removal import Entry
from groupscan.records.store import (
    ScanRecord,
    Session,
    ShotRecord,
    add_photo,
    delete_entry,
    get_session,
    list_scans,
    list_sessions,
    load_scan,
    open_store,
    restore_entry,
    save_scan,
    save_session,
    shots_frame,
)

BACKENDS = ("sqlite", "postgresql")

HOSTILE = [
    "../../etc/passwd",
    "<script>alert(1)</script>",
    "'; DROP TABLE shot; --",
    "Bogenschützin 🏹 射手",
    "C:\\photos\\..\\end.jpg",
    "{}%s%n",
    "a\nb\tc",
    "",
]


@pytest.fixture(scope="module")
def shared(shared_store):
    """Return a store, a session and a photo that the property tests share."""
    session_id = save_session(shared_store, Session(held_on=date(2026, 5, 3)))
    return shared_store, session_id, add_photo(shared_store, b"a photo", name="a.jpg")


def without_ids(record: ScanRecord) -> ScanRecord:
    shots = tuple(replace(shot, id=None) for shot in record.shots)
    return replace(record, id=None, revision=None, shots=shots)


def test_a_scan_comes_back_as_it_went_in(store, make_scan):
    record = make_scan()
    loaded = load_scan(store, save_scan(store, record))
    assert without_ids(loaded) == record
    assert loaded.revision == 1
    assert all(shot.id for shot in loaded.shots)


def test_a_session_comes_back_as_it_went_in(store):
    entry = Session(
        held_on=date(2024, 2, 29),
        place="Barn",
        shooter="A",
        rig="R",
        distance_m=0.1,
        purpose="tuning",
        weather="gusts",
        temperature_c=-3.5,
        pressure_pa=101325.0,
        humidity=0.4,
        wind_m_s=0.0,
        plan={"order": [1, 2], "heads": ["field point", None]},
        notes="n",
    )
    kept = get_session(store, save_session(store, entry))
    assert kept.shooter_id is not None
    assert kept.rig_id is not None
    assert replace(kept, id=None, revision=None, shooter_id=None, rig_id=None) == entry


def bits(number: float | None) -> bytes | None:
    # SQLite keeps no sign on a zero, so a zero counts as one here.
    return None if number is None else struct.pack("<d", number + 0.0)


finite = st.floats(allow_nan=False, allow_infinity=False)
maybe = st.none() | finite
text = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=40)
# Names that differ by more than their case and the blanks around them, which saving forgives.
names = st.sampled_from(["", "field point", "Σ 3", "=2+2", "射手", "a\nb"])


@st.composite
def one_shot(draw: st.DrawFn, number: int) -> ShotRecord:
    auto = draw(st.none() | st.tuples(finite, finite)) or (None, None)
    return ShotRecord(
        number=number,
        auto_x_mm=auto[0],
        auto_y_mm=auto[1],
        auto_se_mm=draw(maybe),
        auto_shared_se_mm=draw(maybe),
        x_mm=draw(finite),
        y_mm=draw(finite),
        x_px=draw(maybe),
        y_px=draw(maybe),
        se_mm=draw(maybe),
        diameter_mm=draw(maybe),
        cut=draw(st.sampled_from(CUTS)),
        confidence=draw(st.none() | st.floats(0, 1)),
        state=draw(st.sampled_from(STATES)),
        order=draw(st.none() | st.integers(1, 2**31 - 1)),
        head=draw(names),
        arrow=draw(names),
        flyer=draw(st.booleans()),
        flyer_why=draw(text),
        removed=draw(st.booleans()),
    )


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_every_float_and_text_survives_to_the_bit(shared, data):
    store, session_id, photo = shared
    record = ScanRecord(
        session_id=session_id,
        photo_sha256=photo,
        photo_name=data.draw(text),
        image_size_px=(4, 3),
        label=data.draw(text),
        sheet=data.draw(st.none() | text),
        scale_source=data.draw(text),
        mm_per_px=data.draw(maybe),
        mm_to_px=tuple(tuple(data.draw(finite) for _ in range(3)) for _ in range(3)),
        lens=data.draw(st.none() | st.dictionaries(text, finite, max_size=2)),
        bend=data.draw(st.none() | st.dictionaries(text, st.lists(finite), max_size=2)),
        aim_mm=data.draw(st.tuples(finite, finite)),
        warnings=tuple(data.draw(st.lists(text, max_size=2))),
        shots=tuple(data.draw(one_shot(number)) for number in (1, 2)),
    )
    loaded = load_scan(store, save_scan(store, record))
    assert without_ids(loaded) == record
    for before, after in zip(record.shots, loaded.shots, strict=True):
        for field in fields(ShotRecord):
            value = getattr(before, field.name)
            if isinstance(value, float):
                assert bits(value) == bits(getattr(after, field.name)), field.name
    assert [bits(x) for row in record.mm_to_px for x in row] == [
        bits(x) for row in loaded.mm_to_px for x in row
    ]


@pytest.mark.parametrize("name", HOSTILE)
def test_names_are_data_and_nothing_else(store, make_scan, make_shot, name):
    session_id = save_session(
        store, Session(held_on=date(2026, 1, 1), place=name, shooter=name, rig=name, notes=name)
    )
    record = make_scan(
        session_id=session_id, photo_name=name, shots=(make_shot(1, head=name, arrow=name),)
    )
    assert without_ids(load_scan(store, save_scan(store, record))) == record
    frame = shots_frame(store, session_ids=[session_id])
    assert frame.loc[0, ["place", "shooter", "rig", "photo_name", "head", "arrow"]].tolist() == (
        [name] * 6
    )


def test_text_that_no_database_holds_is_made_storable(store, make_scan):
    # A file name that is not UTF-8 reaches Python with halves of character pairs in it.
    saved = save_scan(store, make_scan(photo_name="end\udcff\0.jpg"))
    assert load_scan(store, saved).photo_name == "end?\N{REPLACEMENT CHARACTER}.jpg"


def test_numpy_numbers_are_stored_as_numbers(store, make_scan, make_shot):
    record = make_scan(
        image_size_px=(np.int64(40), np.int32(30)),
        mm_to_px=np.eye(3),
        aim_mm=np.array([1.5, 2.5]),
        mm_per_px=np.float32(0.5),
        shots=(make_shot(np.int64(1), x_mm=np.float64(0.1), se_mm=np.float32(0.25)),),
    )
    loaded = load_scan(store, save_scan(store, record))
    assert loaded.mm_to_px == ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    assert loaded.shots[0].x_mm == 0.1
    assert loaded.shots[0].se_mm == 0.25
    assert shots_frame(store).dtypes["x_mm"] == np.float64


def test_nan_means_not_known(store, make_scan, make_shot):
    record = make_scan(tilt_deg=math.nan, shots=(make_shot(1, se_mm=math.nan),))
    loaded = load_scan(store, save_scan(store, record))
    assert loaded.tilt_deg is None
    assert loaded.shots[0].se_mm is None
    assert math.isnan(shots_frame(store).loc[0, "se_mm"])


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"x_mm": math.nan}, "x_mm of shot 1"),
        ({"y_mm": math.inf}, "y_mm of shot 1"),
        ({"x_mm": "left"}, "x_mm of shot 1"),
        ({"auto_x_mm": None}, "half an automatic position"),
        ({"confidence": 1.5}, "confidence of shot 1"),
        ({"cut": "square"}, "two-blade"),
        ({"state": "lost"}, "patched"),
        ({"number": 0}, "number of a shot"),
        ({"number": 1.5}, "number of a shot"),
        ({"number": 2}, "stands twice"),
        ({"id": 4711}, "id 4711"),
    ],
)
def test_a_shot_that_makes_no_sense_is_refused_whole(store, make_scan, make_shot, changes, words):
    saved = save_scan(store, make_scan())
    before = load_scan(store, saved)
    bad = replace(before, shots=(replace(make_shot(1), **changes), make_shot(2)))
    with pytest.raises(StoreError, match=words):
        save_scan(store, bad)
    with pytest.raises(StoreError, match=words):
        save_scan(store, replace(bad, id=None))
    assert load_scan(store, saved) == before
    assert len(list_scans(store)) == 1


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"mm_to_px": ((1, 2, 3), (4, 5, 6))}, "2 rows"),
        ({"mm_to_px": ((1, 2), (4, 5), (6, 7))}, "2 numbers in a row"),
        ({"mm_to_px": ((1, 2, 3), (4, 5, 6), (7, 8, math.nan))}, "finite"),
        ({"aim_mm": (math.inf, 0.0)}, "aim of the scan"),
        ({"image_size_px": (0, 10)}, "width of the scan's photo"),
        ({"mm_per_px": math.inf}, "mm_per_px of the scan"),
        ({"session_id": 99}, "no session 99"),
        ({"session_id": 2**70}, "session_id"),
        ({"photo_sha256": "0" * 64}, "add_photo first"),
        ({"id": 99}, "no scan 99"),
    ],
)
def test_a_scan_that_makes_no_sense_is_refused_whole(store, make_scan, changes, words):
    with pytest.raises(StoreError, match=words):
        save_scan(store, make_scan(**changes))
    assert list_scans(store).empty


@pytest.mark.parametrize("distance", [0.0, -3.0, math.inf])
def test_a_distance_that_makes_no_sense_is_refused(store, distance):
    with pytest.raises(StoreError, match="distance of the session"):
        save_session(store, Session(held_on=date(2026, 1, 1), distance_m=distance))
    assert list_sessions(store).empty


def test_a_session_day_has_no_time(store):
    with pytest.raises(StoreError, match="without a time"):
        save_session(store, Session(held_on=datetime(2026, 1, 1, tzinfo=UTC)))


def test_a_correction_keeps_the_automatic_position(store, make_scan):
    saved = save_scan(store, make_scan())
    first = load_scan(store, saved)
    moved = [
        replace(shot, x_mm=1.5, y_mm=2.5, se_mm=0.7, auto_x_mm=9.0, auto_y_mm=9.0, auto_se_mm=9.0)
        for shot in first.shots
    ]
    save_scan(store, replace(first, shots=tuple(moved)))
    second = load_scan(store, saved)
    assert [(s.x_mm, s.y_mm, s.se_mm) for s in second.shots] == [(1.5, 2.5, 0.7)] * 3
    assert [(s.auto_x_mm, s.auto_y_mm, s.auto_se_mm) for s in second.shots] == [
        (s.auto_x_mm, s.auto_y_mm, s.auto_se_mm) for s in first.shots
    ]


def test_a_shot_left_out_is_marked_and_not_erased(store, make_scan):
    saved = save_scan(store, make_scan())
    first = load_scan(store, saved)
    save_scan(store, replace(first, shots=first.shots[1:]))
    second = load_scan(store, saved)
    assert [shot.removed for shot in second.shots] == [True, False, False]
    assert replace(second.shots[0], removed=False) == first.shots[0]
    assert shots_frame(store)["number"].tolist() == [2, 3]
    assert shots_frame(store, removed=True)["removed"].tolist() == [True, False, False]


def test_a_removed_shot_can_be_put_back(store, make_scan):
    saved = save_scan(store, make_scan())
    first = load_scan(store, saved)
    save_scan(store, replace(first, shots=()))
    gone = load_scan(store, saved)
    assert all(shot.removed for shot in gone.shots)
    back = tuple(replace(shot, removed=False) for shot in gone.shots)
    save_scan(store, replace(gone, shots=back))
    assert load_scan(store, saved).shots == first.shots


def test_shots_without_ids_are_known_by_what_the_scan_found(store, make_scan, make_shot):
    by_hand = {"auto_x_mm": None, "auto_y_mm": None}
    saved = save_scan(store, make_scan(shots=(make_shot(1), make_shot(2), make_shot(3, **by_hand))))
    first = load_scan(store, saved)
    one, two, hand = first.shots
    again = (
        replace(one, id=None, number=2, x_mm=7.0),
        replace(two, id=None, number=1),
        replace(hand, id=None, y_mm=8.0),
        make_shot(4, **by_hand),
    )
    save_scan(store, replace(first, shots=again))
    second = {shot.id: shot for shot in load_scan(store, saved).shots}
    assert second[one.id] == replace(one, number=2, x_mm=7.0)
    assert second[two.id] == replace(two, number=1)
    assert second[hand.id] == replace(hand, y_mm=8.0)
    assert len(second) == 4


def test_a_removed_shot_does_not_block_its_number(store, make_scan, make_shot):
    saved = save_scan(store, make_scan())
    one, two, three = load_scan(store, saved).shots
    shots = (replace(one, removed=True), replace(two, number=1), replace(three, number=2))
    save_scan(store, replace(load_scan(store, saved), shots=shots))
    assert shots_frame(store)["number"].tolist() == [1, 2]


@settings(max_examples=40, deadline=None)
@given(
    rounds=st.lists(
        st.tuples(
            st.permutations(range(4)), st.sets(st.integers(0, 3)), st.sets(st.integers(0, 3))
        ),
        min_size=1,
        max_size=4,
    )
)
def test_no_order_of_edits_loses_a_shot_or_its_origin(shared, rounds):
    store, session_id, photo = shared
    shots = tuple(
        ShotRecord(number=k + 1, x_mm=k, y_mm=k, auto_x_mm=float(k), auto_y_mm=float(k))
        for k in range(4)
    )
    saved = save_scan(
        store,
        ScanRecord(
            session_id=session_id,
            photo_sha256=photo,
            image_size_px=(4, 3),
            mm_to_px=((1, 0, 0), (0, 1, 0), (0, 0, 1)),
            shots=shots,
        ),
    )
    origin = {shot.id: (shot.auto_x_mm, shot.auto_y_mm) for shot in load_scan(store, saved).shots}
    for order, dropped, anonymous in rounds:
        current = load_scan(store, saved)
        by_id = sorted(current.shots, key=lambda shot: shot.id)
        edited = tuple(
            replace(
                by_id[k],
                number=order[k] + 1,
                x_mm=by_id[k].x_mm + 1,
                id=None if k in anonymous else by_id[k].id,
                removed=False,
            )
            for k in range(4)
            if k not in dropped
        )
        save_scan(store, replace(current, shots=edited))
        after = load_scan(store, saved).shots
        assert {shot.id: (shot.auto_x_mm, shot.auto_y_mm) for shot in after} == origin
        assert {shot.auto_x_mm for shot in after if shot.removed} == {float(k) for k in dropped}
        assert {(shot.number, shot.x_mm, shot.auto_x_mm) for shot in after if not shot.removed} == {
            (shot.number, shot.x_mm, shot.auto_x_mm) for shot in edited
        }


def test_a_stale_copy_cannot_undo_a_later_save(store, make_scan):
    saved = save_scan(store, make_scan())
    mine, yours = load_scan(store, saved), load_scan(store, saved)
    save_scan(store, replace(yours, warnings=("yours",)))
    with pytest.raises(StoreError, match=r"changed since this copy was loaded.*load it again"):
        save_scan(store, replace(mine, warnings=("mine",)))
    with pytest.raises(StoreError, match="load it again"):
        save_scan(store, replace(mine, revision=None))
    assert load_scan(store, saved).warnings == ("yours",)
    save_scan(store, replace(load_scan(store, saved), warnings=("mine",)))
    assert load_scan(store, saved).revision == 3


def test_a_stale_session_cannot_undo_a_later_save(store):
    saved = save_session(store, Session(held_on=date(2026, 1, 1)))
    mine = get_session(store, saved)
    save_session(store, replace(mine, notes="yours"))
    with pytest.raises(StoreError, match="load it again"):
        save_session(store, replace(mine, notes="mine"))
    assert get_session(store, saved).notes == "yours"


def test_a_deleted_scan_is_hidden_until_restored(store, make_scan):
    saved = save_scan(store, make_scan())
    before = load_scan(store, saved)
    delete_entry(store, "scan", saved)
    assert list_scans(store).empty
    assert list_scans(store, deleted=True)["id"].tolist() == [saved]
    assert shots_frame(store).empty
    assert shots_frame(store, scan_ids=[saved]).empty
    assert list_sessions(store)[["ends", "shots"]].to_numpy().tolist() == [[0, 0]]
    with pytest.raises(StoreError, match=r"scan 1 was deleted on \d{4}-\d\d-\d\d: restore it"):
        load_scan(store, saved)
    with pytest.raises(StoreError, match="restore it"):
        save_scan(store, before)
    restore_entry(store, "scan", saved)
    assert load_scan(store, saved) == before


def test_a_deleted_session_takes_its_scans_along_and_brings_back_those_it_had(store, make_scan):
    kept, dropped = save_scan(store, make_scan()), save_scan(store, make_scan())
    session_id = make_scan().session_id
    delete_entry(store, "scan", dropped)
    delete_entry(store, "session", session_id)
    assert list_sessions(store).empty
    assert list_sessions(store, deleted=True)["id"].tolist() == [session_id]
    assert list_scans(store).empty
    assert shots_frame(store, session_ids=[session_id]).empty
    for act in (
        lambda: get_session(store, session_id),
        lambda: load_scan(store, kept),
        lambda: save_scan(store, make_scan()),
    ):
        with pytest.raises(StoreError, match="session 1 was deleted"):
            act()
    restore_entry(store, "session", session_id)
    assert list_scans(store)["id"].tolist() == [kept]


def test_deleting_twice_keeps_the_first_day(store):
    saved = save_session(store, Session(held_on=date(2026, 1, 1)))
    moments = []
    for _ in range(2):
        delete_entry(store, "session", saved)
        with store.reader.connect() as connection:
            moments.append(connection.scalar(sa.select(schema.session.c.deleted_at)))
    assert moments[0] == moments[1] is not None


def _delete(store, key, *, entry):
    delete_entry(store, entry, key)


def _restore(store, key, *, entry):
    restore_entry(store, entry, key)


@pytest.mark.parametrize("key", [99, 0, -1, 2**70])
@pytest.mark.parametrize(
    "act",
    [
        get_session,
        load_scan,
        *(partial(act, entry=entry) for act in (_delete, _restore) for entry in get_args(Entry)),
    ],
)
def test_what_is_not_there_is_said_so(store, act, key):
    with pytest.raises(StoreError, match=r"there is no|give a whole number"):
        act(store, key)


SHOT_TYPES = {
    "session_id": "int64",
    "held_on": "datetime64[s]",
    "place": "string",
    "distance_m": "float64",
    "scan_id": "int64",
    "sheet": "string",
    "shot_id": "int64",
    "number": "int64",
    "auto_x_mm": "float64",
    "x_mm": "float64",
    "confidence": "float64",
    "cut": "string",
    "removed": "bool",
}


def test_frames_have_the_same_types_empty_and_full(store, make_scan, make_shot):
    empty = [list_sessions(store, deleted=True), list_scans(store), shots_frame(store)]
    by_hand = make_shot(1, auto_x_mm=None, auto_y_mm=None, confidence=None, se_mm=None)
    save_scan(store, make_scan(sheet=None, shots=(by_hand,)))
    full = [list_sessions(store), list_scans(store), shots_frame(store)]
    for before, after in zip(empty, full, strict=True):
        assert len(before) == 0
        assert len(after) == 1
        pd.testing.assert_series_equal(before.dtypes, after.dtypes)
    for name, dtype in SHOT_TYPES.items():
        assert empty[2].dtypes[name] == dtype, name
    assert str(empty[1].dtypes["updated_at"]) == "datetime64[us, UTC]"
    assert full[2].loc[0, "sheet"] == ""
    assert math.isnan(full[2].loc[0, "auto_x_mm"])


def test_the_frame_chooses_and_orders(store, make_scan):
    early = save_session(store, Session(held_on=date(2025, 1, 1)))
    first = save_scan(store, make_scan(count=2))
    second = save_scan(store, make_scan(count=1, session_id=early))
    frame = shots_frame(store)
    assert frame["scan_id"].tolist() == [second, first, first]
    assert frame["held_on"].iloc[0] == pd.Timestamp(2025, 1, 1)
    assert shots_frame(store, session_ids=[early])["scan_id"].tolist() == [second]
    assert shots_frame(store, scan_ids=[first])["number"].tolist() == [1, 2]
    assert shots_frame(store, scan_ids=[first], session_ids=[early]).empty
    assert shots_frame(store, scan_ids=[]).empty
    assert list_scans(store, early)["id"].tolist() == [second]
    sessions = list_sessions(store)
    assert sessions["ends"].tolist() == [1, 1]
    assert sessions["shots"].tolist() == [2, 1]


def test_instants_are_utc_whatever_zone_they_came_in(store):
    zone = timezone(timedelta(hours=-7))
    noon = datetime(2026, 7, 1, 12, tzinfo=zone)
    with store.engine.begin() as connection:
        connection.execute(
            sa.insert(schema.photo).values(sha256="a" * 64, name="", size_bytes=1, added_at=noon)
        )
        kept = connection.scalar(sa.select(schema.photo.c.added_at))
    assert kept == noon
    assert kept.tzinfo is UTC
    # What another program sees in the database: UTC, seven hours on.
    seen = "added_at" if store.engine.dialect.name == "sqlite" else "added_at AT TIME ZONE 'UTC'"
    with store.reader.begin() as connection:
        kept = connection.exec_driver_sql(f"SELECT {seen} FROM photo").scalar_one()
    assert str(kept).startswith("2026-07-01 19")


def test_an_instant_without_a_zone_is_refused(store):
    with (
        pytest.raises(sa.exc.StatementError, match="no time zone"),
        store.engine.begin() as connection,
    ):
        connection.execute(
            sa.insert(schema.photo).values(
                sha256="a" * 64, name="", size_bytes=1, added_at=datetime(2026, 7, 1)
            )
        )


def test_readers_neither_write_nor_wait(store, make_scan):
    saved = save_scan(store, make_scan())
    with store.engine.begin() as connection:
        connection.execute(sa.update(schema.scan).values(photo_name="half way"))
        assert load_scan(store, saved).photo_name == "end 1.jpg"
    read_only = pytest.raises(sa.exc.DBAPIError, match=r"readonly|read-only")
    with read_only, store.reader.begin() as reader:
        reader.execute(sa.update(schema.scan).values(photo_name="never"))


def test_the_folder_comes_from_the_environment(monkeypatch, tmp_path):
    monkeypatch.setenv("GROUPSCAN_HOME", str(tmp_path / "por el río 🏹%20?#"))
    with closing(open_store()) as store:
        save_session(store, Session(held_on=date(2026, 1, 1)))
    assert (tmp_path / "por el río 🏹%20?#" / "groupscan.db").is_file()


def test_the_database_address_comes_from_the_environment(monkeypatch, tmp_path):
    monkeypatch.setenv("GROUPSCAN_DATABASE_URL", f"sqlite:///{tmp_path}/elsewhere.db")
    with closing(open_store()) as store:
        saved = save_session(store, Session(held_on=date(2026, 1, 1), place="Elsewhere"))
    with closing(sqlite3.connect(tmp_path / "elsewhere.db")) as plain:
        assert plain.execute("SELECT id, place FROM session").fetchall() == [(saved, "Elsewhere")]
    assert not (tmp_path / "home" / "groupscan.db").exists()


def test_a_closed_store_can_be_opened_again(tmp_path):
    with closing(open_store(tmp_path / "x")) as store:
        saved = save_session(store, Session(held_on=date(2026, 1, 1), place="Barn"))
    with closing(open_store(tmp_path / "x")) as store:
        assert get_session(store, saved).place == "Barn"


def test_the_shots_of_one_scan_are_found_without_reading_all(plain):
    plan = plain.execute(
        "EXPLAIN QUERY PLAN SELECT * FROM shot WHERE scan_id = 1 ORDER BY number, id"
    ).fetchall()
    assert any("USING INDEX ix_shot_scan_id" in step[-1] for step in plan), plan
