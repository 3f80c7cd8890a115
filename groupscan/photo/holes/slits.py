"""Slits that leave a hole like spokes: how they are read, and which spokes fit them best."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from scipy.special import ndtr

from groupscan.photo.darkness import darkness
from groupscan.photo.expected import Flat
from groupscan.photo.plane import Floats, Plane
from groupscan.photo.reading import Photo

__all__ = [
    "DIAMETERS_MM",
    "LEAST_RIDGE",
    "LEAST_SHARE",
    "MOST_STRAY",
    "REACH_MM",
    "Patch",
    "Ridges",
    "Spokes",
    "best_spokes",
    "lay_spokes",
    "promise",
    "read_ridges",
]

#: Cutting diameters of broadheads, mm: 7/8 to 2 1/4 inches (common practice, no source), and room
#: below for the ends of slits, which close up.
DIAMETERS_MM = (17.0, 58.0)
#: Half width of a slit, and from where to where its flanks are read, mm. A slit is as wide as a
#: blade is thick and gapes a little (common practice, no source).
_SLIT_MM, _FLANK_MM = 0.5, (1.6, 3.0)
_RAYS = 180
_SOFT_MM = 0.25  # how soft the borders between them are
_STEP_MM = 0.7  # between the rings that are read
#: A blade's slit must be darker than its flanks by this much: what paper shows of it at a
#: resolution of a slit's own width; and on clean paper, where less is seen, by so many standard
#: deviations of what all directions show and no less than the second.
LEAST_RIDGE = 0.12
_CLEAN_RIDGE, _OVER_NOISE = 0.06, 4.0
#: What is as dark as this and no darker than its flanks is broad: a hole, a shaft. A slit may be
#: under it, but no more than so much of a blade, or all of one of three or four.
_BROAD, _RIM, _MOST_HIDDEN = 0.45, 1.5, 0.2
_CURVES = -0.3  # of its ridge, that a line is beyond its end in both directions if it curves away
#: The poorest blade's share of the mean one, and the most that any other direction may have.
LEAST_SHARE, MOST_STRAY = 0.4, 0.55
REACH_MM = DIAMETERS_MM[-1] / 2 + 3.5  # far enough to see that a slit ends
_RINGS_MM = np.arange(2.0, REACH_MM, _STEP_MM)
_BLADES = (2, 3, 4)
_GAP_RINGS = 4  # three millimetres
_WHOLE = 0.7  # least share of its length over which a slit is there
_WIDE_SHARE = 0.4  # of a slit's ridge that is left over a band of two millimetres
_POINT_MM = 1.0  # of a slit's point that is too narrow to be seen, at most
_PRINT = 0.9  # tone under which there is print, as a share of the lightest
_RAGGED_MM = 0.3  # how far a slit strays from the straight line


@dataclass(frozen=True)
class Patch:
    """Darkness on a fine grid around a hole."""

    dark: Floats
    bare: Floats | None  # the same as if nothing were printed; None where nothing is
    ink: Floats | None  # how much darker than paper the print is
    low: Floats  # mm of the first cell
    step: float

    @classmethod
    def read(cls, photo: Photo, plane: Plane, flat: Flat, centre: Floats, reach: float) -> Patch:
        """Read the photo around a place of the sheet, as far as `reach`, mm."""
        half = reach + 1.0
        step = max(0.4, float(plane.mm_per_px(centre[None])[0]))
        axis = np.arange(-half, half + step / 2, step)
        gx, gy = np.meshgrid(axis, axis)
        at = centre + np.column_stack([gx.ravel(), gy.ravel()])
        dark, weight, _ = darkness(photo, _unbent(plane, centre), flat, at)
        dark, weight = (a.reshape(gx.shape).astype(np.float32) for a in (dark, weight))
        px = flat.to_px(at).astype(np.float32).reshape(*gx.shape, 2)
        u, v = np.ascontiguousarray(px[..., 0]), np.ascontiguousarray(px[..., 1])
        expected, light = (
            np.asarray(cv2.remap(picture, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
            for picture in (flat.expected, flat.light)
        )
        tone = expected / light
        printed = float(tone.min()) < _PRINT * float(tone.max())
        bare = (1 - tone + dark * (tone - flat.hole_level)) if printed else None
        # In black ink noise passes for darkness, so it has no weight.
        ink = 1 - tone if printed else None
        return cls(np.clip(dark, 0, 1) * weight, bare, ink, centre - half, step)

    def at(self, picture: Floats, x: Floats, y: Floats) -> Floats:
        """Read one of the pictures at places of the sheet, mm."""
        u = ((x - self.low[0]) / self.step).astype(np.float32)
        v = ((y - self.low[1]) / self.step).astype(np.float32)
        return np.asarray(cv2.remap(picture, u, v, cv2.INTER_LINEAR), float)


def _unbent(plane: Plane, centre: Floats) -> Plane:
    """Return a plane without a bend that is the sheet's over the few centimetres about a place."""
    if plane.bend is None:
        return plane
    reach = REACH_MM / 2
    ends = centre + reach * np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1.0]])
    moved = plane.bend.shift(ends)
    slope = np.column_stack([moved[1] - moved[2], moved[3] - moved[4]]) / (2 * reach)
    tangent = np.eye(3)
    tangent[:2, :2] += slope
    tangent[:2, 2] = moved[0] - slope @ centre
    return replace(plane, homography=plane.homography @ tangent, bend=None)


