"""A page that is filled from the top: words that wrap, tables, pictures at their true size.

Everything is black and grey or told a second time by a shape, so that any printer will do. A
user's text is printed as text: nothing in it is markup.
"""

from __future__ import annotations

import io
import logging
import unicodedata
from bisect import bisect_right
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any, Final, Literal, cast

import groupscan
from groupscan.report.figures import figure_bytes
from groupscan.report.palette import matplotlib_style
from groupscan.sheets.glyphs import font_path

if TYPE_CHECKING:
    from fpdf import FPDF
    from fpdf.fonts import TTFFont
    from matplotlib.figure import Figure

__all__ = ["MARGIN", "PAPERS", "Page", "Paper", "clean", "on_one_page", "paper_style"]

Paper = Literal["letter", "a4"]

#: Width and height, mm: ANSI/ASME Y14.1 size A, and ISO 216.
PAPERS: Final[dict[Paper, tuple[float, float]]] = {"letter": (215.9, 279.4), "a4": (210.0, 297.0)}

MARGIN: Final = 15.0
_FONT: Final = "page"
_MM_PER_POINT: Final = 25.4 / 72
_LEADING: Final = 1.28
_SMALL: Final = 7.5
_ROW_PAD: Final = 0.55
_LONG_TITLE: Final = 48
_LACKING: Final = "\ufffd"  # the replacement character of Unicode
# What a break between pages may cost beyond what stands on the second, mm.
_BREAK: Final = 8.0
# Classes of letters in the bidirectional algorithm of Unicode (UAX 9).
_FROM_THE_RIGHT: Final = ("R", "AL")
_INK: Final = 20
_GREY: Final = 95
_LINE: Final = 170
_MM_PER_INCH: Final = 25.4
# A word that was never meant for paper could fill a book of it.
_LONGEST: Final = 20_000


def clean(words: str) -> str:
    r"""Return a user's text without what no printer can print; lines stay lines.

    Examples
    --------
    >>> clean("Heron\x00\told\r\nbow")
    'Heron  old\nbow'
    """
    lines = words.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    kept = "\n".join("".join(c if c.isprintable() else " " for c in line) for line in lines)
    return kept if len(kept) <= _LONGEST else kept[: _LONGEST - 1] + "…"


def paper_style() -> dict[Any, Any]:
    """Return the rc settings of a picture on paper: the light palette on no ground, small type."""
    return {
        **matplotlib_style("light"),
        "figure.facecolor": "none", "savefig.facecolor": "none", "axes.facecolor": "none",
        "font.size": 7.5, "axes.titlesize": 8.5, "axes.labelsize": 7.5, "axes.linewidth": 0.6,
        "xtick.labelsize": 7.0, "ytick.labelsize": 7.0,
    }  # fmt: skip


