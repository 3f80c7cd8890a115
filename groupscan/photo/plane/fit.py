"""From marks to the sheet's plane: one robust least-squares fit for every mix of marks."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np

from groupscan.errors import MarksError
from groupscan.photo.plane.marks_seen import Floats, Marks
from groupscan.photo.plane.residuals import Residuals, up_angle
from groupscan.photo.plane.sheet_plane import Plane
from groupscan.photo.plane.square_on import square_on

__all__ = ["fit_plane"]

#: Focal length assumed when the photo does not tell, as a share of its diagonal: 26 mm on a
#: frame of 43.27 mm diagonal, the usual main camera of a phone (common practice, no source).
_DEFAULT_FOCAL = 26.0 / 43.27
_CAUCHY = 2.385  # 95 % efficiency at the normal distribution (Holland and Welsch 1977)


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
    focal = focal_px or _DEFAULT_FOCAL * float(np.hypot(*image_size))
    n_points, n_curves = len(marks.points_mm), len(marks.circles_px) + len(marks.lines_px)
    if n_points == 2 and n_curves == 0:
        return square_on(marks, image_size, focal)
    if n_curves == 0 and n_points < 4:
        msg = f"{n_points} marks are too few for a plane: give four corners or two points by hand"
        raise MarksError(msg)
    first = marks.start if marks.start is not None else _first_homography(marks)
    # Four points leave no freedom for the lens; its prior then only widens the covariance.
    model = Residuals(marks, image_size, focal, lens)
    return _plane_at(model, _minimised(model, first, marks.start_k1))


def _minimised(model: Residuals, homography: Floats, k1: float) -> Floats:
    """Return the parameters that make the sum of Cauchy losses least."""
    unit = model.to_unit @ homography @ np.diag([model.length, model.length, 1.0])
    p = np.append((unit / unit[2, 2]).ravel()[:8], [k1, 0.6 if model.free[9] else 0.0])
    if not len(model.points_m) and not len(model.lines_u):
        model.up = up_angle(p)
    damping = 1e-3
    free = model.free
    for _ in range(40):
        r, jac = model.residuals(p)
        prior, prior_jac = model.priors(p)
        scale = _spread(r)
        weights = 1.0 / (1.0 + (r / (_CAUCHY * scale)) ** 2)
        weighted = jac * (weights / scale**2)[:, None]
        normal = (weighted.T @ jac + prior_jac.T @ prior_jac)[np.ix_(free, free)]
        slope = (weighted.T @ r + prior_jac.T @ prior)[free]
        cost = _cost(model, r, p, scale)
        for _ in range(8):
            ridge = damping * np.diag(np.diag(normal) + 1e-12)
            trial = p.copy()
            trial[free] -= np.linalg.solve(normal + ridge, slope)
            new = _cost(model, model.residuals(trial)[0], trial, scale)
            if new < cost:
                break
            damping *= 10
        else:
            break
        damping = max(damping / 10, 1e-9)
        p = trial
        if cost - new < 1e-5 * (1 + new):
            break
    return p


def _cost(model: Residuals, r: Floats, p: Floats, scale: float) -> float:
    with np.errstate(all="ignore"):
        loss = _CAUCHY**2 * np.log1p((r / (_CAUCHY * scale)) ** 2)
        total = float(loss.sum() + (model.priors(p)[0] ** 2).sum())
    return total if np.isfinite(total) else np.inf


def _plane_at(model: Residuals, p: Floats) -> Plane:
    """Return the plane of these parameters, with its covariance."""
    marks, free = model.marks, model.free
    r, jac = model.residuals(p)
    _, prior_jac = model.priors(p)
    scale = _spread(r)
    weights = 1.0 / (1.0 + (r / (_CAUCHY * scale)) ** 2)
    inlier = np.abs(r) < 3 * scale
    normal = (jac * weights[:, None]).T @ jac + prior_jac.T @ prior_jac
    # Where circles leave the rotation open its prior pins it here; its true error comes from
    # whoever fixed it, below.
    unit_covariance = np.zeros((10, 10))
    dof = max(int(inlier.sum()) - int(free.sum()), 1)
    chi2 = max(1.0, float((weights * r**2).sum()) / dof)
    inner = np.ix_(free, free)
    unit_covariance[inner] = chi2 * np.linalg.pinv(normal[inner], rcond=1e-12, hermitian=True)
    homography = model.homography(p)
    # Chain rule from the unit parameters to the elements of the homography.
    chain = np.zeros((9, 10))
    for i in range(8):
        q = p.copy()
        q[i] += 1e-7
        chain[:8, i] = (model.homography(q).ravel()[:8] - homography.ravel()[:8]) / 1e-7
    chain[8, 8] = 1.0
    covariance = chain @ unit_covariance @ chain.T
    if marks.turn_se_rad:
        turn = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 0.0]])
        by_turn = (homography @ turn).ravel()[:8]
        covariance[:8, :8] += marks.turn_se_rad**2 * np.outer(by_turn, by_turn)
    px = r * np.concatenate(
        [np.repeat(marks.points_se_px, 2), marks.circles_se_px, marks.lines_se_px]
    )
    return Plane(
        homography=homography,
        k1=float(p[8]),
        focal_px=model.focal,
        image_size=model.image_size,
        covariance=covariance,
        residual_px=float(np.sqrt(np.mean(px[inlier] ** 2))) if inlier.any() else float("inf"),
        inlier_share=float(inlier.mean()),
        line_width_mm=float(p[9]),
        source=marks.source,
        notes=marks.notes,
    )


def _spread(r: Floats) -> float:
    """Scale of residuals: it follows the data, never below their stated errors."""
    return max(1.0, 1.4826 * float(np.median(np.abs(r))))


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
