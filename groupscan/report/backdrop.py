"""The sheet behind a group: pale, true to scale, and at its place about the aim."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from groupscan.report.palette import Theme, mix, palette
from groupscan.report.scene import Scene

__all__ = ["pale_artwork", "pale_rings"]

_SHEET_SHARE: Final = {"light": 0.22, "dark": 0.15}  # of its own colour: the sheet stays behind
_ARTWORK_PX: Final = 900


def pale_artwork(
    scene: Scene, theme: Theme
) -> tuple[NDArray[np.uint8], tuple[float, float, float, float]] | None:
    """Return the sheet as a pale picture and its extent (left, right, bottom, top), mm."""
    from groupscan.sheets.artwork import draw_artwork

    sheet = scene.sheet
    if sheet is None or sheet.rings or sheet.width_mm <= 0:
        return None
    picture = draw_artwork(sheet, px_per_mm=_ARTWORK_PX / max(sheet.width_mm, sheet.height_mm))
    p = palette(theme)
    ground = np.array([int(p.ground[i : i + 2], 16) for i in (1, 3, 5)])
    pale = (
        (ground + _SHEET_SHARE[theme] * (picture.astype(float) - ground)).round().astype(np.uint8)
    )
    (left, top), (right, bottom) = (sheet.corners_mm[i] - scene.sheet_aim_mm for i in (0, 2))
    if np.isfinite(scene.sheet_reach_mm):
        tall, wide = pale.shape[:2]
        x = left + (np.arange(wide) + 0.5) * (right - left) / wide
        y = top + (np.arange(tall) + 0.5) * (bottom - top) / tall
        pale[np.hypot(x[None, :], y[:, None]) > scene.sheet_reach_mm] = ground.astype(np.uint8)
    return pale, (float(left), float(right), float(bottom), float(top))


def pale_rings(scene: Scene, theme: Theme) -> list[tuple[float, str, str]]:
    """Return radius (mm), fill and line colour of each ring to draw, outermost first."""
    if scene.sheet is None:
        return []
    ground, share = palette(theme).ground, _SHEET_SHARE[theme]
    return [
        (
            ring.radius_mm,
            mix(ring.fill, ground, share),
            mix(ring.line or ring.fill, ground, 2 * share),
        )
        for ring in scene.sheet.rings
    ]
