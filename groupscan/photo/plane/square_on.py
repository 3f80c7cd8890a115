"""A plane from two points a known length apart, the sheet taken to be square on."""

from __future__ import annotations

import numpy as np

from groupscan.errors import MarksError
from groupscan.photo.plane.marks_seen import Floats, Marks
from groupscan.photo.plane.sheet_plane import Plane

__all__ = ["square_on"]

#: How far a photo that is meant to be square on leans about either axis, radians: of phones held
#: by hand nineteen in twenty lean by less than 25 degrees in all (common practice, no source).
_LEAN = np.radians(10.0)


def square_on(marks: Marks, image_size: tuple[int, int], focal: float) -> Plane:
    """Return the plane of two points, the sheet taken to be square on, the photo's up its up.

    Parameters
    ----------
    marks : Marks
        Two points.
    image_size : (int, int)
    focal : float
        Focal length, px: how fast a leaning sheet recedes depends on it.

    Returns
    -------
    Plane

    Raises
    ------
    MarksError
        If the points coincide.

    Notes
    -----
    The length is right where it was marked, however the sheet leans. Away from it a lean that
    nobody can see changes the scale in two ways, and both are in the covariance: in proportion to
    the distance, since the sheet comes nearer or recedes, and by a share of the square of the
    lean, since one direction is foreshortened more than the other.
    """
    mm, px = marks.points_mm, marks.points_px
    along, seen = mm[1] - mm[0], px[1] - px[0]
    length_mm, length_px = float(np.linalg.norm(along)), float(np.linalg.norm(seen))
    if length_mm <= 0 or length_px <= 0:
        msg = "the two points of the known length coincide: mark its two ends"
        raise MarksError(msg)
    # Unit vectors along the length and across, on the sheet (y up) and in the photo (y down).
    own = np.array([along, [-along[1], along[0]]]) / length_mm
    photo = np.array([seen, [seen[1], -seen[0]]]) / length_px
    scale, middle_mm, middle_px = length_px / length_mm, mm.mean(axis=0), px.mean(axis=0)

    def homography(q: Floats) -> Floats:
        """With errors of scale and turn, of both shifts, and of the lean's four effects."""
        grow, turn, right, down, across, shear, along_lean, across_lean = q
        inner = scale * np.array([[1 + grow, shear - turn], [turn, 1 + grow + across]])
        # Both ends of the length stay where they were marked, whatever the lean.
        shift = np.array([right, down])
        shift = shift + scale * along_lean * (length_mm / 2) ** 2 * photo[0]
        centre = middle_px + shift
        lean = own.T @ [along_lean, across_lean]
        h = np.eye(3)
        h[:2, :2] = photo.T @ inner @ own + np.outer(centre, lean)
        h[:2, 2], h[2, :2] = centre, lean
        about = np.eye(3)
        about[:2, 2] = -middle_mm
        h = h @ about
        return np.asarray(h / h[2, 2])

    by_ends = float(np.sqrt((marks.points_se_px**2).sum())) / length_px
    by_end = float(np.sqrt((marks.points_se_px**2).mean() / 2))
    recede = np.tan(_LEAN) / (focal / scale)
    errors = np.array([by_ends, by_ends, by_end, by_end, _LEAN**2, _LEAN**2, recede, recede])
    best = homography(np.zeros(8))
    steps = np.diag(errors) * 1e-3
    moved = np.array([(homography(step) - best).ravel() for step in steps]) * 1e3
    covariance = np.zeros((9, 9))
    covariance[:8, :8] = moved[:, :8].T @ moved[:, :8]
    return Plane(best, 0.0, focal, image_size, covariance, 0.0, 1.0, 0.0, marks.source, marks.notes)
