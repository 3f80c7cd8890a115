"""The plane: against cameras of known place, other libraries and published figures."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.measure import EllipseModel
from skimage.transform import ProjectiveTransform

from groupscan.errors import MarksError
from groupscan.photo.plane import Marks, Plane, fit_plane
from groupscan.photo.plane.residuals import Residuals
from sample_targets.camera import Camera

steady = settings(deadline=None)  # a busy machine is no failure
quick = settings(deadline=None, max_examples=30)
SIZE = (2400, 1800)
HALF = 250.0  # mm, half a sheet's side
GRID = np.stack(np.meshgrid(np.linspace(-1, 1, 5), np.linspace(-1, 1, 5)), -1).reshape(-1, 2) * HALF


@st.composite
def cameras(draw, *, most_k1: float = 0.04) -> Camera:
    """Cameras that see the whole of a sheet of 500 mm, leaning up to 50 degrees."""

    def number(low: float, high: float) -> float:
        return draw(st.floats(low, high, allow_subnormal=False))

    focal = number(1200.0, 4000.0)
    return Camera(
        width=SIZE[0],
        height=SIZE[1],
        f_px=focal,
        k1=number(-most_k1, most_k1),
        tilt_rad=np.radians(number(0.0, 50.0)),
        tilt_axis_rad=number(-np.pi, np.pi),
        roll_rad=np.radians(number(-30.0, 30.0)),
        centre_px=(SIZE[0] / 2 + number(-150, 150), SIZE[1] / 2 + number(-150, 150)),
        # The sheet's half diagonal, were it square on, takes up 600 px.
        distance_mm=focal * HALF * np.sqrt(2) / 600.0,
    )


def matrix(camera: Camera) -> np.ndarray:
    """K [r1 r2 t], sheet mm to pixels without the lens; last element 1."""
    inner = np.array([[camera.f_px, 0, camera.cx], [0, camera.f_px, camera.cy], [0, 0, 1.0]])
    outer = np.column_stack([camera.rotation[:, :2], camera.shift])
    product = inner @ outer
    return product / product[2, 2]


def seen(camera: Camera, mm: np.ndarray) -> np.ndarray:
    """Pixels of points of the sheet, by the camera's own arithmetic."""
    return camera.project(np.column_stack([mm, np.zeros(len(mm))]))


def plane_of(camera: Camera) -> Plane:
    return Plane(
        homography=matrix(camera),
        k1=camera.k1,
        focal_px=camera.f_px,
        image_size=SIZE,
        covariance=np.zeros((9, 9)),
        residual_px=0.0,
        inlier_share=1.0,
        line_width_mm=0.0,
        source="corners",
    )


def point_marks(mm: np.ndarray, px: np.ndarray, se: float = 0.1) -> Marks:
    return Marks("corners", points_mm=mm, points_px=px, points_se_px=np.full(len(mm), se))


def circle_marks(
    px: np.ndarray,
    radius: np.ndarray,
    *,
    start: np.ndarray,
    centre: tuple[float, float] = (0.0, 0.0),
    se: float = 0.1,
    **more,
) -> Marks:
    n = len(px)
    return Marks(
        "rings",
        circles_px=px,
        circles_radius_mm=radius,
        circles_inset=np.zeros(n),
        circles_centre_mm=np.tile(centre, (n, 1)),
        circles_se_px=np.full(n, se),
        start=start,
        **more,
    )


def on_circles(*radii: float, count: int = 36) -> tuple[np.ndarray, np.ndarray]:
    """Points on circles about the origin, and the radius of each."""
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    unit = np.column_stack([np.cos(turn), np.sin(turn)])
    return np.vstack([r * unit for r in radii]), np.repeat(radii, count)


# ------------------------------------------------------------------------------------ both ways


@given(camera=cameras())
@steady
def test_a_plane_sees_what_its_camera_sees(camera) -> None:
    np.testing.assert_allclose(plane_of(camera).to_px(GRID), seen(camera, GRID), atol=1e-6)


@given(camera=cameras())
@steady
def test_there_and_back_is_the_same_place(camera) -> None:
    plane = plane_of(camera)
    np.testing.assert_allclose(plane.to_mm(plane.to_px(GRID)), GRID, atol=1e-4)


