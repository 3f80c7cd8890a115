"""The slant of a face, from a strip of known length and whatever else lies on it.

A strip tells where its plane is and how it turns away along its length; how it turns about its own
length it hardly tells, being narrow. Round spots tell both. So the camera's pose is sought in
which the strip's edges fall where they are seen and every spot is a circle of any size, with what
is usual (phones are held about square on) as the weak last word. The curvature of that fit says
how well each was told.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from groupscan.photo.marks.block_edges import Edges
from groupscan.photo.marks.pose import PARAMS, Camera, straightened
from groupscan.photo.plane import Floats

__all__ = ["Slant", "fit_slant"]

#: A face photographed by eye is square on to about so much, radians on each axis, and a lens bends
#: about so much (`groupscan.photo.plane`); common practice, no source.
_TILT_SD, _K1_SD = np.radians(12.0), 0.08
#: Focal length's doubt as a share: stated in the photo (to a whole millimetre), or not.
_FOCAL_SD, _UNTOLD_FOCAL_SD = 0.02, 0.2
#: Half heights of strips, mm, and how far light bleeds over an edge, px.
_HALF_HEIGHT, _HALF_HEIGHT_SD, _BLEED_SD = 14.0, 8.0, 0.4
#: A strip lies on the face, not in it: a board or a ruler is this thick, mm.
_THICKNESS_SD = 1.0
#: How round a brush paints, as a share of the radius, and how many readings of a circle one spot is
#: worth: its strays are long waves, out of round by a hundredth or two (found on renders).
_SPOT_SE, _SPOT_READINGS = 0.012, 2.5
_CAUCHY = 2.385  # 95 % efficiency at the normal distribution (Holland and Welsch 1977)
_STARTS = np.radians([[0, 0], [25, 0], [-25, 0], [0, 25], [0, -25]])
#: Steps from every start, from the best few of them, and from the best.
_STEPS = ((2, 5), (4, 2), (25, 1))


@dataclass(frozen=True)
class Slant:
    """A camera's pose before the strip's plane.

    Attributes
    ----------
    params : (10,) array
        As `groupscan.photo.marks.pose` has them; the origin is the strip's middle.
    covariance : (10, 10) array
    homography : (3, 3) array
        Strip's plane in mm, origin in the strip's middle, x along it, to undistorted pixels.
    residual_px : float
        Root mean square of the strip's residuals.
    camera : Camera
    """

    params: Floats
    covariance: Floats
    homography: Floats
    residual_px: float
    camera: Camera

    @property
    def k1(self) -> float:
        """Radial term, in units of the focal length that was assumed."""
        return float(self.params[7])

    @property
    def tilt_rad(self) -> float:
        """Angle between the camera's axis and the plane's normal."""
        normal = self.camera.rotation(self.params)[:, 2]
        return float(np.arccos(np.clip(abs(normal[2]), 0, 1)))

    @property
    def tilt_se_rad(self) -> float:
        """Standard error of the plane's normal, in its worse direction."""
        return float(np.sqrt(np.linalg.eigvalsh(self.covariance[:2, :2])[-1]))

    def to_mm(self, px: Floats) -> Floats:
        """Places on the plane, mm, (n, 2), of pixels."""
        return self.camera.to_mm(self.params, px)

    def to_px(self, mm: Floats) -> tuple[Floats, Floats]:
        """Pixels (n, 2) of places on the plane, and their covariance (n, 2, 2)."""
        step = 1e-5
        px = self.camera.to_px(self.params, mm)
        moved = self.camera.to_px(self.params + step * np.eye(PARAMS), mm)
        slope = np.moveaxis((moved - px) / step, 0, -1)
        return px, slope @ self.covariance @ slope.transpose(0, 2, 1)


def fit_slant(
    edges: Edges,
    spots: list[Floats],
    *,
    block_mm: float,
    image_size: tuple[int, int],
    focal_px: float | None,
    default_focal_px: float,
) -> Slant:
    """Fit the pose to a strip's edges and the outlines of round spots.

    Parameters
    ----------
    edges : Edges
    spots : list of (k, 2) arrays
        Outlines, px. Spots that lie on another plane are outvoted.
    block_mm : float
        Length of one of the strip's blocks.
    image_size : (int, int)
        Width and height of the photo, px.
    focal_px : float, optional
        As the photo tells.
    default_focal_px : float
        Assumed where it does not.

    Returns
    -------
    Slant

    Notes
    -----
    Cauchy losses of first-order distances in the photo, minimised by Levenberg-Marquardt steps
    from five slants, since a circle alone leaves two. Each spot's centre and radius are those of
    the best circle through its outline carried back into the plane (Kåsa's linear fit), so they
    are no parameters.
    """
    fit = _Fit(edges, spots, block_mm, image_size, focal_px, default_focal_px)
    tries = [fit.start(tilt) for tilt in _STARTS]
    for steps, count in _STEPS:
        tries = [fit.run(p, steps) for p in sorted(tries, key=fit.cost)[:count]]
    return fit.finish(tries[0])


