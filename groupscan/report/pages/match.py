"""A comparison on paper: the kinds about one aim, the verdicts, and what to move first."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from groupscan.report.match.looks import LooksScene, fill_looks_axes, looks_sentence
from groupscan.report.match.scene import MatchScene
from groupscan.report.match.words import (
    offset_cells,
    tightness_rows,
    tightness_sentence,
    verdict_sentence,
)
from groupscan.report.pages.page import MARGIN, Page, Paper, Room, on_one_page, paper_style
from groupscan.report.pages.to_scale import PICTURE_EDGE, draw_key, match_picture
from groupscan.report.scene import LengthUnit
from groupscan.report.words import Unit
from groupscan.stats.moves import Advice
from groupscan.stats.tightness.builds import Builds
from groupscan.units import MM_PER_INCH

__all__ = ["MatchSheet", "match_pdf"]

_SIDE: Final = 92.0
_GOOD_SIDE: Final = 64.0
_LEAST_SIDE: Final = 52.0
_GAP: Final = 4.0
_LOOK_TALL: Final = 44.0
# Letters of a title that fit over all pictures of looks, side by side.
_LOOK_NAME: Final = 90


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
    day_text : callable
        Writes that day as the reader likes it.
    looks : tuple of LooksScene
        How each comparison stood after each end, where it was looked at then; empty for one look.
    unit : {"mm", "inch", "moa", "mrad"}
    axes : {"mm", "inch"}
        The length of the picture's axes, which have no angles.
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
    day_text: Callable[[date], str] = date.isoformat
    looks: tuple[LooksScene, ...] = ()
    unit: Unit = "mm"
    axes: LengthUnit = "mm"
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
    return on_one_page(lambda room: _filled(sheet, paper, room), _SIDE, _GOOD_SIDE, _LEAST_SIDE)


def _filled(sheet: MatchSheet, paper: Paper, room: Room) -> Page:
    page = Page(
        paper, sheet.title, source=sheet.source, made_on=sheet.made_on, day_text=sheet.day_text,
        room=room,
    )  # fmt: skip
    page.head(sheet.title, sheet.below)
    page.particulars(sheet.particulars)
    page.sentence(sheet.sentence)
    _picture_and_verdicts(page, sheet, room.picture_mm)
    _numbers(page, sheet)
    if sheet.looks:
        _looks(page, sheet)
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
    drawn = match_picture(page, scene, side_mm=side_mm, x=MARGIN, unit=sheet.axes)
    x = MARGIN + side_mm + PICTURE_EDGE + _GAP
    wide = page.width - MARGIN - x
    page.y += draw_key(page, drawn, x=x, wide=wide) + 2
    said = [
        verdict_sentence(one, scene.reference.name, sheet.unit, distance_m=sheet.distance_m)
        for one in scene.offsets
    ]
    notes = [(words, False) for words in said]
    notes += [("What to move first", True), *((words, False) for words in _moves(sheet))]
    if strays := scene.strays():
        words = (
            f"The arrow to {', '.join(strays)} is measured within ends and counts; the centre of "
            "all its shots lies elsewhere, since the ends held unlike numbers of each."
        )
        notes.append((words, False))
    page.asides(notes, x=x, wide=wide, down_to=top + drawn.height_mm)
    page.y = max(page.y, top + drawn.height_mm) + 0.5


def _numbers(page: Page, sheet: MatchSheet) -> None:
    """Write where each kind hits and how tight it is, in one table."""
    scene, away = sheet.scene, sheet.distance_m
    reference = scene.reference.name
    tight = {
        name: cells for name, *cells in tightness_rows(sheet.builds, sheet.unit, distance_m=away)
    }
    rows = [(reference, "–", "–", "held against", *tight.get(reference, ("–", "–")))]
    for one in scene.offsets:
        cells = offset_cells(one, sheet.unit, distance_m=away)
        rows.append((one.name, *cells, one.verdict, *tight.get(one.name, ("–", "–"))))
    page.heading(f"Where they hit, from {reference}, and how tight they are")
    page.table(
        ("", "sideways", "height", "verdict", "sigma", "times the tightest"),
        rows,
        (1.7, 2.7, 2.7, 1.35, 1.05, 1.9),
        points=7.5,
    )
    wrong = 100 * (1 - scene.confidence)
    page.paragraph(
        f"In brackets the {scene.confidence:.0%} interval. Of 100 verdicts of apart at most "
        f"{wrong:.0f} are wrong, and as many of together"
        + (", all comparisons counted." if len(scene.offsets) > 1 else ".")
        + f" How tight: {tightness_sentence(sheet.builds)}",
        points=7.0,
    )


def _looks(page: Page, sheet: MatchSheet) -> None:
    said = " ".join(looks_sentence(scene) for scene in sheet.looks)
    said += " Over all looks a verdict is right at the stated rate."
    if page.room.most is not None:  # the sentences say how it ended
        page.paragraph(f"Looked at after every end: {said}", points=7.0)
        return
    page.heading("After each end", after=_LOOK_TALL)
    page.paragraph(
        f"{said} Each mark is the distance between the centres as it stood then, with its interval."
    )
    import matplotlib as mpl
    from matplotlib.figure import Figure

    page.need(_LOOK_TALL)
    with mpl.rc_context(paper_style()):
        figure = Figure(
            figsize=(page.inside / MM_PER_INCH, _LOOK_TALL / MM_PER_INCH), layout="constrained"
        )
        for place, scene in enumerate(sheet.looks, 1):
            ax = figure.add_subplot(1, len(sheet.looks), place)
            fill_looks_axes(ax, scene, unit=sheet.axes)
            name = page.printable(scene.name)
            ax.set_title(name[: _LOOK_NAME // len(sheet.looks)], loc="left", parse_math=False)
            ax.legend(frameon=False, fontsize=6)
        _, height = page.figure(figure, MARGIN)
    page.y += height + 1.0


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