@given(camera=cameras())
@steady
def test_the_jacobian_is_what_a_small_step_does(camera) -> None:
    jacobian = plane_of(camera).jacobian(GRID)
    for axis, step in enumerate(np.eye(2) * 1e-3):
        moved = (seen(camera, GRID + step) - seen(camera, GRID - step)) / 2e-3
        np.testing.assert_allclose(jacobian[:, :, axis], moved, rtol=1e-3, atol=1e-4)


@given(camera=cameras(most_k1=0.0))
@steady
def test_tilt_and_pose_are_those_of_the_camera(camera) -> None:
    plane = plane_of(camera)
    assert plane.tilt_deg == pytest.approx(np.degrees(camera.tilt_rad), abs=1e-4)
    rotation, translation = plane.pose()
    np.testing.assert_allclose(rotation, camera.rotation, atol=1e-7)
    np.testing.assert_allclose(translation, camera.shift, rtol=1e-7, atol=1e-6)


@given(tilt=st.floats(0, 60))
@steady
def test_the_scale_is_taken_along_the_sheets_x(tilt) -> None:
    # Leaning back about the picture's x axis leaves the scale across at distance / focal length.
    camera = Camera(*SIZE, 2000.0, 0.0, np.radians(tilt), 0.0, 0.0, (1199.5, 899.5), 1500.0)
    assert plane_of(camera).mm_per_px()[0] == pytest.approx(1500.0 / 2000.0, rel=1e-6)


@given(camera=cameras(), degrees=st.floats(-180, 180))
@steady
def test_turned_turns_the_axes_and_not_the_picture(camera, degrees) -> None:
    rng = np.random.default_rng(3)
    px = seen(camera, GRID) + rng.normal(0, 0.3, GRID.shape)
    plane = fit_plane(point_marks(GRID, px), image_size=SIZE, focal_px=camera.f_px)
    angle = np.radians(degrees)
    turned = plane.turned(angle)
    at = np.array([[1000.0, 700.0], [1500.0, 1200.0]])
    c, s = np.cos(angle), np.sin(angle)
    onto_new_axes = np.array([[c, s], [-s, c]])
    now = plane.to_mm(at) @ onto_new_axes.T
    np.testing.assert_allclose(turned.to_mm(at), now, atol=1e-6)
    # What is known of a place does not depend on the axes that it is told in.
    was = plane.position_covariance(plane.to_mm(at))
    expected = onto_new_axes @ was @ onto_new_axes.T
    np.testing.assert_allclose(
        turned.position_covariance(now), expected, rtol=0, atol=0.02 * expected.max()
    )


# -------------------------------------------------------------------------------- from points


@given(camera=cameras(most_k1=0.0))
@quick
def test_exact_points_give_the_homography_of_other_libraries(camera) -> None:
    px = seen(camera, GRID)
    found = fit_plane(point_marks(GRID, px), image_size=SIZE, lens=False).homography
    theirs = cv2.findHomography(GRID, px)[0]
    if hasattr(ProjectiveTransform, "from_estimate"):
        other = ProjectiveTransform.from_estimate(GRID, px)
    else:
        other = ProjectiveTransform()
        other.estimate(GRID, px)
    for h in (theirs, np.asarray(other.params)):
        flat = cv2.perspectiveTransform(GRID[None], h)[0]
        ours = cv2.perspectiveTransform(GRID[None], found)[0]
        np.testing.assert_allclose(ours, flat, atol=1e-4)
    np.testing.assert_allclose(found / found[2, 2], matrix(camera), rtol=1e-5, atol=1e-8)


@given(camera=cameras())
@quick
def test_the_lens_is_found_from_many_points(camera) -> None:
    plane = fit_plane(
        point_marks(GRID, seen(camera, GRID), se=0.01), image_size=SIZE, focal_px=camera.f_px
    )
    np.testing.assert_allclose(plane.to_px(GRID), seen(camera, GRID), atol=0.02)
    assert plane.residual_px < 0.02


