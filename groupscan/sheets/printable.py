"""Printable sheets as PDF: true to size, vectors only, the same bytes each time.

The page is the sheet's own shapes and markers, so what is printed is what the hole finder expects.
Printers scale pages to fit unless told not to; the file asks viewers for no scaling, and the check
bar lets the reader confirm it.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from groupscan.errors import SheetError
from groupscan.sheets.catalogue import get_sheet, load_catalogue
from groupscan.sheets.glyphs import font_path, marker_cells, text_advances
from groupscan.sheets.shapes import Disc, Fiducial, Polygon, Shape, Sheet, Stroke, Words

if TYPE_CHECKING:
    from fpdf import FPDF

__all__ = ["printable_ids", "sheet_pdf", "write_sheet_pdf"]

# A fixed date of creation, so that a sheet printed next year has the same bytes as today's.
_CREATED = datetime(2026, 1, 1, tzinfo=UTC)
_POINTS_PER_MM = 72 / 25.4


def printable_ids() -> tuple[str, ...]:
    """Return the ids of the sheets that can be printed.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> printable_ids()[:2]
    ('one-aim-letter', 'one-aim-a4')
    """
    return tuple(sheet.id for sheet in load_catalogue().values() if sheet.kind == "fiducials")


def write_sheet_pdf(sheet_id: str, path: str | Path) -> Path:
    """Write one printable sheet as a PDF of one page.

    Parameters
    ----------
    sheet_id : str
        One of `printable_ids`.
    path : str or Path
        The file to write; an existing file is replaced.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    SheetError
        If the sheet is unknown or not a printable one, or the file cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = write_sheet_pdf("one-aim-a4", Path(folder, "aim.pdf"))
    ...     file.read_bytes()[:5]
    b'%PDF-'
    """
    data = sheet_pdf(get_sheet(sheet_id))
    path = Path(path)
    try:
        path.write_bytes(data)
    except OSError as err:
        reason = err.strerror or str(err)
        raise SheetError(f"{path}: the sheet cannot be written ({reason}); check it") from err
    return path


def sheet_pdf(sheet: Sheet) -> bytes:
    """Return one printable sheet as the bytes of a PDF of one page.

    Parameters
    ----------
    sheet : Sheet
        A sheet with fiducial markers.

    Returns
    -------
    bytes
        The same bytes each time.

    Raises
    ------
    SheetError
        If the sheet has no markers, and so would have no scale in a photo.
    """
    if not sheet.fiducials:
        known = ", ".join(printable_ids())
        raise SheetError(f'sheet "{sheet.id}" is not a printable one; use one of {known}')
    from fpdf import FPDF
    from fpdf.prefs import ViewerPreferences

    pdf = FPDF(unit="mm", format=(sheet.width_mm, sheet.height_mm))
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    pdf.set_creation_date(_CREATED)
    pdf.set_title(f"{sheet.title} ({sheet.id})")
    pdf.set_lang("en")
    pdf.viewer_preferences = ViewerPreferences(print_scaling="None")
    pdf.add_font("sheet", "", str(font_path()))
    pdf.add_font("sheet", "B", str(font_path(bold=True)))
    pdf.add_page()
    press = _Press(pdf, sheet)
    for shape in sheet.shapes:
        press.shape(shape)
    for marker in sheet.fiducials:
        press.marker(marker)
    return bytes(pdf.output())


class _Press:
    """Puts shapes in sheet coordinates on a PDF page, which has y down from its top left."""

    def __init__(self, pdf: FPDF, sheet: Sheet) -> None:
        self.pdf = pdf
        self.half_w, self.half_h = sheet.width_mm / 2, sheet.height_mm / 2

    def at(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        return self.half_w + x_mm, self.half_h - y_mm

    def fill(self, colour: str) -> None:
        self.pdf.set_fill_color(*(int(colour[k : k + 2], 16) for k in (1, 3, 5)))

    def shape(self, shape: Shape) -> None:
        if isinstance(shape, Disc):
            self.disc(shape)
        elif isinstance(shape, Stroke):
            self.stroke(shape)
        elif isinstance(shape, Polygon):
            self.polygon(shape.corners_mm, shape.fill)
        else:
            self.words(shape)

    def disc(self, disc: Disc) -> None:
        x, y = self.at(disc.x_mm, disc.y_mm)
        if disc.fill:
            self.fill(disc.fill)
            self.pdf.circle(x, y, disc.radius_mm, style="F")
        if disc.line:
            self.pdf.set_draw_color(*(int(disc.line[k : k + 2], 16) for k in (1, 3, 5)))
            self.pdf.set_line_width(disc.line_width_mm)
            self.pdf.circle(x, y, disc.radius_mm - disc.line_width_mm / 2, style="D")

    def polygon(self, corners: tuple[tuple[float, float], ...], colour: str) -> None:
        self.fill(colour)
        self.pdf.polygon([self.at(x, y) for x, y in corners], style="F")

    def stroke(self, stroke: Stroke) -> None:
        # A filled bar, because a drawn line would get caps that lengthen it.
        dx, dy = stroke.x1_mm - stroke.x0_mm, stroke.y1_mm - stroke.y0_mm
        length = math.hypot(dx, dy)
        if length == 0:
            return
        ax, ay = -dy / length * stroke.width_mm / 2, dx / length * stroke.width_mm / 2
        corners = (
            (stroke.x0_mm + ax, stroke.y0_mm + ay),
            (stroke.x1_mm + ax, stroke.y1_mm + ay),
            (stroke.x1_mm - ax, stroke.y1_mm - ay),
            (stroke.x0_mm - ax, stroke.y0_mm - ay),
        )
        self.polygon(corners, stroke.colour)

    def words(self, words: Words) -> None:
        x, y = self.at(words.x_mm, words.y_mm)
        width = sum(text_advances(words.text, bold=words.bold)) * words.size_mm
        x -= {"left": 0.0, "middle": 0.5, "right": 1.0}[words.anchor] * width
        self.pdf.set_font("sheet", "B" if words.bold else "", words.size_mm * _POINTS_PER_MM)
        self.pdf.set_text_color(*(int(words.colour[k : k + 2], 16) for k in (1, 3, 5)))
        self.pdf.text(x, y, words.text)

    def marker(self, marker: Fiducial) -> None:
        """Draw a marker as one path: rectangles side by side would leave hairlines."""
        cells = marker_cells(marker.marker_id)
        left, top = self.at(*marker.corners_mm[0])
        cell = marker.side_mm / len(cells)
        with self.pdf.new_path() as path:
            path.style.fill_color = "#000000"
            path.style.stroke_color = None
            path.style.intersection_rule = "evenodd"
            for loop in _outlines(cells):
                path.move_to(left + loop[0][0] * cell, top + loop[0][1] * cell)
                for column, row in loop[1:]:
                    path.line_to(left + column * cell, top + row * cell)
                path.close()


def _outlines(cells: NDArray[np.bool_]) -> list[list[tuple[int, int]]]:
    """Trace the closed outlines of the black cells along the grid, as (column, row) corners."""
    padded = np.pad(cells, 1)
    steps: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for row, column in zip(*np.nonzero(cells), strict=True):
        r, c = int(row), int(column)
        # Clockwise round each black cell; a side shared by two black cells is left out.
        sides = (
            (padded[r, c + 1], (c, r), (c + 1, r)),
            (padded[r + 1, c + 2], (c + 1, r), (c + 1, r + 1)),
            (padded[r + 2, c + 1], (c + 1, r + 1), (c, r + 1)),
            (padded[r + 1, c], (c, r + 1), (c, r)),
        )
        for shared, start, end in sides:
            if not shared:
                steps.setdefault(start, []).append(end)
    loops = []
    while steps:
        start = next(iter(steps))
        loop, here = [start], start
        while True:
            ends = steps[here]
            nxt = ends.pop()
            if not ends:
                del steps[here]
            if nxt == start:
                break
            loop.append(nxt)
            here = nxt
        loops.append(loop)
    return loops
