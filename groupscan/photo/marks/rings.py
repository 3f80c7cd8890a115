"""Scale from a ten-zone ring face: every zone edge that is seen, under one plane.

The face is found by its colours (yellow inside red inside blue), then its edges are measured from
the middle outwards, each pass placing the next ring better than the last. In the end thin
dividing lines and the edge between black and white carry the scale; the edges that have a line
printed beside them only where the lines are too faint to see.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from groupscan.errors import MarksError
from groupscan.photo.marks.beside import paper_beside
from groupscan.photo.marks.spotting import spot_faces
from groupscan.photo.marks.upright import paper_turn
from groupscan.photo.marks.zones import Zones, measure_zones
from groupscan.photo.plane import Marks
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import Sheet, load_catalogue

__all__ = ["find", "resized"]

#: Radius that a face of unknown size is measured with, mm.
_UNKNOWN_RADIUS = 400.0
#: A second face of this share of the first one's area is said to be in view.
_AS_LARGE = 0.2
#: Share of the directions from the centre that something may hide before it is said.
_COVERED = 0.25
#: How far a paper's half width may differ from the usual one, in radii of the face.
_MARGIN_SLACK = 0.004


def find(photo: Photo, *, sheet: Sheet | None = None) -> Marks | None:
    """Find a ten-zone ring face and measure its zone edges.

    Parameters
    ----------
    photo : Photo
    sheet : Sheet, optional
        The face, where the person says which. The four sizes look alike: without it the marks
        are those of a face of 400 mm radius, and their `sheet` is a guess from the paper's margin
        or None. `resized` makes them those of another face.

    Returns
    -------
    Marks or None
        None where no face is in view.

    Raises
    ------
    MarksError
        If a face is in view but too little of it can be measured.

    Notes
    -----
    Sizes: each zone is a twentieth of the face's diameter wide, dividing lines lie inside the
    higher zone, and there is none between black and white (World Archery target faces, as
    restated in FFTA, Reglements sportifs et arbitrage, 2022, II.1 art. B.2.1).
    """
    if sheet is not None and not _is_ten_zone(sheet):
        return None
    zone_mm = (sheet.rings[0].radius_mm if sheet else _UNKNOWN_RADIUS) / 10
    faces = _faces(photo, zone_mm)
    if not faces:
        return None
    zones = faces[0]
    marks = zones.marks
    notes: list[str] = []
    if len(faces) > 1:
        notes.append("Two faces are in view; the larger was read. Photograph one sheet at a time.")
    if zones.covered > _COVERED:
        notes.append("Part of the face is covered; holes there are not counted.")
    square = 10 * zone_mm * np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]])
    notes += paper_beside(photo, zones.plane.to_px(square))
    turn = paper_turn(
        photo, zones.plane, inner_mm=10.1 * zone_mm, outer_mm=14 * zone_mm, paper=zones.white
    )
    plane = zones.plane.turned(turn.angle_rad)
    half = [size for size in turn.half_sizes_mm if np.isfinite(size)]
    guess = _by_margin(half, 10 * zone_mm)
    if sheet is not None:
        if sheet.id in load_catalogue() and guess not in (None, sheet.id):
            notes.append(
                f"The paper's margin is that of {guess} rather than of {sheet.id}: check which "
                "face it is; every number scales with it."
            )
        guess = sheet.id
    return Marks(
        source="rings",
        sheet=guess,
        circles_px=marks.circles_px,
        circles_radius_mm=marks.circles_radius_mm,
        circles_inset=marks.circles_inset,
        circles_centre_mm=marks.circles_centre_mm,
        circles_se_px=marks.circles_se_px,
        start=plane.homography,
        start_k1=plane.k1,
        turn_se_rad=turn.se_rad,
        notes=(*notes, *turn.notes),
    )


def _faces(photo: Photo, zone_mm: float) -> list[Zones]:
    """Measure the faces in view, the largest first, the second only if it is not far smaller."""
    found: list[Zones] = []
    trouble: MarksError | None = None
    spots = spot_faces(photo)
    for spot in spots:
        if found and (len(found) > 1 or spot.area < _AS_LARGE * spots[0].area):
            break
        start = spot.start @ np.diag([1 / zone_mm, 1 / zone_mm, 1.0])
        try:
            zones = measure_zones(photo, start, zone_mm)
        except MarksError as err:
            trouble = trouble or err
            continue
        if spot.is_face(zones.plane, zone_mm):
            found.append(zones)
    if not found and trouble is not None:
        raise trouble
    return found


def resized(marks: Marks, sheet: Sheet) -> Marks:
    """Take marks that were found without knowing the face's size for those of one face.

    Parameters
    ----------
    marks : Marks
        As `find` gave them without a sheet.
    sheet : Sheet
        A ring face.

    Returns
    -------
    Marks
    """
    factor = sheet.rings[0].radius_mm / _UNKNOWN_RADIUS
    start = marks.start if marks.start is None else marks.start @ np.diag([1 / factor] * 2 + [1.0])
    return replace(
        marks, sheet=sheet.id, circles_radius_mm=marks.circles_radius_mm * factor, start=start
    )


def _is_ten_zone(sheet: Sheet) -> bool:
    """Whether a sheet's rings are those of a ten-zone face, an inner ten or not."""
    radii = np.array(sorted({ring.radius_mm for ring in sheet.rings}))
    if len(radii) < 10:
        return False
    zones = radii[-10:] * 10 / radii[-1]
    return bool(np.allclose(zones, np.arange(1, 11), atol=0.05))


def _by_margin(half_sizes: list[float], radius: float) -> str | None:
    """Identify the face whose paper margin is like the one seen, if one is.

    The paper around the outer ring is of a usual size for each face (common practice, no source).
    """
    if len(half_sizes) < 2:
        return None
    seen = float(np.median(half_sizes)) / radius
    faces = [s for s in load_catalogue().values() if s.rings]
    away = [abs(s.width_mm / 2 / s.rings[0].radius_mm - seen) for s in faces]
    nearest = int(np.argmin(away))
    return faces[nearest].id if away[nearest] < _MARGIN_SLACK else None