class _Fit:
    def __init__(
        self,
        edges: Edges,
        spots: list[Floats],
        block_mm: float,
        image_size: tuple[int, int],
        focal_px: float | None,
        default_focal_px: float,
    ) -> None:
        self.edges, self.block = edges, block_mm
        self.focal_sd = _FOCAL_SD if focal_px else _UNTOLD_FOCAL_SD
        q = np.array([[0, 0, 1], [6, 0, 1.0]]) @ edges.homography.T
        self.ends = q[:, :2] / q[:, 2:]
        x, y = self.ends[1] - self.ends[0]
        centre = (np.asarray(image_size, float) - 1.0) / 2.0
        self.camera = Camera(focal_px or default_focal_px, centre, float(np.arctan2(y, x)))
        self.n = len(edges.px)
        # Outlines are brought to one length by points that do not count.
        longest = max((len(spot) for spot in spots), default=0)
        self.counts = np.zeros((len(spots), longest))
        outlines = np.zeros((len(spots), longest, 2))
        for i, spot in enumerate(spots):
            self.counts[i, : len(spot)], outlines[i] = 1.0, np.resize(spot, (longest, 2))
        seen = np.vstack([edges.px, outlines.reshape(-1, 2)])
        self.seen = (seen - centre) / self.camera.focal_px
        # Neighbouring crossings of one edge stray together: a block's edge is four readings.
        same = (edges.axis[:, None] == edges.axis) & (edges.level[:, None] == edges.level)
        readings = np.where(edges.axis == 0, 4.0, 24.0)
        self.se = edges.se_px * np.sqrt(np.maximum(same.sum(axis=1) / readings, 1.0))

    def start(self, tilt: Floats) -> Floats:
        """Parameters for a tilt about the strip's axis and about the one across it."""
        camera = self.camera
        middle = (self.ends.mean(axis=0) - camera.centre_px) / camera.focal_px
        length = float(np.linalg.norm(self.ends[1] - self.ends[0])) / camera.focal_px
        distance = 6 * self.block * np.cos(tilt[1]) / length
        c, s = np.cos(camera.turn_rad), np.sin(camera.turn_rad)
        lean = [c * tilt[0] - s * tilt[1], s * tilt[0] + c * tilt[1]]
        return np.array([*lean, 0.0, *middle, np.log(distance), 0.0, 0.0, _HALF_HEIGHT, 0.0])

    def residuals(self, p: Floats) -> Floats:
        """Residuals over their standard errors, (..., n): edges, spots, then what is usual."""
        flat = straightened(self.seen, p[..., 7, None])
        a = np.linalg.inv(self.camera.homography(p))
        q = flat @ np.swapaxes(a[..., :2], -1, -2) + a[..., None, :, 2]
        below = q[..., 2:]
        mm = q[..., :2] / below
        n, rows = self.n, np.arange(self.n)
        axis = self.edges.axis
        mine = mm[..., rows, axis]
        # Slope of the distance from an edge across the picture.
        slope = (a[..., axis, :2] - mine[..., None] * a[..., None, 2, :2]) / below[..., :n, :]
        steep = np.hypot(slope[..., 0], slope[..., 1]) / self.camera.focal_px
        # The strip's frame has y down as the photo does, the plane has it up.
        want = np.where(
            axis == 0, (self.edges.level - 3) * self.block, -self.edges.level * p[..., 8, None]
        )
        # Bleeding light moves every edge away from its bright side.
        bright = np.where(axis == 0, self.edges.bright, -self.edges.bright)
        off = (mine - want) / steep + bright * p[..., 9, None]
        parts = [off / self.se, self.usual(p)]
        if len(self.counts):
            outlines = mm[..., n:, :].reshape(*p.shape[:-1], *self.counts.shape, 2)
            round_off = _circle_residuals(outlines, self.counts)
            parts.insert(1, round_off.reshape(*p.shape[:-1], -1))
        return np.concatenate(parts, axis=-1)

    def usual(self, p: Floats) -> Floats:
        usual = np.array([0.0, 0.0, 0.0, 0.0, _HALF_HEIGHT, 0.0])
        sd = np.array([_TILT_SD, _TILT_SD, self.focal_sd, _K1_SD, _HALF_HEIGHT_SD, _BLEED_SD])
        return np.asarray((p[..., [0, 1, 6, 7, 8, 9]] - usual) / sd)

    def cost(self, p: Floats) -> float:
        r = self.residuals(p)
        total = float(_loss(r[:-6]).sum() + (r[-6:] ** 2).sum())
        return total if np.isfinite(total) else np.inf

    def linearised(self, p: Floats) -> tuple[Floats, Floats]:
        """Residuals (n,) and their derivatives (n, 10)."""
        step = 1e-6
        r = self.residuals(p + step * np.eye(len(p) + 1, len(p), -1))
        return r[0], np.asarray((r[1:] - r[0]).T / step)

    def run(self, p: Floats, steps: int) -> Floats:
        damping, cost = 1e-3, self.cost(p)
        for _ in range(steps):
            r, jac = self.linearised(p)
            weighted = jac * _weights(r)[:, None]
            normal, slope = weighted.T @ jac, weighted.T @ r
            for _ in range(6):
                ridge = damping * np.diag(np.diag(normal) + 1e-12)
                trial = p - np.linalg.solve(normal + ridge, slope)
                new = self.cost(trial)
                if new < cost:
                    break
                damping *= 10
            else:
                break
            gain, p, cost = cost - new, trial, new
            damping = max(damping / 10, 1e-9)
            if gain < 1e-5 * (1 + cost):
                break
        return p

    def finish(self, p: Floats) -> Slant:
        r, jac = self.linearised(p)
        weights = _weights(r)
        normal = (jac * weights[:, None]).T @ jac
        covariance = np.linalg.inv(normal)
        chi2 = float((weights * r**2)[: self.n].sum()) / max(self.n - 8, 1)
        covariance = covariance * max(chi2, 1.0)
        # A strip nearer to the camera than the face by its thickness looks longer.
        covariance[5, 5] += (_THICKNESS_SD / np.exp(p[5])) ** 2
        focal, (x, y) = self.camera.focal_px, self.camera.centre_px
        homography = np.array([[focal, 0, x], [0, focal, y], [0, 0, 1.0]])
        homography = homography @ self.camera.homography(p)
        px = r[: self.n] * self.se
        inner = np.abs(r[: self.n]) < 3
        residual = float(np.sqrt(np.mean(px[inner] ** 2))) if inner.any() else np.inf
        return Slant(p, covariance, homography / homography[2, 2], residual, self.camera)


