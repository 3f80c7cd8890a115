"""Everything out as one zip, and in again: the same, known again, never overwritten."""

import csv
import io
import json
import resource
import shutil
import signal
import zipfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from dataclasses import replace
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings

from groupscan.errors import StoreError
from groupscan.records.connect import reading, writing
from groupscan.records.exchange.archive import (
    Conflict,
    Counts,
    Namesake,
    export_archive,
    import_archive,
)
from groupscan.records.schema import metadata
from groupscan.records.store import (
    Arrow,
    Build,
    Head,
    Outing,
    Pin,
    Rig,
    ScanRecord,
    Session,
    Setup,
    Shooter,
    ShotRecord,
    Speed,
    Store,
    add_photo,
    add_pins,
    add_setup,
    add_speeds,
    delete_entry,
    get_session,
    get_shooter,
    list_arrows,
    list_heads,
    list_rigs,
    list_sessions,
    list_setups,
    list_shooters,
    load_scan,
    open_store,
    photo_bytes,
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
from tests.records.whole_content import contents, fill, tables_of

BACKENDS = ("sqlite", "postgresql")


@pytest.fixture
def another(tmp_path: Path, empty_home: Path) -> Iterator[Callable[[str], Store]]:
    """Return a maker of further empty stores."""
    with ExitStack() as stack:

        def make(name: str) -> Store:
            shutil.copytree(empty_home, tmp_path / name)
            return stack.enter_context(closing(open_store(tmp_path / name)))

        yield make


def everything(store: Store) -> None:
    """Save one or more of all there is, with corrections and deletions."""
    coach = save_shooter(store, Shooter(name="Ada Fenwick", goals="=cmd()|'x'"))
    pupil = save_shooter(store, Shooter(name="Bo Tarn", coach_id=coach, notes='said "no"\r\n,'))
    build = save_build(store, Build(name="brass", shooter_id=pupil, point_g=6.5))
    lighter = save_build(store, Build(name="light", shooter_id=pupil))
    rig = save_rig(store, Rig(name="Heron", shooter_id=pupil))
    add_setup(store, Setup(rig_id=rig, since=date(2026, 1, 1), build_id=build, changed="new"))
    number = save_arrow(store, Arrow(number="1", build_id=build, shooter_id=pupil))
    rebuild_arrow(store, number, lighter, on=date(2026, 2, 1), why="cracked insert")
    save_head(store, Head(name="field point", kind="field point", mass_g=0.1 + 0.2))
    photo = add_photo(store, b"a photo", name="../end 1.jpg")
    session = save_session(
        store,
        Session(held_on=date(2026, 3, 1), shooter="Bo Tarn", rig="Heron", distance_m=1 / 3,
                plan={"heads": ["a", "b"], "n": 1.0}),
    )  # fmt: skip
    shots = tuple(
        ShotRecord(number=n, x_mm=n / 3, y_mm=-n / 7, head="field point", arrow="1")
        for n in (1, 2, 3)
    )
    scan = save_scan(
        store,
        ScanRecord(session_id=session, photo_sha256=photo, image_size_px=(40, 30),
                   mm_to_px=((1, 0, 0), (0, 1, 0), (0, 0, 1)), shots=shots, warnings=("=x",)),
    )  # fmt: skip
    save_scan(store, ScanRecord(session_id=session, label="typed", shots=shots[:1]))
    kept = load_scan(store, scan)
    save_scan(store, replace(kept, shots=kept.shots[:2]))
    other = save_session(store, Session(held_on=date(2026, 3, 2), place="Wood"))
    save_session(store, replace(get_session(store, other), notes="wet"))
    delete_entry(store, "session", other)


def all_rows(store: Store) -> dict[str, list[tuple[Any, ...]]]:
    with reading(store) as connection:
        return {
            table.name: [
                tuple(row)
                for row in connection.execute(sa.select(table).order_by(*table.primary_key))
            ]
            for table in metadata.sorted_tables
        }


def what_came(store: Store) -> dict[str, list[tuple[Any, ...]]]:
    """Return all rows but the journal's own lines about imports made here."""
    rows = all_rows(store)
    entry = metadata.tables["audit"].c.keys().index("entry")
    return {**rows, "audit": [row for row in rows["audit"] if row[entry] != "import"]}


def test_no_column_of_any_table_is_forgotten(store, tmp_path):
    everything(store)
    export_archive(store, tmp_path / "all.zip")
    files = tables_of(tmp_path / "all.zip")
    for table in metadata.sorted_tables:
        text = files[f"tables/{table.name}.csv"].decode()
        heads, *rows = csv.reader(io.StringIO(text, newline=""))
        told = [
            head.removesuffix("_uid") + "_id" if head.removesuffix("_uid") + "_id" in table.c
            else head for head in heads
        ]  # fmt: skip
        assert told == list(table.c.keys())
        assert len(set(heads)) == len(heads)
        assert len(rows) == len(all_rows(store)[table.name]), table.name
    assert {name for name in files if name.startswith("tables/")} == {
        f"tables/{name}.csv" for name in metadata.tables
    }


def same_but_for_the_import(before: Path, after: Path) -> bool:
    """Return whether two archives hold the same byte for byte, but for lines about an import."""
    one, two = tables_of(before), tables_of(after)
    journal = two["tables/audit.csv"]
    two["tables/audit.csv"] = journal[: len(one["tables/audit.csv"])]
    lines = journal[len(one["tables/audit.csv"]) :].decode().splitlines()
    return one == two and all(",import," in line for line in lines)


def test_everything_comes_back_the_same(store, another, tmp_path):
    source = another("source")
    everything(source)
    manifest = export_archive(source, tmp_path / "all.zip")
    report = import_archive(store, tmp_path / "all.zip")
    assert what_came(store) == all_rows(source)
    assert {name: counts.new for name, counts in report.counts.items()} == manifest.rows
    assert (report.conflicts, report.namesakes, report.photos) == ((), (), 1)
    assert photo_bytes(store, manifest.photos[0]) == b"a photo"
    export_archive(store, tmp_path / "again.zip")
    assert same_but_for_the_import(tmp_path / "all.zip", tmp_path / "again.zip")
    # and the store counts on after the numbers that came
    assert save_head(store, Head(name="another")) not in (0, 1)
    assert save_session(store, Session(held_on=date(2026, 4, 1))) > 2


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture,
                                                           HealthCheck.too_slow],
)  # fmt: skip
@given(content=contents())
def test_any_content_comes_back_byte_for_byte(empty_home, content):
    with TemporaryDirectory() as name, ExitStack() as stack:
        folder = Path(name)
        stores = []
        for part in ("a", "b"):
            shutil.copytree(empty_home, folder / part)
            stores.append(stack.enter_context(closing(open_store(folder / part))))
        fill(stores[0], *content)
        export_archive(stores[0], folder / "a.zip")
        report = import_archive(stores[1], folder / "a.zip")
        export_archive(stores[1], folder / "b.zip")
        assert same_but_for_the_import(folder / "a.zip", folder / "b.zip")
        assert not report.conflicts
        assert not report.namesakes
        assert all_rows(stores[0]) == what_came(stores[1])
        again = import_archive(stores[1], folder / "a.zip")
        assert not again.conflicts
        assert {counts.new for counts in again.counts.values()} == {0}


