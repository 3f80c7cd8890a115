"""A shooting plan on paper: which arrow to shoot when, with what, in Letter or A4.

Each shot is a box: its place in the session, the arrow's number, and a letter with a symbol for the
head or build, which the key at the top explains. Nothing is told by colour, so that any printer
will do.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime
from typing import Final

from groupscan.report.pages.page import MARGIN, Page, Paper
from groupscan.stats.plan import ShootingOrder

__all__ = ["plan_pdf"]

_ACROSS: Final = 6
_NAME_LINES: Final = 3
_GAP: Final = 3.0
_BOX_HEIGHT: Final = 15.0
_HEAD_HEIGHT: Final = 7.0
_LETTERS: Final = "ABCD"
_NOTE: Final = 8.5
_INK: Final = 25
_GREY: Final = 110


def plan_pdf(
    order: ShootingOrder,
    *,
    paper: Paper = "letter",
    title: str = "Shooting plan",
    particulars: Sequence[tuple[str, str]] = (),
    made_on: date | None = None,
    day_text: Callable[[date], str] = date.isoformat,
) -> bytes:
    """Return a shooting plan as the bytes of a PDF.

    Parameters
    ----------
    order : ShootingOrder
    paper : {"letter", "a4"}
    title : str
        Printed as it stands.
    particulars : sequence of (str, str)
        What it is about, such as ``("Rig", "Heron")``; one with an empty value gets a line to
        write on.
    made_on : date, optional
        Printed at the foot; with it, the same plan has the same bytes.
    day_text : callable
        Writes that day as the reader likes it.

    Examples
    --------
    >>> from groupscan.stats.plan import rotate_heads
    >>> plan_pdf(rotate_heads(["field", "broad"], 4, 2), paper="a4")[:5]
    b'%PDF-'
    """
    day = made_on or datetime.now(UTC).date()
    page = Page(paper, title, source="", made_on=day, day_text=day_text)
    page.head(title)
    _particulars(page, particulars)
    _key(page, order)
    page.paragraph(
        "Shoot from left to right, row by row. The small figure counts the shots of the session, "
        "the large one is the arrow, the letter what it carries. Tick each box when it is shot, "
        "and photograph the target after every end.",
        points=_NOTE,
    )
    letters = dict(zip(order.builds, _LETTERS, strict=False))
    for end in range(1, order.ends + 1):
        shots = [shot for shot in order.shots if shot.end == end]
        rows = [shots[i : i + _ACROSS] for i in range(0, len(shots), _ACROSS)]
        page.heading(f"End {end}", after=_BOX_HEIGHT + 1)
        for row in rows:
            page.need(_BOX_HEIGHT + 1)
            for place, shot in enumerate(row):
                _box(page, place, shot.number, shot.arrow, letters[shot.build])
            page.y += _BOX_HEIGHT + 1.5
        page.y += 1.5
    page.need(14)
    for note in (*order.notes, order.caution):
        page.paragraph(note, points=_NOTE)
    return page.finished()


def _particulars(page: Page, rows: Sequence[tuple[str, str]]) -> None:
    """Write what it is about in two columns, with lines to write on where it is not known."""
    half = (page.inside - 6) / 2
    for i in range(0, len(rows), 2):
        for place, (name, value) in enumerate(rows[i : i + 2]):
            x = MARGIN + place * (half + 6)
            page.type(9, grey=True)
            page.write(x, page.y + 5, name)
            after = x + page.width_of(name) + 2
            page.type(10)
            if value:
                page.write(after, page.y + 5, page.fitted(value, x + half - after))
            else:
                page.pdf.set_draw_color(_GREY)
                page.pdf.set_line_width(0.2)
                page.pdf.line(after, page.y + 5.6, x + half, page.y + 5.6)
        page.y += 7.5
    page.y += 1.5


def _key(page: Page, order: ShootingOrder) -> None:
    """Write what each letter stands for, whole."""
    for letter, build in zip(_LETTERS, order.builds, strict=False):
        count = sum(shot.build == build for shot in order.shots)
        page.need(7)
        _symbol(page, letter, MARGIN + 2.2, page.y + 2.6, 2.0)
        page.type(11, bold=True)
        page.write(MARGIN + 6.5, page.y + 4.0, letter)
        page.type(10)
        page.wrapped(f"{build}: {count} shots", 10, x=MARGIN + 12, wide=page.inside - 12)
        page.y += 1.2
    page.y += 1


def _box(page: Page, place: int, number: int, arrow: str, letter: str) -> None:
    """Draw one shot."""
    pdf = page.pdf
    wide = (page.inside - (_ACROSS - 1) * _GAP) / _ACROSS
    x, y = MARGIN + place * (wide + _GAP), page.y
    pdf.set_draw_color(_INK)
    pdf.set_line_width(0.3)
    pdf.rect(x, y, wide, _BOX_HEIGHT, round_corners=True, corner_radius=1.2)
    page.type(7.5, grey=True)
    page.write(x + 1.5, y + 3.6, str(number))
    pdf.rect(x + wide - 5, y + 1.5, 3.5, 3.5)
    room = wide - 13
    points = 17.0
    arrow = page.printable(arrow)
    page.type(points, bold=True)
    while points > 6 and page.width_of(arrow) > room:
        points -= 0.5
        page.type(points, bold=True)
    if page.width_of(arrow) <= room:
        page.write(x + 2, y + 11.5, arrow)
    else:
        lines = page.lines(arrow, room + 2)
        for i, part in enumerate(lines[:_NAME_LINES]):
            whole = part if i < _NAME_LINES - 1 or len(lines) <= _NAME_LINES else part + "…"
            page.write(x + 2, y + 7.2 + 2.6 * i, whole)
    _symbol(page, letter, x + wide - 8.2, y + 10.2, 1.7)
    page.type(11, bold=True)
    page.write(x + wide - 5.2, y + 11.6, letter)


def _symbol(page: Page, letter: str, x: float, y: float, half: float) -> None:
    """Draw the symbol that goes with a letter: the same as in the pictures."""
    pdf = page.pdf
    pdf.set_draw_color(_INK)
    pdf.set_fill_color(_INK)
    pdf.set_line_width(0.35)
    if letter == "A":
        pdf.circle(x, y, half, style="D")
    elif letter == "B":
        h = 1.2 * half
        pdf.polygon([(x, y - h), (x + h, y), (x, y + h), (x - h, y)], style="F")
    elif letter == "C":
        pdf.rect(x - half, y - half, 2 * half, 2 * half, style="D")
    else:
        h = 1.15 * half
        pdf.polygon([(x, y - h), (x + h, y + h), (x - h, y + h)], style="F")
