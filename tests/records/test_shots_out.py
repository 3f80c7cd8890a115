import csv
import errno
import io
import json
from contextlib import closing
from datetime import date

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from groupscan.csvfile import undefused
from groupscan.decisions.shot_table import read_shot_csv, shots_of_records
from groupscan.errors import StoreError
from groupscan.records.exchange.shots_out import COLUMNS, FORMATS, shots_table, write_shots
from groupscan.records.store import (
    Outing,
    ScanRecord,
    Session,
    ShotRecord,
    delete_entry,
    list_sessions,
    open_store,
    save_outings,
)

HOSTILE = ["=cmd|' /C calc'!A0", '@x "quoted"', "two\nlines, and; more", "-1+1", "Zoë 弓", "'=a"]
DAY = date(2026, 5, 3)
AIMS = ((-60.0, 0.0), (60.0, 0.0))


@pytest.fixture
def filled(store):
    """Records of one typed end, one on a sheet of two aims, and hostile names."""
    typed = ScanRecord(
        session_id=0,
        label="=first",
        scale_source="typed",
        shots=(
            ShotRecord(number=1, x_mm=0.1 + 0.2, y_mm=-1 / 3, order=3, head="field point"),
            ShotRecord(number=2, x_mm=1.0, y_mm=2.0, flyer=True, flyer_why="=let go"),
            ShotRecord(number=3, x_mm=9.0, y_mm=9.0, removed=True),
        ),
    )
    printed = ScanRecord(
        session_id=0,
        aim_mm=AIMS[0],
        aims_mm=AIMS,
        shots=(
            ShotRecord(number=1, x_mm=-58.0, y_mm=1.0, se_mm=0.2, arrow="7"),
            ShotRecord(number=2, x_mm=63.0, y_mm=-1.5, arrow="8"),
        ),
    )
    own_aim = ScanRecord(
        session_id=0,
        aim_mm=(0.0, 30.0),
        aims_mm=AIMS,
        shots=(ShotRecord(number=1, x_mm=-58.0, y_mm=1.0),),
    )
    sessions = [
        Outing(
            Session(
                held_on=date(2026, 5, 3), shooter=text, rig=text, place=text, distance_m=18.288
            ),
            [typed, printed, own_aim],
        )
        for text in HOSTILE
    ]
    save_outings(store, [*sessions, Outing(Session(held_on=date(2025, 1, 1)), [typed])])
    return store


def test_places_are_about_each_shots_own_aim_and_on_its_sheet(filled):
    first = shots_table(filled, session_ids=[1])
    assert first["right_mm"].tolist() == [0.1 + 0.2, 1.0, 2.0, 3.0, -58.0]
    assert first["high_mm"].tolist() == [-1 / 3, 2.0, 1.0, -1.5, -29.0]
    assert first["x_mm"].tolist() == [0.1 + 0.2, 1.0, -58.0, 63.0, -58.0]


def test_csv_is_read_back_by_pythons_module_and_by_pandas(filled, tmp_path):
    path = tmp_path / "shots.csv"
    assert write_shots(filled, path) == 32
    table = shots_table(filled)
    text = path.read_bytes().decode("utf-8-sig")
    head, *rows = csv.reader(io.StringIO(text, newline=""), strict=True)
    assert head == list(COLUMNS)
    assert [undefused(row[head.index("place")]) for row in rows] == table["place"].tolist()
    assert [float(row[head.index("right_mm")]) for row in rows] == table["right_mm"].tolist()
    texts = [i for i, name in enumerate(head) if COLUMNS[name] == "string"]
    assert not any(row[i].startswith(("=", "+", "-", "@")) for row in rows for i in texts)
    frame = pd.read_csv(path, keep_default_na=False, parse_dates=["date"])
    assert frame["shooter"].map(undefused).tolist() == table["shooter"].tolist()
    assert frame["date"].tolist() == table["date"].tolist()
    assert frame["order"].tolist()[:2] == ["3", ""]


