"""Round holes: where the sheet is darker than expected in the shape of a shaft.

Candidates come from the flat picture at its working scale; each is then measured in the photo's
own pixels. A hole is a disc in the sheet's plane: the model is drawn there and carried into the
photo by the plane, so the ellipse that it makes is never fitted and its centre never mistaken for
the image of the disc's centre.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from scipy.special import expit, logit, ndtr

from groupscan.photo.clusters import Region, split
from groupscan.photo.cuts import CUT_NAMES, Cut, find_cut
from groupscan.photo.darkness import darkness
from groupscan.photo.expected import Flat
from groupscan.photo.plane import Floats, Plane
from groupscan.photo.reading import Photo

__all__ = ["Hole", "find_holes", "without_pins"]

#: Diameters of holes that shafts make, mm: 4 mm target shafts to 9.5 mm logs, less the paper's
#: spring-back (common practice, no source).
_LEAST_DIAMETER, _MOST_DIAMETER = 3.4, 10.5
#: Radii of holes to try where nothing tells, mm (common practice, no source).
_USUAL_RADII_MM = (2.3, 2.8, 3.3, 3.9)
#: A disc that touches another still has this much of a rim of its own; one on a bar has not.
_LONE_RIM, _LONE_OUTSIDE = 0.76, 0.3
#: Darkness about a hole from which blades are looked for, and how near a paper's corner pins are.
_SPIKY, _PIN_MM = 0.1, 24.0
#: Larger dark regions are no holes: ten wide shafts side by side.
_MOST_REGION_MM2 = 420.0
#: Radii that candidates are looked for at, each against the next, mm.
_RADII_MM = (1.9, 2.9, 4.4, 6.6)
_LEAST_RESPONSE = 0.13
_MOST_CANDIDATES = 120
#: How far torn flaps and petals carry a hole's outline off the shaft's axis, mm: set so that 95 %
#: of the true centres lie within two standard errors (docs/ACCURACY.md).
_TORN_MM = 0.36
_RAGGED_MM = 0.22  # how far torn paper strays from the disc, by which the model's edge is soft


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


@dataclass(frozen=True)
class _Fits:
    """Disc fits of many candidates, one row each."""

    centre_mm: Floats  # (n, 2)
    radius_mm: Floats
    se_mm: Floats
    inside: Floats  # mean darkness in the disc
    outside: Floats  # mean darkness around it
    rim: Floats  # share of the rim that has an edge
    strength: Floats  # contrast of the disc over the noise, for the whole disc
    full: Floats  # how dark a hole of this size can look in this photo
    contrast: Floats  # how dark a hole would be against the sheet here, in noises


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
    spots = _candidates(flat)
    if not len(spots):
        return []
    fits = _fit_discs(photo, plane, flat, spots)
    pinned: Any = _in_corner(fits.centre_mm, flat.size_mm).any(axis=1)
    sure = _agree_on_size(fits, _confidence(fits, shaft_mm), pinned)
    single, regions = _explain(flat, fits, sure, _distinct(fits, sure))
    kept = [i for i in single if sure[i] >= 0.5]
    radii = _typical_radii(fits, sure, [i for i in kept if not pinned[i]], shaft_mm)
    found: list[_Found] = []
    for i in single:
        alone = _Found(fits.centre_mm[i], fits.radius_mm[i], fits.se_mm[i], sure[i])
        spiky = sure[i] > 0.05 and fits.outside[i] > _SPIKY and fits.contrast[i] > 12
        cut = find_cut(photo, plane, flat, alone.centre_mm, alone.radius_mm) if spiky else None
        if cut is not None and cut.confidence > 0.7:
            found.append(alone.cut_by(cut))
        else:
            found.append(alone)
    for region in regions:
        i = region.surest
        alone = _Found(fits.centre_mm[i], fits.radius_mm[i], fits.se_mm[i], sure[i])
        cut = find_cut(photo, plane, flat, alone.centre_mm, alone.radius_mm)
        if cut is not None and cut.confidence > 0.8:
            found.append(alone.cut_by(cut))
            continue
        cluster = split(photo, plane, flat, region, radii)
        if cluster is not None and len(cluster.gain) == 1 and sure[i] >= 0.5:
            found.append(alone)  # one hole after all, torn wide: its own fit has its own radius
        elif cluster is not None:
            # A shaft that shares its paper with others is less sure than one alone.
            trust = 0.6 + 0.38 * np.clip((cluster.gain - 0.25) / 0.45, 0, 1)
            for centre, se, one in zip(cluster.centre_mm, cluster.se_mm, trust, strict=True):
                found.append(_Found(centre, cluster.radius_mm, se, one))
        elif cut is not None:
            found.append(alone.cut_by(cut))
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


def _good_alone(fits: _Fits, sure: Floats, region: Region) -> list[_Found]:
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


def _in_corner(mm: Floats, size_mm: tuple[float, float]) -> Floats:
    """Whether places lie in each of the sheet's four corners, (n, 4), where pins are."""
    near: Any = np.asarray(size_mm) / 2 - np.abs(mm) < _PIN_MM
    corner: Any = near.all(axis=1)
    quarter = 2 * (mm[:, 0] > 0) + (mm[:, 1] > 0)
    return np.asarray(corner[:, None] & (quarter[:, None] == np.arange(4)))


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
    if not holes:
        return holes, 0
    corners: Any = _in_corner(np.array([[h.x_mm, h.y_mm] for h in holes]), size_mm)
    count = corners.sum(axis=0)
    if (count > 0).sum() < 2 and count.max() < 3:
        return holes, 0
    kept = [h for h, pinned in zip(holes, corners.any(axis=1), strict=True) if not pinned]
    return kept, len(holes) - len(kept)


