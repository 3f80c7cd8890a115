"""Sheets that bend: against a camera that sees a sheet rolled round a cylinder, point by point."""

import cv2
import numpy as np
import pytest

from groupscan.photo.marks import grid
from groupscan.photo.plane import Bend, Marks, fit_plane, fit_sheet
from groupscan.photo.plane.bend import flat_bend
from groupscan.photo.plane.pose import tell_focal
from groupscan.photo.plane.residuals import Raised
from groupscan.photo.reading import Photo
from groupscan.sheets.artwork import draw_artwork
from groupscan.sheets.catalogue import get_sheet
from sample_targets.camera import Bend as Rolled
from sample_targets.camera import Camera

SIZE = (2400, 1800)
HALF = 250.0
PROBE = np.stack(np.meshgrid(*[np.linspace(-1, 1, 7)] * 2), -1).reshape(-1, 2) * 0.85 * HALF
NODES = np.stack(np.meshgrid(*[np.linspace(-1, 1, 15)] * 2), -1).reshape(-1, 2) * HALF


def camera(*, tilt_deg=20.0, axis=0.8, k1=0.03, focal=2000.0) -> Camera:
    return Camera(
        *SIZE, focal, k1, np.radians(tilt_deg), axis, 0.1, (1230.0, 880.0), focal * HALF / 550.0
    )


def rolled(sag_mm: float, direction: float = 0.7) -> Rolled:
    return Rolled(sag_mm, HALF * np.sqrt(2), direction)


def points(at: Camera, bend: Rolled, *, mm=NODES, noise=0.0, se=0.1, seed=0) -> Marks:
    px = at.project(bend.lift(mm)) + np.random.default_rng(seed).normal(0, noise, mm.shape)
    return Marks("grid", points_mm=mm, points_px=px, points_se_px=np.full(len(mm), se))


def circles(at: Camera, bend: Rolled, *, noise=0.0, seed=0) -> Marks:
    radius = np.repeat(np.arange(1, 11) * HALF / 10, 90)
    turn = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    mm = radius[:, None] * np.tile(np.column_stack([np.cos(turn), np.sin(turn)]), (10, 1))
    px = at.project(bend.lift(mm)) + np.random.default_rng(seed).normal(0, noise, mm.shape)
    start = cv2.findHomography(mm, px)[0]
    n = len(mm)
    return Marks(
        "rings", circles_px=px, circles_radius_mm=radius, circles_inset=np.zeros(n),
        circles_centre_mm=np.zeros((n, 2)), circles_se_px=np.full(n, 0.3), start=start,
    )  # fmt: skip


def off_mm(plane, at: Camera, bend: Rolled, mm=PROBE) -> np.ndarray:
    """How far off the plane puts places whose pixels the camera tells."""
    return plane.to_mm(at.project(bend.lift(mm))) - mm


def rms(off: np.ndarray) -> float:
    return float(np.sqrt((off**2).sum(axis=1).mean()))


def some_bend(seed=1) -> Bend:
    flat = flat_bend(np.array([200.0, 150.0]), np.array([40.0, -30.0, 900.0]))
    heights = np.random.default_rng(seed).normal(0, 2.0, flat.heights_mm.shape)
    return Bend(heights, flat.cell_mm, flat.low_mm, flat.camera_mm, turn_rad=0.3)


# ---------------------------------------------------------------------------- the field itself


def test_what_the_basis_weighs_is_the_height():
    bend = some_bend()
    mm = np.random.default_rng(2).uniform(-260, 260, (50, 2))
    np.testing.assert_allclose(bend.basis(mm) @ bend.heights_mm.ravel(), bend.height_mm(mm))


def test_a_raised_place_is_seen_along_its_ray():
    bend = some_bend()
    mm = np.random.default_rng(3).uniform(-150, 150, (20, 2))
    c, s = np.cos(bend.turn_rad), np.sin(bend.turn_rad)
    eye = np.append(np.array([[c, s], [-s, c]]).T @ bend.camera_mm[:2], bend.camera_mm[2])
    raised = np.column_stack([mm, bend.height_mm(mm)])
    # Where the straight line from the camera through the raised place meets the plane.
    share = eye[2] / (eye[2] - raised[:, 2])
    meets = eye[:2] + share[:, None] * (raised[:, :2] - eye[:2])
    np.testing.assert_allclose(mm + bend.shift(mm), meets, atol=1e-9)


def test_laying_flat_undoes_the_shift():
    bend = some_bend()
    mm = np.random.default_rng(4).uniform(-150, 150, (50, 2))
    np.testing.assert_allclose(bend.laid_flat(mm + bend.shift(mm)), mm, atol=2e-3)


