"""Markers and letters: what the printed page and the expected artwork must share to the hair."""

from __future__ import annotations

from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.errors import SheetError
from groupscan.sheets.shapes import FIDUCIAL_DICTIONARY

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont

__all__ = ["font_of_size", "font_path", "marker_cells", "text_advances"]


def marker_cells(marker_id: int) -> NDArray[np.bool_]:
    """Return the cells of one marker, True where black, its border included.

    Parameters
    ----------
    marker_id : int
        Index in the fiducial dictionary.

    Returns
    -------
    (8, 8) bool array
        Row 0 is the top.

    Examples
    --------
    >>> cells = marker_cells(0)
    >>> cells.shape, bool(cells[0].all())
    ((8, 8), True)
    """
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, FIDUCIAL_DICTIONARY))
    side = dictionary.markerSize + 2
    picture = cv2.aruco.generateImageMarker(dictionary, marker_id, side, borderBits=1)
    return np.asarray(picture) < 128


def font_path(*, bold: bool = False) -> Path:
    """Return the font of all print: DejaVu Sans, which Matplotlib ships.

    Parameters
    ----------
    bold : bool
        The bold cut.

    Returns
    -------
    Path

    Raises
    ------
    SheetError
        If Matplotlib is not installed.

    Examples
    --------
    >>> font_path().name
    'DejaVuSans.ttf'
    """
    # Importing Matplotlib for a path alone would cost every scan most of a second.
    spec = find_spec("matplotlib")
    if spec is None or spec.origin is None:
        raise SheetError("the font DejaVu Sans is missing; install matplotlib, which ships it")
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf" / name


def text_advances(text: str, *, bold: bool = False) -> list[float]:
    """Return the width of every character, in em, without kerning.

    Parameters
    ----------
    text : str
    bold : bool

    Returns
    -------
    list of float

    Examples
    --------
    >>> text_advances("ii") == [text_advances("i")[0]] * 2
    True
    """
    font = font_of_size(2048, bold)
    return [font.getlength(character) / 2048 for character in text]


@lru_cache(maxsize=16)
def font_of_size(size: int, bold: bool) -> FreeTypeFont:
    """Return the font at a size in whole pixels."""
    from PIL import ImageFont

    return ImageFont.truetype(str(font_path(bold=bold)), size, layout_engine=ImageFont.Layout.BASIC)
