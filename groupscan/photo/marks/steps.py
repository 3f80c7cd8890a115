"""Steps from dark to light: where profiles across straight sides go over an edge.

All lengths are pixels, all figures four-sided; arrays are (figures, sides, profiles, samples).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from groupscan.photo.plane import Floats

__all__ = ["Profiles", "Steps", "fit_steps", "outward", "rough_steps", "sample_profiles"]

_SAMPLES = 13  # across a side
_MIN_CONTRAST = 8.0  # grey levels


@dataclass(frozen=True, eq=False)
class Steps:
    """Where each profile goes from dark to light (n, 4, p), outward of the side, if it does."""

    place: Floats
    good: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Profiles:
    """Profiles across the sides: places `s` (n, 1, 1, k) outward, grey levels (n, 4, p, k).

    `behind` (n, 4, p, 1) is the grey level behind the dark border, which is `band` (n, 4, 1, 1)
    thick; both None where there is no such border.
    """

    s: Floats
    values: Floats
    inside: NDArray[np.bool_]
    behind: Floats | None
    band: Floats | None


def outward(start: Floats, end: Floats) -> Floats:
    """Return unit vectors (n, 4, 2) square to sides, to the left of the way from start to end."""
    along = end - start
    along = along / np.maximum(np.linalg.norm(along, axis=-1, keepdims=True), 1e-6)
    return np.stack([along[..., 1], -along[..., 0]], axis=-1)


def sample_profiles(
    grey: NDArray[np.uint8],
    start: Floats,
    end: Floats,
    *,
    stations: Floats,
    reach: Floats,
    band: Floats | None = None,
) -> Profiles:
    """Sample the picture across sides.

    Parameters
    ----------
    grey : (h, w) uint8 array
        The picture.
    start, end : (n, 4, 2) arrays
        Ends of the sides; light lies to the left of the way from start to end, as seen.
    stations : (p,) array
        Where the profiles stand, as shares of a side.
    reach : (n,) array
        How far to sample on both sides.
    band : (n, 4) array, optional
        Thickness of a dark border behind the side.

    Returns
    -------
    Profiles
    """
    out = outward(start, end)[:, :, None, None, :]
    at = start[:, :, None, :] + (end - start)[:, :, None, :] * stations[:, None]
    at = at[:, :, :, None, :]
    s = (np.linspace(-1.0, 1.0, _SAMPLES) * reach[:, None])[:, None, None, :]
    values, inside_each = _sample(grey, at + out * s[..., None])
    inside: NDArray[np.bool_] = np.all(inside_each, axis=-1)
    if band is None:
        return Profiles(s, values, inside, None, None)
    thick = np.asarray(band, dtype=np.float64)[:, :, None, None]
    behind, _ = _sample(grey, at - 1.5 * out * thick[..., None])
    return Profiles(s, values, inside, behind, thick)


def _sample(grey: NDArray[np.uint8], points: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Bilinear grey levels at (..., 2) points, and which points lie inside the picture."""
    height, width = grey.shape
    x, y = points[..., 0], points[..., 1]
    inside = (x >= 0) & (y >= 0) & (x <= width - 1) & (y <= height - 1)
    x, y = np.clip(x, 0, width - 1.001), np.clip(y, 0, height - 1.001)
    left, top = x.astype(np.intp), y.astype(np.intp)
    fx, fy = x - left, y - top
    at, flat = top * width + left, grey.reshape(-1)
    upper = flat[at] * (1 - fx) + flat[at + 1] * fx
    lower = flat[at + width] * (1 - fx) + flat[at + width + 1] * fx
    return upper + (lower - upper) * fy, inside


def _contrast(profiles: Profiles) -> tuple[Floats, Floats, Floats, NDArray[np.bool_]]:
    """Dark level and rise of each profile, the figure's usual rise, and which profiles have it."""
    low = profiles.values[..., :3].mean(axis=-1)
    rise = profiles.values[..., -3:].mean(axis=-1) - low
    usual = np.quantile(rise, 0.8, axis=(1, 2))[:, None, None]
    good = profiles.inside & (rise > 0.4 * usual) & (usual > _MIN_CONTRAST)
    return low, rise, np.maximum(usual, 1.0), good


def _climb_centroid(profiles: Profiles) -> Floats:
    climb = np.clip(np.diff(profiles.values, axis=-1), 0.0, None)
    middle = (profiles.s[..., 1:] + profiles.s[..., :-1]) / 2
    centroid: Floats = (climb * middle).sum(axis=-1) / np.maximum(climb.sum(axis=-1), 1e-9)
    return centroid