def _circle_residuals(mm: Floats, counts: Floats) -> Floats:
    """Distances of spots' outlines from their best circles, over their standard error.

    Of outlines (..., spots, k, 2) those points count for which `counts` (spots, k) is 1.
    """
    number = counts.sum(axis=-1)
    off = mm - (mm * counts[..., None]).sum(axis=-2, keepdims=True) / number[:, None, None]
    x, y, square = off[..., 0], off[..., 1], (off**2).sum(axis=-1)
    # Kåsa's normal equations about the centroid, where the sums of x and y are none.
    xx, xy, yy = (counts * x * x).sum(-1), (counts * x * y).sum(-1), (counts * y * y).sum(-1)
    xs, ys = (counts * x * square).sum(-1), (counts * y * square).sum(-1)
    det = xx * yy - xy**2
    a, b = (yy * xs - xy * ys) / det / 2, (xx * ys - xy * xs) / det / 2
    radius = np.sqrt(np.maximum((xx + yy) / number + a**2 + b**2, 1e-9))
    away = np.hypot(x - a[..., None], y - b[..., None]) / radius[..., None] - 1
    return np.asarray(away * counts / (_SPOT_SE * np.sqrt(number / _SPOT_READINGS))[:, None])


def _loss(r: Floats) -> Floats:
    return np.asarray(_CAUCHY**2 * np.log1p((r / _CAUCHY) ** 2))


def _weights(r: Floats) -> Floats:
    w = 1 / (1 + (r / _CAUCHY) ** 2)
    w[-6:] = 1.0
    return np.asarray(w)
