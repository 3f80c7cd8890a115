"""Dark regions of the sheet, and which of them a single hole explains."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.expected import Flat
from groupscan.photo.holes.discs import Discs
from groupscan.photo.plane import Floats

__all__ = ["LEVELS", "Region", "Sorted", "distinct", "sort_discs"]

#: Larger dark regions are no holes: ten wide shafts side by side.
_MOST_REGION_MM2 = 420.0
#: Darkness from which a region counts: half a hole's; and where that is no hole, nearly all of
#: it, which parts holes from shafts, paint and shade beside them.
LEVELS = (0.45, 0.75)
_NEXT = np.ones((3, 3), np.uint8)


@dataclass(frozen=True)
class Region:
    """A connected dark region of the flat picture.

    Attributes
    ----------
    box_mm : (2, 2) array
        Its lower and upper corner on the sheet, mm.
    foreign : (h, w) uint8 array
        1 where the flat picture is dark and belongs to another region.
    area_mm2 : float
    surest : int
        Index of the surest disc fitted in it alone.
    members : tuple of int
        Indices of all discs fitted in it.
    """

    box_mm: Floats
    foreign: NDArray[np.uint8]
    area_mm2: float
    surest: int
    members: tuple[int, ...]


@dataclass(frozen=True)
class Sorted:
    """Discs by what is dark around them: indices of fits.

    Attributes
    ----------
    single : tuple of int
        Those that explain what is dark by themselves.
    regions : tuple of Region
        What needs more than one disc.
    rest : tuple of int
        Those in regions larger than holes make.
    """

    single: tuple[int, ...]
    regions: tuple[Region, ...]
    rest: tuple[int, ...]


def sort_discs(
    flat: Flat,
    fits: Discs,
    sure: Floats,
    order: list[int],
    *,
    typical_mm: float | None = None,
    level: float = LEVELS[0],
) -> Sorted:
    """Tell discs that stand alone from those in regions that need more.

    A patch, an arrow or a shadow is one connected dark region that a disc of a shaft's size
    leaves mostly unexplained; so are holes that touch.

    Parameters
    ----------
    flat : Flat
    fits : Discs
    sure : (n,) array
    order : list of int
        Which discs, surest first.
    typical_mm : float, optional
        Radius of this photo's holes: a wider disc may be two holes in one.
    level : float
        Darkness from which a region counts as dark.

    Returns
    -------
    Sorted
    """
    mask: Any = ((flat.dark > level) & (flat.weight > 0.3)).astype(np.uint8)
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask)
    at = np.rint(flat.to_px(fits.centre_mm)).astype(int)
    at = np.clip(at, 0, np.array(mask.shape[::-1]) - 1)
    label = labels[at[:, 1], at[:, 0]]
    area = stats[:, cv2.CC_STAT_AREA] / flat.px_per_mm**2
    radius = fits.radius_mm if typical_mm is None else np.minimum(fits.radius_mm, typical_mm)
    disc = np.pi * radius**2
    single, rest = [], []
    crowded: set[int] = set()
    for i in order:
        mates = [j for j in order if label[j] == label[i] != 0 and sure[j] > 0.3]
        if label[i] == 0:
            # Paler than this level, and at the first that is all there is of it.
            single += [i] if level == LEVELS[0] else []
        elif len(mates) < 2 and area[label[i]] <= 1.22 * disc[i] + 2.0:
            single.append(i)
        elif area[label[i]] >= _MOST_REGION_MM2:
            rest.append(i)
        elif sure[i] > 0.05:
            crowded.add(int(label[i]))
    regions = tuple(
        _region(flat, labels, stats[k], k, tuple(i for i in order if label[i] == k))
        for k in sorted(crowded)
    )
    return Sorted(tuple(single), regions, tuple(rest))


def _region(
    flat: Flat, labels: NDArray[Any], stats: NDArray[Any], k: int, members: tuple[int, ...]
) -> Region:
    """Describe one connected region."""
    x, y, w, h = stats[:4].astype(float)
    corners = flat.to_mm(np.array([[x - 0.5, y + h - 0.5], [x + w - 0.5, y - 0.5]]))
    # What touches this region is as much its own as that of the one beside it.
    foreign: Any = ((labels != 0) & (labels != k)).astype(np.uint8)
    near, own = (cv2.dilate(m, _NEXT) for m in (foreign, (labels == k).astype(np.uint8)))
    area = float(stats[cv2.CC_STAT_AREA]) / flat.px_per_mm**2
    return Region(corners, np.where(own > 0, foreign, near), area, members[0], members)


def distinct(fits: Discs, sure: Floats) -> list[int]:
    """Order fits by confidence, without those that lie on a surer one."""
    kept: list[int] = []
    for i in np.argsort(-sure):
        apart = fits.centre_mm[kept] - fits.centre_mm[i]
        if not kept or (np.hypot(apart[:, 0], apart[:, 1]) > 0.7 * fits.radius_mm[i]).all():
            kept.append(int(i))
    return kept
