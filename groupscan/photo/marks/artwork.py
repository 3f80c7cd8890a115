"""Scale from whatever is printed on a sheet that is known: rectangles, circles, markers, a grid.

A first guess of the plane comes from any figure that the sheet has (its markers, its grid, a
rectangle, a circle or two, the paper's own outline). The guess under which the photo agrees best
with the whole artwork is then refined by all printed edges at once, in one fit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from groupscan.errors import MarksError
from groupscan.photo.marks import fiducials, grid, rings
from groupscan.photo.marks.guesses import could_be, guess_planes
from groupscan.photo.marks.paper_edges import paper_marks
from groupscan.photo.marks.printed import (
    Fits,
    Stations,
    lay_stations,
    measure_prints,
    printed_marks,
)
from groupscan.photo.marks.sides import measure_sides
from groupscan.photo.marks.upright import paper_turn
from groupscan.photo.plane import Floats, Marks, Plane, fit_plane
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import Sheet
from groupscan.sheets.prints import prints_of

__all__ = ["find"]

#: Longest side of the picture that guesses are judged in, px, and stations they are judged by, at
#: first and closer.
_COARSE, _FEW = 1000, (56, 160)
#: Guesses that are judged by all those stations, looked at more closely, and to the end; and the
#: least agreement of the best.
_JUDGED, _CLOSER, _CLOSEST, _LEAST_SCORE = 24, 6, 2, 0.55
#: How much the photo's up weighs where the artwork looks the same either way.
_UP = 0.01
#: Share of all stations whose edge must be seen: half of a sheet may be covered or out of view.
_LEAST_SEEN = 0.4
#: The paper's edge is looked for so far from where the print puts it, as a share of the photo's
#: longer side; share of each side that must be seen; and how far paper is cut off its size, mm
#: (ISO 216 allows 1.5 to 2 mm, trimmers do better).
_PAPER_SLACK, _LEAST_SIDE, _CUT_MM = 0.004, 0.5, 1.0
#: Share of an edge's stations that must contradict the artwork for the edge to do so.
_AGAINST = 0.5
#: Radius from which a circle is large, as a share of the sheet, and the share of its stations below
#: which it is not there.
_LARGE, _VANISHED = 0.2, 0.1
_FEWEST = 24  # stations for a plane
_TURNS = 24  # turns that are tried where the first marks leave the rotation open


@dataclass(frozen=True)
class _Guess:
    """A plane, the marks that it stands on besides the print, and how well the photo agrees."""

    plane: Plane
    marks: Marks
    score: float


def find(photo: Photo, *, sheet: Sheet | None = None) -> Marks | None:
    """Find a known sheet by all that is printed on it.

    Parameters
    ----------
    photo : Photo
    sheet : Sheet, optional
        Which sheet it is; nothing is found without.

    Returns
    -------
    Marks or None
        Points on its circles and straight edges, with the corners of its markers and the
        crossings of its grid; None where the sheet is not in view, or has no print to measure.

    Notes
    -----
    Where the artwork looks the same turned, the photo's up is the sheet's up.
    """
    if sheet is None or not (prints := prints_of(sheet)):
        return None
    shrink = max(1.0, max(photo.size) / _COARSE)
    small = photo.reduced(shrink)
    guesses = [_Guess(*first, -1.0) for first in _firsts(photo, sheet, small, shrink)]
    for reach, left in ((8.0, _CLOSER), (4.0, _CLOSEST), (2.0, 1)):
        for i, guess in enumerate(guesses):
            laid = lay_stations(prints, float(np.median(guess.plane.mm_per_px())) * shrink)
            guesses[i] = _refined(photo, small, shrink, sheet, laid, guess, reach, lens=False)
        guesses = sorted(guesses, key=lambda guess: -guess.score)[:left]
    if not guesses or guesses[0].score < _LEAST_SCORE:
        return None
    best = guesses[0]
    best = replace(best, marks=_with_paper(photo, sheet, best))
    stations = lay_stations(prints, float(np.median(best.plane.mm_per_px())))
    for reach in (max(4.0, 1.5 * shrink), 3.0, 2.0):
        best = _refined(photo, photo.rgb, 1.0, sheet, stations, best, reach, lens=True)
    fits = measure_prints(photo.rgb, best.plane, sheet, stations, reach_px=1.0)
    if not _agrees(photo, sheet, best.plane, stations, fits):
        return None
    marks = _joined(printed_marks(best.plane, stations, fits, sheet), best.marks)
    if prints.turns_freely and not len(marks.points_px):
        return _squared(photo, sheet, marks, best.plane)
    return marks


def _firsts(
    photo: Photo, sheet: Sheet, small: NDArray[np.uint8], shrink: float
) -> list[tuple[Plane, Marks]]:
    """Planes that are worth a closer look, the likeliest first, with the marks they stand on."""
    none = Marks("print", sheet=sheet.id)
    marks = fiducials.find(photo, sheet=sheet)
    if marks is not None:
        return [(fit_plane(marks, image_size=photo.size, focal_px=photo.focal_px), marks)]
    guesses: list[tuple[Plane, Marks]] = []
    marks = grid.find(photo, sheet=sheet)
    if marks is not None:
        turns = 4 if sheet.width_mm == sheet.height_mm else 2
        turned = [_turned(marks, k * 2 * np.pi / turns) for k in range(turns)]
        return [(fit_plane(m, image_size=photo.size, focal_px=photo.focal_px), m) for m in turned]
    marks = rings.find(photo, sheet=sheet)
    if marks is not None:
        plane = fit_plane(marks, image_size=photo.size, focal_px=photo.focal_px)
        count = 1 if prints_of(sheet).turns_freely else _TURNS
        guesses = [(plane.turned(k * 2 * np.pi / count), none) for k in range(count)]
    else:
        guesses = [(p, none) for p in guess_planes(photo, sheet, small, shrink)]
    return _promising(sheet, small, shrink, guesses)


def _promising(
    sheet: Sheet, small: NDArray[np.uint8], shrink: float, guesses: list[tuple[Plane, Marks]]
) -> list[tuple[Plane, Marks]]:
    """Leave the guesses that the artwork agrees with best."""
    prints = prints_of(sheet)
    for few, left in zip(_FEW, (_JUDGED, _CLOSER), strict=True):
        scores = []
        for plane, _ in guesses:
            stations = lay_stations(prints, float(np.median(plane.mm_per_px())) * shrink)
            some = _some(stations, few)
            fits = measure_prints(small, plane, sheet, some, reach_px=6.0, shrink=shrink)
            scores.append(_score(plane, some, fits))
        order = np.argsort(-np.array(scores), kind="stable")[:left]
        guesses = [guesses[i] for i in order if scores[i] > 0]
    return guesses


def _some(stations: Stations, few: int) -> Stations:
    """Few enough stations to judge many guesses by."""
    step = len(stations.mm) // few + 1
    return Stations(
        *(
            np.asarray(getattr(stations, name))[::step]
            for name in ("mm", "normal", "figure", "centre_mm", "size_mm", "straight")
        )
    )


def _score(plane: Plane, stations: Stations, fits: Fits) -> float:
    """How well the photo agrees with the artwork, a little better where the photo's up is up."""
    for figure in np.unique(stations.figure):
        mine = (stations.figure == figure) & fits.counts
        if mine.sum() >= 8 and fits.against[mine].mean() > _AGAINST:
            return -1.0
    foot, top = plane.to_px([[0.0, 0.0], [0.0, _UP]])
    return fits.score + _UP * float((foot - top)[1] / max(np.hypot(*(foot - top)), 1e-9))