@dataclass(frozen=True)
class Ridges:
    """How much darker than its flanks each ray is, ring by ring."""

    height: Floats  # (rings, rays)
    hidden: np.ndarray  # (rings, rays): where something broad and dark may hide a slit
    r: Floats
    turn: Floats
    least: float  # that a slit must have
    shortest: float  # diameter that is believed, mm


@dataclass(frozen=True)
class Spokes:
    """The best set of spokes about one centre."""

    blades: int
    angle: float
    length: float
    ridge: float  # mean height of its ridges
    share: float  # of the poorest blade that counts
    stray: float  # of the strongest other direction
    first: float  # radius at which the slits begin
    worth: float  # what the blades have above the least, summed, mm


def read_ridges(
    patch: Patch, centre: Floats, radius: float, *, wide: bool, reach: float = REACH_MM
) -> Ridges:
    """Set each ray about a centre against its flanks.

    Parameters
    ----------
    patch : Patch
    centre : (2,) array, mm
    radius : float
        Of the round part, mm; the rays begin outside it.
    wide : bool
        Whether the centre is known to a millimetre only.
    reach : float, optional
        How far out to read, mm.

    Returns
    -------
    Ridges
    """
    turn = np.arange(_RAYS) * 2 * np.pi / _RAYS
    outside = (radius + 1.0 < _RINGS_MM) & (reach > _RINGS_MM)
    r = _RINGS_MM[outside]
    x, y = centre[0] + r[:, None] * np.cos(turn), centre[1] + r[:, None] * np.sin(turn)
    both, left, right = (kernel[outside] for kernel in _kernels(wide=wide))
    dark = patch.at(patch.dark, x, y)
    height = _turned(dark, both)
    if patch.bare is not None and patch.ink is not None:
        # The rim of a printed bar that lies a little off is dark as well, but a bar is beside it;
        # and so is a printed line, but there is ink.
        seen, ink = patch.at(patch.bare, x, y), patch.at(patch.ink, x, y)
        height = np.minimum(height, np.minimum(_turned(seen, left), _turned(seen, right)))
        height -= np.maximum(_turned(ink, both), 0)
    # A quarter of all readings at least are bare: of those of a normal deviate, as many are less
    # than 0.32 standard deviations off.
    noise = float(np.quantile(np.abs(height), 0.25)) / 0.32
    least = float(np.clip(_OVER_NOISE * noise, _CLEAN_RIDGE, LEAST_RIDGE))
    shortest = DIAMETERS_MM[0]
    # Over a band wider than a slit less of it is left, and its narrow end is lost.
    if wide:
        least, shortest = _WIDE_SHARE * LEAST_RIDGE, 0.7 * shortest
    # Beside a hole or a shaft, which is a flank then, a slit cannot be told either.
    hidden = ((dark > _BROAD) & (height < least)) | (height < -_RIM * least)
    return Ridges(height, hidden, r, turn, least, shortest)


