"""Long work that its progress ends leaves everything as it was."""

import shutil
from contextlib import closing
from datetime import date

import pytest

from groupscan.records.exchange.archive import export_archive, import_archive
from groupscan.records.exchange.shots_in import commit, plan_import
from groupscan.records.exchange.shots_out import write_shots
from groupscan.records.store import (
    Session,
    add_photo,
    list_sessions,
    open_store,
    save_scan,
    save_session,
)
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


def steps(work):
    """Do some work and return how often it told how far it is: evenly to its very end."""
    progress, seen = at(0)
    work(progress)
    shares = [done / total for done, total in seen]
    assert shares == sorted(shares)
    assert shares[-1] <= 1.0
    return len(seen)


def some(count):
    """Return the first step, the last and some between."""
    return sorted({1, 2, 1 + count // 3, 1 + count // 2, 1 + 2 * count // 3, count - 1, count})


def test_a_stopped_export_leaves_what_was_there(filled, tmp_path):
    path = tmp_path / "all.zip"

    def table(store, path, *, progress):
        write_shots(store, path, format="csv", progress=progress)

    for run in (export_archive, backup, table):
        count = steps(lambda progress, run=run: run(filled, path, progress=progress))
        path.write_text("mine")
        for when in some(count):
            progress, seen = at(when)
            with pytest.raises(StoppedError):
                run(filled, path, progress=progress)
            assert len(seen) == when
            assert path.read_text() == "mine"
    assert [one.name for one in tmp_path.iterdir() if one.suffix == ".part"] == []


def test_a_stopped_import_adds_no_row(filled, tmp_path, empty_home):
    export_archive(filled, tmp_path / "all.zip")

    def other(name):
        shutil.copytree(empty_home, tmp_path / name)
        return closing(open_store(tmp_path / name))

    with other("all of it") as store:
        count = steps(lambda p: import_archive(store, tmp_path / "all.zip", progress=p))
    with other("stopped") as store:
        before = all_rows(store)
        for when in some(count):
            progress, seen = at(when)
            with pytest.raises(StoppedError):
                import_archive(store, tmp_path / "all.zip", progress=progress)
            assert len(seen) == when
            assert all_rows(store) == before
        assert seen[-1] == (1000, 1000)  # the last moment at which it can be stopped


def test_a_stopped_table_stores_nothing(filled, tmp_path, empty_home):
    path = tmp_path / "shots.csv"
    rows = (f"2026-05-{day:02},{day},2,a new one" for day in range(1, 29))
    path.write_text("\n".join(["date,x,y,rig", *rows]) + "\n")
    plan, before = plan_import(filled, path), all_rows(filled)
    shutil.copytree(empty_home, tmp_path / "all of it")
    with closing(open_store(tmp_path / "all of it")) as other:
        count = steps(lambda p: commit(other, plan_import(other, path), progress=p))
    for when in some(count):
        progress, seen = at(when)
        with pytest.raises(StoppedError):
            commit(filled, plan, progress=progress)
        assert len(seen) == when
        assert all_rows(filled) == before
    assert seen[-1] == (1000, 1000)


def test_a_table_is_looked_through_in_steps_that_can_be_stopped(filled, tmp_path):
    path = tmp_path / "shots.csv"
    rows = (f"2026-05-{day:02},{end},{day}.{end},2" for day in range(1, 29) for end in range(60))
    path.write_text("\n".join(["date,end,x,y", *rows]) + "\n")
    count = steps(lambda progress: plan_import(filled, path, progress=progress))
    assert count > 60  # no step is a large part of the work
    for when in some(count):
        progress, seen = at(when)
        with pytest.raises(StoppedError):
            plan_import(filled, path, progress=progress)
        assert len(seen) == when


def test_a_stopped_restore_leaves_the_records_as_they_were(filled, make_scan, tmp_path):
    backup(filled, tmp_path / "safe.zip")
    count = steps(lambda p: restore(filled, tmp_path / "safe.zip", overwrite=True, progress=p))
    save_scan(filled, make_scan(count=9))
    before = all_rows(filled)
    for when in some(count):  # checking, photos, the backup of what is there, the rows, the end
        progress, seen = at(when)
        with pytest.raises(StoppedError):
            restore(filled, tmp_path / "safe.zip", overwrite=True, progress=progress)
        assert len(seen) == when
        assert all_rows(filled) == before


def test_what_is_saved_while_a_restore_backs_up_is_in_the_backup(filled, tmp_path):
    backup(filled, tmp_path / "safe.zip")
    saved = []

    def meanwhile(done, total):
        if 0.5 < done / total < 0.7 and not saved:  # others are not kept waiting
            saved.append(save_session(filled, Session(held_on=date(2026, 7, 1), place="meanwhile")))

    before = restore(filled, tmp_path / "safe.zip", overwrite=True, progress=meanwhile)
    assert saved
    assert "meanwhile" not in list_sessions(filled)["place"].tolist()
    assert len(list(before.parent.glob("*.zip"))) == 1
    restore(filled, before, overwrite=True)
    assert "meanwhile" in list_sessions(filled)["place"].tolist()
