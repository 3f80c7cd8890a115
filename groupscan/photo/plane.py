"""Photo to plane: from marks seen in a photo to millimetres on the sheet.

A pinhole camera sees a flat sheet through a homography; one radial term takes up the lens. Marks
of every kind end in one robust least-squares fit: points of known place, and points that lie
somewhere on a circle of known radius. Both give residuals in pixels, so that any mix of them can
be weighed together, and the curvature of the sum of squares gives the standard errors.

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
#: Focal length assumed when the photo does not tell, as a share of its longer side: 26 mm on a
#: 36 mm wide frame, the usual main camera of a phone (common practice, no source).
_DEFAULT_FOCAL = 26.0 / 36.0
_CAUCHY = 2.385  # 95 % efficiency at the normal distribution (Holland and Welsch 1977)


def _none(*shape: int) -> Floats:
    return np.zeros(shape)


@dataclass(frozen=True)
class Marks:
    """Scale marks found in a photo: points, and points on circles.

    Attributes
    ----------
    source : str
        What the marks are: ``"fiducials"``, ``"rings"``, ``"known-length"``, ``"corners"``.
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
    start : (3, 3) array, optional
        A first guess of the homography, sheet mm to pixels. Circles alone need one, and take the
        sheet's rotation from it.
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
        return 1.0 / np.hypot(across[:, 0], across[:, 1])

    @property
    def scale_se(self) -> float:
        """Standard error of the scale at the sheet's centre, mm/px."""
        base = float(self.mm_per_px()[0])
        g = np.array([(float(p.mm_per_px()[0]) - base) / step for p, step in self._nudged()])
        return float(np.sqrt(max(g @ self.covariance @ g, 0.0)))

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
        return np.einsum("nik,kl,njl->nij", g, self.covariance, g)

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
    no ellipse centre is ever mistaken for the image of the circle's centre. The covariance is
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
    focal = focal_px or _DEFAULT_FOCAL * max(image_size)
    n_points, n_circles = len(marks.points_mm), len(marks.circles_px)
    if n_points == 2 and n_circles == 0:
        return _square_on(marks, image_size, focal)
    if n_circles == 0 and n_points < 4:
        msg = f"{n_points} marks are too few for a plane: give four corners or two points by hand"
        raise MarksError(msg)
    first = marks.start if marks.start is not None else _first_homography(marks)
    # Four points leave no freedom for the lens; its prior then only widens the covariance.
    return _Fit(marks, image_size, focal, lens).run(first, marks.start_k1)


