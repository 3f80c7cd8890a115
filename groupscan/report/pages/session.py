"""A session on paper: the group true to scale, its numbers, its ends, and what to make of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Final

from groupscan.report.pages.page import MARGIN, Page, Paper, Room, on_one_page
from groupscan.report.pages.to_scale import PICTURE_EDGE, draw_key, group_picture
from groupscan.report.scene import LengthUnit, Scene
from groupscan.report.words import (
    MAIN,
    STATISTICS,
    UNITS,
    Unit,
    bare_number,
    meaning,
    shape_rows,
    statistic_text,
)
from groupscan.stats.group import Group

__all__ = ["SessionSheet", "numbers_rows", "session_pdf"]

_SIDE: Final = 92.0
_GOOD_SIDE: Final = 64.0
_LEAST_SIDE: Final = 52.0
_GAP: Final = 4.0
_FEW_ENDS: Final = 6
_REST: Final = "more ends, on the Group sheet"
_OF_MANY: Final = ("offset_x", "offset_y", "sigma")
_OF_ENDS: Final = ("offset_x", "offset_y", "extreme_spread", "sigma")
_COMPARED: Final = ("offset_x", "offset_y", "sigma", "r50")


@dataclass(frozen=True)
class SessionSheet:
    """What the page of a session shows.

    Attributes
    ----------
    title, below : str
        What it is called, and a line of what it is about.
    particulars : tuple of (str, str)
        Names and values; those without a value are left out.
    scene : Scene
        The group of all ends, with its sheet where they share one.
    ends : mapping of str to Group
        Each end by what it is called; told apart where there are several.
    others : mapping of str to Group
        The same shots with some left out, such as ``"without those marked"``; beside the whole.
    sight : str
        How to move the sight; empty where the evidence does not carry it.
    shooter_notes : str
        What the shooter wrote.
    pooled : tuple of str
        What was pooled or left out.
    cautions : tuple of str
    source : str
        From which records it was made.
    made_on : date
    day_text : callable
        Writes that day as the reader likes it.
    unit : {"mm", "inch", "moa", "mrad"}
    axes : {"mm", "inch"}
        The length of the picture's axes, which have no angles.
    """

    title: str
    below: str
    particulars: tuple[tuple[str, str], ...]
    scene: Scene
    cautions: tuple[str, ...]
    source: str
    made_on: date
    day_text: Callable[[date], str] = date.isoformat
    ends: Mapping[str, Group] = field(default_factory=dict)
    others: Mapping[str, Group] = field(default_factory=dict)
    sight: str = ""
    shooter_notes: str = ""
    pooled: tuple[str, ...] = ()
    unit: Unit = "mm"
    axes: LengthUnit = "mm"


def session_pdf(sheet: SessionSheet, *, paper: Paper = "a4") -> bytes:
    """Return the page of a session as the bytes of a PDF.

    Parameters
    ----------
    sheet : SessionSheet
    paper : {"letter", "a4"}

    Returns
    -------
    bytes
        The same contents of the same day give the same bytes.
    """
    return on_one_page(lambda room: _filled(sheet, paper, room), _SIDE, _GOOD_SIDE, _LEAST_SIDE)


def _filled(sheet: SessionSheet, paper: Paper, room: Room) -> Page:
    group, unit = sheet.scene.group, sheet.unit
    page = Page(
        paper, sheet.title, source=sheet.source, made_on=sheet.made_on, day_text=sheet.day_text,
        room=room,
    )  # fmt: skip
    page.head(sheet.title, sheet.below)
    page.particulars(sheet.particulars)
    page.sentence(" ".join(filter(None, (meaning(group, unit), sheet.sight))))
    _picture_and_numbers(page, sheet, room.picture_mm)
    if sheet.others and not room.tight:
        groups = {f"all {group.n}": group, **sheet.others}
        page.heading("With and without")
        page.table(
            ("", *groups),
            [
                (STATISTICS[name][0], *(statistic_text(g, name, unit) for g in groups.values()))
                for name in _COMPARED
            ],
            (1.0, *(1.4 for _ in groups)),
        )
    if len(sheet.ends) > 1:
        _end_by_end(page, sheet)
    if sheet.shooter_notes.strip():
        page.heading("Notes of the session", after=8)
        page.paragraph(sheet.shooter_notes)
    notes = (*sheet.pooled, *group.notes)
    if notes:
        page.heading("What was pooled, and what these arrows cannot say", after=8)
        page.bullets(notes)
    page.cautions(sheet.cautions)
    return page


def _picture_and_numbers(page: Page, sheet: SessionSheet, side_mm: float) -> None:
    group, unit = sheet.scene.group, sheet.unit
    page.need(side_mm + 40)
    top = page.y
    drawn = group_picture(page, sheet.scene, side_mm=side_mm, x=MARGIN, unit=sheet.axes)
    x = MARGIN + side_mm + PICTURE_EDGE + _GAP
    wide = page.width - MARGIN - x
    page.table(
        (f"{group.n} shots", f"value ({group.confidence:.0%} interval)"),
        numbers_rows(group, unit),
        (1.0, 1.5),
        x=x,
        wide=wide,
        points=7.5,
        whole=True,  # it stands beside the picture, where there is room
    )
    page.y += 0.5
    page.y += draw_key(page, drawn, x=x, wide=wide)
    page.y = max(page.y, top + drawn.height_mm) + 0.5
    shape = "; ".join(f"{title}: {words}" for title, words in shape_rows(group, unit))
    if shape:
        page.paragraph(f"{shape}.", points=7.0)


def _end_by_end(page: Page, sheet: SessionSheet) -> None:
    unit = sheet.unit
    if len(sheet.ends) <= _FEW_ENDS:
        page.heading("End by end")
        page.table(
            ("", "shots", *(STATISTICS[name][0] for name in _OF_ENDS)),
            [
                (name, str(end.n), *(statistic_text(end, one, unit) for one in _OF_ENDS))
                for name, end in sheet.ends.items()
            ],
            (1.5, 1.2, 4.6, 4.6, 3.3, 3.1),
            points=7.0,
            rest=_REST,
        )
        return
    rows = [  # signs instead of words make room for two side by side
        (
            name,
            str(end.n),
            *(
                bare_number(end.estimates()[one], unit, distance_m=end.distance_m)
                for one in _OF_MANY
            ),
        )
        for name, end in sheet.ends.items()
    ]
    page.two_tables(
        ("", "n", "right +", "high +", "sigma"), rows, (1.35, 0.6, 2.6, 2.6, 2.3),
        title=f"End by end, {UNITS[unit]}", rest=_REST,
    )  # fmt: skip


def numbers_rows(group: Group, unit: Unit) -> list[tuple[str, str]]:
    """Return the main numbers of a group with their intervals, those that it has."""
    known = group.estimates()
    return [(STATISTICS[n][0], statistic_text(group, n, unit)) for n in MAIN if n in known]
