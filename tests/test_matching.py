"""Which shots are compared, what is drawn of them, and what a plan takes."""

import math

import numpy as np
import pandas as pd
import pytest

from groupscan.decisions.matching import (
    after_each_end,
    common_sessions,
    comparable,
    kinds_in,
    match_of,
    same_setup,
    tuned_by_head,
    usual_reference,
)
from groupscan.decisions.planning import kept_plan, order_frame, order_of, read_arrows, wanted_of
from groupscan.decisions.shot_table import read_shot_csv
from groupscan.errors import StatisticsError, TableError
from groupscan.stats.intervals import Estimate
from groupscan.stats.plan import alternate_builds, rotate_heads


def drawn(*, offsets, ends=6, seed=3, sigma=8.0, session="a", rig="Kite", setup="one", each=3):
    """Shots of several heads that are shot in the same ends, whose centres wander."""
    rng = np.random.default_rng(seed)
    rows = []
    for end in range(1, ends + 1):
        moved = rng.normal(0, 15, 2)
        for head, offset in offsets.items():
            for x, y in rng.normal(0, sigma, (each, 2)) + offset + moved:
                rows.append((session, f"{session}/{end}", head, x, y))
    table = pd.DataFrame(rows, columns=["session", "end", "head", "right_mm", "high_mm"])
    return table.assign(
        rig=rig, shooter="Ola", setup=setup, build="", arrow="", name="", flyer=False,
        distance_m=18.0, se_mm=math.nan, day=pd.Timestamp("2026-05-02"),
        order=math.nan, first=False,
        head_kind=table["head"].map({"field": "field point", "bare": "bare shaft"}).fillna(""),
    )  # fmt: skip


APART = {"field": (0, 0), "broad": (45, -20)}


def test_only_ends_that_hold_two_kinds_are_drawn_and_the_others_are_counted():
    alone = drawn(offsets={"field": (0, 0)}, session="b", ends=2)
    table = pd.concat([drawn(offsets=APART), alone], ignore_index=True)
    match = match_of(table, by="head", reference="field", others=["broad"], tolerance_mm=30)
    assert len(match.shots) == 36
    assert match.left_out == 6
    assert match.compared.centres.against["broad"].verdict == "apart"
    assert set(match.shots["kind"]) == {"field", "broad"}


def test_the_centres_drawn_are_the_means_of_the_shots():
    table = drawn(offsets=APART)
    match = match_of(table, by="head", reference="field", others=["broad"], tolerance_mm=None)
    assert list(match.centres) == ["field", "broad"]
    for name, ellipse in match.centres.items():
        mean = table.loc[table["head"] == name, ["right_mm", "high_mm"]].mean()
        assert (ellipse.x_mm, ellipse.y_mm) == pytest.approx(tuple(mean))


def test_each_shot_is_called_by_its_session_end_and_arrow():
    table = drawn(offsets=APART, ends=2).assign(arrow="7")
    match = match_of(table, by="head", reference="field", others=["broad"], tolerance_mm=None)
    assert match.shots["called"].iloc[0] == "a, end 1, arrow 7"
    assert match.shots["called"].iloc[-1] == "a, end 2, arrow 7"


def test_kinds_not_chosen_stay_out():
    table = drawn(offsets=APART | {"third": (0, 0)})
    match = match_of(table, by="head", reference="field", others=["broad"], tolerance_mm=30)
    assert list(match.compared.shots) == ["field", "broad"]


def test_rules_are_those_of_each_head():
    table = drawn(offsets={"field": (0, 0), "broad": (0, -50), "bare": (0, -50)})
    tuned = tuned_by_head(table, "field", ["broad", "bare"])
    assert tuned == {"broad": "head", "bare": "bare shaft"}
    match = match_of(
        table, by="head", reference="field", others=["broad", "bare"], tolerance_mm=10,
        tuned=tuned, bow="recurve",
    )  # fmt: skip
    moves = {name: one.first for name, one in match.compared.advice.items()}
    assert moves["broad"].words.startswith("The broadheads land")
    assert moves["bare"].words.startswith("The bare shafts land")
    assert tuned_by_head(table, "broad", ["field"]) == {}


def test_a_setup_has_no_rules_of_practice():
    table = pd.concat(
        [drawn(offsets={"field": (0, 0)}), drawn(offsets={"field": (60, 0)}, setup="two", seed=4)]
    )
    match = match_of(
        table, by="setup", reference="one", others=["two"], tolerance_mm=10, bow="compound"
    )
    assert match.compared.advice == {}


