"""Ring faces before known cameras: the scale, the turn, and what is no face."""

import cv2
import numpy as np
import pytest

from groupscan.errors import MarksError
from groupscan.photo.marks import rings
from groupscan.photo.marks.upright import paper_turn
from groupscan.photo.plane import Plane, fit_plane
from groupscan.photo.reading import Photo
from groupscan.photo.scan import scan_photo
from groupscan.sheets.catalogue import Sheet, get_sheet
from sample_targets.camera import Camera
from tests.photo.drawn_sheets import Paper, camera_at, develop, photograph, seen, true_plane

FACE = get_sheet("ring-40")
WHITE = np.full(3, 220.0)


def face_picture(camera: Camera, sheet: Sheet = FACE, **more) -> Photo:
    return photograph(Paper(sheet, px_per_mm=1600 / sheet.width_mm), camera, **more)


def plane_from(photo: Photo, sheet: Sheet | None = FACE) -> Plane:
    marks = rings.find(photo, sheet=sheet)
    assert marks is not None
    size = (photo.rgb.shape[1], photo.rgb.shape[0])
    return fit_plane(marks, image_size=size, focal_px=photo.focal_px)


def compare(plane: Plane, camera: Camera, reach_mm: float = 180.0) -> tuple[float, float, float]:
    """Errors on the sheet: scale as a share, turn in degrees, centre in mm."""
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    true = reach_mm * np.column_stack([np.cos(turn), np.sin(turn)])
    read = plane.to_mm(seen(camera, true))
    centre = read.mean(axis=0)
    # Complex numbers: read = factor * true + centre, the factor holding scale and turn.
    a, b = true @ [1, 1j], (read - centre) @ [1, 1j]
    factor = np.vdot(a, b) / np.vdot(a, a)
    return abs(factor) - 1, float(np.degrees(np.angle(factor))), float(np.hypot(*centre))


@pytest.mark.parametrize(
    ("tilt", "axis", "roll"),
    [
        (0, 0, 0),
        (8, 40, -3),
        (15, 100, 6),
        (22, 200, 15),
        (30, 310, -10),
        (40, 75, 4),
        (40, 180, -15),
    ],
)
def test_a_face_is_placed_at_any_tilt_and_turn(tilt, axis, roll) -> None:
    camera = camera_at(FACE.width_mm, tilt_deg=tilt, axis_deg=axis, roll_deg=roll)
    plane = plane_from(face_picture(camera, seed=tilt))
    scale, turn, centre = compare(plane, camera)
    assert abs(scale) < 0.003
    assert abs(turn) < 0.3
    assert centre < 0.5
    assert plane.inlier_share > 0.8


@pytest.mark.parametrize("sheet_id", ["ring-60", "ring-80", "ring-122"])
def test_the_size_that_the_person_names_is_the_scale(sheet_id) -> None:
    sheet = get_sheet(sheet_id)
    camera = camera_at(sheet.width_mm, tilt_deg=12, axis_deg=60)
    plane = plane_from(face_picture(camera, sheet), sheet)
    scale, turn, centre = compare(plane, camera, 0.42 * sheet.width_mm)
    assert abs(scale) < 0.003
    assert abs(turn) < 0.3
    assert centre < 0.002 * sheet.width_mm


def test_a_post_across_the_face_does_not_move_it() -> None:
    camera = camera_at(FACE.width_mm, tilt_deg=18, axis_deg=70, roll_deg=5)
    photo = face_picture(camera)
    rgb = photo.rgb.copy()
    rgb[:, 700:790] = np.random.default_rng(2).normal((92, 64, 40), 6, (1000, 90, 3)).clip(0, 255)
    scale, turn, centre = compare(plane_from(Photo("post", rgb)), camera)
    assert abs(scale) < 0.003
    assert abs(turn) < 0.5
    assert centre < 0.6


def test_half_the_face_in_shadow_does_not_move_it() -> None:
    camera = camera_at(FACE.width_mm, tilt_deg=15, axis_deg=20, roll_deg=-4)
    paper = Paper(FACE)
    paper.shade(0.8, 0.6, 10.0, 0.6)
    scale, turn, centre = compare(plane_from(photograph(paper, camera)), camera)
    assert abs(scale) < 0.003
    assert abs(turn) < 0.3
    assert centre < 0.5