def test_other_programs_read_the_tables(store, tmp_path):
    everything(store)
    export_archive(store, tmp_path / "all.zip")
    with zipfile.ZipFile(tmp_path / "all.zip") as archive:
        assert archive.testzip() is None
        rows = list(
            csv.DictReader(io.TextIOWrapper(archive.open("tables/shooter.csv"), newline=""))
        )
        told = json.loads(archive.read("manifest.json"))
    assert [row["name"] for row in rows] == ["Ada Fenwick", "Bo Tarn"]
    assert rows[1]["coach_uid"] == rows[0]["uid"]
    assert (rows[0]["coach_uid"], rows[0]["notes"]) == (r"\N", "")
    assert (rows[0]["goals"], rows[1]["notes"]) == ("=cmd()|'x'", 'said "no"\r\n,')
    assert (told["kind"], told["format"]) == ("groupscan archive", 1)


def test_a_second_import_finds_everything_there(store, tmp_path):
    everything(store)
    manifest = export_archive(store, tmp_path / "all.zip")
    before = all_rows(store)
    report = import_archive(store, tmp_path / "all.zip")
    assert all_rows(store) == before
    assert report.counts == {name: Counts(known=rows) for name, rows in manifest.rows.items()}
    assert report.conflicts == ()


def test_a_dry_run_tells_the_same_and_changes_nothing(store, another, tmp_path):
    source = another("source")
    everything(source)
    export_archive(source, tmp_path / "all.zip")
    save_shooter(store, Shooter(name="ada fenwick"))
    before = all_rows(store)
    foreseen = import_archive(store, tmp_path / "all.zip", dry_run=True)
    assert all_rows(store) == before
    assert list(store.photo_dir.iterdir()) == []
    assert foreseen.dry_run
    done = import_archive(store, tmp_path / "all.zip")
    assert replace(done, uid="") == replace(foreseen, dry_run=False)


