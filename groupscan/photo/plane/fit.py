"""From marks to the sheet's plane: one robust least-squares fit for every mix of marks."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np

from groupscan.errors import MarksError
from groupscan.photo.plane.bend import Bend
from groupscan.photo.plane.descent import cauchy_weights, minimised, spread
from groupscan.photo.plane.marks_seen import Floats, Marks
from groupscan.photo.plane.pose import DEFAULT_FOCAL
from groupscan.photo.plane.residuals import Residuals, Seen
from groupscan.photo.plane.sheet_plane import Plane
from groupscan.photo.plane.square_on import square_on

__all__ = ["fit_flat", "fit_plane", "focal_of", "plane_at", "unit_covariance"]


def fit_plane(
    marks: Marks,
    *,
    image_size: tuple[int, int],
    focal_px: float | None = None,
    lens: bool = True,
) -> Plane:
    """Fit the plane of a sheet to its marks.

    Parameters
    ----------
    marks : Marks
    image_size : (int, int)
        Width and height of the upright photo, px.
    focal_px : float, optional
        Focal length, px, as the photo's EXIF tells. It sets the unit of the radial term and the
        tilt; the homography does not depend on it.
    lens : bool, default True
        Whether to estimate the radial term, with a weak prior around no distortion.

    Returns
    -------
    Plane

    Raises
    ------
    MarksError
        If the marks are too few, or contradict one another.

    Notes
    -----
    Two points give a similarity: the sheet is taken to be square on, as the notes then say.
    Otherwise the sum of Cauchy losses of the residuals over their standard errors is minimised by
    Levenberg-Marquardt steps on reweighted least squares. A point's residual is taken in the
    photo; a circle point's is its first-order (Sampson) distance from the image of the circle, so
    no ellipse centre is ever mistaken for the image of the circle's centre, and a line point's is
    likewise its distance from the image of the line, which the lens may bend. The covariance is
    that of the weighted normal equations, scaled up by the reduced chi-square where that is above
    one.

    References
    ----------
    Hartley, R. and Zisserman, A. (2004). Multiple View Geometry in Computer Vision, 2nd ed.,
    sections 4.2 (cost functions, Sampson error) and 5.2 (covariance).
    Zhang, Z. (2000). A flexible new technique for camera calibration. IEEE TPAMI 22(11).

    Examples
    --------
    >>> import numpy as np
    >>> mm = np.array([[-50.0, 50.0], [50.0, 50.0], [50.0, -50.0], [-50.0, -50.0]])
    >>> px = mm * [4.0, -4.0] + [320.0, 240.0]
    >>> marks = Marks("corners", points_mm=mm, points_px=px, points_se_px=np.full(4, 0.5))
    >>> plane = fit_plane(marks, image_size=(641, 481))
    >>> plane.to_mm([[320.0, 240.0], [720.0, 240.0]]).round(6) + 0.0
    array([[  0.,   0.],
           [100.,   0.]])
    >>> round(float(plane.mm_per_px()[0]), 6)
    0.25
    """
    if len(marks.points_mm) == 2 and not len(marks.circles_px) and not len(marks.lines_px):
        return square_on(marks, image_size, focal_of(image_size, focal_px))
    model, p = fit_flat(marks, image_size=image_size, focal_px=focal_px, lens=lens)
    seen = model.at(p)
    return plane_at(model, p, seen.values, unit_covariance(model, p, seen))


def fit_flat(
    marks: Marks, *, image_size: tuple[int, int], focal_px: float | None, lens: bool = True
) -> tuple[Residuals, Floats]:
    """Return the model of a flat sheet's marks and its ten parameters; see `fit_plane`."""
    if not len(marks.circles_px) and not len(marks.lines_px) and len(marks.points_mm) < 4:
        msg = (
            f"{len(marks.points_mm)} marks are too few for a plane: give four corners or two "
            "points by hand"
        )
        raise MarksError(msg)
    first = marks.start if marks.start is not None else _first_homography(marks)
    # Four points leave no freedom for the lens; its prior then only widens the covariance.
    model = Residuals(marks, image_size, focal_of(image_size, focal_px), lens)
    return model, minimised(model, first, marks.start_k1)