def test_a_record_gives_the_same_bend_back():
    bend = some_bend()
    again = Bend.from_dict(bend.to_dict())
    np.testing.assert_allclose(again.shift(PROBE), bend.shift(PROBE), atol=1e-4)


def test_the_roughness_is_the_thin_plates_energy():
    """Of z = x² + 3 x y: the integral of z_xx² + 2 z_xy² + z_yy² is (4 + 18) times the area."""
    flat = flat_bend(np.array([200.0, 150.0]), np.array([0.0, 0.0, 900.0]))
    rows, columns = flat.heights_mm.shape
    # Cells as units; a quadratic's B-spline coefficients are its values at the knots, less 1/3
    # where it is squared (de Boor 2001, chapter 9: Marsden's identity).
    x, y = np.meshgrid(np.arange(columns) - 1.0, np.arange(rows) - 1.0)
    c = (x**2 - 1 / 3 + 3 * x * y).ravel()
    area = (rows - 3) * (columns - 3)
    assert c @ flat.roughness() @ c == pytest.approx(22 * area)
    tilted = (2.0 + 0.3 * x - 0.7 * y).ravel()
    assert tilted @ flat.roughness() @ tilted == pytest.approx(0.0, abs=1e-8)


def test_modes_have_neither_a_mean_nor_a_slope_and_an_energy_each():
    flat = flat_bend(np.array([200.0, 150.0]), np.array([0.0, 0.0, 900.0]))
    modes = flat.modes()
    count = flat.heights_mm.size - 3
    assert modes.heights.shape == (flat.heights_mm.size, count)
    np.testing.assert_allclose(modes.heights.T @ modes.heights, np.eye(count), atol=1e-9)
    energy = modes.heights.T @ flat.roughness() @ modes.heights
    np.testing.assert_allclose(energy, np.diag(modes.energies), atol=1e-9)
    at = flat.inner()
    heights = flat.basis(at) @ modes.heights
    np.testing.assert_allclose(heights.sum(axis=0), 0.0, atol=1e-9)
    np.testing.assert_allclose(at.T @ heights, 0.0, atol=1e-7)


def test_a_fits_heights_count_as_the_rays_of_the_bend_do():
    """The fit holds each mark's height still; the bend looks it up: the same rays."""
    bend = some_bend()
    mm = np.random.default_rng(5).uniform(-150, 150, (20, 2))
    level = Bend(bend.heights_mm, bend.cell_mm, bend.low_mm, bend.camera_mm)
    raised = Raised(level.height_mm(mm), np.array(bend.camera_mm))
    seen = raised.shifted(mm.T)
    np.testing.assert_allclose(seen.T, mm + level.shift(mm), atol=1e-9)
    np.testing.assert_allclose(raised.laid_flat(seen).T, mm, atol=1e-9)


# ------------------------------------------------------------------------------- from marks


@pytest.mark.parametrize("tilt_deg", [3.0, 20.0, 40.0])
@pytest.mark.parametrize("direction", [0.0, 0.7, 1.6])
def test_dense_points_take_the_bend_out(tilt_deg, direction):
    at, bend = camera(tilt_deg=tilt_deg), rolled(4.0, direction)
    marks = points(at, bend, noise=0.05)
    flat = fit_plane(marks, image_size=SIZE)
    plane = fit_sheet(marks, image_size=SIZE)
    assert rms(off_mm(plane, at, bend)) < 0.3 * rms(off_mm(flat, at, bend))
    # A sag of 4 mm shortens the sheet by some 0.03 mm, which heights do not tell.
    assert rms(off_mm(plane, at, bend)) < 0.04
    assert plane.residual_px < 0.1
    assert plane.tilt_deg == pytest.approx(tilt_deg, abs=0.5)


def test_the_height_found_is_the_height_rolled():
    at, bend = camera(tilt_deg=30.0), rolled(4.0)
    plane = fit_sheet(points(at, bend, noise=0.03), image_size=SIZE)
    true = bend.lift(PROBE)[:, 2]
    base = np.column_stack([np.ones(len(PROBE)), PROBE])
    true = true - base @ np.linalg.lstsq(base, true, rcond=None)[0]
    found = plane.bend.height_mm(PROBE)
    found = found - base @ np.linalg.lstsq(base, found, rcond=None)[0]
    assert np.abs(true).max() > 1.0
    assert np.abs(found - true).max() < 0.1
    assert plane.bend_mm == pytest.approx(np.abs(plane.bend.height_mm(NODES)).max(), rel=0.1)