@given(camera=cameras(), seed=st.integers(0, 2**32 - 1))
@quick
def test_a_quarter_of_wrong_points_does_not_move_the_plane(camera, seed) -> None:
    rng = np.random.default_rng(seed)
    mm = rng.uniform(-HALF, HALF, (40, 2))
    px = seen(camera, mm) + rng.normal(0, 0.3, mm.shape)
    turn = rng.uniform(0, 2 * np.pi, 10)
    px[:10] += rng.uniform(30, 300, (10, 1)) * np.column_stack([np.cos(turn), np.sin(turn)])
    plane = fit_plane(point_marks(mm, px, se=0.3), image_size=SIZE, focal_px=camera.f_px)
    inner = np.abs(GRID).max(axis=1) < HALF
    error = np.hypot(*(plane.to_px(GRID[inner]) - seen(camera, GRID[inner])).T)
    assert error.max() < 1.5
    assert plane.inlier_share == pytest.approx(0.75, abs=0.05)
    # All points alike have no such plane: without the guard the error is tens of pixels.
    plain = cv2.findHomography(mm, px)[0]
    wrong = cv2.perspectiveTransform(GRID[inner][None], plain)[0] - seen(camera, GRID[inner])
    assert np.hypot(*wrong.T).max() > 3 * error.max()


@pytest.mark.parametrize("count", [0, 1, 3])
def test_too_few_marks_ask_for_more(count) -> None:
    with pytest.raises(MarksError, match="four corners or two points by hand"):
        fit_plane(point_marks(GRID[:count], GRID[:count]), image_size=SIZE)


def test_circles_alone_need_somewhere_to_start() -> None:
    mm, radius = on_circles(100.0)
    with pytest.raises(MarksError, match="first guess"):
        fit_plane(circle_marks(mm, radius, start=None), image_size=SIZE)


# ------------------------------------------------------------------------------- from circles


@given(camera=cameras(), seed=st.integers(0, 2**32 - 1))
@quick
def test_concentric_circles_give_the_camera_but_for_its_turn(camera, seed) -> None:
    mm, radius = on_circles(50.0, 100.0, 150.0, 200.0, 250.0)
    px = seen(camera, mm)
    rng = np.random.default_rng(seed)
    nudge = np.eye(3)
    nudge[:2] += rng.normal(0, [[0.03, 0.03, 6.0]] * 2)
    nudge[2, :2] += rng.normal(0, 4e-5, 2)
    start = matrix(camera) @ nudge
    plane = fit_plane(
        circle_marks(px, radius, start=start / start[2, 2], se=0.01),
        image_size=SIZE,
        focal_px=camera.f_px,
    )
    back = plane.to_mm(px)
    np.testing.assert_allclose(np.hypot(*back.T), radius, atol=0.01)
    centre = np.zeros((1, 2))
    np.testing.assert_allclose(plane.to_px(centre), seen(camera, centre), atol=0.02)
    assert plane.k1 == pytest.approx(camera.k1, abs=2e-3)
    assert plane.tilt_deg == pytest.approx(np.degrees(camera.tilt_rad), abs=0.3)
    # Circles say nothing of the turn: it is that of the start, here but a few degrees off.
    turn = np.unwrap(np.arctan2(back[:, 1], back[:, 0]) - np.arctan2(mm[:, 1], mm[:, 0]))
    assert np.ptp(turn) < 1e-3


def test_a_line_seen_inside_its_circle_tells_its_own_width() -> None:
    camera = Camera(*SIZE, 2000.0, 0.0, 0.3, 1.0, 0.0, (1200.0, 900.0), 1200.0)
    radii = np.arange(1, 11) * 25.0
    inset = np.where(radii == 200.0, 0.0, 0.5)  # an edge at 200 mm, else the middle of a line
    mm, _ = on_circles(*(radii - inset * 0.9))
    marks = Marks(
        "rings",
        circles_px=seen(camera, mm),
        circles_radius_mm=np.repeat(radii, 36),
        circles_inset=np.repeat(inset, 36),
        circles_centre_mm=np.zeros((360, 2)),
        circles_se_px=np.full(360, 0.02),
        start=matrix(camera),
    )
    plane = fit_plane(marks, image_size=SIZE, focal_px=2000.0)
    assert plane.line_width_mm == pytest.approx(0.9, abs=0.01)
    assert plane.mm_per_px()[0] == pytest.approx(plane_of(camera).mm_per_px()[0], rel=1e-4)


