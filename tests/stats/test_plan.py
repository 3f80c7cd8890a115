"""Plans: numbers of arrows, balance of the orders, and the fit that belongs to them."""

import json
import math
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.formula.api import ols

from groupscan.errors import StatisticsError
from groupscan.stats.offset import compare_centres
from groupscan.stats.plan import CAUTION, alternate_builds, plan_arrows, rotate_heads
from groupscan.stats.plan.analysis import analyse_order, fit_order, order_power
from groupscan.stats.power import arrows_for_offset

HEADS = ["field", "fixed", "expandable", "bare"]


def landed(order, seed, *, sigma=10.0, ends=0.0, arrows=0.0, lifted=None):
    """Return an order's shots; ends and arrows have centres of their own."""
    rng = np.random.default_rng(seed)
    end = ends * rng.standard_normal((order.ends, 2))
    arrow = dict(
        zip(order.arrows, arrows * rng.standard_normal((len(order.arrows), 2)), strict=True)
    )
    lift = lifted or {}
    return np.array(
        [
            end[shot.end - 1]
            + arrow[shot.arrow]
            + (0.0, lift.get(shot.build, 0.0))
            + sigma * rng.standard_normal(2)
            for shot in order.shots
        ]
    )


def test_arrows_needed_are_those_of_published_power():
    """21 and 26 each: non-central F and F tail areas, computed outside the project."""
    plan = plan_arrows(20.0, offset_mm=20.0, ratio=1.5, tolerance_mm=30.0)
    assert (plan.offset, plan.ratio) == (21, 26)
    assert plan.each == max(plan.offset, plan.ratio, plan.together)
    assert json.loads(json.dumps(plan.to_dict()))["each"] == plan.each


def test_more_builds_share_the_level_and_need_more():
    assert plan_arrows(20.0, offset_mm=20.0, builds=3).offset == arrows_for_offset(
        20.0, 20.0, level=0.025
    )
    assert plan_arrows(ratio=1.5, builds=4).ratio > plan_arrows(ratio=1.5).ratio


@settings(deadline=None, max_examples=40)
@given(
    heads=st.integers(2, 4),
    spare=st.integers(0, 9),
    cycles=st.integers(1, 4),
    seed=st.integers(0, 999),
)
def test_every_arrow_carries_every_head_equally_often(heads, spare, cycles, seed):
    order = rotate_heads(HEADS[:heads], heads + spare, heads * cycles, seed=seed)
    carried = Counter((shot.arrow, shot.build) for shot in order.shots)
    assert set(carried.values()) == {cycles}
    assert len(carried) == heads * (heads + spare)
    for end in range(1, order.ends + 1):
        shots = [shot for shot in order.shots if shot.end == end]
        assert {shot.arrow for shot in shots} == set(order.arrows)
        counts = Counter(shot.build for shot in shots).values()
        assert max(counts) - min(counts) <= 1
        first = [shot.build for shot in shots[:heads]]
        assert len(set(first)) == heads
    assert [shot.number for shot in order.shots] == list(range(1, len(order.shots) + 1))


@settings(deadline=None, max_examples=20)
@given(heads=st.integers(2, 4), spare=st.integers(0, 5), ends=st.integers(1, 9))
def test_ends_that_do_not_fit_are_balanced_to_within_one_and_noted(heads, spare, ends):
    order = rotate_heads(HEADS[:heads], heads + spare, ends)
    counts = Counter((shot.arrow, shot.build) for shot in order.shots)
    carried = [counts[arrow, head] for arrow in order.arrows for head in order.builds]
    assert max(carried) - min(carried) <= 1
    assert any("multiple" in note for note in order.notes) == bool(ends % heads)


def test_the_seed_gives_the_order_and_orders_differ():
    first = rotate_heads(HEADS[:2], 6, 4, seed=1)
    assert first == rotate_heads(HEADS[:2], 6, 4, seed=1)
    assert len({rotate_heads(HEADS[:2], 6, 4, seed=seed).shots for seed in range(20)}) == 20


def test_places_are_drawn_without_favour():
    """Over seeds every arrow comes first, and every head does, about equally often."""
    orders = [rotate_heads(HEADS[:3], 6, 3, seed=seed) for seed in range(900)]
    heads = Counter(order.shots[0].build for order in orders)
    arrows = Counter(order.shots[0].arrow for order in orders)
    # Binomial standard errors: sqrt(900/3*2/3) = 14 and sqrt(900/6*5/6) = 11.
    assert all(abs(count - 300) < 4 * 14.2 for count in heads.values())
    assert all(abs(count - 150) < 4 * 11.2 for count in arrows.values())


