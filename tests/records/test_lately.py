"""What was deleted and corrected lately is told by name."""

from dataclasses import replace
from datetime import date

from groupscan.records.lately import lately_corrected, lately_deleted
from groupscan.records.store import (
    Rig,
    ScanRecord,
    Session,
    Shooter,
    ShotRecord,
    delete_entry,
    get_session,
    load_scan,
    restore_entry,
    save_rig,
    save_scan,
    save_session,
    save_shooter,
)


def an_end(store):
    session_id = save_session(store, Session(held_on=date(2026, 5, 3), rig="Heron"))
    shots = (ShotRecord(number=1, x_mm=1.0, y_mm=2.0, arrow="7"),)
    return session_id, save_scan(store, ScanRecord(session_id=session_id, shots=shots))


def test_the_last_deleted_comes_first_and_is_gone_once_it_is_back(store):
    _, scan_id = an_end(store)
    shooter_id = save_shooter(store, Shooter(name="Ada"))
    delete_entry(store, "scan", scan_id)
    delete_entry(store, "shooter", shooter_id)
    found = lately_deleted(store)
    assert [(one.entry, one.id) for one in found] == [("shooter", shooter_id), ("scan", scan_id)]
    assert found[0].title == "shooter Ada"
    restore_entry(store, "shooter", shooter_id)
    assert [one.entry for one in lately_deleted(store)] == ["scan"]
    assert lately_deleted(store, last=0) == []


def test_ends_of_a_deleted_session_are_told_once_it_is_back(store):
    session_id, scan_id = an_end(store)
    delete_entry(store, "scan", scan_id)
    delete_entry(store, "session", session_id)
    assert [one.entry for one in lately_deleted(store)] == ["session"]


def test_a_correction_names_what_it_was_about_and_what_it_refers_to(store):
    session_id, scan_id = an_end(store)
    save_rig(store, Rig(name="Kestrel"))
    save_session(store, replace(get_session(store, session_id), rig="Kestrel", place="the wood"))
    scan = load_scan(store, scan_id)
    save_scan(store, replace(scan, shots=(replace(scan.shots[0], x_mm=5.0),)))
    delete_entry(store, "session", session_id)
    deleted, shot, session = lately_corrected(store)
    assert (deleted.action, deleted.entry) == ("deleted", "session")
    assert (shot.title, shot.before["x_mm"], shot.after["x_mm"]) == (
        f"shot 1 of end {scan_id}, 2026-05-03", 1.0, 5.0,
    )  # fmt: skip
    assert session.title == f"session {session_id} of 2026-05-03"
    assert (session.before["rig"], session.after["rig"]) == ("rig Heron", "rig Kestrel")
    assert session.after["place"] == "the wood"
    assert len(lately_corrected(store, last=1)) == 1