def test_the_fits_derivatives_are_those_of_its_residuals() -> None:
    """Points anywhere; circles where they fit, since the Sampson weight is held fixed."""
    camera = Camera(*SIZE, 1800.0, 0.03, 0.5, 0.7, 0.2, (1230.0, 880.0), 1000.0)
    mm, radius = on_circles(120.0, 240.0, count=9)
    circles = circle_marks(
        seen(camera, mm + [30.0, -20.0]), radius, start=matrix(camera), centre=(30.0, -20.0)
    )
    rng = np.random.default_rng(1)
    marks = Marks(
        "both",
        points_mm=GRID,
        points_px=seen(camera, GRID) + rng.normal(0, 3, GRID.shape),
        points_se_px=rng.uniform(0.1, 0.5, len(GRID)),
        circles_px=circles.circles_px,
        circles_radius_mm=radius,
        circles_inset=np.zeros(len(radius)),
        circles_centre_mm=circles.circles_centre_mm,
        circles_se_px=circles.circles_se_px,
    )
    fit = Residuals(marks, SIZE, 1800.0, True)
    unit = fit.to_unit @ matrix(camera) @ np.diag([fit.length, fit.length, 1.0])
    p = np.append((unit / unit[2, 2]).ravel()[:8], [0.03, 0.0])
    jacobian = fit.at(p).jacobian()
    for i in range(9):
        step = np.zeros(10)
        step[i] = 1e-6
        rise = (fit.at(p + step).values - fit.at(p - step).values) / 2e-6
        scale = np.abs(jacobian[:, i]).max()
        np.testing.assert_allclose(jacobian[:, i], rise, atol=1e-5 * scale)


# Bias of an ellipse's centre as the image of a circle's centre, for a camera of 3000 px focal
# length and principal point (2000, 1500) turned about its x axis, y down. Closed form: the image
# conic's centre against the projected centre (Heikkila and Silven, CVPR 1997; Mallon and Whelan,
# Pattern Recognition Letters 28 (2007) 921-930).
# tilt (degrees), Z, r, x0, y0 (mm), bias u, v (px), shift back on the target y (mm)
ELLIPSE_BIAS = [
    (30, 3000, 61, 0, 0, 0.0, -0.53713560685, -0.62016666667),
    (30, 3000, 200, 0, 0, 0.0, -5.7799248306, -6.66666666667),
    (45, 3000, 200, 0, 0, 0.0, -6.68151447661, -9.42809041582),
    (15, 3000, 610, 0, 0, 0.0, -31.09445105187, -32.10219889422),
    (30, 1000, 61, 0, 0, 0.0, -4.83822154682, -1.8605),
    (30, 3000, 61, 400, -300, 0.04822764842, -0.62649553046, -0.65280701754),
    (45, 1500, 610, 0, 0, 0.0, -270.42806269532, -175.40962218634),
]


@pytest.mark.parametrize(("tilt", "z", "r", "x0", "y0", "du", "dv", "dy"), ELLIPSE_BIAS)
def test_the_planes_centre_is_right_where_the_ellipses_is_not(
    tilt, z, r, x0, y0, du, dv, dy
) -> None:
    rotation, _ = cv2.Rodrigues(np.array([np.radians(tilt), 0.0, 0.0]))
    inner = np.array([[3000.0, 0, 2000], [0, 3000.0, 1500], [0, 0, 1]])
    h = inner @ np.column_stack([rotation[:, :2], [0, 0, z]])
    h /= h[2, 2]
    centre = np.array([[float(x0), float(y0)]])
    true = cv2.perspectiveTransform(centre[None], h)[0, 0]
    mm, radius = on_circles(float(r), r / 2, count=100)
    px = cv2.perspectiveTransform((mm + centre)[None], h)[0]

    outer = px[:100]
    if hasattr(EllipseModel, "from_estimate"):
        model = EllipseModel.from_estimate(outer)
        ellipse = np.array(model.center)
    else:
        model = EllipseModel()
        model.estimate(outer)
        ellipse = np.array(model.params[:2])
    np.testing.assert_allclose(ellipse - true, [du, dv], atol=0.002)
    np.testing.assert_allclose(
        cv2.fitEllipse(outer.astype(np.float32))[0] - true, [du, dv], atol=0.03
    )

    start = h @ np.array([[1.01, 0, 0.02 * r], [0, 0.98, -0.03 * r], [0, 0, 1]])
    plane = fit_plane(
        circle_marks(px, radius, start=start, centre=(x0, y0), se=0.01),
        image_size=(4001, 3001),
        focal_px=3000.0,
        lens=False,
    )
    np.testing.assert_allclose(plane.to_px(centre)[0], true, atol=0.01)
    # Taken for the centre, the ellipse's would be this far off on the sheet.
    back = cv2.perspectiveTransform(ellipse[None, None], np.linalg.inv(h))[0, 0]
    assert back[1] - y0 == pytest.approx(dy, rel=0.01)


