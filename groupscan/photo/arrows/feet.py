"""Where a shaft goes into the sheet: its direction by the camera's place, its end by its look."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from groupscan.photo.expected import Flat
from groupscan.photo.plane import Floats, Plane
from groupscan.photo.plane.pose import camera_place, tell_focal
from groupscan.photo.reading import Photo

__all__ = ["Foot", "Spot", "cell_at", "find_foot", "find_spots", "least_length", "outward"]

#: How far shafts lean from square to the sheet (common practice, no source), radians.
_LEAN = 0.21
_STANDS_MM = 300.0  # how far an arrow stands out at least (common practice, no source)
_FOCAL_OFF = (0.0, -1.0, 1.0, -2.0, 2.0)  # standard errors of the focal length, to be tried
_STEP_MM, _COARSE_MM = 0.5, 6.0  # of reading a strip, and of places that are computed
_WINDOW = 5  # steps that are averaged
#: How far before what was seen the foot may lie, and from how far inside it is looked for, mm.
_BEFORE_MM, _INSIDE_MM = 150.0, 35.0
_AFTER_MM = (2.0, 12.0)  # what follows a step
_MARGIN_MM, _SIDE_MM, _BESIDE = 1.0, 3.0, 7  # from a shaft's edge to its sides, width, readings
#: Standard deviation of the agreement by chance: neighbouring readings share blur and noise.
_CORRELATED = 1.6
#: A shaft ends where half of what it shows over its first two centimetres is left, but it mirrors
#: the sheet and may show little there, so no more than the second is asked (found on renders).
_END_SHARE, _LEAST_AGREEMENT, _MOST_AGREEMENT = 0.5, 3.0, 14.0
#: On a light sheet a shaft cannot hide: this far before what was seen it must show this share of
#: what it shows on its body.
_HIDES_MM, _HIDES_SHARE = 8.0, 0.35
_CAP, _AS_GOOD = 3.0, 6.0
#: How much of a change of the sheet a shaft mirrors; what of its contrast to the sheet its look
#: changes by at its foot, and at most along it; and the contrast, grey levels, that tells it
#: (found on renders; no source). How far from the sum's foot the change may be, mm.
_MIRRORS, _CHANGE, _QUIET, _CLEAR, _FROM_SUM_MM = 0.6, 0.5, 0.3, 25.0, 25.0
_MIDDLE, _USUAL_STEPS = 0.3, 33  # of a shaft's width from its axis; steps of a usual contrast
#: How far from its foot a shaft's line is measured, mm, and how far that may turn it, radians.
_LINE_MM, _TURN = 90.0, 0.02
#: A sheet is black print where it has less than this share of the light, and an end is dark that
#: has less than the second of the light about it over so many millimetres.
_BLACK, _DARK_END, _END_MM = 0.4, 0.75, 6.0
#: The axis lies this share of the width inside the end; only usual widths are believed.
_INSET, _USUAL_MM = 0.5, (5.0, 7.0)


@dataclass(frozen=True)
class Spot:
    """The place of the sheet's plane that the camera is right in front of, and its distance."""

    mm: Floats
    range_mm: float


def find_spots(photo: Photo, plane: Plane) -> list[Spot]:
    """Find where the camera may stand: one spot for each focal length that the plane allows.

    Parameters
    ----------
    photo : Photo
    plane : Plane

    Returns
    -------
    list of Spot
        Likeliest first.

    Notes
    -----
    The focal length is what the plane tells of it (`tell_focal`), to two standard errors either
    way: a sheet seen square on tells little.
    """
    x, y = plane.centre_px
    focal = plane.focal_px
    inward = np.array([[1 / focal, 0, -x / focal], [0, 1 / focal, -y / focal], [0, 0, 1.0]])
    mix = np.kron(inward, np.eye(3))[:8, :8]
    covariance = mix @ plane.covariance[:8, :8] @ mix.T
    exif = photo.focal_px is not None
    log, se = tell_focal(inward @ plane.homography, covariance, exif=exif)
    spots = []
    for off in _FOCAL_OFF:
        tried = focal * float(np.exp(log + off * se))
        place = camera_place(plane.homography, tried, plane.image_size)
        spots.append(Spot(place[:2], abs(float(place[2]))))
    return spots