class _Fit:
    """The state of one plane fit: normalised parameters, residuals and their derivatives."""

    def __init__(self, marks: Marks, image_size: tuple[int, int], focal: float, lens: bool) -> None:
        self.marks, self.image_size, self.focal, self.lens = marks, image_size, focal, lens
        self.centre = _image_centre(image_size)
        mm = marks.points_mm
        reach = [float(np.abs(mm).max())] if len(mm) else []
        if len(marks.circles_radius_mm):
            reach.append(float(marks.circles_radius_mm.max()))
        self.length = max(reach)  # mm; makes every parameter of order one
        self.to_unit = np.diag([1 / focal, 1 / focal, 1.0]) @ np.array(
            [[1.0, 0.0, -self.centre[0]], [0.0, 1.0, -self.centre[1]], [0.0, 0.0, 1.0]]
        )
        self.from_unit = np.linalg.inv(self.to_unit)
        self.shrink = np.diag([1 / self.length, 1 / self.length, 1.0])
        self.up: float | None = None  # where circles leave the rotation open: keep this one
        self.inset = bool(len(marks.circles_inset)) and bool(np.ptp(marks.circles_inset) > 0)

    def homography(self, p: Floats) -> Floats:
        h = self.from_unit @ np.append(p[:8], 1.0).reshape(3, 3) @ self.shrink
        return h / h[2, 2]

    def residuals(self, p: Floats) -> Floats:
        """Residuals over their standard errors; points first (x, y), then circles."""
        h, k1, marks = self.homography(p), p[8], self.marks
        seen = _project(h, k1, marks.points_mm, self.centre, self.focal)
        points = ((seen - marks.points_px) / marks.points_se_px[:, None]).ravel()
        if not len(marks.circles_px):
            return points
        inverse = np.linalg.inv(h)
        # Distance from the circle and its change with the pixel, the lens's part of the change
        # being small enough to leave out.
        flat = _undistort(marks.circles_px, k1, self.centre, self.focal)
        q = flat @ inverse[:, :2].T + inverse[:, 2]
        mm = q[:, :2] / q[:, 2:]
        off = mm - marks.circles_centre_mm
        radius = np.hypot(off[:, 0], off[:, 1])
        direction = off / np.maximum(radius, 1e-9)[:, None]
        towards = np.einsum("ni,ij->nj", direction, inverse[:2, :2]) - (
            np.einsum("ni,ni->n", direction, mm)[:, None] * inverse[2, :2]
        )
        gradient = np.hypot(towards[:, 0], towards[:, 1]) / np.abs(q[:, 2])
        wanted = marks.circles_radius_mm - p[9] * marks.circles_inset
        circles = (radius - wanted) / gradient / marks.circles_se_px
        return np.concatenate([points, circles])

    def priors(self, p: Floats) -> Floats:
        """Pseudo-residuals: lens near none, dividing lines half a millimetre wide or so, up kept."""
        turned = 0.0 if self.up is None else self.up_angle(p) - self.up
        return np.array([p[8] / _K1_PRIOR_SD, (p[9] - 0.6) / 0.4, turned / 1e-3])

    @staticmethod
    def up_angle(p: Floats) -> float:
        """Direction in the photo of the sheet's up at its centre, radians."""
        return float(np.arctan2(p[4] - p[5] * p[7], p[1] - p[2] * p[7]))

    def run(self, homography: Floats, k1: float) -> Plane:
        unit = self.to_unit @ homography @ np.linalg.inv(self.shrink)
        p = np.append((unit / unit[2, 2]).ravel()[:8], [k1, 0.6])
        free = np.ones(10, bool)
        free[8], free[9] = self.lens, self.inset
        if not self.inset:
            p[9] = 0.0
        if not len(self.marks.points_mm):
            self.up = self.up_angle(p)
        damping, cost = 1e-3, np.inf
        scale = 1.0
        for _ in range(40):
            r = self.residuals(p)
            # A Cauchy scale that follows the data down, never below the stated errors.
            scale = max(1.0, 1.4826 * float(np.median(np.abs(r))))
            weights = 1.0 / (1.0 + (r / (_CAUCHY * scale)) ** 2)
            jac = self.derivatives(p, r, free)
            prior, prior_jac = self.priors(p), self.prior_derivatives(p, free)
            normal = (jac * weights[:, None]).T @ jac / scale**2 + prior_jac.T @ prior_jac
            slope = (jac * weights[:, None]).T @ r / scale**2 + prior_jac.T @ prior
            cost = self.cost(p, scale)
            for _ in range(8):
                ridge = damping * np.diag(np.diag(normal) + 1e-12)
                step = np.linalg.solve(normal + ridge, -slope)
                trial = p.copy()
                trial[free] += step
                new = self.cost(trial, scale)
                if new < cost:
                    break
                damping *= 10
            else:
                break
            damping = max(damping / 10, 1e-9)
            p = trial
            if cost - new < 1e-6 * (1 + new):
                break
        return self.finish(p, free)

    def cost(self, p: Floats, scale: float) -> float:
        with np.errstate(all="ignore"):
            r = self.residuals(p) / scale
            loss = _CAUCHY**2 * np.log1p((r / _CAUCHY) ** 2)
            total = float(loss.sum() + (self.priors(p) ** 2).sum())
        return total if np.isfinite(total) else np.inf

    def derivatives(self, p: Floats, r: Floats, free: NDArray[np.bool_]) -> Floats:
        out = []
        for i in np.flatnonzero(free):
            q = p.copy()
            q[i] += 1e-6
            out.append((self.residuals(q) - r) / 1e-6)
        return np.stack(out, axis=1)

    def prior_derivatives(self, p: Floats, free: NDArray[np.bool_]) -> Floats:
        here = self.priors(p)
        out = []
        for i in np.flatnonzero(free):
            q = p.copy()
            q[i] += 1e-6
            out.append((self.priors(q) - here) / 1e-6)
        return np.stack(out, axis=1)

    def finish(self, p: Floats, free: NDArray[np.bool_]) -> Plane:
        marks = self.marks
        r = self.residuals(p)
        scale = max(1.0, 1.4826 * float(np.median(np.abs(r))))
        weights = 1.0 / (1.0 + (r / (_CAUCHY * scale)) ** 2)
        inlier = np.abs(r) < 3 * scale
        jac = self.derivatives(p, r, free)
        prior_jac = self.prior_derivatives(p, free)
        normal = (jac * weights[:, None]).T @ jac + prior_jac.T @ prior_jac
        # Where circles leave the rotation open its prior pins it here; its true error comes from
        # whoever fixed it, below.
        covariance_unit = np.zeros((10, 10))
        dof = max(int(inlier.sum()) - int(free.sum()), 1)
        chi2 = max(1.0, float((weights * r**2).sum()) / dof)
        covariance_unit[np.ix_(free, free)] = chi2 * np.linalg.pinv(
            normal, rcond=1e-12, hermitian=True
        )
        homography = self.homography(p)
        # Chain rule from the unit parameters to the elements of the homography.
        chain = np.zeros((9, 10))
        for i in range(8):
            q = p.copy()
            q[i] += 1e-7
            chain[:8, i] = (self.homography(q).ravel()[:8] - homography.ravel()[:8]) / 1e-7
        chain[8, 8] = 1.0
        covariance = chain @ covariance_unit @ chain.T
        if marks.turn_se_rad:
            turn = (
                homography @ np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 0.0]])
            ).ravel()
            covariance[:8, :8] += marks.turn_se_rad**2 * np.outer(turn[:8], turn[:8])
        errors = np.concatenate([np.repeat(marks.points_se_px, 2), marks.circles_se_px])
        px = r * errors
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
    error = float(np.sqrt((marks.points_se_px**2).sum())) / length_px
    covariance = np.zeros((9, 9))
    for i, j in ((0, 0), (1, 1), (3, 3), (4, 4)):
        covariance[i if i == j else i, j] = (scale * error) ** 2
    covariance[2, 2] = covariance[5, 5] = float((marks.points_se_px**2).mean()) / 2
    return Plane(
        homography, 0.0, focal, image_size, covariance, 0.0, 1.0, 0.0, marks.source, marks.notes
    )


