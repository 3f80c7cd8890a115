"""Photo to plane: from marks seen in a photo to millimetres on the sheet.

A pinhole camera sees a flat sheet through a homography; one radial term takes up the lens. Marks
of every kind end in one robust least-squares fit: points of known place, and points that lie
somewhere on a circle of known radius or on a known straight line. All give residuals in pixels, so
that any mix of them can be weighed together, and the curvature of the sum of squares gives the
standard errors.

Coordinates are those of the project: sheet millimetres, x right, y up, origin at the sheet's
centre; pixels of the upright photo, x right, y down, pixel centres at integers.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, TypeAlias

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.errors import MarksError

__all__ = ["Floats", "Marks", "Plane", "fit_plane"]

Floats: TypeAlias = NDArray[Any]

#: Standard deviation of the radial term when nothing but habit is known of the lens. Phones'
#: main cameras lie within about 0.1 in these units (common practice, no source).
_K1_PRIOR_SD = 0.08
#: Focal length assumed when the photo does not tell, as a share of its diagonal: 26 mm on a
#: frame of 43.27 mm diagonal, the usual main camera of a phone (common practice, no source).
_DEFAULT_FOCAL = 26.0 / 43.27
#: Printed dividing lines: at most 2 mm wide by the rule book, about half a millimetre in print
#: (common practice, no source).
_LINE_PRIOR_MM, _LINE_PRIOR_SD = 0.6, 0.4
_UP_SD = 1e-3  # how firmly a rotation that circles leave open is held while fitting, radians
#: Scale error of a sheet taken to be square on, as a share: a photo held square by eye is tilted
#: by some 8 degrees, and 1 - cos 10 degrees is 1.5 % (common practice, no source).
_UNSEEN_TILT = 0.015
#: Scale error that a sheet's curl leaves, as a share: photos with known truth scatter by this much
#: where the marks alone claim a tenth of it (docs/ACCURACY.md).
_CURL = 7e-4
_CAUCHY = 2.385  # 95 % efficiency at the normal distribution (Holland and Welsch 1977)


def _none(*shape: int) -> Floats:
    return np.zeros(shape)


@dataclass(frozen=True)
class Marks:
    """Scale marks found in a photo: points, points on circles, and points on straight lines.

    Attributes
    ----------
    source : str
        What the marks are: ``"fiducials"``, ``"rings"``, ``"grid"``, ``"paper"``,
        ``"known-length"``, ``"corners"``.
    sheet : str or None
        Identifier of the sheet that the marks belong to, where they tell.
    points_mm, points_px : (n, 2) arrays
        Known places on the sheet, mm, and where they are seen, px.
    points_se_px : (n,) array, px
        Standard error of each place seen, per axis.
    circles_px : (m, 2) array, px
        Points seen on circles.
    circles_radius_mm, circles_inset : (m,) arrays
        Radius of the circle that each lies on, mm, and by how many printed line widths the
        feature seen lies inside it (0 for an edge, 0.5 for the middle of a dividing line, which
        is printed inside its circle).
    circles_centre_mm : (m, 2) array, mm
        Centre of that circle.
    circles_se_px : (m,) array, px
        Standard error across the circle.
    lines_px : (k, 2) array, px
        Points seen on straight lines, such as the paper's edges.
    lines_normal : (k, 2) array
        Unit normal of the line that each lies on, in the sheet's axes.
    lines_offset_mm : (k,) array, mm
        Distance of that line from the sheet's centre, along its normal.
    lines_se_px : (k,) array, px
        Standard error across the line.
    start : (3, 3) array, optional
        A first guess of the homography, sheet mm to pixels. Circles and lines alone need one, and
        circles take the sheet's rotation from it.
    start_k1 : float
        First guess of the lens's radial term.
    turn_se_rad : float
        Standard error of the sheet's rotation where circles leave it open and something weaker,
        such as the paper's edge or the photo's own up, has settled it.
    notes : tuple of str
        What a person should know about these marks.
    """

    source: str
    sheet: str | None = None
    points_mm: Floats = field(default_factory=lambda: _none(0, 2))
    points_px: Floats = field(default_factory=lambda: _none(0, 2))
    points_se_px: Floats = field(default_factory=lambda: _none(0))
    circles_px: Floats = field(default_factory=lambda: _none(0, 2))
    circles_radius_mm: Floats = field(default_factory=lambda: _none(0))
    circles_inset: Floats = field(default_factory=lambda: _none(0))
    circles_centre_mm: Floats = field(default_factory=lambda: _none(0, 2))
    circles_se_px: Floats = field(default_factory=lambda: _none(0))
    lines_px: Floats = field(default_factory=lambda: _none(0, 2))
    lines_normal: Floats = field(default_factory=lambda: _none(0, 2))
    lines_offset_mm: Floats = field(default_factory=lambda: _none(0))
    lines_se_px: Floats = field(default_factory=lambda: _none(0))
    start: Floats | None = None
    start_k1: float = 0.0
    turn_se_rad: float = 0.0
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Plane:
    """The sheet's plane in a photo.

    Attributes
    ----------
    homography : (3, 3) array
        Sheet mm to undistorted pixels, last element 1.
    k1 : float
        Radial term: an undistorted offset ``q`` from the image centre, in units of `focal_px`,
        is seen at ``q (1 + k1 |q|²)``.
    focal_px : float
    image_size : (int, int)
        Width and height of the photo, px.
    covariance : (9, 9) array
        Of the eight free elements of the homography, and of k1.
    residual_px : float
        Root mean square of the inliers' residuals, px.
    inlier_share : float
        Share of the marks that the plane explains.
    line_width_mm : float
        Width of the printed dividing lines, where circles told it; else 0.
    source : str
        Kind of marks that the plane rests on.
    notes : tuple of str
    """

    homography: Floats
    k1: float
    focal_px: float
    image_size: tuple[int, int]
    covariance: Floats
    residual_px: float
    inlier_share: float
    line_width_mm: float
    source: str
    notes: tuple[str, ...] = ()

    @property
    def centre_px(self) -> Floats:
        """Image centre, (2,) px."""
        return _image_centre(self.image_size)

    def to_px(self, mm: ArrayLike) -> Floats:
        """Return where points of the sheet are seen.

        Parameters
        ----------
        mm : (n, 2) array_like, mm

        Returns
        -------
        (n, 2) array, px
        """
        return _project(
            self.homography, self.k1, np.asarray(mm, float), self.centre_px, self.focal_px
        )

    def to_mm(self, px: ArrayLike) -> Floats:
        """Return which points of the sheet are seen at pixels.

        Parameters
        ----------
        px : (n, 2) array_like, px

        Returns
        -------
        (n, 2) array, mm
        """
        flat = _undistort(np.asarray(px, float), self.k1, self.centre_px, self.focal_px)
        return _apply(np.linalg.inv(self.homography), flat)

    def jacobian(self, mm: ArrayLike) -> Floats:
        """Return pixels per millimetre at points of the sheet.

        Parameters
        ----------
        mm : (n, 2) array_like, mm

        Returns
        -------
        (n, 2, 2) array, px/mm
            Row: pixel axis; column: sheet axis.
        """
        mm = np.asarray(mm, float)
        step = 0.5
        columns = [
            (self.to_px(mm + offset) - self.to_px(mm - offset)) / (2 * step)
            for offset in (np.array([step, 0.0]), np.array([0.0, step]))
        ]
        return np.stack(columns, axis=-1)

    def mm_per_px(self, mm: ArrayLike = ((0.0, 0.0),)) -> Floats:
        """Return the scale along the sheet's x axis at points of the sheet, (n,) mm/px.

        On a tilted sheet the scale differs between directions; across the sheet is the one that
        a person can check with a ruler laid level on it.
        """
        across = self.jacobian(mm)[:, :, 0]
        return np.asarray(1.0 / np.hypot(across[:, 0], across[:, 1]))

    @property
    def scale_se(self) -> float:
        """Standard error of the scale at the sheet's centre, mm/px, the sheet's curl included."""
        base = float(self.mm_per_px()[0])
        g = np.array([(float(p.mm_per_px()[0]) - base) / step for p, step in self._nudged()])
        return float(np.sqrt(max(g @ self.covariance @ g, 0.0) + (_CURL * base) ** 2))

    def position_covariance(self, mm: ArrayLike) -> Floats:
        """Return the covariance of places on the sheet that comes from the plane itself.

        Parameters
        ----------
        mm : (n, 2) array_like, mm

        Returns
        -------
        (n, 2, 2) array, mm²
        """
        mm = np.asarray(mm, float)
        px = self.to_px(mm)
        g = np.stack([(p.to_mm(px) - mm) / s for p, s in self._nudged()], axis=-1)
        return np.asarray(np.einsum("nik,kl,njl->nij", g, self.covariance, g))

    @property
    def tilt_deg(self) -> float:
        """Angle between the camera's axis and the sheet's normal, degrees; 0 is square on."""
        rotation, _ = self.pose()
        return float(np.degrees(np.arccos(np.clip(abs(rotation[2, 2]), 0.0, 1.0))))

    def pose(self) -> tuple[Floats, Floats]:
        """Return the rotation (3, 3) and translation (3,), mm, of the sheet before the camera.

        Camera axes: x right, y down, z forward. The first two columns are the closest
        orthonormal pair to those that the homography gives (Zhang 2000, appendix C).
        """
        camera = np.array(
            [
                [self.focal_px, 0.0, self.centre_px[0]],
                [0.0, self.focal_px, self.centre_px[1]],
                [0.0, 0.0, 1.0],
            ]
        )
        m = np.linalg.inv(camera) @ self.homography
        scale = (np.linalg.norm(m[:, 0]) + np.linalg.norm(m[:, 1])) / 2
        m = m / scale * np.sign(m[2, 2])
        u, _, vt = np.linalg.svd(np.column_stack([m[:, 0], m[:, 1]]), full_matrices=False)
        first_two = u @ vt
        rotation = np.column_stack([first_two, np.cross(first_two[:, 0], first_two[:, 1])])
        return rotation, m[:, 2]

    def turned(self, angle_rad: float) -> Plane:
        """Turn the sheet's axes anticlockwise by an angle, the picture staying as it is."""
        c, s = np.cos(angle_rad), np.sin(angle_rad)
        turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        homography = self.homography @ turn
        # d(new parameters)/d(old ones) is linear: the homography is only multiplied.
        mix = np.zeros((9, 9))
        mix[:8, :8] = np.kron(np.eye(3), turn.T)[:8, :8]
        mix[8, 8] = 1.0
        return _replace(
            self,
            homography=homography / homography[2, 2],
            covariance=mix @ self.covariance @ mix.T,
        )

    def _nudged(self) -> list[tuple[Plane, float]]:
        """Planes with one parameter moved by a tenth of its standard error, and the step."""
        out = []
        for i in range(9):
            sd = float(np.sqrt(max(self.covariance[i, i], 0.0)))
            step = sd / 10 if sd > 0 else 1e-9
            h = self.homography.ravel().copy()
            k1 = self.k1
            if i < 8:
                h[i] += step
            else:
                k1 += step
            out.append((_replace(self, homography=h.reshape(3, 3), k1=k1), step))
        return out


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
        return _square_on(marks, image_size, focal)
    if n_curves == 0 and n_points < 4:
        msg = f"{n_points} marks are too few for a plane: give four corners or two points by hand"
        raise MarksError(msg)
    first = marks.start if marks.start is not None else _first_homography(marks)
    # Four points leave no freedom for the lens; its prior then only widens the covariance.
    return _Fit(marks, image_size, focal, lens).run(first, marks.start_k1)


