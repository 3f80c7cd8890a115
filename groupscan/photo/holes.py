"""Round holes: where the sheet is darker than expected in the shape of a shaft.

Candidates come from the flat picture at its working scale; each is then measured in the photo's
own pixels. A hole is a disc in the sheet's plane: the model is drawn there and carried into the
photo by the plane, so the ellipse that it makes is never fitted and its centre never mistaken for
the image of the disc's centre.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from groupscan.photo.candidates import find_candidates
from groupscan.photo.clusters import split
from groupscan.photo.confidence import agree_on_size, judge, typical_radii, typical_radius
from groupscan.photo.cuts import CUT_NAMES, Cut, find_cuts
from groupscan.photo.darkness import darkness, look_into
from groupscan.photo.discs import Discs, fit_discs
from groupscan.photo.expected import Flat, with_hole_level
from groupscan.photo.pins import in_corner, pins_among
from groupscan.photo.plane import Floats, Plane
from groupscan.photo.reading import Photo
from groupscan.photo.regions import Region, distinct, explain

__all__ = ["Hole", "find_holes", "without_pins"]

#: A disc that touches another still has this much of a rim of its own; one on a bar has not.
_LONE_RIM, _LONE_OUTSIDE = 0.76, 0.3
#: How many of the strongest candidates tell how dark holes are in a photo, and from which
#: difference on the sheet is judged again.
_FIRST, _OTHER_LEVEL = 24, 0.015
#: Least confidence and contrast of a disc about which blades are looked for.
_SOME, _TELLING = 0.05, 12.0
#: How far from a slit's axis the sheet is whole, and from where on out, mm.
_BESIDE_MM, _ROUND_PART_MM = 2.0, 5.0
#: How far torn flaps and petals carry a hole's outline off the shaft's axis, mm: set so that 95 %
#: of the true centres lie within two standard errors (docs/ACCURACY.md).
_TORN_MM = 0.36


@dataclass(frozen=True)
class Hole:
    """One hole in a sheet.

    Attributes
    ----------
    x_mm, y_mm : float
        Place of the shaft's axis on the sheet, mm.
    se_mm : float
        Standard error of the place, per axis, mm.
    x_px, y_px : float
        The same place in the photo.
    diameter_mm : float
    cut : str
        ``"round"``, ``"two-blade"``, ``"three-blade"`` or ``"four-blade"``.
    confidence : float
        Probability that this is a shot, 0 to 1.
    state : str
        ``"open"``, ``"arrow"`` (an arrow stands in it) or ``"patched"``.
    blade_mm, blade_angle_deg : float, optional
        Cutting diameter of the blades, and the direction of one, anticlockwise from right.
    """

    x_mm: float
    y_mm: float
    se_mm: float
    x_px: float
    y_px: float
    diameter_mm: float
    cut: str
    confidence: float
    state: str
    blade_mm: float | None = None
    blade_angle_deg: float | None = None


def find_holes(
    photo: Photo,
    plane: Plane,
    flat: Flat,
    *,
    shaft_mm: float | None = None,
    least_confidence: float = 0.5,
) -> list[Hole]:
    """Find holes: round ones, blade cuts, and those that touch.

    Parameters
    ----------
    photo : Photo
    plane : Plane
    flat : Flat
        The sheet laid flat, from `flatten`.
    shaft_mm : float, optional
        Diameter of the shafts, mm; holes of another size then count less.
    least_confidence : float, default 0.5
        Holes less sure than this are left out.

    Returns
    -------
    list of Hole
        Surest first.

    Notes
    -----
    1. Candidates are local maxima of a difference of Gaussians of the darkness, weighted by how
       well a hole could be told there, at three sizes (Lindeberg 1998).
    2. Around each, the darkness in the full-size photo is sampled on a grid in the sheet's plane
       and a soft-edged disc is fitted by reweighted Gauss-Newton steps: centre, radius, and how
       dark the hole and its surroundings are. Flaps and tears have little weight.
    3. The standard error is that of the fit, with one independent reading every half millimetre
       of rim, since torn paper strays together; the plane's own error is added.
    4. Regions that are dark beyond one disc are read as blade cuts (`find_cut`), or explained by
       several shafts (`split`), or left: patches, arrows, shadows.
    5. Confidence is a logistic function of how dark the disc is, how clean its surroundings, how
       complete its rim, and how plausible its size.
    """
    spots = find_candidates(flat)
    if not len(spots):
        return []
    level = _hole_level(photo, plane, flat, spots[:_FIRST])
    if abs(level - flat.hole_level) > _OTHER_LEVEL:
        flat = with_hole_level(flat, level)
        spots = find_candidates(flat)
    fits = fit_discs(photo, plane, flat, spots)
    pinned: Any = in_corner(fits.centre_mm, flat.size_mm).any(axis=1)
    sure = agree_on_size(fits, judge(fits, shaft_mm), pinned)
    order = distinct(fits, sure)
    typical = typical_radius(fits, sure, order, pinned)
    single, regions = explain(flat, fits, sure, order, typical)
    cuts = _blades(photo, plane, flat, fits, sure, order)
    kept = [i for i in single if sure[i] >= 0.5]
    radii = typical_radii(fits, sure, [i for i in kept if not pinned[i]], shaft_mm)
    found: list[_Found] = []
    for i in single:
        alone = _Found(fits.centre_mm[i], fits.radius_mm[i], fits.se_mm[i], sure[i])
        found += _with_blades(fits, sure, (i,), cuts) or [alone]
    for region in regions:
        i = region.surest
        alone = _Found(fits.centre_mm[i], fits.radius_mm[i], fits.se_mm[i], sure[i])
        bladed = _with_blades(fits, sure, region.members, cuts)
        if bladed:
            found += bladed
            continue
        cluster = split(photo, plane, flat, region, radii)
        if cluster is not None and len(cluster.gain) == 1 and sure[i] >= 0.5:
            found.append(alone)  # one hole after all, torn wide: its own fit has its own radius
        elif cluster is not None:
            # A shaft that shares its paper with others is less sure than one alone.
            trust = 0.6 + 0.38 * np.clip((cluster.gain - 0.25) / 0.45, 0, 1)
            for centre, se, one in zip(cluster.centre_mm, cluster.se_mm, trust, strict=True):
                found.append(_Found(centre, cluster.radius_mm, se, one))
        else:
            found += _good_alone(fits, sure, region)
    sure_first = sorted(found, key=lambda one: -one.sure)
    kept_last = [one for one in sure_first if one.sure >= least_confidence]
    if not kept_last:
        return []
    places = np.array([one.centre_mm for one in kept_last])
    shared = np.trace(plane.position_covariance(places), axis1=1, axis2=2) / 2
    return [
        _hole(one, px, float(own))
        for one, px, own in zip(kept_last, plane.to_px(places), shared, strict=True)
    ]


def _hole_level(photo: Photo, plane: Plane, flat: Flat, spots: Floats) -> float:
    """How dark this photo's surest holes on paper are; as it was where there are none."""
    fits = fit_discs(photo, plane, flat, spots)
    clean = (fits.outside < 0.15) & (fits.rim > 0.9) & (fits.radius_mm > 3.5 * flat.blur_mm)
    sure: Any = clean & (judge(fits, None) > 0.95)
    if not sure.any():
        return flat.hole_level
    centre, radius = fits.centre_mm[sure], fits.radius_mm[sure]
    seen, share = look_into(photo, plane, flat, centre, 0.6 * radius)
    on_paper = share > 0.5
    return float(np.median(seen[on_paper])) if on_paper.any() else flat.hole_level


