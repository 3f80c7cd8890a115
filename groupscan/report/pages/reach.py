"""Reach on paper: the chance to land inside the shooter's own circle, by distance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any, Final

from groupscan.report.pages.page import MARGIN, Page, Paper, Room, on_one_page, paper_style
from groupscan.report.reach import (
    ReachScene,
    few_words,
    fill_reach_axes,
    reach_rows,
    reach_sentence,
)
from groupscan.units import MM_PER_INCH

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["ReachSheet", "reach_pdf"]

_TALL: Final = 100.0
_GOOD_TALL: Final = 70.0
_LEAST_TALL: Final = 56.0


@dataclass(frozen=True)
class ReachSheet:
    """What the page of a reach shows.

    Attributes
    ----------
    title, below : str
        What it is called, and a line of what it is about.
    particulars : tuple of (str, str)
        Names and values; those without a value are left out.
    scene : ReachScene
    circle : str
        Its diameter, as the reader writes it.
    notes : tuple of str
        What was pooled or left out, and what the arrows cannot say.
    cautions : tuple of str
        Beside that of the reach itself, which is always printed.
    source : str
        From which records it was made.
    made_on : date
    day_text : callable
        Writes that day as the reader likes it.
    """

    title: str
    below: str
    particulars: tuple[tuple[str, str], ...]
    scene: ReachScene
    circle: str
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    source: str
    made_on: date
    day_text: Callable[[date], str] = date.isoformat


def reach_pdf(sheet: ReachSheet, *, paper: Paper = "a4") -> bytes:
    """Return the page of a reach as the bytes of a PDF.

    Parameters
    ----------
    sheet : ReachSheet
    paper : {"letter", "a4"}

    Returns
    -------
    bytes
        The same contents of the same day give the same bytes.
    """
    return on_one_page(lambda room: _filled(sheet, paper, room), _TALL, _GOOD_TALL, _LEAST_TALL)


def _filled(sheet: ReachSheet, paper: Paper, room: Room) -> Page:
    scene = sheet.scene
    reach = scene.reach
    page = Page(
        paper, sheet.title, source=sheet.source, made_on=sheet.made_on, day_text=sheet.day_text,
        room=room,
    )  # fmt: skip
    page.head(sheet.title, sheet.below)
    page.particulars(sheet.particulars)
    page.sentence(" ".join(filter(None, (few_words(scene), reach_sentence(scene, sheet.circle)))))
    _curve(page, scene, room.picture_mm)
    page.heading("Distance by distance")
    page.table(
        ("from", f"% inside ({reach.confidence:.0%} interval)", "rests on"),
        reach_rows(scene),
        (1.0, 1.6, 2.4),
        points=7.5,
        rest="more distances, on the Reach screen",
    )
    page.paragraph(
        "Inside: the chance that the next arrow lands in the circle, in brackets the share of "
        "arrows in the long run. The distance to rely on is where the low end of the interval "
        "falls below the standard: few arrows mean a wide interval and less reach.",
        points=7.0,
    )
    if sheet.notes:
        page.heading("What was pooled, and what these arrows cannot say", after=8)
        page.bullets(sheet.notes)
    page.cautions((reach.caution, *sheet.cautions))
    return page


def _curve(page: Page, scene: ReachScene, tall_mm: float) -> None:
    import matplotlib as mpl

    page.need(tall_mm)
    with mpl.rc_context(paper_style()):
        _, height = page.figure(_figure(scene, page.inside, tall_mm), MARGIN)
    page.y += height + 1.0


def _figure(scene: ReachScene, wide_mm: float, tall_mm: float) -> Figure:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(wide_mm / MM_PER_INCH, tall_mm / MM_PER_INCH))
    left, foot, above, axis = 13.0, 12.0, 2.0, 10.0
    ax = figure.add_axes(
        (
            left / wide_mm,
            (foot + axis) / tall_mm,
            1 - (left + 2) / wide_mm,
            1 - (foot + axis + above) / tall_mm,
        )
    )
    fill_reach_axes(ax, scene)
    named: tuple[list[Any], list[str]] = ax.get_legend_handles_labels()
    figure.legend(
        *named, loc="lower left", frameon=False, fontsize=7, ncols=2,
        bbox_to_anchor=(left / wide_mm, 0), borderaxespad=0, borderpad=0, labelspacing=0.5,
        columnspacing=2.0,
    )  # fmt: skip
    return figure
