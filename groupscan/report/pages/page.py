"""A page that is filled from the top: words that wrap, tables, pictures at their true size.

Everything is black and grey or told a second time by a shape, so that any printer will do. A
user's text is printed as text: nothing in it is markup.
"""

from __future__ import annotations

import io
import logging
import math
import unicodedata
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
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

__all__ = [
    "MARGIN",
    "PAPERS",
    "Page",
    "Paper",
    "Room",
    "broken",
    "clean",
    "on_one_page",
    "paper_style",
]

Paper = Literal["letter", "a4"]

#: Width and height, mm: ANSI/ASME Y14.1 size A, and ISO 216.
PAPERS: Final[dict[Paper, tuple[float, float]]] = {"letter": (215.9, 279.4), "a4": (210.0, 297.0)}

MARGIN: Final = 15.0
_FONT: Final = "page"
_MM_PER_POINT: Final = 25.4 / 72
_LEADING: Final = 1.28
_SMALL: Final = 7.5
_TINY: Final = 6.5
_ROW_PAD: Final = 0.55
# Between two tables side by side, and what a page has for them at most, mm.
_GAP: Final = 4.0
_MOST_TALL: Final = 200.0
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
_TITLE_LINES: Final = 3
# Lines of a cell or a note where room is short: enough for the longest names that people give.
_CELL_LINES: Final = 3
_LEAST_LINES: Final = 5
_LEAST_ROWS: Final = 5
_LEAST_NOTES: Final = 3
_HEADING_LINES: Final = 2
# Lines of each text and rows of each table, from roomy to the least that still says something.
_LADDER: Final = (40, 28, 20, 16, 13, 10, 8, 7, 6, 5, 4, 3, 2, 1)
_TIGHT: Final = 4
_MORE: Final = "… (more in the app)"


@dataclass(frozen=True)
class Room:
    """How much of a page its parts may take.

    Attributes
    ----------
    picture_mm : float
        Size of the picture.
    most : int or None
        Most lines of each text and most rows of each table; None for as many as there are.
    draft : bool
        Whether the page is only laid out, to see what it takes: pictures are left out of it.
    """

    picture_mm: float = 0.0
    most: int | None = None
    draft: bool = False

    @property
    def tight(self) -> bool:
        """Whether names are cut short and what is of second rank is left to the app."""
        return self.most is not None and self.most <= _TIGHT

    def lines(self, most: int) -> int | None:
        """Return the most lines of a name, by what it may take where room is short."""
        return None if self.most is None else most - self.tight


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