def _refined(
    photo: Photo,
    picture: NDArray[np.uint8],
    shrink: float,
    sheet: Sheet,
    stations: Stations,
    guess: _Guess,
    reach: float,
    *,
    lens: bool,
) -> _Guess:
    """Measure, fit, and judge again."""
    fits = measure_prints(picture, guess.plane, sheet, stations, reach_px=reach, shrink=shrink)
    score = _score(guess.plane, stations, fits)
    marks = _joined(printed_marks(guess.plane, stations, fits, sheet), guess.marks)
    if len(marks.circles_px) + len(marks.lines_px) + 2 * len(marks.points_px) < _FEWEST:
        return replace(guess, score=score)
    try:
        plane = fit_plane(marks, image_size=photo.size, focal_px=photo.focal_px, lens=lens)
    except (MarksError, np.linalg.LinAlgError):
        return replace(guess, score=-1.0)
    return _Guess(plane, guess.marks, score)


def _agrees(photo: Photo, sheet: Sheet, plane: Plane, stations: Stations, fits: Fits) -> bool:
    """Whether the photo shows this artwork: about half of it at least, and nothing against it."""
    if not could_be(plane.homography, photo.size, photo.focal_px):
        return False
    large = _LARGE * max(sheet.width_mm, sheet.height_mm)
    shown: list[bool] = []
    for figure in np.unique(stations.figure):
        mine = (stations.figure == figure) & fits.counts
        if mine.sum() < 8:
            continue
        if fits.against[mine].mean() > _AGAINST:
            return False
        # A spot may be shot away and a side covered; a large circle does not vanish all round.
        whole = mine.sum() > 0.7 * (stations.figure == figure).sum()
        circle = not stations.straight[mine][0] and stations.size_mm[mine][0] > large
        if whole and circle and fits.good[mine].mean() < _VANISHED:
            return False
        shown.append(bool(fits.good[mine].mean() > _LEAST_SEEN))
    seen = int((fits.good & fits.counts).sum())
    if shown and np.mean(shown) < 0.5:
        return False
    return bool(seen >= _FEWEST and seen > _LEAST_SEEN * fits.drawn.sum())


