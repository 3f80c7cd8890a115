"""Scale from blank paper: its own four edges, and which size of paper it is by its shape.

The outline is found in a reduced picture, its sides are crossed by many profiles at full size, and
every crossing is a mark that lies on a known line of the sheet. Corners are not used: they are
where paper curls, tears and is pinned.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from groupscan.photo.marks.beside import is_coloured, look_at, paper_beside
from groupscan.photo.marks.outline import Outline, find_outlines
from groupscan.photo.marks.paper_edges import paper_marks
from groupscan.photo.marks.shape import Shape, tell_shape, turned_to
from groupscan.photo.marks.sides import Sides, measure_sides
from groupscan.photo.plane import Marks
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import Sheet, load_catalogue

__all__ = ["find"]

#: How many outlines are looked for, and how many of them are measured.
_SEEN, _TRIED = 8, 3
#: An outline of less merit than this, next to the best, is not looked at.
_LEAST_MERIT = 0.6
#: Least merit of an outline where the sheet is not named: the layers of a butt have 0.4.
_LEAST_UNNAMED = 0.5
#: Worst misfit of a shape (a chi-square with two degrees of freedom) where the sheet is not named.
_WORST = 12.0
#: Odds below which the paper's size counts as a guess, and above which a name is doubted.
_SURE, _DOUBTED = 20.0, 200.0
#: Share of each side that must be seen as an edge.
_LEAST_FOUND = 0.4
#: Merit of an outline within another, next to it, from which it may be the sheet on a board; and
#: by how much more of its faintest side must be an edge where the two share sides.
_AS_GOOD, _FULLER = 0.8, 0.05


def find(photo: Photo, *, sheet: Sheet | None = None) -> Marks | None:
    """Find a blank sheet of paper and measure its edges.

    Parameters
    ----------
    photo : Photo
    sheet : Sheet, optional
        The paper, where the person says which. Left out, the blank papers of the catalogue are
        told apart by their shape.

    Returns
    -------
    Marks or None
        Points on the four edges, in `Marks.lines_px`; None where no such paper is in view, one of
        its edges is not, or its shape is not that of the sheet named.

    Notes
    -----
    The standard errors of the crossings contain how far the sides bend away from the plane, as if
    each side erred as a whole by that much: a curled sheet has a less certain plane however many
    crossings there are, and its middle bulges by what its sides do not show.

    Examples
    --------
    >>> rgb = np.full((900, 700, 3), 50, np.uint8)
    >>> rgb[100:800, 80:621] = 235
    >>> marks = find(Photo("sheet", rgb, focal_px=700.0))
    >>> marks.sheet
    'plain-letter'
    """
    if sheet is not None and sheet.kind != "paper":
        return None
    known = [s for s in load_catalogue().values() if s.kind == "paper"]
    # Square sheets take part, so that none of them is read as a slanted Letter.
    square = next(s for s in load_catalogue().values() if s.kind == "grid")
    sheets = [sheet] if sheet is not None else [*known, square]
    outlines = find_outlines(photo, most=_SEEN)
    others: list[Outline] = []
    tried = 0
    for outline in outlines:
        if outline.merit < _LEAST_MERIT * outlines[0].merit or tried == _TRIED:
            break
        rough = tell_shape(outline.corners_px, sheets, size=photo.size, focal_px=photo.focal_px)
        if any(outline.shares_sides(other) for other in others):
            continue
        if sheet is None and outline.merit < _LEAST_UNNAMED:
            continue
        if rough[0].sheet is square:
            others.append(outline)
        if rough[0].misfit > 2 * _WORST or (
            sheet is None and is_coloured(photo, outline.corners_px)
        ):
            continue
        tried += 1
        found = _measured(photo, outline, sheets)
        if found is None:
            continue
        found = _innermost(photo, found, outlines, sheets)
        sides, told = found.sides, found.told
        if sheet is not None:
            notes = _name_notes(photo, sides, sheet, known)
            return _marks(photo, sides, told[0], (*notes, *_beside(photo, sides, outlines)))
        if told[0].misfit > _WORST or told[0].sheet is square:
            continue
        if _printed(photo, sides, told[0]):
            return None
        return _marks(photo, sides, told[0], (*_size_notes(told), *_beside(photo, sides, outlines)))
    return None


@dataclass(frozen=True)
class _Measured:
    """An outline, its sides, and which sheets they may be, likeliest first."""

    outline: Outline
    sides: Sides
    told: list[Shape]


def _measured(photo: Photo, outline: Outline, sheets: list[Sheet]) -> _Measured | None:
    """Measure an outline; None where a side is no edge, or the shape is none of the sheets'."""
    sides = measure_sides(photo, outline.corners_px, slack_px=outline.slack_px)
    if sides.found.min() < _LEAST_FOUND:
        return None
    told = tell_shape(sides.corners_px, sheets, size=photo.size, focal_px=photo.focal_px)
    # A light rectangle, but not of these sheets' shape?
    return _Measured(outline, sides, told) if told[0].misfit < 2 * _WORST else None


