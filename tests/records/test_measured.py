"""Chronograph readings and pins: kept with their setup, never changed, carried everywhere."""

import csv
import io
import json
import os
import zipfile
from contextlib import closing
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pytest

from groupscan.errors import StoreError
from groupscan.records.entries import Pin, Rig, Setup, Speed
from groupscan.records.exchange.archive import export_archive, import_archive
from groupscan.records.exchange.undoing import bring_back_import, undo_import
from groupscan.records.lately import lately_deleted
from groupscan.records.preferences import Preferences, read_preferences, save_preferences
from groupscan.records.store import (
    Build,
    add_pins,
    add_setup,
    add_speeds,
    delete_entry,
    list_corrections,
    list_pins,
    list_speeds,
    open_store,
    restore_entry,
    save_build,
    save_rig,
)
from groupscan.records.upkeep.check import check_store

BACKENDS = ("sqlite", "postgresql")
DAY = date(2026, 5, 3)


@pytest.fixture
def rig(store) -> int:
    return save_rig(store, Rig(name="Heron"))


def reading(rig: int, **more) -> Speed:
    return Speed(**{"rig_id": rig, "taken_on": DAY, "mass_g": 26.7, "speed_mps": 85.3, **more})


def test_a_reading_has_the_setup_of_its_day(store, rig):
    first, second = (
        add_setup(store, Setup(rig_id=rig, since=day)) for day in (date(2026, 1, 1), DAY)
    )
    add_speeds(store, [reading(rig, taken_on=date(2026, 5, 2)), reading(rig)])
    add_speeds(store, [reading(rig, setup_id=first, taken_on=date(2026, 6, 1))])
    add_pins(store, [Pin(rig_id=rig, set_on=DAY, distance_m=18.288)])
    assert list_speeds(store, rig)["setup_id"].tolist() == [first, second, first]
    assert list_pins(store, rig)["setup_id"].tolist() == [second]