def outward(ends_mm: Floats, spots: list[Spot]) -> Floats | None:
    """Order a bar's ends as a shaft's, foot first, or tell that no shaft lies so.

    Parameters
    ----------
    ends_mm : (2, 2) array
    spots : list of Spot

    Returns
    -------
    (2, 2) array or None

    Notes
    -----
    A point at height h above the sheet is seen h / range farther from the spot than its foot, and
    a shaft that leans comes off that line by as much as it leans: a shaft's picture runs
    away from the spot.
    """
    for spot in spots:
        away = np.hypot(*(ends_mm - spot.mm).T)
        foot, nock = ends_mm if away[0] < away[1] else ends_mm[::-1]
        out, axis = foot - spot.mm, nock - foot
        distance = max(float(np.hypot(*out)), 1e-6)
        turn = np.arccos(np.clip(axis @ out / distance / np.hypot(*axis), -1, 1))
        if turn < np.arcsin(min(1.0, _LEAN * spot.range_mm / distance)):
            return np.array([foot, nock])
    return None


def least_length(foot_mm: Floats, spots: list[Spot]) -> float:
    """How long, mm, the picture of an arrow in a foot is at least, wherever the camera may be."""
    lengths = []
    for spot in spots:
        slope = float(np.hypot(*(foot_mm - spot.mm))) / spot.range_mm - _LEAN
        lengths.append(slope * _STANDS_MM / (1 - min(_STANDS_MM / spot.range_mm, 0.5)))
    return min(lengths)


@dataclass(frozen=True)
class Foot:
    """The end of a shaft.

    Attributes
    ----------
    mm : (2,) array
        Where its axis goes through the sheet.
    se_mm : float
        Along the shaft.
    agreement : float
        How far it stands out along its body, in standard deviations.
    gone : float
        Share of the sheet's light that is gone on its body.
    own : float
        How far its colours are from the sheet's own, darkened, as a share of them: a shadow's are
        not.
    """

    mm: Floats
    se_mm: float
    agreement: float
    gone: float
    own: float


def find_foot(photo: Photo, plane: Plane, flat: Flat, ends_mm: Floats, width_mm: float) -> Foot:
    """Find where along its line a shaft begins.

    Parameters
    ----------
    photo : Photo
    plane : Plane
    flat : Flat
    ends_mm : (2, 2) array
        Ends of what was seen of it, foot first.
    width_mm : float

    Returns
    -------
    Foot

    Notes
    -----
    A glossy shaft mirrors the sheet, so its colours change along it, but slowly; and by its
    round shape it has light and dark stripes. At each step along the line, what the strip has
    over the sheet on both its sides is set against the same over the centimetre that follows: on
    the shaft the two agree, before its foot they do not, whatever is printed there. The foot is
    where the sum of that agreement, less a least one, is greatest (Page 1954 for the sum). The
    axis lies inside the end, since the shaft is round and the hole's rim is torn; on black print,
    where no rim is seen, a pale shaft begins at its axis, out of its own hole's shade.
    """
    ends_mm = _centred(photo, plane, ends_mm, width_mm)
    axis = ends_mm[1] - ends_mm[0]
    length = float(np.hypot(*axis))
    axis = axis / length
    steps = np.arange(-_BEFORE_MM, min(length, _LINE_MM), _STEP_MM)
    strip = _strip(photo, plane, ends_mm[0], axis, steps, width_mm)
    light = float(flat.light[cell_at(flat, ends_mm[0])])
    first, doubt = _summed(strip, steps, length, light)
    change = _last_change(strip, steps, first)
    if change is not None:
        first, doubt = change, _STEP_MM
    start = float(steps[first])
    end = (steps >= start) & (steps < start + _END_MM)
    dark = float(strip.seen[end].mean()) < _DARK_END * float(strip.sheet[end].mean())
    rim = dark or float(strip.sheet[end].mean(axis=0).max()) > _BLACK * light
    inset = _INSET * float(np.clip(width_mm, *_USUAL_MM)) if rim else 0.0
    body = steps > max(start, 0.0) + 3
    return Foot(
        ends_mm[0] + (start + inset) * axis,
        doubt,
        float(np.median(_agreement(strip.over)[body])),
        *_look(strip, body),
    )


