"""Scale from marks that a person gives: two points a known length apart, or four corners.

The marks are taken where they are given. They are not drawn to a nearby edge: the edges of a
curled sheet bend by more than a careful hand errs, and a mark that moves by itself is no longer
the person's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from groupscan.errors import MarksError
from groupscan.photo.plane import Floats, Marks
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import Sheet, load_catalogue
from groupscan.units import parse_length, parse_size

__all__ = [
    "HandMarks",
    "KnownLength",
    "KnownRectangle",
    "find",
    "parse_corners",
    "parse_known_length",
]

Point: TypeAlias = tuple[float, float]

#: Standard error of a mark set by hand in a 12-megapixel photo, px per axis (common practice,
#: no source); in other photos in proportion, since a mark is set on a screen.
_SE_PX, _SE_AT_SIDE_PX = 2.0, 4032
_LEAST_APART_PX = 20.0
_LEAST_CORNER_SINE = math.sin(math.radians(15))
#: Sides seen longer or shorter against each other than this, next to the stated size, are not
#: the ones that the size was stated for: a sheet would have to tilt by 48 degrees.
_MOST_FORESHORTENING = 1.5

_LENGTH_FORM = '"300mm:x1,y1:x2,y2"'
_CORNERS_FORM = '"279.4x215.9mm:x1,y1:x2,y2:x3,y3:x4,y4"'


@dataclass(frozen=True)
class KnownLength:
    """Two points of the sheet a known length apart.

    Attributes
    ----------
    length_mm : float
        The length, mm.
    ends_px : ((x, y), (x, y))
        Its ends, px of the upright photo.
    """

    length_mm: float
    ends_px: tuple[Point, Point]

    def __post_init__(self) -> None:
        _check_positive(self.length_mm, "the known length")
        _check_finite(self.ends_px, 2, "the known length")


@dataclass(frozen=True)
class KnownRectangle:
    """Four corners of a rectangle of known size, such as a sheet of paper.

    Attributes
    ----------
    width_mm, height_mm : float
        Size, mm; the width belongs to the side from the first corner to the second.
    corners_px : four (x, y)
        Top left, top right, bottom right, bottom left, px of the upright photo; see `find` for
        other orders.
    """

    width_mm: float
    height_mm: float
    corners_px: tuple[Point, Point, Point, Point]

    def __post_init__(self) -> None:
        _check_positive(self.width_mm, "the rectangle's width")
        _check_positive(self.height_mm, "the rectangle's height")
        _check_finite(self.corners_px, 4, "the rectangle")


HandMarks: TypeAlias = KnownLength | KnownRectangle


def parse_known_length(text: str) -> KnownLength:
    """Read a known length and its two ends.

    Parameters
    ----------
    text : str
        Length and two points, ``"300mm:x1,y1:x2,y2"``; points in pixels of the upright photo.

    Returns
    -------
    KnownLength

    Raises
    ------
    MarksError
        If there are not two points.
    UnitError
        If the length is none.

    Examples
    --------
    >>> parse_known_length("30cm:100,200:1300.5,210")
    KnownLength(length_mm=300.0, ends_px=((100.0, 200.0), (1300.5, 210.0)))
    """
    length, points = _split(text, 2, _LENGTH_FORM)
    return KnownLength(parse_length(length), (points[0], points[1]))


def parse_corners(text: str) -> KnownRectangle:
    """Read a rectangle's size and its four corners.

    Parameters
    ----------
    text : str
        Width x height and four points, ``"279.4x215.9mm:x1,y1:x2,y2:x3,y3:x4,y4"``; points in
        pixels of the upright photo, from the top left clockwise.

    Returns
    -------
    KnownRectangle

    Raises
    ------
    MarksError
        If there are not four points.
    UnitError
        If the size is none.

    Examples
    --------
    >>> parse_corners("30x20cm:10,10:120,12:118,95:12,93").height_mm
    200.0
    """
    size, points = _split(text, 4, _CORNERS_FORM)
    width_mm, height_mm = parse_size(size)
    return KnownRectangle(width_mm, height_mm, (points[0], points[1], points[2], points[3]))


def find(photo: Photo, *, hand: HandMarks, sheet: Sheet | None = None) -> Marks:
    """Turn marks given by hand into scale marks.

    Parameters
    ----------
    photo : Photo
        The photo that they are given in.
    hand : KnownLength or KnownRectangle
        The marks.
    sheet : Sheet, optional
        The sheet in view. Left out, a rectangle of the size of a blank sheet in the catalogue
        stands for that sheet.

    Returns
    -------
    Marks
        Two points, or four corners from the top left clockwise. The origin is the middle of the
        two points, or of the rectangle.

    Raises
    ------
    MarksError
        If a point lies outside the photo, points lie too close together, or the corners are not
        those of a rectangle seen at a slant.

    Notes
    -----
    A length alone says nothing of tilt: the sheet is taken to be square on to the camera, and its
    up to be the photo's, as the notes then say.

    Corners may come in any order. The width is that of the side from the first to the second
    corner, where that is a side and agrees with the size stated to 1 in 1.5; else of the pair of
    sides that agrees better. Of the turns which that leaves (two, or four for a square), the one
    is taken whose up is nearest to the photo's up.

    Examples
    --------
    >>> photo = Photo("butt", np.zeros((600, 800, 3), np.uint8))
    >>> marks = find(photo, hand=parse_known_length("200mm:200,300:600,300"))
    >>> marks.points_mm.tolist()
    [[-100.0, 0.0], [100.0, 0.0]]
    """
    se = _SE_PX * min(max(max(photo.size) / _SE_AT_SIDE_PX, 0.35), 1.5)
    if isinstance(hand, KnownLength):
        return _from_length(photo, hand, sheet, se)
    return _from_rectangle(photo, hand, sheet, se)


def _from_length(photo: Photo, hand: KnownLength, sheet: Sheet | None, se: float) -> Marks:
    ends = np.array(hand.ends_px, dtype=np.float64)
    _check_inside(photo, ends)
    apart = float(np.linalg.norm(ends[1] - ends[0]))
    if apart < _LEAST_APART_PX:
        raise MarksError(
            f"{photo.name}: the ends of the known length are {apart:.0f} pixels apart, too close "
            "to tell a scale: mark two points as far apart as the sheet allows."
        )
    up = np.array([1.0, -1.0])
    points_mm = (ends - ends.mean(axis=0)) * up * (hand.length_mm / apart)
    return Marks(
        source="known-length",
        sheet="known-length" if sheet is None else sheet.id,
        points_mm=points_mm + 0.0,
        points_px=ends,
        points_se_px=np.full(2, se),
        notes=(
            "scale from one known length: the sheet is taken to be square on to the camera; a "
            "tilt of 10 degrees would make lengths 1.5 % wrong, so give four corners if you can",
        ),
    )


def _from_rectangle(photo: Photo, hand: KnownRectangle, sheet: Sheet | None, se: float) -> Marks:
    corners = np.array(hand.corners_px, dtype=np.float64)
    _check_inside(photo, corners)
    corners, notes = _top_left_first(photo.name, corners, hand.width_mm, hand.height_mm)
    half = np.array([hand.width_mm, hand.height_mm]) / 2
    return Marks(
        source="corners",
        sheet=_paper_of(hand) if sheet is None else sheet.id,
        points_mm=half * np.array([[-1.0, 1.0], [1.0, 1.0], [1.0, -1.0], [-1.0, -1.0]]),
        points_px=corners,
        points_se_px=np.full(4, se),
        notes=notes,
    )


def _top_left_first(
    name: str, corners: Floats, width_mm: float, height_mm: float
) -> tuple[Floats, tuple[str, ...]]:
    """Order corners from the top left clockwise, the first side being the width's."""
    off = corners - corners.mean(axis=0)
    order = np.argsort(np.arctan2(off[:, 1], off[:, 0]))
    ring = corners[order]
    side = np.roll(ring, -1, axis=0) - ring
    length = np.linalg.norm(side, axis=1)
    if length.min() < _LEAST_APART_PX:
        raise MarksError(
            f"{name}: two of the four corners are only {length.min():.0f} pixels apart: mark four "
            "different corners."
        )
    along = side / length[:, None]
    after = np.roll(along, -1, axis=0)
    sine = along[:, 0] * after[:, 1] - along[:, 1] * after[:, 0]
    if sine.min() < _LEAST_CORNER_SINE:
        raise MarksError(
            f"{name}: the four points are not the corners of a rectangle seen at a slant (three of "
            "them lie nearly on a line, or one lies inside): mark the four corners again."
        )

    # Pairs of opposite sides of the ring: 0 for sides 0 and 2, 1 for sides 1 and 3.
    seen = np.log((length[0] + length[2]) / (length[1] + length[3]))
    stated = np.log(width_mm / height_mm)
    misfit = np.abs(np.array([seen - stated, -seen - stated]))
    better = int(np.argmin(misfit))
    notes: tuple[str, ...] = ()
    first, second = (int(np.flatnonzero(order == k)[0]) for k in (0, 1))
    pair = better
    if (first - second) % 2 == 1:
        given = first % 2 if (second - first) % 4 == 1 else second % 2
        if misfit[given] <= np.log(_MOST_FORESHORTENING) or misfit[given] <= misfit[better]:
            pair = given
        else:
            notes = (
                f"the corners as ordered do not fit {width_mm:g} x {height_mm:g} mm: the width was "
                "taken along the other sides; check the scale",
            )
    starts = range(4) if abs(stated) < 1e-3 else (pair, pair + 2)
    # Up is from the bottom corners to the top ones: the most negative y.
    turns = [np.roll(ring, -start, axis=0) for start in starts]
    return min(turns, key=lambda c: float(c[0, 1] + c[1, 1] - c[2, 1] - c[3, 1])), notes


