"""Levels between pixels: against SciPy's interpolation of the same picture."""

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from groupscan.photo.pixels import read_at

PICTURE = np.random.default_rng(0).uniform(0, 1, (40, 60, 3)).astype(np.float32)


@pytest.mark.parametrize("shape", [(7,), (5, 6), (3, 4, 5), (40_000, 2), (0,), (0, 5)])
def test_levels_are_those_that_scipy_reads(shape):
    # Whole 32nds of a pixel, to which OpenCV takes places; some lie beyond the rim.
    at = np.random.default_rng(1).integers(-96, 32 * 62, (*shape, 2)) / 32
    seen = read_at(PICTURE, at)
    assert seen.shape == (*shape, 3)
    for channel in range(3):
        told = map_coordinates(
            PICTURE[..., channel], [at[..., 1], at[..., 0]], order=1, mode="nearest"
        )
        np.testing.assert_allclose(seen[..., channel], told, atol=1e-5)


def test_a_grey_picture_has_one_level_a_place():
    grey = (255 * PICTURE[..., 0]).astype(np.uint8)
    seen = read_at(grey, np.array([[3.0, 4.0], [59.0, 39.0]]))
    assert seen.dtype == np.uint8
    assert seen.tolist() == [grey[4, 3], grey[39, 59]]