def _summed(strip: _Strip, steps: Floats, length: float, light: float) -> tuple[int, float]:
    """Begin a shaft by the sum of its agreement: index of the step, and standard error, mm."""
    agreement = _agreement(strip.over)
    body = steps > 3
    usual = float(np.median(agreement[body]))
    lit = strip.sheet.max(axis=1) > _BLACK * light
    middle = int(np.searchsorted(steps, min(_INSIDE_MM, 0.6 * length)))
    bare = np.where(lit & (steps < -_HIDES_MM), _HIDES_SHARE * usual, 0.0)[:middle]
    asked = _LEAST_AGREEMENT
    for _ in range(3):
        least = np.maximum(bare, asked)
        back = np.cumsum((np.clip(agreement[:middle], -_CAP * least, _CAP * least) - least)[::-1])
        first = middle - 1 - int(np.argmax(back))
        near = float(np.median(agreement[first + 4 : first + 44]))
        asked = float(np.clip(_END_SHARE * near, _LEAST_AGREEMENT, _MOST_AGREEMENT))
    as_good = np.flatnonzero(back > back.max() - _AS_GOOD)
    return first, float(np.ptp(as_good)) * _STEP_MM / 4


def _last_change(strip: _Strip, steps: Floats, first: int) -> int | None:
    """Find where a shaft's own look changes, coming from its other end; None where that is unclear.

    A shaft lies before all else, so whatever is beside or beyond it - holes, shadows, print - its
    middle looks the same from step to step, but where the sheet that it mirrors changes. At its
    foot it changes by half or more of what it differs from the sheet by.
    """
    inner = strip.inner.reshape(len(steps), -1)
    own = _following(inner)
    sheet = np.tile(strip.sheet, (1, strip.inner.shape[1]))
    contrast = np.sqrt(((sheet - own) ** 2).mean(axis=1))
    mirrored = _MIRRORS * np.sqrt(((sheet - _following(sheet)) ** 2).mean(axis=1))
    off = np.sqrt(((inner - own) ** 2).mean(axis=1)) - mirrored
    # Beside a hole the sheet seems as dark as the shaft.
    usual = cv2.blur(contrast[:, None], (1, _USUAL_STEPS))[:, 0]
    contrast = np.maximum(contrast, usual)
    departs = off / np.maximum(contrast, 1.0)
    clear = contrast > _CLEAR
    reach = int(_FROM_SUM_MM / _STEP_MM)
    last = min(len(steps) - int(_AFTER_MM[1] / _STEP_MM), first + reach)
    for i in range(last, max(first - reach, 0), -1):
        if departs[i] > _CHANGE:
            quiet = departs[i + 3 : i + 23]
            return i if clear[i : i + 9].all() and float(np.quantile(quiet, 0.9)) < _QUIET else None
    return None


def _following(values: Floats) -> Floats:
    """Mean of each step's next centimetre, (steps, n)."""
    total = np.vstack([np.zeros(values.shape[1]), np.cumsum(values, axis=0)])
    index = np.arange(len(values))
    low = np.minimum(index + int(_AFTER_MM[0] / _STEP_MM), len(values) - 1)
    high = np.minimum(index + int(_AFTER_MM[1] / _STEP_MM), len(values))
    return np.asarray((total[high] - total[low]) / np.maximum(high - low, 1)[:, None])


def cell_at(flat: Flat, mm: Floats) -> tuple[int, int]:
    """Row and column of the flat picture at a place of the sheet."""
    column, row = np.rint(flat.to_px(mm[None])[0]).astype(int)
    height, width = flat.seen.shape
    return int(np.clip(row, 0, height - 1)), int(np.clip(column, 0, width - 1))


def _centred(photo: Photo, plane: Plane, ends_mm: Floats, width: float) -> Floats:
    """Lay a bar's line on the middle of what is seen near its foot, all the way it was seen."""
    axis = ends_mm[1] - ends_mm[0]
    length = float(np.hypot(*axis))
    axis = axis / length
    normal = np.array([-axis[1], axis[0]])
    steps = np.arange(2.0, min(length, _LINE_MM), 1.0)
    reach = width / 2 + 3.0
    aside = np.arange(-reach, reach + 0.2, 0.4)
    raw = _colours(photo, plane, ends_mm[0], axis, steps, aside).reshape(len(steps), -1)
    colours = np.asarray(cv2.blur(raw, (1, 5))).reshape(len(steps), len(aside), 3)
    left, right = colours[:, :4].mean(axis=1), colours[:, -4:].mean(axis=1)
    share = np.linspace(0, 1, len(aside))[None, :, None]
    over = np.abs(colours - (1 - share) * left[:, None] - share * right[:, None]).sum(axis=2)
    weight = np.maximum(over - 0.4 * over.max(axis=1, keepdims=True), 0) ** 2
    trust = weight.sum(axis=1)
    middle = (weight * aside).sum(axis=1) / np.maximum(trust, 1e-6)
    # A straight line through the middles, by reweighted least squares; it may turn by 2 degrees.
    row = np.column_stack([np.ones(len(steps)), steps])
    prior = np.diag([0.0, 1 / _TURN**2])
    fit = np.zeros(2)
    for _ in range(4):
        off = middle - row @ fit
        w = (trust > 0.2 * np.median(trust)) / (1 + (off / 0.6) ** 2)
        normal_matrix = (row * w[:, None]).T @ row / 0.6**2 + prior + 1e-6 * np.eye(2)
        fit = np.linalg.solve(normal_matrix, (row * w[:, None]).T @ middle / 0.6**2)
    return np.array(
        [ends_mm[0] + fit[0] * normal, ends_mm[1] + (fit[0] + fit[1] * length) * normal]
    )


