import math

import numpy as np
import pytest

from groupscan.report.words import (
    MAIN,
    STATISTICS,
    direction,
    express,
    meaning,
    shape_rows,
    statistic_text,
)
from groupscan.stats.group import Estimate, measure_group

SQUARE = [(-5, -5), (-5, 5), (5, 5), (5, -5)]


def moved(dx, dy):
    return measure_group([(x + dx, y + dy) for x, y in SQUARE], distance_m=18.288)


def test_far_off_the_aim_asks_for_a_sight_correction():
    words = meaning(moved(80, -60))
    assert "80 mm right and 60 mm low" in words
    assert "sight correction is worth making" in words


def test_about_the_aim_leaves_the_sight_alone():
    words = meaning(moved(0, 0))
    assert "leave the sight alone" in words
    assert "correction" not in words


@pytest.mark.parametrize(
    ("dx", "dy", "expected"),
    [(80, 60, "right"), (-80, 60, "left"), (80, 60, "high"), (80, -60, "low")],
)
def test_directions_are_the_shooters(dx, dy, expected):
    assert expected in direction(moved(dx, dy))


def test_units_of_the_sentence():
    # 20 yd: one inch is 4.775 MOA (atan(1 / 720) in minutes), from memory.
    assert express(Estimate(25.4), "moa", distance_m=18.288) == "4.77 MOA"
    assert express(Estimate(18.288, 18.0, 19.0), "mrad", distance_m=18.288).startswith("1.0")
    assert "in" in meaning(moved(80, -60), "inch")


def test_an_angle_without_a_distance_is_not_invented():
    assert express(Estimate(10.0, 5.0, 20.0), "moa") == "–"
    assert "MOA" not in meaning(measure_group([(x + 90, y) for x, y in SQUARE]), "moa")


@pytest.mark.parametrize("n", [1, 2, 3])
def test_few_arrows_still_give_a_sentence_without_nan(n):
    words = meaning(measure_group(SQUARE[:n]))
    assert "nan" not in words
    assert words.endswith(".")


def test_identical_holes_make_no_false_claim():
    group = measure_group([(4.0, 4.0)] * 3)
    assert not math.isfinite(group.offset.low) or group.offset.low >= 0
    assert "nan" not in meaning(group)


def test_an_axis_that_is_clear_alone_is_said_to_be_where_both_together_are_not():
    shots = np.random.default_rng(3).standard_normal((14, 2))
    shots = 13 * (shots - shots.mean(axis=0)) / shots.std(axis=0, ddof=1)
    group = measure_group(shots + (-8.4, 0.5))
    assert group.offset.low == 0
    assert group.offset.x.high < 0
    words = meaning(group)
    alone = statistic_text(group, "offset_x", "mm")
    assert alone.startswith("8 mm left (")
    assert f"{alone} looks real taken alone, but side and height judged together" in words
    assert "shoot on before moving the sight" in words
    assert "high" not in words
    assert "cannot be told" not in words


def test_an_interval_that_leaves_out_what_was_seen_is_called_what_it_is():
    shots = [(4, 1), (-3, 5), (0, -6), (-5, -2), (6, -3), (2, 4), (-1, 1)] * 3 + [(60, 20)]
    group = measure_group(shots)
    seen = group.extreme_spread
    assert seen.value > seen.high
    assert statistic_text(group, "extreme_spread", "mm").startswith("69 mm, expected ")
    assert "expected" not in statistic_text(group, "sigma", "mm")
    assert statistic_text(measure_group(shots[:1]), "sigma_within", "mm") == "–"


def test_every_statistic_has_its_words():
    shots = np.random.default_rng(1).normal(0, 10, (8, 2))
    group = measure_group(shots, ends=[1] * 4 + [2] * 4)
    assert set(group.estimates()) - {"centre_x", "centre_y"} == set(STATISTICS)
    assert set(MAIN) < set(STATISTICS)


def test_the_shape_is_told_in_the_shooters_words():
    shots = np.random.default_rng(2).normal(0, 1, (30, 2)) * (10, 30)
    rows = dict(shape_rows(measure_group(shots, aim_mm=(100, -100))))
    assert rows["Spatial median"].split()[2] == "left,"
    assert rows["Spatial median"].endswith("high")
    ratio = float(rows["Height over width"].split()[0])
    assert 2 < ratio < 5
    assert rows["Long way, from level"].split()[1] == "degrees"
    assert "no flyer" in rows["Farthest out"]


def test_a_round_group_has_no_long_way():
    assert dict(shape_rows(moved(0, 0)))["Long way, from level"] == "cannot be told"


@pytest.mark.parametrize("shots", [[(1, 1)], [(1, 1), (2, 3)], [(4, 4)] * 5])
def test_of_a_shape_that_is_not_there_little_is_said(shots):
    rows = shape_rows(measure_group(shots))
    assert [title for title, _ in rows] in ([], ["Spatial median"])
    assert "nan" not in str(rows)
