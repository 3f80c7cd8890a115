"""Markers of printed sheets: corners against exact truth, and which sheet is in view."""

import cv2
import numpy as np
import pytest

from groupscan.errors import MarksError
from groupscan.photo.marks import fiducials
from groupscan.photo.marks.edges import Corners, refine_markers
from groupscan.photo.reading import Photo
from groupscan.sheets.artwork import artwork_homography, draw_artwork
from groupscan.sheets.catalogue import Sheet, get_sheet, load_catalogue
from tests.photo.marker_pictures import camera, corners_of, draw, expose, through

PRINTED = [sheet.id for sheet in load_catalogue().values() if sheet.fiducials]


def photo_of(grey: np.ndarray) -> Photo:
    return Photo("target", np.repeat(grey[:, :, None], 3, axis=2))


def markers_of(sheet: Sheet) -> list[tuple[int, float, float, float]]:
    return [(m.marker_id, m.x_mm, m.y_mm, m.side_mm) for m in sheet.fiducials]


def errors(marks, homography: np.ndarray) -> np.ndarray:
    return marks.points_px - through(homography, marks.points_mm)


def marker_trials(cell_px, tilt, blur, noise, in_light, *, seed):
    """Grey pictures of one marker each, and its true corners."""
    rng = np.random.default_rng(seed)
    side = int(11 * cell_px) + 12
    for _ in range(48 if cell_px < 10 else 24):
        homography = camera(
            px_per_mm=cell_px,
            size=(side, side),
            tilt_deg=tilt,
            about_deg=rng.uniform(0, 360),
            roll_deg=rng.uniform(-23, 23),
            shift_px=tuple(rng.uniform(-0.5, 0.5, 2)),
            focal_px=3000.0,  # a 12-megapixel phone's
        )
        picture = draw([(int(rng.integers(587)), 0.0, 0.0, 8.0)], homography, (side, side))
        grey = expose(picture, blur_px=blur, noise=noise, rng=rng, in_light=in_light)
        yield grey, through(homography, corners_of(0.0, 0.0, 8.0))


def outward(truth: np.ndarray) -> np.ndarray:
    away = truth - truth.mean(axis=0)
    return away / np.linalg.norm(away, axis=1, keepdims=True)


@pytest.mark.parametrize(
    ("cell_px", "tilt", "blur", "noise", "in_light", "most_rms"),
    [
        (12.3, 0, 0.8, 3, False, 0.02),
        (4.5, 0, 0.8, 3, False, 0.03),
        (6.0, 40, 0.8, 3, False, 0.03),
        (12.0, 30, 1.0, 10, False, 0.06),
        (10.0, 40, 1.5, 5, False, 0.06),
        (12.3, 0, 1.2, 3, True, 0.05),
        (8.0, 30, 0.8, 5, True, 0.07),
    ],
)
def test_corners_are_where_they_are(cell_px, tilt, blur, noise, in_light, most_rms) -> None:
    rng = np.random.default_rng(3)
    error, bias, over_se = [], [], []
    for grey, truth in marker_trials(cell_px, tilt, blur, noise, in_light, seed=1):
        start = truth + rng.uniform(-0.9, 0.9, truth.shape)
        found = refine_markers(grey, start[None], cells=8, slack_px=2.0)
        off = found.px[0] - truth
        error.append(off)
        bias.append((off * outward(truth)).sum(axis=1))
        over_se.append(off / found.se_px[0][:, None])
    error, over_se = np.array(error), np.array(over_se)
    assert np.sqrt((error**2).mean()) < most_rms
    assert abs(np.mean(bias)) < 0.03
    assert np.abs(error.mean(axis=(0, 1))).max() < 0.02
    # An honest standard error: few corners beyond two of them, wherever the truth lies.
    assert (np.abs(over_se) < 2).mean() > 0.92


