"""Printed grids as their own scale, on photos taken by OpenCV's camera."""

import cv2
import numpy as np
import pytest

from groupscan.photo.marks import grid
from groupscan.photo.plane import fit_plane
from groupscan.photo.reading import Photo
from groupscan.sheets.artwork import draw_artwork
from groupscan.sheets.catalogue import get_sheet, read_sheet_file
from tests.photo.sheet_pictures import View, blank, off_mm, photograph, straw

SIZE = (500.0, 500.0)
STEP = 25.4
VIEW = View(size=(1200, 1600), focal_px=1250.0, away_mm=640.0, tilt_deg=12.0)


def view(**changes):
    values = {"size": VIEW.size, "focal_px": VIEW.focal_px, "away_mm": VIEW.away_mm}
    return View(**{**values, **changes})


@pytest.fixture(scope="module")
def art():
    """The inch grid drawn here: 0.5 mm grey lines, one through the centre each way."""
    px_per_mm = 5.0
    side = round(500 * px_per_mm)
    place = (np.arange(side) + 0.5) / px_per_mm - 250.0
    away = np.abs(place - STEP * np.round(place / STEP))
    ink = np.clip((0.25 - away) * px_per_mm + 0.5, 0, 1)
    cover = np.maximum(ink[:, None], ink[None, :])
    levels = 240 - cover * (240 - 142)
    return np.repeat(np.round(levels).astype(np.uint8)[..., None], 3, axis=2)


def scan(rgb, seen_by, *, sheet=None):
    photo = Photo("photo", rgb, focal_px=seen_by.focal_px)
    marks = grid.find(photo, sheet=sheet)
    if marks is None:
        return None, None
    return marks, fit_plane(marks, image_size=photo.size, focal_px=photo.focal_px)


@pytest.mark.parametrize(
    "seen_by",
    [
        view(tilt_deg=0.0),
        view(tilt_deg=15.0, about_deg=80.0, k1=0.05),
        view(tilt_deg=30.0, about_deg=-30.0, k1=-0.06, away_mm=760.0),
        view(tilt_deg=20.0, about_deg=150.0, roll_deg=18.0, k1=-0.03),
    ],
)
def test_crossings_and_plane_are_those_photographed(art, seen_by):
    marks, plane = scan(photograph(art, SIZE, seen_by), seen_by)
    assert marks.sheet == "inch-grid"
    assert marks.notes == ()
    assert len(marks.points_mm) > 340  # of 361
    off = marks.points_px - seen_by.see(marks.points_mm)
    assert np.sqrt(np.mean(off**2)) < 0.15
    assert np.abs(off_mm(plane, seen_by, SIZE)).max() < 0.1
    assert plane.k1 == pytest.approx(seen_by.k1, abs=0.004)


def test_the_lens_is_the_one_that_opencv_calibrates(art):
    """The same camera calibrated by cv2.calibrateCamera from views of the same grid."""
    k1 = -0.05
    poses = [(18.0, 20.0), (22.0, 140.0), (24.0, 260.0)]
    views = [view(tilt_deg=t, about_deg=a, k1=k1) for t, a in poses]
    found = [scan(photograph(art, SIZE, v, seed=i), v) for i, v in enumerate(views)]
    objects = [
        np.column_stack([m.points_mm, np.zeros(len(m.points_mm))]).astype(np.float32)
        for m, _ in found
    ]
    pixels = [m.points_px.astype(np.float32).reshape(-1, 1, 2) for m, _ in found]
    start = views[0].camera.copy()
    flags = (
        cv2.CALIB_USE_INTRINSIC_GUESS
        | cv2.CALIB_FIX_PRINCIPAL_POINT
        | cv2.CALIB_FIX_ASPECT_RATIO
        | cv2.CALIB_ZERO_TANGENT_DIST
        | cv2.CALIB_FIX_K2
        | cv2.CALIB_FIX_K3
    )
    error, camera, lens, _, _ = cv2.calibrateCamera(
        objects, pixels, views[0].size, start, np.zeros(5), flags=flags
    )
    lens = lens.ravel()
    assert error < 0.3
    assert camera[0, 0] == pytest.approx(views[0].focal_px, rel=0.005)
    for (marks, plane), v in zip(found, views, strict=True):
        assert plane.k1 == pytest.approx(lens[0], abs=0.004)
        # What the plane takes out of the photo is what OpenCV's lens takes out.
        px = marks.points_px[::20]
        straight = cv2.undistortPoints(px.reshape(-1, 1, 2), v.camera, lens, P=v.camera)
        ours = plane.homography @ np.column_stack([plane.to_mm(px), np.ones(len(px))]).T
        assert np.abs((ours[:2] / ours[2]).T - straight.reshape(-1, 2)).max() < 0.4


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_a_turned_photo_gives_the_same_places_up_to_quarter_turns(art, turns):
    seen_by = view(tilt_deg=14.0, about_deg=50.0, roll_deg=3.0)
    rgb = photograph(art, SIZE, seen_by)
    _, upright = scan(rgb, seen_by)
    _, plane = scan(np.ascontiguousarray(np.rot90(rgb, turns)), seen_by)
    places = np.array([[0.0, 0.0], [110.0, 180.0], [-200.0, 20.0]])
    px = upright.to_px(places)
    width, height = seen_by.size
    for _ in range(turns):
        px = np.column_stack([px[:, 1], width - 1 - px[:, 0]])
        width, height = height, width
    quarter = np.array([[0.0, -1.0], [1.0, 0.0]])
    expected = places @ np.linalg.matrix_power(quarter, turns).T
    assert np.abs(plane.to_mm(px) - expected).max() < 0.1