class _Fit:
    """One plane fit, in units that make every parameter of order one.

    Pixels are measured from the image centre in focal lengths, sheet lengths in the marks' reach.
    Parameters: the first eight elements of the homography between the two, the radial term, and
    the printed lines' width, mm.
    """

    def __init__(self, marks: Marks, image_size: tuple[int, int], focal: float, lens: bool) -> None:
        self.marks, self.image_size, self.focal = marks, image_size, focal
        self.length = max(
            float(np.abs(marks.points_mm).max(initial=0.0)),
            float(marks.circles_radius_mm.max(initial=0.0)),
            float(np.abs(marks.lines_offset_mm).max(initial=0.0)),
        )
        centre = _image_centre(image_size)
        self.to_unit = np.array(
            [[1 / focal, 0, -centre[0] / focal], [0, 1 / focal, -centre[1] / focal], [0, 0, 1.0]]
        )
        self.points_m = marks.points_mm / self.length
        self.points_u = (marks.points_px - centre) / focal
        self.points_se = np.repeat(marks.points_se_px / focal, 2)
        self.circles_u = (marks.circles_px - centre) / focal
        self.circles_se = marks.circles_se_px / focal
        self.circles_c = marks.circles_centre_mm / self.length
        self.circles_r = marks.circles_radius_mm / self.length
        self.lines_u = (marks.lines_px - centre) / focal
        self.lines_se = marks.lines_se_px / focal
        self.lines_d = marks.lines_offset_mm / self.length
        inset = bool(len(marks.circles_inset)) and bool(np.ptp(marks.circles_inset) > 0)
        self.free = np.array([True] * 8 + [lens, inset])
        self.up: float | None = None  # where circles leave the rotation open: keep this one

    def run(self, homography: Floats, k1: float) -> Plane:
        unit = self.to_unit @ homography @ np.diag([self.length, self.length, 1.0])
        p = np.append((unit / unit[2, 2]).ravel()[:8], [k1, 0.6 if self.free[9] else 0.0])
        if not len(self.points_m) and not len(self.lines_u):
            self.up = _up_angle(p)
        damping = 1e-3
        free = self.free
        for _ in range(40):
            r, jac = self.residuals(p)
            prior, prior_jac = self.priors(p)
            scale = _spread(r)
            weights = 1.0 / (1.0 + (r / (_CAUCHY * scale)) ** 2)
            weighted = jac * (weights / scale**2)[:, None]
            normal = (weighted.T @ jac + prior_jac.T @ prior_jac)[np.ix_(free, free)]
            slope = (weighted.T @ r + prior_jac.T @ prior)[free]
            cost = self.cost(r, p, scale)
            for _ in range(8):
                ridge = damping * np.diag(np.diag(normal) + 1e-12)
                trial = p.copy()
                trial[free] -= np.linalg.solve(normal + ridge, slope)
                new = self.cost(self.residuals(trial)[0], trial, scale)
                if new < cost:
                    break
                damping *= 10
            else:
                break
            damping = max(damping / 10, 1e-9)
            p = trial
            if cost - new < 1e-5 * (1 + new):
                break
        return self.finish(p)

    def cost(self, r: Floats, p: Floats, scale: float) -> float:
        with np.errstate(all="ignore"):
            loss = _CAUCHY**2 * np.log1p((r / (_CAUCHY * scale)) ** 2)
            total = float(loss.sum() + (self.priors(p)[0] ** 2).sum())
        return total if np.isfinite(total) else np.inf

    def residuals(self, p: Floats) -> tuple[Floats, Floats]:
        """Residuals over their standard errors and their derivatives: points (x, y) first."""
        h = np.append(p[:8], 1.0).reshape(3, 3)
        point, point_jac = self.point_residuals(h, p[8])
        circle, circle_jac = self.circle_residuals(h, p[8], p[9])
        line, line_jac = self.line_residuals(h, p[8])
        return np.concatenate([point, circle, line]), np.vstack([point_jac, circle_jac, line_jac])

    def point_residuals(self, h: Floats, k1: float) -> tuple[Floats, Floats]:
        n = len(self.points_m)
        if not n:
            return np.zeros(0), np.zeros((0, 10))
        m = np.column_stack([self.points_m, np.ones(n)])
        q = m @ h.T
        flat = q[:, :2] / q[:, 2:]
        square = (flat**2).sum(axis=1)
        seen = flat * (1 + k1 * square)[:, None]
        # d flat / d h_ij = (e_i - flat e_3) m_j / q_3; the lens then bends it.
        by_row = np.zeros((n, 2, 3))
        by_row[:, 0, 0] = by_row[:, 1, 1] = 1 / q[:, 2]
        by_row[:, :, 2] = -flat / q[:, 2:]
        bend = (1 + k1 * square)[:, None, None] * np.eye(2) + 2 * k1 * np.einsum(
            "ni,nj->nij", flat, flat
        )
        jac = np.zeros((n, 2, 10))
        jac[:, :, :8] = np.einsum("nab,nbi,nj->naij", bend, by_row, m).reshape(n, 2, 9)[:, :, :8]
        jac[:, :, 8] = flat * square[:, None]
        se = self.points_se
        return (seen - self.points_u).ravel() / se, jac.reshape(2 * n, 10) / se[:, None]

    def circle_residuals(self, h: Floats, k1: float, width: float) -> tuple[Floats, Floats]:
        n = len(self.circles_u)
        if not n:
            return np.zeros(0), np.zeros((0, 10))
        m, q3, flat = self.back(h, k1, self.circles_u)
        off = m - self.circles_c
        radius = np.hypot(off[:, 0], off[:, 1])
        towards = off / np.maximum(radius, 1e-12)[:, None]
        jac, gradient = self.distance_jacobian(h, k1, m, q3, flat, towards)
        gradient *= self.circles_se
        inset = self.marks.circles_inset / self.length
        jac[:, 9] = inset
        # The gradient is held fixed in the derivatives: it changes far less than the distance.
        return (radius - self.circles_r + width * inset) / gradient, jac / gradient[:, None]

    def line_residuals(self, h: Floats, k1: float) -> tuple[Floats, Floats]:
        if not len(self.lines_u):
            return np.zeros(0), np.zeros((0, 10))
        m, q3, flat = self.back(h, k1, self.lines_u)
        normal = self.marks.lines_normal
        jac, gradient = self.distance_jacobian(h, k1, m, q3, flat, normal)
        gradient *= self.lines_se
        distance = np.einsum("ni,ni->n", normal, m) - self.lines_d
        return distance / gradient, jac / gradient[:, None]

    def back(self, h: Floats, k1: float, seen: Floats) -> tuple[Floats, Floats, Floats]:
        """Places on the sheet of points seen, their third coordinate, and where no lens is."""
        flat = _undistort_unit(seen, k1)
        a = np.linalg.inv(h)
        q = flat @ a[:, :2].T + a[:, 2]
        return q[:, :2] / q[:, 2:], q[:, 2:], flat

    def distance_jacobian(
        self, h: Floats, k1: float, m: Floats, q3: Floats, flat: Floats, towards: Floats
    ) -> tuple[Floats, Floats]:
        """Return derivatives of distances along unit vectors of the sheet, and their slopes."""
        a = np.linalg.inv(h)
        n = len(m)
        # d distance / d h_ij = -t_i m_j, and d distance / d flat_i = t_i / q_3.
        t = towards @ a[:2] - np.einsum("ni,ni->n", towards, m)[:, None] * a[2]
        slope = t[:, :2] / q3
        square = (flat**2).sum(axis=1)
        jac = np.zeros((n, 10))
        m_h = np.column_stack([m, np.ones(n)])
        jac[:, :8] = -np.einsum("ni,nj->nij", t, m_h).reshape(n, 9)[:, :8]
        jac[:, 8] = -np.einsum("ni,ni->n", slope, flat) * square / (1 + 3 * k1 * square)
        return jac, np.hypot(slope[:, 0], slope[:, 1])

    def priors(self, p: Floats) -> tuple[Floats, Floats]:
        """Pseudo-residuals: lens near none, lines half a millimetre wide or so, up kept."""
        jac = np.zeros((3, 10))
        jac[0, 8], jac[1, 9] = 1 / _K1_PRIOR_SD, 1 / _LINE_PRIOR_SD
        turned = 0.0
        if self.up is not None:
            turned = _up_angle(p) - self.up
            x, y = p[1] - p[2] * p[7], p[4] - p[5] * p[7]
            across = np.array([-y, x]) / (x * x + y * y) / _UP_SD
            jac[2, [1, 2, 7]] = across[0] * np.array([1, -p[7], -p[2]])
            jac[2, [4, 5]] += across[1] * np.array([1, -p[7]])
            jac[2, 7] -= across[1] * p[5]
        line = (p[9] - _LINE_PRIOR_MM) / _LINE_PRIOR_SD if self.free[9] else 0.0
        return np.array([p[8] / _K1_PRIOR_SD, line, turned / _UP_SD]), jac

    def homography(self, p: Floats) -> Floats:
        h = np.linalg.inv(self.to_unit) @ np.append(p[:8], 1.0).reshape(3, 3)
        h = h @ np.diag([1 / self.length, 1 / self.length, 1.0])
        return np.asarray(h / h[2, 2])

    def finish(self, p: Floats) -> Plane:
        marks, free = self.marks, self.free
        r, jac = self.residuals(p)
        _, prior_jac = self.priors(p)
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
        homography = self.homography(p)
        # Chain rule from the unit parameters to the elements of the homography.
        chain = np.zeros((9, 10))
        for i in range(8):
            q = p.copy()
            q[i] += 1e-7
            chain[:8, i] = (self.homography(q).ravel()[:8] - homography.ravel()[:8]) / 1e-7
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
            focal_px=self.focal,
            image_size=self.image_size,
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


