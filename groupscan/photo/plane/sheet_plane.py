"""The sheet's plane in a photo: both ways between pixels and millimetres, with errors."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from groupscan.photo.plane.bend import Bend
from groupscan.photo.plane.lens import image_centre, project, through, undistort
from groupscan.photo.plane.marks_seen import Floats
from groupscan.photo.plane.pose import pose_of

__all__ = ["Plane"]

#: Scale error that a sheet's curl leaves, as a share: photos with known truth scatter by this much
#: where the marks alone claim a tenth of it (docs/ACCURACY.md).
_CURL = 7e-4


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
    covariance : (9 + n, 9 + n) array
        Of the eight free elements of the homography, of k1, and of the bend's n heights.
    residual_px : float
        Root mean square of the inliers' residuals, px.
    inlier_share : float
        Share of the marks that the plane explains.
    line_width_mm : float
        Width of the printed dividing lines, where circles told it; else 0.
    source : str
        Kind of marks that the plane rests on.
    notes : tuple of str
    bend : Bend, optional
        How the sheet departs from its plane.
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
    bend: Bend | None = None

    @property
    def centre_px(self) -> Floats:
        """Image centre, (2,) px."""
        return image_centre(self.image_size)

    def to_px(self, mm: ArrayLike) -> Floats:
        """Return where points of the sheet are seen.

        Parameters
        ----------
        mm : (n, 2) array_like, mm

        Returns
        -------
        (n, 2) array, px
        """
        mm = np.asarray(mm, float)
        if self.bend is not None:
            mm = mm + self.bend.shift(mm)
        return project(self.homography, self.k1, mm, self.centre_px, self.focal_px)

    def to_mm(self, px: ArrayLike) -> Floats:
        """Return which points of the sheet are seen at pixels.

        Parameters
        ----------
        px : (n, 2) array_like, px

        Returns
        -------
        (n, 2) array, mm
        """
        flat = undistort(np.asarray(px, float), self.k1, self.centre_px, self.focal_px)
        mm = through(np.linalg.inv(self.homography), flat)
        return mm if self.bend is None else self.bend.laid_flat(mm)

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
        beside = step * np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])
        px = self.to_px((mm + beside[:, None]).reshape(-1, 2)).reshape(4, -1, 2)
        return np.stack([px[0] - px[1], px[2] - px[3]], axis=-1) / (2 * step)

    def mm_per_px(self, mm: ArrayLike = ((0.0, 0.0),)) -> Floats:
        """Return the scale along the sheet's x axis at points of the sheet, (n,) mm/px.

        On a tilted sheet the scale differs between directions; across the sheet is the one that
        a person can check with a ruler laid level on it.
        """
        across = self.jacobian(mm)[:, :, 0]
        return np.asarray(1.0 / np.hypot(across[:, 0], across[:, 1]))

    @property
    def scale_se(self) -> float:
        """Standard error of the scale about the sheet's centre, mm/px, the sheet's curl included.

        It is the root mean square of those along the sheet's two axes: a length marked by hand
        is sure in its own direction only. On a sheet that bends, the scale over the middle half
        counts and not that of the centre's own slope.
        """
        reach = 0.5 if self.bend is None else float(np.abs(self.bend.inner()).max()) / 2
        ends = reach * np.array([[-1.0, 0.0], [1.0, 0.0], [0.0, -1.0], [0.0, 1.0]])

        def logs(px: Floats) -> Floats:
            return np.asarray(np.log(np.linalg.norm(px[1::2] - px[::2], axis=1)))

        here = self.to_px(ends)
        g = np.stack([(logs(p.to_px(ends)) - logs(here)) / step for p, step in self._nudged()])
        curl = _CURL
        if self.bend is not None:
            by_height = self.bend.by_height(ends)[:, :, None] * self.bend.basis(ends)[:, None, :]
            moved = self.jacobian(ends) @ by_height
            along = here[1::2] - here[::2]
            longer = np.einsum("ai,aik->ka", along, moved[1::2] - moved[::2])
            g = np.concatenate([g, longer / (along**2).sum(axis=1)])
            curl = 0.0
        share = (g * (self.covariance @ g)).sum(axis=0).clip(min=0.0).mean()
        return float(self.mm_per_px()[0] * np.sqrt(share + curl**2))

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
        if self.bend is not None:
            by_height = -self.bend.by_height(mm)[:, :, None] * self.bend.basis(mm)[:, None, :]
            g = np.concatenate([g, by_height], axis=-1)
        return np.asarray(g @ self.covariance @ g.transpose(0, 2, 1))

    @property
    def bend_mm(self) -> float:
        """How far the sheet departs from its plane at most, where the marks reach, mm."""
        if self.bend is None:
            return 0.0
        return float(np.abs(self.bend.height_mm(self.bend.inner())).max())

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
        return pose_of(self.homography, self.focal_px, self.image_size)

    def turned(self, angle_rad: float) -> Plane:
        """Turn the sheet's axes anticlockwise by an angle, the picture staying as it is."""
        c, s = np.cos(angle_rad), np.sin(angle_rad)
        turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        homography = self.homography @ turn
        # d(new parameters)/d(old ones) is linear: the homography is only multiplied.
        mix = np.eye(len(self.covariance))
        mix[:8, :8] = np.kron(np.eye(3), turn.T)[:8, :8]
        return replace(
            self,
            homography=homography / homography[2, 2],
            covariance=mix @ self.covariance @ mix.T,
            bend=None if self.bend is None else self.bend.turned(angle_rad),
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
            out.append((replace(self, homography=h.reshape(3, 3), k1=k1), step))
        return out
