"""Holes that touch or share an opening are told apart where they are; patches stay one thing."""

from dataclasses import replace

import numpy as np
import pytest

from groupscan.photo.expected import flatten
from groupscan.photo.holes import Hole, find_holes
from groupscan.sheets.catalogue import Sheet
from tests.photo.drawn_sheets import Paper, camera_at, photograph, true_plane

SHEET = Sheet("blank", "blank", "paper", 260.0, 260.0)
PRINTED = replace(SHEET, kind="fiducials")  # on which nobody draws
DIAMETER = 6.0
LONE = np.array([[-90.0, 90.0], [92.0, 88.0], [-88.0, -91.0]])
CAMERA = camera_at(260.0, size=(1600, 1400), fill=0.9, tilt_deg=15, axis_deg=65, roll_deg=3)


def scan(paper: Paper, *, shaft_mm: float | None = None) -> list[Hole]:
    sheet = paper.sheet
    plane = true_plane(CAMERA)
    photo = photograph(paper, CAMERA)
    return find_holes(photo, plane, flatten(photo, plane, sheet), shaft_mm=shaft_mm)


def places_near(holes: list[Hole], middle: np.ndarray, reach: float = 25.0) -> np.ndarray:
    at = np.array([[hole.x_mm, hole.y_mm] for hole in holes]).reshape(-1, 2)
    return at[np.hypot(*(at - middle).T) < reach]


def match(found: np.ndarray, true: np.ndarray) -> np.ndarray:
    """Distance of each true place to the nearest found, mm."""
    return np.hypot(*(found[None] - true[:, None]).transpose(2, 0, 1)).min(axis=1)


@pytest.mark.parametrize("apart", [1.15, 1.0, 0.9, 0.75])
def test_two_holes_are_two(apart) -> None:
    """From a sliver of paper between them to a quarter of a hole shared; four directions."""
    paper = Paper(SHEET, px_per_mm=6.0)
    paper.holes(LONE, DIAMETER)
    pairs = []
    for x, y, turn in ((-40, 40, 10), (40, 40, 55), (-40, -40, 100), (40, -40, 145)):
        middle = np.array([x, y])
        along = (
            DIAMETER * apart / 2 * np.array([np.cos(np.radians(turn)), np.sin(np.radians(turn))])
        )
        pairs.append(np.array([middle - along, middle + along]))
        paper.holes(pairs[-1], DIAMETER)
    holes = scan(paper)
    for pair in pairs:
        found = places_near(holes, pair.mean(axis=0))
        assert len(found) == 2
        assert match(found, pair).max() < 0.45
    assert len(holes) == len(LONE) + 8


@pytest.mark.parametrize("shape", ["row", "corner", "triangle"])
def test_three_holes_are_three(shape) -> None:
    step = 0.92 * DIAMETER
    three = step * {
        "row": np.array([[-1.0, 0.0], [0.0, 0.0], [1.0, 0.0]]),
        "corner": np.array([[1.0, 0.0], [0.0, 0.0], [0.0, 1.0]]),
        "triangle": np.array([[0.0, 0.0], [1.0, 0.0], [0.5, np.sqrt(0.75)]]),
    }[shape] + [5.0, -8.0]
    paper = Paper(SHEET, px_per_mm=6.0)
    paper.holes(np.vstack([LONE, three]), DIAMETER)
    holes = scan(paper)
    found = places_near(holes, three.mean(axis=0))
    assert len(found) == 3
    assert match(found, three).max() < 0.6
    # Each says that it is less sure of itself than one alone, and how sure of its place.
    here = [h for h in holes if np.hypot(h.x_mm - 5, h.y_mm + 8) < 25]
    alone = [h for h in holes if np.hypot(h.x_mm - 5, h.y_mm + 8) >= 25]
    assert max(h.confidence for h in here) < min(h.confidence for h in alone)
    assert min(h.confidence for h in here) >= 0.5


@pytest.mark.parametrize("apart", [0.95, 0.8])
def test_a_straight_chain_of_four_is_no_bar(apart) -> None:
    turn = np.radians(35)
    along = apart * DIAMETER * np.array([np.cos(turn), np.sin(turn)])
    four = np.array([4.0, -6.0]) + np.outer([-1.5, -0.5, 0.5, 1.5], along)
    paper = Paper(PRINTED, px_per_mm=6.0)
    paper.holes(np.vstack([LONE, four]), DIAMETER)
    found = places_near(scan(paper), four.mean(axis=0))
    assert len(found) == 4
    assert match(found, four).max() < 0.6


def test_touching_holes_without_one_alone_take_the_named_shaft() -> None:
    two = np.array([[-2.9, 1.0], [3.0, 0.2]])
    paper = Paper(SHEET, px_per_mm=6.0)
    paper.holes(two, DIAMETER)
    found = places_near(scan(paper, shaft_mm=6.4), two.mean(axis=0))
    assert len(found) == 2
    assert match(found, two).max() < 0.5


@pytest.mark.parametrize("sheet", [SHEET, PRINTED], ids=["paper", "printed"])
@pytest.mark.parametrize(("width", "height"), [(40.0, 6.0), (60.0, 6.0), (25.0, 19.0)])
def test_bars_and_patches_are_not_tiled_with_holes(width, height, sheet) -> None:
    paper = Paper(sheet, px_per_mm=6.0)
    paper.holes(LONE, DIAMETER)
    left, top = paper.px(-width / 2, height / 2)
    right, bottom = paper.px(width / 2, -height / 2)
    paper.picture[int(top) : int(bottom), int(left) : int(right)] = (16, 15, 14)
    holes = scan(paper)
    assert len(holes) == len(LONE)
    assert match(places_near(holes, np.zeros(2), 300.0), LONE).max() < 0.3


def test_a_hole_torn_wide_stays_one() -> None:
    """A slot 1.25 diameters long: no second shaft fits without bare paper."""
    paper = Paper(SHEET, px_per_mm=6.0)
    paper.holes(LONE, DIAMETER)
    paper.holes([[x, 0.0] for x in np.linspace(-0.12, 0.12, 7) * DIAMETER], DIAMETER)
    found = places_near(scan(paper), np.zeros(2))
    assert len(found) == 1
    assert match(found, np.zeros((1, 2)))[0] < 0.5