@pytest.mark.parametrize("tilt_deg", [10.0, 20.0, 30.0])
@pytest.mark.parametrize("direction", [0.0, 1.1])
def test_what_rings_do_not_tell_of_the_bend_is_in_the_error(tilt_deg, direction):
    """Circles show the bend across them alone; what is left must be within what is stated."""
    at, bend = camera(tilt_deg=tilt_deg), rolled(4.0, direction)
    marks = circles(at, bend, noise=0.05)
    plane = fit_sheet(marks, image_size=SIZE)
    flat = fit_plane(marks, image_size=SIZE)
    inner = PROBE[np.hypot(*PROBE.T) < HALF]

    def unturned(plane):
        """Less the turn, which circles leave open."""
        found = off_mm(plane, at, bend, inner) + inner
        u, _, vt = np.linalg.svd(found.T @ inner)
        return found @ (u @ vt) - inner

    left = unturned(plane)
    assert rms(left) < rms(unturned(flat))
    covariance = plane.position_covariance(inner)
    se = np.sqrt(np.diagonal(covariance, axis1=1, axis2=2))
    assert np.mean(np.abs(left) < 2 * se) > 0.9


def test_a_flat_sheet_stays_flat():
    at, bend = camera(), rolled(0.0)
    plane = fit_sheet(points(at, bend, noise=0.1), image_size=SIZE)
    assert plane.bend_mm < 0.2
    assert rms(off_mm(plane, at, bend)) < 0.02
    stiff = fit_sheet(points(at, bend, noise=0.1), image_size=SIZE, stiff=True)
    assert stiff.bend is None
    assert stiff.bend_mm == 0.0


def test_wrong_points_do_not_bend_the_sheet():
    at, bend = camera(), rolled(3.0)
    marks = points(at, bend, noise=0.05)
    rng = np.random.default_rng(6)
    wrong = rng.choice(len(NODES), 30, replace=False)
    marks.points_px[wrong] += rng.normal(0, 15.0, (30, 2))
    plane = fit_sheet(marks, image_size=SIZE)
    assert rms(off_mm(plane, at, bend)) < 0.05
    assert plane.inlier_share == pytest.approx(1 - 30 / len(NODES), abs=0.03)


def test_four_corners_leave_the_bend_open_and_say_so():
    at = camera()
    corners = np.array([[-1.0, 1], [1, 1], [1, -1], [-1, -1]]) * HALF
    marks = points(at, rolled(0.0), mm=corners, se=0.5)
    plain = fit_plane(marks, image_size=SIZE)
    plane = fit_sheet(marks, image_size=SIZE)
    np.testing.assert_allclose(plane.to_px(corners), marks.points_px, atol=0.02)
    assert plane.bend_mm < 1e-6
    middle = np.zeros((1, 2))
    own, bent = (np.trace(p.position_covariance(middle)[0]) for p in (plain, plane))
    assert bent > own


def test_places_stray_no_farther_than_the_plane_says():
    """Cylinders of random sag and direction, as sheets have them, and noise as stated."""
    rng = np.random.default_rng(9)
    inside, spots = [], np.array([[0.0, 0.0], [120.0, 90.0], [-150.0, 60.0], [60.0, -170.0]])
    for k in range(24):
        at = camera(tilt_deg=rng.uniform(0, 35), axis=rng.uniform(-3, 3))
        bend = rolled(rng.normal(0, 2.5), rng.uniform(0, np.pi))
        sparse = NODES[rng.choice(len(NODES), 40, replace=False)]
        plane = fit_sheet(points(at, bend, mm=sparse, noise=0.2, se=0.2, seed=k), image_size=SIZE)
        off = off_mm(plane, at, bend, spots)
        se = np.sqrt(np.diagonal(plane.position_covariance(spots), axis1=1, axis2=2))
        inside.append(np.abs(off) < 2 * se)
    # 0.954 would be right; the marks' 192 coordinates are not all independent.
    assert 0.88 < np.mean(inside) <= 1.0


def test_a_turned_sheet_bends_as_before():
    at, bend = camera(), rolled(4.0)
    plane = fit_sheet(points(at, bend, noise=0.1), image_size=SIZE)
    angle = 0.6
    turned = plane.turned(angle)
    c, s = np.cos(angle), np.sin(angle)
    onto = np.array([[c, s], [-s, c]])
    px = at.project(bend.lift(PROBE))
    np.testing.assert_allclose(turned.to_mm(px), plane.to_mm(px) @ onto.T, atol=1e-3)
    np.testing.assert_allclose(turned.to_px(turned.to_mm(px)), px, atol=0.02)
    was = onto @ plane.position_covariance(PROBE[:5]) @ onto.T
    now = turned.position_covariance(PROBE[:5] @ onto.T)
    np.testing.assert_allclose(now, was, rtol=0.05, atol=0.02 * np.abs(was).max())