def _first_homography(marks: Marks) -> Floats:
    """Robust first guess from points."""
    if len(marks.points_mm) < 4:
        msg = "circles alone need a first guess of the plane"
        raise MarksError(msg)
    if len(marks.points_mm) == 4:
        h, _ = cv2.findHomography(marks.points_mm, marks.points_px, 0)
    else:
        threshold = max(3.0, 3 * float(np.median(marks.points_se_px)))
        h, _ = cv2.findHomography(marks.points_mm, marks.points_px, cv2.USAC_MAGSAC, threshold)
        if h is None:
            h, _ = cv2.findHomography(marks.points_mm, marks.points_px, 0)
    if h is None or not np.isfinite(h).all() or abs(h[2, 2]) < 1e-12:
        msg = "the marks do not lie as on a flat sheet: check them, or give four corners by hand"
        raise MarksError(msg)
    return np.asarray(h, float) / h[2, 2]


def _image_centre(image_size: tuple[int, int]) -> Floats:
    return (np.asarray(image_size, float) - 1.0) / 2.0


def _apply(h: Floats, points: Floats) -> Floats:
    q = points @ h[:, :2].T + h[:, 2]
    return np.asarray(q[:, :2] / q[:, 2:], float)


def _project(h: Floats, k1: float, mm: Floats, centre: Floats, focal: float) -> Floats:
    q = (_apply(h, mm) - centre) / focal
    return q * (1 + k1 * (q**2).sum(axis=1, keepdims=True)) * focal + centre


def _undistort(px: Floats, k1: float, centre: Floats, focal: float) -> Floats:
    """Take the radial term out, by Newton's method on the radius."""
    q = (px - centre) / focal
    seen = np.hypot(q[:, 0], q[:, 1])
    radius = seen.copy()
    for _ in range(4):
        radius -= (radius * (1 + k1 * radius**2) - seen) / (1 + 3 * k1 * radius**2)
    ratio = np.divide(radius, seen, out=np.ones_like(seen), where=seen > 0)
    return q * ratio[:, None] * focal + centre


def _replace(plane: Plane, **changes: object) -> Plane:
    return replace(plane, **changes)  # type: ignore[arg-type]