def _innermost(
    photo: Photo, outer: _Measured, outlines: list[Outline], sheets: list[Sheet]
) -> _Measured:
    """Leave the board for the sheet on it: an outline within this one that is as good a sheet.

    A board lighter than the wall, or one of its sides with three of the sheet's, may have a
    sheet's shape by chance. Then the sheet lies within. Where the two share a side, that side is
    an edge in part only: it goes on beyond the sheet, where nothing is. A sheet half in the shade
    holds a lighter outline, too, but there the whole outline is an edge all along.
    """
    for inner in outlines:
        if inner.merit < _AS_GOOD * outer.outline.merit or not inner.within(outer.outline):
            continue
        rough = tell_shape(inner.corners_px, sheets, size=photo.size, focal_px=photo.focal_px)
        if rough[0].misfit > 2 * _WORST:
            continue
        found = _measured(photo, inner, sheets)
        if found is None or found.told[0].misfit > _WORST:
            continue
        apart = not inner.shares_sides(outer.outline, least=1)
        if apart or found.sides.found.min() > outer.sides.found.min() + _FULLER:
            return _innermost(photo, found, outlines, sheets)
    return outer


def _beside(photo: Photo, sides: Sides, outlines: list[Outline]) -> tuple[str, ...]:
    return paper_beside(photo, sides.corners_px, outlines=outlines)


def _marks(photo: Photo, sides: Sides, shape: Shape, notes: tuple[str, ...]) -> Marks:
    corners, first, more = turned_to(sides.corners_px, shape)
    w, h = shape.sheet.width_mm / 2, shape.sheet.height_mm / 2
    mm = np.array([[-w, h], [w, h], [w, -h], [-w, -h]])
    start = cv2.getPerspectiveTransform(mm.astype(np.float32), corners.astype(np.float32))
    marks = paper_marks(photo, sides, (2 * w, 2 * h), start=start, first=first)
    return replace(marks, sheet=shape.sheet.id, notes=(*notes, *more))


def _size_notes(told: list[Shape]) -> tuple[str, ...]:
    """Say where the paper's size is a guess."""
    best, *others = told
    if not others or best.log_odds(others[0]) > np.log(_SURE):
        return ()
    return (
        f"The paper's size is a guess: {best.sheet.id} fits this photo best, but "
        f"{others[0].sheet.id} is not ruled out. Name the sheet to be sure.",
    )


def _name_notes(photo: Photo, sides: Sides, sheet: Sheet, known: list[Sheet]) -> tuple[str, ...]:
    """Say where the paper looks like another than the one named."""
    others = [s for s in known if s.id != sheet.id]
    told = tell_shape(sides.corners_px, [sheet, *others], size=photo.size, focal_px=photo.focal_px)
    if told[0].sheet.id == sheet.id:
        return ()
    named = next(shape for shape in told if shape.sheet.id == sheet.id)
    if told[0].log_odds(named) < np.log(_DOUBTED):
        return ()
    return (
        f"The paper's shape is that of {told[0].sheet.id} rather than of {sheet.id}: check "
        "which it is.",
    )


def _printed(photo: Photo, sides: Sides, shape: Shape) -> bool:
    """Whether markers of our printed sheets stand on the paper: then it is not blank."""
    corners, _, _ = turned_to(sides.corners_px, shape)
    w, h = shape.sheet.width_mm, shape.sheet.height_mm
    same = [
        s for s in load_catalogue().values() if s.fiducials and (s.width_mm, s.height_mm) == (w, h)
    ]
    if not same:
        return False
    # The outermost of a marker's eight cells are dark all round, with light paper about them.
    turn = np.linspace(-1, 1, 15)
    edge = np.ones_like(turn)
    frame = np.vstack(
        [np.column_stack(p) for p in ((turn, edge), (turn, -edge), (edge, turn), (-edge, turn))]
    )
    count = 0
    for marker in same[0].fiducials:
        at = np.array([marker.x_mm, marker.y_mm])
        half = marker.side_mm / 2
        levels = []
        for reach in (half * 0.875, half * 1.15):
            mm = at + frame * reach
            unit = np.column_stack([mm[:, 0] / w + 0.5, 0.5 - mm[:, 1] / h])
            levels.append(np.quantile(look_at(photo, corners, unit).min(axis=1), 0.6))
        count += bool(levels[0] < 0.6 * levels[1])
    return count >= 3