def _paper_of(hand: KnownRectangle) -> str | None:
    """Return the blank sheet of this size, upright, if there is one."""
    for sheet in load_catalogue().values():
        size = (sheet.width_mm, sheet.height_mm)
        if sheet.kind == "paper" and np.allclose(
            size, (hand.width_mm, hand.height_mm), rtol=0, atol=0.5
        ):
            return sheet.id
    return None


def _split(text: str, count: int, form: str) -> tuple[str, list[Point]]:
    size, *parts = text.split(":")
    if len(parts) != count:
        raise MarksError(f"{text!r} has {len(parts)} points where {count} are needed: write {form}")
    points: list[Point] = []
    for part in parts:
        try:
            x, y = (float(number) for number in part.split(","))
        except ValueError:
            raise MarksError(
                f"{part.strip()!r} in {text!r} is not a point in pixels: write {form}"
            ) from None
        points.append((x, y))
    return size, points


def _check_positive(value: float, what: str) -> None:
    if not (math.isfinite(value) and value > 0):
        raise MarksError(f"{what} is {value:g} mm: give the length measured, more than zero.")


def _check_finite(points: tuple[Point, ...], count: int, what: str) -> None:
    if len(points) != count or not np.isfinite(np.array(points, dtype=np.float64)).all():
        raise MarksError(f"{what} needs {count} points in pixels, such as 1520.5,830.")


def _check_inside(photo: Photo, points: Floats) -> None:
    width, height = photo.size
    outside = ((points < -0.5) | (points > np.array([width, height]) - 0.5)).any(axis=1)
    if outside.any():
        x, y = points[np.argmax(outside)]
        raise MarksError(
            f"{photo.name}: the point {x:g},{y:g} lies outside the photo, which has {width} x "
            f"{height} pixels: give points in pixels of the upright photo, from its top left."
        )
