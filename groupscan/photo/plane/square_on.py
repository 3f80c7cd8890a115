"""A plane from two points a known length apart, the sheet taken to be square on."""

from __future__ import annotations

import numpy as np

from groupscan.errors import MarksError
from groupscan.photo.plane.marks_seen import Marks
from groupscan.photo.plane.sheet_plane import Plane

__all__ = ["square_on"]

#: Scale error of a sheet taken to be square on, as a share: a photo held square by eye is tilted
#: by some 8 degrees, and 1 - cos 10 degrees is 1.5 % (common practice, no source).
_UNSEEN_TILT = 0.015


def square_on(marks: Marks, image_size: tuple[int, int], focal: float) -> Plane:
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
