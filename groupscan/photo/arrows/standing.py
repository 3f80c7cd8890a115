"""Arrows that still stand in the sheet: where the shaft goes in.

A shaft that stands off the sheet is seen beside the place it went in, farther off the nearer its
end comes to the camera. Its foot is the end that points back to the spot of the sheet that the
camera is right in front of, so the foot can be told from the nock and a shaft from a shadow.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from groupscan.photo.arrows.bars import LEAST_LENGTH_MM, find_bars, without_seams
from groupscan.photo.arrows.feet import (
    Foot,
    Spot,
    cell_at,
    find_foot,
    find_spots,
    least_length,
    outward,
)
from groupscan.photo.expected import Flat
from groupscan.photo.holes import Hole
from groupscan.photo.plane import Floats, Plane
from groupscan.photo.reading import Photo

__all__ = ["Shaft", "add_arrows", "find_shafts"]

#: Standard deviations that a shaft stands out by at least, and that times its length as seen, mm.
_LEAST_CONTRAST, _LEAST_WORTH = 6.0, 800.0
_LEAST_SEEN = 0.35  # share of a shaft, from its foot on, that must have been seen as a bar
#: What a shaft takes of the sheet's light or adds to it, and how far its colours are its own,
#: each alone enough, or a part of both; a shadow and a seam have less of all (found on renders; no
#: source).
_DARK, _BRIGHT, _OWN, _LOOKS = 0.42, 0.2, 0.2, 1.1
_BORDER_MM = 8.0  # a shaft that is seen up to here from the border may go on beyond
_FOOT_SE_MM = 1.3  # of a foot along the shaft, against renders
_VANES_MM = 14.0  # from the axis to the edge of the vanes, as seen near the camera
#: Vanes lie over the outer part of what was seen, or beyond it by so many mm, and cover at least
#: so many mm² of a sheet that the shaft's end is seen on (three of 45 by 8 mm are common; no
#: source), each place standing out by so many standard deviations.
_VANES_FROM, _VANES_BEYOND_MM, _VANES_MM2, _VANES_CONTRAST = 0.6, 60.0, 100.0, 4.0
_BEYOND_MM = 200.0  # how far a shaft may go on beyond what was seen of it
_SAME_FOOT_MM = 6.0
#: A hole this near to a foot along the shaft is its own; how far a nock goes on beyond what was
#: seen of the shaft, and how far its blur beside it; and the confidence of a clear hole.
_AT_FOOT_MM, _NOCK_MM, _BLURRED_MM, _CLEAR_HOLE = 4.0, 40.0, 1.0, 0.9


@dataclass(frozen=True)
class Shaft:
    """A shaft standing in the sheet.

    Attributes
    ----------
    foot_mm : (2,) array
        Where its axis goes through the sheet.
    end_mm : (2,) array
        Where its other end is seen on the sheet's plane.
    width_mm : float
        Its width as seen.
    contrast : float
        How far it stands out from the sheet, in standard deviations.
    se_mm : float
        Standard error of the foot, per axis.
    seen_mm : (2, 2) array
        Ends of what was seen of it at first.
    """

    foot_mm: Floats
    end_mm: Floats
    width_mm: float
    contrast: float
    se_mm: float
    seen_mm: Floats

    @property
    def length_mm(self) -> float:
        """How long its picture is."""
        return float(np.hypot(*(self.end_mm - self.foot_mm)))

    def places(self, mm: Floats) -> tuple[Floats, Floats]:
        """Places of the sheet, (n, 2) mm, as lengths along the shaft from its foot and aside."""
        axis = (self.end_mm - self.foot_mm) / self.length_mm
        off = np.asarray(mm, float) - self.foot_mm
        return off @ axis, off @ np.array([-axis[1], axis[0]])


def find_shafts(photo: Photo, plane: Plane, flat: Flat, *, drawn: bool = False) -> list[Shaft]:
    """Find arrows that stand in the sheet.

    Parameters
    ----------
    photo : Photo
    plane : Plane
    flat : Flat
    drawn : bool
        Whether people draw on this sheet.

    Returns
    -------
    list of Shaft
        Those that stand out most first; empty where nothing long and straight stands out.

    Notes
    -----
    1. Straight bars of a shaft's width that differ from the sheet (`find_bars`).
    2. A bar whose picture does not run away from the camera's spot, or is too short for an arrow
       seen from there, is none.
    3. The foot is found in the photo by the shaft's own look (`find_foot`). A bar that only
       darkens a little what lies under it is a shadow or a seam.
    4. What lies on a shaft is its vanes and nock; what ends in a shaft's foot is its shadow.
    """
    bars = without_seams(find_bars(flat, drawn=drawn))
    if not bars:
        return []
    spots = find_spots(photo, plane)
    shafts: list[Shaft] = []
    for bar in sorted(bars, key=lambda one: -float(np.hypot(*(one.ends_mm[1] - one.ends_mm[0])))):
        ends = outward(bar.ends_mm, spots)
        if ends is None or any(_on_outer_half(ends, shaft) for shaft in shafts):
            continue
        foot = find_foot(photo, plane, flat, ends, bar.width_mm)
        if _is_shaft(flat, foot, ends, bar.width_mm, spots):
            se = float(np.hypot(_FOOT_SE_MM, foot.se_mm))
            shafts.append(Shaft(foot.mm, ends[1], bar.width_mm, foot.agreement, se, ends))
    return _apart(shafts)


def _is_shaft(flat: Flat, foot: Foot, ends: Floats, width_mm: float, spots: list[Spot]) -> bool:
    """Tell a shaft from a shadow, a seam and a drawn bar by its look and its length."""
    looks = max(foot.gone / _DARK, -foot.gone / _BRIGHT) + foot.own / _OWN
    length = float(np.hypot(*(ends[1] - foot.mm)))
    seen = float(np.hypot(*(ends[1] - ends[0])))
    before = foot.mm - _BORDER_MM * (ends[1] - foot.mm) / max(length, 1.0)
    border = float((np.asarray(flat.size_mm) / 2 - np.abs(ends[1])).min())
    return (
        looks > _LOOKS
        and bool(flat.inside[cell_at(flat, before)])
        and foot.agreement > _LEAST_CONTRAST
        and foot.agreement * seen > _LEAST_WORTH
        and seen > _LEAST_SEEN * length
        and length > LEAST_LENGTH_MM
        and (
            border < _BORDER_MM
            or (
                length > least_length(foot.mm, spots)
                and _vanes_mm2(flat, foot.mm, ends[1], width_mm) > _VANES_MM2
            )
        )
    )


def _vanes_mm2(flat: Flat, foot: Floats, end: Floats, width: float) -> float:
    """How much of the sheet differs beside the outer part of a shaft and beyond its end, mm²."""
    length = float(np.hypot(*(end - foot)))
    axis = (end - foot) / length
    along = np.arange(_VANES_FROM * length, length + _VANES_BEYOND_MM, 1.0)
    aside = np.arange(-_VANES_MM, _VANES_MM + 0.5, 1.0)
    normal = np.array([-axis[1], axis[0]])
    mm = foot + along[:, None, None] * axis + aside[None, :, None] * normal
    px = np.rint(flat.to_px(mm.reshape(-1, 2))).astype(int)
    inside = ((px >= 0) & (px < flat.seen.shape[::-1])).all(axis=1)
    column, row = px[inside].T
    off = np.abs(flat.expected[row, column] - flat.seen[row, column]) / flat.doubt[row, column]
    own = (np.abs(aside)[None] < width / 2 + 1.5) & (along < length + 2.0)[:, None]
    return float(np.count_nonzero((off > _VANES_CONTRAST) & ~own.ravel()[inside]))


def _apart(shafts: list[Shaft]) -> list[Shaft]:
    """Leave out bars that are a part of a surer shaft or its shadow."""
    out: list[Shaft] = []
    for shaft in sorted(shafts, key=lambda s: -s.length_mm * min(s.contrast, 20.0)):
        begun = next((k for k, other in enumerate(out) if _begins(shaft, other)), None)
        if begun is not None:
            out[begun] = replace(out[begun], foot_mm=shaft.foot_mm, se_mm=shaft.se_mm)
        elif not any(_belongs(shaft, other) for other in out):
            out.append(shaft)
    return out


def _begins(shaft: Shaft, other: Shaft) -> bool:
    """Whether a bar is the part of another shaft that is next to its foot: it overlaps it."""
    along, aside = other.places(np.array([shaft.foot_mm, shaft.end_mm]))
    on_line = bool((np.abs(aside) < other.width_mm).all())
    return on_line and float(along[0]) < -_SAME_FOOT_MM and float(along[1]) > 0


def _belongs(shaft: Shaft, other: Shaft) -> bool:
    """Whether a bar is a part of another shaft, or its shadow."""
    if float(np.hypot(*(shaft.foot_mm - other.foot_mm))) < _SAME_FOOT_MM:
        return True
    if _lies_on(shaft.seen_mm, other):
        return True
    # A shadow goes out from the foot, so the wrong way round it ends there.
    return float(np.hypot(*(shaft.end_mm - other.foot_mm))) < 1.5 * _SAME_FOOT_MM


def _lies_on(seen_mm: Floats, shaft: Shaft) -> bool:
    """Whether a bar lies on a shaft or its vanes, or beyond its end."""
    along, aside = shaft.places(seen_mm)
    seen = float(np.hypot(*(seen_mm[1] - seen_mm[0])))
    wide = _VANES_MM if seen < 0.5 * shaft.length_mm else shaft.width_mm
    on = (np.abs(aside) < wide) & (along > 0) & (along < shaft.length_mm + _BEYOND_MM)
    return bool(on.all())


def _on_outer_half(seen_mm: Floats, shaft: Shaft) -> bool:
    """Whether a bar lies where a shaft's vanes do, too far out for a foot of its own."""
    along, _ = shaft.places(seen_mm)
    return _lies_on(seen_mm, shaft) and float(along.min()) > 0.5 * shaft.length_mm


