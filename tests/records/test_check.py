"""A look over the records finds each fault put there on purpose, and repairs only what is safe."""

import os
import sqlite3
import time
import tracemalloc
from contextlib import closing
from datetime import date

import pytest
import sqlalchemy as sa

from groupscan.records import schema
from groupscan.records.drafts import keep_draft, list_drafts
from groupscan.records.photos import photo_path
from groupscan.records.store import (
    Session,
    add_photo,
    delete_entry,
    get_session,
    list_sessions,
    load_scan,
    open_store,
    photo_bytes,
    save_scan,
    save_session,
)
from groupscan.records.upkeep.check import check_store
from groupscan.records.upkeep.photo_files import SETTLED_S

BACKENDS = ("sqlite", "postgresql")
# SHA-256 of "abc": the example of FIPS 180-4 (NIST, 2015), as NIST publishes it.
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.fixture
def scan_id(store, make_scan):
    """Return the id of a scan in records that also hold a deleted session and a correction."""
    saved = save_scan(store, make_scan())
    save_scan(store, load_scan(store, saved))
    other = save_session(store, Session(held_on=date(2026, 1, 1), shooter="Børge"))
    delete_entry(store, "session", other)
    return saved


def facts(findings):
    return [(finding.kind, finding.safe, finding.repaired) for finding in findings]


def break_rules(store, *statements: str) -> None:
    """Run statements with the rules of the database switched off."""
    if store.engine.dialect.name == "sqlite":
        with closing(sqlite3.connect(store.home / "groupscan.db")) as plain, plain:
            for statement in statements:
                plain.execute(statement)
        return
    with sa.create_engine(store.engine.url, poolclass=sa.NullPool).begin() as connection:
        connection.exec_driver_sql("SET session_replication_role = replica")
        for statement in statements:
            connection.exec_driver_sql(statement)


def age(path) -> None:
    old = time.time() - SETTLED_S - 60
    os.utime(path, (old, old))


def test_sound_records_have_no_findings(store, scan_id):
    keep_draft(store, "0" * 64, {"arrows": 6})
    assert check_store(store) == []
    assert check_store(store, repair=True) == []


def test_empty_records_have_no_findings(store):
    assert check_store(store, repair=True) == []


@pytest.mark.parametrize(
    ("broken", "told"),
    [
        ("DELETE FROM session", "1 of the table scan refer to a session that is not there (id 1)"),
        ("DELETE FROM photo", "1 of the table scan refer to a photo that is not there (id 1)"),
        ("DELETE FROM rig", "1 of the table session refer to a rig that is not there (id 1)"),
        ("DELETE FROM scan", "3 of the table shot refer to a scan that is not there (id 1, 2, 3)"),
        ("UPDATE shot SET arrow_id = 77", "3 of the table shot refer to a arrow"),
    ],
)
def test_a_reference_to_what_is_not_there_is_found_and_nothing_taken_away(
    store, scan_id, broken, told
):
    break_rules(store, broken)
    with store.reader.begin() as connection:
        before = connection.execute(sa.select(schema.shot)).all()
    for repair in (False, True):
        findings = [f for f in check_store(store, repair=repair) if f.kind == "entry missing"]
        assert [(f.safe, f.repaired) for f in findings] == [(False, False)]
        assert findings[0].what.startswith(told)
        assert "backup" in findings[0].advice
    with store.reader.begin() as connection:
        assert connection.execute(sa.select(schema.shot)).all() == before


def test_many_lost_rows_are_counted_and_some_named(store, make_scan):
    save_scan(store, make_scan(count=40))
    break_rules(store, "DELETE FROM scan")
    (finding,) = check_store(store)
    assert finding.what.startswith("40 of the table shot")
    assert finding.what.endswith("(id 1, 2, 3, 4, 5 ...)")


def test_what_is_found_of_references_is_what_sqlite_finds(store, scan_id, plain):
    break_rules(store, "DELETE FROM session", "UPDATE shot SET head_id = 5 WHERE id = 2")
    seen = {(row[0], row[2]) for row in plain.execute("PRAGMA foreign_key_check")}
    told = {tuple(f.what.split()[i] for i in (4, 8)) for f in check_store(store)}
    assert told == seen


def break_index(store) -> None:
    """Store a session that one index does not know of."""
    if store.engine.dialect.name == "postgresql":
        break_rules(
            store,
            "UPDATE pg_index SET indisvalid = false "
            "WHERE indexrelid = 'ix_session_held_on'::regclass",
        )
        return
    file = store.home / "groupscan.db"
    with closing(sqlite3.connect(file)) as plain, plain:
        plain.execute("PRAGMA writable_schema = ON")
        query = "SELECT * FROM sqlite_master WHERE name = 'ix_session_held_on'"
        (index,) = plain.execute(query).fetchall()
        plain.execute("DELETE FROM sqlite_master WHERE name = 'ix_session_held_on'")
    save_session(store, Session(held_on=date(2026, 2, 2), place="Unknown to the index"))
    with closing(sqlite3.connect(file)) as plain, plain:
        plain.execute("PRAGMA writable_schema = ON")
        plain.execute("INSERT INTO sqlite_master VALUES (?, ?, ?, ?, ?)", index)
    store.close()