@pytest.mark.parametrize("cell_px", [12.3, 25.7])
def test_corners_beat_the_detectors_own(cell_px) -> None:
    # OpenCV's own refinement on the same pictures is the yardstick. Measured once before with
    # OpenCV 5.0.0 on such pictures (8 x 8 supersampled, blur 0.8 px, noise 3 grey levels): rms
    # 0.14 to 0.16 px and 0.19 to 0.22 px inward with sub-pixel refinement, 0.06 to 0.07 px with
    # the AprilTag refinement after taking out its constant shift.
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    detector = cv2.aruco.ArucoDetector(dictionary, settings)
    ours, theirs = [], []
    for grey, truth in marker_trials(cell_px, 0, 0.8, 3, False, seed=2):
        corners, _, _ = detector.detectMarkers(grey)
        seen = np.asarray(corners[0], float).reshape(4, 2)
        theirs.append(seen - truth)
        ours.append(refine_markers(grey, seen[None], cells=8, slack_px=2.0).px[0] - truth)
    rms_ours, rms_theirs = (float(np.sqrt(np.mean(np.square(e)))) for e in (ours, theirs))
    assert rms_ours < 0.4 * rms_theirs
    assert rms_ours < 0.06


def test_an_unrotated_marker_is_found_to_its_pixel_edges() -> None:
    # 160 black pixels from 70 to 229: the edges lie at 69.5 and 229.5 by definition.
    grey = np.full((300, 300), 255, np.uint8)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    grey[70:230, 70:230] = cv2.aruco.generateImageMarker(dictionary, 11, 160, borderBits=1)
    start = np.array([[[70.0, 70], [229, 70], [229, 229], [70, 229]]])
    found = refine_markers(grey, start, cells=8, slack_px=2.0)
    want = np.array([[69.5, 69.5], [229.5, 69.5], [229.5, 229.5], [69.5, 229.5]])
    assert np.abs(found.px[0] - want).max() < 0.02


@pytest.mark.parametrize("sheet_id", PRINTED)
def test_every_printed_sheet_is_recognised_from_its_artwork(sheet_id) -> None:
    sheet = get_sheet(sheet_id)
    marks = fiducials.find(Photo("print", draw_artwork(sheet, px_per_mm=4.0)))
    assert marks is not None
    assert marks.source == "fiducials"
    assert marks.sheet == sheet_id
    assert marks.points_mm.shape == (4 * len(sheet.fiducials), 2)
    assert marks.notes == ()
    off = errors(marks, artwork_homography(sheet, px_per_mm=4.0))
    # Sharp edges, coded by the sRGB curve: a pixel covered by a share c reads sRGB(c), which is up
    # to 0.29 more, so an edge may seem that far off.
    assert np.abs(off).max() < 0.35


@pytest.mark.parametrize(("tilt", "about", "roll"), [(0, 0, 0), (25, 70, 100), (40, 200, -160)])
def test_a_whole_sheet_seen_at_a_slant(tilt, about, roll) -> None:
    sheet = get_sheet("one-aim-letter")
    size = (1300, 1300)
    homography = camera(px_per_mm=3.0, size=size, tilt_deg=tilt, about_deg=about, roll_deg=roll)
    picture = draw(markers_of(sheet), homography, size)
    grey = expose(picture, blur_px=0.9, noise=4, rng=np.random.default_rng(4))
    marks = fiducials.find(photo_of(grey), sheet=sheet)
    assert marks is not None
    assert len(marks.points_px) == 32
    assert np.sqrt((errors(marks, homography) ** 2).mean()) < 0.05


def test_a_large_photo_is_measured_at_its_full_resolution() -> None:
    sheet = get_sheet("one-aim-a4")
    size = (3001, 2503)  # not a multiple of the reduction
    homography = camera(px_per_mm=6.0, size=size, tilt_deg=20, about_deg=40, roll_deg=80)
    picture = draw(markers_of(sheet), homography, size)
    grey = expose(picture, blur_px=1.0, noise=4, rng=np.random.default_rng(5))
    marks = fiducials.find(photo_of(grey))
    assert marks is not None
    assert len(marks.points_px) == 32
    assert np.sqrt((errors(marks, homography) ** 2).mean()) < 0.05


