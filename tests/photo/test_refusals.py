"""What looks fine and is not gives a clear error or a warning, never a number."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from groupscan.errors import MarksError, UnitError
from groupscan.photo.holes import Hole, without_pins
from groupscan.photo.marks.hand import KnownLength, KnownRectangle
from groupscan.photo.scan import scan_photo
from groupscan.sheets.catalogue import get_sheet

FACE, LETTER, ONE_AIM = "01_face80_overcast", "06_letter_plain", "07_one_aim_square_on"


def hole(x: float, y: float) -> Hole:
    return Hole(x, y, 0.4, 0.0, 0.0, 6.0, "round", 0.99, "open")


def test_rings_that_are_no_ten_zone_face_are_not_measured_as_one(samples) -> None:
    face = get_sheet("ring-80")
    inner = replace(face, id="five-zones", rings=face.rings[5:])
    with pytest.raises(MarksError, match='no "five-zones" was recognised'):
        scan_photo(samples.photo(FACE), sheet=inner)


def test_a_square_paper_is_not_read_as_a_letter_because_somebody_says_so(samples) -> None:
    with pytest.raises(MarksError, match='no "plain-letter" was recognised'):
        scan_photo(samples.photo(FACE), sheet="plain-letter")


def test_a_tiny_rectangle_by_hand_is_refused(samples) -> None:
    marks = KnownRectangle(10.0, 10.0, ((600, 600), (622, 600), (622, 622), (600, 622)))
    with pytest.raises(MarksError, match=r"only to ± .* larger rectangle"):
        scan_photo(samples.photo(LETTER), hand_marks=marks)


def test_a_short_length_by_hand_says_how_little_it_tells(samples) -> None:
    marks = KnownLength(20.0, ((700.0, 900.0), (815.0, 900.0)))
    said = scan_photo(samples.photo(LETTER), hand_marks=marks).warnings
    assert any("scale to ±" in warning for warning in said)


@pytest.mark.parametrize("shaft_mm", [0.0, -5.0, 2.9, 12.1, 3000.0, float("nan")])
def test_a_shaft_that_no_arrow_has_is_refused(samples, shaft_mm) -> None:
    with pytest.raises(UnitError, match="3 to 12 mm"):
        scan_photo(samples.photo(ONE_AIM), shaft_mm=shaft_mm)


def test_an_earlier_photo_of_another_target_is_refused(samples) -> None:
    with pytest.raises(MarksError, match="earlier photo cannot be compared"):
        scan_photo(samples.photo(ONE_AIM), before=samples.photo(FACE))


def test_the_matrix_reaches_the_holes_through_a_bent_lens(samples) -> None:
    """The photo's lens is told by its truth: it moves the sheet's corners by many pixels."""
    name = "02_face40_sun"
    scan = samples.scan(name)
    assert abs(samples.truth(name)["camera"]["k1"]) > 0.05
    mm = np.array([[h.x_mm, h.y_mm] for h in scan.holes])
    px = np.array([[h.x_px, h.y_px] for h in scan.holes])
    flat = cv2.perspectiveTransform(mm[None], scan.mm_to_px)[0]
    off = np.hypot(*(flat - px).T)
    without_lens = cv2.perspectiveTransform(mm[None], scan.plane.homography)[0]
    assert off.max() < 6.0  # the sheet bends, too
    assert off.max() < 0.6 * np.hypot(*(without_lens - px).T).max()


@pytest.mark.parametrize(
    ("corner_holes", "taken"),
    [
        ([(-100, 130)], 0),  # one shot may go anywhere
        ([(-100, 130), (100, 130)], 2),  # a mark in each of two corners is a pair of pins
        ([(-100, 130), (-97, 128), (-101, 127)], 3),  # a heap in one corner is a pin in pieces
    ],
)
def test_pins_are_taken_out_and_counted(corner_holes, taken) -> None:
    shots = [hole(0.0, 0.0), hole(12.0, -9.0)]
    kept, pins = without_pins(shots + [hole(*at) for at in corner_holes], (215.9, 279.4))
    assert pins == taken
    assert kept[:2] == shots
