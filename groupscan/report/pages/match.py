"""A comparison on paper: the kinds about one aim, the verdicts, and what to move first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from groupscan.report.match.scene import MatchScene
from groupscan.report.match.words import (
    offset_cells,
    tightness_rows,
    tightness_sentence,
    verdict_sentence,
)
from groupscan.report.pages.page import MARGIN, Page, Paper, on_one_page
from groupscan.report.pages.session import length_of
from groupscan.report.pages.to_scale import PICTURE_EDGE, draw_key, match_picture
from groupscan.report.words import Unit
from groupscan.stats.moves import Advice
from groupscan.stats.tightness.builds import Builds

__all__ = ["MatchSheet", "match_pdf"]

_SIDE: Final = 92.0
_LEAST_SIDE: Final = 56.0
_GAP: Final = 4.0


@dataclass(frozen=True)
class MatchSheet:
    """What the page of a comparison shows.

    Attributes
    ----------
    title, below : str
        What it is called, and a line of what it is about.
    particulars : tuple of (str, str)
        Names and values; those without a value are left out.
    sentence : str
        What it means and what to do.
    scene : MatchScene
    builds : Builds
        How tight the kinds are.
    advice : mapping of str to Advice
        What to move, by kind.
    advised : str
        What the advice is for, such as ``"a right-handed compound bow"``, or why there is none.
    pooled : tuple of str
        What was pooled or left out, and what these arrows cannot say.
    cautions : tuple of str
    source : str
        From which records it was made.
    made_on : date
    unit : {"mm", "inch", "moa", "mrad"}
    distance_m : float or None
    """

    title: str
    below: str
    particulars: tuple[tuple[str, str], ...]
    sentence: str
    scene: MatchScene
    builds: Builds
    advice: Mapping[str, Advice]
    advised: str
    pooled: tuple[str, ...]
    cautions: tuple[str, ...]
    source: str
    made_on: date
    unit: Unit = "mm"
    distance_m: float | None = None


def match_pdf(sheet: MatchSheet, *, paper: Paper = "a4") -> bytes:
    """Return the page of a comparison as the bytes of a PDF.

    Parameters
    ----------
    sheet : MatchSheet
    paper : {"letter", "a4"}

    Returns
    -------
    bytes
        The same contents of the same day give the same bytes.
    """
    return on_one_page(lambda size: _filled(sheet, paper, size), _SIDE, _LEAST_SIDE)


def _filled(sheet: MatchSheet, paper: Paper, side_mm: float) -> Page:
    page = Page(paper, sheet.title, source=sheet.source, made_on=sheet.made_on)
    page.head(sheet.title, sheet.below)
    page.particulars(sheet.particulars)
    page.sentence(sheet.sentence)
    _picture_and_verdicts(page, sheet, side_mm)
    _offsets(page, sheet)
    _tightness(page, sheet)
    notes = [note for one in sheet.advice.values() if one.first for note in one.notes]
    page.paragraph("What to move: " + " ".join(dict.fromkeys([sheet.advised, *notes])), points=7.0)
    if sheet.pooled:
        page.heading("What was pooled, and what these arrows cannot say", after=8)
        page.bullets(sheet.pooled)
    page.cautions(sheet.cautions)
    return page


def _picture_and_verdicts(page: Page, sheet: MatchSheet, side_mm: float) -> None:
    page.need(side_mm + 30)
    top, scene = page.y, sheet.scene
    drawn = match_picture(page, scene, side_mm=side_mm, x=MARGIN, unit=length_of(sheet.unit))
    x = MARGIN + side_mm + PICTURE_EDGE + _GAP
    wide = page.width - MARGIN - x
    page.y += draw_key(page, drawn, x=x, wide=wide) + 2
    for one in scene.offsets:
        said = verdict_sentence(one, scene.reference.name, sheet.unit, distance_m=sheet.distance_m)
        page.aside(said, x=x, wide=wide)
    page.aside("What to move first", x=x, wide=wide, bold=True)
    for said in _moves(sheet):
        page.aside(said, x=x, wide=wide)
    if strays := scene.strays():
        words = (
            f"The arrow to {', '.join(strays)} is measured within ends and counts; the centre of "
            "all its shots lies elsewhere, since the ends held unlike numbers of each."
        )
        page.aside(words, x=x, wide=wide)
    page.y = max(page.y, top + drawn.height_mm) + 0.5


def _offsets(page: Page, sheet: MatchSheet) -> None:
    scene, away = sheet.scene, sheet.distance_m
    reference = scene.reference.name
    page.heading(f"Where they hit, from {reference}")
    page.table(
        ("", "sideways", "height", "verdict"),
        [
            (one.name, *offset_cells(one, sheet.unit, distance_m=away), one.verdict)
            for one in scene.offsets
        ],
        (2.0, 2.6, 2.6, 1.5),
        points=7.5,
    )
    wrong = 100 * (1 - scene.confidence)
    page.paragraph(
        f"In brackets the {scene.confidence:.0%} interval. Of 100 verdicts of apart at most "
        f"{wrong:.0f} are wrong, and as many of together"
        + (", all comparisons counted." if len(scene.offsets) > 1 else "."),
        points=7.0,
    )


def _tightness(page: Page, sheet: MatchSheet) -> None:
    page.heading(f"How tight: {tightness_sentence(sheet.builds)}")
    page.table(
        ("", "spread (sigma)", "times the tightest"),
        tightness_rows(sheet.builds, sheet.unit, distance_m=sheet.distance_m),
        (2.0, 1.4, 5.0),
        points=7.5,
    )


def _moves(sheet: MatchSheet) -> list[str]:
    """Say what to move, in the order in which to do it."""
    offsets = sheet.scene.offsets
    if not any(one.verdict == "apart" for one in offsets):
        settled = all(one.verdict == "together" for one in offsets)
        return [
            "Nothing: they land together." if settled else "Nothing yet: shoot more arrows first."
        ]
    lines = []
    for name, one in sheet.advice.items():
        if one.first is not None:
            lines.append(f"{name}: {one.first.words}")
            lines += [f"Later, if it is still wanted: {move.words}" for move in one.later]
            lines += list(one.readings)
    return lines