def test_only_shooters_rigs_and_distances_with_two_kinds_are_offered():
    one_kind = drawn(offsets={"field": (0, 0)}, rig="Wren")
    far = drawn(offsets={"field": (0, 0)}).assign(distance_m=40.0)
    yards = drawn(offsets={"field": (0, 0)}).assign(distance_m=18.001)
    table = pd.concat([drawn(offsets=APART), one_kind, far, yards], ignore_index=True)
    kept = comparable(table, "head")
    assert set(kept["rig"]) == {"Kite"}
    assert set(kept["distance_m"]) == {18.0, 18.001}
    rigs = comparable(table, "rig")
    assert set(rigs["rig"]) == {"Kite", "Wren"}
    assert set(rigs["head"]) == {"field"}  # the other head was shot with one rig only
    assert comparable(table, "build").empty


def test_sessions_are_offered_since_the_setup_last_changed():
    parts = [
        drawn(offsets=APART, session="a"),
        drawn(offsets=APART, session="b", setup="two"),
        drawn(offsets={"field": (0, 0)}, session="c", setup="two"),
        drawn(offsets=APART, session="d", setup="two"),
    ]
    table = pd.concat(parts, ignore_index=True)
    sessions = common_sessions(table, "head")
    assert sessions == ["d", "b", "a"]
    assert same_setup(table, sessions) == ["d", "b"]


def test_field_points_are_the_usual_reference():
    table = drawn(offsets={"broad": (0, 0), "field": (0, 0)})
    assert usual_reference(table, "head", list(kinds_in(table, "head"))) == "field"
    unnamed = table.assign(head_kind="")
    assert usual_reference(unnamed, "head", ["broad", "field"]) == "field"
    assert usual_reference(table, "build", ["new", "old"]) == "new"


def test_looks_after_every_end_stand_in_the_order_shot():
    table = drawn(offsets={"field": (0, 0), "broad": (60, 0)}, ends=11, sigma=6)
    looked = after_each_end(table, by="head", reference="field", others=["broad"], tolerance_mm=30)[
        "broad"
    ]
    assert [one.first_n for one in looked] == [3 * end for end in range(1, 12)]
    assert looked[-1].verdict == "apart"
    whole = match_of(
        table, by="head", reference="field", others=["broad"], tolerance_mm=30, looks=math.inf
    ).compared.centres.against["broad"]
    assert looked[-1].distance.high == pytest.approx(whole.distance.high)


def test_without_ends_there_is_nothing_to_look_at_after_each():
    table = drawn(offsets=APART).assign(end="", session="")
    asked = {"by": "head", "reference": "field", "others": ["broad"], "tolerance_mm": 30}
    assert after_each_end(table, **asked) == {}


def test_a_plan_kept_with_a_session_is_read_again():
    for order in (
        rotate_heads(["field", "broad"], 6, 4),
        alternate_builds({"old": [1, 2], "new": [3, 4]}, 3),
    ):
        assert order_of(kept_plan(order, tolerance_mm=25.0)) == order


NO_PLAN = {"kind": "shooting order", "ends": "x", "builds": [], "arrows": []}


@pytest.mark.parametrize(
    "plan", [None, {}, {"kind": "other"}, {"kind": "shooting order"}, NO_PLAN, ["kind"], "text"]
)
def test_what_is_no_plan_is_none(plan):
    assert order_of(plan) is None


def test_ends_are_those_that_make_up_the_arrows_needed():
    """26 field points and 26 broadheads with 6 arrows: 52 shots, nine ends, ten to be balanced."""
    wanted = wanted_of(
        Estimate(20.0, 18.0, 30.0), offset_mm=20.0, tolerance_mm=None, builds=2, arrows=6,
        rotated=True,
    )  # fmt: skip
    shots = wanted.needed.each * 2
    assert wanted.ends % 2 == 0
    assert wanted.ends * 6 >= shots > (wanted.ends - 2) * 6
    assert wanted.if_wider.each > wanted.needed.each
    kept = wanted_of(
        Estimate(20.0), offset_mm=20.0, tolerance_mm=None, builds=2, arrows=4, rotated=False
    )
    assert kept.ends == math.ceil(kept.needed.each / 4)
    assert kept.if_wider is None
    with pytest.raises(StatisticsError):
        wanted_of(
            Estimate(20.0), offset_mm=None, tolerance_mm=None, builds=2, arrows=4, rotated=False
        )


@pytest.mark.parametrize("text", ["", "0", "101", "1 2 " * 51, "999999999999999"])
def test_arrows_that_cannot_be_are_refused(text):
    with pytest.raises(TableError):
        read_arrows(text)


def test_an_order_filled_in_is_read_as_shots(tmp_path):
    order = rotate_heads(["field", "broad"], 4, 2)
    table = order_frame(order).assign(right_mm=1.0, high_mm=range(8))
    path = tmp_path / "plan.csv"
    table.to_csv(path, index=False)
    back = read_shot_csv([path])
    assert back["head"].tolist() == [shot.build for shot in order.shots]
    assert back["arrow"].tolist() == [shot.arrow for shot in order.shots]
