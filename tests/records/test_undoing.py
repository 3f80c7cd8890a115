"""An import is taken back whole and brought back whole, whatever was corrected in between."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.connect import Store, writing
from groupscan.records.exchange.archive import Counts, export_archive, import_archive
from groupscan.records.exchange.shots_in import commit, plan_import
from groupscan.records.exchange.undoing import bring_back_import, list_imports, undo_import
from groupscan.records.lately import lately_corrected, lately_deleted
from groupscan.records.schema import audit
from groupscan.records.schema.base import new_uid
from groupscan.records.store import (
    Rig,
    ScanRecord,
    Session,
    ShotRecord,
    delete_entry,
    get_session,
    list_heads,
    list_rigs,
    list_scans,
    list_sessions,
    list_shooters,
    load_scan,
    open_store,
    restore_entry,
    save_rig,
    save_scan,
    save_session,
    shots_frame,
)
from groupscan.records.upkeep.check import check_store
from tests.records.test_archive import all_rows, another, everything

__all__ = ["another"]
BACKENDS = ("sqlite", "postgresql")
HEADS = "date,shooter,rig,distance_m,end,head,arrow,x_mm,y_mm"
ROWS = (
    "2026-05-03,Ada,Heron,18,1,field,1,1,2",
    "2026-05-03,Ada,Heron,18,1,field,2,3,4",
    "2026-05-03,Ada,Heron,18,2,blade,1,5,6",
    "2026-05-04,Ada,Heron,18,1,field,1,7,8",
)


def taken(store: Store, folder: Path, *rows: str, name: str = "may.csv", heads: str = HEADS) -> str:
    path = folder / name
    path.write_text("\n".join([heads, *rows]) + "\n")
    plan = plan_import(store, path)
    commit(store, plan)
    return plan.uid


def seen(store: Store) -> dict[str, list[object]]:
    """Return what a reader finds in the records."""
    return {
        "sessions": list_sessions(store)[["held_on", "shooter", "shots"]].values.tolist(),
        "shots": shots_frame(store)[["x_mm", "y_mm", "head", "arrow"]].values.tolist(),
        "scans": list_scans(store)["id"].tolist(),
        **{
            what.__name__: what(store)["name"].tolist()
            for what in (list_rigs, list_heads, list_shooters)
        },
    }


def test_an_import_goes_and_comes_back_with_all_it_brought(store, tmp_path):
    empty = seen(store)
    uid = taken(store, tmp_path, *ROWS)
    full = seen(store)
    [one] = list_imports(store)
    assert (one.file, one.undone_at) == ("may.csv", None)
    assert (one.new["session"], one.new["scan"], one.new["shot"]) == (2, 3, 4)
    gone = undo_import(store, uid)
    assert (gone["session"], gone["scan"], gone["shot"]) == (2, 3, 4)
    assert (gone["head"], gone["rig"], gone["shooter"], gone["arrow"]) == (2, 1, 1, 2)
    assert seen(store) == empty
    assert list_imports(store)[0].undone_at is not None
    bring_back_import(store, uid)
    assert seen(store) == full
    assert list_imports(store)[0].undone_at is None
    assert check_store(store) == []


def test_what_was_there_and_what_came_otherwise_stays(store, tmp_path):
    save_rig(store, Rig(name="Heron"))
    mine = save_session(store, Session(held_on=date(2026, 5, 3), shooter="Ada", rig="Heron",
                                       distance_m=18.0))  # fmt: skip
    first = ScanRecord(session_id=mine, shots=(ShotRecord(number=1, x_mm=9.0, y_mm=9.0),))
    save_scan(store, first)
    before = seen(store)
    uid = taken(store, tmp_path, *ROWS)  # goes on with my session, and makes another
    other = next(key for key in list_sessions(store)["id"] if key != mine)
    undo_import(store, uid)
    assert seen(store) == before
    bring_back_import(store, uid)
    added = save_scan(store, replace(first, session_id=int(other)))
    undo_import(store, uid)
    kept = list_scans(store)["id"].tolist()
    assert added in kept
    assert len(kept) == 2
    assert len(list_sessions(store)) == 2


def test_gear_that_is_shot_with_otherwise_stays(store, tmp_path):
    uid = taken(store, tmp_path, *ROWS)
    session = save_session(store, Session(held_on=date(2026, 6, 1), shooter="Ada", rig="Heron"))
    shots = (ShotRecord(number=1, x_mm=0.0, y_mm=0.0, head="blade"),)
    save_scan(store, ScanRecord(session_id=session, shots=shots))
    undo_import(store, uid)
    assert list_heads(store)["name"].tolist() == ["blade"]
    assert list_rigs(store)["name"].tolist() == ["Heron"]
    assert list_shooters(store)["name"].tolist() == ["Ada"]


def test_a_correction_comes_back_with_the_import(store, tmp_path):
    uid = taken(store, tmp_path, *ROWS)
    record = load_scan(store, int(list_scans(store)["id"].iloc[0]))
    save_scan(store, replace(record, label="put right"))
    session = int(list_sessions(store)["id"].iloc[0])
    save_session(store, replace(get_session(store, session), notes="in the rain"))
    corrected = seen(store)
    undo_import(store, uid)
    bring_back_import(store, uid)
    assert seen(store) == corrected
    assert load_scan(store, record.id).label == "put right"
    assert get_session(store, session).notes == "in the rain"


def test_what_was_deleted_before_stays_deleted(store, tmp_path):
    uid = taken(store, tmp_path, *ROWS)
    last = int(list_sessions(store)["id"].iloc[0])
    delete_entry(store, "session", last)
    undo_import(store, uid)
    bring_back_import(store, uid)
    assert last not in list_sessions(store)["id"].tolist()
    restore_entry(store, "session", last)
    assert len(list_sessions(store)) == 2


def test_ends_of_a_session_that_was_deleted_before_are_left_with_it(store, tmp_path):
    uid = taken(store, tmp_path, *ROWS)
    [last] = [one for one in list_sessions(store)["id"] if get_session(store, one).held_on.day == 4]
    full = shots_frame(store)[["x_mm", "y_mm"]].values.tolist()
    delete_entry(store, "session", last)
    gone = undo_import(store, uid)
    assert (gone["session"], gone["scan"], gone["shot"]) == (1, 2, 3)
    plan = plan_import(store, tmp_path / "may.csv")
    assert (plan.ends, len(plan.skipped)) == (2, 1)
    restore_entry(store, "session", last)
    assert shots_frame(store)[["x_mm", "y_mm"]].values.tolist() == [[7, 8]]
    bring_back_import(store, uid)
    assert shots_frame(store)[["x_mm", "y_mm"]].values.tolist() == full
    assert check_store(store) == []


def test_it_is_told_as_one_and_not_entry_by_entry(store, tmp_path):
    uid = taken(store, tmp_path, *ROWS)
    undo_import(store, uid)
    assert lately_deleted(store) == []
    bring_back_import(store, uid)
    lines = [(one.action, one.entry, one.title) for one in lately_corrected(store)]
    assert lines == [
        (action, "import", "import of may.csv") for action in ("restored", "undone", "imported")
    ]


def test_the_same_table_comes_in_anew_after_its_import_was_undone(store, tmp_path):
    first = taken(store, tmp_path, *ROWS)
    undo_import(store, first)
    forgotten = [row.replace("blade", "wide") for row in ROWS]
    second = taken(store, tmp_path, *forgotten)
    assert sorted(list_heads(store)["name"]) == ["field", "wide"]
    assert len(shots_frame(store)) == 4
    with pytest.raises(StoreError, match=r"3 ends of may\.csv came in with another import"):
        bring_back_import(store, first)
    assert len(shots_frame(store)) == 4
    undo_import(store, second)
    third = taken(store, tmp_path, *ROWS)
    with pytest.raises(StoreError, match="came in with another import"):
        bring_back_import(store, first)
    undo_import(store, third)
    bring_back_import(store, first)
    assert sorted(list_heads(store)["name"]) == ["blade", "field"]


def test_one_whose_end_was_deleted_by_hand_stays_deleted_in_the_same_table(store, tmp_path):
    taken(store, tmp_path, *ROWS)
    delete_entry(store, "scan", int(list_scans(store)["id"].iloc[0]))
    plan = plan_import(store, tmp_path / "may.csv")
    assert (plan.ends, len(plan.skipped)) == (0, 3)


def test_gear_whose_name_is_taken_by_now_stays_deleted_and_is_told(store, tmp_path):
    uid = taken(store, tmp_path, *ROWS)
    full = seen(store)
    undo_import(store, uid)
    june = "2026-06-07,ADA,Heron,18,1,field,1,9,9"
    taken(store, tmp_path, june, name="june.csv")
    later = seen(store)
    assert bring_back_import(store, uid) == ("shooter Ada", "head field")
    both = seen(store)
    assert both["sessions"] == later["sessions"] + full["sessions"]
    assert sorted(map(str, both["shots"])) == sorted(map(str, later["shots"] + full["shots"]))
    assert both["list_heads"] == ["blade", "field"]
    assert both["list_shooters"] == ["ADA"]
    assert list_imports(store)[1].undone_at is None
    assert {one.title for one in lately_deleted(store)} == {"head field", "shooter Ada"}
    assert check_store(store) == []


def test_what_cannot_be_undone_says_why(store, tmp_path):
    uid = taken(store, tmp_path, *ROWS)
    with pytest.raises(StoreError, match="no import"):
        undo_import(store, new_uid())
    with pytest.raises(StoreError, match="is not undone"):
        bring_back_import(store, uid)
    undo_import(store, uid)
    with pytest.raises(StoreError, match="is undone already"):
        undo_import(store, uid)


def test_an_import_of_nothing_new_leaves_no_line(store, tmp_path):
    taken(store, tmp_path, *ROWS)
    taken(store, tmp_path, *ROWS)
    assert len(list_imports(store)) == 1


def test_an_archive_goes_and_comes_back_and_comes_in_again(store, another, tmp_path):
    source = another("source")
    everything(source)
    export_archive(source, tmp_path / "all.zip")
    empty = seen(store)
    report = import_archive(store, tmp_path / "all.zip", name="bo's season.zip")
    full = seen(store)
    [one] = list_imports(store)
    assert (one.uid, one.file) == (report.uid, "bo's season.zip")
    undo_import(store, report.uid)
    assert seen(store) == empty
    bring_back_import(store, report.uid)
    assert seen(store) == full
    undo_import(store, report.uid)
    again = import_archive(store, tmp_path / "all.zip")
    assert seen(store) == full
    assert again.brings_anything
    assert again.conflicts == ()
    assert again.counts["session"].back == 1
    assert again.counts["shot"].back == 4
    assert [one.undone_at for one in list_imports(store)] == [None, None]
    assert again.counts["scan"].back == 2
    undo_import(store, again.uid)
    assert seen(store) == empty
    assert check_store(store) == []


def test_an_archive_that_comes_in_again_keeps_our_corrections(store, another, tmp_path):
    source = another("source")
    everything(source)
    export_archive(source, tmp_path / "all.zip")
    report = import_archive(store, tmp_path / "all.zip")
    session = int(list_sessions(store)["id"].iloc[0])
    save_session(store, replace(get_session(store, session), notes="ours"))
    undo_import(store, report.uid)
    again = import_archive(store, tmp_path / "all.zip")
    assert get_session(store, session).notes == "ours"
    assert [one.differs for one in again.conflicts] == [("notes",)]


def test_an_end_that_comes_back_with_other_shots_is_counted_once(store, another, tmp_path):
    source = another("source")
    everything(source)
    export_archive(source, tmp_path / "all.zip")
    report = import_archive(store, tmp_path / "all.zip")
    record = load_scan(store, int(list_scans(store)["id"].iloc[0]))
    moved = replace(record.shots[0], x_mm=77.0)
    save_scan(store, replace(record, shots=(moved, *record.shots[1:])))
    undo_import(store, report.uid)
    for dry_run in (True, False):
        again = import_archive(store, tmp_path / "all.zip", dry_run=dry_run)
        assert again.counts["scan"] == Counts(back=2)
        assert [(one.entry, one.differs) for one in again.conflicts] == [("scan", ("shots",))]
    assert load_scan(store, record.id).shots[0].x_mm == 77.0


def test_a_name_taken_meanwhile_leaves_gear_hidden_when_an_archive_comes_again(
    store, another, tmp_path
):
    source = another("source")
    everything(source)
    export_archive(source, tmp_path / "all.zip")
    undo_import(store, import_archive(store, tmp_path / "all.zip").uid)
    names = list_shooters(source)["name"].tolist()
    save_session(store, Session(held_on=date(2026, 6, 1), shooter=names[0]))
    import_archive(store, tmp_path / "all.zip")
    assert sorted(list_shooters(store)["name"]) == sorted(names)
    assert check_store(store) == []


def test_lines_of_a_strange_archive_break_nothing(store):
    uid = new_uid()
    line = {"at": sa.func.now(), "actor": "", "entry_uid": uid, "before": {}}
    with writing(store) as connection:
        for action, after in (
            ("imported", ["x"]), ("imported", {"new": 3}), ("added", 5),
            ("added", {"session": "x", "no table": ["y"], "scan": [1, None]}),
        ):  # fmt: skip
            values = {"entry": "import", **line, "uid": new_uid(), "action": action, "after": after}
            connection.execute(sa.insert(audit).values(values))
        odd = {**line, "uid": new_uid(), "entry": "no table", "action": "changed", "after": {}}
        connection.execute(sa.insert(audit).values(odd))
    assert [one.file for one in list_imports(store)] == ["a file", "a file"]
    with pytest.raises(StoreError, match="nothing of the import"):
        undo_import(store, uid)
    assert lately_corrected(store)


@pytest.mark.parametrize("act", [undo_import, bring_back_import])
def test_what_fails_half_way_changes_nothing(
    store, tmp_path, monkeypatch, act: Callable[[Store, str], object]
):
    uid = taken(store, tmp_path, *ROWS)
    if act is bring_back_import:
        undo_import(store, uid)
    before = all_rows(store)

    def failing(*_arguments: object, **_named: object) -> None:
        raise StoreError("the disk is full")

    monkeypatch.setattr("groupscan.records.exchange.undoing.note_of_import", failing)
    with pytest.raises(StoreError, match="the disk is full"):
        act(store, uid)
    assert all_rows(store) == before


def test_an_undone_import_travels_with_a_backup(store, tmp_path):
    uid = taken(store, tmp_path, *ROWS)
    full = seen(store)
    undo_import(store, uid)
    export_archive(store, tmp_path / "all.zip")
    other = open_store(tmp_path / "other")
    import_archive(other, tmp_path / "all.zip")
    assert list_sessions(other).empty
    bring_back_import(other, uid)
    assert seen(other) == full
    other.close()


def exported(store: Store, path: Path) -> Path:
    path.unlink(missing_ok=True)
    export_archive(store, path)
    return path


def is_undone(store: Store, uid: str) -> bool:
    [one] = [one for one in list_imports(store) if one.uid == uid]
    return one.undone_at is not None


def test_an_undoing_elsewhere_leaves_the_import_as_it_is_here(store, another, tmp_path):
    uid = taken(store, tmp_path, *ROWS)
    full = seen(store)
    laptop = another("laptop")
    import_archive(laptop, exported(store, tmp_path / "all.zip"))
    undo_import(laptop, uid)
    import_archive(store, exported(laptop, tmp_path / "all.zip"))
    assert not is_undone(store, uid)
    assert seen(store) == full
    undo_import(store, uid)
    assert list_sessions(store).empty
    bring_back_import(store, uid)
    assert seen(store) == full


def test_an_import_undone_in_two_places_is_undone_in_both(store, another, tmp_path):
    uid = taken(store, tmp_path, *ROWS)
    full = seen(store)
    laptop = another("laptop")
    import_archive(laptop, exported(store, tmp_path / "all.zip"))
    undo_import(laptop, uid)
    undo_import(store, uid)
    import_archive(store, exported(laptop, tmp_path / "all.zip"))
    assert is_undone(store, uid)
    assert lately_deleted(store) == []
    bring_back_import(store, uid)
    assert seen(store) == full


def test_a_bringing_back_elsewhere_brings_back_here(store, another, tmp_path):
    uid = taken(store, tmp_path, *ROWS)
    full = seen(store)
    undo_import(store, uid)
    laptop = another("laptop")
    import_archive(laptop, exported(store, tmp_path / "all.zip"))
    bring_back_import(laptop, uid)
    import_archive(store, exported(laptop, tmp_path / "all.zip"))
    assert seen(store) == full
    assert not is_undone(store, uid)


def test_of_two_imports_of_one_table_only_one_comes_back(store, tmp_path):
    first = taken(store, tmp_path, *ROWS)
    undo_import(store, first)
    second = taken(store, tmp_path, *ROWS)
    undo_import(store, second)
    third = taken(store, tmp_path, *ROWS)
    undo_import(store, third)
    full = None
    for one, others in ((first, (second, third)), (third, (first, second))):
        bring_back_import(store, one)
        full = full or seen(store)
        for other in others:
            before = all_rows(store)
            with pytest.raises(StoreError, match=r"3 ends of may\.csv came in with another import"):
                bring_back_import(store, other)
            assert all_rows(store) == before
        assert seen(store)["shots"] == full["shots"]
        undo_import(store, one)


def test_a_merge_brings_back_no_end_that_came_in_anew(store, another, tmp_path):
    source = another("source")
    taken(source, tmp_path, *ROWS)
    first = taken(store, tmp_path, *ROWS)
    undo_import(store, first)
    taken(store, tmp_path, *ROWS[:3])  # all of one session, and none of the other
    before = seen(store)
    again = import_archive(store, exported(source, tmp_path / "all.zip"))
    after = seen(store)
    assert len(after["sessions"]) == 2
    assert sorted(map(str, after["shots"])) == sorted(
        map(str, [*before["shots"], [7.0, 8.0, "field", "1"]])
    )
    assert (again.counts["session"].back, again.counts["scan"].back) == (1, 1)
    assert [one.entry for one in again.conflicts if "deleted" in one.differs] == ["session"]
    assert check_store(store) == []


def test_a_merge_brings_back_the_ends_of_a_session_that_did_not_come_in_anew(
    store, another, tmp_path
):
    source = another("source")
    taken(source, tmp_path, *ROWS)
    first = taken(store, tmp_path, *ROWS)
    full = seen(store)
    undo_import(store, first)
    later = taken(store, tmp_path, *ROWS[:2])  # the first of the two ends of a session
    again = import_archive(store, exported(source, tmp_path / "all.zip"))
    shots = shots_frame(store)[["x_mm", "y_mm"]].values.tolist()
    assert sorted(shots) == [[1, 2], [3, 4], [5, 6], [7, 8]]
    assert again.counts["scan"].back == 2
    assert is_undone(store, first)
    undo_import(store, later)
    bring_back_import(store, first)
    assert seen(store)["shots"] == full["shots"]
    assert check_store(store) == []


def test_a_merge_brings_back_a_session_for_an_end_that_is_new_to_it(store, another, tmp_path):
    source = another("source")
    taken(source, tmp_path, *ROWS[:3])
    first = taken(store, tmp_path, *ROWS[:3])
    undo_import(store, first)
    taken(store, tmp_path, *ROWS[:3])
    session = int(list_sessions(source)["id"].iloc[0])
    shots = (ShotRecord(number=1, x_mm=9.0, y_mm=9.0),)
    save_scan(source, ScanRecord(session_id=session, shots=shots))
    import_archive(store, exported(source, tmp_path / "all.zip"))
    places = shots_frame(store)[["x_mm", "y_mm"]].values.tolist()
    assert sorted(places) == [[1, 2], [3, 4], [5, 6], [9, 9]]