def _colours(
    photo: Photo, plane: Plane, start: Floats, axis: Floats, steps: Floats, aside: Floats
) -> Floats:
    """Read the photo on a strip, (steps, aside, 3), from places a few mm apart at first."""
    normal = np.array([-axis[1], axis[0]])
    few = np.arange(steps[0], steps[-1] + _COARSE_MM, _COARSE_MM)
    edges = start + few[:, None, None] * axis + aside[[0, -1], None] * normal
    px = plane.to_px(edges.reshape(-1, 2)).reshape(len(few), 4)
    along = np.column_stack([np.interp(steps, few, column) for column in px.T])
    share = (aside - aside[0]) / (aside[-1] - aside[0])
    u, v = (
        (along[:, k, None] * (1 - share) + along[:, k + 2, None] * share).astype(np.float32)
        for k in (0, 1)
    )
    out: Any = cv2.remap(photo.rgb, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(out.astype(np.float32))


@dataclass(frozen=True)
class _Strip:
    """Colours on a line, step by step."""

    over: Floats  # (steps, across, 3): what it has over the sheet, in standard deviations
    seen: Floats  # (steps, 3): mean across
    sheet: Floats  # (steps, 3): the same of the sheet beside it
    inner: Floats  # (steps, few, 3): its middle, which no neighbour reaches


def _strip(
    photo: Photo, plane: Plane, foot: Floats, axis: Floats, steps: Floats, width: float
) -> _Strip:
    native = float(plane.mm_per_px(foot[None])[0])
    across = int(np.clip(round(0.9 * width / native), 3, 11))
    inner = np.linspace(-0.42, 0.42, across) * width
    beside = width / 2 + _MARGIN_MM + np.linspace(0, _SIDE_MM, _BESIDE)
    aside = np.concatenate([-beside[::-1], inner, beside])
    raw = _colours(photo, plane, foot, axis, steps, aside).reshape(len(steps), -1)
    # A window along the line: what is on it lies along it, print and noise do not.
    colours = np.asarray(cv2.blur(raw, (1, _WINDOW))).reshape(len(steps), len(aside), 3)
    left, right = colours[:, :_BESIDE], colours[:, -_BESIDE:]
    seen = colours[:, _BESIDE:-_BESIDE]
    from_left, from_right = np.median(left, axis=1), np.median(right, axis=1)
    # Where print or a shadow parts the two sides, all between them may be the sheet.
    low, high = np.minimum(from_left, from_right), np.maximum(from_left, from_right)
    over = seen - np.clip(seen, low[:, None], high[:, None])
    scatter = np.concatenate([left - from_left[:, None], right - from_right[:, None]], axis=1)
    noise = 1.4826 * np.median(np.abs(scatter), axis=(0, 1)) + 0.7
    middle = seen[:, np.abs(inner) < _MIDDLE * width]
    return _Strip(over / noise, seen.mean(axis=1), (from_left + from_right) / 2, middle)


def _agreement(over: Floats) -> Floats:
    """Agree each step with the centimetre after it: one standard deviation by chance, (steps,)."""
    flat = over.reshape(len(over), -1)
    after = _following(flat)
    size = np.sqrt((after**2).sum(axis=1)) + 1.0
    return np.asarray((flat * after).sum(axis=1) / size / _CORRELATED)


def _look(strip: _Strip, body: np.ndarray) -> tuple[float, float]:
    """How much light the body takes away, and how far its colours are from the sheet's own."""
    seen, sheet = strip.seen[body], strip.sheet[body]
    share = (seen * sheet).sum() / max(float((sheet * sheet).sum()), 1.0)
    off = np.abs(seen - share * sheet).mean()
    return float(1 - share), float(off / max(float(sheet.mean()), 1.0))