def _up_angle(p: Floats) -> float:
    """Direction in the photo of the sheet's up at its centre, radians."""
    return float(np.arctan2(p[4] - p[5] * p[7], p[1] - p[2] * p[7]))


def _square_on(marks: Marks, image_size: tuple[int, int], focal: float) -> Plane:
    """Plane from two points, the sheet taken to be square on and the photo's up its up."""
    mm, px = marks.points_mm, marks.points_px
    length_mm = float(np.linalg.norm(mm[1] - mm[0]))
    length_px = float(np.linalg.norm(px[1] - px[0]))
    if length_mm <= 0 or length_px <= 0:
        msg = "the two points of the known length coincide: mark its two ends"
        raise MarksError(msg)
    scale = length_px / length_mm
    along_mm, along_px = mm[1] - mm[0], (px[1] - px[0]) * [1, -1]
    angle = np.arctan2(along_px[1], along_px[0]) - np.arctan2(along_mm[1], along_mm[0])
    c, s = np.cos(angle), np.sin(angle)
    linear = scale * np.array([[c, -s], [-s, -c]])
    shift = px.mean(axis=0) - linear @ mm.mean(axis=0)
    homography = np.eye(3)
    homography[:2, :2], homography[:2, 2] = linear, shift
    # Scale and turn are each as uncertain as the two points make them; tilt that nobody can see
    # adds to the scale.
    by_points = float(np.sqrt((marks.points_se_px**2).sum())) / length_px
    by_scale, by_turn = np.zeros(9), np.zeros(9)
    by_scale[[0, 1, 3, 4]] = linear.ravel()
    by_turn[[0, 1, 3, 4]] = (linear @ np.array([[0.0, -1.0], [1.0, 0.0]])).ravel()
    covariance = np.outer(by_scale, by_scale) * (by_points**2 + _UNSEEN_TILT**2)
    covariance += np.outer(by_turn, by_turn) * by_points**2
    covariance[2, 2] += float((marks.points_se_px**2).mean()) / 2
    covariance[5, 5] += float((marks.points_se_px**2).mean()) / 2
    return Plane(
        homography, 0.0, focal, image_size, covariance, 0.0, 1.0, 0.0, marks.source, marks.notes
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


def _image_centre(image_size: tuple[int, int]) -> Floats:
    return np.asarray((np.asarray(image_size, float) - 1.0) / 2.0)


def _apply(h: Floats, points: Floats) -> Floats:
    q = points @ h[:, :2].T + h[:, 2]
    return np.asarray(q[:, :2] / q[:, 2:], float)


def _project(h: Floats, k1: float, mm: Floats, centre: Floats, focal: float) -> Floats:
    q = (_apply(h, mm) - centre) / focal
    return np.asarray(q * (1 + k1 * (q**2).sum(axis=1, keepdims=True)) * focal + centre)


def _undistort(px: Floats, k1: float, centre: Floats, focal: float) -> Floats:
    return _undistort_unit((px - centre) / focal, k1) * focal + centre


def _undistort_unit(q: Floats, k1: float) -> Floats:
    """Take the radial term out, by Newton's method on the radius."""
    seen = np.hypot(q[:, 0], q[:, 1])
    radius = seen.copy()
    for _ in range(3):
        square = radius**2
        radius -= (radius * (1 + k1 * square) - seen) / (1 + 3 * k1 * square)
    ratio = np.divide(radius, seen, out=np.ones_like(seen), where=seen > 0)
    return q * ratio[:, None]


def _replace(plane: Plane, **changes: object) -> Plane:
    return replace(plane, **changes)  # type: ignore[arg-type]
