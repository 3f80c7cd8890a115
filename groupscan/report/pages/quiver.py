"""Numbered arrows on paper: where each lands from the others, and which to turn or pull."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Final

from groupscan.report.pages.page import MARGIN, Page, Paper, Room, on_one_page
from groupscan.report.pages.to_scale import PICTURE_EDGE, draw_key, quiver_picture
from groupscan.report.quiver import (
    QuiverScene,
    arrow_numbers,
    arrow_rows,
    quiver_sentence,
    todo_lines,
)
from groupscan.report.scene import LengthUnit
from groupscan.report.words import UNITS, Unit
from groupscan.stats.arrows import Quiver

__all__ = ["QuiverSheet", "quiver_pdf"]

_SIDE: Final = 92.0
_GOOD_SIDE: Final = 64.0
_LEAST_SIDE: Final = 52.0
_GAP: Final = 4.0
# More arrows stand in two tables side by side.
_FEW: Final = 10
_REST: Final = "more arrows, on the Quiver screen"
_NOTHING: Final = "No arrow is flagged: turn and pull none."


@dataclass(frozen=True)
class QuiverSheet:
    """What the page of a quiver shows.

    Attributes
    ----------
    title, below : str
        What it is called, and a line of what it is about.
    particulars : tuple of (str, str)
        Names and values; those without a value are left out.
    scene : QuiverScene
    quiver : Quiver
        What the scene was made from.
    notes : tuple of str
        What was pooled or left out, and what the arrows cannot say.
    cautions : tuple of str
    source : str
        From which records it was made.
    made_on : date
    day_text : callable
        Writes that day as the reader likes it.
    unit : {"mm", "inch", "moa", "mrad"}
    axes : {"mm", "inch"}
        The length of the picture's axes, which have no angles.
    distance_m : float or None
    """

    title: str
    below: str
    particulars: tuple[tuple[str, str], ...]
    scene: QuiverScene
    quiver: Quiver
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    source: str
    made_on: date
    day_text: Callable[[date], str] = date.isoformat
    unit: Unit = "mm"
    axes: LengthUnit = "mm"
    distance_m: float | None = None


def quiver_pdf(sheet: QuiverSheet, *, paper: Paper = "a4") -> bytes:
    """Return the page of a quiver as the bytes of a PDF.

    Parameters
    ----------
    sheet : QuiverSheet
    paper : {"letter", "a4"}

    Returns
    -------
    bytes
        The same contents of the same day give the same bytes.
    """
    return on_one_page(lambda room: _filled(sheet, paper, room), _SIDE, _GOOD_SIDE, _LEAST_SIDE)


def _filled(sheet: QuiverSheet, paper: Paper, room: Room) -> Page:
    scene, quiver, unit, away = sheet.scene, sheet.quiver, sheet.unit, sheet.distance_m
    page = Page(
        paper, sheet.title, source=sheet.source, made_on=sheet.made_on, day_text=sheet.day_text,
        room=room,
    )  # fmt: skip
    page.head(sheet.title, sheet.below)
    page.particulars(sheet.particulars)
    page.sentence(quiver_sentence(scene, quiver, unit, distance_m=away))
    _picture_and_todo(page, sheet, room.picture_mm)
    _arrow_by_arrow(page, sheet)
    if sheet.notes:
        page.heading("What was pooled, and what these arrows cannot say", after=8)
        page.bullets(sheet.notes)
    page.cautions(sheet.cautions)
    return page


def _arrow_by_arrow(page: Page, sheet: QuiverSheet) -> None:
    scene, unit, away = sheet.scene, sheet.unit, sheet.distance_m
    title = f"Arrow by arrow, from those that fly together; in brackets the {scene.confidence:.0%}"
    title += " interval"
    if len(scene.marks) <= _FEW:
        page.heading(title)
        page.table(
            ("arrow", "sideways", "height", "known"),
            arrow_rows(scene, sheet.quiver, unit, distance_m=away),
            (1.4, 2.6, 2.6, 2.8),
            points=7.5,
            rest=_REST,
        )
        return
    page.two_tables(
        (f"arrow, {UNITS[unit]}", "right +", "high +", "known"),
        arrow_numbers(scene, unit, distance_m=away),
        (1.6, 2.1, 2.1, 3.0),
        title=title,
        rest=_REST,
    )


def _picture_and_todo(page: Page, sheet: QuiverSheet, side_mm: float) -> None:
    page.need(side_mm + 20)
    top, scene = page.y, sheet.scene
    drawn = quiver_picture(page, scene, side_mm=side_mm, x=MARGIN, unit=sheet.axes)
    x = MARGIN + side_mm + PICTURE_EDGE + _GAP
    wide = page.width - MARGIN - x
    page.y += draw_key(page, drawn, x=x, wide=wide) + 2
    lines = todo_lines(sheet.quiver, scene, sheet.unit, distance_m=sheet.distance_m)
    notes = [("What to do", True), *((words, False) for words in lines or [_NOTHING])]
    page.asides(notes, x=x, wide=wide, down_to=top + drawn.height_mm)
    page.y = max(page.y, top + drawn.height_mm) + 0.5