def _typical_radii(
    fits: _Fits, sure: Floats, kept: list[int], shaft_mm: float | None
) -> tuple[float, ...]:
    """Radius of this photo's holes: of those that stand alone, else of the shaft, else any."""
    alone = [i for i in kept if sure[i] > 0.95 and fits.contrast[i] > 25]
    if alone:
        return (float(np.median(fits.radius_mm[alone])),)
    return (0.46 * shaft_mm,) if shaft_mm else _USUAL_RADII_MM


def _candidates(flat: Flat) -> Floats:
    """Places that are darker than their surroundings at a hole's size, (n, 3): x, y, radius mm."""
    # Half the working scale is fine enough to find holes; they are measured in the photo itself.
    half = 0.5 if flat.px_per_mm > 0.9 else 1.0
    scale = flat.px_per_mm * half
    weighted: Any = flat.dark * flat.weight
    weight: Any = flat.weight
    if half < 1:
        weighted = cv2.resize(weighted, None, fx=half, fy=half, interpolation=cv2.INTER_AREA)
        weight = cv2.resize(weight, None, fx=half, fy=half, interpolation=cv2.INTER_AREA)
    levels = [_level(weighted, weight, r * scale / np.sqrt(2)) for r in _RADII_MM]
    full = float(_full_darkness(flat, np.array([_USUAL_RADII_MM[0]]))[0])
    least = _LEAST_RESPONSE * full**2
    found = []
    for radius, (inner, trust), (outer, _) in zip(_RADII_MM, levels, levels[1:], strict=False):
        response = inner - outer
        reach = int(2 * round(0.6 * radius * scale) + 1)
        top = cv2.dilate(response, np.ones((reach, reach), np.uint8))
        peak = (response >= top) & (response > least) & (inner > 0.25 * full) & (trust > 0.05)
        y, x = np.nonzero(peak)
        order = np.argsort(-response[y, x])[:_MOST_CANDIDATES]
        px = (np.column_stack([x[order], y[order]]) + 0.5) / half - 0.5
        strength = response[y[order], x[order]]
        found.append(np.column_stack([flat.to_mm(px), np.full(len(px), radius), strength]))
    spots = np.vstack(found)
    spots = spots[np.argsort(-spots[:, 3])]
    kept: list[int] = []
    for i in range(len(spots)):
        if len(kept) >= _MOST_CANDIDATES:
            break
        near = spots[kept, :2] - spots[i, :2]
        if not len(kept) or (np.hypot(near[:, 0], near[:, 1]) > 2.0).all():
            kept.append(i)
    return spots[kept, :3]


