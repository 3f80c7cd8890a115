"""Names of holes stand where they hide nothing."""

import itertools

import numpy as np
import pytest

from groupscan.aims import about_aim
from groupscan.report.labels import gap_of, label_places, place_labels
from groupscan.report.palette import DARK, LIGHT
from groupscan.report.scene import ORIGINS, group_scene
from groupscan.report.shots import group_of_shots
from tests.report.report_tables import shots_table

WINDOW = (-50.0, 50.0, -50.0, 50.0)
SIDE, FONT, MARK = 310.0, 12.0, 11.0


def placed(holes, labels):
    return place_labels(
        holes, labels, np.array([[0.0, 0.0]]), WINDOW, side=SIDE, font=FONT, mark=MARK
    )


def boxes(holes, labels, places):
    """Return left, bottom, right and top of each name that is written, in pixels."""
    made = []
    for at, label, place in zip(holes, labels, places, strict=True):
        if place is not None:
            size = np.array((0.56 * FONT * len(label), 0.75 * FONT))
            middle = (at + 50) * SIDE / 100 + np.array(place) * (gap_of(MARK) + size / 2)
            made.append((*(middle - size / 2), *(middle + size / 2)))
    return made


def overlap(a, b):
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("spread", [3.0, 10.0, 20.0])
def test_no_name_lies_over_another_or_over_a_hole(seed, spread):
    holes = np.random.default_rng(seed).normal(0, spread, (24, 2))
    labels = [f"{1 + i // 6}.{1 + i % 6}" for i in range(24)]
    made = boxes(holes, labels, placed(holes, labels))
    for a, b in itertools.combinations(made, 2):
        assert not overlap(a, b)
    for box in made:
        assert min(box[:2]) >= 0
        assert max(box[2:]) <= SIDE
        for x, y in (holes + 50) * SIDE / 100:
            assert not overlap(box, (x - MARK / 2, y - MARK / 2, x + MARK / 2, y + MARK / 2))


def test_holes_that_stand_apart_all_have_their_names():
    holes = np.array([[x, y] for x in (-40.0, -20.0, 20.0, 40.0) for y in (-30.0, 0.0, 30.0)])
    assert None not in placed(holes, [str(i) for i in range(12)])


def test_a_hole_in_a_corner_is_named_inwards():
    assert placed(np.array([[48.0, 48.0], [-49.0, -49.0]]), ["1", "2"]) == [(-1, -1), (1, 1)]


def test_a_hole_amid_others_goes_without_rather_than_hide_them():
    ring = [(4 * np.cos(a), 4 * np.sin(a)) for a in np.linspace(0, 2 * np.pi, 9)[:-1]]
    assert placed(np.array([(0.0, 0.0), *ring]), ["1.10"] * 9)[0] is None


def test_every_origin_of_a_hole_has_a_colour_of_its_own():
    for palette in (LIGHT, DARK):
        assert len({*palette.holes, palette.centre, palette.aim}) == len(ORIGINS) + 2


def test_a_scene_names_its_holes_clear_of_centre_and_aim():
    shots = about_aim(shots_table([(1.0, 0.0), (40.0, 1.0), (-40.0, 1.0), (0.0, 30.0)]))
    scene = group_scene(shots, group_of_shots(shots))
    assert label_places(scene, side=SIDE, font=FONT, mark=MARK)[0] is not None