def board(height: int, width: int, seed: int) -> np.ndarray:
    """Planed wood, dark or grey: streaks along the grain."""
    rng = np.random.default_rng(seed)
    grain = cv2.GaussianBlur(rng.normal(0, 1, (height, width)), (0, 0), 1.5, sigmaY=20)
    tone = np.array([[120, 92, 60], [90, 92, 96], [165, 125, 80], [205, 205, 210]][seed % 4])
    return (tone + 16 * (grain / grain.std())[..., None]).clip(0, 255)


def half_of(camera: Camera, way: str) -> np.ndarray:
    """Where the half of a face lies that is to the left of its centre, or above, and so on."""
    x, y = seen(camera, [[0.0, 0.0]])[0]
    columns, rows = np.meshgrid(np.arange(camera.width), np.arange(camera.height))
    return {"left": columns < x, "right": columns > x, "top": rows < y, "bottom": rows > y}[way]


@pytest.mark.parametrize("tone", range(4))
@pytest.mark.parametrize("way", ["left", "right", "top", "bottom"])
def test_a_board_over_half_the_face_does_not_move_it(way, tone) -> None:
    camera = camera_at(FACE.width_mm, tilt_deg=14, axis_deg=70 * tone, roll_deg=4)
    photo = face_picture(camera)
    hidden = half_of(camera, way)
    rgb = np.where(hidden[..., None], board(*hidden.shape, tone), photo.rgb).astype(np.uint8)
    marks = rings.find(Photo("board", rgb), sheet=FACE)
    assert marks is not None
    assert any("covered" in note for note in marks.notes)
    plane = fit_plane(marks, image_size=photo.size)
    mm = plane.to_mm(np.argwhere(~hidden)[::997, ::-1].astype(float))
    mm = mm[np.hypot(*mm.T) < 200]
    off = plane.to_mm(seen(camera, mm)) - mm
    assert np.hypot(*off.T).max() < 0.7
    assert np.sqrt((off**2).sum(axis=1).mean()) < 0.4
    sheet_scale = np.linalg.lstsq(np.column_stack([mm, np.ones(len(mm))]), off, rcond=None)[0]
    assert abs(np.trace(sheet_scale[:2])) / 2 < 0.003


@pytest.mark.parametrize("shift", [(-560, 30), (560, -40), (20, -460), (-30, 460)])
def test_half_a_face_out_of_the_photo_does_not_move_it(shift) -> None:
    # The face's centre lies 40 pixels inside the picture's edge, the lens's centre where it was.
    camera = camera_at(FACE.width_mm, tilt_deg=12, axis_deg=50, roll_deg=-3, shift_px=shift)
    photo = face_picture(camera)
    scan = scan_photo(photo, sheet=FACE)
    assert any("out of the photo" in warning for warning in scan.warnings)
    x, y = np.meshgrid(np.linspace(-200, 200, 21), np.linspace(-200, 200, 21))
    mm = np.column_stack([x.ravel(), y.ravel()])
    px = seen(camera, mm)
    mm = mm[((px > 0) & (px < [1199, 999])).all(axis=1) & (np.hypot(*mm.T) < 200)]
    off = scan.plane.to_mm(seen(camera, mm)) - mm
    assert np.hypot(*off.T).max() < 0.7
    assert np.sqrt((off**2).sum(axis=1).mean()) < 0.4


def test_the_papers_edge_off_the_picture_leaves_the_photos_up() -> None:
    # Zoomed in until the paper's edges are gone, the rings all but in view: 6 degrees of turn
    # cannot be seen, so the note must say whose up it is.
    camera = camera_at(FACE.width_mm, fill=1.06, roll_deg=6, size=(1000, 1000))
    marks = rings.find(face_picture(camera), sheet=FACE)
    assert marks is not None
    assert any("Up is the photo's up" in note for note in marks.notes)
    assert marks.turn_se_rad > np.radians(1)
    plane = fit_plane(marks, image_size=(1000, 1000))
    scale, turn, _ = compare(plane, camera)
    assert abs(scale) < 0.003
    assert abs(turn) == pytest.approx(6, abs=0.3)


@pytest.mark.parametrize("roll", [-14, -5, 0, 3, 15])
def test_the_papers_edges_square_the_sheet(roll) -> None:
    camera = camera_at(FACE.width_mm, tilt_deg=10, axis_deg=130, roll_deg=roll)
    photo = face_picture(camera)
    # The true plane, but with the photo's up: turned by what the paper lies askew in the photo.
    askew = true_plane(camera).turned(np.radians(roll))
    found = paper_turn(photo, askew, inner_mm=202.0, outer_mm=280.0, paper=WHITE)
    assert np.degrees(found.angle_rad) == pytest.approx(-roll, abs=0.2)
    assert abs(np.degrees(found.angle_rad) + roll) < max(4 * np.degrees(found.se_rad), 0.1)
    np.testing.assert_allclose(found.half_sizes_mm, 215.0, atol=1.0)
    assert found.notes == ()


