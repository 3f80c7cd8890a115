"""A student on paper: the season's picture, what it shows, the last sessions, goals and notes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any, Final

from groupscan.report.pages.page import MARGIN, Page, Paper, Room, on_one_page, paper_style
from groupscan.report.season.figures import fill_season_axes
from groupscan.report.season.scene import SeasonScene
from groupscan.units import MM_PER_INCH

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["StudentSheet", "student_pdf"]

_TALL: Final = 112.0
_GOOD_TALL: Final = 88.0
_LEAST_TALL: Final = 64.0
# What the flags of changes take over the first panel, and a point of type, mm.
_FLAG: Final = 4.5
# A panel lower than this has no room for its unit beside it.
_LOW: Final = 14.0
_POINT: Final = MM_PER_INCH / 72
# Goals and notes of up to so many characters stand side by side.
_SHORT: Final = 110


@dataclass(frozen=True)
class StudentSheet:
    """What the page of a student shows.

    Attributes
    ----------
    title, below : str
        Whose page it is, and a line of what it is about.
    particulars : tuple of (str, str)
    word, evidence : str
        What the season shows in a word, and what that rests on.
    sentence : str
        What changed and what to do.
    scene : SeasonScene or None
        None where there is no season to draw yet.
    work_on : tuple of str
        Everything that the season shows beyond chance, with what to do.
    within : tuple of str
        How a session goes from end to end, and its first arrow.
    sessions : tuple of rows
        Name, shots, sigma, right and high; the newest first.
    where : str
        Unit of the sessions' numbers.
    goals, notes : str
        What shooter and coach wrote.
    pooled : tuple of str
    cautions : tuple of str
    source : str
    made_on : date
    day_text : callable
        Writes that day as the reader likes it.
    """

    title: str
    below: str
    particulars: tuple[tuple[str, str], ...]
    word: str
    evidence: str
    sentence: str
    scene: SeasonScene | None
    work_on: tuple[str, ...]
    within: tuple[str, ...]
    sessions: tuple[tuple[str, ...], ...]
    where: str
    goals: str
    notes: str
    pooled: tuple[str, ...]
    cautions: tuple[str, ...]
    source: str
    made_on: date
    day_text: Callable[[date], str] = date.isoformat


def student_pdf(sheet: StudentSheet, *, paper: Paper = "a4") -> bytes:
    """Return the page of a student as the bytes of a PDF.

    Parameters
    ----------
    sheet : StudentSheet
    paper : {"letter", "a4"}

    Returns
    -------
    bytes
        The same contents of the same day give the same bytes.
    """
    return on_one_page(lambda room: _filled(sheet, paper, room), _TALL, _GOOD_TALL, _LEAST_TALL)


def _filled(sheet: StudentSheet, paper: Paper, room: Room) -> Page:
    page = Page(
        paper, sheet.title, source=sheet.source, made_on=sheet.made_on, day_text=sheet.day_text,
        room=room,
    )  # fmt: skip
    page.head(sheet.title, sheet.below)
    page.particulars((("In a word", sheet.word), ("It rests on", sheet.evidence)), columns=2)
    page.particulars(sheet.particulars)
    page.sentence(sheet.sentence)
    if sheet.scene is not None:
        _season(page, sheet.scene, room.picture_mm)
    if sheet.work_on:
        page.heading("What to work on", after=8)
        page.bullets(sheet.work_on, first=True)
    _written(page, sheet)
    if sheet.sessions:
        page.heading(f"Last sessions, {sheet.where}; in brackets the 95% interval")
        page.table(
            ("session", "shots", "sigma", "right +", "high +"),
            sheet.sessions,
            (2.2, 0.9, 2.2, 2.6, 2.6),
            points=7.0,
            rest="more sessions, on the Season screen",
        )
    if sheet.within:
        page.bullets(sheet.within)
    if sheet.pooled:
        page.heading("What was pooled, and what these sessions cannot say", after=8)
        page.bullets(sheet.pooled)
    page.cautions(sheet.cautions)
    return page


def _written(page: Page, sheet: StudentSheet) -> None:
    """Write goals and notes: side by side where they are short, else one under the other."""
    told = [(n, w) for n, w in (("Goals", sheet.goals), ("Notes", sheet.notes)) if w.strip()]
    if len(told) == 2 and all(len(words) < _SHORT for _, words in told):
        page.particulars(told, columns=2)
        return
    for title, words in told:
        page.heading(title, after=8)
        page.paragraph(words)


def _season(page: Page, scene: SeasonScene, tall_mm: float) -> None:
    import matplotlib as mpl

    page.need(tall_mm + 16)
    with mpl.rc_context(paper_style()):
        figure = _figure(scene, page.inside, tall_mm)
        _, height = page.figure(figure, MARGIN)
    page.y += height + 1.0
    marks, most = scene.marks, page.room.most
    left = 0 if most is None else len(marks) - most
    for mark in marks[:most]:
        page.paragraph(
            ". ".join(filter(None, (f"{mark.letter}  {mark.day}: {mark.what}", mark.notes))),
            points=7.0,
        )
    if left > 0:
        page.paragraph(f"and {left} more changes on the Season screen", points=7.0)


def _figure(scene: SeasonScene, wide_mm: float, tall_mm: float) -> Figure:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(wide_mm / MM_PER_INCH, tall_mm / MM_PER_INCH))
    flagged = _FLAG if scene.flags else 0.0  # the flags stand between the panel and its title
    left, foot, above, gap = 13.0, 13.0, 5.5 + flagged, 6.0
    height = (tall_mm - foot - above - 2 * gap) / 3
    key: dict[str, Any] = {}
    for place in range(len(scene.panels)):
        low = tall_mm - above - height - place * (height + gap)
        ax = figure.add_axes(
            (left / wide_mm, low / tall_mm, 1 - (left + 2) / wide_mm, height / tall_mm)
        )
        fill_season_axes(ax, scene, place)
        if height < _LOW and place != 1:
            ax.set_ylabel("")  # it is longer than the panel is high, and the same for all
        if place == 0 and flagged:
            ax.set_title(ax.get_title(loc="left"), loc="left", fontsize=9, pad=4 + _FLAG / _POINT)
        for handle, words in zip(*ax.get_legend_handles_labels(), strict=True):
            key.setdefault(words, handle)
    figure.legend(
        list(key.values()), list(key), loc="lower left", frameon=False, fontsize=7, ncols=3,
        bbox_to_anchor=(left / wide_mm, 0), borderaxespad=0, borderpad=0, labelspacing=0.4,
        columnspacing=1.4,
    )  # fmt: skip
    return figure