def test_small_markers_in_a_large_photo_are_found_in_a_second_look() -> None:
    sheet = get_sheet("one-aim-a4")
    size = (2600, 2000)
    homography = camera(px_per_mm=1.3, size=size, tilt_deg=10, about_deg=40)
    picture = draw(markers_of(sheet), homography, size)
    grey = expose(picture, blur_px=0.7, noise=2, rng=np.random.default_rng(6))
    marks = fiducials.find(photo_of(grey), sheet=sheet)
    assert marks is not None
    assert len(marks.points_px) >= 16
    assert np.sqrt((errors(marks, homography) ** 2).mean()) < 0.15


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_a_turned_photo_gives_turned_corners(turns) -> None:
    sheet = get_sheet("five-aims-a4")
    size = (1000, 1300)
    homography = camera(px_per_mm=3.5, size=size, tilt_deg=15, about_deg=20)
    grey = expose(
        draw(markers_of(sheet), homography, size),
        blur_px=0.9,
        noise=3,
        rng=np.random.default_rng(7),
    )
    upright = fiducials.find(photo_of(grey))
    turned = fiducials.find(photo_of(np.ascontiguousarray(np.rot90(grey, turns))))
    assert upright is not None
    assert turned is not None
    back = turned.points_px
    width, height = np.rot90(grey, turns).shape[::-1]
    for _ in range(turns):
        back = np.column_stack([height - 1 - back[:, 1], back[:, 0]])
        width, height = height, width
    assert (turned.points_mm == upright.points_mm).all()
    assert np.abs(back - upright.points_px).max() < 0.02


def test_markers_that_are_shot_through_or_covered_do_no_harm() -> None:
    sheet = get_sheet("one-aim-letter")
    size = (1200, 1500)
    homography = camera(px_per_mm=4.5, size=size, tilt_deg=15, about_deg=60)
    picture = draw(markers_of(sheet), homography, size)
    seen = {m.marker_id: through(homography, m.corners_mm) for m in sheet.fiducials}
    first, second, third, fourth, *_ = sorted(seen)
    for at in (seen[first][0], seen[second][1:3].mean(axis=0), seen[third][[0, 3]].mean(axis=0)):
        # A 6 mm hole on a corner, and one on the middle of a side; a bright sky behind.
        cv2.circle(picture, tuple(at.round().astype(int).tolist()), 13, 140.0, -1)
    cv2.fillConvexPoly(picture, seen[fourth].round().astype(np.int32), 200.0)
    grey = expose(picture, blur_px=0.9, noise=4, rng=np.random.default_rng(8))
    marks = fiducials.find(photo_of(grey))
    assert marks is not None
    assert len(marks.points_px) >= 16
    off = errors(marks, homography)
    assert np.abs(off / marks.points_se_px[:, None]).max() < 5
    assert np.abs(off).max() < 0.5


def test_a_shadow_across_the_markers_moves_nothing() -> None:
    sheet = get_sheet("one-aim-letter")
    size = (1200, 1500)
    homography = camera(px_per_mm=4.5, size=size, tilt_deg=10, about_deg=60)
    picture = draw(markers_of(sheet), homography, size)
    x, y = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
    picture *= np.where(x + 0.4 * y > 1100, 0.45, 1.0)
    grey = expose(picture, blur_px=0.9, noise=3, rng=np.random.default_rng(9))
    marks = fiducials.find(photo_of(grey))
    assert marks is not None
    assert len(marks.points_px) >= 28
    assert np.sqrt((errors(marks, homography) ** 2).mean()) < 0.1


def test_few_markers_are_said_to_be_few() -> None:
    sheet = get_sheet("one-aim-letter")
    size = (1000, 1300)
    homography = camera(px_per_mm=4.0, size=size)
    grey = draw(markers_of(sheet)[:3], homography, size).round().astype(np.uint8)
    marks = fiducials.find(photo_of(grey))
    assert marks is not None
    assert len(marks.points_px) == 12
    assert "only 3 of the 8 markers" in marks.notes[0]


