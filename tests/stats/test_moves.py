"""What to move: the rules of common practice (no source), held against symmetry and caution."""

import itertools
import json
import math

import pytest

from groupscan.errors import StatisticsError
from groupscan.stats.intervals import Estimate
from groupscan.stats.moves import CAUTION, RULES, what_to_move
from groupscan.telling import retold

OPPOSITE = {
    "left": "right",
    "right": "left",
    "up": "down",
    "down": "up",
    "low": "high",
    "high": "low",
    "to a softer spring": "to a harder spring",
    "to a harder spring": "to a softer spring",
}
NONE = Estimate(0.0, -20.0, 20.0)
SIDES = {
    "left": (Estimate(-40.0, -60.0, -20.0), NONE),
    "right": (Estimate(40.0, 20.0, 60.0), NONE),
    "low": (NONE, Estimate(-40.0, -60.0, -20.0)),
    "high": (NONE, Estimate(40.0, 20.0, 60.0)),
}
EVERY = list(
    itertools.product(("head", "bare shaft", "aim"), ("compound", "recurve"), ("right", "left"))
)


def move(side, compared, bow, hand):
    advice = what_to_move(*SIDES[side], "apart", compared=compared, bow=bow, hand=hand)
    assert advice.later == ()
    return advice.first


class TestRules:
    @pytest.mark.parametrize(("compared", "bow", "hand"), EVERY)
    @pytest.mark.parametrize("side", ["left", "low"])
    def test_the_opposite_side_asks_for_the_opposite_move(self, compared, bow, hand, side):
        one, other = (move(s, compared, bow, hand) for s in (side, OPPOSITE[side]))
        assert one.part == other.part
        assert other.way == OPPOSITE[one.way]

    @pytest.mark.parametrize("side", SIDES)
    def test_a_chased_part_moves_alike_for_both_hands(self, side):
        for compared, bow in (("head", "compound"), ("bare shaft", "compound"), ("aim", "recurve")):
            assert move(side, compared, bow, "right") == move(side, compared, bow, "left")

    @pytest.mark.parametrize("side", ["left", "right"])
    @pytest.mark.parametrize("compared", ["head", "bare shaft"])
    def test_a_reading_of_spine_is_mirrored_for_the_left_hand(self, side, compared):
        right, left = (
            move(side, compared, "recurve", "right"),
            move(OPPOSITE[side], compared, "recurve", "left"),
        )
        assert (right.part, right.way) == (left.part, left.way) != ("rest", side)

    @pytest.mark.parametrize("side", ["low", "high"])
    @pytest.mark.parametrize(("compared", "bow"), [("head", "recurve"), ("bare shaft", "compound")])
    def test_height_is_the_same_for_both_hands(self, side, compared, bow):
        assert move(side, compared, bow, "right") == move(side, compared, bow, "left")

    def test_the_rest_takes_the_broadheads_towards_the_field_points(self):
        towards = {"left": "right", "right": "left", "low": "up", "high": "down"}
        for side, way in towards.items():
            found = move(side, "head", "compound", "right")
            assert (found.part, found.way) == ("rest", way)

    def test_bare_left_of_fletched_is_stiff_for_the_right_hand_and_weak_for_the_left(self):
        for hand, spine in (("right", "stiff"), ("left", "weak")):
            advice = what_to_move(*SIDES["left"], "apart", compared="bare shaft", hand=hand)
            assert spine in advice.readings[0]

    def test_the_sight_follows_the_group(self):
        follow = {"left": "left", "right": "right", "low": "down", "high": "up"}
        for side, way in follow.items():
            found = move(side, "aim", "compound", "right")
            assert (found.part, found.way) == ("sight", way)

    def test_a_rule_stands_once(self):
        keys = [
            (rule.compared, bow, rule.seen)
            for rule in RULES
            for bow in (("compound", "recurve") if rule.bow == "any" else (rule.bow,))
        ]
        assert len(keys) == len(set(keys)) == 3 * 2 * 4


class TestCaution:
    @pytest.mark.parametrize(("compared", "bow", "hand"), EVERY)
    def test_no_offset_of_heads_or_shafts_moves_the_sight(self, compared, bow, hand):
        parts = {move(side, compared, bow, hand).part for side in SIDES}
        assert ("sight" in parts) == (compared == "aim")

    def test_one_thing_at_a_time_height_first(self):
        x, _ = SIDES["left"]
        _, y = SIDES["low"]
        advice = what_to_move(x, y, "apart", compared="head")
        assert advice.first.seen == "low"
        assert [later.seen for later in advice.later] == ["left"]
        assert any("one thing at a time" in note for note in advice.notes)
        assert set(CAUTION) <= set(advice.notes)
        assert any("manuals" in note and "technician" in note for note in advice.notes)

    @pytest.mark.parametrize("verdict", ["together", "not enough arrows"])
    def test_nothing_is_moved_without_a_verdict(self, verdict):
        advice = what_to_move(*SIDES["left"], verdict, compared="head")
        assert advice.first is None
        assert advice.later == ()
        assert advice.notes

    def test_an_axis_that_may_be_nought_moves_nothing(self):
        advice = what_to_move(NONE, NONE, "apart", compared="head")
        assert advice.first is None
        assert advice.notes
        unknown = Estimate(30.0, math.nan, math.nan)
        assert what_to_move(unknown, NONE, "apart", compared="head").first is None

    def test_the_sights_own_geometry(self):
        # Similar triangles: 40 mm at 40 m, seen over 0.8 m from eye to pin, are 0.8 mm at the pin.
        advice = what_to_move(
            *SIDES["high"], "apart", compared="aim", distance_m=40.0, sight_radius_m=0.8
        )
        assert retold(advice.first.step, {}) == "0.8 mm"

    def test_plain_values(self):
        text = json.dumps(what_to_move(*SIDES["low"], "apart", compared="head").to_dict())
        assert "field points" in text

    @pytest.mark.parametrize(
        "wrong",
        [{"compared": "vane"}, {"bow": "sling"}, {"hand": "both"}, {"distance_m": -1.0}],
    )
    def test_wrong_words_are_named(self, wrong):
        with pytest.raises(StatisticsError):
            what_to_move(*SIDES["low"], "apart", **({"compared": "head"} | wrong))

    def test_wrong_verdict_is_named(self):
        with pytest.raises(StatisticsError, match="verdict"):
            what_to_move(*SIDES["low"], "maybe", compared="head")