def test_builds_keep_their_arrows_and_mix_within_ends():
    order = alternate_builds({"old": [1, 2, 3], "new": [4, 5, 6]}, 5)
    assert {(s.arrow, s.build) for s in order.shots} == {
        *((str(n), "old") for n in (1, 2, 3)),
        *((str(n), "new") for n in (4, 5, 6)),
    }
    pairs = [order.shots[first : first + 2] for first in range(0, 30, 2)]
    assert all({shot.build for shot in pair} == {"old", "new"} for pair in pairs)


def test_text_fits_paper_and_holds_every_shot_in_order():
    order = rotate_heads(HEADS, 12, 4)
    text = order.to_text()
    assert max(len(line) for line in text.splitlines()[3:-4]) <= 90
    assert CAUTION in text
    at = [text.replace("\n", " ").split(f"End {end:>2}")[1].split("End")[0] for end in range(1, 5)]
    for end, line in enumerate(at, start=1):
        words = line.split()
        wanted = [w for s in order.shots if s.end == end for w in (s.arrow, s.build)]
        assert words[: len(wanted)] == wanted
    frame = order.to_frame()
    assert list(frame.columns) == ["number", "end", "place", "arrow", "build"]
    assert json.loads(json.dumps(order.to_dict()))["seed"] == 1


def test_fit_is_that_of_statsmodels_least_squares():
    order = rotate_heads(HEADS[:3], 7, 5)
    xy = landed(order, 3, ends=30.0, arrows=20.0, lifted={"fixed": 15.0})
    frame = order.to_frame().assign(y=xy[:, 1])
    fitted = ols("y ~ C(build, Treatment('field')) + C(end) + C(arrow)", frame).fit()
    seen = fit_order(order, order.shots, xy)
    for build, offset in zip(order.builds[1:], seen, strict=True):
        name = f"C(build, Treatment('field'))[T.{build}]"
        assert offset.offset[1] == pytest.approx(fitted.params[name])
        assert math.sqrt(offset.variance[1, 1]) == pytest.approx(fitted.bse[name])
        assert offset.dfs[0] == fitted.df_resid


def test_kept_builds_are_compared_as_the_means_of_their_arrows():
    order = alternate_builds({"old": [1, 2, 3, 4], "new": [5, 6, 7]}, 3)
    xy = landed(order, 4, ends=40.0, arrows=10.0, lifted={"new": 30.0})
    means = {a: xy[[s.arrow == a for s in order.shots]].mean(axis=0) for a in order.arrows}
    old, new = [means[a] for a in "1234"], [means[a] for a in "567"]
    compared = compare_centres(old, new)
    (found,) = analyse_order(order, xy, tolerance_mm=20.0).offsets
    assert (found.x.value, found.y.value) == pytest.approx((compared.x.value, compared.y.value))
    (seen,) = fit_order(order, order.shots, xy)
    pooled = seen.offset @ np.linalg.solve(seen.variance, seen.offset)
    assert pooled == pytest.approx(compared.pooled.t2)


def test_what_moves_ends_and_arrows_moves_nothing():
    order = rotate_heads(HEADS[:2], 6, 4)
    plain = landed(order, 5, lifted={"fixed": 20.0})
    rng = np.random.default_rng(6)
    end, arrow = 50 * rng.standard_normal((4, 2)), 50 * rng.standard_normal((6, 2))
    moved = plain + [end[s.end - 1] + arrow[int(s.arrow) - 1] for s in order.shots]
    first, second = (analyse_order(order, xy, tolerance_mm=15.0) for xy in (plain, moved))
    assert second.offsets[0].distance.low == pytest.approx(first.offsets[0].distance.low)
    assert second.sigma_mm == pytest.approx(first.sigma_mm)


