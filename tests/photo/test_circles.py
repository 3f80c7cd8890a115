"""Circles seen at a slant, against published camera geometry and another library's fit."""

import numpy as np
import pytest
from skimage.measure import EllipseModel

from groupscan.photo.marks.circles import Border, fit_circles
from groupscan.photo.plane import Marks, fit_plane

#: Where the image of a circle has its centre, and where the circle's centre is seen, px: tilt about
#: x in degrees, distance, radius, centre x and y in mm; true u, v; ellipse u, v. Exact, from
#: conic algebra (Heikkila and Silven 1997; Mallon and Whelan 2007); f = 3000 px, principal point
#: (2000, 1500).
BIAS = [
    (30, 3000, 61, 0, 0, 2000.0, 1500.0, 2000.0, 1499.46286439315),
    (30, 3000, 200, 0, 0, 2000.0, 1500.0, 2000.0, 1494.2200751694),
    (45, 3000, 200, 0, 0, 2000.0, 1500.0, 2000.0, 1493.31848552339),
    (15, 3000, 610, 0, 0, 2000.0, 1500.0, 2000.0, 1468.90554894813),
    (30, 1000, 61, 0, 0, 2000.0, 1500.0, 2000.0, 1495.16178),
    (30, 3000, 61, 400, -300, 2421.05263158, 1226.51829354, 2421.10085923, 1225.89179801),
]  # fmt: skip


def homography(tilt: float, away: float) -> np.ndarray:
    a = np.radians(tilt)
    inner = np.array([[3000.0, 0, 2000], [0, 3000, 1500], [0, 0, 1]])
    pose = np.array([[1, 0, 0], [0, np.cos(a), 0], [0, np.sin(a), away]])
    h = inner @ pose
    return h / h[2, 2]


def seen(h: np.ndarray, mm: np.ndarray) -> np.ndarray:
    q = np.column_stack([mm, np.ones(len(mm))]) @ h.T
    return q[:, :2] / q[:, 2:]


def circle(radius: float, centre=(0.0, 0.0), *, share: float = 1.0, count: int = 90) -> np.ndarray:
    turn = np.linspace(0, 2 * np.pi * share, count, endpoint=False)
    return np.array(centre) + radius * np.column_stack([np.cos(turn), np.sin(turn)])


@pytest.mark.parametrize("row", BIAS)
def test_the_centre_is_the_circles_not_the_ellipses(row) -> None:
    tilt, away, radius, x, y, true_u, true_v, ellipse_u, ellipse_v = row
    h = homography(tilt, away)
    rings = [circle(share * radius, (x, y)) for share in (0.4, 0.7, 1.0)]
    # The outer ring alone, by another library: biased as published.
    model = EllipseModel.from_estimate(seen(h, rings[-1]))
    assert model.center == pytest.approx((ellipse_u, ellipse_v), abs=0.02)
    # All rings under one plane: not biased.
    px = np.vstack([seen(h, ring) for ring in rings])
    radii = np.repeat([0.4 * radius, 0.7 * radius, radius], 90)
    marks = Marks(
        source="rings",
        circles_px=px,
        circles_radius_mm=radii,
        circles_inset=np.zeros(len(px)),
        circles_centre_mm=np.tile([float(x), float(y)], (len(px), 1)),
        circles_se_px=np.full(len(px), 0.1),
        start=h @ np.diag([1.02, 0.98, 1.0]),
    )
    plane = fit_plane(marks, image_size=(4001, 3001), focal_px=3000.0, lens=False)
    off = plane.to_px([[float(x), float(y)]])[0] - [true_u, true_v]
    assert np.hypot(*off) < 0.05


@pytest.mark.parametrize("share", [1.0, 0.5])
def test_circles_about_one_centre_are_those_that_ellipses_alone_would_be(share) -> None:
    linear, centre = np.array([[48.0, -9.0], [-9.0, 40.0]]), np.array([410.0, 300.0])
    rng = np.random.default_rng(4)
    unit = [circle(r, share=share, count=150) for r in (2.0, 4.0)]
    px = np.vstack(unit) @ linear.T + centre
    out = np.vstack([u / np.hypot(*u.T)[:, None] for u in unit]) @ np.linalg.inv(linear)
    out /= np.hypot(*out.T)[:, None]
    noisy = px + rng.normal(0, 0.5, px.shape)
    stray = rng.random((60, 2)) * [800, 600]
    away = rng.normal(0, 1, (60, 2))
    border = Border(
        np.vstack([noisy, stray]),
        np.vstack([out, away / np.hypot(*away.T)[:, None]]),
        np.concatenate([np.repeat([2.0, 4.0], 150), np.full(60, 4.0)]),
    )
    fit = fit_circles(border)
    assert fit is not None
    np.testing.assert_allclose(fit[1], centre, atol=1.5)
    np.testing.assert_allclose(fit[0], linear, atol=1.0)
    if share == 1.0:
        alone = EllipseModel.from_estimate(noisy[150:])
        assert np.hypot(*(np.array(alone.center) - fit[1])) < 1.5
