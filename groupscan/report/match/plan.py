"""A shooting plan on paper: which arrow to shoot when, with what, in Letter or A4.

Each shot is a box: its place in the session, the arrow's number, and a letter with a symbol for the
head or build, which the key at the top explains. Nothing is told by colour, so that any printer
will do.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Final, Literal, cast

from groupscan.sheets.glyphs import font_path
from groupscan.stats.plan import ShootingOrder

if TYPE_CHECKING:
    from fpdf import FPDF

__all__ = ["PAPERS", "Paper", "plan_pdf"]

Paper = Literal["letter", "a4"]

#: Width and height, mm: ANSI/ASME Y14.1 size A, and ISO 216.
PAPERS: Final[dict[Paper, tuple[float, float]]] = {"letter": (215.9, 279.4), "a4": (210.0, 297.0)}

_MARGIN: Final = 15.0
_ACROSS: Final = 6
_NAME_LINES: Final = 3
_GAP: Final = 3.0
_BOX_HEIGHT: Final = 15.0
_HEAD_HEIGHT: Final = 7.0
_MM_PER_POINT: Final = 25.4 / 72
_LETTERS: Final = "ABCD"
_INK: Final = 25
_GREY: Final = 110


def plan_pdf(
    order: ShootingOrder,
    *,
    paper: Paper = "letter",
    title: str = "Shooting plan",
    particulars: Sequence[tuple[str, str]] = (),
    made_on: date | None = None,
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

    Examples
    --------
    >>> from groupscan.stats.plan import rotate_heads
    >>> plan_pdf(rotate_heads(["field", "broad"], 4, 2), paper="a4")[:5]
    b'%PDF-'
    """
    day = made_on or datetime.now(UTC).date()
    page = _Page(paper, title, day)
    page.line(title, 16, bold=True)
    page.particulars(particulars)
    page.key(order)
    page.paragraph(
        "Shoot from left to right, row by row. The small figure counts the shots of the session, "
        "the large one is the arrow, the letter what it carries. Tick each box when it is shot, "
        "and photograph the target after every end.",
    )
    letters = dict(zip(order.builds, _LETTERS, strict=False))
    for end in range(1, order.ends + 1):
        shots = [shot for shot in order.shots if shot.end == end]
        rows = [shots[i : i + _ACROSS] for i in range(0, len(shots), _ACROSS)]
        page.need(_HEAD_HEIGHT + _BOX_HEIGHT + 1)
        page.line(f"End {end}", 11, bold=True)
        for row in rows:
            page.need(_BOX_HEIGHT + 1)
            for place, shot in enumerate(row):
                page.box(place, shot.number, shot.arrow, letters[shot.build])
            page.y += _BOX_HEIGHT + 1.5
        page.y += 1.5
    page.need(14)
    for note in (*order.notes, order.caution):
        page.paragraph(note)
    return page.finished()


