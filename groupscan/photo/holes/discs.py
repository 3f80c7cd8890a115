"""Discs of a hole's size fitted to the darkness around each candidate."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from groupscan.photo.darkness import darkness, full_darkness
from groupscan.photo.expected import Flat
from groupscan.photo.plane import Floats, Plane
from groupscan.photo.reading import Photo

__all__ = ["Discs", "fit_discs", "polish"]

_RAGGED_MM = 0.22  # how far torn paper strays from the disc, by which the model's edge is soft

#: How far about a rim is looked, in soft widths; how much of a misfit is none; and how far a disc
#: may still move, mm.
_RIM_SOFTS, _LEAST_SPREAD, _MOST_MOVED_MM = 3.2, 0.15, 0.6
_BRIGHT = 0.15  # how much brighter than expected counts
_TOLD = 0.3  # share of a sector's weight from which it can be told


@dataclass(frozen=True)
class Discs:
    """Disc fits of many candidates, one row each."""

    centre_mm: Floats  # (n, 2)
    radius_mm: Floats
    se_mm: Floats
    inside: Floats  # mean darkness in the disc
    outside: Floats  # mean darkness around it
    rim: Floats  # share of the rim that has an edge, of what can be told
    told: Floats  # share of the rim where ink lets a hole be told
    strength: Floats  # contrast of the disc over the noise, for the whole disc
    full: Floats  # how dark a hole of this size can look in this photo
    contrast: Floats  # how dark a hole would be against the sheet here, in noises
    smear: Floats  # the photo's blur, as a share of the radius

    def joined(self, more: Discs, which: Floats) -> Discs:
        """Append some of other fits."""
        columns = {
            one.name: np.concatenate([getattr(self, one.name), getattr(more, one.name)[which]])
            for one in fields(self)
        }
        return Discs(**columns)


def fit_discs(photo: Photo, plane: Plane, flat: Flat, spots: Floats) -> Discs:
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
    # A petal turned up is brighter than the sheet; that speaks neither for a hole nor against.
    dark = np.maximum(dark, -_BRIGHT)
    step = axis[1] - axis[0]
    soft = float(np.hypot(_RAGGED_MM, 0.7 * max(native, step)))
    centre = np.zeros((n, 2))
    radius = spots[:, 2].copy()
    low, high = np.zeros(n), np.ones(n)
    spread = np.full(n, 0.7)
    # Where the edge is as wide as the hole, the disc is a rough model and its peak no outlier.
    floor = np.maximum(_LEAST_SPREAD, 0.8 * soft / spots[:, 2] - 0.1)
    x, y = grid.T
    for turn in range(10):
        # Only near the disc: what lies beyond belongs to something else.
        square = (x - centre[:, :1]) ** 2 + (y - centre[:, 1:]) ** 2
        which, cell = np.nonzero(square < (radius[:, None] + 2.2) ** 2)
        first = np.searchsorted(which, np.arange(n))

        def total(values: Floats, first: NDArray[np.intp] = first) -> Floats:
            return np.asarray(np.add.reduceat(values, first, axis=-1))

        seen, trust = dark[which, cell], weight[which, cell]
        distance = np.maximum(np.sqrt(square[which, cell]), 1e-9)
        z = (radius[which] - distance) / soft
        cover = ndtr(z)
        inner = trust * cover**3
        outer = trust * (1 - cover)
        high = np.clip(total(inner * seen) / np.maximum(total(inner), 1e-9), 0.3, 1.1)
        # Dark neighbours count little.
        outer /= 1 + (np.maximum(seen, 0) / 0.2) ** 2
        low = np.clip(total(outer * seen) / np.maximum(total(outer), 1e-9), -0.2, 0.6)
        contrast = np.maximum(high - low, 0.1)
        rest = seen - low[which] - contrast[which] * cover
        robust = trust / (1 + rest**2 / (spread[which] ** 2 + noise[which, cell] ** 2))
        slope = contrast[which] * np.exp(-0.5 * z**2) / (np.sqrt(2 * np.pi) * soft)
        across = slope * (x[cell] - centre[which, 0]) / distance
        down = slope * (y[cell] - centre[which, 1]) / distance
        jac = np.stack([across, down, slope])
        weighed = jac * robust
        normal = total(weighed[:, None] * jac).transpose(2, 0, 1)
        right = total(weighed * rest).T
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
        spread = np.maximum(spread * 0.75, floor)
    reading = np.maximum(0.5 / step, 1.0) ** 2 * 0.5
    variance = total(robust * rest**2) / np.maximum(total(robust), 1e-9)
    cov = np.linalg.inv(normal) * variance[:, None, None] * reading
    se = np.sqrt(np.maximum((cov[:, 0, 0] + cov[:, 1, 1]) / 2, 0)) + 0.02
    full = full_darkness(flat, radius)
    inside, outside, rim, told, strength = _describe(
        grid, dark / full[:, None], weight, noise, centre, radius, step
    )
    inside = inside * full
    contrast = 1.0 / np.median(noise, axis=1)
    return Discs(
        centre_mm=spots[:, :2] + centre,
        radius_mm=radius,
        se_mm=se,
        inside=inside,
        outside=outside,
        rim=rim,
        told=told,
        strength=strength,
        full=full,
        contrast=contrast,
        smear=flat.blur_mm / radius,
    )


def polish(photo: Photo, plane: Plane, flat: Flat, fits: Discs, which: Floats) -> Discs:
    """Fit some discs once more, along their rims at the photo's own grain.

    Parameters
    ----------
    photo : Photo
    plane : Plane
    flat : Flat
    fits : Discs
    which : (n,) array of bool

    Returns
    -------
    Discs
        With better centres and radii of those.

    Notes
    -----
    The search looks at a coarse grid, since there is much to look at. All that tells a disc's
    place lies along its rim; there centre, radius and the levels on either side are fitted
    together (Gauss-Newton, reweighted) to as many places as the photo has pixels.
    """
    if not which.any():
        return fits
    start, radius = fits.centre_mm[which], fits.radius_mm[which].copy()
    native = float(np.median(plane.mm_per_px(start)))
    soft = float(np.hypot(_RAGGED_MM, flat.blur_mm))
    rays = int(np.clip(2 * np.pi * float(np.median(radius)) / native, 24, 192))
    steps = int(np.clip(2 * _RIM_SOFTS * soft / native, 7, 25))
    turn = np.arange(rays) * 2 * np.pi / rays
    unit = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    out = np.maximum(
        radius[:, None] + np.linspace(-_RIM_SOFTS, _RIM_SOFTS, steps) * soft, 0.2 * radius[:, None]
    )
    off = (out[:, :, None, None] * unit).reshape(len(start), -1, 2)
    n, cells = off.shape[:2]
    read = darkness(photo, plane, flat, (start[:, None] + off).reshape(-1, 2))
    dark, weight, noise = (a.reshape(n, cells) for a in read)
    dark = np.maximum(dark, -_BRIGHT)
    # A ring's outer places stand for more of the sheet than its inner ones.
    weight = weight * np.repeat(out / radius[:, None], rays, axis=1)
    scale = np.hypot(_LEAST_SPREAD, noise)
    moved = np.zeros((n, 2))
    low, high = np.zeros(n), np.clip(fits.inside[which], 0.3, 1.1)
    for _ in range(5):
        away = off - moved[:, None]
        distance = np.maximum(np.sqrt((away**2).sum(axis=2)), 1e-9)
        z = (radius[:, None] - distance) / soft
        cover = ndtr(z)
        slope = (high - low)[:, None] * np.exp(-0.5 * z**2) / (np.sqrt(2 * np.pi) * soft)
        rest = dark - low[:, None] - (high - low)[:, None] * cover
        robust = weight / (1 + (rest / scale) ** 2)
        jac = np.stack(
            [
                slope * away[..., 0] / distance,
                slope * away[..., 1] / distance,
                slope,
                cover,
                1 - cover,
            ],
            axis=1,
        )
        weighed = jac * robust[:, None]
        normal = weighed @ jac.transpose(0, 2, 1) + 1e-3 * np.eye(5)
        right = (weighed @ rest[..., None])[..., 0]
        move = np.clip(np.linalg.solve(normal, right[..., None])[..., 0], -0.3, 0.3)
        moved, radius = moved + move[:, :2], radius + move[:, 2]
        high, low = np.clip(high + move[:, 3], 0.3, 1.2), np.clip(low + move[:, 4], -0.2, 0.6)
    fine = np.hypot(moved[:, 0], moved[:, 1]) < _MOST_MOVED_MM
    fine &= np.abs(radius - fits.radius_mm[which]) < _MOST_MOVED_MM
    centres, radii = fits.centre_mm.copy(), fits.radius_mm.copy()
    at = np.flatnonzero(which)[fine]
    centres[at] += moved[fine]
    radii[at] = radius[fine]
    return replace(fits, centre_mm=centres, radius_mm=radii)


def _describe(
    grid: Floats,
    dark: Floats,
    weight: Floats,
    noise: Floats,
    centre: Floats,
    radius: Floats,
    step: float,
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """How dark the disc is, how clean around, how complete its rim, how much told, how strong."""
    off = grid[None] - centre[:, None]
    distance = np.hypot(off[..., 0], off[..., 1])
    r = radius[:, None]
    disc = weight * (distance < 0.8 * r)
    ring = weight * (distance > 1.25 * r + 0.2) * (distance < 1.25 * r + 1.8)
    inside = (disc * dark).sum(1) / np.maximum(disc.sum(1), 1e-9)
    outside = (ring * np.clip(dark, 0, 1)).sum(1) / np.maximum(ring.sum(1), 1e-9)
    # Rim by sectors: dark just inside, clean just outside, where ink lets either be told.
    shares, levels = [], []
    for part in (
        (distance > 0.45 * r) & (distance < 0.85 * r),
        (distance > 1.2 * r + 0.15) & (distance < 1.2 * r + 1.3),
    ):
        which, cell = np.nonzero(part)
        angle = np.arctan2(off[which, cell, 1], off[which, cell, 0])
        sector = which * 12 + np.floor((angle + np.pi) / (2 * np.pi) * 12).astype(int) % 12
        trust = weight[which, cell]
        cells, trusted, darkened = (
            np.bincount(sector, one, 12 * len(centre)).reshape(-1, 12)
            for one in (None, trust, trust * dark[which, cell])
        )
        shares.append(trusted / np.maximum(cells, 1))
        levels.append(darkened / np.maximum(trusted, 1e-9))
    good = np.clip((levels[0] - levels[1] - 0.15) / 0.4, 0, 1)
    told = np.clip(np.minimum(*shares) / _TOLD, 0, 1)
    rim = (told * good).sum(1) / np.maximum(told.sum(1), 1e-9)
    area = np.pi * radius**2 / step**2
    local = np.sqrt((disc * noise**2).sum(1) / np.maximum(disc.sum(1), 1e-9))
    # Noise is worse in black ink: what is around tells, but for what is as dark as a hole.
    plain = (ring > 0) & (np.abs(dark) < 0.5)
    plain[~plain.any(axis=1), 0] = True
    off_middle = dark - np.nanmedian(np.where(plain, dark, np.nan), axis=1)[:, None]
    grain = 1.4826 * np.nanmedian(np.where(plain, np.abs(off_middle), np.nan), axis=1)
    local = np.maximum(np.sqrt(local * np.maximum(local, grain)), 1e-6)
    # Neighbouring samples share noise (blur, JPEG): a quarter of them are independent.
    strength = (inside - np.clip(outside, 0, None)) / local * np.sqrt(np.maximum(area / 4, 1))
    return inside, outside, rim, told.mean(1), strength
