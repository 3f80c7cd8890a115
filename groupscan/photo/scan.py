"""The whole photo line in one call: marks, plane, expected, holes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Protocol

import cv2
import numpy as np
from numpy.typing import ArrayLike

from groupscan.errors import MarksError, UnitError
from groupscan.photo.arrows import add_arrows, find_shafts
from groupscan.photo.before import Seen, only_new
from groupscan.photo.expected import DRAWN_ON, Flat, flatten
from groupscan.photo.face import Face, find_face
from groupscan.photo.holes import Hole, find_holes, without_pins
from groupscan.photo.marks import artwork, fiducials, grid, hand, paper, rings, strip
from groupscan.photo.marks.hand import KnownLength, KnownRectangle
from groupscan.photo.plane import Floats, Marks, Plane, fit_sheet
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import Sheet, get_sheet, load_catalogue
from groupscan.telling import tied

__all__ = ["Hole", "Scale", "Scan", "scan_photo"]

#: The scale must be known this well, as a share of itself, or the marks are refused.
_SCALE_BAR = 0.01
#: Marks by hand that give the scale no better than this are refused, too.
_HAND_BAR = 0.1
#: Outer diameters of arrow shafts, mm (common practice, no source).
_SHAFTS_MM = (3.0, 12.0)
#: A sheet that departs from its plane by more than this share of its longer side is much bent.
_MUCH_BENT = 0.015
#: Widest view of a face whose size is not known, mm.
_WIDEST_VIEW = 1600.0


#: What a hole measures of its shaft, the paper springing back (found on renders; no source), and
#: a usual hole, mm (common practice, no source); how far off in natural logarithms is one unit.
_HOLE_TO_SHAFT, _SHAFT_SLACK = 0.93, 0.1
_USUAL_HOLE_MM, _USUAL_SLACK = 5.6, 0.3


class Finder(Protocol):
    """A kind of scale marks: every module of `marks` has one."""

    def __call__(self, photo: Photo, *, sheet: Sheet | None = None) -> Marks | None: ...


@dataclass(frozen=True)
class Scale:
    """How the photo was scaled.

    Attributes
    ----------
    source : str
        ``"fiducials"``, ``"rings"``, ``"grid"``, ``"paper"``, ``"known-length"`` or
        ``"corners"``.
    mm_per_px, mm_per_px_se : float
        Scale across the sheet at its centre, and its standard error.
    tilt_deg : float
        Angle between the camera's axis and the sheet's normal.
    residual_px : float
        Root mean square distance between the marks and the sheet as fitted.
    bend_mm : float
        How far the sheet departs from its plane at most, where the marks reach; 0 for a block.
    """

    source: str
    mm_per_px: float
    mm_per_px_se: float
    tilt_deg: float
    residual_px: float
    bend_mm: float = 0.0


@dataclass(frozen=True)
class Scan:
    """What a photo of a sheet shows.

    Attributes
    ----------
    photo : str
        Name of the photo.
    image_size_px : (int, int)
        Width and height of the upright photo.
    sheet : str
        Identifier of the sheet.
    scale : Scale
    plane : Plane
    aims_mm : tuple of (float, float)
        Points of aim that the sheet offers, sheet mm.
    holes : tuple of Hole
        Sheet mm: origin at the sheet's centre, x right, y up. Surest first.
    warnings : tuple of str
        What a person should know before trusting the numbers.
    size_mm : (float, float)
        Width and height of the part of the sheet's plane that was looked at.
    """

    photo: str
    image_size_px: tuple[int, int]
    sheet: str
    scale: Scale
    plane: Plane
    aims_mm: tuple[tuple[float, float], ...]
    holes: tuple[Hole, ...]
    warnings: tuple[str, ...] = ()
    size_mm: tuple[float, float] = (300.0, 300.0)

    @property
    def mm_to_px(self) -> Floats:
        """Homography from sheet mm to the photo's pixels that fits its middle best, (3, 3).

        A lens bends straight lines, so it is exact only without one; `mm_to_px_points` is.
        """
        w, h = 0.6 * np.array(self.size_mm)
        x, y = np.meshgrid(np.linspace(-w / 2, w / 2, 9), np.linspace(-h / 2, h / 2, 9))
        mm = np.column_stack([x.ravel(), y.ravel()])
        found: Any = cv2.findHomography(mm, self.plane.to_px(mm), 0)[0]
        return np.asarray(found / found[2, 2], float)

    def px_to_mm(self, px: ArrayLike) -> Floats:
        """Sheet mm of pixels, lens distortion taken into account, (n, 2)."""
        return self.plane.to_mm(px)

    def mm_to_px_points(self, mm: ArrayLike) -> Floats:
        """Pixels of sheet mm, lens distortion taken into account, (n, 2)."""
        return self.plane.to_px(mm)


def scan_photo(
    photo: Photo,
    *,
    sheet: str | Sheet | None = None,
    shaft_mm: float | None = None,
    arrows: int | None = None,
    hand_marks: KnownLength | KnownRectangle | None = None,
    before: Photo | None = None,
    before_marks: KnownLength | KnownRectangle | None = None,
    likely: str | None = None,
) -> Scan:
    """Find the holes in a photo of a practice sheet.

    Parameters
    ----------
    photo : Photo
    sheet : str or Sheet, optional
        Which sheet it is. Left out, it is recognised; the size of a ring face cannot be seen in
        a photo for sure, so a guess is among the warnings.
    shaft_mm : float, optional
        Diameter of the arrow shafts, mm.
    arrows : int, optional
        How many arrows were shot. Evidence, not an order: a different count is a warning.
    hand_marks : KnownLength or KnownRectangle, optional
        Marks given by hand; they are used instead of any that could be found.
    before : Photo, optional
        An earlier photo of the same sheet, in any pose: only holes that it does not show are
        reported, and, as ``"patched"``, those that have been covered since.
    before_marks : KnownLength or KnownRectangle, optional
        Marks given by hand on the earlier photo.
    likely : str, optional
        Which ring face was shot before, where `sheet` is left out: it counts for more than the
        size of the holes and for less than the paper's margin.

    Returns
    -------
    Scan

    Raises
    ------
    MarksError
        If no marks are found, or they do not give the scale to 1 %.
    SheetError
        If the sheet is unknown.
    UnitError
        If the shaft's diameter is none that shafts have.
    """
    if shaft_mm is not None and not _SHAFTS_MM[0] <= shaft_mm <= _SHAFTS_MM[1]:
        low, high = _SHAFTS_MM
        msg = f"a shaft of {shaft_mm:g} mm: give its outer diameter, {low:g} to {high:g} mm"
        raise UnitError(msg)
    known = get_sheet(sheet) if isinstance(sheet, str) else sheet
    scan, flat = _scan(photo, known, shaft_mm, hand_marks, likely)
    if before is not None:
        known = known or get_sheet(scan.sheet)
        earlier, flat_before = _scan_before(before, known, shaft_mm, before_marks)
        fresh, notes = only_new(
            Seen(photo, scan.holes, flat, scan.plane),
            Seen(before, earlier.holes, flat_before, earlier.plane),
            sheet=known,
        )
        said = (f"Earlier photo: {note}" for note in earlier.warnings)
        scan = replace(scan, holes=fresh, warnings=(*scan.warnings, *said, *notes))
    return replace(scan, warnings=(*scan.warnings, *_count_warnings(scan.holes, arrows)))


def _scan(
    photo: Photo,
    sheet: Sheet | None,
    shaft_mm: float | None,
    hand_marks: KnownLength | KnownRectangle | None,
    likely: str | None = None,
) -> tuple[Scan, Flat]:
    marks, known = _find_marks(photo, sheet, hand_marks)
    if sheet is None and marks.source == "rings":
        return _scan_unnamed_face(photo, marks, shaft_mm, likely)
    # A length tells its own scale, whatever the tilt; what the tilt leaves open is in its error.
    by_length = hand_marks is not None or marks.source == "known-length"
    return _scan_marks(photo, marks, known, shaft_mm, by_hand=by_length)


def _scan_before(
    before: Photo,
    sheet: Sheet,
    shaft_mm: float | None,
    hand_marks: KnownLength | KnownRectangle | None,
) -> tuple[Scan, Flat]:
    """Scan the earlier photo, which must show the same sheet."""
    try:
        return _scan(before, sheet, shaft_mm, hand_marks)
    except MarksError as err:
        msg = (
            f"the earlier photo cannot be compared ({err}). Give its own marks by hand, or one "
            "that shows a sheet that is recognised, the same one"
        )
        raise MarksError(msg) from err


def _scan_marks(
    photo: Photo, marks: Marks, sheet: Sheet, shaft_mm: float | None, *, by_hand: bool = False
) -> tuple[Scan, Flat]:
    """Scan a photo whose marks and sheet are known."""
    # A face of unknown size is a block's: it does not bend.
    plane = fit_sheet(
        marks, image_size=photo.size, focal_px=photo.focal_px, stiff=sheet.width_mm == 0
    )
    scale = Scale(
        plane.source,
        float(plane.mm_per_px()[0]),
        plane.scale_se,
        plane.tilt_deg,
        plane.residual_px,
        plane.bend_mm,
    )
    said = _check(photo, plane, scale, by_hand=by_hand)
    face = None
    if sheet.width_mm == 0:
        length = float(np.ptp(marks.points_mm[:, 0]))
        face = find_face(photo, plane, length, cut_strip=not by_hand)
    flat = flatten(photo, plane, _visible(sheet, plane, photo.size, face), face)
    holes = find_holes(photo, plane, flat, shaft_mm=shaft_mm)
    pins = 0
    if sheet.width_mm > 0:
        holes, pins = without_pins(holes, flat.size_mm)
    if pins:
        said = (
            *said,
            f"What is dark in the paper's corners ({pins} finds) was taken for pins, not shots.",
        )
    shafts = find_shafts(photo, plane, flat, drawn=sheet.kind in DRAWN_ON)
    holes = add_arrows(holes, shafts, plane)
    scan = Scan(
        photo.name,
        photo.size,
        sheet.id,
        scale,
        plane,
        sheet.aims_mm,
        tuple(holes),
        (*marks.notes, *said, *_view_warnings(plane, sheet)),
        flat.size_mm,
    )
    return scan, flat


def _scan_unnamed_face(
    photo: Photo, marks: Marks, shaft_mm: float | None, likely: str | None
) -> tuple[Scan, Flat]:
    """Scan a ring face of unknown size: the size that its margin and its holes agree with best."""
    faces = [face for face in load_catalogue().values() if face.rings]
    if marks.sheet is not None and shaft_mm is None:
        faces = [face for face in faces if face.id == marks.sheet]
    expected = _HOLE_TO_SHAFT * shaft_mm if shaft_mm else _USUAL_HOLE_MM
    slack = _SHAFT_SLACK if shaft_mm else _USUAL_SLACK
    tried: list[tuple[float, Scan, Flat]] = []
    for face in faces:
        scan, flat = _scan_marks(photo, rings.resized(marks, face), face, shaft_mm)
        sizes = np.array([h.diameter_mm for h in scan.holes if h.state == "open"])
        off = float(np.log(np.median(sizes) / expected)) / slack if len(sizes) else 3.0
        # A few sure holes are as good as many: the wrong size finds dirt in plenty.
        score = min(sum(h.confidence > 0.9 for h in scan.holes), 3) - off**2
        if face.id == marks.sheet:
            score += 4.0  # the paper's margin speaks for it
        if face.id == likely:
            score += 3.0  # as many sure holes as a wrong size may find
        tried.append((score, scan, flat))
    _, scan, flat = max(tried, key=lambda one: one[0])
    told = {likely: "what was shot before", marks.sheet: "its paper margin"}
    what = told.get(scan.sheet, "the size of its holes")
    note = (
        f"The face was taken for {scan.sheet} by {what}; the four sizes look alike, so say which "
        "it is if that is wrong: every number scales with it."
    )
    return replace(scan, warnings=(*scan.warnings, note)), flat


def _find_marks(
    photo: Photo, sheet: Sheet | None, hand_marks: KnownLength | KnownRectangle | None
) -> tuple[Marks, Sheet]:
    """Take the marks given by hand, else the first kind that is there; and tell the sheet."""
    if hand_marks is not None:
        marks = hand.find(photo, hand=hand_marks, sheet=sheet)
        return marks, sheet or get_sheet(marks.sheet or "known-length")
    # What is surest to be what it seems comes first; any light rectangle may pass for paper.
    finders: list[Finder] = [fiducials.find, rings.find, grid.find, strip.find]
    finders += [fiducials.find_small, paper.find]
    if sheet is not None and sheet.id not in load_catalogue():
        # A sheet of the user's own may have any mix of marks: all of them are measured.
        finders.insert(0, artwork.find)
    for find in finders:
        found = find(photo, sheet=sheet)
        if found is not None:
            return found, sheet or get_sheet(found.sheet or "ring-80")
    what = "no sheet that groupscan knows was" if sheet is None else f'no "{sheet.id}" was'
    msg = (
        f"{photo.name}: {what} recognised. Show the whole sheet, or give marks by hand: "
        "two points a known length apart, or the four corners of a known rectangle"
    )
    raise MarksError(msg)


def _check(photo: Photo, plane: Plane, scale: Scale, *, by_hand: bool) -> tuple[str, ...]:
    """Refuse a scale that is not known to 1 %; say how well marks by hand give it."""
    share = 1.96 * scale.mm_per_px_se / scale.mm_per_px
    if by_hand:
        if not np.isfinite(share) or share > _HAND_BAR:
            msg = (
                f"{photo.name}: the marks given by hand give the scale only to ± "
                f"{100 * share:.0f} %: mark a longer length or a larger rectangle, more exactly"
            )
            raise MarksError(msg)
        if share > _SCALE_BAR:
            return (f"The marks by hand give the scale to ± {100 * share:.1f} % only.",)
        return ()
    if not np.isfinite(share) or share > _SCALE_BAR or plane.inlier_share < 0.6:
        msg = (
            f"{photo.name}: the marks on the sheet do not give its scale to 1 % "
            f"(± {100 * share:.1f} %, {100 * plane.inlier_share:.0f} % of the marks agree). "
            "Give marks by hand: two points a known length apart, or the four corners of a known "
            "rectangle"
        )
        raise MarksError(msg)
    return ()


def _visible(sheet: Sheet, plane: Plane, size: tuple[int, int], face: Face | None) -> Sheet:
    """Give a face of unknown size that of the part of its plane that the photo shows."""
    if sheet.width_mm > 0:
        return sheet
    if face is not None:
        width, height = np.minimum(face.reach_mm(plane), _WIDEST_VIEW)
        return replace(sheet, width_mm=float(width), height_mm=float(height))
    w, h = size
    frame = plane.to_mm([[0, 0], [w - 1, 0], [w - 1, h - 1], [0, h - 1]])
    width, height = np.minimum(2 * np.abs(frame).max(axis=0), _WIDEST_VIEW)
    return replace(sheet, width_mm=float(width), height_mm=float(height))


def _view_warnings(plane: Plane, sheet: Sheet) -> tuple[str, ...]:
    """Say what the view itself should make a person careful about."""
    warnings = []
    if plane.bend_mm > _MUCH_BENT * max(sheet.width_mm, sheet.height_mm):
        warnings.append(
            f"The sheet bends by up to {tied(plane.bend_mm, 'mm', '.0f')} from flat: that is taken "
            "out where its marks show it; pinned flat, the places are surer."
        )
    if plane.tilt_deg > 35:
        warnings.append(
            f"The photo is tilted by {plane.tilt_deg:.0f}°; square on, the places are surer."
        )
    if sheet.width_mm > 0:
        w, h = sheet.width_mm / 2, sheet.height_mm / 2
        corners = plane.to_px([[-w, h], [w, h], [w, -h], [-w, -h]])
        edge = np.asarray(plane.image_size) - 1.0
        if ((corners < -1) | (corners > edge + 1)).any():
            warnings.append("Part of the sheet is out of the photo; holes there are not counted.")
    return tuple(warnings)


def _count_warnings(holes: tuple[Hole, ...], arrows: int | None) -> tuple[str, ...]:
    """Say what the number of holes tells beside the number of arrows."""
    shots = sum(hole.state != "patched" for hole in holes)
    if arrows is not None and shots != arrows:
        more = "Take out what is no shot" if shots > arrows else "Add what was missed"
        return (f"{shots} holes found for {arrows} arrows shot. {more}, or check for old holes.",)
    if shots == 0:
        return ("No holes were found.",)
    return ()