def test_what_was_changed_here_stays_and_is_told(store, another, tmp_path):
    everything(store)
    export_archive(store, tmp_path / "all.zip")
    pupil = int(list_shooters(store).set_index("name").loc["Bo Tarn", "id"])
    save_shooter(store, replace(get_shooter(store, pupil), goals="ten at 18 m"))
    scans = shots_frame(store)["scan_id"].unique().tolist()
    typed = load_scan(store, scans[1])
    moved = replace(typed.shots[0], x_mm=99.0)
    save_scan(store, replace(typed, shots=(moved,)))
    before = all_rows(store)
    report = import_archive(store, tmp_path / "all.zip")
    assert all_rows(store) == before
    assert [one for one in report.conflicts if one.entry == "shooter"] == [
        Conflict("shooter", "shooter Bo Tarn", ("goals",))
    ]
    (end,) = [one for one in report.conflicts if one.entry == "scan"]
    assert end.differs == ("shots",)
    assert end.name == f"end {scans[1]} of 2026-03-01"
    assert report.counts["shot"] == Counts(known=3, kept=1)
    assert report.counts["scan"] == Counts(known=1, kept=1)


def test_what_was_deleted_here_does_not_come_back(store, tmp_path):
    everything(store)
    export_archive(store, tmp_path / "all.zip")
    session = int(list_sessions(store)["id"].iloc[0])
    delete_entry(store, "session", session)
    report = import_archive(store, tmp_path / "all.zip")
    assert list_sessions(store).empty
    assert report.conflicts == (
        Conflict("session", f"session {session} of 2026-03-01", ("deleted",)),
    )


def test_an_end_comes_in_whole_or_not_at_all(store, another, tmp_path):
    """Shots that were added to an end elsewhere are not mixed into ours."""
    everything(store)
    export_archive(store, tmp_path / "ours.zip")
    other = another("other")
    import_archive(other, tmp_path / "ours.zip")
    scan = int(shots_frame(other)["scan_id"].iloc[0])
    kept = load_scan(other, scan)
    added = ShotRecord(number=9, x_mm=1.0, y_mm=1.0)
    save_scan(other, replace(kept, shots=(*kept.shots, added)))
    save_scan(other, ScanRecord(session_id=kept.session_id, label="new", shots=(added,)))
    export_archive(other, tmp_path / "theirs.zip")
    before = load_scan(store, scan)
    report = import_archive(store, tmp_path / "theirs.zip")
    assert load_scan(store, scan) == before
    assert [one.entry for one in report.conflicts] == ["scan"]
    assert report.counts["scan"].new == 1  # the new end of our session is here


def club_member(store: Store, shooter: str, *, head_g: float | None, hand: str = "") -> None:
    """Save a small season as somebody keeps it on a computer of their own."""
    save_head(store, Head(name="Field Point", mass_g=head_g))
    owner = save_shooter(store, Shooter(name=shooter, hand=hand))
    save_build(store, Build(name="brass", shooter_id=owner))
    shots = tuple(
        ShotRecord(number=n, x_mm=n / 3, y_mm=0.0, head="field point", arrow=str(n)) for n in (1, 2)
    )
    session = Session(held_on=date(2026, 5, 1), shooter=shooter, rig="Heron")
    save_outings(store, [Outing(session, [ScanRecord(session_id=0, shots=shots)])])