@pytest.mark.parametrize("aside", [(150.0, 0.0), (-130.0, 60.0)])
def test_the_centre_is_right_where_part_of_the_sheet_is_out_of_the_photo(art, aside):
    seen_by = view(tilt_deg=10.0, aside_mm=aside)
    marks, plane = scan(photograph(art, SIZE, seen_by), seen_by)
    corners = seen_by.see(np.array([[-250.0, 250], [250, 250], [250, -250], [-250, -250]]))
    assert (corners.min() < 0) or (corners > seen_by.size).any()
    middle = seen_by.see(np.array([[0.0, 0.0]]))
    assert np.abs(plane.to_mm(middle)).max() < 0.2
    assert marks.notes == ()


def test_a_centre_that_cannot_be_seen_is_called_a_guess(art):
    # Close up: neither the lines' ends nor the paper's edges are in the photo.
    seen_by = view(tilt_deg=5.0, away_mm=370.0)
    marks, plane = scan(photograph(art, SIZE, seen_by), seen_by, sheet=get_sheet("inch-grid"))
    assert any("guess" in note for note in marks.notes)
    # The scale is right all the same.
    a, b = plane.to_mm(seen_by.see(np.array([[-50.8, 0.0], [50.8, 0.0]])))
    assert np.linalg.norm(b - a) == pytest.approx(101.6, abs=0.1)


def test_holes_pins_an_aim_and_glare_leave_the_plane_alone(art):
    seen_by = view(tilt_deg=18.0, about_deg=120.0, k1=0.03)
    shot = art.copy()
    rng = np.random.default_rng(7)
    for x, y in rng.uniform(200, 2300, (25, 2)):
        cv2.circle(shot, (int(x), int(y)), 17, (20, 18, 16), -1)
    cv2.fillConvexPoly(
        shot, np.array([[1250, 1090], [1410, 1250], [1250, 1410], [1090, 1250]]), (50, 50, 52)
    )
    for x, y in ((60, 60), (2440, 60), (2440, 2440), (60, 2440)):
        cv2.circle(shot, (x, y), 40, (30, 30, 34), -1)
    width, height = seen_by.size
    x, y = np.meshgrid(np.arange(width), np.arange(height))
    glare = 1 + 1.2 * np.exp(-((x - 500) ** 2 + (y - 700) ** 2) / (2 * 200.0**2))
    rgb = photograph(shot, SIZE, seen_by, light=0.55 * glare)
    marks, plane = scan(rgb, seen_by)
    assert marks.sheet == "inch-grid"
    assert np.abs(off_mm(plane, seen_by, SIZE)).max() < 0.2


def test_a_grid_of_ones_own(tmp_path):
    file = tmp_path / "door.toml"
    file.write_text(
        'id = "door"\ntitle = "Door"\nkind = "grid"\nwidth_mm = 420\nheight_mm = 620\n'
        "grid_mm = 40\n",
        "utf-8",
    )
    door = read_sheet_file(file)
    size = (420.0, 620.0)
    for roll in (0.0, 90.0):
        seen_by = view(tilt_deg=12.0, roll_deg=roll, away_mm=700.0 if roll == 0 else 900.0)
        marks, plane = scan(
            photograph(draw_artwork(door, px_per_mm=4.0), size, seen_by), seen_by, sheet=door
        )
        assert marks.sheet == "door"
        # The sheet is the same after half a turn, and lies on its side in the second photo.
        mesh = np.array([[0.0, 0.0], [100.0, 200.0], [-150.0, 250.0]])
        found = plane.to_mm(seen_by.see(mesh))
        assert min(np.abs(found - mesh).max(), np.abs(found + mesh).max()) < 0.15


def test_another_grid_is_not_taken_for_the_inch_grid():
    # Squared paper: as square, but 99 lines each way.
    place = (np.arange(2500) + 0.5) / 5.0 - 250.0
    ink = np.abs(place - 5.0 * np.round(place / 5.0)) < 0.2
    levels = np.where(ink[:, None] | ink[None, :], 150, 240).astype(np.uint8)
    seen_by = view(tilt_deg=5.0)
    rgb = photograph(np.repeat(levels[..., None], 3, axis=2), SIZE, seen_by)
    assert scan(rgb, seen_by)[0] is None


@pytest.mark.parametrize("sheet", ["ring-80", "one-aim-letter", "five-aims-a4", "plumb-line-a4"])
def test_other_sheets_are_no_grid(sheet):
    known = get_sheet(sheet)
    size = (known.width_mm, known.height_mm)
    seen_by = view(away_mm=1.5 * max(size), tilt_deg=10.0)
    rgb = photograph(draw_artwork(known, px_per_mm=1500 / max(size)), size, seen_by)
    assert scan(rgb, seen_by)[0] is None


def test_blank_paper_straw_and_brick_are_no_grid():
    seen_by = view()
    assert scan(photograph(blank(SIZE), SIZE, seen_by), seen_by)[0] is None
    bare = (255 * np.clip(straw(seen_by.size, 2), 0, 1) ** (1 / 2.2)).astype(np.uint8)
    assert scan(bare, seen_by)[0] is None
    wall = np.full((1600, 1200, 3), (150, 82, 62), np.uint8)
    for row in range(0, 1600, 40):
        wall[row : row + 4] = (70, 66, 62)
        for x in range((row // 40 % 2) * 45, 1200, 90):
            wall[row : row + 40, x : x + 4] = (70, 66, 62)
    noise = np.random.default_rng(1).normal(0, 6, wall.shape)
    assert scan(np.clip(wall + noise, 0, 255).astype(np.uint8), seen_by)[0] is None


def test_other_kinds_of_sheet_are_not_looked_for():
    assert grid.find(Photo("x", blank(SIZE)), sheet=get_sheet("ring-80")) is None
