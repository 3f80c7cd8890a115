"""Scale from a ten-zone ring face: every zone edge that is seen, under one plane.

The face is found by its colours (yellow inside red inside blue), then its edges are measured from
the middle outwards, each pass placing the next ring better than the last. In the end thin
dividing lines and the edge between black and white carry the scale; the edges that have a line
printed beside them only where the lines are too faint to see.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np

from groupscan.errors import MarksError
from groupscan.photo.marks.upright import paper_turn
from groupscan.photo.plane import Floats, Marks, Plane, fit_plane
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import Sheet, load_catalogue

__all__ = ["find", "resized"]

#: Longest side of the picture that the face is looked for in, px.
_COARSE = 1000
#: Hue ranges of the three coloured zones in OpenCV's half degrees, wide enough for lamp light and
#: for blue shade; and the least saturation and value. Found on renders and prints, no source.
_HUES = {"yellow": ((16, 40),), "red": ((0, 14), (166, 180)), "blue": ((88, 128),)}
_LEAST_SATURATION, _LEAST_VALUE = 70, 35


#: Radius that a face of unknown size is measured with, mm.
_UNKNOWN_RADIUS = 400.0
#: How far a paper's half width may differ from the usual one, in radii of the face.
_MARGIN_SLACK = 0.004


@dataclass(frozen=True)
class _Feature:
    """An edge or line to measure: its radius in zone widths and what is seen there."""

    radius: float
    kind: str  # "edge": colour changes; "dark", "light": a thin line
    inset: float  # in line widths, how far inside the radius its middle lies


#: Zone widths from the centre: yellow to 2, red to 4, blue to 6, black to 8, white to 10.
#: Where a line is printed beside a colour edge, the step lies somewhere over the line's width.
_EDGES = (
    _Feature(2, "edge", 0.4),
    _Feature(4, "edge", 0.4),
    _Feature(6, "edge", 0.6),
    _Feature(8, "edge", 0.0),
)
_LINES = (
    _Feature(1, "dark", 0.5),
    _Feature(3, "dark", 0.5),
    _Feature(5, "dark", 0.5),
    _Feature(7, "light", 0.5),
    _Feature(9, "dark", 0.5),
    _Feature(10, "dark", 0.5),
)
_FINE = (*_LINES, _EDGES[3])


def find(photo: Photo, *, sheet: Sheet | None = None) -> Marks | None:
    """Find a ten-zone ring face and measure its zone edges.

    Parameters
    ----------
    photo : Photo
    sheet : Sheet, optional
        The face, where the person says which. The four sizes look alike: without it the marks
        are those of a face of 400 mm radius, and their `sheet` is a guess from the paper's margin
        or None. `resized` makes them those of another face.

    Returns
    -------
    Marks or None
        None where no face is in view.

    Raises
    ------
    MarksError
        If a face is in view but too little of it can be measured.

    Notes
    -----
    Sizes: each zone is a twentieth of the face's diameter wide, dividing lines lie inside the
    higher zone, and there is none between black and white (World Archery target faces, as
    restated in FFTA, Reglements sportifs et arbitrage, 2022, II.1 art. B.2.1).
    """
    if sheet is not None and not _is_ten_zone(sheet):
        return None
    face = _find_face(photo)
    if face is None:
        return None
    start, notes = face
    zone_mm = (sheet.rings[0].radius_mm if sheet else _UNKNOWN_RADIUS) / 10
    plane, marks = _measure(photo, start @ np.diag([1 / zone_mm, 1 / zone_mm, 1.0]), zone_mm)
    turn = paper_turn(photo, plane, inner_mm=10.1 * zone_mm, outer_mm=14 * zone_mm)
    plane = plane.turned(turn.angle_rad)
    half = [size for size in turn.half_sizes_mm if np.isfinite(size)]
    guess = _by_margin(half, 10 * zone_mm) if sheet is None else sheet.id
    return Marks(
        source="rings",
        sheet=guess,
        circles_px=marks.circles_px,
        circles_radius_mm=marks.circles_radius_mm,
        circles_inset=marks.circles_inset,
        circles_centre_mm=marks.circles_centre_mm,
        circles_se_px=marks.circles_se_px,
        start=plane.homography,
        start_k1=plane.k1,
        turn_se_rad=turn.se_rad,
        notes=(*notes, *turn.notes),
    )


def resized(marks: Marks, sheet: Sheet) -> Marks:
    """Take marks that were found without knowing the face's size for those of one face.

    Parameters
    ----------
    marks : Marks
        As `find` gave them without a sheet.
    sheet : Sheet
        A ring face.

    Returns
    -------
    Marks
    """
    factor = sheet.rings[0].radius_mm / _UNKNOWN_RADIUS
    start = marks.start if marks.start is None else marks.start @ np.diag([1 / factor] * 2 + [1.0])
    return replace(
        marks, sheet=sheet.id, circles_radius_mm=marks.circles_radius_mm * factor, start=start
    )


def _is_ten_zone(sheet: Sheet) -> bool:
    """Whether a sheet's rings are those of a ten-zone face, an inner ten or not."""
    radii = np.array(sorted({ring.radius_mm for ring in sheet.rings}))
    if len(radii) < 10:
        return False
    zones = radii[-10:] * 10 / radii[-1]
    return bool(np.allclose(zones, np.arange(1, 11), atol=0.05))


