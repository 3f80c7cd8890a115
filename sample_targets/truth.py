"""The truth about a planned photo, as the JSON file beside it tells it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from sample_targets.camera import Camera, best_homography
from sample_targets.faces import STRIP_LONG_MM
from sample_targets.marks import Hole
from sample_targets.plan import Plan
from sample_targets.practice import PracticePlan

__all__ = ["truth_of"]


def truth_of(plan: Plan | PracticePlan, *, photo: str, other: str | None = None) -> dict[str, Any]:
    """Return everything that is true about a planned photo, ready for JSON.

    Parameters
    ----------
    plan : Plan or PracticePlan
    photo : str
        Name of the photo's file.
    other : str, optional
        Name of the other photo of the pair.

    Returns
    -------
    dict
        ``README.md`` beside this file says what each key means.
    """
    camera, bend, sheet = plan.camera, plan.bend, plan.sheet

    def px(points: Any) -> list[list[float]]:
        flat = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        return [[round(float(a), 3) for a in p] for p in camera.project(bend.lift(flat))]

    half = np.array([sheet.width_mm, sheet.height_mm]) / 2
    matrix, apart = best_homography(camera, bend, half)
    # Along the sheet's x axis at its centre: a leaning sheet has another scale up and down.
    left, right = camera.project(bend.lift(np.array([[-1.0, 0.0], [1.0, 0.0]])))
    mm_per_px = 2 / float(np.linalg.norm(right - left))
    ends, what = _known_length(plan)
    truth: dict[str, Any] = {
        "photo": photo,
        "sheet": sheet.id,
        "sheet_id": sheet.id,
        "sheet_size_mm": [sheet.width_mm, sheet.height_mm],
        "image_size_px": [camera.width, camera.height],
        "exif_orientation": plan.orientation,
        "camera": {
            "focal_eq_mm": plan.focal_eq_mm,
            "f_px": round(camera.f_px, 3),
            "cx": camera.cx,
            "cy": camera.cy,
            "k1": camera.k1,
            "tilt_deg": _tilt_deg(camera),
            "roll_deg": math.degrees(camera.roll_rad),
            "distance_mm": round(camera.distance_mm, 1),
        },
        "corners_px": px(sheet.corners_mm),
        "known_length": {
            "mm": round(float(np.linalg.norm(np.subtract(*ends))), 4),
            "ends_px": px(ends),
            "what": what,
        },
        "aim_points_mm": [list(aim) for aim in sheet.aims_mm],
        "aim_points_px": px(sheet.aims_mm),
        "holes": [_hole_truth(plan, hole, px) for hole in plan.holes],
        "mm_to_px": {
            "note": "undistorted px = homography * (x_mm, y_mm, 1); then with x=(u-cx)/f_px, "
            "y=(v-cy)/f_px, r2=x*x+y*y: px = cx + f_px*x*(1+k1*r2), likewise y. The homography is "
            "the best plane; the sheet is slightly bent, see max_deviation_px. Each x_px, y_px in "
            "this file is exact.",
            "homography": [[float(f"{a:.9g}") for a in line] for line in matrix],
            "max_deviation_px": round(float(apart.max()), 2),
            "rms_deviation_px": round(float(np.sqrt((apart**2).mean())), 2),
        },
        "mm_per_px_at_centre": round(mm_per_px, 4),
        "light": plan.light.name,
    }
    if isinstance(plan, PracticePlan):
        truth |= _practice_truth(plan, other)
    else:
        truth |= {
            "notes": f"{plan.light.name} light; {plan.butt} butt; sheet bent by "
            f"{abs(bend.sag_mm):.1f} mm; seed {plan.seed}",
            "distractors": {
                "patches_mm": _rounded(plan.patches),
                "pins_mm": [list(p) for p in plan.pins],
                "pin_kind": "pin",
                "specks_mm": _rounded(plan.specks),
                "handwriting": list(plan.handwriting),
            },
        }
    return truth


def _rounded(points: Any) -> list[list[float]]:
    return [[round(float(a), 2) for a in p] for p in points]


def _known_length(plan: Plan | PracticePlan) -> tuple[list[list[float]], str]:
    """Return the two ends of a length that can be seen on the sheet, in mm, and what it is."""
    sheet = plan.sheet
    if sheet.fiducials:
        upper = sheet.fiducials[0], sheet.fiducials[len(sheet.fiducials) // 2]
        return [[m.x_mm, m.y_mm] for m in upper], "centres of the two upper corner markers"
    if sheet.rings:
        radius = max(ring.radius_mm for ring in sheet.rings)
        return [[-radius, 0.0], [radius, 0.0]], "outer ring diameter, left to right"
    if sheet.grid_mm is not None:
        half = 5 * sheet.grid_mm
        what = f"ten grid squares of {sheet.grid_mm} mm, five above the centre"
        return [[-half, half], [half, half]], what
    strip = getattr(plan, "strip", None)
    if strip is not None:
        x, y, turn = strip
        step = STRIP_LONG_MM / 2 * np.array([math.cos(turn), math.sin(turn)])
        ends = [[x - step[0], y - step[1]], [x + step[0], y + step[1]]]
        return ends, "ends of the 300 mm strip with 50 mm blocks"
    return sheet.corners_mm[:2].tolist(), "top edge of the paper"


def _practice_truth(plan: PracticePlan, other: str | None) -> dict[str, Any]:
    truth: dict[str, Any] = {
        "sheet": plan.kind,
        "difficulty": plan.difficulty,
        "notes": f"{plan.difficulty}; {plan.light.name} light; {plan.butt} butt; sheet curl about "
        f"{plan.curl_mm:.1f} mm; seed {plan.seed}",
        "distractors": {
            "patches_mm": _rounded([(s.x_mm, s.y_mm, s.across_mm) for s in plan.stickers]),
            "pins_mm": [list(p) for p in plan.pins],
            "pin_kind": plan.pin_kind,
            "specks_mm": _rounded(plan.specks),
        },
    }
    if plan.role is not None:
        truth["pair"] = {"role": plan.role, "other": other}
    return truth


def _tilt_deg(camera: Camera) -> float:
    """Angle between the sheet's normal and the optical axis."""
    normal = camera.rotation @ [0.0, 0.0, 1.0]
    return math.degrees(math.acos(min(1.0, abs(float(normal[2])))))