def _with_paper(photo: Photo, sheet: Sheet, guess: _Guess) -> Marks:
    """Add the paper's own edges where they are in view: they reach farther than small print."""
    if sheet.width_mm == 0:
        return guess.marks
    corners = guess.plane.to_px(sheet.corners_mm)
    if not ((corners > 0) & (corners < np.array(photo.size) - 1)).all():
        return guess.marks
    sides = measure_sides(photo, corners, slack_px=_PAPER_SLACK * max(photo.size))
    if sides.found.min() < _LEAST_SIDE:
        return guess.marks
    size = (sheet.width_mm, sheet.height_mm)
    paper = paper_marks(photo, sides, size, start=guess.plane.homography, cut_mm=_CUT_MM)
    return _joined(guess.marks, paper)


def _joined(one: Marks, other: Marks) -> Marks:
    """All marks of two kinds, with the first guess of the first."""

    def both(name: str) -> Floats:
        return np.concatenate([getattr(one, name), getattr(other, name)])

    return replace(
        one,
        points_mm=both("points_mm"),
        points_px=both("points_px"),
        points_se_px=both("points_se_px"),
        circles_px=both("circles_px"),
        circles_radius_mm=both("circles_radius_mm"),
        circles_inset=both("circles_inset"),
        circles_centre_mm=both("circles_centre_mm"),
        circles_se_px=both("circles_se_px"),
        lines_px=both("lines_px"),
        lines_normal=both("lines_normal"),
        lines_offset_mm=both("lines_offset_mm"),
        lines_se_px=both("lines_se_px"),
        notes=(*one.notes, *other.notes),
    )


def _turned(marks: Marks, angle: float) -> Marks:
    """Give the marks of the same sheet with its axes turned."""
    c, s = np.cos(angle), np.sin(angle)
    return replace(marks, points_mm=marks.points_mm @ np.array([[c, -s], [s, c]]))


def _squared(photo: Photo, sheet: Sheet, marks: Marks, plane: Plane) -> Marks:
    """Square circles, which tell no way up, by the paper's edges or else the photo's up."""
    outer = float(marks.circles_radius_mm.max(initial=0.0))
    paper = np.array([int(sheet.paper[k : k + 2], 16) for k in (1, 3, 5)], float)
    reach = 0.75 * max(sheet.width_mm, sheet.height_mm)
    turn = paper_turn(photo, plane, inner_mm=1.02 * outer, outer_mm=reach, paper=paper)
    return replace(
        marks,
        start=plane.turned(turn.angle_rad).homography,
        turn_se_rad=turn.se_rad,
        notes=(*marks.notes, *turn.notes),
    )
