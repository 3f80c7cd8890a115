"""Blade cuts: a round hole for the shaft, and two, three or four slits out from it.

A broadhead's blades stand at equal angles and reach equally far, so a cut has few unknowns: its
centre, one direction, one length and how many blades. A tear has none of that order.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit

from groupscan.photo.darkness import darkness
from groupscan.photo.expected import Flat
from groupscan.photo.holes.slits import (
    DIAMETERS_MM,
    LEAST_RIDGE,
    LEAST_SHARE,
    MOST_STRAY,
    REACH_MM,
    Patch,
    Spokes,
    best_spokes,
    lay_spokes,
    promise,
    read_ridges,
)
from groupscan.photo.plane import Floats, Plane
from groupscan.photo.reading import Photo

__all__ = ["CUT_NAMES", "Cut", "find_cut", "find_cuts"]

CUT_NAMES = {2: "two-blade", 3: "three-blade", 4: "four-blade"}
#: Where the crossing is looked for at first, about the middle of the round part, mm.
_AROUND = 0.9 * np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]])
#: What lies this near to a slit's line, or to the crossing, is a part of the cut, mm.
_ASIDE_MM, _ROUND_PART_MM = 1.2, 3.2
_LEAST_REACH_MM = 12.0  # a little more than the shortest blades
_LEAST_SURE = 0.5
_LEAST_PROMISE_MM = 0.25  # of ridge in all, from which a closer look is worth while
_OVER_OTHERS = 3.0  # standard deviations that two rays stand out from the others by
_MOST_INK = 0.5  # of print in which slits are told from noise
_LEAST_CUT_MM = 20.0  # a little less than the smallest broadhead: ends of slits close up
_COARSEST = 0.9  # mm a pixel at which a slit is still seen as one
_MOST_MOVED_MM = 2.0  # of the crossing from the middle of the round part


@dataclass(frozen=True)
class Cut:
    """A cut that a broadhead made.

    Attributes
    ----------
    centre_mm : (2,) array
        Where the blades' lines meet: the shaft's axis.
    blades : int
    length_mm : float
        Cutting diameter: twice the length of a slit from the axis, to where it is last seen. A
        slit closes up towards its end, so the blade may be a millimetre or two longer.
    angle_rad : float
        Direction of one blade, anticlockwise from right; of those, the least from 0 up.
    se_mm : float
        Standard error of the centre, per axis.
    confidence : float
    worth_mm : float
        How much slit it explains: length times darkness, all blades together.
    """

    centre_mm: Floats
    blades: int
    length_mm: float
    angle_rad: float
    se_mm: float
    confidence: float
    worth_mm: float

    def holds(self, mm: Floats) -> np.ndarray:
        """Tell which places of the sheet, (n, 2) mm, lie on its slits or where they meet."""
        off = np.asarray(mm, float) - self.centre_mm
        turn = self.angle_rad + 2 * np.pi * np.arange(self.blades) / self.blades
        along = off[:, :1] * np.cos(turn) + off[:, 1:] * np.sin(turn)
        aside = off[:, 1:] * np.cos(turn) - off[:, :1] * np.sin(turn)
        on = (np.abs(aside) < _ASIDE_MM) & (along > 0) & (along < self.length_mm / 2 + 1.0)
        return np.asarray(on.any(axis=1) | (np.hypot(off[:, 0], off[:, 1]) < _ROUND_PART_MM))


def find_cuts(
    photo: Photo, plane: Plane, flat: Flat, centres_mm: Floats, radii_mm: Floats
) -> dict[int, Cut]:
    """Look for blade cuts out from many holes.

    Parameters
    ----------
    photo : Photo
    plane : Plane
    flat : Flat
    centres_mm : (n, 2) array
        Of holes, surest first.
    radii_mm : (n,) array

    Returns
    -------
    dict of int to Cut
        By the index of the hole from which it was found; no cut twice.
    """
    if float(plane.mm_per_px()[0]) > _COARSEST:
        return {}
    found: dict[int, Cut] = {}
    likely = _slit_like(photo, plane, flat, centres_mm, radii_mm)
    for i in (int(k) for k in np.flatnonzero(likely)):
        cut = find_cut(photo, plane, flat, centres_mm[i], float(radii_mm[i]))
        if cut is not None and cut.confidence > _LEAST_SURE:
            found[i] = cut
    # A hole on a slit may see the slit as two blades of its own: the cut that explains more has it.
    kept: dict[int, Cut] = {}
    for i in sorted(found, key=lambda k: -found[k].worth_mm):
        cut = found[i]
        if not any(
            cut.holds(other.centre_mm[None])[0] or other.holds(cut.centre_mm[None])[0]
            for other in kept.values()
        ):
            kept[i] = cut
    return kept


def _slit_like(
    photo: Photo, plane: Plane, flat: Flat, centres_mm: Floats, radii_mm: Floats
) -> np.ndarray:
    """Tell which holes have two long dark rays or more, (n,): the rest need no closer look."""
    if not len(centres_mm):
        return np.zeros(0, bool)
    rays = 96
    turn = np.arange(rays) * 2 * np.pi / rays
    unit = np.column_stack([np.cos(turn), np.sin(turn)])
    out = np.asarray(radii_mm)[:, None] + np.arange(1.0, 7.0, 0.75)
    at = np.asarray(centres_mm)[:, None, None] + out[:, :, None, None] * unit
    dark, _, _ = darkness(photo, plane, flat, at.reshape(-1, 2))
    dark = np.clip(dark, 0, 1).reshape(at.shape[:3])
    dark = dark - np.median(dark, axis=2, keepdims=True)
    # A slit that does not point quite here runs from ray to ray.
    dark = np.maximum(dark, np.maximum(np.roll(dark, 1, axis=2), np.roll(dark, -1, axis=2)))
    # Tears are short: what is dark over most of the way is none.
    along = np.quantile(dark, 0.3, axis=1)
    along -= np.median(along, axis=1, keepdims=True)
    best = along.max(axis=1)
    # The second ray lies at least 50 degrees from the first.
    apart = np.abs((np.arange(rays) - along.argmax(axis=1)[:, None] + rays // 2) % rays - rays // 2)
    second = np.where(apart * 360 >= 50 * rays, along, 0).max(axis=1)
    # The best of so many rays stands out by a few deviations in mere noise.
    least = np.maximum(LEAST_RIDGE, _OVER_OTHERS * 1.4826 * np.median(np.abs(along), axis=1))
    return np.asarray((second > least) & (best > least))


def find_cut(
    photo: Photo, plane: Plane, flat: Flat, centre_mm: Floats, radius_mm: float
) -> Cut | None:
    """Look for blade cuts out from a hole.

    Parameters
    ----------
    photo : Photo
    plane : Plane
    flat : Flat
    centre_mm : (2,) array
        Of the round part, about.
    radius_mm : float
        Of the round part, about.

    Returns
    -------
    Cut or None
        None where no two, three or four slits at equal angles leave the hole.

    Notes
    -----
    1. The darkness is read on rings around the centre. A slit is a ridge in it: darker than what
       lies on both its sides.
    2. For each number of blades, first angle and length, what the ridges have above a least
       contrast is summed over the blades; the largest sum tells all three. A blade that is not
       there takes away from the sum, so that two blades are not read as four.
    3. Where each slit runs beside its ray gives the centre and the angle by least squares, and
       the search is repeated from there.
    4. Every blade must be there (of four one may lie under another hole), none may go on beyond
       what broadheads measure, as lines of print and seams do, and no other direction may be as
       dark.
    """
    start = np.asarray(centre_mm, float)
    # Most holes have no slits, which a small part of their surroundings tells.
    patch = Patch.read(photo, plane, flat, start, _LEAST_REACH_MM)
    near = read_ridges(patch, start, radius_mm, wide=True, reach=_LEAST_REACH_MM)
    if promise(near) < _LEAST_PROMISE_MM:
        return None
    patch = Patch.read(photo, plane, flat, start, REACH_MM + 1.5)
    centre = start
    spokes: Spokes | None = None
    for turn in range(3):
        about = _AROUND if turn == 0 else _AROUND[:1]
        tried = [
            (best_spokes(read_ridges(patch, c, radius_mm, wide=turn == 0)), c)
            for c in centre + about
        ]
        good = [(one, c) for one, c in tried if one is not None]
        if not good:
            return None
        spokes, centre = max(good, key=lambda pair: pair[0].worth)
        centre, angle, se = lay_spokes(patch, centre, spokes, start)
        spokes = replace(spokes, angle=angle)
    if spokes is None or float(np.hypot(*(centre - start))) > _MOST_MOVED_MM:
        return None
    length = 2 * spokes.length
    if not _LEAST_CUT_MM <= length <= DIAMETERS_MM[1]:
        return None
    if _inked(patch, centre, spokes) > _MOST_INK:
        return None
    clean = 1.0 - spokes.stray / MOST_STRAY
    score = 12.0 * (spokes.ridge - 0.15) + 4.0 * (spokes.share - LEAST_SHARE) + 2.0 * clean
    sure = float(expit(score))
    step = 2 * np.pi / spokes.blades
    return Cut(centre, spokes.blades, length, float(spokes.angle % step), se, sure, spokes.worth)


def _inked(patch: Patch, centre: Floats, spokes: Spokes) -> float:
    """How dark the print is that the slits run through, the middle of all places on them."""
    if patch.ink is None:
        return 0.0
    turn = spokes.angle + 2 * np.pi * np.arange(spokes.blades) / spokes.blades
    r = np.arange(spokes.first, max(spokes.length, spokes.first + 0.25), 0.5)[:, None]
    along = patch.at(patch.ink, centre[0] + r * np.cos(turn), centre[1] + r * np.sin(turn))
    return float(np.median(along))
