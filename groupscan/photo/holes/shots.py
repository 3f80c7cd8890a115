"""Shots: each disc and each dark region explained by one hole, several, or a blade cut."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from groupscan.photo.darkness import darkness
from groupscan.photo.expected import Flat
from groupscan.photo.holes.clusters import split
from groupscan.photo.holes.confidence import typical_radii
from groupscan.photo.holes.cuts import Cut, find_cuts
from groupscan.photo.holes.discs import Discs
from groupscan.photo.holes.regions import LEVELS, Region, sort_discs
from groupscan.photo.plane import Floats, Plane
from groupscan.photo.reading import Photo

__all__ = ["Shot", "Sight", "find_shots"]

#: A disc that touches another still has this much of a rim of its own; one on a bar has not.
_LONE_RIM, _LONE_OUTSIDE = 0.76, 0.3
#: Least confidence and contrast of a disc about which blades are looked for.
_SOME, _TELLING = 0.05, 12.0
#: How far from a slit's axis the sheet is whole, and from where on out, mm.
_BESIDE_MM, _ROUND_PART_MM = 2.0, 5.0


@dataclass(frozen=True)
class Sight:
    """What there is to explain: the photo, the discs fitted to it, finely too, how sure each is."""

    photo: Photo
    plane: Plane
    flat: Flat
    discs: Discs
    fine: Discs
    sure: Floats

    def alone(self, i: int) -> Shot:
        """Take a disc for a shot."""
        d = self.fine
        return Shot(d.centre_mm[i], d.radius_mm[i], d.se_mm[i], self.sure[i])


@dataclass(frozen=True)
class Shot:
    """A shot on the sheet, before the plane's own error is added."""

    centre_mm: Floats
    radius_mm: float
    se_mm: float
    sure: float
    cut: Cut | None = None

    def cut_by(self, cut: Cut) -> Shot:
        """Give the shot its blades, whose crossing is the shaft's axis."""
        return Shot(cut.centre_mm, self.radius_mm, cut.se_mm, cut.confidence, cut)


def find_shots(
    sight: Sight,
    order: list[int],
    *,
    typical_mm: float | None,
    shaft_mm: float | None,
    pinned: Floats,
) -> list[Shot]:
    """Explain what is dark by shots.

    Parameters
    ----------
    sight : Sight
    order : list of int
        Discs to take into account, surest first.
    typical_mm : float or None
        Radius of this photo's holes, where they tell it.
    shaft_mm : float or None
        Diameter of the shafts, where it is known.
    pinned : (n,) array of bool
        Discs where pins are.

    Returns
    -------
    list of Shot
        Of any confidence.
    """
    cuts = _blades(sight, order)
    found: list[Shot] = []
    radii: tuple[float, ...] = ()
    left = list(order)
    for level in LEVELS:
        parts = sort_discs(
            sight.flat, sight.discs, sight.sure, left, typical_mm=typical_mm, level=level
        )
        if not radii:
            kept = [i for i in parts.single if sight.sure[i] >= 0.5 and not pinned[i]]
            radii = typical_radii(sight.discs, sight.sure, kept, shaft_mm)
        for i in parts.single:
            found += _with_blades(sight, (i,), cuts) or [sight.alone(i)]
        unexplained = set(parts.rest)
        for region in parts.regions:
            shots = _in_region(sight, region, radii, cuts, few=level > LEVELS[0])
            found += shots
            unexplained.update(() if shots else region.members)
        left = [i for i in left if i in unexplained]
    return found


def _in_region(
    sight: Sight,
    region: Region,
    radii: tuple[float, ...],
    cuts: dict[int, Cut],
    *,
    few: bool,
) -> list[Shot]:
    """Explain one region; empty where shots do not."""
    bladed = _with_blades(sight, region.members, cuts)
    if bladed:
        return bladed
    cluster = split(sight.photo, sight.plane, sight.flat, region, radii, few=few)
    if cluster is None:
        return _good_alone(sight, region)
    if len(cluster.gain) == 1 and sight.sure[region.surest] >= 0.5:
        # One hole after all, torn wide: its own fit has its own radius.
        return [sight.alone(region.surest)]
    # A shaft that shares its paper with others is less sure than one alone.
    trust = 0.6 + 0.38 * np.clip((cluster.gain - 0.25) / 0.45, 0, 1)
    return [
        Shot(centre, cluster.radius_mm, se, one)
        for centre, se, one in zip(cluster.centre_mm, cluster.se_mm, trust, strict=True)
    ]


def _blades(sight: Sight, order: list[int]) -> dict[int, Cut]:
    """Blade cuts, by the disc from which each was found."""
    photo, plane, flat, fits, sure = sight.photo, sight.plane, sight.flat, sight.discs, sight.sure
    some = [i for i in order if sure[i] > _SOME and fits.contrast[i] > _TELLING]
    cuts = find_cuts(photo, plane, flat, fits.centre_mm[some], fits.radius_mm[some])
    return {some[k]: cut for k, cut in cuts.items() if _is_slit(photo, plane, flat, cut)}


def _with_blades(sight: Sight, members: tuple[int, ...], cuts: dict[int, Cut]) -> list[Shot]:
    """Blade cuts among discs, and such discs beside them as are no part of them; else empty."""
    mine = [i for i in members if i in cuts]
    found = []
    for i in members if mine else ():
        alone = sight.alone(i)
        if i in cuts:
            found.append(alone.cut_by(cuts[i]))
        elif not any(cuts[j].holds(alone.centre_mm[None])[0] for j in mine):
            found.append(alone)
    return found


def _is_slit(photo: Photo, plane: Plane, flat: Flat, cut: Cut) -> bool:
    """Whether what runs out from the middle is narrow: a bar is dark beside its axis, too."""
    turn = cut.angle_rad + 2 * np.pi * np.arange(cut.blades) / cut.blades
    out = np.arange(_ROUND_PART_MM, max(cut.length_mm / 2 - 2.0, _ROUND_PART_MM + 1.0), 0.8)
    along = np.column_stack([np.cos(turn), np.sin(turn)])[:, None] * out[:, None]
    aside = _BESIDE_MM * np.column_stack([-np.sin(turn), np.cos(turn)])[:, None]
    at = cut.centre_mm + np.stack([along + aside, along - aside])
    dark, _, _ = darkness(photo, plane, flat, at.reshape(-1, 2))
    return bool((np.clip(dark, 0, 1)).mean() < 0.5)


def _good_alone(sight: Sight, region: Region) -> list[Shot]:
    """Discs of a region that no union explains, if they are sure and leave little of it."""
    fits, sure = sight.discs, sight.sure
    good = [
        i
        for i in region.members
        if sure[i] > 0.9 and fits.rim[i] > _LONE_RIM and fits.outside[i] < _LONE_OUTSIDE
    ]
    explained = 1.5 * float((np.pi * fits.radius_mm[good] ** 2).sum()) + 6.0
    if region.area_mm2 > explained or len(good) > 3:
        return []
    return [sight.alone(i) for i in good]
