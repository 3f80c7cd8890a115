"""Marks by hand: what is read, what is refused, and which corner is which."""

import itertools
import math

import numpy as np
import pytest

from groupscan.errors import MarksError, UnitError
from groupscan.photo.marks import hand
from groupscan.photo.marks.hand import (
    KnownLength,
    KnownRectangle,
    find,
    parse_corners,
    parse_known_length,
)
from groupscan.photo.plane import fit_plane
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import get_sheet

PHOTO = Photo("butt", np.zeros((3024, 4032, 3), np.uint8))
# A landscape Letter sheet seen at a slant, from the top left clockwise.
CORNERS = ((1000.0, 700.0), (3000.0, 820.0), (2900.0, 2300.0), (1100.0, 2250.0))


def rectangle(corners, width=279.4, height=215.9) -> KnownRectangle:
    return KnownRectangle(width, height, tuple(tuple(map(float, c)) for c in corners))


def test_a_known_length_is_read() -> None:
    assert parse_known_length("300mm:10,20:30.5,-4e1") == KnownLength(
        300.0, ((10.0, 20.0), (30.5, -40.0))
    )
    assert parse_known_length(" 12 in : 1 , 2 : 3 , 4 ").length_mm == pytest.approx(304.8)


def test_a_rectangle_is_read() -> None:
    text = "279.4x215.9mm:1,2:3,4:5,6:7,8"
    assert parse_corners(text) == rectangle([(1, 2), (3, 4), (5, 6), (7, 8)])
    assert parse_corners("11x8.5in:1,2:3,4:5,6:7,8").width_mm == pytest.approx(279.4)


@pytest.mark.parametrize(
    "text", ["300mm", "300mm:1,2", "300mm:1,2:3,4:5,6", "300mm:1,2:3", "300mm:1,2:a,b", ""]
)
def test_points_that_are_none(text) -> None:
    with pytest.raises(MarksError, match="300mm:x1,y1:x2,y2"):
        parse_known_length(text)


@pytest.mark.parametrize("text", ["1x2mm:1,2:3,4", "1x2mm:1,2:3,4:5,6:7,8,9", "x:::"])
def test_corners_that_are_none(text) -> None:
    with pytest.raises(MarksError, match="x4,y4"):
        parse_corners(text)


@pytest.mark.parametrize("length", ["0mm", "-3mm", "12", "12 parsecs", "nanmm"])
def test_a_length_that_is_none(length) -> None:
    with pytest.raises(UnitError):
        parse_known_length(f"{length}:1,2:3,4")


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_sizes_from_a_screen_are_checked_too(value) -> None:
    with pytest.raises(MarksError, match="more than zero"):
        KnownLength(value, ((0.0, 0.0), (100.0, 0.0)))
    with pytest.raises(MarksError, match="more than zero"):
        rectangle(CORNERS, height=value)
    with pytest.raises(MarksError, match="points in pixels"):
        KnownLength(10.0, ((0.0, math.nan), (100.0, 0.0)))


# ------------------------------------------------------------------------------- a known length


@pytest.mark.parametrize("turn_deg", [0, 37, 90, 180, 251])
def test_a_length_gives_the_scale_and_keeps_the_photos_up(turn_deg) -> None:
    turn = math.radians(turn_deg)
    middle, reach = np.array([2000.0, 1400.0]), 600.0
    ends = [middle + k * reach * np.array([math.cos(turn), math.sin(turn)]) for k in (-1, 1)]
    marks = find(PHOTO, hand=KnownLength(300.0, (tuple(ends[0]), tuple(ends[1]))))
    assert marks.source == marks.sheet == "known-length"
    assert "square on" in marks.notes[0]
    plane = fit_plane(marks, image_size=PHOTO.size)
    # 300 mm are 1200 px: 40 px right are 10 mm right, 40 px up are 10 mm up.
    seen = plane.to_mm(middle + np.array([[0.0, 0.0], [40.0, 0.0], [0.0, -40.0]]))
    assert seen == pytest.approx(np.array([[0.0, 0.0], [10.0, 0.0], [0.0, 10.0]]), abs=1e-6)


def test_a_length_belongs_to_the_sheet_named() -> None:
    marks = find(PHOTO, hand=parse_known_length("80cm:10,20:3000,20"), sheet=get_sheet("ring-80"))
    assert marks.sheet == "ring-80"


def test_ends_too_close_together() -> None:
    with pytest.raises(MarksError, match="19 pixels apart"):
        find(PHOTO, hand=parse_known_length("300mm:100,100:119,100"))


def test_hand_errors_go_with_the_size_of_the_photo() -> None:
    half = Photo("half", np.zeros((1512, 2016, 3), np.uint8))
    mark = parse_known_length("300mm:100,100:1900,100")
    large, small = (find(p, hand=mark).points_se_px[0] for p in (PHOTO, half))
    assert large == pytest.approx(2.0)
    assert small == pytest.approx(large / 2)


