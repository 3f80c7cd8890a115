"""How far marks lie from where a plane puts them, in units of their errors, with derivatives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from groupscan.photo.plane.lens import image_centre, unstretched
from groupscan.photo.plane.marks_seen import Floats, Marks

__all__ = ["Raised", "Residuals", "Seen", "up_angle"]

#: Standard deviation of the radial term when nothing but habit is known of the lens. Phones'
#: main cameras lie within about 0.1 in these units (common practice, no source).
_K1_PRIOR_SD = 0.05
#: Printed dividing lines: at most 2 mm wide by the rule book, about half a millimetre in print
#: (common practice, no source).
_LINE_PRIOR_MM, _LINE_PRIOR_SD = 0.6, 0.4
_UP_SD = 1e-3  # how firmly a rotation that circles leave open is held while fitting, radians


@dataclass(frozen=True, eq=False)
class Raised:
    """Heights of the sheet at marks, (n,) mm, and the camera's place over it, (3,) mm."""

    heights_mm: Floats
    camera_mm: Floats

    def __getitem__(self, part: slice) -> Raised:
        return Raised(self.heights_mm[part], self.camera_mm)

    def per_height(self, mm: Floats) -> Floats:
        """Return what a millimetre of height moves where places (2, n) are seen, (2, n) mm."""
        return np.asarray((mm - self.camera_mm[:2, None]) / self.camera_mm[2])

    def shifted(self, mm: Floats) -> Floats:
        """Return where on the flat sheet places (2, n) are seen, mm."""
        away = self.heights_mm / (self.camera_mm[2] - self.heights_mm)
        return np.asarray(mm + (mm - self.camera_mm[:2, None]) * away)

    def laid_flat(self, seen: Floats) -> Floats:
        """Undo `shifted`, exactly: the heights stay those of the marks."""
        away = self.heights_mm / (self.camera_mm[2] - self.heights_mm)
        return np.asarray((seen + self.camera_mm[:2, None] * away) / (1 + away))


class Seen:
    """Marks beside where parameters put them.

    Attributes
    ----------
    values : (m,) array
        Residuals over their standard errors: points (x, y) first, then circles, then lines.
    """

    def __init__(self, model: Residuals, p: Floats, raised: Raised | None) -> None:
        self.model, self.k1 = model, float(p[8])
        self.h = np.append(p[:8], 1.0).reshape(3, 3)
        n = model.count
        self.raised = raised
        points, rest = (None, None) if raised is None else (raised[:n], raised[n:])
        # Points: where they should be seen, without the lens (flat) and with it.
        self.places = model.points_m
        if points is not None:
            self.places = points.shifted(model.points_m * model.length) / model.length
        offs = []
        if n:
            self.flat, self.depth, seen = self._projected(self.places)
            offs.append(((seen - model.points_u) / model.points_se).T.ravel())
        # Circles and lines: from where they are seen back to the sheet, and how far off there.
        if model.count < model.marks_count:
            radius = model.rest_radius
            self.back = np.linalg.inv(self.h)
            self.seen = model.rest_u * unstretched(radius, self.k1)
            q = self.back[:, :2] @ self.seen + self.back[:, 2:]
            self.below, self.m = q[2], q[:2] / q[2]
            laid = self.m
            if rest is not None:
                laid = rest.laid_flat(self.m * model.length) / model.length
            self.laid = laid
            self.towards, distance = model.outwards(laid)
            self.t = self.towards[0] * self.back[0, :, None]
            self.t += self.towards[1] * self.back[1, :, None]
            self.t -= (self.towards * self.m).sum(axis=0) * self.back[2, :, None]
            self.steep = np.hypot(self.t[0], self.t[1]) / np.abs(self.below) * model.rest_se
            offs.append((distance + p[9] * model.inset) / self.steep)
        self.values = np.concatenate(offs)

    def _projected(self, places: Floats) -> tuple[Floats, Floats, Floats]:
        q = self.h[:, :2] @ places + self.h[:, 2:]
        flat = q[:2] / q[2]
        return flat, q[2], flat * (1 + self.k1 * (flat**2).sum(axis=0))

    def jacobian(self) -> Floats:
        """Return the derivatives of the values by the parameters, (m, 10).

        The slope of a distance over the picture is held fixed: it changes far less than the
        distance.
        """
        model, k1 = self.model, self.k1
        n, rest = model.count, model.marks_count - model.count
        out = np.zeros((2 * n + rest, 10))
        if n:
            # d flat / d h_ij = (e_i - flat e_3) m_j / q_3; the lens then bends it.
            m = np.vstack([self.places, np.ones(n)]) / (self.depth * model.points_se)
            square = (self.flat**2).sum(axis=0)
            for axis in range(2):
                by_flat = 2 * k1 * self.flat[axis] * self.flat
                by_flat[axis] += 1 + k1 * square
                mine = out[: 2 * n][axis::2]
                mine[:, 0:3] = (by_flat[0] * m).T
                mine[:, 3:6] = (by_flat[1] * m).T
                mine[:, 6:8] = -((by_flat * self.flat).sum(axis=0) * m[:2]).T
                mine[:, 8] = self.flat[axis] * square / model.points_se
        if rest:
            # d distance / d h_ij = -t_i m_j, and d distance / d flat_i = t_i / q_3.
            far = out[2 * n :]
            t = self.t / self.steep
            m = np.vstack([self.m, np.ones(rest)])
            far[:, 0:3] = (-t[0] * m).T
            far[:, 3:6] = (-t[1] * m).T
            far[:, 6:8] = (-t[2] * self.m).T
            square = (self.seen**2).sum(axis=0)
            along = (t[:2] * self.seen).sum(axis=0) / self.below
            far[:, 8] = -along * square / (1 + 3 * k1 * square)
            far[:, 9] = model.inset / self.steep
        return out

    @property
    def places_mm(self) -> Floats:
        """Where each mark is on the sheet, (n, 2) mm."""
        mm = self.model.marks.points_mm
        if self.model.count == self.model.marks_count:
            return mm
        return np.vstack([mm, self.laid.T * self.model.length])

    def lifts(self, camera_mm: Floats) -> Floats:
        """Return the values' derivatives by the sheet's height at each, per mm."""
        model, n = self.model, self.model.count
        level = Raised(np.zeros(0), camera_mm)
        lifts = []
        if n:
            step = 1e-4 * level.per_height(model.points_m * model.length)  # of the marks' reach
            here, there = self._projected(self.places)[2], self._projected(self.places + step)[2]
            lifts.append(((there - here) / model.points_se / 1e-4).T.ravel())
        if n < model.marks_count:
            moved = level.per_height(self.laid * model.length)
            lifts.append(-(self.towards * moved).sum(axis=0) / self.steep)
        return np.concatenate(lifts) / model.length