def test_two_members_share_heads_and_keep_their_own_rigs(store, another, tmp_path):
    for name, shooter in (("one", "Ada Fenwick"), ("two", "Bo Tarn")):
        club_member(another(name), shooter, head_g=6.48)
        export_archive(another_store := open_store(tmp_path / name), tmp_path / f"{name}.zip")
        another_store.close()
    import_archive(store, tmp_path / "one.zip")
    report = import_archive(store, tmp_path / "two.zip")
    assert report.namesakes == (Namesake("head", "Field Point", "Field Point"),)
    assert len(list_heads(store)) == 1
    assert len(list_rigs(store)) == 2
    assert len(list_arrows(store)) == 4
    shots = shots_frame(store)
    assert len(shots) == 4
    assert set(shots["head"]) == {"Field Point"}
    assert sorted(set(shots["shooter"])) == ["Ada Fenwick", "Bo Tarn"]


def test_a_student_known_on_two_computers_has_one_season(store, another, tmp_path):
    club_member(store, "ada fenwick", head_g=None)
    own = another("own")
    club_member(own, "Ada Fenwick", head_g=6.48, hand="left")
    export_archive(own, tmp_path / "own.zip")
    report = import_archive(store, tmp_path / "own.zip")
    joined = {one.entry: one.now_called for one in report.namesakes}
    assert joined == {
        "head": "Field Point", "shooter": "ada fenwick", "build": "brass", "rig": "Heron",
        "arrow": "2",
    }  # fmt: skip
    assert len(list_shooters(store)) == len(list_rigs(store)) == len(list_heads(store)) == 1
    assert len(list_arrows(store)) == 2
    assert len(shots_frame(store)) == 4
    again = import_archive(store, tmp_path / "own.zip")
    assert again.conflicts == ()
    assert sum(counts.new for counts in again.counts.values()) == 0


def test_namesakes_that_cannot_be_one_stand_apart(store, another, tmp_path):
    """100 grains (6.48 g) and 125 grains (8.10 g): shots thrown together never part again."""
    club_member(store, "Ada Fenwick", head_g=6.48)
    other = another("other")
    club_member(other, "Bo Tarn", head_g=8.1)
    export_archive(other, tmp_path / "other.zip")
    report = import_archive(store, tmp_path / "other.zip")
    assert report.namesakes == (
        Namesake("head", "Field Point", "Field Point (2)", ("mass_g: 6.48 here, 8.1 there",)),
    )
    of_bo = shots_frame(store).query("shooter == 'Bo Tarn'")
    assert set(of_bo["head"]) == {"Field Point (2)"}
    again = import_archive(store, tmp_path / "other.zip")
    assert (again.conflicts, again.namesakes) == ((), ())


def test_a_change_of_a_rig_written_down_twice_is_one_setup(store, another, tmp_path):
    other = another("other")
    for one in (store, other):
        rig = save_rig(one, Rig(name="Heron" if one is store else "heron"))
        add_setup(one, Setup(rig_id=rig, since=date(2026, 1, 1), changed="New string",
                             draw_weight_n=262.45))  # fmt: skip
        add_setup(one, Setup(rig_id=rig, since=date(2026, 2, 1), changed="rest moved",
                             draw_weight_n=260.0 if one is store else None))  # fmt: skip
        add_pins(one, [Pin(rig_id=rig, set_on=date(2026, 3, 1), distance_m=20.0, below_mm=31.0)])
        add_speeds(one, [Speed(rig_id=rig, taken_on=date(2026, 3, 1), mass_g=26.0,
                               speed_mps=84.0)])  # fmt: skip
        save_session(one, Session(held_on=date(2026, 1, 5), rig="Heron", purpose=str(one is store)))
    export_archive(other, tmp_path / "other.zip")
    report = import_archive(store, tmp_path / "other.zip")
    setups = list_setups(store)
    assert setups["changed"].tolist() == ["New string", "rest moved", "rest moved"]
    assert (report.counts["setup"].joined, report.counts["setup"].new) == (1, 1)
    assert (report.counts["pin"].joined, report.counts["pin"].new) == (1, 0)
    assert report.counts["speed"].new == 1  # two shots may well be of the same speed
    assert list_sessions(store)["setup_id"].tolist() == [setups["id"].iloc[0]] * 2
    assert import_archive(store, tmp_path / "other.zip").counts["setup"].new == 0
    assert len(list_setups(store)) == 3


