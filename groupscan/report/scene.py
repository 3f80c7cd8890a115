"""What the picture of a group shows, before either plotting library draws it.

Positions are mm from the point of aim, x right and y up; the sheet lies under them in its true
size and place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from numpy.typing import NDArray

from groupscan.stats.group import Ellipse, Group

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.sheets.catalogue import Sheet

__all__ = [
    "ORIGINS",
    "LengthUnit",
    "Scene",
    "circle",
    "ellipse_outline",
    "flagged_place",
    "group_scene",
    "marked_places",
    "region_outline",
    "shown_region",
]

LengthUnit = Literal["mm", "inch"]

#: Where a hole may come from, and the words for it.
ORIGINS: Final = {
    "found": "found",
    "moved": "moved by hand",
    "added": "added by hand",
    "typed": "typed in, without a photo",
}

_SMALLEST_HALF_MM = 25.0
_MARGIN = 1.15


@dataclass(frozen=True)
class Scene:
    """The contents of one group picture.

    Attributes
    ----------
    shots : DataFrame
        One row a hole: ``right_mm``, ``high_mm``, ``origin``, ``label``, ``head``, ``arrow``.
    group : Group
        Their statistics, with the aim at (0, 0).
    sheet : Sheet or None
        The sheet to draw underneath.
    sheet_aim_mm : tuple of float
        Point of aim in the sheet's own coordinates: where the origin lies on the sheet.
    sheet_reach_mm : float
        How far about the aim the sheet is drawn; see `groupscan.report.shots.Under`.
    window_mm : tuple of float
        Left, right, bottom and top of the square that is shown.
    title : str
        Plain text over the picture; it may come from a user.
    """

    shots: pd.DataFrame
    group: Group
    sheet: Sheet | None
    sheet_aim_mm: tuple[float, float]
    window_mm: tuple[float, float, float, float]
    title: str
    sheet_reach_mm: float = math.inf


def circle(x_mm: float, y_mm: float, radius_mm: float) -> NDArray[np.float64]:
    """Return the outline of a circle, (181, 2) mm."""
    turn = np.linspace(0, 2 * math.pi, 181)
    return np.column_stack((x_mm + radius_mm * np.cos(turn), y_mm + radius_mm * np.sin(turn)))


def ellipse_outline(group: Group) -> NDArray[np.float64] | None:
    """Return the outline of the centre's confidence region, (181, 2) mm; None if not known.

    Examples
    --------
    >>> from groupscan.stats.group import measure_group
    >>> ellipse_outline(measure_group([(0, 0), (1, 5)])) is None
    True
    """
    return region_outline(group.centre_ellipse)


def region_outline(e: Ellipse) -> NDArray[np.float64] | None:
    """Return the outline of a confidence region, (181, 2) mm; None where it is not bounded."""
    if not (math.isfinite(e.semi_major_mm) and math.isfinite(e.semi_minor_mm)):
        return None
    u, v = (circle(0, 0, 1) * (e.semi_major_mm, e.semi_minor_mm)).T
    cos, sin = math.cos(e.angle_rad), math.sin(e.angle_rad)
    return np.column_stack((e.x_mm + u * cos - v * sin, e.y_mm + u * sin + v * cos))


def shown_region(scene: Scene) -> NDArray[np.float64] | None:
    """Return the outline of the centre's confidence region as far as the picture can show it.

    With three shots it can be metres wide: where no part of its outline lies in the picture, to
    tint all of it would hide the sheet and say nothing.
    """
    outline = ellipse_outline(scene.group)
    if outline is None:
        return None
    left, right, bottom, top = scene.window_mm
    x, y = outline.T
    inside = (left < x) & (x < right) & (bottom < y) & (y < top)
    return outline if inside.any() else None


def flagged_place(scene: Scene) -> tuple[float, float] | None:
    """Return where the shot lies that is flagged as a flyer, mm; None where none is.

    The scene's shots stand in the order in which their group was measured.
    """
    flyer = scene.group.flyer
    if flyer is None or not flyer.flagged:
        return None
    row = scene.shots.iloc[flyer.shot - 1]
    return float(row["right_mm"]), float(row["high_mm"])


def marked_places(scene: Scene) -> NDArray[np.float64]:
    """Return where the shots lie that the shooter marked as flyers, (k, 2) mm; mostly none."""
    if "flyer" not in scene.shots:
        return np.empty((0, 2))
    marked = scene.shots[scene.shots["flyer"].astype(bool)]
    return marked[["right_mm", "high_mm"]].to_numpy(float)


def group_scene(
    shots: pd.DataFrame,
    group: Group,
    *,
    sheet: Sheet | None = None,
    sheet_aim_mm: tuple[float, float] = (0.0, 0.0),
    sheet_reach_mm: float = math.inf,
    whole_sheet: bool = False,
    title: str = "",
) -> Scene:
    """Lay out the picture of one group.

    Parameters
    ----------
    shots : DataFrame
        As `groupscan.aims.about_aim` returns them; a column ``label`` is optional and
        otherwise made from ``number``.
    group : Group
        Their statistics, measured in the same order.
    sheet : Sheet, optional
        The sheet, if all shots are on one kind of sheet.
    sheet_aim_mm : tuple of float
        Their aim, in the sheet's coordinates, mm.
    sheet_reach_mm : float
        How far about it the sheet is drawn.
    whole_sheet : bool
        Show all of the sheet instead of the group and its surroundings.
    title : str
        Plain text.

    Returns
    -------
    Scene
    """
    if "label" not in shots.columns:
        shots = shots.assign(label=shots["number"].astype("string"))
    corners = [(0.0, 0.0), *shots[["right_mm", "high_mm"]].to_numpy(float).tolist()]
    centre = (group.centre.x.value, group.centre.y.value)
    if math.isfinite(group.r90.value):
        corners += circle(*centre, group.r90.value).tolist()
    outline = ellipse_outline(group)
    # With three shots the region can be metres wide: it must not shrink the holes to dots.
    if outline is not None and group.n > 3:
        corners += outline.tolist()
    if whole_sheet and sheet is not None and sheet.width_mm > 0:
        corners += (sheet.corners_mm - sheet_aim_mm).tolist()
    low, high = np.min(corners, axis=0), np.max(corners, axis=0)
    x, y = (low + high) / 2
    half = max(_SMALLEST_HALF_MM, _MARGIN * float((high - low).max()) / 2)
    return Scene(
        shots=shots,
        group=group,
        sheet=sheet,
        sheet_aim_mm=sheet_aim_mm,
        window_mm=(float(x - half), float(x + half), float(y - half), float(y + half)),
        title=title,
        sheet_reach_mm=sheet_reach_mm,
    )
