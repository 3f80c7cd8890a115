"""A real photograph with known geometry: coins, whose outlines another library has measured.

The picture is `skimage.data.coins`, 24 antique coins (Brooklyn Museum) on a dark ground under
uneven light, taken by others for another purpose. Its negative shows dark, round, slightly ragged
discs on a light ground: what holes look like, with a lens, a sensor and light that no renderer of
ours had a hand in. The truth is scikit-image's own: the watershed of its user guide ("Comparing
edge-based and region-based segmentation"), and a circle by least squares through each outline.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from scipy import ndimage
from skimage import data, filters, measure, segmentation

from groupscan.photo.expected import flatten
from groupscan.photo.holes import Hole, find_holes
from groupscan.photo.plane import Marks, fit_plane
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import get_sheet

#: Coins are given the size of holes by this scale: 5.2 to 8.8 mm wide.
MM_PER_PX = 0.14
ENLARGED = 3  # a hole of a phone's photo is some 50 to 100 pixels wide


@pytest.fixture(scope="module")
def coins() -> np.ndarray:
    return np.asarray(data.coins())


@pytest.fixture(scope="module")
def circles(coins) -> np.ndarray:
    """Centre and radius of each coin by scikit-image, (24, 3) px."""
    markers = np.where(coins < 30, 1, np.where(coins > 150, 2, 0))
    whole = ndimage.binary_fill_holes(segmentation.watershed(filters.sobel(coins), markers) - 1)
    labels, count = ndimage.label(whole)
    fits = []
    for label in range(1, count + 1):
        one = labels == label
        if one.sum() > 500:
            edge = measure.find_contours(np.pad(one, 1).astype(float), 0.5)[0][:, ::-1] - 1
            # Kasa's circle: linear least squares in centre and radius.
            design = np.column_stack([2 * edge, np.ones(len(edge))])
            a, b, c = np.linalg.lstsq(design, (edge**2).sum(axis=1), rcond=None)[0]
            fits.append((a, b, np.sqrt(c + a * a + b * b)))
    return np.array(fits)


@pytest.fixture(scope="module")
def holes(coins) -> list[Hole]:
    """What the finder takes the negative's dark discs for; places in mm from the left top."""
    height, width = coins.shape
    negative = np.repeat((255 - coins)[:, :, None], 3, axis=2)
    size = (width * ENLARGED, height * ENLARGED)
    photo = Photo("coins", cv2.resize(negative, size, interpolation=cv2.INTER_CUBIC))
    w, h = width * MM_PER_PX, height * MM_PER_PX
    mm = np.array([[-w, h], [w, h], [w, -h], [-w, -h]]) / 2
    px = np.array([[0, 0], [size[0], 0], size, [0, size[1]]], float) - 0.5
    marks = Marks("corners", points_mm=mm, points_px=px, points_se_px=np.full(4, 0.1))
    plane = fit_plane(marks, image_size=photo.size, lens=False)
    # Plain, and of a kind that nobody draws on: so close together, coins might be a drawing.
    sheet = replace(get_sheet("one-aim-letter"), fiducials=(), shapes=(), width_mm=w, height_mm=h)
    return find_holes(photo, plane, flatten(photo, plane, sheet))


def test_there_are_24_coins(circles) -> None:
    assert len(circles) == 24


def test_coins_are_found_and_nothing_else(coins, circles, holes) -> None:
    at = np.array([[h.x_px, h.y_px] for h in holes])
    at = (at + 0.5) / ENLARGED - 0.5
    away = np.hypot(*(circles[:, None, :2] - at[None]).transpose(2, 0, 1))
    nearest, off = away.argmin(axis=1), away.min(axis=1)
    seen = off < 5.0
    assert seen.sum() >= 22
    assert (away.min(axis=0) < 5.0).all()  # no find that is no coin
    assert off[seen].max() * MM_PER_PX < 0.15
    wide = np.array([holes[j].diameter_mm for j in nearest[seen]])
    ratio = wide / (2 * circles[seen, 2] * MM_PER_PX)
    assert np.abs(ratio - 1).max() < 0.06
    assert np.median(ratio) == pytest.approx(1.0, abs=0.03)
    # The coins are no rounder than paper is torn: the stated errors hold the disagreement.
    se = np.array([holes[j].se_mm for j in nearest[seen]])
    assert (off[seen] * MM_PER_PX < 2 * se).all()
