"""Blade cuts: a round hole for the shaft, and two, three or four slits out from it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.special import expit, ndtr

from groupscan.photo.darkness import darkness
from groupscan.photo.expected import Flat
from groupscan.photo.plane import Floats, Plane
from groupscan.photo.reading import Photo

__all__ = ["CUT_NAMES", "Cut", "find_cut"]

CUT_NAMES = {2: "two-blade", 3: "three-blade", 4: "four-blade"}
#: Cutting diameters of broadheads, mm: 7/8 to 2 1/4 inches (common practice, no source).
_DIAMETERS_MM = (20.0, 60.0)
_SLIT_MM = 1.3  # width of a slit
_LEAST_CONTRAST = 0.16


@dataclass(frozen=True)
class Cut:
    """A cut that a broadhead made.

    Attributes
    ----------
    centre_mm : (2,) array
        Where the blades' lines meet: the shaft's axis.
    blades : int
    length_mm : float
        Cutting diameter: twice the length of a slit from the axis.
    angle_rad : float
        Direction of one blade, anticlockwise from right.
    se_mm : float
    confidence : float
    """

    centre_mm: Floats
    blades: int
    length_mm: float
    angle_rad: float
    se_mm: float
    confidence: float


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
    The darkness is read on rings around the centre. For each number of blades and each angle the
    darkness along the spokes is set against that between them; the best centre is where the
    spokes' contrast is greatest, found by moving the centre over a small grid and again over a
    finer one. Two blades must not be the halves of four, nor three a part of six.
    """
    start = np.asarray(centre_mm, float)
    patch = _Patch.read(photo, plane, flat, start)
    best = _spokes(patch, start, radius_mm)
    if best.contrast < 0.5 * _LEAST_CONTRAST:
        return None
    for reach, step in ((1.2, 0.6), (0.4, 0.2), (0.1, 0.1)):
        offsets = np.arange(-reach, reach + step / 2, step)
        middle = best.centre
        tries = [middle + [x, y] for x in offsets for y in offsets]
        best = max((_spokes(patch, c, radius_mm) for c in tries), key=lambda s: s.contrast)
    moved = float(np.hypot(*(best.centre - start)))
    if best.contrast < _LEAST_CONTRAST or best.length < _DIAMETERS_MM[0] or moved > 1.4:
        return None
    sure = float(expit(14.0 * (best.contrast - 0.24) + 3.0 * (best.evenness - 0.55)))
    if sure < 0.5:
        return None
    return Cut(best.centre, best.blades, best.length, best.angle, 0.2, sure)


@dataclass(frozen=True)
class _Patch:
    """Darkness on a fine grid around a hole."""

    dark: Floats
    low: Floats  # mm of the first cell
    step: float

    @classmethod
    def read(cls, photo: Photo, plane: Plane, flat: Flat, centre: Floats) -> _Patch:
        half = float(_DIAMETERS_MM[-1] / 2 + 2)
        step = max(0.4, float(plane.mm_per_px(centre[None])[0]))
        axis = np.arange(-half, half + step / 2, step)
        gx, gy = np.meshgrid(axis, axis)
        at = centre + np.column_stack([gx.ravel(), gy.ravel()])
        dark, weight, _ = darkness(photo, plane, flat, at)
        dark = np.clip(dark, 0, 1) * (weight > 0.2)
        return cls(dark.reshape(gx.shape).astype(np.float32), centre - half, step)

    def around(self, centre: Floats, r: Floats, turn: Floats) -> Floats:
        """Darkness on rings, (len(r), len(turn))."""
        x = (centre[0] + r[:, None] * np.cos(turn) - self.low[0]) / self.step
        y = (centre[1] + r[:, None] * np.sin(turn) - self.low[1]) / self.step
        out = cv2.remap(self.dark, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR)
        return np.asarray(out, float)


@dataclass(frozen=True)
class _Spokes:
    """The best set of spokes about one centre."""

    centre: Floats
    blades: int
    angle: float
    length: float
    contrast: float
    evenness: float


def _spokes(patch: _Patch, centre: Floats, radius: float) -> _Spokes:
    """Set the darkness along equal spokes against that between them, for each number of blades."""
    rays = 120
    turn = np.arange(rays) * 2 * np.pi / rays
    r = np.arange(radius + 1.2, _DIAMETERS_MM[-1] / 2, 0.8)
    field = _widened(patch.around(centre, r, turn), r)
    options = [_of(field, r, turn, centre, blades) for blades in CUT_NAMES]
    return max(options, key=lambda s: s.contrast)


def _of(field: Floats, r: Floats, turn: Floats, centre: Floats, blades: int) -> _Spokes:
    rays = len(turn)
    step = 2 * np.pi / rays
    # Darkness of each spoke at each first angle, radius by radius: (r, first angle, blade).
    folded = field.reshape(len(r), blades, rays // blades).transpose(0, 2, 1)
    inner = r < r[0] + 5.0
    near = folded[inner].mean(axis=0)
    between = float(np.median(field[inner]))
    # All spokes must be there: the poorest counts with the mean.
    strength = 0.5 * near.mean(axis=1) + 0.5 * near.min(axis=1) - between
    k = int(np.argmax(strength))
    spokes = folded[:, k, :].mean(axis=1) - np.median(field, axis=1)
    ends = np.flatnonzero(spokes < 0.4 * max(float(spokes[inner].mean()), 1e-6))
    last = float(r[ends[0]] if len(ends) else r[-1])
    # What is dark beside the spokes speaks against this number of blades.
    middles = (k + np.arange(blades) * (rays // blades)) * step
    apart = np.abs((turn[:, None] - middles + np.pi) % (2 * np.pi) - np.pi).min(axis=1)
    beside = field[inner][:, apart > 0.25].mean(axis=0)
    stray = float(np.sort(beside)[-4:].mean()) - between
    evenness = float(near[k].min() / max(float(near[k].max()), 1e-6))
    contrast = float(strength[k]) - 0.5 * max(stray, 0.0)
    return _Spokes(centre, blades, k * step, 2 * last, contrast, evenness)


def _widened(dark: Floats, r: Floats) -> Floats:
    """Mean over a slit's width at each radius, circular in angle."""
    rays = dark.shape[1]
    angle = np.minimum(np.arange(rays), rays - np.arange(rays)) * 2 * np.pi / rays
    kernel = ndtr((0.5 * _SLIT_MM - angle[None] * r[:, None]) / 0.3)
    kernel[:, 0] = np.maximum(kernel[:, 0], 1e-3)
    kernel /= kernel.sum(axis=1, keepdims=True)
    spectrum = np.fft.rfft(dark, axis=1) * np.fft.rfft(kernel, axis=1)
    return np.asarray(np.fft.irfft(spectrum, rays, axis=1))