def test_an_index_is_built_anew(store, scan_id):
    store.close()
    break_index(store)
    before = set(list_sessions(store)["place"])
    assert facts(check_store(store)) == [("index damaged", True, False)]
    assert facts(check_store(store, repair=True)) == [("index damaged", True, True)]
    assert check_store(store) == []
    added = {"Unknown to the index"} if store.engine.dialect.name == "sqlite" else set()
    assert set(list_sessions(store)["place"]) == before | added


def test_a_damaged_database_is_told_and_nothing_touched(store, make_scan, plain):
    save_scan(store, make_scan(count=400))
    stray = store.photo_dir / "stray.txt"
    stray.write_text("x")
    (root,) = plain.execute("SELECT rootpage FROM sqlite_master WHERE name = 'shot'").fetchone()
    plain.close()
    store.close()
    file = store.home / "groupscan.db"
    data = bytearray(file.read_bytes())
    data[(root - 1) * 4096 : root * 4096] = b"\xa5" * 4096
    file.write_bytes(data)
    findings = check_store(store, repair=True)
    assert {finding.kind for finding in findings} == {"database damaged"}
    assert not any(finding.safe or finding.repaired for finding in findings)
    assert all("backup" in finding.advice for finding in findings)
    assert file.read_bytes() == data
    assert stray.exists()


def test_a_rule_that_the_server_does_not_hold_is_told(empty_database, tmp_path):
    url = empty_database().render_as_string(hide_password=False)
    with closing(open_store(tmp_path / "home", database_url=url)) as store:
        rule_not_held(store)


def rule_not_held(store):
    break_rules(store, "ALTER TABLE head ADD CONSTRAINT short CHECK (name <> '') NOT VALID")
    (finding,) = check_store(store, repair=True)
    assert facts([finding]) == [("rule not held", False, False)]
    assert "ALTER TABLE head VALIDATE CONSTRAINT short" in finding.advice


def test_a_missing_photo_is_told(store, scan_id):
    photo = load_scan(store, scan_id).photo_sha256
    photo_path(store, photo).unlink()
    (finding,) = check_store(store, repair=True)
    assert facts([finding]) == [("photo missing", False, False)]
    assert str(photo_path(store, photo)) in finding.what
    assert "backup" in finding.advice
    add_photo(store, b"a photo", name="again.jpg")
    assert check_store(store) == []


def test_a_damaged_photo_is_moved_aside_and_can_be_added_again(store, scan_id):
    path = photo_path(store, load_scan(store, scan_id).photo_sha256)
    path.write_bytes(b"a phot0")
    assert facts(check_store(store)) == [("photo damaged", True, False)]
    assert path.exists()
    (finding,) = check_store(store, repair=True)
    # The photo is as lost as before: that its file was moved repairs nothing.
    assert facts([finding]) == [("photo damaged", False, False)]
    assert "moved aside" in finding.advice
    assert "backup" in finding.advice
    aside = store.photo_dir / "set-aside" / path.name
    assert str(aside) in finding.advice
    assert aside.read_bytes() == b"a phot0"
    assert facts(check_store(store)) == [("photo missing", False, False)]
    add_photo(store, b"a photo", name="again.jpg")
    path.write_bytes(b"damaged once more")
    check_store(store, repair=True)
    kept = sorted(file.read_bytes() for file in aside.parent.iterdir())
    assert kept == [b"a phot0", b"damaged once more"]


def test_a_wrong_size_is_corrected(store):
    add_photo(store, b"abc", name="a.jpg")
    with store.engine.begin() as connection:
        connection.execute(sa.update(schema.photo).values(size_bytes=99))
    assert facts(check_store(store)) == [("photo size wrong", True, False)]
    assert facts(check_store(store, repair=True)) == [("photo size wrong", True, True)]
    assert check_store(store) == []
    with store.reader.begin() as connection:
        assert connection.scalar(sa.select(schema.photo.c.size_bytes)) == 3


def test_a_sound_photo_without_an_entry_is_entered(store):
    path = photo_path(store, ABC)
    path.parent.mkdir(parents=True)
    path.write_bytes(b"abc")
    assert check_store(store, repair=True) == []  # it may be on its way in
    age(path)
    assert facts(check_store(store)) == [("photo without entry", True, False)]
    assert facts(check_store(store, repair=True)) == [("photo without entry", True, True)]
    assert check_store(store) == []
    assert photo_bytes(store, ABC) == b"abc"
    assert add_photo(store, b"abc", name="a.jpg") == ABC