# -------------------------------------------------------------------------------- uncertainty

# First-order covariance of a measured point through a homography from four fiducials, 0.10 px per
# axis each, and 0.20 px for the point itself. The theory is that of Criminisi, Reid and Zisserman,
# "A plane measuring device", BMVC 1997; f = 3000 px, principal point (2000, 1500),
# R = Rx(25 deg) Ry(10 deg), t = (20, -30, 2000) mm, y down. The last three columns were simulated
# with 20000 draws (relative standard error 0.5 %).
# X, Y, SD x, SD y, cov, SD x and SD y by the point alone, simulated SD x, SD y
PLANE_DEVICE = [
    (0, 0, 0.141758827, 0.158231899, -0.001489426, 0.135130589, 0.146424613, 0.142568, 0.158041),
    (150, -100, 0.135537955, 0.151042457, -0.000412939, 0.128914, 0.138544730, 0.135166, 0.150043),
    (-200, 300, 0.161797814, 0.183310006, -0.003261161, 0.1487166, 0.1682944, 0.161875, 0.183361),
    (400, 500, 0.184944775, 0.225539257, 0.007301418, 0.140320511, 0.174381140, 0.185187, 0.224655),
]  # fmt: skip


@pytest.mark.parametrize("row", PLANE_DEVICE)
def test_the_planes_covariance_is_the_published_one(row) -> None:
    x, y, sd_x, sd_y, cov, own_x, own_y, drawn_x, drawn_y = row
    about_x, _ = cv2.Rodrigues(np.array([np.radians(25.0), 0, 0]))
    about_y, _ = cv2.Rodrigues(np.array([0, np.radians(10.0), 0]))
    rotation = about_x @ about_y
    inner = np.array([[3000.0, 0, 2000], [0, 3000.0, 1500], [0, 0, 1]])
    h = inner @ np.column_stack([rotation[:, :2], [20.0, -30.0, 2000.0]])
    mm = np.array([[-250.0, -350], [250, -350], [250, 350], [-250, 350]])
    px = cv2.perspectiveTransform(mm[None], h)[0]
    np.testing.assert_allclose(px[0], [1641.2204, 920.1930], atol=1e-3)
    plane = fit_plane(
        point_marks(mm, px, se=0.1), image_size=(4001, 3001), focal_px=3000.0, lens=False
    )
    at = np.array([[float(x), float(y)]])
    by_plane = plane.position_covariance(at)[0]
    back = np.linalg.inv(plane.jacobian(at)[0])
    by_point = 0.2**2 * back @ back.T
    assert np.sqrt(np.diag(by_point)) == pytest.approx([own_x, own_y], rel=1e-3)
    both = by_plane + by_point
    assert np.sqrt(np.diag(both)) == pytest.approx([sd_x, sd_y], rel=2e-3)
    assert both[0, 1] == pytest.approx(cov, abs=2e-5)
    assert np.sqrt(np.diag(both)) == pytest.approx([drawn_x, drawn_y], rel=0.01)


CAMERA = Camera(*SIZE, 1800.0, 0.01, 0.4, 0.9, 0.1, (1230.0, 880.0), 1000.0)


def scale_floor(marks: Marks) -> float:
    """Error of the scale that perfect marks leave: no sheet is quite flat."""
    floor = fit_plane(marks, image_size=SIZE, focal_px=1800.0).scale_se
    assert floor < 1e-3  # of about 0.55 mm a pixel: 0.2 %
    return floor


