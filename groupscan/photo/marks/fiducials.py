"""Scale from the printed sheets' fiducial markers, whose ids also tell which sheet it is.

The markers are found in a reduced picture, which is quick and enough to read them, and their
corners are then measured in the photo itself (:mod:`~groupscan.photo.marks.edges`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.errors import MarksError
from groupscan.photo.marks.edges import refine_markers
from groupscan.photo.plane import Floats, Marks
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import FIDUCIAL_DICTIONARY, Sheet, load_catalogue

__all__ = ["find", "find_small"]

#: Longest side of the picture that the markers are looked for in, px, and of the one for those
#: that are small in the photo.
_COARSE, _SMALL = 1024, 2048
#: Shortest side of a marker that is looked for, px of that picture: 1.5 px a cell.
_LEAST_SIDE = 12
#: With fewer markers than these from the reduced picture, the whole photo is searched.
_ENOUGH = 4
_BY_HAND = "give its four corners by hand"


@dataclass(frozen=True, eq=False)
class _Seen:
    """Markers seen: ids (n,), and corners (n, 4, 2) in pixels of the photo."""

    ids: NDArray[np.intp]
    corners: Floats
    factor: int


def find(photo: Photo, *, sheet: Sheet | None = None) -> Marks | None:
    """Find the fiducial markers of a printed sheet.

    Parameters
    ----------
    photo : Photo
        The photo.
    sheet : Sheet, optional
        The sheet that must be in view. Left out, the ids tell it.

    Returns
    -------
    Marks or None
        Four points for each marker read, with their standard errors; None if there are no
        markers of a known sheet (at least two of them, where `sheet` is left out, since one may
        be a chance likeness). Markers of no known sheet are passed over.

    Raises
    ------
    MarksError
        If two sheets are in view and it is not plain which is meant, or the markers belong to
        another sheet than `sheet`, or they are too blurred to measure.

    References
    ----------
    E. Olson, "AprilTag: a robust and flexible visual fiducial system", ICRA 2011, doi
    10.1109/ICRA.2011.5979561 (the marker family 36h11).

    Examples
    --------
    >>> from groupscan.sheets.artwork import draw_artwork
    >>> from groupscan.sheets.catalogue import get_sheet
    >>> picture = draw_artwork(get_sheet("one-aim-a4"), px_per_mm=4.0)
    >>> marks = find(Photo("sheet", picture))
    >>> marks.sheet, marks.points_mm.shape
    ('one-aim-a4', (32, 2))
    """
    return _find(photo, sheet, _COARSE)


def find_small(photo: Photo, *, sheet: Sheet | None = None) -> Marks | None:
    """Find markers that are too small in the photo for `find`; see there.

    It takes longer: grass and straw are full of what might be a small marker.
    """
    return _find(photo, sheet, _SMALL)


def _find(photo: Photo, sheet: Sheet | None, coarse: int) -> Marks | None:
    if sheet is not None and not sheet.fiducials:
        return None
    sheets = [s for s in load_catalogue().values() if s.fiducials]
    if sheet is not None:
        # A sheet of the user's own may use ids of the catalogue: the one named comes first.
        sheets = [sheet, *(s for s in sheets if s.id != sheet.id)]

    factor = max(1, -(-max(photo.size) // coarse))
    seen = _look(photo, factor, thorough=False)
    counts = _count(sheets, seen.ids)
    best = counts[sheet.id] if sheet is not None else max(counts.values(), default=0)
    if best < _ENOUGH and (best > 0 or sheet is not None):
        seen = _look(photo, 1, thorough=True)
        counts = _count(sheets, seen.ids)

    chosen, notes = _choose(photo.name, sheet, sheets, counts)
    if chosen is None:
        return None
    seen, more = _single(photo.name, chosen, seen)
    grey = np.asarray(cv2.cvtColor(photo.rgb, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    return _measure(photo.name, grey, chosen, seen, (*notes, *more))


def _look(photo: Photo, factor: int, *, thorough: bool) -> _Seen:
    """Read the markers in the picture reduced by a factor."""
    picture: Any = cv2.cvtColor(photo.reduced(factor), cv2.COLOR_RGB2GRAY)
    shrink = np.array(photo.size) / picture.shape[1::-1]
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    # One window, and a step that grass and straw seldom reach, spare most of the candidates that
    # turn out to be no markers; the thorough look has time for fainter and odder ones.
    settings.adaptiveThreshWinSizeMin = 7 if thorough else 13
    settings.adaptiveThreshWinSizeMax = 23 if thorough else 13
    settings.adaptiveThreshWinSizeStep = 16
    settings.adaptiveThreshConstant = 7 if thorough else 12
    settings.minMarkerPerimeterRate = 4 * _LEAST_SIDE / max(picture.shape)
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, FIDUCIAL_DICTIONARY))
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, settings).detectMarkers(picture)
    if ids is None or len(corners) == 0:
        return _Seen(np.zeros(0, np.intp), np.zeros((0, 4, 2)), factor)
    places = np.asarray(corners, dtype=np.float64).reshape(-1, 4, 2)
    # OpenCV 4 gives the ids as a column, 5 as a row.
    places = (places + 0.5) * shrink - 0.5
    return _Seen(np.asarray(ids).reshape(-1).astype(np.intp), places, factor)


def _count(sheets: Iterable[Sheet], ids: NDArray[np.intp]) -> Counter[str]:
    """How many different markers of each sheet are among the ids; an id counts once."""
    left = set(ids.tolist())
    counts: Counter[str] = Counter()
    for sheet in sheets:
        own = left & {marker.marker_id for marker in sheet.fiducials}
        counts[sheet.id] = len(own)
        left -= own
    return counts


def _choose(
    name: str, sheet: Sheet | None, sheets: list[Sheet], counts: Counter[str]
) -> tuple[Sheet | None, tuple[str, ...]]:
    """Return the sheet to measure and what to say of another in view."""
    others = [(i, n) for i, n in counts.most_common() if n >= 2]
    if sheet is not None:
        others = [(i, n) for i, n in others if i != sheet.id]
        if counts[sheet.id]:
            chosen = sheet
        elif others:
            raise MarksError(
                f"{name}: the markers in view are those of {others[0][0]}, not of {sheet.id}: "
                f"name that sheet, or leave the sheet out to have it recognised."
            )
        else:
            return None, ()
    else:
        if not others:
            return None, ()
        (top, most), *others = others
        if others and others[0][1] == most:
            raise MarksError(
                f"{name}: two sheets are in view, {top} and {others[0][0]}: photograph one sheet, "
                "crop the photo to it, or name the sheet that is meant."
            )
        chosen = next(s for s in sheets if s.id == top)
    if not others:
        return chosen, ()
    return chosen, (
        f"two sheets in view: measured on {chosen.id} ({counts[chosen.id]} markers read), "
        f"not on {others[0][0]} ({others[0][1]}); check that it is the one you mean",
    )


def _single(name: str, sheet: Sheet, seen: _Seen) -> tuple[_Seen, tuple[str, ...]]:
    """Keep the sheet's own markers, each once."""
    own = [marker.marker_id for marker in sheet.fiducials]
    keep: list[int] = []
    double: list[int] = []
    for marker_id in own:
        at = np.flatnonzero(seen.ids == marker_id)
        if len(at) == 0:
            continue
        side = np.linalg.norm(np.roll(seen.corners[at], -1, axis=1) - seen.corners[at], axis=2)
        largest = int(at[np.argmax(side.sum(axis=1))])
        centres = seen.corners[at].mean(axis=1)
        apart = np.linalg.norm(centres - seen.corners[largest].mean(axis=0), axis=1)
        # One marker may be read twice, by the outer and the inner edge of its border.
        if (apart > side.mean()).any():
            double.append(marker_id)
        else:
            keep.append(largest)
    if len(double) > 1 or (double and len(keep) < 2):
        raise MarksError(
            f"{name}: the markers of {sheet.id} are in view more than once: two such sheets, or a "
            "reflection; photograph one sheet at a time, or crop the photo to it."
        )
    notes: list[str] = []
    if double:
        notes.append(
            f"marker {double[0]} of {sheet.id} is in view twice and was left out: "
            "photograph one sheet at a time"
        )
    if len(keep) < min(_ENOUGH, len(own)):
        notes.append(
            f"only {len(keep)} of the {len(own)} markers of {sheet.id} could be read: "
            "photograph the whole sheet, with the markers in view"
        )
    return _Seen(seen.ids[keep], seen.corners[keep], seen.factor), tuple(notes)