def _hole_truth(plan: Plan | PracticePlan, hole: Hole, px: Any) -> dict[str, Any]:
    x, y = hole.x_mm, hole.y_mm
    at, right, up = px([[x, y], [x + 1, y], [x, y + 1]])
    scale = math.sqrt(abs(np.linalg.det(np.subtract([right, up], at))))
    markers = [
        m.marker_id
        for m in plan.sheet.fiducials
        if max(abs(x - m.x_mm), abs(y - m.y_mm)) < m.side_mm / 2
    ]
    return {
        "x_mm": round(x, 3),
        "y_mm": round(y, 3),
        "x_px": at[0],
        "y_px": at[1],
        "point": hole.point,
        "shaft_mm": hole.shaft_mm,
        "hole_mm": round(hole.hole_mm, 2),
        "hole_px": round(hole.hole_mm * scale, 1),
        "cut_mm": None if hole.cut_mm is None else round(hole.cut_mm, 2),
        "state": "patched" if hole.patched else "arrow_in" if hole.arrow else "open",
        "new": hole.new,
        "overlaps": sum(
            other is not hole
            and math.hypot(x - other.x_mm, y - other.y_mm) < (hole.hole_mm + other.hole_mm) / 2
            for other in plan.holes
        ),
        "behind_arrow": isinstance(plan, PracticePlan) and plan.hidden(hole),
        "through_marker": markers[0] if markers else None,
    }
