"""Where a ten-zone face lies in a photo, roughly: yellow inside red inside blue.

Half of a face is as good as a whole one here: what is looked for are the borders between the
coloured zones, and all of them together are fitted by circles about one centre, seen at a slant.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.photo.marks.circles import Border, fit_circles
from groupscan.photo.plane import Floats, Plane
from groupscan.photo.reading import Photo

__all__ = ["BANDS", "Spot", "classes", "spot_faces", "upright_affine"]

#: Longest side of the picture that the face is looked for in, px.
_COARSE = 1000
BANDS = ("yellow", "red", "blue")
"""The coloured zones, from the middle outwards; each is two zone widths wide."""
#: Their hue ranges in OpenCV's half degrees, wide enough for lamp light and for blue shade; and
#: the least value, and saturations to try: fresh ink has 200, straw and bare wood up to 140, faded
#: ink or ink in glare may have less than they. Found on renders and prints, no source.
_HUES = (((16, 40),), ((0, 14), (166, 180)), ((88, 128),))
_LEAST_VALUE, _SATURATIONS = 35, (140, 70)
#: Fewest pixels of yellow, and of each border, and most of each border that are looked at.
_LEAST_AREA, _LEAST_BORDER, _MOST_BORDER = 60, 12, 4000
#: Borders lie within two pixels of the colours on both their sides.
_AROUND = np.ones((5, 5), np.uint8)
#: Patches of yellow that are tried.
_MOST_PATCHES = 4
#: Where the zones' colours are looked for, zone widths from the centre, and which they are.
_RADII, _COLOURS = np.array([1.5, 2.5, 3.5, 4.5, 5.5]), np.array([0, 1, 1, 2, 2])
#: Share of all directions from the centre that must show all colours in their order, at first and
#: once the plane is known: of faces half in view 0.46 and more do, of gaudy walls none (renders).
_LEAST_ROUGH, _LEAST_SHOWN = 0.15, 0.25
#: The zones of a face seen near and at a slant are wider on one side, by up to this.
_WIDER = (0.85, 1.0, 1.15)
_TURN = np.linspace(0, 2 * np.pi, 72, endpoint=False)
_CIRCLE = np.column_stack([np.cos(_TURN), np.sin(_TURN)])


@dataclass(frozen=True, eq=False)
class Spot:
    """Where a face may be.

    Attributes
    ----------
    start : (3, 3) array
        Homography from zone widths to pixels, up as in the photo.
    area : float
        How large a square zone width is in the reduced picture, px.
    colours : (3, h, w) bool array
        Where the reduced picture is yellow, red and blue.
    shrink : float
        Pixels of the photo for one of the reduced picture.
    """

    start: Floats
    area: float
    colours: NDArray[np.bool_]
    shrink: float

    def is_face(self, plane: Plane, zone_mm: float) -> bool:
        """Whether the colours stand in their order about the centre of a plane."""
        mm = (_RADII[:, None, None] * zone_mm * _CIRCLE).reshape(-1, 2)
        at = (plane.to_px(mm) + 0.5) / self.shrink - 0.5
        shown = _shown(self.colours, at.reshape(len(_RADII), -1, 2))
        return bool(shown.mean() > _LEAST_SHOWN)


def spot_faces(photo: Photo) -> list[Spot]:
    """Find what may be ten-zone faces, the largest first.

    Parameters
    ----------
    photo : Photo

    Returns
    -------
    list of Spot
        Empty where no face is in view.

    Notes
    -----
    A circle of radius r about the origin, seen at a slant from afar, is a conic q(x, y) = r² of
    which all but the right side is the same for all r. So the borders of yellow and red (r = 2)
    and of red and blue (r = 4) together are a linear least-squares problem in six unknowns, which
    arcs of a half turn determine well where each ellipse by itself would not be.
    """
    height, width = photo.rgb.shape[:2]
    shrink = max(1.0, max(height, width) / _COARSE)
    size = (round(width / shrink), round(height / shrink))
    small = cv2.resize(photo.rgb, size, interpolation=cv2.INTER_LINEAR) if shrink > 1 else photo.rgb
    hsv = cv2.cvtColor(cv2.GaussianBlur(small, (0, 0), 1.0), cv2.COLOR_RGB2HSV)
    faint = _classes(hsv, _SATURATIONS[-1])
    if min(cv2.countNonZero(border) for border in _touching(faint)) < _LEAST_BORDER:
        return []
    for saturation in _SATURATIONS:
        colours = faint & (hsv[..., 1] >= saturation)
        spots = _spots(small, colours, shrink)
        if spots:
            return spots
    return []


def _spots(small: Any, colours: NDArray[np.bool_], shrink: float) -> list[Spot]:
    found = []
    for border in _borders(small, colours):
        fit = fit_circles(border)
        if fit is None:
            continue
        linear, centre = fit
        rays = linear @ (_RADII[:, None, None] * _CIRCLE)[..., None]
        seen = [_shown(colours, centre + wide * rays[..., 0]) for wide in _WIDER]
        if np.any(seen, axis=0).mean() > _LEAST_ROUGH:
            area = float(np.linalg.det(linear))
            found.append(Spot(upright_affine(linear, centre, shrink), area, colours, shrink))
    return _apart(sorted(found, key=lambda spot: -spot.area))


def classes(rgb: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Tell where an (h, w, 3) picture is yellow, red or blue, (3, h, w)."""
    return _classes(cv2.cvtColor(rgb, cv2.COLOR_RGB2HSV), _SATURATIONS[-1])


