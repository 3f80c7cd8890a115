"""What the records know beyond a photo, in the questions: order, builds, setups, flyers, shafts."""

from __future__ import annotations

import json
from contextlib import closing
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import event
from typer.testing import CliRunner

from groupscan import cli
from groupscan.decisions.shot_table import choose_shots, read_shot_csv, shots_of_records
from groupscan.errors import GroupscanError
from groupscan.records import connect
from groupscan.records.store import (
    Arrow,
    Build,
    Outing,
    Rig,
    ScanRecord,
    Session,
    Setup,
    ShotRecord,
    add_setup,
    open_store,
    rebuild_arrow,
    save_arrow,
    save_build,
    save_outings,
    save_rig,
)


def told(home: Path, *arguments: object) -> dict:
    words = [str(argument) for argument in arguments]
    result = CliRunner().invoke(
        cli.app, [*words, "--home", str(home), "--json"], catch_exceptions=False
    )
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout, parse_constant=pytest.fail)


def end(places: np.ndarray, **shot_fields) -> ScanRecord:
    """A typed end; a field is one value for all its shots, or a list of one for each."""
    shots = []
    for i, (x, y) in enumerate(places):
        fields = {k: v[i] if isinstance(v, list) else v for k, v in shot_fields.items()}
        shots.append(ShotRecord(number=i + 1, x_mm=float(x), y_mm=float(y), **fields))
    return ScanRecord(session_id=0, shots=tuple(shots))


def day(week: int) -> date:
    return date(2026, 4, 5) + timedelta(days=7 * week)


@pytest.fixture(scope="module")
def home(tmp_path_factory) -> Path:
    """Twelve typed sessions of two ends of six.

    The rest was moved before the seventh, which puts the group 40 mm left; the second build, from
    the ninth on, lands 50 mm lower; the first arrow of a session 30 mm high; arrow 4 is 35 mm
    right, whatever it is built into.
    """
    folder = tmp_path_factory.mktemp("records")
    rng = np.random.default_rng(11)
    with closing(open_store(folder)) as store:
        rig = save_rig(store, Rig(name="Heron"))
        builds = [save_build(store, Build(name=name)) for name in ("Reed 340", "Reed 300")]
        add_setup(store, Setup(rig_id=rig, since=day(0), build_id=builds[0]))
        add_setup(store, Setup(rig_id=rig, since=day(6), changed="rest moved", build_id=builds[0]))
        add_setup(store, Setup(rig_id=rig, since=day(8), changed="arrows", build_id=builds[1]))
        for number in range(1, 7):
            key = save_arrow(store, Arrow(number=str(number), build_id=builds[0]))
            rebuild_arrow(store, key, builds[1], on=day(8))
        outings = []
        for week in range(12):
            ends = []
            for half in range(2):
                arrows = rng.permutation(6) + 1
                places = rng.normal(0, 10, (6, 2))
                places[:, 0] += 35.0 * (arrows == 4) - 40.0 * (week >= 6)
                places[:, 1] -= 50.0 * (week >= 8)
                if half == 0:
                    places[0, 1] += 30.0
                ends.append(
                    end(
                        places,
                        order=[6 * half + i + 1 for i in range(6)] if week != 3 else None,
                        arrow=[str(arrow) for arrow in arrows],
                        head="field point",
                        flyer=[week == 5 and half == 1 and i == 2 for i in range(6)],
                    )
                )
            # Saved in the order of their letters, not in that of shooting.
            held = Session(held_on=day(week), rig="Heron", distance_m=18.0, purpose="tuning")
            outings.append(Outing(held, ends[::-1]))
        save_outings(store, outings)
    return folder


def test_builds_and_setups_are_compared_from_records(home) -> None:
    by_setup = told(home, "compare", "--by", "setup", "--reference", "Heron 2026-04-05")
    assert by_setup["shots"] == {
        "Heron 2026-04-05": 72, "Heron 2026-05-17: rest moved": 24,
        "Heron 2026-05-31: arrows": 48,
    }  # fmt: skip
    moved = by_setup["centres"]["against"]["Heron 2026-05-17: rest moved"]
    assert moved["x"]["low"] < -40 < moved["x"]["high"]
    by_build = told(home, "compare", "--by", "build", "--reference", "Reed 340")
    low = by_build["centres"]["against"]["Reed 300"]["y"]
    assert low["high"] < -30
    # The other thing that differs is told.
    assert any("of 3 setups are pooled" in note for note in by_build["notes"])
    assert any("of 2 builds are pooled" in note for note in by_setup["notes"])


def test_pooled_builds_and_setups_are_told_and_can_be_chosen(home) -> None:
    pooled = " ".join(told(home, "group")["notes"])
    assert "Shots of 2 builds are pooled (Reed 340 96, Reed 300 48); --build chooses one." in pooled
    one = told(home, "group", "--setup", "2026-05-17")
    assert one["group"]["n"] == 24
    assert one["notes"] == []
    assert told(home, "group", "--build", "reed 300")["group"]["n"] == 48
    with pytest.raises(GroupscanError, match="no shot has the setup '2026-01-01'"):
        told(home, "group", "--setup", "2026-01-01")


