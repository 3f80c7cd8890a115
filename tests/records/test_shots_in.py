"""Taking in a plain table of shots: what is foreseen, what is stored, what is known again."""

from contextlib import closing
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from groupscan.csvfile import csv_bytes
from groupscan.errors import StoreError
from groupscan.records.aimed import aimed_shots
from groupscan.records.exchange import shots_in
from groupscan.records.exchange.shots_in import commit, plan_import
from groupscan.records.exchange.shots_out import shots_table, write_shots
from groupscan.records.store import (
    Build,
    ScanRecord,
    Session,
    Shooter,
    ShotRecord,
    add_photo,
    delete_entry,
    get_session,
    list_corrections,
    list_identities,
    list_scans,
    list_sessions,
    load_scan,
    open_store,
    save_build,
    save_scan,
    save_session,
    save_shooter,
    shots_frame,
)
from tests.records.shot_files import HEADS, ROWS, counted, written

BACKENDS = ("sqlite", "postgresql")


@pytest.fixture
def taken_in(store, tmp_path):
    commit(store, plan_import(store, written(tmp_path, HEADS, *ROWS)))
    return store


def test_a_dry_run_says_what_would_be_and_changes_nothing(store, tmp_path):
    before = counted(store)
    plan = plan_import(store, written(tmp_path, HEADS, *ROWS))
    assert (plan.sessions, plan.continued, plan.ends, plan.shots) == (2, 0, 3, 5)
    assert plan.new == {
        "shooter": ("Ada Fenwick",),
        "rig": ("Heron",),
        "build": (),
        "head": ("field point", "fixed-blade"),
        "arrow": ("1", "2"),
    }
    assert (plan.skipped, plan.bad) == ((), ())
    assert counted(store) == before
    assert set(before.values()) == {0}


def test_what_was_said_is_what_is_stored(store, tmp_path):
    plan = plan_import(store, written(tmp_path, HEADS, *ROWS))
    assert len(commit(store, plan)) == plan.sessions
    assert counted(store) == {
        "list_shooters": 1, "list_rigs": 1, "list_builds": 0, "list_arrows": 2, "list_heads": 2,
        "list_sessions": 2, "scans": 3, "shots": 5,
    }  # fmt: skip
    shots = shots_frame(store)
    assert shots["x_mm"].tolist() == [-12.5, 4, 0, 3, 2]
    assert shots["distance_m"].tolist() == [18.288] * 5
    assert shots["number"].tolist() == [1, 2, 1, 2, 1]
    assert shots["label"].tolist() == ["1", "1", "2", "2", "1"]
    assert shots["auto_x_mm"].isna().all()
    end = load_scan(store, int(shots["scan_id"].iloc[0]))
    assert (end.photo_sha256, end.scale_source, end.aim_mm) == (None, "typed", (0.0, 0.0))


def test_the_same_table_again_brings_nothing(taken_in, tmp_path):
    before = counted(taken_in)
    plan = plan_import(taken_in, tmp_path / "shots.csv")
    assert (plan.sessions, plan.continued, plan.ends, plan.shots) == (0, 0, 0, 0)
    assert [(one.row, one.shots, one.why) for one in plan.skipped] == [
        (2, 2, "is in the records"),
        (4, 2, "is in the records"),
        (6, 1, "is in the records"),
    ]
    assert commit(taken_in, plan) == []
    assert counted(taken_in) == before


def test_two_stores_give_the_same_identities(store, tmp_path):
    path = written(tmp_path, HEADS, *ROWS)
    shuffled = [ROWS[i] for i in (4, 2, 0, 3, 1)]
    again = written(tmp_path, HEADS.upper(), *(r.replace("Ada", "ADA") for r in shuffled), name="b")
    with closing(open_store(tmp_path / "other")) as other:
        commit(store, plan_import(store, path))
        commit(other, plan_import(other, again))
        for kind in ("scan", "session"):
            ours, theirs = (set(list_identities(one, kind)) for one in (store, other))
            assert ours == theirs
            assert len(ours) == {"scan": 3, "session": 2}[kind]


def test_a_session_goes_on(taken_in, tmp_path):
    more = written(tmp_path, HEADS, "2026-05-10,2,ada fenwick,heron,18.288 m,field point,1,5,5")
    plan = plan_import(taken_in, more)
    assert (plan.sessions, plan.continued, plan.ends, plan.shots) == (0, 1, 1, 1)
    assert not any(plan.new.values())
    commit(taken_in, plan)
    assert list_sessions(taken_in)["ends"].tolist() == [2, 2]