def test_errors_of_a_plane_from_points_are_as_large_as_it_says() -> None:
    rng = np.random.default_rng(11)
    px, probe = seen(CAMERA, GRID), np.array([[0.0, 0.0], [150.0, -200.0], [-230.0, 230.0]])
    at, true_scale = seen(CAMERA, probe), plane_of(CAMERA).mm_per_px()[0]
    d2, z = [], []
    floor = scale_floor(point_marks(GRID, px, se=1e-6))
    for _ in range(250):
        noisy = px + rng.normal(0, 0.3, px.shape)
        plane = fit_plane(point_marks(GRID, noisy, se=0.3), image_size=SIZE, focal_px=1800.0)
        off = plane.to_mm(at) - probe
        inverse = np.linalg.inv(plane.position_covariance(probe))
        d2.append(np.einsum("ni,nij,nj->n", off, inverse, off))
        z.append((plane.mm_per_px()[0] - true_scale) / np.sqrt(plane.scale_se**2 - floor**2))
    # A mean of squared distances with 2 degrees of freedom each; a stated error a quarter too
    # small or too large would be 2.0 * 1.8 or 2.0 * 0.64.
    for mean in np.mean(d2, axis=0):
        assert 1.45 < mean < 2.5
    assert 0.72 < np.mean(np.square(z)) < 1.3


def test_errors_of_a_plane_from_circles_are_as_large_as_it_says() -> None:
    rng = np.random.default_rng(12)
    mm, radius = on_circles(50.0, 100.0, 150.0, 200.0, 250.0, count=24)
    px, centre = seen(CAMERA, mm), np.zeros((1, 2))
    at, true_scale = seen(CAMERA, centre), plane_of(CAMERA).mm_per_px()[0]
    d2, z = [], []
    floor = scale_floor(circle_marks(px, radius, start=matrix(CAMERA), se=1e-6))
    for _ in range(200):
        marks = circle_marks(
            px + rng.normal(0, 0.3, px.shape), radius, start=matrix(CAMERA), se=0.3
        )
        plane = fit_plane(marks, image_size=SIZE, focal_px=1800.0)
        off = plane.to_mm(at)[0]
        d2.append(off @ np.linalg.inv(plane.position_covariance(centre)[0]) @ off)
        z.append((plane.mm_per_px()[0] - true_scale) / np.sqrt(plane.scale_se**2 - floor**2))
    assert 1.4 < np.mean(d2) < 2.6
    assert 0.7 < np.mean(np.square(z)) < 1.35


def test_a_weak_turn_makes_far_places_unsure_and_the_centre_not() -> None:
    # Square on: leaning, the scale along x would itself depend on the turn.
    camera = Camera(*SIZE, 1800.0, 0.0, 0.0, 0.0, 0.1, (1230.0, 880.0), 1000.0)
    mm, radius = on_circles(50.0, 150.0, 250.0)
    planes = [
        fit_plane(
            circle_marks(seen(camera, mm), radius, start=matrix(camera), turn_se_rad=turn_se),
            image_size=SIZE,
            focal_px=1800.0,
        )
        for turn_se in (0.0, 0.02)
    ]
    at = np.array([[0.0, 0.0], [200.0, 0.0]])
    firm, loose = (p.position_covariance(at) for p in planes)
    added = loose - firm
    assert np.abs(added[0]).max() < 1e-6
    # An arc of 0.02 rad at 200 mm is 4 mm, square to the radius.
    assert added[1, 1, 1] == pytest.approx((0.02 * 200.0) ** 2, rel=0.02)
    assert abs(added[1, 0, 0]) < 1e-3
    assert planes[1].scale_se == pytest.approx(planes[0].scale_se, rel=0.05)


def test_marks_worse_than_they_claim_widen_the_error() -> None:
    rng = np.random.default_rng(5)
    px = seen(CAMERA, GRID) + rng.normal(0, 3.0, GRID.shape)
    claimed, honest = (
        fit_plane(point_marks(GRID, px, se=se), image_size=SIZE, focal_px=1800.0, lens=False)
        for se in (0.3, 3.0)
    )
    assert claimed.scale_se == pytest.approx(honest.scale_se, rel=0.35)


# ------------------------------------------------------------------- two points, square on


