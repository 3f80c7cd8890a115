"""Where the camera stands before a plane, and what a plane tells of its focal length."""

from __future__ import annotations

import numpy as np

from groupscan.photo.plane.lens import image_centre
from groupscan.photo.plane.marks_seen import Floats

__all__ = ["DEFAULT_FOCAL", "camera_place", "pose_of", "tell_focal"]

#: Focal length assumed when the photo does not tell, as a share of its diagonal: 26 mm on a
#: frame of 43.27 mm diagonal, the usual main camera of a phone (common practice, no source).
DEFAULT_FOCAL = 26.0 / 43.27
#: How far off that may be, and what a photo's EXIF says, in natural logarithms: zoomed and second
#: cameras lie between 20 and 50 mm; a stabilised or cropped picture is a few per cent off (common
#: practice, no source).
_ASSUMED_SD, _EXIF_SD = 0.35, 0.03
#: How far off the photo's middle a lens's axis may lie, in focal lengths (common practice, no
#: source).
_AXIS_SD = 0.01


def pose_of(
    homography: Floats, focal_px: float, image_size: tuple[int, int]
) -> tuple[Floats, Floats]:
    """Return the rotation (3, 3) and translation (3,), mm, of the sheet before the camera.

    Camera axes: x right, y down, z forward. The first two columns are the closest orthonormal
    pair to those that the homography gives (Zhang 2000, appendix C).
    """
    x, y = image_centre(image_size)
    camera = np.array([[focal_px, 0.0, x], [0.0, focal_px, y], [0.0, 0.0, 1.0]])
    m = np.linalg.inv(camera) @ homography
    scale = (np.linalg.norm(m[:, 0]) + np.linalg.norm(m[:, 1])) / 2
    m = m / scale * np.sign(m[2, 2])
    u, _, vt = np.linalg.svd(np.column_stack([m[:, 0], m[:, 1]]), full_matrices=False)
    first_two = u @ vt
    rotation = np.column_stack([first_two, np.cross(first_two[:, 0], first_two[:, 1])])
    return rotation, m[:, 2]


def camera_place(homography: Floats, focal_px: float, image_size: tuple[int, int]) -> Floats:
    """Return the camera's place in the sheet's axes, z towards the viewer, (3,) mm."""
    rotation, translation = pose_of(homography, focal_px, image_size)
    return np.asarray(-rotation.T @ translation)


def tell_focal(homography: Floats, covariance: Floats, *, exif: bool) -> tuple[float, float]:
    """Estimate a focal length from one plane seen through it.

    Parameters
    ----------
    homography : (3, 3) array
        Sheet to undistorted places, measured from the photo's middle in the focal length assumed;
        last element 1.
    covariance : (8, 8) array
        Of its free elements.
    exif : bool
        Whether the focal length assumed is what the photo's EXIF says.

    Returns
    -------
    log, se : float
        Natural logarithm of the focal length over the one assumed, and its standard error.

    Notes
    -----
    The columns of a homography are two directions at right angles and of one length, seen through
    the camera: two constraints, of which a tilted plane lets the focal length alone meet both.
    They are weighed by the homography's own error and by how far the lens's axis may lie off the
    photo's middle, against what is known before; seen square on they say nothing.

    References
    ----------
    Zhang, Z. (2000). A flexible new technique for camera calibration. IEEE TPAMI 22(11),
    section 3.1.
    """
    prior = _EXIF_SD if exif else _ASSUMED_SD
    logs = np.linspace(-4 * prior, 4 * prior, 65)
    misfit, tilt_sine = _misfit(homography, logs)
    slopes = []
    for i in range(8):
        moved = homography.ravel().copy()
        step = max(float(np.sqrt(covariance[i, i])) / 10, 1e-9)
        moved[i] += step
        slopes.append((_misfit(moved.reshape(3, 3), logs)[0] - misfit) / step)
    slope = np.stack(slopes, axis=-1)
    spread = np.einsum("nik,kl,njl->nij", slope, covariance, slope)
    spread += (_AXIS_SD**2 * (tilt_sine**2 + 1e-6))[:, None, None] * np.eye(2)
    off = np.einsum("ni,nij,nj->n", misfit, np.linalg.inv(spread), misfit)
    weight = -0.5 * (off + (logs / prior) ** 2)
    weight = np.exp(weight - weight.max())
    weight /= weight.sum()
    log = float(weight @ logs)
    return log, float(np.sqrt(weight @ (logs - log) ** 2))


def _misfit(homography: Floats, logs: Floats) -> tuple[Floats, Floats]:
    """How far two columns are from a right angle and from one length, for each focal length."""
    shrink = np.exp(-logs)
    scale = np.stack([shrink, shrink, np.ones_like(shrink)], axis=-1)
    columns = homography[None, :, :2] * scale[:, :, None]
    length = np.linalg.norm(columns, axis=1)
    columns = columns / length[:, None]
    cosine = (columns[:, :, 0] * columns[:, :, 1]).sum(axis=1)
    normal = np.cross(columns[:, :, 0], columns[:, :, 1])
    level = normal[:, 2] ** 2 / (normal**2).sum(axis=1)
    return np.stack([cosine, np.log(length[:, 0] / length[:, 1])], axis=-1), np.sqrt(1 - level)