def outing(place="", purpose="", notes=""):
    return Session(
        held_on=date(2026, 5, 3), shooter="Ada", place=place, purpose=purpose, notes=notes
    )


PLACED = "date,shooter,x,y,place,purpose,notes"


@pytest.mark.parametrize(
    ("ours", "cells"),
    [
        (outing("Club"), "Home,,"),
        (outing("Club", "practice"), "club,league,"),
        (outing("Club", "practice"), ",league,"),
    ],
)
def test_another_place_or_purpose_is_another_session(store, tmp_path, ours, cells):
    first = save_session(store, ours)
    plan = plan_import(store, written(tmp_path, PLACED, f"2026-05-03,Ada,1,2,{cells}"))
    assert (plan.sessions, plan.continued, plan.not_taken) == (1, 0, ())
    (second,) = commit(store, plan)
    assert second != first
    stored = get_session(store, second)
    assert [stored.place, stored.purpose] == cells.split(",")[:2]


def test_a_session_of_which_less_is_said_goes_on_and_what_is_not_taken_is_told(store, tmp_path):
    key = save_session(store, outing("Club", notes="gusts\nrain"))
    rows = [f"2026-05-03,Ada,1,2,CLUB,league,{note}" for note in ("gusts", "new rest")]
    plan = plan_import(store, written(tmp_path, PLACED, *rows))
    assert (plan.sessions, plan.continued) == (0, 1)
    told = [(one.session, one.what, one.said, one.ours) for one in plan.not_taken]
    assert told == [(key, "purpose", "league", ""), (key, "notes", "new rest", "gusts\nrain")]
    assert plan.to_dict()["not_taken"][0] == {
        "session": key, "what": "purpose", "said": "league", "ours": "",
    }  # fmt: skip
    commit(store, plan)
    assert get_session(store, key).notes == "gusts\nrain"


def test_of_two_sessions_the_one_of_the_same_place_goes_on(store, tmp_path):
    save_session(store, outing())
    at_club = save_session(store, outing("Club"))
    plan = plan_import(store, written(tmp_path, PLACED, "2026-05-03,Ada,1,2,Club,,"))
    assert commit(store, plan) == [at_club]


def test_a_session_that_holds_one_of_the_ends_goes_on_whatever_it_is_called(taken_in, tmp_path):
    lines = [
        f"{row},club" for row in [*ROWS, ROWS[2].replace("0,1", "8,8").replace(",2,", ",3,", 1)]
    ]
    other = [f"{ROWS[4].replace('2,2', '6,6')},home"]
    plan = plan_import(taken_in, written(tmp_path, f"{HEADS},session", *lines, *other))
    # The third end of the first day joins its own session; the one at home is another session.
    assert (plan.sessions, plan.continued, plan.ends) == (1, 1, 2)


def test_another_distance_or_rig_is_another_session(taken_in, tmp_path):
    other = [ROWS[0].replace("20 yd", "30 yd"), ROWS[0].replace("Heron", "Wren")]
    plan = plan_import(taken_in, written(tmp_path, HEADS, *other))
    assert (plan.sessions, plan.continued, plan.ends) == (2, 0, 2)
    assert plan.new["rig"] == ("Wren",)


THREE = [f"2026-05-03,{{}},Ada,Heron,18 m,field point,{arrow},{arrow},-1.5" for arrow in (1, 2, 3)]


def test_an_end_that_comes_twice_in_a_table_counts_once(store, tmp_path):
    once, twice = ([row.format(end) for row in THREE] for end in (1, 9))
    plan = plan_import(store, written(tmp_path, HEADS, *ROWS, *once, *reversed(twice)))
    assert (plan.ends, plan.shots, plan.alike) == (4, 8, 0)
    assert [(one.row, one.why) for one in plan.skipped] == [
        (10, "has the same shots as the end at row 7")
    ]
    other = [row.replace(",2,2,", ",5,2,") for row in twice]
    plan = plan_import(store, written(tmp_path, HEADS, *once, *other))
    assert [one.why for one in plan.skipped] == [
        "has the same shots as the end at row 2, with other arrows"
    ]


