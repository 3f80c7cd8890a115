"""Long work that its progress ends leaves everything as it was."""

import pytest

from groupscan.records.exchange.archive import export_archive, import_archive
from groupscan.records.exchange.shots_in import commit, plan_import
from groupscan.records.store import add_photo, open_store, save_scan
from groupscan.records.upkeep.backup import backup, restore
from tests.records.test_archive import all_rows


class StoppedError(Exception):
    pass


def at(when):
    """Return a progress that stops at its call of that number, and the calls that it saw."""
    seen = []

    def progress(done, total):
        seen.append((done, total))
        if len(seen) == when:
            raise StoppedError

    return progress, seen


@pytest.fixture
def filled(store, make_scan):
    save_scan(store, make_scan())
    add_photo(store, b"another photo", name="b.jpg")
    return store


def test_a_stopped_export_leaves_what_was_there(filled, tmp_path):
    path = tmp_path / "all.zip"
    path.write_text("mine")
    for run, name in ((export_archive, "export"), (backup, "backup")):
        progress, seen = at(2)
        with pytest.raises(StoppedError):
            run(filled, path, progress=progress)
        assert seen == [(0, 2), (1, 2)], name
        assert path.read_text() == "mine"
    assert [one.name for one in tmp_path.iterdir() if one.suffix == ".part"] == []


@pytest.mark.parametrize("when", [1, 2, 3])
def test_a_stopped_import_adds_no_row(filled, tmp_path, when):
    export_archive(filled, tmp_path / "all.zip")
    other = open_store(tmp_path / "other")
    before = all_rows(other)
    progress, seen = at(when)
    with pytest.raises(StoppedError):
        import_archive(other, tmp_path / "all.zip", progress=progress)
    after = all_rows(other)
    other.close()
    assert seen == [(0, 2), (1, 2), (2, 2)][:when]
    assert after == before


@pytest.mark.parametrize("when", [1, 2])
def test_a_stopped_table_stores_nothing(filled, tmp_path, when):
    path = tmp_path / "shots.csv"
    path.write_text("date,x,y,rig\n2026-05-03,1,2,a new one\n")
    plan, before = plan_import(filled, path), all_rows(filled)
    progress, seen = at(when)
    with pytest.raises(StoppedError):
        commit(filled, plan, progress=progress)
    assert seen == [(0, 1), (1, 1)][:when]
    assert all_rows(filled) == before


def test_a_stopped_restore_leaves_the_records_as_they_were(filled, make_scan, tmp_path):
    backup(filled, tmp_path / "safe.zip")
    save_scan(filled, make_scan(count=9))
    before = all_rows(filled)
    for when in (1, 3, 5):  # photos, the backup of what is there, just before the end
        progress, _ = at(when)
        with pytest.raises(StoppedError):
            restore(filled, tmp_path / "safe.zip", overwrite=True, progress=progress)
        assert all_rows(filled) == before