def rough_steps(profiles: Profiles) -> Steps:
    """Place steps roughly, by the centroid of the climb from dark to light.

    Parameters
    ----------
    profiles : Profiles
        May reach wider than the blur.

    Returns
    -------
    Steps
    """
    return Steps(_climb_centroid(profiles), _contrast(profiles)[3])


def fit_steps(profiles: Profiles) -> Steps:
    """Fit a blurred step to each profile, of one width for all profiles of a side.

    Parameters
    ----------
    profiles : Profiles

    Returns
    -------
    Steps

    Notes
    -----
    The step is ``a + b * Phi((s - s0) / w)``; any symmetric blur leaves `s0` where it was. Where
    the picture is light again behind a thin dark border, the border's inner edge is part of the
    model, so that its blur does not pass for the step's.

    Examples
    --------
    The middle of a step from dark to light between columns 9 and 10 lies at 9.5:

    >>> grey = np.full((20, 20), 20, np.uint8)
    >>> grey[:, 10:] = 220
    >>> start, end = np.array([[[9.0, 2.0]]]), np.array([[[9.0, 18.0]]])
    >>> profiles = sample_profiles(
    ...     grey, start, end, stations=np.array([0.4, 0.6]), reach=np.array([3.0])
    ... )
    >>> fit_steps(profiles).place.round(2).tolist()
    [[[0.5, 0.5]]]
    """
    s, values = profiles.s, profiles.values
    reach = s[..., -1]
    low, rise, usual, good = _contrast(profiles)
    place = np.clip(_climb_centroid(profiles), -0.8 * reach, 0.8 * reach)
    inner: Floats | None = None
    if profiles.behind is not None:
        # How light it is again behind the dark border: 0 for dark cells, 1 for light ones.
        again = (profiles.behind[..., 0] - low) / np.maximum(rise, 1.0)
        inner = np.clip(again, 0.0, 1.0)[..., None]
    y = values - values.mean(axis=-1, keepdims=True)
    width = np.full((*place.shape[:2], 1, 1), 0.9)
    for _ in range(4):
        shape, bell, wide = _step_shape(s - place[..., None], width, inner, profiles.band)
        # Level and height enter linearly: they are projected out, not iterated.
        f = shape - shape.mean(axis=-1, keepdims=True)
        g = bell - bell.mean(axis=-1, keepdims=True)
        ff, fg, gg = (f * f).sum(axis=-1), (f * g).sum(axis=-1), (g * g).sum(axis=-1)
        yf, yg = (y * f).sum(axis=-1), (y * g).sum(axis=-1)
        det = np.maximum(ff * gg - fg * fg, 1e-9)
        rise = np.maximum((gg * yf - fg * yg) / det, 0.2 * usual)
        shift = -width[..., 0] * (ff * yg - fg * yf) / (det * rise)
        place = np.clip(place + np.clip(shift, -0.7, 0.7), -reach, reach)
        # The width's slope is -rise * wide / width: one step for each side.
        h = np.where(good, rise, 0.0)[..., None] * (wide - wide.mean(axis=-1, keepdims=True))
        residual = y - rise[..., None] * f
        asked = -(h * residual).sum(axis=(2, 3), keepdims=True)
        asked = asked / np.maximum((h * h).sum(axis=(2, 3), keepdims=True), 1e-9)
        width = np.clip(width * (1 + np.clip(asked, -0.3, 0.3)), 0.4, 4.0)
    good = good & (np.abs(place) < 0.8 * reach) & (rise > 0.4 * usual)
    return Steps(np.where(good, place, 0.0), good)


def _step_shape(
    d: Floats, width: Floats, inner: Floats | None, band: Floats | None
) -> tuple[Floats, Floats, Floats]:
    """Step of unit height at distance `d`; its slope along `d` and minus that in ln(width)."""
    u = d / width
    shape, bell = ndtr(u), _bell(u)
    wide = u * bell
    if inner is not None and band is not None:
        v = u + band / width
        other = inner * _bell(v)
        shape = shape + inner * (1 - ndtr(v))
        bell, wide = bell - other, wide - v * other
    return shape, bell, wide


def _bell(u: Floats) -> Floats:
    bell: Floats = np.exp(-0.5 * u * u) * (1 / np.sqrt(2 * np.pi))
    return bell