def test_an_entry_renamed_elsewhere_does_not_swallow_its_successor(store, another, tmp_path):
    save_rig(store, Rig(name="Heron"))
    export_archive(store, tmp_path / "ours.zip")
    other = another("other")
    import_archive(other, tmp_path / "ours.zip")
    row = list_rigs(other).iloc[0]
    save_rig(other, Rig(name="old Heron", id=int(row["id"]), revision=1))
    save_rig(other, Rig(name="Heron", bow="recurve"))
    export_archive(other, tmp_path / "theirs.zip")
    report = import_archive(store, tmp_path / "theirs.zip")
    assert [one.name for one in report.conflicts] == ["rig Heron"]
    assert [one.now_called for one in report.namesakes] == ["Heron (2)"]
    assert sorted(list_rigs(store)["name"]) == ["Heron", "Heron (2)"]


def test_numbers_stay_where_they_are_free_and_in_order(store, another, tmp_path):
    source = another("source")
    for day in (1, 2, 3):
        save_session(source, Session(held_on=date(2026, 5, day)))
    export_archive(source, tmp_path / "all.zip")
    save_session(store, Session(held_on=date(2020, 1, 9)))
    with writing(store) as connection:
        session = metadata.tables["session"]
        connection.execute(sa.update(session).values(id=2))
    import_archive(store, tmp_path / "all.zip")
    days = list_sessions(store).set_index("id")["held_on"].dt.strftime("%d").to_dict()
    assert days == {2: "09", 1: "01", 3: "02", 4: "03"}
    assert save_session(store, Session(held_on=date(2026, 6, 1))) == 5


def test_a_photo_that_is_lost_is_told_and_stops_nothing(store, another, tmp_path):
    source = another("source")
    lost = add_photo(source, b"lost", name="lost.jpg")
    damaged = add_photo(source, b"damaged", name="damaged.jpg")
    sound = add_photo(source, b"sound", name="sound.jpg")
    for sha256, act in ((lost, Path.unlink), (damaged, lambda path: path.write_bytes(b"x"))):
        (path,) = source.photo_dir.rglob(sha256)
        act(path)
    manifest = export_archive(source, tmp_path / "all.zip")
    assert manifest.missing_photos == tuple(sorted([lost, damaged]))
    add_photo(store, b"lost", name="still here.jpg")
    report = import_archive(store, tmp_path / "all.zip")
    assert report.missing_photos == manifest.missing_photos
    assert photo_bytes(store, sound) == b"sound"
    assert photo_bytes(store, lost) == b"lost"


def test_a_full_disk_leaves_the_archive_of_before(store, tmp_path, monkeypatch):
    everything(store)
    path = tmp_path / "all.zip"
    path.write_bytes(b"of before")
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    heeded = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # an error is wanted, not the end
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, limits[1]))
    try:
        with pytest.raises(StoreError, match=r"all\.zip was not written.*The records are as"):
            export_archive(store, path)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        signal.signal(signal.SIGXFSZ, heeded)
    assert path.read_bytes() == b"of before"
    assert [one.name for one in tmp_path.iterdir() if one.name.endswith(".part")] == []


def test_a_folder_that_may_not_be_written_is_told(open_folder, ordinary_user):
    with closing(open_store(open_folder / "home")) as store:
        for path in [store.home, *store.home.iterdir()]:
            path.chmod(0o777)
        open_folder.chmod(0o555)
        with ordinary_user(), pytest.raises(StoreError, match=r"may not be written to.*another"):
            export_archive(store, open_folder / "all.zip")
        with pytest.raises(StoreError, match=r"not written.*No such file"):
            export_archive(store, open_folder / "no folder" / "all.zip")


def test_a_full_disk_in_the_middle_of_an_import_stores_nothing(another, tmp_path):
    source, target = another("source"), another("target")
    everything(source)
    save_head(source, Head(name="large", notes="n" * 500_000))
    export_archive(source, tmp_path / "all.zip")
    with target.engine.connect() as connection:
        # SQLite's own way to play a full disk: the same error as from the real one.
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        connection.exec_driver_sql(f"PRAGMA max_page_count={pages + 20}")
    before = all_rows(target)
    with pytest.raises(StoreError, match=r"disk is full.*stored before is intact: free"):
        import_archive(target, tmp_path / "all.zip")
    assert all_rows(target) == before
    with target.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA max_page_count=100000")
    import_archive(target, tmp_path / "all.zip")
    assert what_came(target) == all_rows(source)
