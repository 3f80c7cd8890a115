"""A picture's levels at places between its pixels."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["read_at"]

#: `cv2.remap` takes fewer than 32768 rows and columns.
_MOST, _COLUMNS = 32767, 4096


def read_at(picture: NDArray[Any], px: NDArray[Any]) -> NDArray[Any]:
    """Read a picture at any places, bilinear, its rim carried on beyond it.

    Parameters
    ----------
    picture : (h, w) or (h, w, channels) array
    px : (..., 2) array
        Places, px; they are taken to the next 32nd of a pixel.

    Returns
    -------
    (...) or (..., channels) array
        Of the picture's own type.

    Examples
    --------
    >>> picture = np.array([[0, 10], [20, 30]], np.uint8)
    >>> read_at(picture, np.array([[0.0, 0.0], [0.5, 0.5], [9.0, 0.0]])).tolist()
    [0, 15, 10]
    """
    maps = np.asarray(px, np.float32)
    shape = maps.shape[:-1]
    if len(shape) != 2 or max(shape) > _MOST or min(shape) == 0:
        flat = maps.reshape(-1, 2)
        maps = np.zeros((-(-len(flat) // _COLUMNS) * _COLUMNS, 2), np.float32)
        maps[: len(flat)] = flat
        maps = maps.reshape(-1, _COLUMNS, 2)
    if not len(maps):
        return np.zeros((*shape, *picture.shape[2:]), picture.dtype)
    one: Any = None  # both coordinates are in the first map
    maps = np.ascontiguousarray(maps)
    seen = cv2.remap(picture, maps, one, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    seen = np.asarray(seen).reshape(-1, *picture.shape[2:])[: int(np.prod(shape))]
    return seen.reshape(*shape, *picture.shape[2:])