def focal_of(image_size: tuple[int, int], focal_px: float | None) -> float:
    """Return the focal length that the photo tells, or the usual one, px."""
    return focal_px or DEFAULT_FOCAL * float(np.hypot(*image_size))


def unit_covariance(model: Residuals, p: Floats, seen: Seen) -> Floats:
    """Return the covariance (10, 10) of a flat sheet's parameters."""
    free = model.free
    r, jac = seen.values, seen.jacobian()
    _, prior_jac = model.priors(p)
    scale = spread(r)
    weights = cauchy_weights(r, scale)
    normal = (jac * weights[:, None]).T @ jac + prior_jac.T @ prior_jac
    dof = max(int((np.abs(r) < 3 * scale).sum()) - int(free.sum()), 1)
    chi2 = max(1.0, float((weights * r**2).sum()) / dof)
    inner = np.ix_(free, free)
    out = np.zeros((10, 10))
    out[inner] = chi2 * np.linalg.pinv(normal[inner], rcond=1e-12, hermitian=True)
    return out


def plane_at(
    model: Residuals,
    p: Floats,
    r: Floats,
    unit: Floats,
    *,
    focal_px: float | None = None,
    bend: Bend | None = None,
) -> Plane:
    """Return the plane of these parameters.

    Parameters
    ----------
    model : Residuals
    p : (10,) array
    r : (m,) array
        The residuals there.
    unit : (10 + n, 10 + n) array
        Covariance of the parameters, and of the bend's n heights, mm.
    focal_px : float, optional
        Focal length, where it is not the one that the model assumes, px.
    bend : Bend, optional

    Returns
    -------
    Plane
    """
    marks = model.marks
    inlier = np.abs(r) < 3 * spread(r)
    homography = model.homography(p)
    # The radial term in units of the focal length told, not of the one assumed.
    zoom = 1.0 if focal_px is None else (focal_px / model.focal) ** 2
    # Chain rule from the unit parameters to the elements of the homography; heights stay.
    chain = np.zeros((9, 10))
    for i in range(8):
        q = p.copy()
        q[i] += 1e-7
        chain[:8, i] = (model.homography(q).ravel()[:8] - homography.ravel()[:8]) / 1e-7
    chain[8, 8] = zoom
    covariance = unit[1:, 1:].copy()
    covariance[:9, :9] = chain @ unit[:10, :10] @ chain.T
    covariance[:9, 9:] = chain @ unit[:10, 10:]
    covariance[9:, :9] = covariance[:9, 9:].T
    # Where circles leave the rotation open its prior pins it; its true error comes from whoever
    # fixed it.
    if marks.turn_se_rad:
        turn = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 0.0]])
        by_turn = (homography @ turn).ravel()[:8]
        covariance[:8, :8] += marks.turn_se_rad**2 * np.outer(by_turn, by_turn)
    px = r * np.concatenate(
        [np.repeat(marks.points_se_px, 2), marks.circles_se_px, marks.lines_se_px]
    )
    return Plane(
        homography=homography,
        k1=float(p[8]) * zoom,
        focal_px=model.focal if focal_px is None else focal_px,
        image_size=model.image_size,
        covariance=covariance,
        residual_px=float(np.sqrt(np.mean(px[inlier] ** 2))) if inlier.any() else float("inf"),
        inlier_share=float(inlier.mean()),
        line_width_mm=float(p[9]),
        source=marks.source,
        notes=marks.notes,
        bend=bend,
    )


def _first_homography(marks: Marks) -> Floats:
    """Robust first guess from points."""
    if len(marks.points_mm) < 4:
        msg = "circles and lines alone need a first guess of the plane"
        raise MarksError(msg)
    # Not USAC: it takes a mirror for degenerate, and the sheet's y goes up, the photo's down.
    method = 0 if len(marks.points_mm) == 4 else cv2.RANSAC
    threshold = max(3.0, 3 * float(np.median(marks.points_se_px)))
    found: Any = cv2.findHomography(marks.points_mm, marks.points_px, method, threshold)[0]
    if found is None and method:
        found = cv2.findHomography(marks.points_mm, marks.points_px, 0)[0]
    if found is None or not np.isfinite(found).all() or abs(found[2, 2]) < 1e-12:
        msg = "the marks do not lie as on a flat sheet: check them, or give four corners by hand"
        raise MarksError(msg)
    return np.asarray(found / found[2, 2], float)