def test_verdicts_of_clear_cases():
    order = rotate_heads(HEADS[:3], 6, 6)
    xy = landed(order, 7, ends=30.0, arrows=15.0, lifted={"expandable": -60.0})
    analysis = analyse_order(order, xy, tolerance_mm=20.0)
    assert [one.verdict for one in analysis.offsets] == ["together", "apart"]
    assert "low" in analysis.offsets[1].sentence
    assert list(analysis.to_frame()["verdict"]) == ["together", "apart"]
    json.dumps(analysis.to_dict(), allow_nan=False)
    few = rotate_heads(HEADS[:2], 2, 2)
    lost = analyse_order(few, landed(few, 8), tolerance_mm=20.0)
    assert lost.offsets[0].verdict == "not enough arrows"
    assert math.isnan(lost.offsets[0].distance.low)
    assert lost.notes


def test_lost_shots_are_left_out_by_number():
    order = rotate_heads(HEADS[:2], 6, 4)
    xy = landed(order, 9, lifted={"fixed": 50.0})
    kept = [shot.number for shot in order.shots if shot.number not in (3, 17)]
    found = analyse_order(order, xy[np.array(kept) - 1], numbers=kept, tolerance_mm=20.0)
    assert found.offsets[0].verdict == "apart"
    assert found.df == 24 - 2 - (4 + 6 + 2 - 2)


def test_a_build_that_nothing_links_is_named():
    order = rotate_heads(HEADS[:2], 6, 2)
    only = [shot.number for shot in order.shots if shot.build == "field"]
    found = analyse_order(order, np.zeros((len(only), 2)), numbers=only)
    assert found.offsets[0].verdict == "not enough arrows"
    assert any("link" in note for note in found.notes)


def test_builds_kept_to_ends_of_their_own_are_not_told_from_those_ends():
    order = alternate_builds({"old": [1, 2, 3], "new": [4, 5, 6]}, 2)
    apart = [s.number for s in order.shots if s.end == (1 if s.build == "old" else 2)]
    xy = landed(order, 10)[np.array(apart) - 1]
    xy[3:] += 200.0
    found = analyse_order(order, xy, numbers=apart, tolerance_mm=150.0)
    assert found.offsets[0].verdict == "not enough arrows"
    assert math.isnan(found.offsets[0].x.value)
    assert any("link" in note for note in found.notes)
    # One arrow of the new build in the old one's end ties the two ends together.
    tied = [*apart, next(s.number for s in order.shots if s.end == 1 and s.build == "new")]
    (seen,) = fit_order(order, [order.shots[n - 1] for n in tied], np.zeros((7, 2)))
    assert np.isfinite(seen.offset).all()


def test_order_power_grows_with_ends_and_offset():
    orders = [rotate_heads(HEADS[:2], 6, ends) for ends in (2, 4, 8)]
    powers = [order_power(order, 10.0, offset_mm=10.0) for order in orders]
    assert powers == sorted(powers)
    assert order_power(orders[2], 10.0, tolerance_mm=20.0) > order_power(
        orders[0], 10.0, tolerance_mm=20.0
    )


@pytest.mark.parametrize(
    "call",
    [
        lambda: plan_arrows(20.0),
        lambda: plan_arrows(offset_mm=5.0),
        lambda: plan_arrows(20.0, offset_mm=5.0, builds=5),
        lambda: plan_arrows(math.nan, offset_mm=5.0),
        lambda: rotate_heads(["field"], 6, 4),
        lambda: rotate_heads(["field", "field"], 6, 4),
        lambda: rotate_heads(HEADS, 3, 4),
        lambda: rotate_heads(HEADS, [1, 1, 2, 3], 4),
        lambda: rotate_heads(HEADS, 4, 0),
        lambda: rotate_heads(HEADS, 10**9, 4),
        lambda: alternate_builds({"old": [1, 2], "new": [2, 3]}, 4),
        lambda: alternate_builds({"old": [1], "new": [2, 3]}, 4),
        lambda: analyse_order(rotate_heads(HEADS, 4, 4), [(0.0, 0.0)]),
        lambda: analyse_order(rotate_heads(HEADS, 4, 4), [(0.0, 0.0)], numbers=[17]),
        lambda: analyse_order(rotate_heads(HEADS, 4, 4), [(0.0, math.nan)], numbers=[1]),
        lambda: order_power(rotate_heads(HEADS, 4, 4), 10.0),
        lambda: order_power(rotate_heads(HEADS, 4, 4), 0.0, offset_mm=3.0),
    ],
)
def test_plans_that_cannot_be_made_are_refused(call):
    with pytest.raises(StatisticsError):
        call()
