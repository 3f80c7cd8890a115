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
    # The first as it is, the others with one element moved.
    moved = np.tile(homography.ravel(), (9, 1))
    steps = np.maximum(np.sqrt(np.diag(covariance)) / 10, 1e-9)
    moved[np.arange(1, 9), np.arange(8)] += steps
    misfits, tilt_sines = _misfit(moved.reshape(9, 3, 3), logs)
    misfit, tilt_sine = misfits[0], tilt_sines[0]
    slope = np.moveaxis((misfits[1:] - misfit) / steps[:, None, None], 0, -1)
    spread = slope @ covariance @ slope.transpose(0, 2, 1)
    spread += (_AXIS_SD**2 * (tilt_sine**2 + 1e-6))[:, None, None] * np.eye(2)
    off = (misfit * np.linalg.solve(spread, misfit[..., None])[..., 0]).sum(axis=1)
    weight = -0.5 * (off + (logs / prior) ** 2)
    weight = np.exp(weight - weight.max())
    weight /= weight.sum()
    log = float(weight @ logs)
    return log, float(np.sqrt(weight @ (logs - log) ** 2))


def _misfit(homographies: Floats, logs: Floats) -> tuple[Floats, Floats]:
    """How far two columns are from a right angle and from one length, for each focal length.

    Returns (h, n, 2) for h homographies and n focal lengths, and the sines of their tilts.
    """
    shrink = np.exp(-logs)
    (x1, x2), (y1, y2), (z1, z2) = homographies[:, :, :2].transpose(1, 2, 0)[..., None]
    x1, x2, y1, y2 = x1 * shrink, x2 * shrink, y1 * shrink, y2 * shrink
    long1, long2 = (np.sqrt(x**2 + y**2 + z**2) for x, y, z in ((x1, y1, z1), (x2, y2, z2)))
    cosine = (x1 * x2 + y1 * y2 + z1 * z2) / (long1 * long2)
    across = (y1 * z2 - z1 * y2) ** 2 + (z1 * x2 - x1 * z2) ** 2
    level = (x1 * y2 - y1 * x2) ** 2
    sine = np.sqrt(across / (across + level))
    return np.stack([cosine, np.log(long1 / long2)], axis=-1), sine