def test_a_setup_is_found_by_its_day_whatever_day_the_rigs_name_holds(tmp_path) -> None:
    with closing(open_store(tmp_path)) as store:
        rig = save_rig(store, Rig(name="Heron 2025-01-01"))
        for since, what in ((day(0), ""), (day(6), "rest as of 2024-02-02")):
            add_setup(store, Setup(rig_id=rig, since=since, changed=what))
        held = [
            Session(held_on=day(week), rig="Heron 2025-01-01", distance_m=18.0) for week in (1, 7)
        ]
        save_outings(store, [Outing(one, [end(np.ones((6, 2)))]) for one in held])
    table = shots_of_records(tmp_path)
    assert set(choose_shots(table, setup="2026-05-17")["day"].dt.date) == {day(7)}
    for not_a_setup in ("2025-01-01", "2024-02-02"):
        with pytest.raises(GroupscanError, match="no shot has the setup"):
            choose_shots(table, setup=not_a_setup)


def test_marked_flyers_count_until_they_are_left_out(home) -> None:
    counted = told(home, "group", "--setup", "2026-04-05")
    assert counted["group"]["n"] == 72
    assert any("1 of 72 shots are marked as flyers and count" in n for n in counted["notes"])
    without = told(home, "group", "--setup", "2026-04-05", "--without-flyers")
    assert without["group"]["n"] == 71
    assert without["notes"] == ["1 shots that are marked as flyers are left out."]


def test_the_first_arrow_is_known_where_the_order_is(home) -> None:
    season = told(home, "season", "--build", "Reed 340")
    cold = season["season"]["cold_arrow"]
    assert cold["sessions"] == 7  # of eight: one was typed without an order
    high = np.tan(cold["y"]["value"]) * 18_000
    assert high == pytest.approx(30, abs=12)
    assert any("7 of 8 sessions" in note for note in season["notes"])


def test_a_first_arrow_that_is_not_among_the_shots_is_not_replaced_by_the_next(home) -> None:
    table = shots_of_records(home)
    firsts = table[table["first"]]
    assert firsts["order"].eq(1).all()
    assert firsts["session"].nunique() == 11
    rest = choose_shots(table[~table["first"]])
    assert not rest["first"].any()


def test_shots_are_sorted_as_they_were_shot(home) -> None:
    table = shots_of_records(home)
    known = table[table["order"].notna()]
    assert known.groupby("session")["order"].apply(lambda o: o.is_monotonic_increasing).all()


def test_a_shaft_that_was_built_anew_is_one_arrow(home) -> None:
    quiver = told(home, "arrows")
    assert sorted(arrow["name"] for arrow in quiver["arrows"]) == ["1", "2", "3", "4", "5", "6"]
    assert {arrow["shots"] for arrow in quiver["arrows"]} == {24}
    odd = [arrow["name"] for arrow in quiver["arrows"] if arrow["action"] != "none"]
    assert "4" in odd


def test_two_arrows_of_one_number_are_two(tmp_path) -> None:
    rng = np.random.default_rng(2)
    with closing(open_store(tmp_path)) as store:
        builds = [save_build(store, Build(name=name)) for name in ("old", "new")]
        save_outings(
            store,
            [
                Outing(
                    Session(held_on=day(week), build_id=builds[week % 2]),
                    [end(rng.normal(0, 5, (3, 2)), arrow=["1", "2", str(3 + week % 2)])],
                )
                for week in range(4)
            ],
        )
    names = [arrow["name"] for arrow in told(tmp_path, "arrows")["arrows"]]
    assert sorted(names) == ["1 (new)", "1 (old)", "2 (new)", "2 (old)", "3", "4"]


def test_an_arrow_that_took_a_broken_ones_number_is_another(tmp_path) -> None:
    with closing(open_store(tmp_path)) as store:
        key = save_build(store, Build(name="old"))
        first = Arrow(number="1", build_id=key)
        ids = save_arrow(store, first)
        places = np.zeros((1, 2))
        save_outings(
            store, [Outing(Session(held_on=day(0), build_id=key), [end(places, arrow="1")])]
        )
        broken = replace(first, id=ids, revision=1, state="broken", state_since=day(1))
        save_arrow(store, broken)
        save_arrow(store, first)
        save_outings(
            store, [Outing(Session(held_on=day(2), build_id=key), [end(places, arrow="1")])]
        )
    names = choose_shots(shots_of_records(tmp_path))["arrow"].tolist()
    assert names == [f"1 (old, from {day(0)})", f"1 (old, from {day(2)})"]


def test_an_order_counted_within_each_end_keeps_the_ends_apart(tmp_path) -> None:
    path = tmp_path / "shots.csv"
    rows = ["date,end,order,right_mm,high_mm"]
    rows += [f"2026-05-03,{e},{o},{10 * e + o},0" for e in (1, 2) for o in (2, 1)]
    path.write_text("\n".join(rows), encoding="utf-8")
    table = read_shot_csv([path])
    assert table["right_mm"].tolist() == [11, 12, 21, 22]
    assert table["first"].tolist() == [True, False, False, False]


@pytest.mark.parametrize("mark", ["True", "1", "yes", "X"])
def test_a_flyer_in_a_file_is_a_word_for_yes(tmp_path, mark) -> None:
    path = tmp_path / "shots.csv"
    path.write_text(f"right_mm,high_mm,flyer\n1,2,{mark}\n3,4,\n5,6,False\n", encoding="utf-8")
    table = read_shot_csv([path])
    assert table["flyer"].tolist() == [True, False, False]
    assert len(choose_shots(table, without_flyers=True)) == 2


def test_the_records_are_read_in_as_many_queries_whatever_they_hold(home, monkeypatch) -> None:
    counts = []
    real = connect.make_engine

    def counting(*arguments):
        engine = real(*arguments)
        event.listen(engine, "before_cursor_execute", lambda *a: counts.append(a[2]))
        return engine

    monkeypatch.setattr("groupscan.records.store.make_engine", counting)
    shots_of_records(home)
    assert sum("SELECT" in text for text in counts) < 15  # 24 ends