def test_the_decisions_read_the_file_as_they_read_the_records(filled, tmp_path):
    path = tmp_path / "shots.csv"
    write_shots(filled, path)
    read = read_shot_csv([path])
    kept = shots_of_records(filled.home)
    for name in ("right_mm", "high_mm", "shooter", "rig", "head", "arrow", "end", "session", "day"):
        assert read[name].tolist() == kept[name].tolist(), name
    assert read["order"].fillna(0).tolist() == kept["order"].fillna(0).tolist()


def test_json_has_null_for_what_is_not_known(filled, tmp_path):
    path = tmp_path / "shots.json"
    write_shots(filled, path)

    def refuse(word):
        raise AssertionError(f"{word} is no JSON")

    # RFC 8259 knows no NaN and no infinity.
    told = json.loads(path.read_bytes(), parse_constant=refuse)
    first = told["shots"][0]
    assert list(first) == list(COLUMNS)
    assert (first["date"], first["distance_m"], first["order"]) == ("2025-01-01", None, 3)
    assert (first["shooter"], first["end"], first["flyer"]) == (None, "=first", False)
    assert [shot["place"] for shot in told["shots"]] == [
        text or None for text in shots_table(filled)["place"]
    ]


def test_parquet_keeps_the_types(filled, tmp_path):
    path = tmp_path / "shots.parquet"
    write_shots(filled, path)
    read = pq.read_table(path)
    types = {"date": pa.date32(), "string": pa.string(), "bool": pa.bool_()}
    types |= {"int64": pa.int64(), "Int64": pa.int64(), "float64": pa.float64()}
    assert read.schema.names == list(COLUMNS)
    assert read.schema.types == [types[kind] for kind in COLUMNS.values()]
    first = read.slice(0, 1).to_pylist()[0]
    assert (first["date"], first["order"], first["se_mm"]) == (date(2025, 1, 1), 3, None)
    assert (first["right_mm"], first["flyer"], first["shooter"]) == (0.1 + 0.2, False, None)


@pytest.mark.parametrize("kind", FORMATS)
def test_no_shot_is_a_table_all_the_same(store, tmp_path, kind):
    path = tmp_path / "none"
    assert write_shots(store, path, format=kind) == 0
    data = path.read_bytes()
    heads = {
        "csv": lambda: data.decode("utf-8-sig").strip().split(","),
        "json": lambda: list(COLUMNS) if json.loads(data)["shots"] == [] else None,
        "parquet": lambda: pq.read_table(path).schema.names,
    }
    assert heads[kind]() == list(COLUMNS)


def test_only_shots_that_are_there_and_asked_for(filled, tmp_path):
    path = tmp_path / "shots.CSV"
    assert write_shots(filled, path, session_ids=[2, 7]) == 7
    delete_entry(filled, "session", 2)
    assert write_shots(filled, path) == 27


@pytest.mark.parametrize("name", ["shots", "shots.xlsx"])
def test_an_unknown_format_is_refused(store, tmp_path, name):
    with pytest.raises(StoreError, match="give one of csv, json, parquet"):
        write_shots(store, tmp_path / name)
    assert not (tmp_path / name).exists()


@pytest.mark.parametrize(
    ("number", "words"), [(errno.ENOSPC, "disk is full"), (errno.EACCES, "choose another folder")]
)
def test_a_disk_that_refuses_leaves_the_old_file(filled, tmp_path, monkeypatch, number, words):
    path = tmp_path / "out" / "shots.csv"
    path.parent.mkdir()
    path.write_text("old", encoding="utf-8")

    def refuse(_file):
        raise OSError(number, "refused")

    monkeypatch.setattr("groupscan.records.files.os.fsync", refuse)
    with pytest.raises(StoreError, match=rf"shots\.csv was not written: .*{words}"):
        write_shots(filled, path)
    assert path.read_text(encoding="utf-8") == "old"
    assert [one.name for one in path.parent.iterdir()] == ["shots.csv"]


def test_a_folder_that_is_not_there_is_told(store, tmp_path):
    with pytest.raises(StoreError, match="was not written"):
        write_shots(store, tmp_path / "none" / "shots.csv")


def test_the_records_are_as_they_were(filled, tmp_path):
    before = list_sessions(filled)
    write_shots(filled, tmp_path / "shots.csv")
    with closing(open_store(filled.home)) as again:
        pd.testing.assert_frame_equal(list_sessions(again), before)