def add_arrows(holes: list[Hole], shafts: list[Shaft], plane: Plane) -> list[Hole]:
    """Add standing arrows to the holes, and take out what was only a part of one.

    Parameters
    ----------
    holes : list of Hole
    shafts : list of Shaft
    plane : Plane

    Returns
    -------
    list of Hole
        A hole seen at a shaft's foot gives the arrow its place; else the foot does.
    """
    out = list(holes)
    for shaft in shafts:
        at_foot: list[Hole] = []
        for hole in list(out):
            along, aside = (float(v[0]) for v in shaft.places(np.array([[hole.x_mm, hole.y_mm]])))
            if hole.state == "open" and _is_part(hole, shaft, along, abs(aside)):
                out.remove(hole)
                at_foot += [hole] if along < _AT_FOOT_MM else []
        foot = max(at_foot, key=lambda hole: hole.confidence, default=None)
        out.append(_arrow(shaft, foot, plane))
    return sorted(out, key=lambda hole: -hole.confidence)


def _is_part(hole: Hole, shaft: Shaft, along: float, aside: float) -> bool:
    """Whether what seemed a hole is a part of a shaft, its nock or its vanes, or its own hole.

    What is a clear hole in its own right is so only under the shaft itself.
    """
    clear = hole.confidence > _CLEAR_HOLE
    on = aside < shaft.width_mm / 2 + (0.0 if clear else _BLURRED_MM)
    if -_AT_FOOT_MM < along < shaft.length_mm + _NOCK_MM and on:
        return True
    by_vanes = _VANES_FROM * shaft.length_mm < along < shaft.length_mm + _NOCK_MM
    return by_vanes and aside < _VANES_MM and not clear


def _arrow(shaft: Shaft, foot: Hole | None, plane: Plane) -> Hole:
    if foot is not None:
        return replace(foot, state="arrow")
    mm = shaft.foot_mm[None]
    px = plane.to_px(mm)[0]
    own = float(np.trace(plane.position_covariance(mm)[0]) / 2)
    return Hole(
        x_mm=float(mm[0, 0]),
        y_mm=float(mm[0, 1]),
        se_mm=float(np.hypot(shaft.se_mm, np.sqrt(own))),
        x_px=float(px[0]),
        y_px=float(px[1]),
        diameter_mm=float(min(shaft.width_mm, 7.0)),
        cut="round",
        confidence=float(np.clip(0.7 + 0.02 * (shaft.contrast - _LEAST_CONTRAST), 0.7, 0.95)),
        state="arrow",
    )
