"""From a scan's record to the editor's points and back: what a person changed, and nothing else.

The record keeps both positions of each hole, the automatic and the corrected one. A hole that the
page did not touch keeps its numbers to the last digit.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from groupscan.photo.plane import Bend, Plane
from groupscan.records.entries import ScanRecord, ShotRecord
from groupscan.screens.hole_editor import Edit, EditedPoint, EditorPoint
from groupscan.sheets.catalogue import load_catalogue

if TYPE_CHECKING:
    from groupscan.stats.group import Group

__all__ = [
    "aims_px",
    "editor_points",
    "fresh_ids",
    "group_of_record",
    "hole_radius_px",
    "is_ordered",
    "outlines_px",
    "plane_of",
    "take_edit",
    "without_corrections",
]

#: How well a person centres a mark on a hole: two pixels of the photo, or the ragged edge of a
#: hole, whichever is worse. Common practice, no source.
HAND_SE_PX: Final = 2.0
HAND_SE_MM: Final = 0.5

_SAME_PX: Final = 0.06  # the page reports thousandths; closer than this nothing was moved
_EDGE_PARTS: Final = 12  # straight pieces that an edge of the sheet is drawn with
_DOUBT: Final = 0.8  # the scan keeps none below 0.5, so a lower bound would never be met


def plane_of(record: ScanRecord) -> Plane:
    """Return the plane that the record of a photo describes, without its covariance."""
    if record.image_size_px is None:
        raise ValueError("an end without a photo has no plane")
    lens = record.lens or {}
    width, height = record.image_size_px
    return Plane(
        homography=np.array(record.mm_to_px, float),
        k1=float(lens.get("k1", 0.0)),
        focal_px=float(lens.get("focal_px", max(width, height))),
        image_size=(width, height),
        covariance=np.zeros((9, 9)),
        residual_px=float(record.residual_px or 0.0),
        inlier_share=1.0,
        line_width_mm=0.0,
        source=record.scale_source,
        bend=Bend.from_dict(record.bend) if record.bend is not None else None,
    )


def fresh_ids(record: ScanRecord) -> tuple[str, ...]:
    """Name the record's shots for the page: ``a...`` found by the scan, ``u...`` by hand."""
    return tuple(
        f"{'u' if shot.auto_x_mm is None else 'a'}{i}" for i, shot in enumerate(record.shots, 1)
    )


def aims_px(record: ScanRecord) -> tuple[tuple[float, float], list[tuple[float, float]]]:
    """Return the aim and all printed aims, in pixels of the photo."""
    points = plane_of(record).to_px([record.aim_mm, *record.aims_mm])
    aim, *printed = ((round(float(x), 3), round(float(y), 3)) for x, y in points)
    return aim, printed


def outlines_px(record: ScanRecord) -> list[list[tuple[float, float]]]:
    """Return where the scan saw the sheet: closed outlines in pixels of the photo.

    The paper's border and the outermost ring, as far as the sheet has them; nothing for a scale
    given by hand or a sheet that the catalogue does not know.
    """
    sheet = load_catalogue().get(record.sheet or "")
    if sheet is None:
        return []
    found = []
    if sheet.width_mm > 0:
        # An edge of a bent sheet is no straight line in the photo.
        along = np.linspace(0, 1, _EDGE_PARTS, endpoint=False)[:, None]
        corners = sheet.corners_mm
        ends = zip(corners, np.roll(corners, -1, axis=0), strict=True)
        found.append(np.vstack([a + along * (b - a) for a, b in ends]))
    if sheet.rings:
        turn = np.linspace(0, 2 * np.pi, 6 * _EDGE_PARTS, endpoint=False)
        found.append(sheet.rings[0].radius_mm * np.column_stack((np.cos(turn), np.sin(turn))))
    plane = plane_of(record)
    return [
        [(round(float(x), 1), round(float(y), 1)) for x, y in plane.to_px(outline)]
        for outline in found
    ]


