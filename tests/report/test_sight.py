"""The sight move, checked by the geometry of a line of sight."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from groupscan.errors import UnitError
from groupscan.report.sight import parse_click, sight_move
from groupscan.report.words import meaning
from groupscan.stats.group import measure_group

FAR = [(40.0, -60.0), (44.0, -57.0), (37.0, -63.0), (41.0, -58.0), (38.0, -62.0)]


def sizes(text):
    return [float(number) for number in re.findall(r"\d+(?:\.\d+)?", text)]


def test_clicks_times_their_size_bring_the_centre_to_the_aim():
    group = measure_group(FAR, distance_m=20.0)
    said = sight_move(group, click_rad=parse_click("0.5 mm at 20 m"))
    left, *_ = sizes(said)
    up = sizes(said.split(" and ")[1])[0]
    assert left * 0.5 == pytest.approx(40.0, abs=0.3)
    assert up * 0.5 == pytest.approx(60.0, abs=0.3)
    assert "clicks left" in said
    assert "clicks up" in said
    assert "a pin goes right and down" in said


def test_a_pin_moves_by_similar_triangles():
    """The line from the eye over the pin turns by the offset over the distance."""
    group = measure_group(FAR, distance_m=20.0)
    said = sight_move(group, sight_radius_mm=800.0)
    assert sizes(said)[0] == pytest.approx(40.0 * 800 / 20_000, abs=0.05)
    assert "mm right" in said
    assert "mm down" in said


def test_a_quarter_minute_is_a_quarter_of_a_sixtieth_of_a_degree():
    assert parse_click("0.25 MOA") == pytest.approx(math.radians(0.25 / 60))
    assert parse_click(".1 mil") == pytest.approx(1e-4)


@pytest.mark.parametrize("text", ["", "half", "0.5", "0.5 mm", "0.5 mm at", "3 at 4", "900 MOA",
                                  "0 MOA", "-1 MOA", "0.5 mm at 0 m", "1e9 mm at 1 m"])  # fmt: skip
def test_what_is_no_click_is_refused(text):
    with pytest.raises(UnitError):
        parse_click(text)


def test_nothing_is_moved_without_evidence():
    near = [(4.0, 2.0), (-5.0, 1.0), (1.0, -4.0), (2.0, 3.0)]
    assert sight_move(measure_group(near, distance_m=20.0)) == ""
    assert sight_move(measure_group([(300.0, 0.0)], distance_m=20.0)) == ""


def test_off_the_aim_but_along_neither_axis_moves_nothing_and_says_so():
    """A long thin group across the diagonal: away from the aim, each axis with 0 inside."""
    along = [(-16.0, 26.0), (26.0, -16.0), (-6.0, 14.0), (14.0, -6.0), (4.0, 6.0), (5.0, 5.0)]
    group = measure_group([(x - 3, y - 3) for x, y in along], distance_m=20.0)
    unsure = replace(group, offset=replace(group.offset, low=1.0))
    assert unsure.offset.x.low < 0 < unsure.offset.x.high
    assert sight_move(unsure) == ""
    assert "shoot on before moving the sight" in meaning(unsure)


def test_an_axis_that_is_not_sure_is_left_alone():
    right = [(40.0, -9.0), (44.0, 12.0), (37.0, 3.0), (41.0, -14.0), (38.0, 9.0)]
    said = sight_move(measure_group(right, distance_m=20.0))
    assert "left" in said
    assert " up" not in said
    assert " down" not in said


def test_without_a_distance_it_is_said_in_the_readers_length():
    said = sight_move(measure_group(FAR), "inch", click_rad=1e-4, sight_radius_mm=800.0)
    assert "in left" in said
    assert "click" not in said


def test_less_than_one_click_is_no_number():
    group = measure_group(FAR, distance_m=20.0)
    assert "less than one click left" in sight_move(group, click_rad=parse_click("20 MOA"))


def _ends_that_wander(seed, *, wander, offset=0.0):
    """Four ends of five shots of sigma 5, whose centres lie about the offset."""
    rng = np.random.default_rng(seed)
    centres = rng.normal((offset, 0.0), wander, (4, 2))
    return np.repeat(centres, 5, axis=0) + rng.normal(0, 5, (20, 2)), np.repeat(np.arange(4), 5)


def _moved(seeds, **how):
    groups = (_ends_that_wander(seed, **how) for seed in seeds)
    found = [measure_group(xy, ends=ends, distance_m=20.0) for xy, ends in groups]
    return [group for group in found if sight_move(group)]


def test_ends_that_wander_about_the_aim_move_no_sight():
    """By simulation: shots taken for independent would move it in more than half of the cases."""
    assert len(_moved(range(400), wander=15.0)) <= 0.08 * 400  # 0.05, and three of its errors


def test_ends_that_wander_about_another_place_still_move_the_sight():
    assert len(_moved(range(60), wander=15.0, offset=80.0)) >= 55


def test_a_wandering_group_is_told_to_shoot_more_ends():
    for seed in range(40):
        xy, ends = _ends_that_wander(seed, wander=15.0)
        group = measure_group(xy, ends=ends)
        if group.offset.low > 0 and not group.offset_by_ends.low > 0:
            assert "from end to end its centre wanders by as much" in meaning(group)
            return
    raise AssertionError("no such group among forty")
