"""An arrow's history over builds, distances and heads, from records that anybody can check."""

from contextlib import closing
from datetime import date

import pytest

from groupscan.decisions.arrow_history import arrow_history
from groupscan.decisions.shot_table import shots_of_store
from groupscan.records.entries import Arrow, Build
from groupscan.records.store import list_arrows, open_store, rebuild_arrow, save_arrow, save_build
from tests.screens.arrow_records import SIX, shoot


@pytest.fixture
def store(tmp_path):
    with closing(open_store(tmp_path)) as opened:
        yield opened


def build(store, name, numbers):
    key = save_build(store, Build(name=name))
    return key, {
        number: save_arrow(store, Arrow(number=number, build_id=key)) for number in numbers
    }


def shaft_of(store, number):
    rows = list_arrows(store)
    return int(rows.loc[rows["number"] == number, "shaft_id"].iloc[0])


def test_a_rebuilt_arrow_is_one_arrow_with_two_chapters(store):
    old, arrows = build(store, "old", SIX)
    new, _ = build(store, "new", ["7", "8"])
    shoot(store, SIX, build_id=old)
    rebuild_arrow(store, arrows["4"], new, on=date(2026, 6, 1))
    beside = {"4": (0, 0), "7": (0, 0), "8": (1, 1)}
    shoot(store, beside, build_id=new, start=date(2026, 6, 2), seed=2)
    first, second = arrow_history(shots_of_store(store), arrows["4"])
    assert (first.build, first.since, first.until, first.shots) == (
        "old", date(2026, 4, 4), date(2026, 4, 11), 8,
    )  # fmt: skip
    assert (second.build, second.since, second.shots) == ("new", date(2026, 6, 2), 8)
    assert first.arrow.verdict == "apart"
    assert first.arrow.seen_x.low < 60 < first.arrow.seen_x.high
    assert second.arrow.seen_x.low < 0 < second.arrow.seen_x.high


def test_distances_and_heads_are_chapters_of_their_own(store):
    shoot(store, SIX)
    shoot(store, SIX, distance_m=27.432, seed=2)
    shoot(store, SIX, head="fixed-blade", seed=3)
    told = arrow_history(shots_of_store(store), shaft_of(store, "1"))
    assert {(one.head, round(one.distance_m)) for one in told} == {
        ("field point", 18), ("field point", 27), ("fixed-blade", 18),
    }  # fmt: skip


def test_an_arrow_that_was_shot_alone_has_no_place(store):
    shoot(store, {"1": (50, 0)})
    (chapter,) = arrow_history(shots_of_store(store), shaft_of(store, "1"))
    assert chapter.arrow is None
    assert chapter.shots == 8


def test_an_arrow_without_shots_has_no_history(store):
    shoot(store, SIX)
    assert arrow_history(shots_of_store(store), 999) == ()