def hole_radius_px(record: ScanRecord) -> float:
    """Return the radius of a hole of this end, in pixels at the sheet's centre; 0 if not known."""
    known = [shot.diameter_mm for shot in record.shots if shot.diameter_mm]
    diameter = record.shaft_mm or (float(np.median(known)) if known else 0.0)
    return round(diameter / 2 / float(plane_of(record).mm_per_px()[0]), 2)


def editor_points(record: ScanRecord, ids: tuple[str, ...]) -> list[EditorPoint]:
    """Return the record's shots as the editor shows them, in shooting order.

    Parameters
    ----------
    record : ScanRecord
    ids : tuple of str
        Name of each shot in the page, one for each of ``record.shots``.
    """
    if not record.shots:
        return []
    plane = plane_of(record)
    shots = record.shots
    here = plane.to_px([(shot.x_mm, shot.y_mm) for shot in shots])
    found = plane.to_px(
        [
            (shot.x_mm, shot.y_mm)
            if shot.auto_x_mm is None or shot.auto_y_mm is None
            else (shot.auto_x_mm, shot.auto_y_mm)
            for shot in shots
        ]
    )
    scale = plane.mm_per_px([(shot.x_mm, shot.y_mm) for shot in shots])
    points = []
    for shot, name, xy, auto, mm_per_px in zip(shots, ids, here, found, scale, strict=True):
        by_hand = shot.auto_x_mm is None
        points.append(
            EditorPoint(
                id=name,
                x=round(float(xy[0]), 3),
                y=round(float(xy[1]), 3),
                auto=None if by_hand else (round(float(auto[0]), 3), round(float(auto[1]), 3)),
                r=round((shot.diameter_mm or record.shaft_mm or 0.0) / 2 / float(mm_per_px), 2),
                head=shot.head,
                arrow=shot.arrow,
                flyer=shot.flyer,
                why=shot.flyer_why,
                removed=shot.removed,
                doubt=shot.confidence is not None and shot.confidence < _DOUBT,
                note={"arrow": "arrow in it", "patched": "patched"}.get(shot.state, ""),
            )
        )
    return points


def take_edit(
    record: ScanRecord, ids: tuple[str, ...], edit: Edit
) -> tuple[ScanRecord, tuple[str, ...]]:
    """Return the record and its shots' names after one edit.

    Parameters
    ----------
    record : ScanRecord
    ids : tuple of str
        Name of each of ``record.shots`` in the page.
    edit : Edit
        What the page reported.

    Returns
    -------
    record : ScanRecord
        Shots numbered in the page's order, those removed last. Automatic positions are never
        changed; a hole put back where it was found gets its automatic numbers back. The order shot
        is kept where the page knows it, counted within the end; it is dropped where it knew it
        and does so no longer, as after a hole was added.
    ids : tuple of str
    """
    plane = plane_of(record)
    before = dict(zip(ids, zip(record.shots, editor_points(record, ids), strict=True), strict=True))
    points = sorted(edit.points, key=lambda point: point.removed)
    shots: list[ShotRecord] = []
    names: list[str] = []
    for point in points:
        known = before.pop(point.id, None)
        if known is None and point.removed:
            continue
        shot = _added(plane, record, point) if known is None else _changed(plane, *known, point)
        shots.append(replace(shot, number=len(shots) + 1))
        names.append(point.id)
    for name, (shot, _) in before.items():  # nothing the scan found is ever dropped
        if shot.auto_x_mm is not None or shot.id is not None:
            shots.append(replace(shot, number=len(shots) + 1, removed=True))
            names.append(name)
    if edit.ordered:
        shots = [replace(s, order=None if s.removed else s.number) for s in shots]
    elif is_ordered(record):
        shots = [replace(s, order=None) for s in shots]
    aim = record.aim_mm
    if edit.aim is not None and math.dist(edit.aim, aims_px(record)[0]) > _SAME_PX:
        aim = _aim(plane, record, edit.aim)
    return replace(record, shots=tuple(shots), aim_mm=aim), tuple(names)