def _full_darkness(flat: Flat, radius_mm: Floats) -> Floats:
    """How dark the middle of a hole can look, the photo's blur taken into account, (n,).

    Mean over the inner four fifths of a disc blurred by a Gaussian, to 2 % for blurs of up to
    six tenths of the radius (fitted to drawn discs).
    """
    return np.asarray(1.0 - 0.9 * np.clip(flat.blur_mm / radius_mm - 0.15, 0.0, 0.45))


def _level(weighted: np.ndarray, weight: np.ndarray, sigma: float) -> tuple[np.ndarray, np.ndarray]:
    """Weighted mean over a Gaussian, and the weight that it rests on."""
    reach = 2 * int(np.ceil(2.5 * sigma)) + 1
    top = cv2.GaussianBlur(weighted, (reach, reach), sigma)
    bottom = cv2.GaussianBlur(weight, (reach, reach), sigma)
    return np.asarray(top / np.maximum(bottom, 0.05)), bottom


def _fit_discs(photo: Photo, plane: Plane, flat: Flat, spots: Floats) -> _Fits:
    """Fit a soft disc to the full-size photo at every candidate, all at once."""
    native = float(np.median(plane.mm_per_px(spots[:, :2])))
    half = 7.5
    count = int(np.clip(2 * half / native, 21, 31)) | 1
    axis = np.linspace(-half, half, count)
    gx, gy = np.meshgrid(axis, axis)
    grid = np.column_stack([gx.ravel(), gy.ravel()])  # mm around each candidate
    n, cells = len(spots), len(grid)
    at = (spots[:, None, :2] + grid[None]).reshape(-1, 2)
    dark, weight, noise = (a.reshape(n, cells) for a in darkness(photo, plane, flat, at))
    step = axis[1] - axis[0]
    soft = float(np.hypot(_RAGGED_MM, 0.7 * max(native, step)))
    centre = np.zeros((n, 2))
    radius = spots[:, 2].copy()
    low, high = np.zeros(n), np.ones(n)
    spread = np.full(n, 0.35)
    for turn in range(10):
        off = grid[None] - centre[:, None]
        distance = np.hypot(off[..., 0], off[..., 1])
        z = (radius[:, None] - distance) / soft
        cover = ndtr(z)
        # Only near the disc: what lies beyond belongs to something else.
        near = distance < radius[:, None] + 2.2
        inner = near * weight * cover
        outer = near * weight * (1 - cover)
        high = np.clip((inner * dark).sum(1) / np.maximum(inner.sum(1), 1e-9), 0.3, 1.1)
        low = np.clip(_low_level(outer, dark), -0.2, 0.6)
        contrast = np.maximum(high - low, 0.1)
        rest = dark - low[:, None] - contrast[:, None] * cover
        scale = np.hypot(spread[:, None], noise)
        robust = near * weight / (1 + (rest / scale) ** 2)
        slope = contrast[:, None] * np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi) / soft
        direction = off / np.maximum(distance, 1e-9)[..., None]
        jac = np.stack([slope * direction[..., 0], slope * direction[..., 1], slope], -1)
        normal = np.einsum("nci,nc,ncj->nij", jac, robust, jac)
        right = np.einsum("nci,nc,nc->ni", jac, robust, rest)
        # A weak prior keeps the radius of a smear from running away.
        normal[:, 2, 2] += 0.5
        right[:, 2] += 0.5 * (spots[:, 2] - radius)
        normal += 0.02 * np.eye(3)
        move = np.linalg.solve(normal, right[..., None])[..., 0]
        move = np.clip(move, -0.6, 0.6) * (1.0 if turn < 7 else 0.7)
        centre += move[:, :2]
        radius = np.clip(radius + move[:, 2], 0.8, 6.5)
        # A candidate that walks away belongs to a neighbour.
        centre = np.clip(centre, -3.5, 3.5)
        spread = np.maximum(spread * 0.75, 0.15)
    reading = np.maximum(0.5 / step, 1.0) ** 2 * 0.5
    variance = (robust * rest**2).sum(1) / np.maximum(robust.sum(1), 1e-9)
    cov = np.linalg.inv(normal) * variance[:, None, None] * reading
    se = np.sqrt(np.maximum((cov[:, 0, 0] + cov[:, 1, 1]) / 2, 0)) + 0.02
    full = _full_darkness(flat, radius)
    inside, outside, rim, strength = _describe(
        grid, dark / full[:, None], weight, noise, centre, radius, step
    )
    inside = inside * full
    contrast = 1.0 / np.median(noise, axis=1)
    return _Fits(spots[:, :2] + centre, radius, se, inside, outside, rim, strength, full, contrast)


