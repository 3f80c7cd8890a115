"""Backups made while others write, and records put back exactly."""

import os
import shutil
import threading
import zipfile
from contextlib import closing
from datetime import date

import pytest
import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.connect import writing
from groupscan.records.exchange.archive import export_archive, replacing
from groupscan.records.schema import metadata
from groupscan.records.store import (
    Head,
    Session,
    add_photo,
    list_heads,
    list_sessions,
    load_scan,
    open_store,
    photo_bytes,
    save_head,
    save_scan,
    save_session,
)
from groupscan.records.upkeep import backup as backup_module
from groupscan.records.upkeep.backup import backup, restore
from tests.records.test_archive import all_rows, everything
from tests.records.whole_content import tables_of

BACKENDS = ("sqlite", "postgresql")


def test_a_backup_has_a_dated_name_beside_the_records(store):
    everything(store)
    first, second = backup(store), backup(store)
    assert first.parent == second.parent == store.home / "backups"
    assert first != second
    assert f"{date.today():%Y-%m-%d}" in first.name
    assert tables_of(first) == tables_of(second)
    assert sorted(path.name for path in first.parent.iterdir()) == sorted([first.name, second.name])


def test_a_restore_brings_back_exactly_what_was_there(store, make_scan, tmp_path):
    add_photo(store, b"another photo", name="b.jpg")
    saved = save_scan(store, make_scan())
    kept, scan = all_rows(store), load_scan(store, saved)
    path = backup(store, tmp_path / "safe.zip")
    save_scan(store, make_scan(count=9))
    save_head(store, Head(name="newer"))
    for photo in store.photo_dir.rglob("?" * 64):
        photo.unlink()
    between = all_rows(store)
    before = restore(store, path, overwrite=True)
    assert all_rows(store) == kept
    assert load_scan(store, saved) == scan
    assert photo_bytes(store, scan.photo_sha256) == b"a photo"
    assert save_session(store, Session(held_on=date(2026, 6, 1))) not in [
        row[0] for row in kept["session"]
    ]
    assert before.parent == store.home / "backups"
    assert restore(store, before, overwrite=True) is not None
    assert all_rows(store) == between


def test_records_that_hold_something_are_not_overwritten_unasked(store, tmp_path):
    save_head(store, Head(name="old"))
    path = backup(store, tmp_path / "safe.zip")
    save_head(store, Head(name="newer"))
    before = all_rows(store)
    with pytest.raises(StoreError, match=r"not empty.*Nothing was changed.*--overwrite"):
        restore(store, path)
    assert all_rows(store) == before
    assert not (store.home / "backups").exists()


def test_empty_records_are_filled_without_a_word(store, empty_home, tmp_path):
    shutil.copytree(empty_home, tmp_path / "source")
    with closing(open_store(tmp_path / "source")) as source:
        everything(source)
        backup(source, tmp_path / "safe.zip")
        kept = all_rows(source)
    assert restore(store, tmp_path / "safe.zip") is None
    assert all_rows(store) == kept


def test_a_folder_can_be_named_to_restore_into(store, tmp_path):
    save_head(store, Head(name="old"))
    backup(store, tmp_path / "safe.zip")
    assert restore(tmp_path / "anew", tmp_path / "safe.zip") is None
    with closing(open_store(tmp_path / "anew")) as anew:
        assert list_heads(anew)["name"].tolist() == ["old"]


def test_a_restore_that_fails_at_the_last_row_changes_nothing(store, tmp_path, monkeypatch):
    everything(store)
    path = backup(store, tmp_path / "safe.zip")
    save_head(store, Head(name="newer"))
    before = all_rows(store)
    put = replacing.number_on

    def fail(connection, table):
        put(connection, table)
        if table.name == "shot":
            raise sa.exc.OperationalError("INSERT", {}, Exception("the server went away"))

    monkeypatch.setattr(replacing, "number_on", fail)
    with pytest.raises(StoreError, match="went away"):
        restore(store, path, overwrite=True)
    assert all_rows(store) == before
    (safety,) = (store.home / "backups").iterdir()  # made before, and sound
    monkeypatch.undo()
    restore(store, safety, overwrite=True)
    assert all_rows(store) == before


def test_a_backup_while_others_write_is_of_one_moment(store, tmp_path):
    """Each transaction adds a session and a head; a backup must never hold one without other."""
    stop = threading.Event()
    written = []

    def write() -> None:
        session, head = metadata.tables["session"], metadata.tables["head"]
        number = 0
        while not stop.is_set():
            number += 1
            with writing(store) as connection:
                now = sa.func.now()
                stamps = {"created_at": now, "updated_at": now, "revision": 1}
                connection.execute(
                    sa.insert(session).values(
                        held_on=date(2026, 1, 1), place=f"{number}", purpose="", weather="",
                        notes="", uid=f"{number:032x}", **stamps,
                    )
                )  # fmt: skip
                connection.execute(
                    sa.insert(head).values(name=f"{number}", uid=f"{number:032x}", **stamps)
                )
            written.append(number)

    thread = threading.Thread(target=write)
    thread.start()
    counts = []
    try:
        while len(written) < 3:
            stop.wait(0.01)
        for turn in range(5):
            committed = len(written)
            path = backup(store, tmp_path / f"{turn}.zip")
            files = tables_of(path)
            rows = [files[f"tables/{name}.csv"].count(b"\r\n") - 1 for name in ("session", "head")]
            assert rows[0] == rows[1] >= committed
            counts.append(rows[0])
    finally:
        stop.set()
        thread.join()
    assert counts == sorted(counts)
    assert len(list_sessions(store)) == len(written) >= counts[-1]


def test_a_backup_that_does_not_read_back_is_not_kept(store, tmp_path, monkeypatch):
    everything(store)
    path = backup(store, tmp_path / "safe.zip")
    good = path.read_bytes()

    def spoilt(store, beside, **options):
        export_archive(store, beside, **options)
        beside.write_bytes(beside.read_bytes()[:-40])

    monkeypatch.setattr(backup_module, "export_archive", spoilt)
    with pytest.raises(StoreError, match=r"damaged"):
        backup(store, path)
    assert path.read_bytes() == good
    assert [name for name in os.listdir(tmp_path) if name.endswith(".part")] == []  # noqa: PTH208


def test_a_backup_may_stand_anywhere_but_must_be_writable(store, tmp_path):
    with pytest.raises(StoreError, match=r"not written.*No such file"):
        backup(store, tmp_path / "no folder" / "safe.zip")
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(StoreError, match="not written"):
        backup(store, tmp_path / "taken" / "safe.zip")


def test_a_backup_is_a_plain_zip(store, tmp_path):
    everything(store)
    with zipfile.ZipFile(backup(store, tmp_path / "safe.zip")) as archive:
        assert archive.testzip() is None
        assert "tables/shot.csv" in archive.namelist()
