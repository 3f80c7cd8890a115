"""Blade cuts drawn as wedges of known number, length and angle; and tears that are none."""

import cv2
import numpy as np
import pytest

from groupscan.photo.expected import flatten
from groupscan.photo.holes import CUT_NAMES, Hole, find_holes
from groupscan.sheets.catalogue import Sheet
from sample_targets.camera import Camera
from tests.photo.drawn_sheets import HOLE_RGB, Paper, camera_at, photograph, true_plane

LETTER = Sheet("plain", "blank paper", "paper", 216.0, 280.0)
NEAR = camera_at(216.0, size=(1500, 1900), fill=0.75, tilt_deg=12, axis_deg=35, roll_deg=2)
FAR = camera_at(216.0, size=(700, 860), fill=0.7, tilt_deg=25, axis_deg=200)
SHAFT_MM = 5.4


def cut(
    paper: Paper,
    x_mm: float,
    y_mm: float,
    blades: int,
    *,
    length_mm: float = 28.0,
    angle_deg: float,
    wide_mm: float = 1.6,
) -> None:
    """Paint a round hole and slits that narrow to a point."""
    for k in range(blades):
        turn = np.radians(angle_deg) + 2 * np.pi * k / blades
        along = np.array([np.cos(turn), np.sin(turn)])
        across = wide_mm / 2 * np.array([-along[1], along[0]])
        wedge = np.array([x_mm, y_mm]) + [across, length_mm / 2 * along, -across]
        wedge_px = np.array([paper.px(x, y) for x, y in wedge])
        fixed = np.rint(wedge_px * 16).astype(np.int32)
        cv2.fillPoly(paper.picture, [fixed], HOLE_RGB, cv2.LINE_AA, 4)
    paper.disc(x_mm, y_mm, SHAFT_MM)


def scan(paper: Paper, camera: Camera, seed: int = 0, noise: float = 2.0) -> list[Hole]:
    photo = photograph(paper, camera, seed=seed, noise=noise)
    plane = true_plane(camera)
    return find_holes(photo, plane, flatten(photo, plane, paper.sheet))


def nearest(holes: list[Hole], x_mm: float, y_mm: float) -> Hole:
    return min(holes, key=lambda hole: float(np.hypot(hole.x_mm - x_mm, hole.y_mm - y_mm)))


@pytest.mark.parametrize("blades", [2, 3, 4])
@pytest.mark.parametrize("camera", [NEAR, FAR], ids=["near", "far"])
def test_a_cut_has_its_blades_place_length_and_angle(blades: int, camera: Camera) -> None:
    places = [(-60.0, 80.0), (50.0, 70.0), (-50.0, -10.0), (60.0, -60.0), (-40.0, -90.0)]
    angles = [3.0, 21.0, 45.0, 58.0, 77.0]
    paper = Paper(LETTER, px_per_mm=8.0)
    for (x, y), angle in zip(places, angles, strict=True):
        cut(paper, x, y, blades, angle_deg=angle)
    holes = scan(paper, camera)
    assert len(holes) == len(places)
    for (x, y), angle in zip(places, angles, strict=True):
        hole = nearest(holes, x, y)
        assert hole.cut == CUT_NAMES[blades]
        assert np.hypot(hole.x_mm - x, hole.y_mm - y) < 0.4
        assert hole.blade_mm is not None
        assert hole.blade_angle_deg is not None
        # The last bit of a slit is narrower than a pixel, so its end is carried on.
        assert abs(hole.blade_mm - 28.0) < 3.0
        turn = 360.0 / blades
        assert abs((hole.blade_angle_deg - angle + turn / 2) % turn - turn / 2) < 2.5


def test_round_holes_beside_a_cut_are_shots_of_their_own() -> None:
    """One stands apart from the slits, one lies across the root of a slit."""
    paper = Paper(LETTER, px_per_mm=8.0)
    cut(paper, 0.0, 0.0, 4, angle_deg=2.0)
    beside, across = (8.0, 8.0), (2.2, -5.6)
    paper.holes([beside, across], SHAFT_MM)
    holes = scan(paper, NEAR)
    assert nearest(holes, 0.0, 0.0).cut == "four-blade"
    assert len(holes) == 3
    for x, y in (beside, across):
        hole = nearest(holes, x, y)
        assert hole.cut == "round"
        assert np.hypot(hole.x_mm - x, hole.y_mm - y) < 0.8


