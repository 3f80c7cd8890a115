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

from groupscan.photo.darkness import look_into
from groupscan.photo.expected import Flat, with_hole_level
from groupscan.photo.holes.candidates import find_candidates, solid_spots
from groupscan.photo.holes.confidence import agree_on_size, judge, typical_radius
from groupscan.photo.holes.cuts import CUT_NAMES
from groupscan.photo.holes.discs import Discs, fit_discs, polish
from groupscan.photo.holes.lines import without_lines
from groupscan.photo.holes.pins import in_corner, pins_among
from groupscan.photo.holes.regions import distinct, sort_discs
from groupscan.photo.holes.shots import Shot, Sight, find_shots
from groupscan.photo.plane import Floats, Plane
from groupscan.photo.reading import Photo

__all__ = ["Hole", "find_holes", "fit_candidates", "without_pins"]

#: How many of the strongest candidates tell how dark holes are in a photo, and from which
#: difference on the sheet is judged again.
_FIRST, _OTHER_LEVEL = 24, 0.015
_NO_SHAFT_MM = 3.0  # no shaft leaves so small a hole
#: A disc surer than the first tells of its place; a solid spot that none does needs the second.
_SURE, _LIKELY = 0.5, 0.2
#: How far the size of a hole on a line may be off that of the others, log; and how much of its rim
#: must show, and have an edge there.
_ALIKE, _RIM_TOLD, _RIM_SEEN = 0.15, 0.5, 0.85
#: Confidence of the holes that tell how dark holes are, and how far they differ in that.
_FIRM, _AS_DARK = 0.95, 0.05
_WORTH = 0.1  # confidence from which a disc is worth a finer fit
#: How far torn flaps and petals carry a hole's outline off the shaft's axis, mm: set so that 95 %
#: of the true centres lie within two standard errors (docs/ACCURACY.md).
_TORN_MM = 0.3


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
       well a hole could be told there, at three sizes (Lindeberg 1998), that noise of this photo
       at that grey level does not reach; and where none is sure, solid dark spots.
    2. Around each, the darkness in the full-size photo is sampled on a grid in the sheet's plane
       and a soft-edged disc is fitted by reweighted Gauss-Newton steps: centre, radius, and how
       dark the hole and its surroundings are. Flaps and tears have little weight.
    3. The standard error is that of the fit, with one independent reading every half millimetre
       of rim, since torn paper strays together; the plane's own error is added.
    4. Regions that are dark beyond one disc are read as blade cuts (`find_cut`), or explained by
       several shafts (`split`), or left: patches, arrows, shadows.
    5. On sheets that people draw on, holes that drawn lines run into are looked for with the lines
       left out (`without_lines`), in the size of this photo's sure holes and as dark as they.
    6. Confidence is a logistic function of how dark the disc is, how clean its surroundings, how
       complete its rim, and how plausible its size.
    """
    flat, fits = fit_candidates(photo, plane, flat)
    if fits is None:
        return []
    pinned: Any = in_corner(fits.centre_mm, flat.size_mm).any(axis=1)
    sure = agree_on_size(fits, judge(fits, shaft_mm), pinned)
    order = distinct(fits, sure)
    worth = np.zeros(len(sure), bool)
    worth[[i for i in order if sure[i] > _WORTH]] = True
    fine = polish(photo, plane, flat, fits, worth)
    sure = np.where(2 * fine.radius_mm < _NO_SHAFT_MM, 0.5 * sure, sure)
    typical = typical_radius(fits, sure, order, pinned)
    sight = Sight(photo, plane, flat, fits, fine, sure)
    found = find_shots(sight, order, typical_mm=typical, shaft_mm=shaft_mm, pinned=pinned)
    if flat.drawn_on and typical is not None:
        found += _on_lines(sight, found, typical)
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


def _on_lines(sight: Sight, found: list[Shot], radius_mm: float) -> list[Shot]:
    """Find holes that drawn lines run into, where the sure ones tell how large they are.

    A hole is wider than a line: with the line out of the question it stands alone. Dots, and where
    lines meet at a sharp angle, are as wide, but no darker than the line.
    """
    photo, plane = sight.photo, sight.plane
    clear = without_lines(sight.flat, radius_mm)
    if clear is None:
        return []
    spots = find_candidates(clear)
    if not len(spots):
        return []
    fits = _with_solid(photo, plane, clear, fit_discs(photo, plane, clear, spots))
    sure = judge(fits, None)
    taken = np.array([one.centre_mm for one in found if one.sure >= _SURE]).reshape(-1, 2)
    away = np.hypot(*(fits.centre_mm[:, None] - taken[None]).transpose(2, 0, 1))
    good = (away > radius_mm).all(axis=1) & (np.abs(np.log(fits.radius_mm / radius_mm)) < _ALIKE)
    # Where all of the rim is told there is no line: that disc was judged before.
    good &= (fits.told > _RIM_TOLD) & (fits.told < 1) & (fits.rim > _RIM_SEEN)
    firm = sight.sure > _FIRM
    hole = float(np.median(sight.discs.inside[firm] / sight.discs.full[firm]))
    ink = float(np.percentile(sight.flat.dark[(clear.weight == 0) & (sight.flat.weight > 0)], 90))
    good &= fits.inside / fits.full > hole - max((hole - ink) / 2, _AS_DARK)
    order = [i for i in distinct(fits, sure) if good[i]]
    parts = sort_discs(clear, fits, sure, order, typical_mm=radius_mm)
    single = list(parts.single)
    chosen = np.zeros(len(sure), bool)
    chosen[single] = True
    fine = polish(photo, plane, clear, fits, chosen)
    return [Sight(photo, plane, clear, fits, fine, sure).alone(i) for i in single]


def fit_candidates(photo: Photo, plane: Plane, flat: Flat) -> tuple[Flat, Discs | None]:
    """Fit a disc to all that may be a hole.

    Parameters
    ----------
    photo : Photo
    plane : Plane
    flat : Flat

    Returns
    -------
    flat : Flat
        Judged by how dark this photo's own holes are.
    discs : Discs or None
        None where nothing may be one.
    """
    spots = find_candidates(flat)
    if not len(spots):
        return flat, None
    level = _hole_level(photo, plane, flat, spots[:_FIRST])
    if abs(level - flat.hole_level) > _OTHER_LEVEL:
        flat = with_hole_level(flat, level)
        spots = find_candidates(flat)
    return flat, _with_solid(photo, plane, flat, fit_discs(photo, plane, flat, spots))


def _with_solid(photo: Photo, plane: Plane, flat: Flat, fits: Discs) -> Discs:
    """Add the discs that solid dark spots of a hole's size make, where no sure one is.

    Beside a seam, a flap or another hole a candidate lies between the two and its disc on both.
    """
    spots = solid_spots(flat)
    taken = fits.centre_mm[judge(fits, None) > _SURE]
    away = np.hypot(*(spots[:, None, :2] - taken[None]).transpose(2, 0, 1))
    spots = spots[(away > spots[:, 2:]).all(axis=1)]
    if not len(spots):
        return fits
    more = fit_discs(photo, plane, flat, spots)
    return fits.joined(more, judge(more, None) > _LIKELY)


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


def _hole(found: Shot, px: Floats, shared: float) -> Hole:
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