def _classes(hsv: Any, saturation: int) -> NDArray[np.bool_]:
    out = []
    for ranges in _HUES:
        mask: Any = np.zeros(hsv.shape[:2], np.uint8)
        for low, high in ranges:
            mask |= cv2.inRange(hsv, (low, saturation, _LEAST_VALUE), (high, 255, 255))
        out.append(mask > 0)
    return np.array(out)


def _touching(colours: NDArray[np.bool_]) -> list[Any]:
    """Where yellow and red, and where red and blue, are at most five pixels apart."""
    wide: list[Any] = [cv2.dilate(mask.view(np.uint8), _AROUND) for mask in colours]
    return [wide[k] & wide[k + 1] for k in range(2)]


def _borders(small: Any, colours: NDArray[np.bool_]) -> list[Border]:
    """Borders about the patches of yellow that have most of them."""
    inner, outer = (_pixels(border) for border in _touching(colours))
    if min(len(inner), len(outer)) < _LEAST_BORDER:
        return []
    closed = cv2.morphologyEx(colours[0].view(np.uint8), cv2.MORPH_CLOSE, _AROUND)
    labels: Any = cv2.connectedComponents(closed)[1]
    reds: Any = cv2.connectedComponents(colours[1].view(np.uint8))[1]
    patch, red, outer_red = (
        _label(*pair) for pair in ((labels, inner), (reds, inner), (reds, outer))
    )
    # Yellow has much green and red has little; red has little blue, and blue little red.
    inner_out = _downhill(small, np.array([0.0, 1.0, 0.0]), inner)
    outer_out = _downhill(small, np.array([1.0, 0.0, -1.0]), outer)
    count = np.bincount(patch)
    count[0] = 0
    borders = []
    for k in np.argsort(-count)[:_MOST_PATCHES]:
        mine = np.flatnonzero(patch == k)
        theirs = np.flatnonzero(np.isin(outer_red, np.unique(red[mine])))
        if min(len(mine), len(theirs)) < _LEAST_BORDER or (labels == k).sum() < _LEAST_AREA:
            continue
        mine, theirs = mine[:: len(mine) // 400 + 1], theirs[:: len(theirs) // 400 + 1]
        borders.append(
            Border(
                np.vstack([inner[mine], outer[theirs]]).astype(float),
                np.vstack([inner_out[mine], outer_out[theirs]]),
                np.repeat([2.0, 4.0], [len(mine), len(theirs)]),
            )
        )
    return borders


def _pixels(mask: Any) -> NDArray[np.intp]:
    """Give the pixels (n, 2) of a mask, evenly thinned where they are many."""
    found: Any = cv2.findNonZero(mask)
    if found is None:
        return np.zeros((0, 2), np.intp)
    return np.asarray(found.reshape(-1, 2)[:: len(found) // _MOST_BORDER + 1], np.intp)


def _label(labels: Any, at: NDArray[np.intp]) -> NDArray[np.intp]:
    """Largest label within two pixels of each place: a border pixel lies so near its patch."""
    height, width = labels.shape
    found = np.zeros(len(at), np.intp)
    for dy in range(-2, 3):
        row = np.clip(at[:, 1] + dy, 0, height - 1) * width
        for dx in range(-2, 3):
            found = np.maximum(found, labels.ravel()[row + np.clip(at[:, 0] + dx, 0, width - 1)])
    return found


def _downhill(picture: Any, channels: Floats, at: NDArray[np.intp]) -> Floats:
    """Return unit vectors down the slope of a sum of a picture's channels at pixels, (n, 2)."""
    height, width = picture.shape[:2]
    x, y = at.T
    right, left = np.minimum(x + 2, width - 1), np.maximum(x - 2, 0)
    below, above = np.minimum(y + 2, height - 1), np.maximum(y - 2, 0)
    slope = np.column_stack(
        [
            picture[y, left] @ channels - picture[y, right] @ channels,
            picture[above, x] @ channels - picture[below, x] @ channels,
        ]
    )
    return np.asarray(slope / np.maximum(np.linalg.norm(slope, axis=1, keepdims=True), 1e-6))


def _shown(colours: NDArray[np.bool_], at: Floats) -> NDArray[np.bool_]:
    """In which directions all colours are seen where they should be; places are (5, n, 2)."""
    height, width = colours.shape[1:]
    at = np.rint(at).astype(int)
    inside = ((at >= 0) & (at < [width, height])).all(axis=-1)
    at = np.clip(at, 0, [width - 1, height - 1])
    right = colours[_COLOURS[:, None], at[..., 1], at[..., 0]] & inside
    return np.asarray(right.all(axis=0))


def _apart(spots: list[Spot]) -> list[Spot]:
    """Leave out spots that lie within a larger one."""
    kept: list[Spot] = []
    for spot in spots:
        middle = spot.start[:2, 2]
        if all(
            np.linalg.norm(np.linalg.solve(other.start[:2, :2], middle - other.start[:2, 2])) > 6
            for other in kept
        ):
            kept.append(spot)
    return kept


def upright_affine(linear: Floats, centre: Floats, shrink: float) -> Floats:
    """Affine map from zone widths to full-size pixels, with the photo's up for the sheet's."""
    full = linear * shrink
    # Of all rotations before the map, the one that sends (0, 1) to straight up in the photo.
    up = np.linalg.solve(full, np.array([0.0, -1.0]))
    up /= np.linalg.norm(up)
    rotation = np.array([[-up[1], up[0]], [up[0], up[1]]])
    out = np.eye(3)
    out[:2, :2] = full @ rotation
    out[:2, 2] = (centre + 0.5) * shrink - 0.5
    return out