class Residuals:
    """Residuals of one plane's marks, in units that make every parameter of order one.

    Pixels are measured from the image centre in focal lengths, sheet lengths in the marks' reach.
    Parameters: the first eight elements of the homography between the two, the radial term, and
    the printed lines' width, mm. Places are columns, x and y the rows.
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
        self.count, circles, lines = (
            len(px) for px in (marks.points_px, marks.circles_px, marks.lines_px)
        )
        self.marks_count = self.count + circles + lines
        self.points_m = marks.points_mm.T / self.length
        self.points_u = (marks.points_px - centre).T / focal
        self.points_se = marks.points_se_px / focal
        self.rest_u = (np.vstack([marks.circles_px, marks.lines_px]) - centre).T / focal
        self.rest_radius = np.hypot(*self.rest_u)
        self.rest_se = np.concatenate([marks.circles_se_px, marks.lines_se_px]) / focal
        self.circles_c = marks.circles_centre_mm.T / self.length
        self.circles_r = marks.circles_radius_mm / self.length
        self.lines_n, self.lines_d = marks.lines_normal.T, marks.lines_offset_mm / self.length
        self.inset = np.append(marks.circles_inset, np.zeros(lines)) / self.length
        inset = bool(len(marks.circles_inset)) and bool(np.ptp(marks.circles_inset) > 0)
        self.free = np.array([True] * 8 + [lens, inset])
        self.up: float | None = None  # where circles leave the rotation open: keep this one

    @property
    def of_mark(self) -> NDArray[np.intp]:
        """Which mark each residual belongs to: a point has two."""
        n = self.count
        return np.append(np.repeat(np.arange(n), 2), np.arange(n, self.marks_count))

    def at(self, p: Floats, raised: Raised | None = None) -> Seen:
        """Return the marks beside where parameters, and heights, put them."""
        return Seen(self, p, raised)

    def outwards(self, m: Floats) -> tuple[Floats, Floats]:
        """Which way circles and lines are crossed, (2, n), and how far beyond them places lie."""
        n = len(self.circles_r)
        off = m[:, :n] - self.circles_c
        radius = np.hypot(off[0], off[1])
        along = (self.lines_n * m[:, n:]).sum(axis=0) - self.lines_d
        towards = np.hstack([off / np.maximum(radius, 1e-12), self.lines_n])
        return towards, np.concatenate([radius - self.circles_r, along])

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