def _by_margin(half_sizes: list[float], radius: float) -> str | None:
    """Identify the face whose paper margin is like the one seen, if one is.

    The paper around the outer ring is of a usual size for each face (common practice, no source).
    """
    if len(half_sizes) < 2:
        return None
    seen = float(np.median(half_sizes)) / radius
    faces = [s for s in load_catalogue().values() if s.rings]
    away = [abs(s.width_mm / 2 / s.rings[0].radius_mm - seen) for s in faces]
    nearest = int(np.argmin(away))
    return faces[nearest].id if away[nearest] < _MARGIN_SLACK else None


def _find_face(photo: Photo) -> tuple[Floats, tuple[str, ...]] | None:
    """Homography from zone widths to pixels of the best face in view, up as in the photo."""
    height, width = photo.rgb.shape[:2]
    shrink = max(1.0, max(height, width) / _COARSE)
    size = (round(width / shrink), round(height / shrink))
    small = cv2.resize(photo.rgb, size, interpolation=cv2.INTER_LINEAR) if shrink > 1 else photo.rgb
    hsv = cv2.cvtColor(cv2.GaussianBlur(small, (0, 0), 1.0), cv2.COLOR_RGB2HSV)
    colours = {name: _colour_mask(hsv, name) for name in _HUES}
    yellow = cv2.morphologyEx(colours["yellow"], cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    count, labels, stats, centroids = cv2.connectedComponentsWithStats(yellow)
    found: list[tuple[float, float, Floats]] = []
    for i in range(1, count):
        area = float(stats[i, cv2.CC_STAT_AREA])
        if area < 60:
            continue
        x, y, w, h = stats[i, :4]
        m = cv2.moments((labels[y : y + h, x : x + w] == i).astype(np.uint8), binaryImage=True)
        spread = np.array([[m["mu20"], m["mu11"]], [m["mu11"], m["mu02"]]]) / m["m00"]
        values, vectors = np.linalg.eigh(spread)
        if values[0] <= 0 or values[1] / values[0] > 9:
            continue
        # A filled ellipse has variance (semi-axis)²/4 along each axis; yellow is two zones.
        linear = vectors @ np.diag(np.sqrt(values)) @ vectors.T
        score = _ring_score(colours, centroids[i], linear)
        if score > 0.35:
            found.append((score * area, area, _upright_affine(linear, centroids[i], shrink)))
    if not found:
        return None
    found.sort(key=lambda f: -f[0])
    notes: tuple[str, ...] = ()
    if len(found) > 1 and found[1][1] > 0.2 * found[0][1]:
        notes = ("Two faces are in view; the larger was read. Photograph one sheet at a time.",)
    return found[0][2], notes


def _colour_mask(hsv: np.ndarray, name: str) -> np.ndarray:
    mask: Any = np.zeros(hsv.shape[:2], np.uint8)
    for low, high in _HUES[name]:
        mask |= cv2.inRange(hsv, (low, _LEAST_SATURATION, _LEAST_VALUE), (high, 255, 255))
    return np.asarray(mask)


def _ring_score(colours: dict[str, np.ndarray], centre: Floats, linear: Floats) -> float:
    """Product of the shares of red and blue where a face around this yellow would have them."""
    turn = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    circle = np.column_stack([np.cos(turn), np.sin(turn)])
    share = 1.0
    for name, radius in (("yellow", 1.5), ("red", 2.5), ("red", 3.5), ("blue", 4.5), ("blue", 5.5)):
        at = np.rint(centre + radius * circle @ linear.T).astype(int)
        mask = colours[name]
        inside = (at >= 0).all(1) & (at[:, 0] < mask.shape[1]) & (at[:, 1] < mask.shape[0])
        if inside.sum() < 24:
            return 0.0
        share *= float((mask[at[inside, 1], at[inside, 0]] > 0).mean())
    return float(share ** (1 / 5))


def _upright_affine(linear: Floats, centre: Floats, shrink: float) -> Floats:
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


def _measure(photo: Photo, start: Floats, zone_mm: float) -> tuple[Plane, Marks]:
    """Measure edges from the middle outwards, then lines, refining the plane each time."""
    size = (photo.rgb.shape[1], photo.rgb.shape[0])
    passes = [
        # edges, half window in zones, rays, lens
        (_EDGES[:2], 0.6, 60, False),
        (_EDGES[:3], 0.5, 60, False),
        (_EDGES, 0.4, 90, True),
    ]
    plane = None
    homography = start
    for features, window, rays, lens in passes:
        marks = _edge_marks(photo, homography, plane, features, window, rays, zone_mm)
        if len(marks.circles_px) < 40:
            msg = "a ring face is in view, but too little of it: photograph the whole sheet"
            raise MarksError(msg)
        plane = fit_plane(marks, image_size=size, focal_px=photo.focal_px, lens=lens)
        homography = plane.homography
    assert plane is not None
    for window, rays in ((0.2, 90), (0.1, 180)):
        marks = _edge_marks(photo, homography, plane, _FINE, window, rays, zone_mm)
        if len(set(np.round(marks.circles_radius_mm / zone_mm))) < 4:
            # Lines too faint to see: the edges beside them, in doubt by part of a line's width.
            edges = _edge_marks(photo, homography, plane, _EDGES[:3], window, rays, zone_mm)
            marks = _joined(marks, edges, plane)
        plane = fit_plane(marks, image_size=size, focal_px=photo.focal_px)
        homography = plane.homography
    return plane, marks


def _joined(lines: Marks, edges: Marks, plane: Plane) -> Marks:
    """Lines, and edges with the doubt that the lines printed beside them bring."""
    doubt = 0.3 * max(plane.line_width_mm, 0.2) / float(plane.mm_per_px()[0])
    return replace(
        lines,
        circles_px=np.vstack([lines.circles_px, edges.circles_px]),
        circles_radius_mm=np.append(lines.circles_radius_mm, edges.circles_radius_mm),
        circles_inset=np.append(lines.circles_inset, edges.circles_inset),
        circles_centre_mm=np.vstack([lines.circles_centre_mm, edges.circles_centre_mm]),
        circles_se_px=np.append(lines.circles_se_px, np.hypot(edges.circles_se_px, doubt)),
    )


def _edge_marks(
    photo: Photo,
    homography: Floats,
    plane: Plane | None,
    features: tuple[_Feature, ...],
    window: float,
    rays: int,
    zone_mm: float,
) -> Marks:
    """Points on each feature, where it stands out from the picture's own roughness."""
    if plane is None:
        plane = _bare_plane(homography, photo)
    colours = _zone_colours(photo, plane, zone_mm)
    parts = []
    for feature in features:
        px, se = _measure_feature(photo, plane, feature, window, rays, zone_mm, colours)
        parts.append((feature, px, se))
    px = np.vstack([p for _, p, _ in parts])
    return Marks(
        source="rings",
        start=homography,
        start_k1=plane.k1,
        circles_px=px,
        circles_radius_mm=np.concatenate(
            [np.full(len(p), f.radius * zone_mm) for f, p, _ in parts]
        ),
        circles_inset=np.concatenate([np.full(len(p), f.inset) for f, p, _ in parts]),
        circles_centre_mm=np.zeros((len(px), 2)),
        circles_se_px=np.concatenate([s for _, _, s in parts]),
    )


def _bare_plane(homography: Floats, photo: Photo) -> Plane:
    size = (photo.rgb.shape[1], photo.rgb.shape[0])
    focal = photo.focal_px or float(max(size))
    return Plane(homography, 0.0, focal, size, np.zeros((9, 9)), 0.0, 1.0, 0.6, "rings")


def _zone_colours(photo: Photo, plane: Plane, zone_mm: float) -> Floats:
    """Median colour of the five coloured bands, yellow first, (5, 3) in the photo's own units."""
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    out = []
    for band in range(5):
        radius = np.array([2 * band + 0.5, 2 * band + 1.5]) * zone_mm
        mm = (radius[:, None, None] * np.stack([np.cos(turn), np.sin(turn)], -1)).reshape(-1, 2)
        values, inside = _sample(photo.rgb, plane.to_px(mm))
        out.append(np.median(values[inside], axis=0) if inside.any() else np.full(3, 128.0))
    return np.array(out)


def _measure_feature(
    photo: Photo,
    plane: Plane,
    feature: _Feature,
    window: float,
    rays: int,
    zone_mm: float,
    colours: Floats,
) -> tuple[Floats, Floats]:
    """Where rays from the centre cross a feature, (k, 2) px, and the error along the ray, px."""
    turn = np.linspace(0, 2 * np.pi, rays, endpoint=False)
    along = np.stack([np.cos(turn), np.sin(turn)], -1)
    middle = (feature.radius * zone_mm - feature.inset * plane.line_width_mm) * along
    px_per_mm = 1.0 / float(np.median(plane.mm_per_px(middle)))
    # Room beside a line to tell its noise from, where zones are few pixels wide.
    window = max(window, min(0.45, 8.0 / (zone_mm * px_per_mm)))
    # One sample a pixel, at least nine and at most 160 over the window.
    count = int(np.clip(2 * window * zone_mm * px_per_mm, 9, 160))
    offset = np.linspace(-window, window, count) * zone_mm
    mm = middle[:, None, :] + offset[None, :, None] * along[:, None, :]
    px = plane.to_px(mm.reshape(-1, 2))
    values, inside = _sample(photo.rgb, px)
    profile = values.reshape(rays, count, 3)
    whole = inside.reshape(rays, count).all(axis=1)
    step_px = (offset[1] - offset[0]) * px_per_mm
    if feature.kind == "edge":
        band = int(feature.radius) // 2
        across = colours[band] - colours[band - 1]
        signal = profile @ (across / max(float(np.linalg.norm(across)), 1e-6))
        response = _derivative(signal, max(1.0, 1.0 / step_px))
    else:
        signal = profile.sum(axis=2) * (1.0 if feature.kind == "light" else -1.0)
        # A line one or two pixels wide: second derivative at about its own width.
        sigma = max(1.0, 0.5 * max(plane.line_width_mm, 0.4) * px_per_mm / step_px)
        response = _second_derivative(signal, sigma)
    margin = 2
    inner = response[:, margin:-margin]
    best = np.argmax(inner, axis=1) + margin
    row = np.arange(rays)
    before, peak, after = response[row, best - 1], response[row, best], response[row, best + 1]
    bend = np.minimum(before - 2 * peak + after, -1e-9)
    shift = np.clip(0.5 * (before - after) / bend, -1, 1)
    noise = 1.4826 * np.median(np.abs(response - np.median(response, axis=1)[:, None]), axis=1)
    keep = (
        whole
        & (peak > 5 * noise + 1e-6)
        & (peak > 0.25 * np.median(peak[whole] if whole.any() else peak))
    )
    at = offset[best] + shift * (offset[1] - offset[0])
    place = plane.to_px(middle + at[:, None] * along)
    error = np.full(rays, 0.35) * max(1.0, step_px)
    return place[keep], error[keep]


def _sample(rgb: np.ndarray, px: Floats) -> tuple[Floats, np.ndarray]:
    """Colours at places, bilinear, (n, 3); and whether each place lies inside the photo."""
    height, width = rgb.shape[:2]
    inside = (px[:, 0] >= 0) & (px[:, 1] >= 0) & (px[:, 0] <= width - 1) & (px[:, 1] <= height - 1)
    # remap takes maps of fewer than 32768 rows; one row of blocks keeps any count in bounds.
    columns = 4096
    rows = -(-len(px) // columns)
    padded = np.zeros((rows * columns, 2), np.float32)
    padded[: len(px)] = px
    maps = padded.reshape(rows, columns, 2)
    out = cv2.remap(
        rgb, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return out.reshape(-1, 3)[: len(px)].astype(float), inside


def _derivative(signal: Floats, sigma: float) -> Floats:
    return _convolve(signal, _gauss(sigma, 1))


def _second_derivative(signal: Floats, sigma: float) -> Floats:
    return -_convolve(signal, _gauss(sigma, 2))


def _gauss(sigma: float, order: int) -> Floats:
    reach = int(np.ceil(3 * sigma))
    x = np.arange(-reach, reach + 1.0)
    g = np.exp(-0.5 * (x / sigma) ** 2)
    g /= g.sum()
    if order == 1:
        return x / sigma**2 * g
    kernel = (x**2 / sigma**4 - 1 / sigma**2) * g
    return np.asarray(kernel - kernel.mean())


def _convolve(signal: Floats, kernel: Floats) -> Floats:
    return np.asarray(
        cv2.filter2D(
            signal.astype(np.float32), -1, kernel[None, :], borderType=cv2.BORDER_REPLICATE
        ),
        float,
    )