# --------------------------------------------------------------------------- a rendered grid


def test_a_bent_grid_in_a_photo_is_right_within_its_stated_error():
    """Pixel by pixel: each ray meets the rolled sheet, and sees the artwork there."""
    sheet = get_sheet("inch-grid")
    px_per_mm = 4.0
    art = draw_artwork(sheet, px_per_mm=px_per_mm)
    bend = Rolled(4.0, HALF * np.sqrt(2), 0.4)
    width, height = 1200, 1600
    at = Camera(width, height, 1250.0, -0.04, np.radians(22.0), 0.5, 0.05, (605.0, 790.0), 640.0)
    u, v = np.meshgrid(np.arange(width, dtype=float), np.arange(height, dtype=float))
    mm = at.meet(u, v, bend)
    x = ((mm[..., 0] + 250) * px_per_mm - 0.5).astype(np.float32)
    y = ((250 - mm[..., 1]) * px_per_mm - 0.5).astype(np.float32)
    smooth = cv2.GaussianBlur(art, (0, 0), 0.45 * px_per_mm * 640 / 1250)
    rgb = cv2.remap(smooth, x, y, cv2.INTER_LINEAR, borderValue=(70, 80, 60))
    photo = Photo("bent grid", rgb)
    marks = grid.find(photo, sheet=sheet)
    flat = fit_plane(marks, image_size=photo.size)
    plane = fit_sheet(marks, image_size=photo.size)
    off = off_mm(plane, at, bend)
    assert rms(off_mm(flat, at, bend)) > 0.2
    assert rms(off) < 0.05
    se = np.sqrt(np.diagonal(plane.position_covariance(PROBE), axis1=1, axis2=2))
    # Beside the stated error, what the rolled sheet is shorter by, up to 0.03 mm.
    assert np.mean(np.abs(off) < 2 * se + 0.03) > 0.95
    assert plane.focal_px == pytest.approx(1250.0, rel=0.03)


# -------------------------------------------------------------------------- focal and lens


@pytest.mark.parametrize("tilt_deg", [12.0, 25.0, 40.0])
@pytest.mark.parametrize("focal", [1500.0, 2600.0])
def test_focal_and_lens_are_those_of_opencvs_calibration(tilt_deg, focal):
    """One view of a flat grid; the lens's axis held at the middle and one radial term in both."""
    at = camera(tilt_deg=tilt_deg, k1=-0.04, focal=focal)
    marks = points(at, rolled(0.0), noise=0.05)
    first = np.array([[2000.0, 0, (SIZE[0] - 1) / 2], [0, 2000.0, (SIZE[1] - 1) / 2], [0, 0, 1]])
    solid = np.column_stack([NODES, np.zeros(len(NODES))]).astype(np.float32)
    flags = (
        cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_FIX_PRINCIPAL_POINT | cv2.CALIB_FIX_ASPECT_RATIO
        | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K2 | cv2.CALIB_FIX_K3
    )  # fmt: skip
    _, inner, lens, _, _ = cv2.calibrateCamera(
        [solid], [marks.points_px.astype(np.float32)], SIZE, first, np.zeros(5), flags=flags
    )
    plane = fit_sheet(marks, image_size=SIZE, stiff=True)
    assert plane.focal_px == pytest.approx(inner[0, 0], rel=0.05)
    # Both terms in units of one focal length.
    theirs = lens.ravel()[0] * (plane.focal_px / inner[0, 0]) ** 2
    assert plane.k1 == pytest.approx(theirs, abs=0.004)


def test_a_sheet_seen_square_on_tells_no_focal_length():
    at = camera(tilt_deg=0.0, focal=2600.0)
    unit = np.eye(3)
    unit[1, 1] = -1.0
    log, se = tell_focal(unit, np.eye(8) * 1e-8, exif=False)
    assert log == pytest.approx(0.0, abs=0.05)
    assert se > 0.25
    plane = fit_sheet(points(at, rolled(0.0), noise=0.1), image_size=SIZE, stiff=True)
    assert plane.tilt_deg < 1.5


def test_what_exif_says_is_kept_unless_the_sheet_knows_better():
    at = camera(tilt_deg=15.0, focal=2600.0)
    marks = points(at, rolled(0.0), noise=0.1)
    told = fit_sheet(marks, image_size=SIZE, focal_px=2600.0)
    assert told.focal_px == pytest.approx(2600.0, rel=0.03)
    assert told.tilt_deg == pytest.approx(15.0, abs=0.5)