class Page:
    """One document of one or more pages; `y` is how far down it is filled, mm.

    Parameters
    ----------
    paper : {"letter", "a4"}
    title : str
        What the document is called.
    source : str
        From which records it was made; printed at the foot with the day. Empty: not from records.
    made_on : date
        The same contents of the same day give the same bytes.
    """

    def __init__(self, paper: Paper, title: str, *, source: str, made_on: date) -> None:
        from fpdf import FPDF, ViewerPreferences

        self.width, self.height = PAPERS[paper]
        self.title = clean(title).replace("\n", " ")
        self._foot = f"Made on {made_on.isoformat()} by groupscan {groupscan.__version__}" + (
            f" from {clean(source)}" if source else ""
        )
        self.pdf: FPDF = FPDF(unit="mm", format=(self.width, self.height))
        self.pdf.set_auto_page_break(False)
        self.pdf.set_margin(0)
        self.pdf.c_margin = 0
        self.pdf.set_creation_date(datetime(made_on.year, made_on.month, made_on.day, tzinfo=UTC))
        self.pdf.set_title(self.title)
        self.pdf.set_creator("groupscan")
        self.pdf.set_lang("en")
        # A viewer that shrinks the page to fit would make its scale a lie.
        self.pdf.viewer_preferences = ViewerPreferences(print_scaling="None")
        self.pdf.add_font(_FONT, "", str(font_path()))
        self.pdf.add_font(_FONT, "B", str(font_path(bold=True)))
        # Both cuts have them: what is measured in one may be written in the other.
        self._known = frozenset.intersection(
            *(frozenset(font.ttfont.getBestCmap()) for font in self._fonts())
        )
        self.y = 0.0
        self._open()

    def _fonts(self) -> list[TTFFont]:
        return [cast("TTFFont", font) for font in self.pdf.fonts.values()]

    def printable(self, words: str) -> str:
        """Return words with a sign in place of each letter that the font lacks."""
        return "".join(c if c == "\n" or ord(c) in self._known else _LACKING for c in clean(words))

    @property
    def inside(self) -> float:
        """Width between the margins, mm."""
        return self.width - 2 * MARGIN

    @property
    def bottom(self) -> float:
        """Where the contents end, mm from the top."""
        return self.height - MARGIN

    def _open(self) -> None:
        self.pdf.add_page()
        self.y = MARGIN
        number = self.pdf.page_no()
        self.type(7, grey=True)
        said = str(number)
        self.write(self.width - MARGIN - self.pdf.get_string_width(said), self.height - 8, said)
        lines = self.lines(self._foot, self.inside - 12)
        if len(lines) > 2:
            lines = [lines[0], self.fitted(" ".join(lines[1:]), self.inside - 12)]
        for i, part in enumerate(lines):
            self.write(MARGIN, self.height - 8 + 3.1 * (i + 1 - len(lines)), part)
        if number > 1:
            self.type(_SMALL, grey=True)
            self.write(MARGIN, self.y + 3, self.fitted(f"{self.title}, continued", self.inside))
            self.y += 7

    def need(self, mm: float) -> None:
        """Go on to a new page where less room than this is left."""
        if self.y + mm > self.bottom:
            self._open()

    def type(self, points: float, *, bold: bool = False, grey: bool = False) -> None:
        """Choose the type of what is written next."""
        self.pdf.set_font(_FONT, "B" if bold else "", points)
        self.pdf.set_text_color(_GREY if grey else _INK)

    def lines(self, words: str, wide: float) -> list[str]:
        """Break words into lines in the type that is set; a word too long for one is broken."""
        lines: list[str] = []
        wide = max(wide, 1.5 * self.pdf.font_size)  # a column too narrow for a letter holds one
        for paragraph in self.printable(words).split("\n"):
            parts = self.pdf.multi_cell(
                wide, 1, paragraph.replace("\u00ad", ""), dry_run=True, output="LINES", align="L"
            )
            lines += [str(part) for part in cast(list[str], parts)] or [""]
        return lines

    def fitted(self, words: str, most_mm: float) -> str:
        """Cut words that are wider than their place."""
        words = self.printable(words).replace("\n", " ")
        if self.pdf.get_string_width(words) <= most_mm:
            return words
        kept = bisect_right(
            range(1, len(words)), most_mm,
            key=lambda count: float(self.pdf.get_string_width(words[:count] + "…")),
        )  # fmt: skip
        return words[:kept].rstrip() + "…"

    def write(self, x: float, y: float, words: str) -> None:
        """Write one line of printable words, those from right to left in their own order."""
        from fpdf.bidi import BidiParagraph
        from fpdf.enums import TextDirection

        if any(unicodedata.bidirectional(c) in _FROM_THE_RIGHT for c in words):
            paragraph = BidiParagraph(words, base_direction=TextDirection.LTR)  # as the page is
            words = paragraph.get_reordered_string()
        self.pdf.text(x, y, words)

    def wrapped(
        self, words: str, points: float, *, x: float | None = None, wide: float | None = None
    ) -> None:
        """Write words of this size in the type that is set, over as many lines as it takes."""
        height = _LEADING * points * _MM_PER_POINT
        style, colour = self.pdf.font_style, self.pdf.text_color
        for part in self.lines(words, wide or self.inside):
            if self.y + height > self.bottom:
                self._open()
                self.pdf.set_font(_FONT, style, points)
                self.pdf.text_color = colour
            self.write(MARGIN if x is None else x, self.y + 0.8 * height, part)
            self.y += height

    def head(self, title: str, below: str = "") -> None:
        """Write the document's title, and a line of what it is about."""
        points = 17.0 if len(title) <= _LONG_TITLE else 13.0
        self.type(points, bold=True)
        self.wrapped(title, points)
        if below:
            self.y += 0.5
            self.type(10.5, grey=True)
            self.wrapped(below, 10.5)
        self.y += 2.0
        self._rule()
        self.y += 2.5

    def _rule(self) -> None:
        self.pdf.set_draw_color(_INK)
        self.pdf.set_line_width(0.35)
        self.pdf.line(MARGIN, self.y, self.width - MARGIN, self.y)

    def heading(self, words: str, *, after: float = 12.0) -> None:
        """Write a heading, on the same page as this many mm of what follows it."""
        self.need(6 + after)
        self.y += 1.5
        self.type(10, bold=True)
        self.wrapped(words, 10)
        self.y += 0.8

    def paragraph(self, words: str, *, points: float = _SMALL) -> None:
        """Write small print, over as many lines as it takes."""
        self.type(points)
        self.wrapped(words, points)
        self.y += 1.0

    def aside(self, words: str, *, x: float, wide: float, bold: bool = False) -> None:
        """Write small print in a column of its own."""
        self.type(_SMALL, bold=bold)
        self.wrapped(words, _SMALL, x=x, wide=wide)
        self.y += 1.2

    def bullets(self, notes: Sequence[str]) -> None:
        """Write notes, each once and with a dot before it."""
        height = _LEADING * _SMALL * _MM_PER_POINT
        for note in dict.fromkeys(notes):
            self.need(height)
            self.type(_SMALL)
            self.write(MARGIN + 0.5, self.y + 0.8 * height, "•")
            self.wrapped(note, _SMALL, x=MARGIN + 3.5, wide=self.inside - 3.5)
            self.y += 0.6

    def cautions(self, cautions: Sequence[str]) -> None:
        """Write the cautions in a frame of their own, on one page."""
        words = " ".join(cautions)
        height = _LEADING * 7.5 * _MM_PER_POINT
        self.type(7.5)
        lines = self.lines(words, self.inside - 6)
        tall = height * len(lines) + 7.5
        self.need(tall + 2)
        self.y += 2
        self.pdf.set_draw_color(_GREY)
        self.pdf.set_line_width(0.25)
        self.pdf.rect(MARGIN, self.y, self.inside, tall)
        self.type(7.5, bold=True)
        self.write(MARGIN + 3, self.y + 4.4, "Cautions")
        self.type(7.5)
        for i, part in enumerate(lines):
            self.write(MARGIN + 3, self.y + 5.4 + (i + 0.8) * height, part)
        self.y += tall

    def sentence(self, words: str) -> None:
        """Write what it all means, in a frame."""
        points = 10.0
        height = _LEADING * points * _MM_PER_POINT
        self.type(points, bold=True)
        lines = self.lines(words, self.inside - 8)
        while lines:
            # A sentence longer than a page is a user's name gone wild; it goes on overleaf.
            room = max(1, int((self.bottom - self.y - 5) / height))
            if room < min(3, len(lines)):
                self._open()
                continue
            part, lines = lines[:room], lines[room:]
            tall = len(part) * height + 4
            self.pdf.set_fill_color(238)
            self.pdf.rect(MARGIN, self.y, self.inside, tall, style="F")
            self.pdf.set_fill_color(_INK)
            self.pdf.rect(MARGIN, self.y, 1.2, tall, style="F")
            self.type(points, bold=True)
            for i, text in enumerate(part):
                self.write(MARGIN + 4.5, self.y + 2 + (i + 0.8) * height, text)
            self.y += tall
        self.y += 3

    def particulars(self, rows: Sequence[tuple[str, str]], *, columns: int = 4) -> None:
        """Write what it is about: a small name over its value, in columns; empty ones left out."""
        told = [(name, value) for name, value in rows if value.strip()]
        gap = 5.0
        wide = (self.inside - (columns - 1) * gap) / columns
        for i in range(0, len(told), columns):
            row = told[i : i + columns]
            self.type(8.5)
            cells = [self.lines(value, wide) for _, value in row]
            tall = 3.6 + 3.9 * max(map(len, cells))
            self.need(min(tall, 40))
            top = self.y
            for place, ((name, _), lines) in enumerate(zip(row, cells, strict=True)):
                x = MARGIN + place * (wide + gap)
                self.type(7, grey=True)
                self.write(x, top + 2.6, self.fitted(name, wide))
                self.type(8.5)
                shown = lines[:3]
                if len(lines) > 3:
                    shown[2] = self.fitted(shown[2] + lines[3] + "…", wide)
                for k, part in enumerate(shown):
                    self.write(x, top + 6.4 + 3.9 * k, part)
            self.y = top + 3.6 + 3.9 * min(3, max(map(len, cells))) + 0.6
        self.y += 1.5

    def table(
        self,
        heads: Sequence[str],
        rows: Sequence[Sequence[str]],
        shares: Sequence[float],
        *,
        x: float = MARGIN,
        wide: float | None = None,
        points: float = 8.0,
    ) -> None:
        """Write a table whose cells wrap; its heads stand again on a new page.

        Parameters
        ----------
        heads : sequence of str
            Empty for a table without.
        rows : sequence of sequences of str
        shares : sequence of float
            How the columns share the width.
        x, wide : float
            Left edge and width, mm; left out: all between the margins.
        points : float
            Size of its type.
        """
        wide = wide or self.inside
        parts = [wide * share / sum(shares) for share in shares]
        if heads:
            self._row(heads, parts, x, points, head=True)
        for row in rows:
            tall = self._height(row, parts, points)
            if self.y + tall > self.bottom:
                self._open()
                if heads:
                    self._row(heads, parts, x, points, head=True)
            self._row(row, parts, x, points)
        self.y += 2.0

    def _height(self, row: Sequence[str], parts: Sequence[float], points: float) -> float:
        self.type(points, bold=True)  # bold is the wider
        lines = max(len(self.lines(c, w - 2)) for c, w in zip(row, parts, strict=True))
        return lines * _LEADING * points * _MM_PER_POINT + 2 * _ROW_PAD

    def _row(
        self,
        row: Sequence[str],
        parts: Sequence[float],
        x: float,
        points: float,
        *,
        head: bool = False,
    ) -> None:
        height = _LEADING * points * _MM_PER_POINT
        self.type(points, bold=head)
        cells = [self.lines(cell, w - 2) for cell, w in zip(row, parts, strict=True)]
        tallest = max(map(len, cells))
        most = max(1, int((self.height - 2 * MARGIN - 30) / height))
        self.need(min(tallest, most) * height + 2 * _ROW_PAD)
        self.type(points, bold=head)
        top = self.y + _ROW_PAD
        left = x
        for place, (lines, w) in enumerate(zip(cells, parts, strict=True)):
            for i, part in enumerate(lines[:most]):
                right = left + w - 1 - self.pdf.get_string_width(part)
                at = left if place == 0 else max(left, right)
                self.write(at, top + (i + 0.8) * height, part)
            left += w
        self.y = top + min(tallest, most) * height + _ROW_PAD
        self.pdf.set_draw_color(_INK if head else _LINE)
        self.pdf.set_line_width(0.3 if head else 0.12)
        self.pdf.line(x, self.y, x + sum(parts), self.y)

    def figure(self, figure: Figure, x: float) -> tuple[float, float]:
        """Draw a matplotlib figure as vectors, at its own size, with its top at `y`.

        Returns
        -------
        (width, height)
            Of the figure, mm; `y` stays.
        """
        wide, tall = (float(side) * _MM_PER_INCH for side in figure.get_size_inches())
        log = logging.getLogger("fpdf.svg")
        level = log.level
        log.setLevel(logging.ERROR)  # it warns of the figure's metadata
        try:
            picture = io.BytesIO(figure_bytes(figure, "svg"))
            self.pdf.image(picture, x=x, y=self.y, w=wide, h=tall)
        finally:
            log.setLevel(level)
        return wide, tall

    def small(self, words: str, x: float, y: float, wide: float) -> float:
        """Write small grey words at a place of their own; return the height that they take, mm."""
        self.type(7, grey=True)
        height = _LEADING * 7 * _MM_PER_POINT
        lines = self.lines(words, wide)
        for i, part in enumerate(lines):
            self.write(x, y + (i + 0.8) * height, part)
        return height * len(lines)

    def overflow(self) -> float:
        """Return how much lies on a second page, mm; 0 where there is none, infinite for more."""
        count = self.pdf.page_no()
        return 0.0 if count == 1 else self.y - MARGIN - 7 if count == 2 else float("inf")

    def finished(self) -> bytes:
        """Return the file; nothing can be written any more."""
        contents = bytes(self.pdf.output())
        self.drop()
        return contents

    def drop(self) -> None:
        """Close what is open for a page that is not wanted."""
        for font in self._fonts():
            font.ttfont.close()


def on_one_page(fill: Callable[[float], Page], most_mm: float, least_mm: float) -> bytes:
    """Return a document, on one page if a smaller picture makes room for it.

    Parameters
    ----------
    fill : callable
        Returns the document with a picture of that size, mm.
    most_mm, least_mm : float
        Sizes of the picture: as it is best, and as it still shows something.
    """
    page = fill(most_mm)
    if page.overflow() > 0:
        smaller = fill(max(least_mm, most_mm - page.overflow() - _BREAK))
        if smaller.overflow() > 0:
            smaller.drop()  # a second page is needed anyhow
        else:
            page.drop()
            page = smaller
    return page.finished()