def test_ragged_round_holes_are_no_cuts() -> None:
    """Sixty holes with tears of up to 4 mm out from them, at any angle: none has blades."""
    rng = np.random.default_rng(7)
    paper = Paper(LETTER, px_per_mm=8.0)
    x, y = np.meshgrid(np.linspace(-85, 85, 6), np.linspace(-115, 115, 10))
    places = np.column_stack([x.ravel(), y.ravel()]) + rng.uniform(-4, 4, (60, 2))
    for x_mm, y_mm in places:
        for _ in range(rng.integers(2, 8)):
            tear = SHAFT_MM + 2 * rng.uniform(0.5, 4.0)
            width = rng.uniform(0.6, 2.0)
            # A cut of one blade is a tear.
            cut(paper, x_mm, y_mm, 1, length_mm=tear, angle_deg=rng.uniform(0, 360), wide_mm=width)
    holes = scan(paper, NEAR)
    assert len(holes) > 50
    assert [hole.cut for hole in holes if hole.cut != "round"] == []


def test_a_hole_on_a_line_or_on_crossing_lines_is_no_cut() -> None:
    """Pencil lines go on; a broadhead's blades end."""
    paper = Paper(LETTER, px_per_mm=8.0)
    for x_mm in (-60.0, 0.0, 60.0):
        for grey, (a, b) in ((60, ((x_mm, -60.0), (x_mm, 60.0))),):
            ends = [tuple(round(v) for v in paper.px(*p)) for p in (a, b)]
            cv2.line(paper.picture, ends[0], ends[1], (grey,) * 3, 6)
    ends = [tuple(round(v) for v in paper.px(*p)) for p in ((-90.0, 0.0), (90.0, 0.0))]
    cv2.line(paper.picture, ends[0], ends[1], (60,) * 3, 6)
    places = np.array([[-60.0, 0.0], [0.0, 0.0], [60.0, 30.0]])
    paper.holes(places, SHAFT_MM)
    holes = scan(paper, NEAR)
    assert all(hole.cut == "round" for hole in holes)


def test_holes_in_a_row_are_no_cut() -> None:
    """The middle one has a neighbour on either side, a shaft's width and a bit away."""
    paper = Paper(LETTER, px_per_mm=8.0)
    away = np.array([7.2, 4.1])
    places = np.vstack([k * away for k in (-1, 0, 1)])
    paper.holes(places, SHAFT_MM)
    holes = scan(paper, NEAR)
    assert [hole.cut for hole in holes] == ["round"] * 3


def test_faint_slits_on_clean_paper_are_followed_to_their_ends() -> None:
    """They gape a quarter of a millimetre, as in stiff paper: a pixel is twice as wide."""
    paper = Paper(LETTER, px_per_mm=8.0)
    cut(paper, 0.0, 0.0, 3, angle_deg=20.0, wide_mm=0.9)
    holes = scan(paper, FAR, noise=1.0)
    assert [hole.cut for hole in holes] == ["three-blade"]
    assert holes[0].blade_mm is not None
    assert abs(holes[0].blade_mm - 28.0) < 5.0


def test_a_slit_under_something_broad_may_be_missing() -> None:
    """A strip of tape, as dark as a shaft, lies along one of four slits."""
    paper = Paper(LETTER, px_per_mm=8.0)
    cut(paper, 0.0, 0.0, 4, angle_deg=8.0)
    ends = [tuple(round(v) for v in paper.px(*place)) for place in ((6.5, 1.0), (45.0, 6.3))]
    cv2.line(paper.picture, ends[0], ends[1], (40.0, 40.0, 40.0), 64)
    hole = nearest(scan(paper, NEAR), 0.0, 0.0)
    assert hole.cut == "four-blade"
    assert np.hypot(hole.x_mm, hole.y_mm) < 0.6


def test_a_hole_on_a_curved_line_is_no_cut() -> None:
    """A drawn ring passes through the hole and turns away on both sides."""
    paper = Paper(LETTER, px_per_mm=8.0)
    middle = tuple(round(v) for v in paper.px(0.0, 40.0))
    cv2.circle(paper.picture, middle, 40 * 8, (40.0, 40.0, 40.0), 8)
    paper.holes(np.array([[0.0, 0.0]]), SHAFT_MM)
    hole = nearest(scan(paper, NEAR), 0.0, 0.0)
    assert hole.cut == "round"
