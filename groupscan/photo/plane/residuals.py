"""How far marks lie from where a plane puts them, in units of their errors, with derivatives."""

from __future__ import annotations

import numpy as np

from groupscan.photo.plane.bend import Bend
from groupscan.photo.plane.lens import image_centre, undistort_unit
from groupscan.photo.plane.marks_seen import Floats, Marks

__all__ = ["Residuals", "up_angle"]

#: Standard deviation of the radial term when nothing but habit is known of the lens. Phones'
#: main cameras lie within about 0.1 in these units (common practice, no source).
_K1_PRIOR_SD = 0.05
#: Printed dividing lines: at most 2 mm wide by the rule book, about half a millimetre in print
#: (common practice, no source).
_LINE_PRIOR_MM, _LINE_PRIOR_SD = 0.6, 0.4
_UP_SD = 1e-3  # how firmly a rotation that circles leave open is held while fitting, radians


class Residuals:
    """Residuals of one plane's marks, in units that make every parameter of order one.

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
        centre = image_centre(image_size)
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

    @property
    def reach_mm(self) -> Floats:
        """How far the marks reach from the sheet's centre, across and up, (2,) mm."""
        marks = self.marks
        ends = [
            np.abs(marks.points_mm),
            np.abs(marks.circles_centre_mm) + marks.circles_radius_mm[:, None],
            np.abs(marks.lines_normal * marks.lines_offset_mm[:, None]),
        ]
        return np.asarray(np.vstack(ends).max(axis=0))

    def residuals(self, p: Floats, bend: Bend | None = None) -> tuple[Floats, Floats]:
        """Residuals over their standard errors and their derivatives: points (x, y) first."""
        h = np.append(p[:8], 1.0).reshape(3, 3)
        places = self.points_m
        if bend is not None and len(places):
            places = places + bend.shift(self.marks.points_mm) / self.length
        point, point_jac = self._points(h, p[8], places)
        circle, circle_jac = self._circles(h, p[8], p[9], bend)
        line, line_jac = self._lines(h, p[8], bend)
        return np.concatenate([point, circle, line]), np.vstack([point_jac, circle_jac, line_jac])

    def lifts(self, p: Floats, bend: Bend) -> tuple[Floats, Floats]:
        """Where on the sheet each residual is measured, mm, and its derivative by the height."""
        h = np.append(p[:8], 1.0).reshape(3, 3)
        mm = self.marks.points_mm
        at = self.points_m + bend.shift(mm) / self.length
        step = 1e-4 * bend.by_height(mm)  # of the marks' reach
        rise = (self._points(h, p[8], at + step)[0] - self._points(h, p[8], at)[0]) / 1e-4
        places, lifts = [np.repeat(mm, 2, axis=0)], [rise / self.length]
        for seen, se in ((self.circles_u, self.circles_se), (self.lines_u, self.lines_se)):
            m1, q3, flat = self._back(h, p[8], seen)
            m = self._laid_flat(m1, bend)
            towards = self._outwards(m)[0] if seen is self.circles_u else self.marks.lines_normal
            _, gradient = self._distance_jacobian(h, p[8], m1, q3, flat, towards)
            places.append(m * self.length)
            along = (towards * bend.by_height(places[-1])).sum(axis=1)
            lifts.append(-along / (gradient * se) / self.length)
        return np.vstack(places), np.concatenate(lifts)

    def _points(self, h: Floats, k1: float, places: Floats) -> tuple[Floats, Floats]:
        n = len(places)
        if not n:
            return np.zeros(0), np.zeros((0, 10))
        m = np.column_stack([places, np.ones(n)])
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

    def _circles(
        self, h: Floats, k1: float, width: float, bend: Bend | None
    ) -> tuple[Floats, Floats]:
        if not len(self.circles_u):
            return np.zeros(0), np.zeros((0, 10))
        m, q3, flat = self._back(h, k1, self.circles_u)
        towards, radius = self._outwards(self._laid_flat(m, bend))
        jac, gradient = self._distance_jacobian(h, k1, m, q3, flat, towards)
        gradient *= self.circles_se
        inset = self.marks.circles_inset / self.length
        jac[:, 9] = inset
        # The gradient is held fixed in the derivatives: it changes far less than the distance.
        return (radius - self.circles_r + width * inset) / gradient, jac / gradient[:, None]

    def _outwards(self, m: Floats) -> tuple[Floats, Floats]:
        """Which way and how far places lie from the circles' centres."""
        off = m - self.circles_c
        radius = np.hypot(off[:, 0], off[:, 1])
        return off / np.maximum(radius, 1e-12)[:, None], radius

    def _laid_flat(self, m: Floats, bend: Bend | None) -> Floats:
        if bend is None or not len(m):
            return m
        return bend.laid_flat(m * self.length) / self.length

    def _lines(self, h: Floats, k1: float, bend: Bend | None) -> tuple[Floats, Floats]:
        if not len(self.lines_u):
            return np.zeros(0), np.zeros((0, 10))
        m, q3, flat = self._back(h, k1, self.lines_u)
        normal = self.marks.lines_normal
        jac, gradient = self._distance_jacobian(h, k1, m, q3, flat, normal)
        gradient *= self.lines_se
        laid = self._laid_flat(m, bend)
        distance = np.einsum("ni,ni->n", normal, laid) - self.lines_d
        return distance / gradient, jac / gradient[:, None]

    def _back(self, h: Floats, k1: float, seen: Floats) -> tuple[Floats, Floats, Floats]:
        """Places on the sheet of points seen, their third coordinate, and where no lens is."""
        flat = undistort_unit(seen, k1)
        a = np.linalg.inv(h)
        q = flat @ a[:, :2].T + a[:, 2]
        return q[:, :2] / q[:, 2:], q[:, 2:], flat

    def _distance_jacobian(
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
            turned = up_angle(p) - self.up
            x, y = p[1] - p[2] * p[7], p[4] - p[5] * p[7]
            across = np.array([-y, x]) / (x * x + y * y) / _UP_SD
            jac[2, [1, 2, 7]] = across[0] * np.array([1, -p[7], -p[2]])
            jac[2, [4, 5]] += across[1] * np.array([1, -p[7]])
            jac[2, 7] -= across[1] * p[5]
        line = (p[9] - _LINE_PRIOR_MM) / _LINE_PRIOR_SD if self.free[9] else 0.0
        return np.array([p[8] / _K1_PRIOR_SD, line, turned / _UP_SD]), jac

    def homography(self, p: Floats) -> Floats:
        """Return the homography from sheet mm to pixels, last element 1."""
        h = np.linalg.inv(self.to_unit) @ np.append(p[:8], 1.0).reshape(3, 3)
        h = h @ np.diag([1 / self.length, 1 / self.length, 1.0])
        return np.asarray(h / h[2, 2])


def up_angle(p: Floats) -> float:
    """Direction in the photo of the sheet's up at its centre, radians."""
    return float(np.arctan2(p[4] - p[5] * p[7], p[1] - p[2] * p[7]))