def _low_level(weight: Floats, dark: Floats) -> Floats:
    """Darkness around a disc, dark neighbours counting little."""
    w = weight / (1 + (np.maximum(dark, 0) / 0.2) ** 2)
    return np.asarray((w * dark).sum(1) / np.maximum(w.sum(1), 1e-9))


def _describe(
    grid: Floats,
    dark: Floats,
    weight: Floats,
    noise: Floats,
    centre: Floats,
    radius: Floats,
    step: float,
) -> tuple[Floats, Floats, Floats, Floats]:
    """How dark the disc is, how clean its surroundings, how complete its rim, how strong it is."""
    off = grid[None] - centre[:, None]
    distance = np.hypot(off[..., 0], off[..., 1])
    r = radius[:, None]
    disc = weight * (distance < 0.8 * r)
    ring = weight * (distance > 1.25 * r + 0.2) * (distance < 1.25 * r + 1.8)
    inside = (disc * dark).sum(1) / np.maximum(disc.sum(1), 1e-9)
    outside = (ring * np.clip(dark, 0, 1)).sum(1) / np.maximum(ring.sum(1), 1e-9)
    # Rim by sectors: dark just inside, clean just outside.
    angle = np.arctan2(off[..., 1], off[..., 0])
    sector = np.floor((angle + np.pi) / (2 * np.pi) * 12).astype(int) % 12
    good = np.zeros((len(centre), 12))
    for k in range(12):
        mine = sector == k
        a = mine & (distance > 0.45 * r) & (distance < 0.85 * r)
        b = mine & (distance > 1.2 * r + 0.15) & (distance < 1.2 * r + 1.3)
        wa, wb = weight * a, weight * b
        inner = (wa * dark).sum(1) / np.maximum(wa.sum(1), 1e-9)
        outer = (wb * dark).sum(1) / np.maximum(wb.sum(1), 1e-9)
        good[:, k] = np.clip((inner - outer - 0.15) / 0.4, 0, 1)
    area = np.pi * radius**2 / step**2
    local = np.sqrt((disc * noise**2).sum(1) / np.maximum(disc.sum(1), 1e-9))
    # Neighbouring samples share noise (blur, JPEG): a quarter of them are independent.
    strength = (inside - np.clip(outside, 0, None)) / local * np.sqrt(np.maximum(area / 4, 1))
    return inside, outside, good.mean(1), strength