class _Page:
    """A PDF that is filled from the top, and goes on to a new page where there is no room."""

    def __init__(self, paper: Paper, title: str, day: date) -> None:
        from fpdf import FPDF

        self.width, self.height = PAPERS[paper]
        self.foot = f"{title}, made {day.isoformat()}"
        self.pdf: FPDF = FPDF(unit="mm", format=(self.width, self.height))
        self.pdf.set_auto_page_break(False)
        self.pdf.set_margin(0)
        self.pdf.set_creation_date(datetime(day.year, day.month, day.day, tzinfo=UTC))
        self.pdf.set_title(title)
        self.pdf.set_lang("en")
        self.pdf.add_font("plan", "", str(font_path()))
        self.pdf.add_font("plan", "B", str(font_path(bold=True)))
        self.y = 0.0
        self._open()

    @property
    def inside(self) -> float:
        """Width between the margins, mm."""
        return self.width - 2 * _MARGIN

    def _open(self) -> None:
        self.pdf.add_page()
        self.y = _MARGIN
        self._type(7.5, grey=True)
        words = self._fitted(self.foot, self.inside - 20)
        self.pdf.text(_MARGIN, self.height - 8, words)
        number = str(self.pdf.page_no())
        right = self.width - _MARGIN - self.pdf.get_string_width(number)
        self.pdf.text(right, self.height - 8, number)

    def _type(self, points: float, *, bold: bool = False, grey: bool = False) -> None:
        self.pdf.set_font("plan", "B" if bold else "", points)
        self.pdf.set_text_color(_GREY if grey else _INK)

    def need(self, mm: float) -> None:
        """Go on to a new page where less room than this is left."""
        if self.y + mm > self.height - _MARGIN:
            self._open()

    def line(self, words: str, points: float, *, bold: bool = False) -> None:
        """Write one heading, over as many lines as it takes."""
        self._type(points, bold=bold)
        self._wrapped(words, points)
        self.y += 1

    def paragraph(self, words: str) -> None:
        """Write small print, over as many lines as it takes."""
        self._type(8.5)
        self._wrapped(words, 8.5)
        self.y += 1.5

    def _wrapped(self, words: str, points: float) -> None:
        height = 1.3 * points * _MM_PER_POINT
        for part in self._lines(words, self.inside):
            self.need(height)
            self.pdf.text(_MARGIN, self.y + 0.8 * height, part)
            self.y += height

    def _lines(self, words: str, wide: float) -> list[str]:
        """Break words into lines in the type that is set; a word too long for one is broken."""
        lines = self.pdf.multi_cell(wide, 1, words, dry_run=True, output="LINES", align="L")
        return [str(part) for part in cast(list[str], lines)]

    def particulars(self, rows: Sequence[tuple[str, str]]) -> None:
        """Write what it is about in two columns, with lines to write on where it is not known."""
        half = (self.inside - 6) / 2
        for i in range(0, len(rows), 2):
            for place, (name, value) in enumerate(rows[i : i + 2]):
                x = _MARGIN + place * (half + 6)
                self._type(9, grey=True)
                self.pdf.text(x, self.y + 5, name)
                after = x + self.pdf.get_string_width(name) + 2
                self._type(10)
                if value:
                    self.pdf.text(after, self.y + 5, self._fitted(value, x + half - after))
                else:
                    self.pdf.set_draw_color(_GREY)
                    self.pdf.set_line_width(0.2)
                    self.pdf.line(after, self.y + 5.6, x + half, self.y + 5.6)
            self.y += 7.5
        self.y += 1.5

    def _fitted(self, words: str, most_mm: float) -> str:
        """Cut words that are wider than their place; the key and the app have them whole."""
        if self.pdf.get_string_width(words) <= most_mm:
            return words
        while words and self.pdf.get_string_width(words + "…") > most_mm:
            words = words[:-1]
        return words + "…"

    def key(self, order: ShootingOrder) -> None:
        """Write what each letter stands for, whole."""
        for letter, build in zip(_LETTERS, order.builds, strict=False):
            count = sum(shot.build == build for shot in order.shots)
            self.need(7)
            self.symbol(letter, _MARGIN + 2.2, self.y + 2.6, 2.0)
            self._type(11, bold=True)
            self.pdf.text(_MARGIN + 6.5, self.y + 4.0, letter)
            self._type(10)
            left = _MARGIN + 12
            for part in self._lines(f"{build}: {count} shots", self.inside - 12):
                self.need(5)
                self.pdf.text(left, self.y + 4.0, part)
                self.y += 4.8
            self.y += 1.2
        self.y += 1

    def box(self, place: int, number: int, arrow: str, letter: str) -> None:
        """Draw one shot."""
        wide = (self.inside - (_ACROSS - 1) * _GAP) / _ACROSS
        x, y = _MARGIN + place * (wide + _GAP), self.y
        self.pdf.set_draw_color(_INK)
        self.pdf.set_line_width(0.3)
        self.pdf.rect(x, y, wide, _BOX_HEIGHT, round_corners=True, corner_radius=1.2)
        self._type(7.5, grey=True)
        self.pdf.text(x + 1.5, y + 3.6, str(number))
        self.pdf.rect(x + wide - 5, y + 1.5, 3.5, 3.5)
        room = wide - 13
        points = 17.0
        self._type(points, bold=True)
        while points > 6 and self.pdf.get_string_width(arrow) > room:
            points -= 0.5
            self._type(points, bold=True)
        if self.pdf.get_string_width(arrow) <= room:
            self.pdf.text(x + 2, y + 11.5, arrow)
        else:
            lines = self._lines(arrow, room + 2)
            for i, part in enumerate(lines[:_NAME_LINES]):
                whole = part if i < _NAME_LINES - 1 or len(lines) <= _NAME_LINES else part + "…"
                self.pdf.text(x + 2, y + 7.2 + 2.6 * i, whole)
        self.symbol(letter, x + wide - 8.2, y + 10.2, 1.7)
        self._type(11, bold=True)
        self.pdf.text(x + wide - 5.2, y + 11.6, letter)

    def symbol(self, letter: str, x: float, y: float, half: float) -> None:
        """Draw the symbol that goes with a letter: the same as in the pictures."""
        self.pdf.set_draw_color(_INK)
        self.pdf.set_fill_color(_INK)
        self.pdf.set_line_width(0.35)
        if letter == "A":
            self.pdf.circle(x, y, half, style="D")
        elif letter == "B":
            h = 1.2 * half
            self.pdf.polygon([(x, y - h), (x + h, y), (x, y + h), (x - h, y)], style="F")
        elif letter == "C":
            self.pdf.rect(x - half, y - half, 2 * half, 2 * half, style="D")
        else:
            h = 1.15 * half
            self.pdf.polygon([(x, y - h), (x + h, y + h), (x - h, y + h)], style="F")

    def finished(self) -> bytes:
        """Return the file."""
        return bytes(self.pdf.output())