def broken(words: str, wide: float, advance: Callable[[str], float]) -> list[str]:
    """Break one paragraph into lines, at spaces where there are any.

    Parameters
    ----------
    words : str
    wide : float
        Of a line.
    advance : callable
        Returns the width of a letter.

    Examples
    --------
    >>> broken("a long word", 6, len)
    ['a long', 'word']
    >>> broken("longer", 4, len), broken("", 4, len)
    (['long', 'er'], [''])
    """
    lines, line, filled = [], "", 0.0
    space = advance(" ")
    for word in words.split(" "):
        long = sum(map(advance, word))
        if line and filled + space + long <= wide:
            line, filled = f"{line} {word}", filled + space + long
            continue
        if line:
            lines.append(line)
        line, filled = word, long
        if long <= wide:
            continue
        line, filled = "", 0.0
        for letter in word:
            if line and filled + advance(letter) > wide:
                lines.append(line)
                line, filled = "", 0.0
            line, filled = line + letter, filled + advance(letter)
    return [*lines, line]


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
    day_text : callable
        Writes that day as the reader likes it.
        The same contents of the same day give the same bytes.
    room : Room, optional
        Left out: as much as is wanted, over as many pages as that takes.
    """

    def __init__(
        self,
        paper: Paper,
        title: str,
        *,
        source: str,
        made_on: date,
        day_text: Callable[[date], str] = date.isoformat,
        room: Room | None = None,
    ) -> None:
        from fpdf import FPDF, ViewerPreferences

        self.room = room or Room()
        self.width, self.height = PAPERS[paper]
        self.title = clean(title).replace("\n", " ")
        self._foot = f"Made on {day_text(made_on)} by groupscan {groupscan.__version__}" + (
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
        self._advances: dict[tuple[str, str], float] = {}
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
        self.write(self.width - MARGIN - self.width_of(said), self.height - 8, said)
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
        wide = max(wide, 1.5 * self.pdf.font_size)  # a column too narrow for a letter holds one
        paragraphs = self.printable(words).replace("\u00ad", "").split("\n")
        return [part for paragraph in paragraphs for part in broken(paragraph, wide, self._advance)]

    def _advance(self, letter: str) -> float:
        """Return how wide a letter is in the type that is set, mm."""
        # The library's own breaking measures each line anew with every letter of it.
        key = (letter, self.pdf.font_style)
        if key not in self._advances:
            self._advances[key] = self.pdf.get_string_width(letter) / self.pdf.font_size
        return self._advances[key] * self.pdf.font_size

    def width_of(self, words: str) -> float:
        """Return how wide printable words are in the type that is set, mm."""
        return sum(map(self._advance, words))

    def fitted(self, words: str, most_mm: float) -> str:
        """Cut words that are wider than their place."""
        words = self.printable(words).replace("\n", " ")
        return words if self.width_of(words) <= most_mm else self._ended(words, "…", most_mm)

    def _ended(self, words: str, mark: str, most_mm: float) -> str:
        """Return as many of the words as leave room for a mark after them, and the mark."""
        kept = bisect_right(
            range(1, len(words) + 1), most_mm, key=lambda count: self.width_of(words[:count] + mark)
        )
        return words[:kept].rstrip() + mark

    def _cut(self, lines: list[str], most: int | None, wide: float, mark: str = "…") -> list[str]:
        """Return no more lines than this, with a mark where something is left out."""
        if most is None or len(lines) <= most:
            return lines
        return [*lines[: most - 1], self._ended(lines[most - 1], mark, wide)]

    def write(self, x: float, y: float, words: str) -> None:
        """Write one line of printable words, those from right to left in their own order."""
        from fpdf.bidi import BidiParagraph
        from fpdf.enums import TextDirection

        if any(unicodedata.bidirectional(c) in _FROM_THE_RIGHT for c in words):
            paragraph = BidiParagraph(words, base_direction=TextDirection.LTR)  # as the page is
            words = paragraph.get_reordered_string()
        self.pdf.text(x, y, words)

    def wrapped(
        self,
        words: str,
        points: float,
        *,
        x: float | None = None,
        wide: float | None = None,
        most: int | None = None,
        mark: str = "…",
    ) -> int:
        """Write words of this size in the type that is set; return how many lines they took.

        Parameters
        ----------
        words : str
        points : float
        x, wide : float, optional
            Left edge and width, mm; left out: all between the margins.
        most : int, optional
            Most lines; left out: as many as it takes.
        mark : str
            What stands where something was left out.
        """
        height = _LEADING * points * _MM_PER_POINT
        style, colour = self.pdf.font_style, self.pdf.text_color
        wide = wide or self.inside
        lines = self._cut(self.lines(words, wide), most, wide, mark)
        for part in lines:
            if self.y + height > self.bottom:
                self._open()
                self.pdf.set_font(_FONT, style, points)
                self.pdf.text_color = colour
            self.write(MARGIN if x is None else x, self.y + 0.8 * height, part)
            self.y += height
        return len(lines)

    def head(self, title: str, below: str = "") -> None:
        """Write the document's title, and a line of what it is about."""
        points = 17.0 if len(title) <= _LONG_TITLE else 13.0
        self.type(points, bold=True)
        self.wrapped(title, points, most=_TITLE_LINES - self.room.tight)
        if below:
            self.y += 0.5
            self.type(10.5, grey=True)
            self.wrapped(below, 10.5, most=_TITLE_LINES - self.room.tight)
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
        self.wrapped(words, 10, most=self.room.lines(_HEADING_LINES))
        self.y += 0.8

    def paragraph(self, words: str, *, points: float = _SMALL) -> None:
        """Write small print, over as many lines as there is room for."""
        self.type(points)
        self.wrapped(words, points, most=self.room.most, mark=_MORE)
        self.y += 1.0

    def asides(
        self, notes: Sequence[tuple[str, bool]], *, x: float, wide: float, down_to: float
    ) -> None:
        """Write notes in a column of their own.

        Parameters
        ----------
        notes : sequence of (str, bool)
            Words, and whether they are bold.
        x, wide : float
            Left edge and width, mm.
        down_to : float
            Where the column ends if room is short, mm from the top.
        """
        height = _LEADING * _SMALL * _MM_PER_POINT
        for words, bold in notes:
            most = None
            if self.room.most is not None:
                most = int((down_to - self.y) / height)
                if most < 1:
                    return
            self.type(_SMALL, bold=bold)
            self.wrapped(words, _SMALL, x=x, wide=wide, most=most, mark=_MORE)
            self.y += 1.2

    def bullets(self, notes: Sequence[str], *, first: bool = False) -> None:
        """Write notes, each once and with a dot before it.

        Parameters
        ----------
        notes : sequence of str
        first : bool
            Whether they go before what else is long: they are cut only where nothing else helps.
        """
        height = _LEADING * _SMALL * _MM_PER_POINT
        most, taken = self.room.most and max(self.room.most, _LEAST_NOTES), 0
        if first and not self.room.tight:
            most = None
        notes = list(dict.fromkeys(notes))
        for place, note in enumerate(notes):
            left = len(notes) - place
            last = most is not None and left > 1 and taken >= most - 1
            said = f"and {left} more notes in the app" if last else note
            self.need(height)
            self.type(_SMALL)
            self.write(MARGIN + 0.5, self.y + 0.8 * height, "•")
            taken += self.wrapped(
                said, _SMALL, x=MARGIN + 3.5, wide=self.inside - 3.5,
                most=None if most is None else min(most, _CELL_LINES),
            )  # fmt: skip
            self.y += 0.6
            if last:
                return

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
        most = self.room.most and max(self.room.most, _LEAST_LINES - self.room.tight)
        lines = self._cut(self.lines(words, self.inside - 8), most, self.inside - 8)
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
        most = _CELL_LINES - self.room.tight
        for i in range(0, len(told), columns):
            row = told[i : i + columns]
            self.type(8.5)
            cells = [self.lines(value, wide) for _, value in row]
            tall = 3.6 + 3.9 * min(most, max(map(len, cells)))
            self.need(tall)
            top = self.y
            for place, ((name, _), lines) in enumerate(zip(row, cells, strict=True)):
                x = MARGIN + place * (wide + gap)
                self.type(7, grey=True)
                self.write(x, top + 2.6, self.fitted(name, wide))
                self.type(8.5)
                for k, part in enumerate(self._cut(lines, most, wide)):
                    self.write(x, top + 6.4 + 3.9 * k, part)
            self.y = top + tall + 0.6
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
        rest: str = "more in the app",
        whole: bool = False,
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
        rest : str
            Where room is short, what the rows left out are and where they are to be seen.
        whole : bool
            Whether all rows stand however short room is.
        """
        wide = wide or self.inside
        most, left = self.room.most, 0
        if not whole and most is not None and len(rows) > max(most, _LEAST_ROWS):
            left = len(rows) - max(most, _LEAST_ROWS) + 1
            rows = rows[:-left]
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
        if left:
            self.y += _ROW_PAD
            self.type(points, grey=True)
            self.wrapped(f"and {left} {rest}", points, x=x, wide=wide, most=1)
        self.y += 2.0

    def two_tables(
        self,
        heads: Sequence[str],
        rows: Sequence[Sequence[str]],
        shares: Sequence[float],
        *,
        title: str,
        rest: str,
    ) -> None:
        """Write many short rows in two tables side by side, which saves half of the height.

        Parameters
        ----------
        heads, rows, shares, rest
            As for `table`; each head stands over both.
        title : str
            Heading of both.
        """
        most = self.room.most
        left = 0 if most is None else max(0, len(rows) - 2 * max(most, _LEAST_ROWS - 2))
        rows = rows[: len(rows) - left]
        half = (len(rows) + 1) // 2
        wide = (self.inside - _GAP) / 2
        parts = [wide * share / sum(shares) for share in shares]
        tall = sum(self._height(row, parts, _TINY) for row in (heads, *rows[:half]))
        self.heading(title, after=min(tall, _MOST_TALL))
        top, ends = self.y, []
        for part, x in ((rows[:half], MARGIN), (rows[half:], MARGIN + wide + _GAP)):
            self.y = top
            self.table(heads, part, shares, x=x, wide=wide, points=_TINY, whole=True)
            ends.append(self.y)
        self.y = max(ends)
        if left:
            self.y -= 1.0
            self.type(_TINY, grey=True)
            self.wrapped(f"and {left} {rest}", _TINY, most=1)
            self.y += 1.0

    def _height(self, row: Sequence[str], parts: Sequence[float], points: float) -> float:
        self.type(points, bold=True)  # bold is the wider
        lines = max(len(cell) for cell in self._cells(row, parts))
        return lines * _LEADING * points * _MM_PER_POINT + 2 * _ROW_PAD

    def _cells(self, row: Sequence[str], parts: Sequence[float]) -> list[list[str]]:
        most = self.room.lines(_CELL_LINES)
        return [
            self._cut(self.lines(cell, w - 2), most, w - 2)
            for cell, w in zip(row, parts, strict=True)
        ]

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
        cells = self._cells(row, parts)
        tallest = max(map(len, cells))
        most = max(1, int((self.height - 2 * MARGIN - 30) / height))
        self.need(min(tallest, most) * height + 2 * _ROW_PAD)
        self.type(points, bold=head)
        top = self.y + _ROW_PAD
        left = x
        for place, (lines, w) in enumerate(zip(cells, parts, strict=True)):
            for i, part in enumerate(lines[:most]):
                right = left + w - 1 - self.width_of(part)
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
        if self.room.draft:
            return wide, tall
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

    @property
    def count(self) -> int:
        """How many sheets of paper it takes."""
        return int(self.pdf.page_no())

    def overflow(self) -> float:
        """Return how much lies on a second page, mm; infinite where it does on a third."""
        return self.y - MARGIN - 7 if self.count == 2 else math.inf

    def finished(self) -> bytes:
        """Return the file; nothing can be written any more."""
        contents = bytes(self.pdf.output())
        self.drop()
        return contents

    def drop(self) -> None:
        """Close what is open for a page that is not wanted."""
        for font in self._fonts():
            font.ttfont.close()


def on_one_page(
    fill: Callable[[Room], Page], most_mm: float, good_mm: float, least_mm: float
) -> bytes:
    """Return a document on one page: with a smaller picture, then with less of what is long.

    Parameters
    ----------
    fill : callable
        Returns the document, its parts in the room given.
    most_mm, good_mm, least_mm : float
        Sizes of the picture: as it is best, as it is read with ease, and as it still shows
        something.
    """
    page = fill(Room(most_mm))
    if page.count > 1:
        tries = [
            Room(max(good_mm, most_mm - max(page.overflow(), 0.0) - _BREAK)),
            *(Room(good_mm, most) for most in _LADDER if most > _TIGHT),
            *(Room(least_mm, most) for most in _LADDER if most <= 2 * _TIGHT),
        ]
        page.drop()
        # What takes less room fits as well: half of what is left to try is settled by each.
        place = bisect_left(
            range(len(tries) - 1), True, key=lambda place: _left_mm(fill, tries[place]) >= 0
        )
        page = fill(_grown(fill, tries[place], most_mm))
    return page.finished()


def _grown(fill: Callable[[Room], Page], room: Room, most_mm: float) -> Room:
    """Return a room with the picture as large as what is left of the page lets it be."""
    left = _left_mm(fill, room)
    larger = replace(room, picture_mm=min(most_mm, room.picture_mm + left - 1))
    if larger.picture_mm > room.picture_mm and _left_mm(fill, larger) >= 0:
        return larger
    return room


def _left_mm(fill: Callable[[Room], Page], room: Room) -> float:
    """Return how much of the page is left, mm; negative where it takes more than one."""
    draft = fill(replace(room, draft=True))
    left = draft.bottom - draft.y if draft.count == 1 else -1.0
    draft.drop()
    return left
