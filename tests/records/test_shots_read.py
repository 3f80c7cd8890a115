"""Reading a plain table of shots: columns, units, every wrong cell; and when ends are the same."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from groupscan.errors import TableError, UnitError
from groupscan.records.exchange.known_shots import end_shots
from groupscan.records.exchange.shots_in import (
    ColumnMap,
    Defaults,
    choose_columns,
    commit,
    plan_import,
    read_defaults,
    suggest_columns,
)
from groupscan.records.store import (
    get_session,
    shots_frame,
)
from tests.records.shot_files import HEADS, ROWS, counted, written


def test_an_inch_is_25_4_mm_exactly(store, tmp_path):
    # The international inch of 1959; NIST SP 811 (2008), appendix B.8: 2.54 E-02 m.
    path = written(tmp_path, "date,x,y,se", "2026-05-03,1,-2.5,0.01")
    commit(store, plan_import(store, path, unit="in"))
    shots = shots_frame(store)
    assert shots[["x_mm", "y_mm", "se_mm"]].values.tolist() == [[25.4, -63.5, 0.254]]
    named = written(tmp_path, "date,X (in),y_inches", "2026-05-03,1,-2.5")
    assert plan_import(store, named).skipped[0].why == "is in the records"


@pytest.mark.parametrize(
    ("heads", "row", "unit", "place"),
    [
        ("x;y", "1,5;-0,25", "cm", (15.0, -2.5)),
        ("x\ty_cm", "1.5\t-0.25", None, (1.5, -2.5)),
        ("left,down", "3,4", None, (-3.0, -4.0)),
        ("left_in,up_mm", "0,4", None, (0.0, 4.0)),
        ("x,y,right_mm,high_mm", "500,500,1,2", None, (1.0, 2.0)),
    ],
)
def test_places_in_other_words(store, tmp_path, heads, row, unit, place):
    path = written(tmp_path, heads, row)
    commit(store, plan_import(store, path, unit=unit, defaults=Defaults(day=date(2026, 5, 3))))
    read = shots_frame(store)[["x_mm", "y_mm"]].values.tolist()
    assert read == [pytest.approx(place)]
    assert not any(np.signbit(value) and value == 0 for value in read[0])


def test_a_unit_that_contradicts_the_columns_name_is_refused(store, tmp_path):
    path = written(tmp_path, "date,x_mm,y_mm", "2026-05-03,1,2")
    with pytest.raises(TableError, match="x_mm is in mm by its name"):
        plan_import(store, path, unit="in")
    with pytest.raises(TableError, match="furlong"):
        plan_import(store, written(tmp_path, "date,x,y", "2026-05-03,1,2"), unit="furlong")


def test_every_wrong_cell_is_told_at_once_and_nothing_is_stored(store, tmp_path):
    heads = "date,end,number,x,y,distance,flyer,order,se,head"
    path = written(
        tmp_path,
        heads,
        "2026-05-03,1,1,1,1,20 yd,,1,0.1,a",
        "3.5.26,1,2,1,1,20 yd,,1,0.1,a",
        "2026-05-03,1,2,one,,20 yd,,1,0.1,a",
        "",
        "2026-05-03,1,3,1e999,99999,20,,1,0.1,a",
        "2026-05-03,1,4,1,1,20 parsecs,perhaps,0,-1,a",
        "2026-05-03,1,1.5,1,1,20 yd,,9999999999,nan,a",
        "2026-05-03,1,1,2,2,20 yd,,2,0.1,a",
        "2026-05-03,1,7,2,2,20 yd,,2,0.1,a,and,more",
        "2026-02-30,1,8,2,2,20 yd,,2,0.1,a",
    )
    plan = plan_import(store, path)
    told = [(bad.row, bad.column) for bad in plan.bad]
    assert told == [
        (3, "date"),
        (4, "x"), (4, "y"),
        (6, "x"), (6, "y"), (6, "distance"),
        (7, "se"), (7, "distance"), (7, "order"), (7, "flyer"),
        (8, "se"), (8, "order"), (8, "number"),
        (9, "number"),
        (10, ""),
        (11, "date"),
    ]  # fmt: skip
    assert all(bad.wrong and bad.todo for bad in plan.bad)
    assert "row 4, y: the cell is empty; correct it, or leave the row out" in map(str, plan.bad)
    assert (plan.ends, plan.shots) == (1, 2)
    with pytest.raises(TableError, match=r"row 3, date: '3\.5\.26' is no date.*15 more\. Nothing"):
        commit(store, plan)
    assert set(counted(store).values()) == {0}


@pytest.mark.parametrize(
    ("lines", "columns", "words"),
    [
        (["x,y", "1,2"], "", "no column says the date"),
        (["date,x", "2026-05-03,1"], "", "no column says how far high"),
        (["date,x,y", "2026-05-03,1,2"], "right=z", "no column 'z'; there are date, x, y"),
        (["date,x,y", "2026-05-03,1,2"], "wrong=x", "known are right, high"),
        (["date,x,y", "2026-05-03,1,2"], "x", "'x' does not say"),
        (["date,x,y", '2026-05-03,"1,2'], "", "no CSV table"),
        (["date,x,y", "2026-05-03,1,\0"], "", "no text"),
        (["date,x,y"], "", "no shot"),
    ],
)
def test_a_table_that_cannot_be_taken_in_at_all(store, tmp_path, lines, columns, words):
    with pytest.raises(TableError, match=words):
        plan_import(store, written(tmp_path, *lines), columns)
    with pytest.raises(TableError, match="no column 'gone'"):
        plan_import(
            store,
            written(tmp_path, "date,x,y", "2026-05-03,1,2"),
            ColumnMap({"right": "gone", "high": "y", "date": "date"}),
        )


def test_what_the_table_leaves_out_is_filled_in(store, tmp_path):
    defaults = read_defaults(day="2026-05-03", distance="20yd", shooter="Ada", rig=" Heron ")
    path = written(tmp_path, "x,y,shooter", "1,2,", "3,4,Bo")
    commit(store, plan_import(store, path, defaults=defaults))
    shots = shots_frame(store)
    assert shots["shooter"].tolist() == ["Ada", "Bo"]
    assert set(shots["rig"]) == {"Heron"}
    assert set(shots["distance_m"]) == {18.288}
    with pytest.raises(TableError, match="write year-month-day"):
        read_defaults(day="yesterday")
    with pytest.raises(UnitError):
        read_defaults(distance="far")
    assert read_defaults() == Defaults()


def test_what_a_session_is_called_and_the_notes_are_kept(store, tmp_path):
    lines = "date,session,x,y,notes", "2026-05-03,league,1,2,gusts", "2026-05-03,league,1,3,gusts"
    (session_id,) = commit(store, plan_import(store, written(tmp_path, *lines)))
    assert get_session(store, session_id).notes == "league\ngusts"


def test_numbers_are_kept_and_the_rest_gets_free_ones(store, tmp_path):
    lines = "date,no,x,y", "2026-05-03,,1,2", "2026-05-03,1,2,2", "2026-05-03,,3,2"
    commit(store, plan_import(store, written(tmp_path, *lines)))
    assert shots_frame(store).sort_values("x_mm")["number"].tolist() == [2, 1, 3]


def test_a_plan_is_told_in_plain_values(store, tmp_path):
    told = plan_import(store, written(tmp_path, HEADS, *ROWS, *ROWS[:1])).to_dict()
    assert told["columns"]["right"] == "x"
    assert told["shots"] == 6
    told = plan_import(store, written(tmp_path, HEADS, "x")).to_dict()
    assert told["bad"][0]["row"] == 2


@pytest.mark.parametrize(
    ("heads", "told"),
    [
        (["x", "y"], {"right": "x", "high": "y"}),
        (["right_mm", "high_mm", "x_mm", "y_mm"], {"right": "right_mm", "high": "high_mm"}),
        (["Left (cm)", "Low (cm)"], {"right": "-left_(cm)", "high": "-low_(cm)"}),
        (
            ["Y", "X", "Bow", "Archer"],
            {"right": "x", "high": "y", "shooter": "archer", "rig": "bow"},
        ),
        (["scan_id", "end"], {"end": "scan_id", "end_label": "end"}),
        (["label", "colour"], {}),
    ],
)
def test_columns_are_guessed_from_their_names(heads, told):
    assert suggest_columns(heads).told() == told


def test_columns_are_what_somebody_says():
    heads = ["a", "b", "x", "y", "point"]
    told = choose_columns(heads, "right = B, high=-a ,head=").told()
    assert told == {"right": "b", "high": "-a"}


places = st.integers(-200_000, 200_000).map(lambda steps: steps / 1000)
ends_of = st.lists(st.tuples(places, places), min_size=1, max_size=12)


@given(ends_of, st.randoms(use_true_random=False))
def test_the_order_of_shots_and_their_last_bits_do_not_part_ends(shots, chance):
    xy = np.array(shots)
    other = np.array(chance.sample(shots, len(shots))) + chance.uniform(-1e-9, 1e-9)
    ends = np.repeat([1, 2], len(shots))
    unsaid = [""] * len(ends)
    contents = end_shots(np.vstack([xy, other]), ends, unsaid, unsaid).contents
    assert contents[1] == contents[2]


@given(ends_of, st.integers(0, 11), st.sampled_from([-0.02, 0.02]))
def test_a_shot_elsewhere_or_one_more_is_another_end(shots, which, step):
    xy = np.array(shots)
    moved = xy.copy()
    moved[which % len(xy), 1] += step
    more = np.vstack([xy, xy[:1]])
    ends = np.repeat([1, 2, 3], [len(xy), len(xy), len(xy) + 1])
    unsaid = [""] * len(ends)
    told = end_shots(np.vstack([xy, moved, more]), ends, unsaid, unsaid)
    assert len(set(told.contents.values())) == 3
