"""Which rectangle it is that is seen at a slant, and which way up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from groupscan.photo.plane import Floats
from groupscan.sheets.catalogue import Sheet

__all__ = ["Shape", "tell_shape", "turned_to"]

#: Focal lengths of phones, as shares of the photo's diagonal: from about 20 to 42 mm on a frame
#: of 43.27 mm diagonal lie two thirds of them (common practice, no source); and how well a photo
#: that tells its focal length does so.
_FOCAL, _FOCAL_SPREAD, _FOCAL_TOLD = 29.0 / 43.27, 0.37, 0.05
#: How far curl makes a sheet's sides err in the ratio of their lengths, and from square.
_RATIO_SD, _SQUARE_SD = 0.012, 0.012


@dataclass(frozen=True)
class Shape:
    """A sheet that an outline may be.

    Attributes
    ----------
    sheet : Sheet
    lying : bool
        Whether the outline's first side is the sheet's height.
    log_evidence : float
        Natural logarithm of the probability density of the outline, were it this sheet.
    misfit : float
        Chi-square of the best camera: side ratio, squareness and focal length.
    """

    sheet: Sheet
    lying: bool
    log_evidence: float
    misfit: float

    def log_odds(self, other: Shape) -> float:
        """Natural logarithm of the odds against another sheet."""
        return self.log_evidence - other.log_evidence


def tell_shape(
    corners_px: Floats,
    sheets: Sequence[Sheet],
    *,
    size: tuple[int, int],
    focal_px: float | None,
) -> list[Shape]:
    """Weigh which sheet an outline is, likeliest first, each once.

    Parameters
    ----------
    corners_px : (4, 2) array, px
        Clockwise as seen in the photo.
    sheets : sequence of Sheet
        Those that it may be.
    size : (int, int)
        Width and height of the photo, px.
    focal_px : float or None
        As the photo tells it.

    Returns
    -------
    list of Shape

    Notes
    -----
    A camera of focal length f sees a rectangle's sides as two directions; they are square to one
    another and have the true ratio of lengths only for the right f (Zhang and He 2007). Where f is
    not told, it is summed over what phones have; a sheet seen square on needs none.

    References
    ----------
    Z. Zhang and L.-W. He, "Whiteboard scanning and image enhancement", *Digital Signal
    Processing* 17 (2007) 414-432, doi 10.1016/j.dsp.2006.05.006.

    Examples
    --------
    >>> from groupscan.sheets.catalogue import get_sheet
    >>> corners = np.array([[100, 100], [520, 100], [520, 694], [100, 694.0]])
    >>> papers = [get_sheet("plain-letter"), get_sheet("plain-a4")]
    >>> [s.sheet.id for s in tell_shape(corners, papers, size=(640, 800), focal_px=None)]
    ['plain-a4', 'plain-letter']
    """
    usual = _FOCAL * float(np.hypot(*size)) if focal_px is None else focal_px
    spread = _FOCAL_SPREAD if focal_px is None else _FOCAL_TOLD
    z = np.linspace(-3.0, 3.0, 61)
    focal = usual * np.exp(spread * z)
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    middle = (np.asarray(size, float) - 1) / 2
    h = cv2.getPerspectiveTransform(square, (corners_px - middle).astype(np.float32))
    # Directions of the sides before cameras of every focal length, (2, 3, f).
    sides = np.stack(
        [[h[0, k] / focal, h[1, k] / focal, np.full(len(z), h[2, k])] for k in range(2)]
    )
    length = np.linalg.norm(sides, axis=1)
    cosine = (sides[0] * sides[1]).sum(axis=0) / length.prod(axis=0)
    ratio = np.log(length[0] / length[1])
    found: list[Shape] = []
    for sheet in sheets:
        shapes = []
        for lying in (False, True):
            true = np.log(sheet.width_mm / sheet.height_mm) * (-1 if lying else 1)
            chi2 = ((ratio - true) / _RATIO_SD) ** 2 + (cosine / _SQUARE_SD) ** 2 + z**2
            best = float(chi2.min())
            evidence = -best / 2 + float(np.log(np.exp(-(chi2 - best) / 2).mean()))
            shapes.append(Shape(sheet, lying, evidence, best))
        found.append(max(shapes, key=lambda shape: shape.log_evidence))
    return sorted(found, key=lambda shape: -shape.log_evidence)


def turned_to(corners_px: Floats, shape: Shape) -> tuple[Floats, int, tuple[str, ...]]:
    """Give an outline's corners in the order of the sheet's: the photo's up is the sheet's up.

    Parameters
    ----------
    corners_px : (4, 2) array, px
        Clockwise as seen in the photo.
    shape : Shape

    Returns
    -------
    corners_px : (4, 2) array, px
        Top left, top right, bottom right, bottom left of the sheet.
    first : int
        Which of the corners given is the top left one.
    notes : tuple of str
        Where the sheet lies on its side.
    """
    turns = range(4)
    if shape.sheet.width_mm != shape.sheet.height_mm:
        turns = range(1, 4, 2) if shape.lying else range(0, 4, 2)
    best, most, sine = 0, -np.inf, 0.0
    for k in turns:
        tl, tr, br, bl = np.roll(corners_px, -k, axis=0)
        up = (tl + tr - br - bl) / max(float(np.linalg.norm(tl + tr - br - bl)), 1e-9)
        # On a sheet that lies on its side a hair decides; then the left is up.
        merit = -up[1] - 0.1 * up[0]
        if merit > most:
            best, most, sine = k, merit, float(up[0])
    notes: tuple[str, ...] = ()
    if abs(sine) > np.sin(np.radians(45)):
        where = "left" if sine < 0 else "right"
        notes = (
            f"The paper lies on its side: its top is taken to be on the {where} of the photo. "
            "Turn the photo if another side was up.",
        )
    return np.roll(corners_px, -best, axis=0), best, notes