# ------------------------------------------------------------------------------- four corners


@pytest.mark.parametrize("order", list(itertools.permutations(range(4))))
def test_corners_may_come_in_any_order(order) -> None:
    # Orders that name the short side first are told apart by the size: the sheet would have to
    # tilt by more than 48 degrees.
    marks = find(PHOTO, hand=rectangle([CORNERS[k] for k in order]))
    assert marks.points_px.tolist() == [list(c) for c in CORNERS]
    assert marks.points_mm.tolist() == [
        [-139.7, 107.95],
        [139.7, 107.95],
        [139.7, -107.95],
        [-139.7, -107.95],
    ]


@pytest.mark.parametrize("steps", range(4))
@pytest.mark.parametrize("mirrored", [False, True])
def test_of_a_square_the_photos_up_is_up(steps, mirrored) -> None:
    corners = [(1000, 700), (2500, 820), (2400, 2300), (900, 2250)]
    given = corners[steps:] + corners[:steps]
    marks = find(PHOTO, hand=rectangle(given[::-1] if mirrored else given, 500, 500))
    assert marks.points_px.tolist() == [list(map(float, c)) for c in corners]


def test_a_sheet_on_its_side_keeps_its_width() -> None:
    # The width is the upright side: the sheet lies on its side, and up is one of two ways.
    sideways = [(1000, 2300), (1000, 900), (2100, 880), (2090, 2290)]
    marks = find(PHOTO, hand=rectangle(sideways))
    plane = fit_plane(marks, image_size=PHOTO.size, lens=False)
    along = plane.to_mm([[1000.0, 2300.0], [1000.0, 900.0]])
    assert np.linalg.norm(along[1] - along[0]) == pytest.approx(279.4, rel=1e-3)


def test_a_nearly_square_rectangle_trusts_the_first_side() -> None:
    given = [(1000, 700), (2000, 700), (2000, 1700), (1000, 1700)]
    wide = find(PHOTO, hand=rectangle(given, 220, 200))
    assert wide.points_px.tolist() == [list(map(float, c)) for c in given]
    # Started at the top right, the first side runs down: that one is the width then.
    tall = find(PHOTO, hand=rectangle(given[1:] + given[:1], 220, 200))
    side = tall.points_px[1] - tall.points_px[0]
    assert abs(side[1]) > abs(side[0])


def test_an_order_that_cannot_be_is_noted() -> None:
    assert find(PHOTO, hand=rectangle(CORNERS)).notes == ()
    noted = find(PHOTO, hand=rectangle(CORNERS[1:] + CORNERS[:1])).notes
    assert "check the scale" in noted[0]


def test_a_plane_from_four_corners_measures_between_them() -> None:
    plane = fit_plane(find(PHOTO, hand=rectangle(CORNERS)), image_size=PHOTO.size, lens=False)
    assert plane.to_mm(np.array(CORNERS)) == pytest.approx(
        np.array([[-139.7, 107.95], [139.7, 107.95], [139.7, -107.95], [-139.7, -107.95]]),
        abs=1e-3,
    )


def test_a_blank_sheet_is_known_by_its_size() -> None:
    upright = [(1000, 400), (2600, 400), (2600, 2500), (1000, 2500)]
    assert find(PHOTO, hand=rectangle(upright, 215.9, 279.4)).sheet == "plain-letter"
    assert find(PHOTO, hand=rectangle(upright, 210, 297)).sheet == "plain-a4"
    assert find(PHOTO, hand=rectangle(upright, 300, 400)).sheet is None
    ring = get_sheet("ring-40")
    assert find(PHOTO, hand=rectangle(upright, 210, 297), sheet=ring).sheet == "ring-40"


@pytest.mark.parametrize(
    "fourth", [(2000, 760), (1900, 1500), (1010, 705), (3000.0, 820.0), (1500, 730)]
)
def test_corners_of_no_rectangle(fourth) -> None:
    with pytest.raises(MarksError, match=r"four (different )?corners"):
        find(PHOTO, hand=rectangle([*CORNERS[:3], fourth]))


@pytest.mark.parametrize("outside", [(-1, 700), (1000, -0.6), (4031.6, 700), (1000, 9999)])
def test_points_outside_the_photo(outside) -> None:
    with pytest.raises(MarksError, match="outside the photo, which has 4032 x 3024 pixels"):
        find(PHOTO, hand=rectangle([outside, *CORNERS[1:]]))
    with pytest.raises(MarksError, match="outside the photo"):
        find(PHOTO, hand=KnownLength(10.0, (outside, (2000.0, 1000.0))))


def test_the_corner_pixels_edge_is_inside() -> None:
    edge = [(-0.5, -0.5), (4031.5, -0.5), (4031.5, 3023.5), (-0.5, 3023.5)]
    assert len(find(PHOTO, hand=rectangle(edge, 400, 300)).points_px) == 4


def test_public_names() -> None:
    assert set(hand.__all__) <= set(vars(hand))
