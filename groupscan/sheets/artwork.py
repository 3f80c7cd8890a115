"""What a sheet looks like square on: the expected artwork, as a picture.

Edges are anti-aliased by covered area, and mixed in linear light as a lens mixes them, so that a
thin line keeps its place and its weight at any scale.
"""

from __future__ import annotations

from groupscan.errors import SheetError
from groupscan.sheets.canvas import Canvas, Picture, artwork_homography
from groupscan.sheets.shapes import Sheet

__all__ = ["artwork_homography", "draw_artwork"]

_LARGEST_PIXELS = 200_000_000


def draw_artwork(sheet: Sheet, *, px_per_mm: float) -> Picture:
    """Draw a sheet square on.

    Parameters
    ----------
    sheet : Sheet
        Any sheet with a known size.
    px_per_mm : float
        Pixels per millimetre.

    Returns
    -------
    (h, w, 3) uint8 array
        RGB. The pixel (0, 0) touches the top left corner of the paper; `artwork_homography` says
        where every sheet coordinate lies.

    Raises
    ------
    SheetError
        If the sheet's size is not known, or the picture would be absurdly large or empty.

    Examples
    --------
    >>> from groupscan.sheets.catalogue import get_sheet
    >>> picture = draw_artwork(get_sheet("ring-40"), px_per_mm=0.5)
    >>> picture.shape, picture[107, 114].tolist()
    ((215, 215, 3), [251, 224, 51])
    """
    if sheet.width_mm == 0 or sheet.height_mm == 0:
        raise SheetError(
            f'sheet "{sheet.id}" has no known size, so it has no artwork; choose another sheet'
        )
    if not px_per_mm > 0:
        raise SheetError(f"px_per_mm must be more than 0, got {px_per_mm!r}")
    width, height = round(sheet.width_mm * px_per_mm), round(sheet.height_mm * px_per_mm)
    if not 0 < width * height <= _LARGEST_PIXELS:
        raise SheetError(
            f'sheet "{sheet.id}" at {px_per_mm:g} px/mm would have {width} x {height} pixels; '
            "choose another px_per_mm"
        )
    canvas = Canvas(sheet, width, height, px_per_mm)
    if sheet.rings:
        canvas.rings(sheet)
    if sheet.grid_mm is not None:
        canvas.grid(sheet, sheet.grid_mm)
    for shape in sheet.shapes:
        canvas.shape(shape)
    for marker in sheet.fiducials:
        canvas.marker(marker)
    return canvas.picture