# ------------------------------------------------------------------------------ which sheet it is


def several(*groups: list[tuple[int, float, float, float]]) -> Photo:
    """Groups of markers side by side, square on."""
    size = (700 * len(groups), 1000)
    picture = np.full(size[::-1], 234.0)
    for k, group in enumerate(groups):
        homography = camera(px_per_mm=3.0, size=(700, 1000))
        picture[:, 700 * k : 700 * (k + 1)] = draw(group, homography, (700, 1000))
    return photo_of(picture.round().astype(np.uint8))


LETTER, A4 = get_sheet("one-aim-letter"), get_sheet("four-aims-a4")
FOREIGN = [(500, 0.0, 0.0, 30.0), (586, 0.0, 60.0, 30.0), (0, 0.0, -60.0, 30.0)]


def test_no_markers_and_markers_of_nobody() -> None:
    assert fiducials.find(photo_of(np.full((400, 500), 200, np.uint8))) is None
    assert fiducials.find(several(FOREIGN)) is None
    assert fiducials.find(several(FOREIGN), sheet=LETTER) is None


def test_a_sheet_without_markers_has_none_to_find() -> None:
    assert fiducials.find(several(markers_of(LETTER)), sheet=get_sheet("ring-80")) is None


def test_foreign_markers_are_passed_over() -> None:
    marks = fiducials.find(several([*markers_of(LETTER), *FOREIGN]))
    assert marks is not None
    assert marks.sheet == LETTER.id
    assert len(marks.points_mm) == 32
    assert marks.notes == ()


def test_one_marker_names_no_sheet_but_serves_the_sheet_named() -> None:
    photo = several(markers_of(LETTER)[:1])
    assert fiducials.find(photo) is None
    marks = fiducials.find(photo, sheet=LETTER)
    assert marks is not None
    assert len(marks.points_mm) == 4


def test_two_sheets_in_view() -> None:
    photo = several(markers_of(LETTER), markers_of(A4))
    with pytest.raises(MarksError, match="two sheets are in view"):
        fiducials.find(photo)
    for sheet in (LETTER, A4):
        marks = fiducials.find(photo, sheet=sheet)
        assert marks is not None
        assert marks.sheet == sheet.id
        assert "two sheets in view" in marks.notes[0]
    unequal = fiducials.find(several(markers_of(LETTER), markers_of(A4)[:4]))
    assert unequal is not None
    assert unequal.sheet == LETTER.id
    assert "two sheets in view" in unequal.notes[0]


def test_two_copies_of_one_sheet() -> None:
    with pytest.raises(MarksError, match="in view more than once"):
        fiducials.find(several(markers_of(LETTER), markers_of(LETTER)))
    corner_of_another = fiducials.find(several(markers_of(LETTER), markers_of(LETTER)[5:6]))
    assert corner_of_another is not None
    assert len(corner_of_another.points_mm) == 28
    assert "in view twice" in corner_of_another.notes[0]


def test_another_sheet_than_the_one_named() -> None:
    with pytest.raises(MarksError, match="those of four-aims-a4, not of one-aim-letter"):
        fiducials.find(several(markers_of(A4)), sheet=LETTER)


def test_markers_too_faint_to_read_are_none() -> None:
    photo = several(markers_of(LETTER))
    faint = (128 + (photo.rgb.astype(float) - 128) * 0.02).round().astype(np.uint8)
    assert fiducials.find(Photo("faint", faint), sheet=LETTER) is None


def test_markers_that_cannot_be_measured_ask_for_hand_marks(monkeypatch) -> None:
    def nothing(grey, corners_px, *, cells, slack_px) -> Corners:
        return Corners(np.full(corners_px.shape, np.nan), np.full(corners_px.shape[:2], np.nan))

    monkeypatch.setattr(fiducials, "refine_markers", nothing)
    with pytest.raises(MarksError, match="give its four corners by hand"):
        fiducials.find(several(markers_of(LETTER)))