def test_a_damaged_photo_without_an_entry_is_moved_aside(store):
    path = photo_path(store, ABC)
    path.parent.mkdir(parents=True)
    path.write_bytes(b"abd")
    age(path)
    assert facts(check_store(store, repair=True)) == [("foreign file", True, True)]
    assert (store.photo_dir / "set-aside" / ABC).read_bytes() == b"abd"
    assert check_store(store) == []


def test_foreign_files_are_moved_aside_and_never_overwrite_one_another(store, tmp_path):
    for folder in ("", "aa", "aa/bb"):
        (store.photo_dir / folder).mkdir(exist_ok=True)
        (store.photo_dir / folder / "notes.txt").write_text(f"in {folder}")
    (store.photo_dir / "aa" / ABC).write_bytes(b"abc")  # not where its checksum says
    (tmp_path / "far.txt").write_text("far")
    (store.photo_dir / "link.txt").symlink_to(tmp_path / "far.txt")
    findings = check_store(store, repair=True)
    assert facts(findings) == [("foreign file", True, True)] * 5
    aside = store.photo_dir / "set-aside"
    assert {path.name for path in aside.iterdir()} == {
        *("notes.txt", "notes.txt-2", "notes.txt-3"),
        *(ABC, "link.txt"),
    }
    told = {(aside / name).read_text() for name in ("notes.txt", "notes.txt-2", "notes.txt-3")}
    assert told == {"in ", "in aa", "in aa/bb"}
    assert (tmp_path / "far.txt").read_text() == "far"
    assert check_store(store) == []


def test_the_beginning_of_a_file_is_removed_once_nobody_can_be_writing_it(store):
    for folder in (store.photo_dir / "aa", store.home / "drafts"):
        folder.mkdir()
        (folder / ".new.part").write_bytes(b"half")
        (folder / ".old.part").write_bytes(b"half")
        age(folder / ".old.part")
    assert facts(check_store(store)) == [("left-over file", True, False)] * 2
    assert facts(check_store(store, repair=True)) == [("left-over file", True, True)] * 2
    assert {path.name for path in store.home.rglob(".*.part")} == {".new.part"}
    assert check_store(store) == []


@pytest.mark.parametrize("content", [b"", b"{", b"[1]", b"\xff\xfe", b"null"])
def test_an_unreadable_draft_is_moved_aside(store, content):
    keep_draft(store, "0" * 64, {"arrows": 6})
    bad = store.home / "drafts" / f"{'1' * 64}.json"
    bad.write_bytes(content)
    assert facts(check_store(store)) == [("draft unreadable", True, False)]
    assert facts(check_store(store, repair=True)) == [("draft unreadable", True, True)]
    assert (bad.parent / "set-aside" / bad.name).read_bytes() == content
    assert check_store(store) == []
    assert list(list_drafts(store)) == ["0" * 64]


def test_what_cannot_be_moved_is_told_and_the_rest_goes_on(store):
    (store.photo_dir / "a.txt").write_text("a")
    add_photo(store, b"abc", name="a.jpg")
    photo_path(store, ABC).unlink()
    (store.photo_dir / "set-aside").write_text("in the way")
    findings = check_store(store, repair=True)
    assert facts(findings) == [
        ("photo missing", False, False),
        ("foreign file", True, False),
        ("foreign file", True, False),
    ]
    assert "move it yourself" in findings[1].advice
    assert (store.photo_dir / "a.txt").read_text() == "a"


def test_every_finding_at_once_and_all_that_is_safe_repaired(store, scan_id):
    kept = load_scan(store, scan_id)
    photo_path(store, kept.photo_sha256).write_bytes(b"damaged")
    add_photo(store, b"abc", name="a.jpg")
    break_rules(store, "UPDATE photo SET size_bytes = 99", "DELETE FROM rig")
    (store.photo_dir / "stray").write_bytes(b"s")
    before = get_session(store, kept.session_id)
    repaired = check_store(store, repair=True)
    assert {finding.kind for finding in repaired if finding.repaired} == {
        *("photo size wrong", "foreign file"),
    }
    assert {f.kind for f in check_store(store)} == {"entry missing", "photo missing"}
    assert load_scan(store, scan_id) == kept
    assert get_session(store, kept.session_id) == before


def test_progress_is_told_photo_by_photo(store):
    for number in range(3):
        add_photo(store, b"photo %d" % number, name="a.jpg")
    told = []
    check_store(store, progress=lambda done, count: told.append((done, count)))
    assert told == [(1, 3), (2, 3), (3, 3)]


def test_memory_does_not_grow_with_the_photos(store):
    add_photo(store, b"p" * 40_000_000, name="large.jpg")
    check_store(store)
    tracemalloc.start()
    try:
        assert check_store(store) == []
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 10_000_000