def test_single_shots_that_hit_one_place_are_each_counted(store, tmp_path):
    # As somebody types them who rounds to whole inches: three arrows, an end each, in one place.
    rows = [f"2026-05-03,{end},Ada,Heron,18 m,,,1,0" for end in (1, 2, 3)]
    path = written(tmp_path, HEADS, *rows)
    plan = plan_import(store, path)
    assert (plan.ends, plan.alike, plan.skipped) == (3, 2, ())
    commit(store, plan)
    assert plan_import(store, path).ends == 0
    more = written(tmp_path, HEADS, *rows, rows[0].replace(",1,Ada", ",4,Ada"), name="more")
    plan = plan_import(store, more)
    assert (plan.ends, len(plan.skipped)) == (1, 3)
    commit(store, plan)
    assert plan_import(store, more).ends == 0
    delete_entry(store, "scan", int(list_scans(store)["id"].iloc[1]))
    assert plan_import(store, more).ends == 0


@pytest.mark.parametrize(
    ("was", "now", "differs"),
    [
        (",1,-12.5", ",7,-12.5", ("arrows",)),
        ("field point,1,-12.5", "fixed-blade,7,-12.5", ("heads", "arrows")),
        ("field point,1,-12.5", ",,-12.5", ()),  # what the table does not say is not otherwise
        ("field point,1,-12.5", "FIELD POINT,1,-12.5", ()),
    ],
)
def test_other_arrows_and_heads_of_a_known_end_are_told_and_ours_kept(
    taken_in, tmp_path, was, now, differs
):
    assert any(was in row for row in ROWS)
    before = counted(taken_in)
    plan = plan_import(taken_in, written(tmp_path, HEADS, *(r.replace(was, now) for r in ROWS)))
    assert (plan.ends, [one.differs for one in plan.skipped]) == (0, [differs, (), ()])
    assert plan.skipped[0].why.endswith(f"with other {' and '.join(differs)}" if differs else "rds")
    commit(taken_in, plan)
    assert counted(taken_in) == before


def test_the_same_places_with_other_heads_on_another_day_or_rig_are_other_ends(taken_in, tmp_path):
    rows = [row.replace("Heron", "Egret").replace("field point", "fixed-blade") for row in ROWS]
    assert plan_import(taken_in, written(tmp_path, HEADS, *rows)).ends == 3


def test_an_end_that_was_corrected_is_still_known(taken_in, tmp_path):
    end = load_scan(taken_in, int(list_scans(taken_in)["id"].iloc[0]))
    moved = tuple(replace(shot, x_mm=shot.x_mm + 5) for shot in end.shots)
    save_scan(taken_in, replace(end, shots=moved))
    assert plan_import(taken_in, tmp_path / "shots.csv").ends == 0


def test_an_end_that_was_deleted_is_told_and_not_doubled(taken_in, tmp_path):
    delete_entry(taken_in, "scan", int(list_scans(taken_in)["id"].iloc[0]))
    plan = plan_import(taken_in, tmp_path / "shots.csv")
    assert plan.ends == 0
    assert plan.skipped[0].why == "was deleted from the records: restore it there"


def test_a_new_end_of_a_session_that_was_deleted_makes_a_session(taken_in, tmp_path):
    for session_id in list_sessions(taken_in)["id"]:
        delete_entry(taken_in, "session", int(session_id))
    plan = plan_import(taken_in, written(tmp_path, HEADS, ROWS[0].replace("30", "31")))
    assert (plan.sessions, plan.ends) == (1, 1)
    commit(taken_in, plan)
    assert len(shots_frame(taken_in)) == 1


def test_an_end_scanned_from_a_photo_is_known_from_its_table(store, tmp_path):
    session_id = save_session(store, Session(held_on=date(2026, 5, 3), shooter="Ada"))
    aims = ((-60.0, 0.0), (60.0, 0.0))
    places = [(-58.123, 1 / 3), (63.0, -1.005)]
    end = ScanRecord(
        session_id=session_id,
        photo_sha256=add_photo(store, b"a photo", name="a.jpg"),
        image_size_px=(4032, 3024),
        mm_to_px=((3.3, 0.1, 2016.0), (-0.1, -3.3, 1512.0), (0.0, 0.0, 1.0)),
        aim_mm=aims[0],
        aims_mm=aims,
        shots=tuple(ShotRecord(number=i, x_mm=x, y_mm=y) for i, (x, y) in enumerate(places, 1)),
    )
    save_scan(store, end)
    path = tmp_path / "out.csv"
    write_shots(store, path)
    plan = plan_import(store, path)
    assert (plan.ends, len(plan.skipped)) == (0, 1)
    # A spreadsheet keeps 15 digits of a number, and the order of the rows is the user's.
    typed = ["date,shooter,right_mm,high_mm"]
    for x, y in reversed(shots_table(store)[["right_mm", "high_mm"]].to_numpy()):
        typed.append(f"2026-05-03,ada,{x:.15g},{y:.15g}")
    assert plan_import(store, written(tmp_path, *typed)).ends == 0