def _measure(
    name: str, grey: NDArray[np.uint8], sheet: Sheet, seen: _Seen, notes: tuple[str, ...]
) -> Marks:
    """Measure the markers' corners in the whole photo."""
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, FIDUCIAL_DICTIONARY))
    cells = int(dictionary.markerSize) + 2
    slack = 1.0 + seen.factor
    found = refine_markers(grey, seen.corners, cells=cells, slack_px=slack)
    side = np.linalg.norm(np.roll(seen.corners, -1, axis=1) - seen.corners, axis=2).mean(axis=1)
    moved = np.linalg.norm(found.px - seen.corners, axis=2)
    # A line that went off to something else beside the marker took its corner along.
    good = moved < np.maximum(1.5 * slack, side / cells)[:, None]
    if good.sum() < 4:
        raise MarksError(
            f"{name}: the markers of {sheet.id} are too blurred, covered or faint to measure: "
            f"take a sharper photo, or {_BY_HAND}."
        )
    by_id = {marker.marker_id: marker.corners_mm for marker in sheet.fiducials}
    points_mm = np.array([by_id[int(marker_id)] for marker_id in seen.ids])
    return Marks(
        source="fiducials",
        sheet=sheet.id,
        points_mm=points_mm[good],
        points_px=found.px[good],
        points_se_px=found.se_px[good],
        notes=notes,
    )
