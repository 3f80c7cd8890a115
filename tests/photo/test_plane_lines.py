"""Planes from points on straight lines of the sheet, such as its edges."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from groupscan.errors import MarksError
from groupscan.photo.plane import Marks, fit_plane
from groupscan.photo.plane.residuals import Residuals

SIZE = (3000, 4000)
FOCAL = 2900.0
MIDDLE = (np.array(SIZE) - 1) / 2
WIDTH, HEIGHT = 215.9, 279.4
CORNERS = np.array([[-1.0, 1], [1, 1], [1, -1], [-1, -1]]) * [WIDTH / 2, HEIGHT / 2]


def seen(mm, *, k1=0.0, tilt=(0.35, -0.2, 0.1)):
    """Where OpenCV's camera sees points of the sheet; an independent model of lens and pose."""
    turn = cv2.Rodrigues(np.array(tilt))[0] @ np.diag([1.0, -1.0, -1.0])
    camera = np.array([[FOCAL, 0, MIDDLE[0]], [0, FOCAL, MIDDLE[1]], [0, 0, 1]])
    points = np.column_stack([mm, np.zeros(len(mm))])
    px, _ = cv2.projectPoints(
        points,
        cv2.Rodrigues(turn)[0],
        np.array([12.0, -9.0, 330.0]),
        camera,
        np.array([k1, 0, 0, 0]),
    )
    return px.reshape(-1, 2)


def edge_marks(*, k1=0.0, each=60, noise=0.0, shift_mm=0.0):
    normals = np.array([[0.0, 1], [1, 0], [0, -1], [-1, 0]])
    offsets = np.array([HEIGHT, WIDTH, HEIGHT, WIDTH]) / 2
    share = np.linspace(0.02, 0.98, each)[:, None]
    mm = np.vstack(
        [a + (b - a) * share for a, b in zip(CORNERS, np.roll(CORNERS, -1, axis=0), strict=True)]
    )
    normal = np.repeat(normals, each, axis=0)
    px = seen(mm + shift_mm, k1=k1) + np.random.default_rng(5).normal(0, noise, (4 * each, 2))
    start = cv2.getPerspectiveTransform(
        CORNERS.astype(np.float32), (seen(CORNERS) + [9, -7]).astype(np.float32)
    )
    return Marks(
        "paper",
        lines_px=px,
        lines_normal=normal,
        lines_offset_mm=np.repeat(offsets, each),
        lines_se_px=np.full(4 * each, 0.3),
        start=start,
    )


@pytest.mark.parametrize("k1", [-0.06, 0.0, 0.05])
def test_edges_give_the_plane_and_the_lens_of_opencvs_camera(k1):
    plane = fit_plane(edge_marks(k1=k1), image_size=SIZE, focal_px=FOCAL)
    inner = np.array([[0.0, 0.0], [60, 100], [-90, 20], [100, -130]])
    assert np.abs(plane.to_mm(seen(inner, k1=k1)) - inner).max() < 0.02
    assert plane.k1 == pytest.approx(k1, abs=0.002)


def test_noise_stays_within_what_the_covariance_says():
    marks = edge_marks(k1=0.03)
    errors, stated = [], []
    middle = np.array([[30.0, -40.0]])
    for seed in range(40):
        noise = np.random.default_rng(seed).normal(0, 0.3, marks.lines_px.shape)
        plane = fit_plane(
            replace(marks, lines_px=marks.lines_px + noise), image_size=SIZE, focal_px=FOCAL
        )
        errors.append(plane.to_mm(seen(middle, k1=0.03))[0] - middle[0])
        stated.append(plane.position_covariance(middle)[0])
    share = np.einsum("ni,nij,nj->n", errors, np.linalg.inv(np.array(stated)), errors)
    # Chi-square with two degrees of freedom has mean 2; 40 draws spread it by 0.32.
    assert 1.0 < share.mean() < 3.3


def test_derivatives_are_those_of_the_residuals():
    marks = edge_marks(k1=0.04)
    fit = Residuals(marks, SIZE, FOCAL, True)
    unit = fit.to_unit @ marks.start @ np.diag([fit.length, fit.length, 1.0])
    p = np.append((unit / unit[2, 2]).ravel()[:8], [0.02, 0.0])
    jacobian = fit.at(p).jacobian()
    # The slope in the denominator is held fixed in the derivatives; it changes by the tilt only.
    for i in range(9):
        step = np.zeros(10)
        step[i] = 1e-6
        numeric = (fit.at(p + step).values - fit.at(p - step).values) / 2e-6
        scale = np.abs(jacobian[:, i]).max()
        assert np.abs(numeric - jacobian[:, i]).max() < 0.05 * scale


def test_a_torn_quarter_of_one_side_does_not_move_the_plane():
    marks = edge_marks(noise=0.2)
    px = marks.lines_px.copy()
    px[:15] += [0.0, 25.0]
    plane = fit_plane(replace(marks, lines_px=px), image_size=SIZE, focal_px=FOCAL)
    inner = np.array([[0.0, 0.0], [60, 100], [-90, 20]])
    assert np.abs(plane.to_mm(seen(inner)) - inner).max() < 0.1
    assert plane.inlier_share < 0.97


def test_lines_without_a_first_guess_are_refused():
    with pytest.raises(MarksError, match="first guess"):
        fit_plane(replace(edge_marks(), start=None), image_size=SIZE)