def test_all_that_is_said_comes_back(store, rig):
    build = save_build(store, Build(name="brass"))
    said = reading(
        rig, distance_m=1.5, build_id=build, source="=club's", notes="cold", uid="a" * 32
    )
    add_speeds(store, [said])
    add_pins(
        store,
        [Pin(rig_id=rig, set_on=DAY, distance_m=36.576, below_mm=19.5, notes="second"),
         Pin(rig_id=rig, set_on=DAY, distance_m=18.288, below_mm=0.0)],
    )  # fmt: skip
    (row,) = list_speeds(store, rig).to_dict("records")
    told = ("mass_g", "speed_mps", "distance_m", "source", "notes")
    assert [row[name] for name in told] == [26.7, 85.3, 1.5, "=club's", "cold"]
    assert (row["rig"], row["build"]) == ("Heron", "brass")
    pins = list_pins(store, rig)
    assert pins[["distance_m", "below_mm"]].to_numpy().tolist() == [[18.288, 0.0], [36.576, 19.5]]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"mass_g": 0.0}, "mass of the arrow"), ({"mass_g": None}, "mass of the arrow"),
        ({"speed_mps": -1.0}, "speed of the arrow"), ({"speed_mps": float("nan")}, "speed"),
        ({"distance_m": -0.1}, "distance to the chronograph"),
        ({"taken_on": datetime(2026, 5, 3)}, "day of the reading"), ({"rig_id": 99}, "no rig 99"),
        ({"build_id": 99}, "no build 99"), ({"setup_id": 99}, "no setup 99"),
        ({"id": 1}, "never changes"), ({"uid": "x"}, "identity"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_and_nothing_is_kept(store, rig, change, said):
    with pytest.raises(StoreError, match=said):
        add_speeds(store, [reading(rig), replace(reading(rig), **change)])
    assert list_speeds(store).empty


@pytest.mark.parametrize(
    ("change", "said"),
    [({"distance_m": 0.0}, "distance of the pin"), ({"below_mm": -1.0}, "below the first"),
     ({"set_on": None}, "pin was set"), ({"id": 1}, "never changes")],
)  # fmt: skip
def test_a_pin_that_cannot_be_is_refused(store, rig, change, said):
    with pytest.raises(StoreError, match=said):
        add_pins(store, [replace(Pin(rig_id=rig, set_on=DAY, distance_m=20.0), **change)])
    assert list_pins(store).empty


def test_the_setup_of_another_rig_is_refused(store, rig):
    other = save_rig(store, Rig(name="Slate"))
    setup = add_setup(store, Setup(rig_id=other, since=DAY))
    with pytest.raises(StoreError, match="another rig"):
        add_speeds(store, [reading(rig, setup_id=setup)])


def test_several_go_and_come_back_at_once_and_the_journal_says_so(store, rig):
    keys = add_speeds(store, [reading(rig, speed_mps=85.0 + i) for i in range(3)])
    delete_entry(store, "speed", *keys)
    assert list_speeds(store).empty
    assert {one.title for one in lately_deleted(store)} == {
        f"reading of {85.0 + i:.1f} m/s, Heron 2026-05-03" for i in range(3)
    }
    restore_entry(store, "speed", *keys)
    assert list_speeds(store)["id"].tolist() == keys
    assert list_corrections(store)["action"].tolist() == 3 * ["restored"] + 3 * ["deleted"]
    with pytest.raises(StoreError, match="no speed 99"):
        delete_entry(store, "speed", keys[0], 99)
    assert list_speeds(store)["id"].tolist() == keys


def test_an_archive_carries_readings_and_pins(store, rig, tmp_path):
    add_speeds(store, [reading(rig, source="club's"), reading(rig, speed_mps=85.1)])
    add_pins(store, [Pin(rig_id=rig, set_on=DAY, distance_m=18.288, below_mm=0.0)])
    delete_entry(store, "speed", list_speeds(store)["id"].iloc[1])
    export_archive(store, tmp_path / "all.zip")
    with zipfile.ZipFile(tmp_path / "all.zip") as archive:
        table = archive.read("tables/speed.csv").decode()
    assert [row["speed_mps"] for row in csv.DictReader(io.StringIO(table))] == ["85.3", "85.1"]
    with closing(open_store(tmp_path / "other")) as other:
        assert import_archive(other, tmp_path / "all.zip").counts["speed"].new == 2
        for listed in (list_speeds, list_pins):
            for deleted in (False, True):
                ours, theirs = (listed(one, deleted=deleted) for one in (store, other))
                assert ours.equals(theirs)
        again = import_archive(other, tmp_path / "all.zip")
        assert (again.counts["speed"].known, again.counts["pin"].known) == (2, 1)
        assert check_store(other) == []


def test_check_finds_a_reading_of_a_rig_that_is_not_there(tmp_path):
    import sqlite3

    with closing(open_store(tmp_path)) as store:
        rig = save_rig(store, Rig(name="Heron"))
        add_speeds(store, [reading(rig)])
        with closing(sqlite3.connect(tmp_path / "groupscan.db")) as plain, plain:
            plain.execute("DELETE FROM rig")
        (finding,) = check_store(store)
    assert finding.kind == "entry missing"
    assert "speed refer to a rig" in finding.what


# ------------------------------------------------------- what the preferences held until 0004


def remember(home: Path, rig: int, *, on: date = DAY, **answers) -> None:
    with closing(open_store(home)) as store:
        kept = Preferences(distance="yd", remembered={f"bench_{rig}": answers, "paper": "a4"})
        save_preferences(store, kept)
    at = datetime(on.year, on.month, on.day, 12).timestamp()
    os.utime(home / "preferences.json", (at, at))


@pytest.fixture
def home(tmp_path) -> Path:
    """Return a folder with a rig that shoots a build of 34.34 g since May."""
    with closing(open_store(tmp_path)) as store:
        rig = save_rig(store, Rig(name="Heron"))
        build = save_build(store, Build(name="brass", mass_g=34.34))
        add_setup(store, Setup(rig_id=rig, since=DAY, build_id=build))
    return tmp_path


def test_readings_and_pins_of_the_preferences_are_taken_over_once(home):
    text = "530 gr: 279, 281 ft/s\n\n410: 300"
    remember(home, 1, readings=text, pins="20, 39.5", circle="6 in")
    for _ in range(2):
        with closing(open_store(home)) as store:
            speeds, pins = list_speeds(store, 1), list_pins(store, 1)
            left = read_preferences(store).remembered
    assert left == {"bench_1": {"circle": "6 in"}, "paper": "a4"}
    assert speeds["mass_g"].round(2).tolist() == [34.34, 34.34, 26.57]
    assert speeds["speed_mps"].round(2).tolist() == [85.04, 85.65, 91.44]
    assert speeds["build"].tolist() == ["brass", "brass", ""]
    assert speeds["distance_m"].isna().all()
    assert speeds["taken_on"].dt.date.tolist() == 3 * [DAY]
    assert speeds["source"].str.startswith("typed on the rig bench").all()
    assert pins["distance_m"].round(3).tolist() == [18.288, 36.119]


def test_what_cannot_be_read_or_placed_stays_where_it_is(home):
    remember(home, 1, readings="no colon here", pins="20 yd")
    with closing(open_store(home)) as store:
        assert read_preferences(store).remembered["bench_1"] == {"readings": "no colon here"}
        assert list_speeds(store).empty
        assert len(list_pins(store)) == 1
    remember(home, 7, readings="530 gr: 279 ft/s")
    with closing(open_store(home)) as store:
        assert read_preferences(store).remembered["bench_7"] == {"readings": "530 gr: 279 ft/s"}


def test_a_take_over_that_was_cut_short_doubles_nothing_and_brings_nothing_back(home):
    answers = {"readings": "530 gr: 279, 279 ft/s", "pins": "20 yd"}
    remember(home, 1, **answers)
    with closing(open_store(home)) as store:
        keys = list_speeds(store)["id"].tolist()
        assert len(keys) == 2
        delete_entry(store, "speed", keys[0])
    remember(home, 1, **answers)  # as if the preferences had not been written
    with closing(open_store(home)) as store:
        assert list_speeds(store)["id"].tolist() == keys[1:]
        assert len(list_pins(store)) == 1
        assert read_preferences(store).remembered["bench_1"] == {}


def test_preferences_that_make_no_sense_keep_nobody_from_the_records(home):
    for told in ("{", json.dumps({"remembered": {"bench_1": {"readings": 5}, "bench_x": {}}})):
        (home / "preferences.json").write_text(told)
        with closing(open_store(home)) as store:
            assert list_speeds(store).empty


@pytest.mark.parametrize("digits", [30, 5000])  # more than a database counts; than int() reads
def test_no_rig_waits_for_another_to_be_taken_over(home, digits):
    with closing(open_store(home)) as store:
        texts = {f"bench_{'9' * digits}": {"pins": "30 yd"}, "bench_1": {"pins": "20 yd"}}
        save_preferences(store, Preferences(remembered=texts))
    with closing(open_store(home)) as store:
        assert len(list_pins(store)) == 1
        assert read_preferences(store).remembered == texts | {"bench_1": {}}


@pytest.mark.parametrize(
    "text", ["530 gr: 28000", "530 gr: 280, 28", "3 gr: 280 ft/s", "530 g: 280 ft/s"]
)
def test_readings_of_no_bow_stay_where_they_are(home, text):
    remember(home, 1, readings=text)
    with closing(open_store(home)) as store:
        assert list_speeds(store).empty
        assert read_preferences(store).remembered["bench_1"] == {"readings": text}


def test_a_sight_whose_pins_are_kept_gets_none_of_a_day_that_nobody_knows(home):
    with closing(open_store(home)) as store:
        add_pins(store, [Pin(rig_id=1, set_on=date(2026, 4, 1), distance_m=20.0)])
    remember(home, 1, pins="20, 30 yd")
    with closing(open_store(home)) as store:
        assert list_pins(store)["distance_m"].tolist() == [20.0]
        assert read_preferences(store).remembered["bench_1"] == {"pins": "20, 30 yd"}


# ------------------------------------------------------------------ those of one day are one sight


def sight(rig: int, *far: float, on: date = DAY) -> list[Pin]:
    return [Pin(rig_id=rig, set_on=on, distance_m=one) for one in far]


def test_a_rig_has_one_sight_a_day(store, rig):
    keys = add_pins(store, sight(rig, 18.0, 27.0))
    with pytest.raises(StoreError, match=f"pins of Heron are kept of {DAY} already"):
        add_pins(store, sight(rig, 36.0))
    delete_entry(store, "pin", *keys)
    others = add_pins(store, sight(rig, 20.0, 30.0))
    with pytest.raises(StoreError, match="one sight"):
        restore_entry(store, "pin", *keys)
    assert list_pins(store)["id"].tolist() == others
    delete_entry(store, "pin", *others)
    restore_entry(store, "pin", keys[0])
    restore_entry(store, "pin", keys[1])  # beside what it was kept with
    assert list_pins(store)["id"].tolist() == keys
    add_pins(store, sight(rig, 20.0, on=date(2026, 6, 1)))


def test_an_archive_mixes_no_two_sights_of_one_day(store, rig, tmp_path):
    add_pins(store, sight(rig, 18.0, 27.0, 36.0))
    with closing(open_store(tmp_path / "other")) as other:
        there = save_rig(other, Rig(name="Heron"))
        add_pins(other, sight(there, 18.0, 27.5))
        add_pins(other, sight(there, 20.0, on=date(2026, 6, 1)))
        export_archive(other, tmp_path / "other.zip")
    for new in (1, 0):  # another time nothing is new
        report = import_archive(store, tmp_path / "other.zip")
        assert list_pins(store)["distance_m"].tolist() == [18.0, 27.0, 36.0, 20.0]
        counts = report.counts["pin"]
        assert (counts.new, counts.joined, counts.kept) == (new, 1, 1)
        assert [(one.entry, one.differs) for one in report.conflicts] == [
            ("pin", ("the sight of that day",))
        ]


def test_pins_brought_back_with_an_import_mix_no_two_sights(store, rig, tmp_path):
    with closing(open_store(tmp_path / "other")) as other:
        add_pins(other, sight(save_rig(other, Rig(name="Heron")), 18.0, 27.0))
        export_archive(other, tmp_path / "other.zip")
    uid = import_archive(store, tmp_path / "other.zip").uid
    undo_import(store, uid)
    add_pins(store, sight(rig, 20.0))
    import_archive(store, tmp_path / "other.zip")
    assert list_pins(store)["distance_m"].tolist() == [20.0]
    stays = bring_back_import(store, uid)
    assert list_pins(store)["distance_m"].tolist() == [20.0]
    assert all("pin for" in one for one in stays)