def _confidence(fits: _Fits, shaft_mm: float | None) -> Floats:
    """Probability that each fit is a shot."""
    diameter = 2 * fits.radius_mm
    below = np.clip((_LEAST_DIAMETER + 0.6 - diameter) / 0.6, 0, 4)
    above = np.clip((diameter - _MOST_DIAMETER + 1.0) / 1.0, 0, 4)
    # On paper a hole is wholly dark, dirt and pencil are not; on black ink noise blurs the two.
    inside = fits.inside / fits.full
    pale = np.clip((0.92 - inside) / 0.12, 0, 4) * np.clip((fits.contrast - 20) / 20, 0, 1)
    score = (
        -9.0
        - 2.5 * pale
        + 6.0 * np.clip(inside, 0, 1)
        + 8.0 * fits.rim
        - 4.0 * np.clip(fits.outside, 0, 1)
        + 2.0 * np.tanh((fits.strength - 8) / 6)
        - 3.0 * below
        - 3.0 * above
    )
    if shaft_mm is not None:
        score -= np.clip(np.abs(diameter / shaft_mm - 0.93) / 0.12 - 1, 0, 4)
    return np.asarray(expit(score))


def _agree_on_size(fits: _Fits, sure: Floats, pinned: Floats) -> Floats:
    """Lower the confidence of holes whose size differs from that of the sure ones.

    One archer's shafts are of one size. The size of a hole in black ink is seen worse.
    """
    firm = (sure > 0.95) & (fits.contrast > 25) & ~pinned
    if firm.sum() < 3:
        return sure
    size = np.log(fits.radius_mm)
    typical = float(np.median(size[firm]))
    spread = np.where(fits.contrast > 25, 0.12, 0.25)
    # A hole torn wide, or two in one, is larger; nothing makes one much smaller.
    off = np.where(size < typical, typical - size, 0.5 * (size - typical)) / spread
    penalty = np.clip(off - 1.0, 0, 6) * 1.6
    return np.asarray(expit(logit(np.clip(sure, 1e-6, 1 - 1e-6)) - penalty))


def _explain(
    flat: Flat, fits: _Fits, sure: Floats, order: list[int]
) -> tuple[list[int], list[Region]]:
    """Fits that explain what is dark by themselves, and regions that need more.

    A patch, an arrow or a shadow is one connected dark region that a disc of a shaft's size
    leaves mostly unexplained; so are holes that touch. `split` tells them apart.
    """
    mask: Any = ((flat.dark > 0.45) & (flat.weight > 0.3)).astype(np.uint8)
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask)
    at = np.rint(flat.to_px(fits.centre_mm)).astype(int)
    at = np.clip(at, 0, np.array(mask.shape[::-1]) - 1)
    label = labels[at[:, 1], at[:, 0]]
    area = stats[:, cv2.CC_STAT_AREA] / flat.px_per_mm**2
    disc = np.pi * fits.radius_mm**2
    kept: list[int] = []
    crowded: set[int] = set()
    for i in order:
        mates = [j for j in order if label[j] == label[i] != 0 and sure[j] > 0.3]
        if label[i] == 0 or (len(mates) < 2 and area[label[i]] <= 1.22 * disc[i] + 2.0):
            kept.append(i)
        elif sure[i] > 0.05 and area[label[i]] < _MOST_REGION_MM2:
            crowded.add(int(label[i]))
    regions = []
    for k in sorted(crowded):
        x, y, w, h = stats[k, :4].astype(float)
        corners = flat.to_mm(np.array([[x - 0.5, y + h - 0.5], [x + w - 0.5, y - 0.5]]))
        # A little wider than the mask, since the rim of a hole is less than half dark.
        surest = next(i for i in order if label[i] == k)
        foreign: Any = ((labels != 0) & (labels != k)).astype(np.uint8)
        wider: Any = cv2.dilate(foreign, np.ones((3, 3), np.uint8))
        members = tuple(i for i in order if label[i] == k)
        regions.append(Region(corners, wider, float(area[k]), surest, members))
    return kept, regions


def _distinct(fits: _Fits, sure: Floats) -> list[int]:
    """Order fits by confidence, without those that lie on a surer one."""
    kept: list[int] = []
    for i in np.argsort(-sure):
        apart = fits.centre_mm[kept] - fits.centre_mm[i]
        if not kept or (np.hypot(apart[:, 0], apart[:, 1]) > 0.7 * fits.radius_mm[i]).all():
            kept.append(int(i))
    return kept