@given(
    length=st.floats(50, 900),
    apart=st.floats(60, 1500),
    turn=st.floats(-180, 180),
    se=st.floats(0.2, 4.0),
)
@steady
def test_two_points_give_a_square_on_sheet(length, apart, turn, se) -> None:
    along = apart / 2 * np.array([np.cos(np.radians(turn)), np.sin(np.radians(turn))])
    middle = np.array([1200.0, 900.0])
    px = np.array([middle - along, middle + along])
    mm = np.array([[-length / 2, 0.0], [length / 2, 0.0]])
    plane = fit_plane(point_marks(mm, px, se=se), image_size=SIZE)
    np.testing.assert_allclose(plane.to_px(mm), px, atol=1e-6)
    scale = length / apart
    assert plane.mm_per_px()[0] == pytest.approx(scale, rel=1e-9)
    assert plane.tilt_deg == pytest.approx(0.0, abs=1e-3)
    # The sheet is not mirrored: its up is left of its right, and pixels go down.
    assert np.linalg.det(plane.jacobian([[0.0, 0.0]])[0]) < 0
    # Two independent ends; and across them half the difference of the squares of a lean's two
    # angles: of 10 degrees' standard deviation each, that has the standard deviation 10 deg².
    across = np.radians(10.0) ** 2
    expected = scale * np.sqrt(2 * (se / apart) ** 2 + across**2 / 2)
    assert plane.scale_se == pytest.approx(expected, rel=0.03)


def test_a_length_on_a_leaning_sheet_errs_no_more_than_it_says() -> None:
    """Cameras that lean as the plane of two points takes them to; marks exact."""
    rng = np.random.default_rng(21)
    mm = np.array([[-150.0, 0.0], [150.0, 0.0]])
    probe = np.array([[0.0, 0.0], [120.0, 5.0], [0.0, 150.0], [-140.0, -120.0], [100.0, 180.0]])
    share = []
    for _ in range(300):
        lean = rng.normal(0, np.radians(10.0), 2)
        camera = Camera(
            *SIZE, 1800.0, 0.0, float(np.hypot(*lean)), float(np.arctan2(*lean)), 0.3,
            (1230.0, 880.0), 900.0,
        )  # fmt: skip
        # Told in the sheet's own axes; up is the photo's.
        plane = fit_plane(point_marks(mm, seen(camera, mm), se=0.5), image_size=SIZE, focal_px=1800)
        off = plane.to_mm(seen(camera, probe)) - probe
        covariance = plane.position_covariance(probe)
        share.append(np.einsum("ni,nij,nj->n", off, np.linalg.inv(covariance), off))
    inside = np.mean(np.array(share) < 5.99, axis=0)  # 95 % of chi-square with 2 degrees
    assert (inside > 0.9).all()
    # Not by stating errors that are far too large: most of them are made use of.
    assert np.median(np.array(share)[:, 2:]) > 0.2


def test_ends_marked_unsurely_make_places_as_unsure_as_the_plane_says() -> None:
    rng = np.random.default_rng(8)
    mm = np.array([[-150.0, 0.0], [150.0, 0.0]])
    px = np.array([[900.0, 900.0], [1500.0, 900.0]])
    probe = np.array([[0.0, 0.0], [0.0, 200.0], [140.0, 30.0]])
    plane = fit_plane(point_marks(mm, px, se=8.0), image_size=SIZE)
    at = plane.to_px(probe)
    drawn = np.array(
        [
            fit_plane(point_marks(mm, px + rng.normal(0, 8.0, (2, 2))), image_size=SIZE).to_mm(at)
            for _ in range(300)
        ]
    )
    told = np.sqrt(np.diagonal(plane.position_covariance(probe), axis1=1, axis2=2))
    assert (drawn.std(axis=0) < 1.1 * told).all()
    # On the length itself a lean adds little to what the marks leave open.
    assert drawn.std(axis=0)[0, 1] == pytest.approx(told[0, 1], rel=0.12)


def test_two_points_in_one_place_are_no_length() -> None:
    with pytest.raises(MarksError, match="coincide"):
        fit_plane(point_marks(GRID[:2], np.full((2, 2), 500.0)), image_size=SIZE)