def is_ordered(record: ScanRecord) -> bool:
    """Return whether the order is known in which all of the record's shots were shot."""
    shots = [shot for shot in record.shots if not shot.removed]
    return bool(shots) and all(shot.order is not None for shot in shots)


def _at(plane: Plane, x_px: float, y_px: float) -> tuple[float, float, float]:
    (x_mm, y_mm), *_ = plane.to_mm([(x_px, y_px)])
    mm_per_px = float(plane.mm_per_px([(x_mm, y_mm)])[0])
    return float(x_mm), float(y_mm), max(HAND_SE_MM, HAND_SE_PX * mm_per_px)


def _added(plane: Plane, record: ScanRecord, point: EditedPoint) -> ShotRecord:
    x_mm, y_mm, se_mm = _at(plane, point.x, point.y)
    return ShotRecord(
        number=1, x_mm=x_mm, y_mm=y_mm, x_px=point.x, y_px=point.y, se_mm=se_mm,
        diameter_mm=record.shaft_mm, head=point.head, arrow=point.arrow, flyer=point.flyer,
        flyer_why=point.why,
    )  # fmt: skip


def _changed(plane: Plane, shot: ShotRecord, was: EditorPoint, point: EditedPoint) -> ShotRecord:
    labelled = replace(
        shot, head=point.head, arrow=point.arrow, flyer=point.flyer, flyer_why=point.why,
        removed=point.removed,
    )  # fmt: skip
    if math.dist((was.x, was.y), (point.x, point.y)) <= _SAME_PX:
        return labelled
    if was.auto is not None and math.dist(was.auto, (point.x, point.y)) <= _SAME_PX:
        assert shot.auto_x_mm is not None
        assert shot.auto_y_mm is not None
        return replace(
            labelled, x_mm=shot.auto_x_mm, y_mm=shot.auto_y_mm, se_mm=shot.auto_se_mm,
            x_px=was.auto[0], y_px=was.auto[1],
        )  # fmt: skip
    x_mm, y_mm, se_mm = _at(plane, point.x, point.y)
    return replace(labelled, x_mm=x_mm, y_mm=y_mm, x_px=point.x, y_px=point.y, se_mm=se_mm)


def _aim(plane: Plane, record: ScanRecord, aim_px: tuple[float, float]) -> tuple[float, float]:
    for printed_mm, printed_px in zip(record.aims_mm, aims_px(record)[1], strict=True):
        if math.dist(printed_px, aim_px) <= _SAME_PX:
            return printed_mm
    (x_mm, y_mm), *_ = plane.to_mm([aim_px])
    return float(x_mm), float(y_mm)


def without_corrections(record: ScanRecord) -> ScanRecord:
    """Return the record as the scan left it: found places, nothing added, nothing removed.

    The aim and the labels stay: the scan knows nothing of them.
    """
    found = [
        replace(
            shot,
            x_mm=shot.auto_x_mm,
            y_mm=shot.auto_y_mm,
            se_mm=shot.auto_se_mm,
            x_px=None,
            y_px=None,
            removed=False,
        )
        for shot in record.shots
        if shot.auto_x_mm is not None and shot.auto_y_mm is not None
    ]
    return replace(record, shots=tuple(replace(shot, number=i) for i, shot in enumerate(found, 1)))


def group_of_record(record: ScanRecord, distance_m: float | None) -> Group | None:
    """Measure the group that the record's shots make about its aim; None without shots."""
    from groupscan.aims import aims_of_shots
    from groupscan.stats.group import measure_group

    shots = [shot for shot in record.shots if not shot.removed]
    if not shots:
        return None
    xy = np.array([(shot.x_mm, shot.y_mm) for shot in shots])
    known = [shot.own_se_mm for shot in shots if shot.own_se_mm is not None]
    return measure_group(
        xy - aims_of_shots(xy, record.aim_mm, record.aims_mm),
        se_mm=known if len(known) == len(shots) else None,
        distance_m=distance_m,
        names=[shot.number for shot in shots],
    )
