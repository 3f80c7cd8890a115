"""Pages of the rig bench to print: a movable sight's scale, true to size, and a range card.

Printers scale pages to fit unless told not to. The files ask viewers for no scaling, and a bar of
100 mm lets the reader confirm it before the scale goes on a bow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.errors import RigError
from groupscan.sheets.glyphs import font_path, text_advances

if TYPE_CHECKING:
    from fpdf import FPDF

__all__ = [
    "CHECK_BAR_MM",
    "Paper",
    "ScalePage",
    "near_marks_note",
    "range_card_pdf",
    "scale_page",
    "sight_scale_pdf",
]

Paper = Literal["a4", "letter"]
_PAPERS: Final = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
# A fixed date of creation, so that the same scale has the same bytes.
_CREATED: Final = datetime(2026, 1, 1, tzinfo=UTC)
_POINTS_PER_MM: Final = 72 / 25.4

CHECK_BAR_MM: Final = 100.0
_MARGIN_MM: Final = 15.0
_TOP_MM: Final = 52.0
_LINE_MM: Final = 0.2
_BAR_MM: Final = 0.3
_WORDS_MM: Final = 2.6
# Labels of one side closer than this would touch: the less round one is left out.
_APART_MM: Final = 2.8
# Marks reach from the middle line to the right where round distances are labelled, to the left
# where others are, and a little to both sides without a label.
_LONG_MM: Final = 9.0
_SHORT_MM: Final = 2.0
_HALF_STRIP_MM: Final = 18.0
_MOST_MARKS: Final = 400


@dataclass(frozen=True)
class ScalePage:
    """Where everything stands on the page of a scale, mm from its top left.

    Attributes
    ----------
    size_mm : (float, float)
        Width and height of the page.
    mark_left_mm, mark_right_mm : (n,) array
        Ends of each mark.
    mark_y_mm : (n,) array
        Middle of each mark.
    labels : tuple of (str, float, float)
        Text, left end and base line.
    middle_mm : float
        Of the scale, from the left.
    bar_mm : (float, float, float)
        Left end, right end and height of the check bar, which has a tick at either end.
    reference_y_mm : float
        Middle of the reference mark.
    """

    size_mm: tuple[float, float]
    mark_left_mm: NDArray[np.float64]
    mark_right_mm: NDArray[np.float64]
    mark_y_mm: NDArray[np.float64]
    labels: tuple[tuple[str, float, float], ...]
    middle_mm: float
    bar_mm: tuple[float, float, float]
    reference_y_mm: float


def scale_page(mark_mm: ArrayLike, labels: Sequence[str], *, paper: Paper = "a4") -> ScalePage:
    """Return where the marks of a scale stand on its page.

    Parameters
    ----------
    mark_mm : (n,) array_like
        How far below the reference mark; negative is above.
    labels : sequence of str
        What stands beside each mark.
    paper : {'a4', 'letter'}

    Raises
    ------
    RigError
        If there is no mark, too many, or they do not fit on the page.

    Examples
    --------
    >>> page = scale_page([0.0, 3.7, 8.0], ["20", "30", "40"])
    >>> (page.mark_y_mm - page.reference_y_mm).round(6).tolist()
    [0.0, 3.7, 8.0]
    """
    mark = np.atleast_1d(np.asarray(mark_mm, float))
    if mark.ndim != 1 or not 0 < mark.size <= _MOST_MARKS or mark.size != len(labels):
        raise RigError(
            f"a scale has 1 to {_MOST_MARKS} marks and a label for each; it has {mark.size} and"
            f" {len(labels)}"
        )
    if not np.isfinite(mark).all():
        raise RigError("a mark of the scale is not finite: check the distances")
    width, height = _PAPERS[paper]
    room = height - _TOP_MM - _MARGIN_MM
    top, bottom = min(0.0, float(mark.min())), max(0.0, float(mark.max()))
    if bottom - top > room:
        raise RigError(
            f"the scale is {bottom - top:.0f} mm long and the page has room for {room:.0f} mm: mark"
            " a shorter range of distances"
        )
    reference = _TOP_MM - top
    middle = _MARGIN_MM + _HALF_STRIP_MM
    left, right = np.full(mark.shape, middle), np.full(mark.shape, middle)
    sides: dict[bool, list[float]] = {True: [], False: []}
    found = []
    for place in sorted(range(mark.size), key=lambda i: (_roundness(labels[i]), mark[i])):
        y = reference + float(mark[place])
        round_one = _roundness(labels[place]) == 0
        if any(abs(y - other) < _APART_MM for other in sides[round_one]):
            left[place] -= _SHORT_MM
            right[place] += _SHORT_MM
            continue
        sides[round_one].append(y)
        base = y + 0.36 * _WORDS_MM
        if round_one:
            right[place] += _LONG_MM
            found.append((labels[place], middle + _LONG_MM + 1, base))
        else:
            left[place] -= _LONG_MM
            width_mm = sum(text_advances(labels[place])) * _WORDS_MM
            found.append((labels[place], middle - _LONG_MM - 1 - width_mm, base))
    return ScalePage(
        (width, height),
        left,
        right,
        reference + mark,
        tuple(found),
        middle,
        (_MARGIN_MM, _MARGIN_MM + CHECK_BAR_MM, _TOP_MM - 14),
        reference,
    )


def near_marks_note(turning: str) -> str:
    """Return what to know of marks nearer than the highest one, whose distance is given in words.

    Examples
    --------
    >>> near_marks_note("9 m").split(":")[0]
    'Nearer than 9 m the pin goes down again'
    """
    return (
        f"Nearer than {turning} the pin goes down again: marks there stand beside others, and count"
        " for the near distance only."
    )


def sight_scale_pdf(
    mark_mm: ArrayLike,
    labels: Sequence[str],
    *,
    title: str,
    words: Sequence[str] = (),
    paper: Paper = "a4",
) -> bytes:
    """Return a movable sight's scale as the bytes of a PDF of one page, true to size.

    Parameters
    ----------
    mark_mm, labels, paper
        As for `scale_page`.
    title : str
        What the scale is of.
    words : sequence of str
        Lines under the title: what the scale rests on, and cautions. Long ones wrap; what does not
        fit above the scale is put beside it.

    Raises
    ------
    RigError
        As `scale_page`.
    """
    page = scale_page(mark_mm, labels, paper=paper)
    pdf = _page(page.size_mm, title)
    _heading(pdf, title)
    left, right, y = page.bar_mm
    _bar(pdf, left, y - _BAR_MM / 2, right - left, _BAR_MM)
    for end in (left, right):
        _bar(pdf, end - _BAR_MM / 2, y - 2, _BAR_MM, 4)
    _text(pdf, f"{CHECK_BAR_MM:.0f} mm between the ticks: measure this before use", left, y + 6)
    top = min(page.mark_y_mm.min(), page.reference_y_mm)
    length = max(page.mark_y_mm.max(), page.reference_y_mm) - top
    pdf.set_draw_color(170)
    pdf.set_line_width(0.1)
    pdf.set_dash_pattern(dash=1, gap=1)
    pdf.rect(page.middle_mm - _HALF_STRIP_MM, top - 5, 2 * _HALF_STRIP_MM, length + 10)
    pdf.set_dash_pattern()
    _bar(pdf, page.middle_mm - _LINE_MM / 2, top, _LINE_MM, length)
    for begin, end, y in zip(page.mark_left_mm, page.mark_right_mm, page.mark_y_mm, strict=True):
        _bar(pdf, float(begin), float(y) - _LINE_MM / 2, float(end - begin), _LINE_MM)
    for label, x, base in page.labels:
        _text(pdf, label, x, base)
    beside = page.middle_mm + _HALF_STRIP_MM + 6
    pdf.set_xy(beside, _TOP_MM - 2)
    pdf.set_font("page", "", _WORDS_MM * _POINTS_PER_MM)
    for line in words:
        pdf.set_x(beside)
        pdf.multi_cell(page.size_mm[0] - beside - _MARGIN_MM, 4.2, _one_line(line), align="L")
        pdf.ln(1.2)
    return bytes(pdf.output())


def range_card_pdf(
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    title: str,
    words: Sequence[str] = (),
    paper: Paper = "a4",
) -> bytes:
    """Return a range card as the bytes of a PDF; the head is repeated on every page.

    Parameters
    ----------
    heads : sequence of str
    rows : sequence of sequence of str
        One cell a head.
    title : str
    words : sequence of str
        Lines below the table.
    paper : {'a4', 'letter'}

    Raises
    ------
    RigError
        If there is no row, or one has another number of cells.
    """
    if not rows or any(len(row) != len(heads) for row in rows):
        raise RigError("a range card has one row or more, with a cell under each head")
    pdf = _page(_PAPERS[paper], title)
    pdf.set_auto_page_break(True, _MARGIN_MM)
    _heading(pdf, title)
    pdf.set_xy(_MARGIN_MM, _MARGIN_MM + 12)
    pdf.set_font("page", "", 3.2 * _POINTS_PER_MM)
    width = _PAPERS[paper][0] - 2 * _MARGIN_MM
    with pdf.table(
        width=width, line_height=6.0, text_align="RIGHT", align="LEFT", padding=(0, 1.5)
    ) as made:
        for row in (heads, *rows):
            cells = made.row()
            for cell in row:
                cells.cell("\n".join(_one_line(one) for one in cell.split("\n")))
    pdf.ln(3)
    pdf.set_font("page", "", _WORDS_MM * _POINTS_PER_MM)
    for line in words:
        pdf.set_x(_MARGIN_MM)
        pdf.multi_cell(width, 4.2, _one_line(line), align="L")
        pdf.ln(1)
    return bytes(pdf.output())


def _page(size_mm: tuple[float, float], title: str) -> FPDF:
    from fpdf import FPDF
    from fpdf.prefs import ViewerPreferences

    pdf = FPDF(unit="mm", format=size_mm)
    pdf.set_auto_page_break(False)
    pdf.set_margin(_MARGIN_MM)
    pdf.set_creation_date(_CREATED)
    pdf.set_title(_one_line(title))
    pdf.set_lang("en")
    pdf.viewer_preferences = ViewerPreferences(print_scaling="None")
    pdf.add_font("page", "", str(font_path()))
    pdf.add_font("page", "B", str(font_path(bold=True)))
    pdf.add_page()
    return pdf


def _heading(pdf: FPDF, title: str) -> None:
    pdf.set_font("page", "B", 5 * _POINTS_PER_MM)
    pdf.set_xy(_MARGIN_MM, _MARGIN_MM)
    pdf.multi_cell(pdf.w - 2 * _MARGIN_MM, 6.5, _one_line(title)[:120], align="L")


def _bar(pdf: FPDF, x: float, y: float, width: float, height: float) -> None:
    """Fill a bar, because a drawn line would get caps that lengthen it."""
    pdf.set_fill_color(0)
    pdf.rect(x, y, width, height, style="F")


def _text(pdf: FPDF, text: str, x: float, y: float) -> None:
    pdf.set_font("page", "", _WORDS_MM * _POINTS_PER_MM)
    pdf.text(x, y, _one_line(text))


def _roundness(label: str) -> int:
    """Return 0 for tens, 1 for fives, 2 for all else: which labels are kept where they crowd."""
    try:
        number = float(label)
    except ValueError:
        return 2
    return 0 if number % 10 == 0 else 1 if number % 5 == 0 else 2


def _one_line(text: str) -> str:
    """Return text without what would break a line, or what no page shows."""
    return "".join(c if c.isprintable() else " " for c in text)
