"""A photo of the same sheet at any rotation gives the same millimetres."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from groupscan.photo.plane import fit_plane
from groupscan.photo.reading import Photo
from groupscan.photo.scan import _find_marks
from groupscan.sheets.catalogue import get_sheet

#: A sample of each kind, and by which turns its sheet looks the same, degrees.
KINDS = {
    "01_face80_overcast": ("ring-80", 90),
    "06_letter_plain": ("plain-letter", 180),
    "07_one_aim_square_on": ("one-aim-letter", 360),
    "13_grid_sun_and_shadow": ("inch-grid", 90),
    "14_foam_face_strip": ("known-length", 0),
}


def turned(rgb: np.ndarray, degrees: float) -> tuple[np.ndarray, np.ndarray]:
    """Turn a picture and let its canvas grow; and the map of its pixels, (2, 3)."""
    if degrees % 90 == 0:
        quarter = int(degrees // 90) % 4
        out = np.ascontiguousarray(np.rot90(rgb, quarter))
        h, w = rgb.shape[:2]
        x, y = [
            ((1, 0, 0), (0, 1, 0)),
            ((0, 1, 0), (-1, 0, w - 1)),
            ((-1, 0, w - 1), (0, -1, h - 1)),
            ((0, -1, h - 1), (1, 0, 0)),
        ][quarter]
        return out, np.array([x, y], float)
    h, w = rgb.shape[:2]
    turn = cv2.getRotationMatrix2D(((w - 1) / 2, (h - 1) / 2), degrees, 1.0)
    corners = np.array([[0, 0], [w - 1, 0], [w - 1, h - 1], [0, h - 1.0]]) @ turn[:, :2].T
    size = np.ptp(corners, axis=0)
    turn[:, 2] = size / 2 - turn[:, :2] @ [(w - 1) / 2, (h - 1) / 2]
    whole = (int(size[0]) + 1, int(size[1]) + 1)
    out = cv2.warpAffine(rgb, turn, whole, flags=cv2.INTER_CUBIC, borderValue=(96, 104, 88))
    return np.asarray(out), turn


@pytest.mark.parametrize("degrees", [90, 180, 270, 12, -33])
@pytest.mark.parametrize("name", KINDS)
def test_a_turned_photo_gives_the_same_millimetres(samples, name, degrees) -> None:
    sheet_id, alike = KINDS[name]
    sheet = get_sheet(sheet_id)
    photo = samples.photo(name)
    # A canvas that grows must not change what camera it seems to be.
    photo = replace(photo, focal_px=photo.focal_px or 0.7 * float(np.hypot(*photo.size)))
    marks, _ = _find_marks(photo, sheet, None)
    plane = fit_plane(marks, image_size=photo.size, focal_px=photo.focal_px)
    rgb, turn = turned(photo.rgb, degrees)
    other = Photo("turned", rgb, focal_px=photo.focal_px)
    marks, _ = _find_marks(other, sheet, None)
    again = fit_plane(marks, image_size=other.size, focal_px=photo.focal_px)
    # Places near the middle of the sheet (of a strip: about it), seen in both photos.
    reach = 0.3 * (sheet.width_mm or 400.0)
    x, y = np.meshgrid(np.linspace(-reach, reach, 5), np.linspace(-reach, reach, 5))
    mm = np.column_stack([x.ravel(), y.ravel()])
    there = again.to_mm(plane.to_px(mm) @ turn[:, :2].T + turn[:, 2])
    there -= there.mean(axis=0)
    # The turn between the two readings is one that the sheet allows; all else is the same.
    a, b = mm @ [1, 1j], there @ [1, 1j]
    factor = np.vdot(a, b) / np.vdot(a, a)
    assert abs(abs(factor) - 1) < 0.003
    assert np.abs(b - factor * a).max() < 0.8
    angle = np.degrees(np.angle(factor))
    if alike and (degrees % 90 == 0 or alike == 360 or sheet_id in ("plain-letter", "inch-grid")):
        off = (angle + alike / 2) % alike - alike / 2
        assert abs(off) < 0.3