def test_the_apps_own_table_of_holes_is_known_and_what_was_taken_out_stays_out(taken_in, tmp_path):
    path = tmp_path / "holes.csv"
    shots = aimed_shots(taken_in)
    gone = shots.iloc[:1].assign(removed=True, number=9, right_mm=77.0)
    path.write_bytes(csv_bytes(pd.concat([shots, gone]).drop(columns="shot_id")))
    plan = plan_import(taken_in, path)
    assert plan.bad == ()
    assert (plan.ends, [one.shots for one in plan.skipped]) == (0, [2, 2, 1])


def test_names_that_differ_in_how_letters_are_coded_are_one(taken_in, tmp_path):
    # Unicode Standard Annex 15: one letter e with diaeresis, or an e and a combining diaeresis.
    one, two = "Zo\u00eb", "Zoe\u0308"
    rows = [f"2026-06-0{day},{name},1,2" for day, name in ((1, one), (2, two))]
    plan = plan_import(taken_in, written(tmp_path, "date,shooter,x,y", *rows))
    assert plan.new["shooter"] == (one,)


def test_what_is_written_comes_in_elsewhere_as_it_was(store, tmp_path):
    rng = np.random.default_rng(5)
    names = ["=cmd()", 'say "no", then', "two\nlines", "Zoë 弓", "-1", "'=x"]
    lines = [f"{HEADS},order,flyer,flyer_why,place,se_mm"]
    for i, name in enumerate(names):
        cell = '"' + name.replace('"', '""') + '"'
        x, y = rng.normal(0, 30, 2).tolist()
        why = cell if i % 2 else ""
        lines += [
            f"2026-05-{i // 2 + 1:02d},{cell},{cell},{cell},,{cell},{cell},{x},{y},{i + 1},"
            f"{'yes' if i % 2 else 'no'},{why},{cell},{0.1 * i}"
        ]
    commit(store, plan_import(store, written(tmp_path, *lines)))
    path = tmp_path / "out.csv"
    write_shots(store, path)
    with closing(open_store(tmp_path / "other")) as other:
        plan = plan_import(other, path)
        assert plan.bad == ()
        commit(other, plan)
        ids = ["session_id", "scan_id"]
        there, here = (shots_table(one).drop(columns=ids) for one in (other, store))
        key = ["shooter", "date"]
        there, here = (one.sort_values(key, ignore_index=True) for one in (there, here))
        assert there.equals(here)
        assert set(here["shooter"]) == {name if name != "'=x" else "=x" for name in names}


def test_a_commit_that_fails_half_way_stores_nothing(store, tmp_path, monkeypatch):
    plan = plan_import(store, written(tmp_path, HEADS, *ROWS))
    inserted = shots_in.insert_outings

    def fail_at_the_end(*given, **told):
        inserted(*given, **told)
        raise StoreError("the disk is full")

    monkeypatch.setattr(shots_in, "insert_outings", fail_at_the_end)
    with pytest.raises(StoreError, match="disk"):
        commit(store, plan)
    assert set(counted(store).values()) == {0}
    assert list_corrections(store).empty


def test_a_plan_made_before_others_took_the_table_in_stores_nothing(store, tmp_path):
    path = written(tmp_path, HEADS, *ROWS)
    stale = plan_import(store, path)
    commit(store, plan_import(store, path))
    before = counted(store)
    with pytest.raises(StoreError, match="look it through again"):
        commit(store, stale)
    assert counted(store) == before


def test_an_arrow_is_one_of_its_build(store, tmp_path):
    ada = save_shooter(store, Shooter(name="Ada"))
    save_build(store, Build(name="Old", shooter_id=ada))
    path = written(
        tmp_path, "date,x,y,shooter,build,arrow", "2026-05-03,1,2,Ada,old,1",
        "2026-05-03,3,4,Ada,New,1",
    )  # fmt: skip
    plan = plan_import(store, path)
    assert (plan.sessions, plan.new["build"], plan.new["arrow"]) == (2, ("New",), ("1", "1"))
    commit(store, plan)
    assert shots_frame(store)["build"].tolist() == ["Old", "New"]
    assert shots_frame(store)["arrow_id"].nunique() == 2