@dataclass(frozen=True)
class _Found:
    """A shot on the sheet, before the plane's own error is added."""

    centre_mm: Floats
    radius_mm: float
    se_mm: float
    sure: float
    cut: Cut | None = None

    def cut_by(self, cut: Cut) -> _Found:
        """Give the shot its blades, whose crossing is the shaft's axis."""
        return _Found(cut.centre_mm, self.radius_mm, cut.se_mm, cut.confidence, cut)


def _hole(found: _Found, px: Floats, shared: float) -> Hole:
    """Make a hole as others see it; `shared` is the plane's own variance at its place, mm²."""
    cut = found.cut
    return Hole(
        x_mm=float(found.centre_mm[0]),
        y_mm=float(found.centre_mm[1]),
        se_mm=float(np.sqrt(found.se_mm**2 + _TORN_MM**2 + shared)),
        x_px=float(px[0]),
        y_px=float(px[1]),
        diameter_mm=float(2 * found.radius_mm),
        cut="round" if cut is None else CUT_NAMES[cut.blades],
        confidence=float(found.sure),
        state="open",
        blade_mm=None if cut is None else cut.length_mm,
        blade_angle_deg=None if cut is None else float(np.degrees(cut.angle_rad)),
    )


def _blades(
    photo: Photo, plane: Plane, flat: Flat, fits: Discs, sure: Floats, order: list[int]
) -> dict[int, Cut]:
    """Blade cuts, by the disc from which each was found."""
    some = [i for i in order if sure[i] > _SOME and fits.contrast[i] > _TELLING]
    cuts = find_cuts(photo, plane, flat, fits.centre_mm[some], fits.radius_mm[some])
    return {some[k]: cut for k, cut in cuts.items() if _is_slit(photo, plane, flat, cut)}


def _with_blades(
    fits: Discs, sure: Floats, members: tuple[int, ...], cuts: dict[int, Cut]
) -> list[_Found]:
    """Blade cuts among discs, and such discs beside them as are no part of them; else empty."""
    mine = [i for i in members if i in cuts]
    found = []
    for i in members if mine else ():
        alone = _Found(fits.centre_mm[i], fits.radius_mm[i], fits.se_mm[i], sure[i])
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


def _good_alone(fits: Discs, sure: Floats, region: Region) -> list[_Found]:
    """Discs of a region that no union explains, if they are sure and leave little of it."""
    good = [
        i
        for i in region.members
        if sure[i] > 0.9 and fits.rim[i] > _LONE_RIM and fits.outside[i] < _LONE_OUTSIDE
    ]
    explained = 1.5 * float((np.pi * fits.radius_mm[good] ** 2).sum()) + 6.0
    if region.area_mm2 > explained or len(good) > 3:
        return []
    return [_Found(fits.centre_mm[i], fits.radius_mm[i], fits.se_mm[i], sure[i]) for i in good]


def without_pins(holes: list[Hole], size_mm: tuple[float, float]) -> tuple[list[Hole], int]:
    """Take out what lies in two corners of the paper or more, or in heaps in one: pins.

    Parameters
    ----------
    holes : list of Hole
    size_mm : (float, float)
        Width and height of the paper.

    Returns
    -------
    holes : list of Hole
    pins : int
        How many were taken out.
    """
    pinned = pins_among(np.array([[h.x_mm, h.y_mm] for h in holes]).reshape(-1, 2), size_mm)
    kept = [h for h, pin in zip(holes, pinned, strict=True) if not pin]
    return kept, len(holes) - len(kept)