@lru_cache(maxsize=2)
def _kernels(*, wide: bool) -> tuple[Floats, Floats, Floats]:
    """Spectra, over the angle, of slit less both flanks, the left and the right one, by ring."""
    # Arc length from a ray, circular; what is near counts as slit, what is beside as flank.
    ray = (np.arange(_RAYS) + _RAYS // 2) % _RAYS - _RAYS // 2
    arc = ray * 2 * np.pi / _RAYS * _RINGS_MM[:, None]
    half = _SLIT_MM + (0.5 if wide else 0.0)
    slit = ndtr((half - np.abs(arc)) / _SOFT_MM)
    slit[:, 0] = np.maximum(slit[:, 0], 1e-3)
    slit /= slit.sum(axis=1, keepdims=True)
    left, right = (
        ndtr((side * arc - _FLANK_MM[0]) / _SOFT_MM) * ndtr((_FLANK_MM[1] - side * arc) / _SOFT_MM)
        for side in (-1, 1)
    )
    flanks = (flank / flank.sum(axis=1, keepdims=True) for flank in (left + right, left, right))
    # To be turned to each ray: a correlation, so the spectrum is conjugate.
    both, left, right = (np.conj(np.fft.rfft(slit - flank, axis=1)) for flank in flanks)
    return both, left, right


def _turned(field: Floats, kernel: Floats) -> Floats:
    """Apply a kernel's spectrum at each ray, ring by ring, circular."""
    return np.asarray(np.fft.irfft(np.fft.rfft(field, axis=1) * kernel, field.shape[1], axis=1))


def promise(ridges: Ridges) -> float:
    """Sum what the best spokes have above the least, mm; 0 or less where there are no slits."""
    best = 0.0
    for blades in _BLADES:
        gain = _gain(ridges, blades)
        up_to = np.sort(np.cumsum(gain, axis=0), axis=1) * _STEP_MM
        # Every blade shows something, but of four one may be poor.
        whole = up_to[:, 1 if blades == 4 else 0] > -_STEP_MM * ridges.least
        best = max(best, float(np.where(whole, up_to.sum(axis=1), 0.0).max()))
    return best


def _gain(ridges: Ridges, blades: int) -> Floats:
    """Set each ridge against the least, (rings, blades, first rays); it is full at 0.6."""
    gain = np.clip(ridges.height, -0.3, 0.6) - ridges.least
    return np.where(ridges.hidden, 0.0, gain).reshape(len(gain), blades, -1)


def _worth(ridges: Ridges, blades: int) -> Floats:
    """Sum what spokes have above the least up to each ring, mm: (rings, first rays).

    Past a gap, where no blade shows anything over a few millimetres, is no slit: what is there
    counts against it.
    """
    gain = _gain(ridges, blades)
    none = gain.mean(axis=1) < -0.5 * ridges.least
    gap = np.ones_like(none)
    for k in range(_GAP_RINGS):
        gap[k:] &= none[: len(none) - k]
    gap[: _GAP_RINGS - 1] = False
    past = np.logical_or.accumulate(gap, axis=0)
    return np.asarray(np.where(past, -1.0, np.cumsum(gain.sum(axis=1), axis=0) * _STEP_MM))


def best_spokes(ridges: Ridges) -> Spokes | None:
    """Find the number of blades, the angle and the length that the ridges speak for most.

    None where the slits are too faint, too uneven, too short or too long for blades, or where
    another direction is as dark.
    """
    height, r = ridges.height, ridges.r
    best: tuple[float, int, int, int] | None = None
    for blades in _BLADES:
        worth = _worth(ridges, blades)
        ring, first = (int(k) for k in np.unravel_index(int(np.argmax(worth)), worth.shape))
        if best is None or worth[ring, first] > best[0]:
            best = (float(worth[ring, first]), blades, ring, first)
    if best is None:
        return None
    most, blades, ring, first = best
    if most <= 0 or 2 * r[ring] < ridges.shortest:
        return None
    rays = first + np.arange(blades) * (_RAYS // blades)
    seen = ~ridges.hidden[: ring + 1]
    shown = seen.mean(axis=0)
    mean = (height[: ring + 1] * seen).mean(axis=0) / np.maximum(shown, 1e-6)
    # One blade of three or four may be hidden, and of four another be poor.
    told = rays[shown[rays] > 1 - _MOST_HIDDEN]
    if len(told) < max(2, blades - 1):
        return None
    each = np.sort(mean[told])[1 if len(told) == 4 else 0 :]
    poorest, level = float(each[0]), float(each.mean())
    others = np.abs((np.arange(_RAYS)[:, None] - rays + _RAYS // 2) % _RAYS - _RAYS // 2).min(
        axis=1
    )
    # Blades and lines are dark all the way; a hole or a tear beside this one only somewhere.
    aside = height[: ring + 1][:, others * 360 > 20 * _RAYS]
    out = aside[(ring + 1) // 2 :]
    stray = max(float(np.minimum(np.median(aside, axis=0), out.mean(axis=0)).max()), 0.0)
    along = (height[: ring + 1][:, told] * seen[:, told]).sum(axis=1)
    along /= np.maximum(seen[:, told].sum(axis=1), 1)
    # A slit is plainest in its inner half.
    stray /= max(float(along[: ring // 2 + 1].mean()), level)
    # It narrows outwards without gaps; holes in a row have them.
    least_here = 0.35 * np.minimum(level, np.maximum.accumulate(along[::-1])[::-1])
    there = (height[: ring + 1] > least_here[:, None]) | ridges.hidden[: ring + 1]
    whole = float(np.sort(there[:, told].mean(axis=0))[1 if len(told) == 4 else 0])
    beyond = (r > r[ring] + 1.0) & (r < r[ring] + 5.0)
    after = height[beyond][:, told] if beyond.any() else np.full((1, len(told)), level)
    on = float(np.median(after.mean(axis=1)))
    curves = bool((np.median(after, axis=0) < _CURVES * level).all())
    if (
        level < ridges.least
        or poorest < LEAST_SHARE * level
        or stray > MOST_STRAY
        or on > 0.5 * level
        or whole < _WHOLE
        or curves
    ):
        return None
    return Spokes(
        blades,
        float(ridges.turn[first]),
        _end(height[:, told].mean(axis=1), r, ring, ridges.least),
        level,
        poorest / level,
        stray,
        float(r[0]),
        most,
    )


def _end(along: Floats, r: Floats, ring: int, least: float) -> float:
    """Where the blades end, mm: a slit narrows to a point, so its ridge is carried on to nothing.

    The slope is that of the outer half of what the mean ridge falls by.
    """
    if ring + 1 >= len(r):
        return float(r[ring])
    fall = max(float(along[ring] - along[ring + 1]), 1e-6)
    seen = float(r[ring] + _STEP_MM * np.clip((along[ring] - least) / fall, 0, 1))
    high = np.flatnonzero(along[: ring + 1] > 2.5 * least)
    if not len(high):
        return seen
    slope = 1.5 * least / max(seen - float(r[high[-1]]), 0.3)
    return seen + float(np.clip(0.6 * least / slope, 0.0, _POINT_MM))


def lay_spokes(
    patch: Patch, centre: Floats, spokes: Spokes, start: Floats
) -> tuple[Floats, float, float]:
    """Lay the spokes on the slits by least squares: centre, angle, the centre's standard error."""
    # Slits that hardly leave a wide hole are laid by what there is of them.
    r = np.arange(spokes.first, max(spokes.length - 1.0, spokes.first + 0.25), 0.5)
    aside = np.arange(-1.6, 1.65, 0.2)
    normal: Any = np.diag([1 / 0.5**2, 1 / 0.5**2, 1 / 0.1**2])
    right: Any = np.append((start - centre) / 0.5**2, 0.0)
    for k in range(spokes.blades):
        turn = spokes.angle + 2 * np.pi * k / spokes.blades
        u, n = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
        at = centre + r[:, None, None] * u + aside[:, None] * n
        dark = patch.at(patch.dark, at[..., 0], at[..., 1])
        floor = np.median(dark, axis=1, keepdims=True)
        weight = np.maximum(dark - floor - 0.1, 0)
        mass = weight.sum(axis=1) * 0.2
        off = (weight * aside).sum(axis=1) * 0.2 / np.maximum(mass, 1e-6)
        trust = np.minimum(mass / 0.3, 1.0) / (1 + (off / 0.7) ** 2) / _RAGGED_MM**2
        row = np.column_stack([np.broadcast_to(n, (len(r), 2)), r])
        normal = normal + (row * trust[:, None]).T @ row
        right = right + (row * trust[:, None]).T @ off
    covariance = np.linalg.inv(normal)
    dx, dy, turned = covariance @ right
    se = float(np.sqrt((covariance[0, 0] + covariance[1, 1]) / 2))
    return centre + [dx, dy], spokes.angle + float(turned), se