def test_a_paper_turned_far_is_not_squared() -> None:
    camera = camera_at(FACE.width_mm, roll_deg=35)
    found = paper_turn(
        face_picture(camera),
        true_plane(camera).turned(np.radians(35)),
        inner_mm=202.0,
        outer_mm=330.0,
        paper=WHITE,
    )
    assert found.angle_rad == 0.0
    assert "turned" in found.notes[0]


def bricks(seed: int, *, gaudy: bool = False) -> Photo:
    """A wall of red bricks with ochre ones in it, or with blue ones too; pale mortar."""
    rng = np.random.default_rng(seed)
    wall = np.full((900, 1200, 3), (196, 190, 180), np.float32)
    other = [70, 90, 160] if gaudy else [96, 60, 52]
    tones = np.array([[150, 62, 44], [168, 76, 52], [186, 150, 40], other])
    high = int(rng.integers(20, 90))
    for row in range(0, 900, high):
        for column in range(-100 + high * (row // high % 2), 1200, 2 * high):
            tone = tones[rng.choice(4, p=[0.45, 0.35, 0.1, 0.1])] + rng.normal(0, 8, 3)
            corner = (column + 2 * high - 5, row + high - 5)
            cv2.rectangle(wall, (column + 4, row + 4), corner, tone.tolist(), -1)
    return develop(wall, rng, noise=4)


@pytest.mark.parametrize("seed", range(6))
def test_a_gaudy_wall_is_no_face(seed) -> None:
    wall = bricks(seed, gaudy=True)
    assert rings.find(wall) is None
    with pytest.raises(MarksError, match="no sheet that groupscan knows"):
        scan_photo(wall)


@pytest.mark.parametrize("picture", ["bricks", "plain", "black", "noise", "flower"])
def test_what_is_no_face_is_not_taken_for_one(picture) -> None:
    rng = np.random.default_rng(1)
    if picture == "bricks":
        photo = bricks(0)
    elif picture == "noise":
        photo = Photo(picture, rng.integers(0, 256, (400, 600, 3)).astype(np.uint8))
    elif picture == "flower":  # yellow in white in green: rings, but not these
        rgb = np.full((600, 600, 3), (60, 120, 40), np.float32)
        cv2.circle(rgb, (300, 300), 200, (240, 240, 240), -1)
        cv2.circle(rgb, (300, 300), 70, (240, 200, 30), -1)
        photo = develop(rgb, rng)
    else:
        photo = Photo(picture, np.full((400, 600, 3), 0 if picture == "black" else 230, np.uint8))
    assert rings.find(photo) is None
    with pytest.raises(MarksError, match="marks by hand"):
        scan_photo(photo)


def test_of_two_faces_the_larger_is_read_and_the_note_says_so() -> None:
    near = camera_at(FACE.width_mm, size=(1200, 800), fill=0.75, shift_px=(-260, 0))
    far = camera_at(FACE.width_mm, size=(1200, 800), fill=0.5, shift_px=(330, 0))
    behind = face_picture(far, noise=0).rgb.astype(np.float32)
    photo = face_picture(near, behind=behind)
    marks = rings.find(photo, sheet=FACE)
    assert marks is not None
    assert any("Two faces" in note for note in marks.notes)
    scale, _, centre = compare(fit_plane(marks, image_size=(1200, 800)), near)
    assert abs(scale) < 0.003
    assert centre < 0.5
    alone = rings.find(face_picture(near), sheet=FACE)
    assert alone is not None
    assert not any("Two faces" in note for note in alone.notes)


def test_a_size_that_was_not_named_is_a_warning() -> None:
    camera = camera_at(FACE.width_mm)
    photo = face_picture(camera)
    guessed = scan_photo(photo)
    assert any(guessed.sheet in warning for warning in guessed.warnings)
    named = scan_photo(photo, sheet="ring-40")
    assert not any("ring-" in warning for warning in named.warnings)


def test_too_little_of_a_face_is_said() -> None:
    # Only a strip of the face is in view.
    camera = camera_at(FACE.width_mm, size=(1200, 800), fill=1.6)
    rgb = face_picture(camera).rgb[300:420]
    with pytest.raises(MarksError):
        scan_photo(Photo("strip", np.ascontiguousarray(rgb)), sheet="ring-40")
