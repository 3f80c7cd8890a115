"""Where the edges and dividing lines of a ten-zone face are seen, its plane known roughly."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.errors import MarksError
from groupscan.photo.marks.bands import Bands, sample, see_bands
from groupscan.photo.plane import Floats, Marks, Plane, fit_plane
from groupscan.photo.reading import Photo

__all__ = ["Zones", "measure_zones"]


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
#: Passes from the middle outwards, and those that close in on the lines: features, half window in
#: zone widths, rays.
_OUTWARDS = ((_EDGES[:2], 0.6, 60), (_EDGES[:3], 0.5, 60), (_EDGES, 0.4, 90))
_INWARDS = ((0.2, 60), (0.1, 180))
#: Share of the crossings that are nearly all.
_NEARLY_ALL = 0.75


@dataclass(frozen=True)
class Zones:
    """A face whose zones are measured.

    Attributes
    ----------
    plane : Plane
        With the photo's up as it was at the start.
    marks : Marks
        Points on circles, that the plane was fitted to.
    white : (3,) array
        How the photo shows the outermost zones.
    covered : float
        Share of the rays from the centre, inside the photo, on which something hides the zones.
    """

    plane: Plane
    marks: Marks
    white: Floats
    covered: float


def measure_zones(photo: Photo, start: Floats, zone_mm: float) -> Zones:
    """Measure edges from the middle outwards, then lines, refining the plane each time.

    Parameters
    ----------
    photo : Photo
    start : (3, 3) array
        Homography from sheet mm to pixels, good enough for the yellow zones.
    zone_mm : float
        Width of a zone, mm.

    Returns
    -------
    Zones

    Raises
    ------
    MarksError
        If too little of the face can be measured.
    """
    plane = _bare_plane(start, photo)
    # From the middle outwards; where nearly all was seen, the next pass but one is near enough.
    reached = False
    for features, window, rays in _OUTWARDS:
        if reached and features is not _EDGES:
            continue
        marks = _edge_marks(photo, plane, features, window, rays, zone_mm)
        count = len(marks.circles_px)
        if count < 40:
            msg = "a ring face is in view, but too little of it: photograph the whole sheet"
            raise MarksError(msg)
        lens = features is _EDGES
        plane = fit_plane(marks, image_size=photo.size, focal_px=photo.focal_px, lens=lens)
        reached = count > _NEARLY_ALL * rays * len(features)
    for window, rays in _INWARDS:
        marks = _edge_marks(photo, plane, _FINE, window, rays, zone_mm)
        if len(set(np.round(marks.circles_radius_mm / zone_mm))) < 4:
            # Lines too faint to see: the edges beside them, in doubt by part of a line's width.
            edges = _edge_marks(photo, plane, _EDGES[:3], window, rays, zone_mm)
            marks = _joined(marks, edges, plane)
        plane = fit_plane(marks, image_size=photo.size, focal_px=photo.focal_px)
    bands = see_bands(photo, plane, zone_mm=zone_mm, rays=90)
    hidden = ~np.asarray(bands.visible.all(axis=0))[bands.there]
    return Zones(plane, marks, bands.colours[4], float(hidden.mean()) if len(hidden) else 0.0)


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
    plane: Plane,
    features: tuple[_Feature, ...],
    window: float,
    rays: int,
    zone_mm: float,
) -> Marks:
    """Points on each feature, where it stands out from the picture's own roughness."""
    bands = see_bands(photo, plane, zone_mm=zone_mm, rays=rays)
    parts = [
        _measure(photo, plane, alike, window, bands, zone_mm)
        for alike in (
            [f for f in features if f.kind == "edge"],
            [f for f in features if f.kind != "edge"],
        )
        if alike
    ]
    px, radius, inset, se = (np.concatenate(each) for each in zip(*parts, strict=True))
    return Marks(
        source="rings",
        start=plane.homography,
        start_k1=plane.k1,
        circles_px=px,
        circles_radius_mm=radius,
        circles_inset=inset,
        circles_centre_mm=np.zeros((len(px), 2)),
        circles_se_px=se,
    )


def _bare_plane(homography: Floats, photo: Photo) -> Plane:
    size = (photo.rgb.shape[1], photo.rgb.shape[0])
    focal = photo.focal_px or float(max(size))
    return Plane(homography, 0.0, focal, size, np.zeros((9, 9)), 0.0, 1.0, 0.6, "rings")


def _measure(
    photo: Photo,
    plane: Plane,
    features: list[_Feature],
    window: float,
    bands: Bands,
    zone_mm: float,
) -> tuple[Floats, Floats, Floats, Floats]:
    """Where rays from the centre cross features of one kind, edges or lines.

    Returns the places, (k, 2) px; radius, mm, and inset of the feature that each is on; and the
    error along the ray, px. Rays are looked along where the face is visible.
    """
    shown = bands.visible[[min(int(np.ceil(f.radius / 2)), 4) - 1 for f in features]]
    rays = shown.shape[1]
    turn = np.linspace(0, 2 * np.pi, rays, endpoint=False)
    along = np.stack([np.cos(turn), np.sin(turn)], -1)
    radius = np.array([f.radius * zone_mm for f in features])
    inset = np.array([f.inset for f in features])
    middle = (radius - inset * plane.line_width_mm)[:, None, None] * along
    px_per_mm = 1.0 / float(np.median(plane.mm_per_px(middle[:, ::6].reshape(-1, 2))))
    # Room beside a line to tell its noise from, where zones are few pixels wide.
    window = max(window, min(0.45, 8.0 / (zone_mm * px_per_mm)))
    # One sample a pixel, at least nine and at most 160 over the window.
    count = int(np.clip(2 * window * zone_mm * px_per_mm, 9, 160))
    offset = np.linspace(-window, window, count) * zone_mm
    profile, whole = _profiles(photo, plane, middle, offset, along)
    whole = whole & shown
    step_px = (offset[1] - offset[0]) * px_per_mm
    if features[0].kind == "edge":
        band = np.array([int(f.radius) // 2 for f in features])
        across = bands.colours[band] - bands.colours[band - 1]
        across = across / np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-6)
        kernel = _gauss(max(1.0, 1.0 / step_px), 1)
    else:
        across = np.array([[1.0 if f.kind == "light" else -1.0] * 3 for f in features])
        # A line one or two pixels wide: second derivative at about its own width.
        sigma = max(1.0, 0.5 * max(plane.line_width_mm, 0.4) * px_per_mm / step_px)
        kernel = -_gauss(sigma, 2)
    signal = profile @ across.astype(np.float32)[:, :, None]
    response = _convolve(signal.reshape(-1, count), kernel)
    margin = 2
    best = np.argmax(response[:, margin:-margin], axis=1) + margin
    row = np.arange(len(best))
    before, peak, after = response[row, best - 1], response[row, best], response[row, best + 1]
    bend = np.minimum(before - 2 * peak + after, -1e-9)
    shift = np.clip(0.5 * (before - after) / bend, -1, 1)
    noise = 1.4826 * np.median(np.abs(response - np.median(response, axis=1)[:, None]), axis=1)
    peak = peak.reshape(shown.shape)
    usual = [np.median(p[w] if w.any() else p) for p, w in zip(peak, whole, strict=True)]
    keep = whole & (peak > 5 * noise.reshape(shown.shape) + 1e-6)
    keep &= peak > 0.25 * np.array(usual)[:, None]
    at = (offset[best] + shift * (offset[1] - offset[0])).reshape(shown.shape)
    which, ray = np.nonzero(keep)
    place = plane.to_px(middle[keep] + at[keep][:, None] * along[ray])
    return place, radius[which], inset[which], np.full(len(place), 0.35 * max(1.0, step_px))


def _profiles(
    photo: Photo, plane: Plane, middle: Floats, offset: Floats, along: Floats
) -> tuple[Floats, NDArray[np.bool_]]:
    """Colours (f, rays * count, 3) along rays, and which rays lie inside the photo (f, rays)."""
    # Along so short a way the view is a parabola: three places of each ray tell the others.
    three = middle[:, :, None] + (offset[-1] * np.array([-1.0, 0.0, 1.0]))[:, None] * along[:, None]
    nodes = plane.to_px(three.reshape(-1, 2)).reshape(*middle.shape[:2], 3, 2)
    t = offset / offset[-1]
    px = np.stack([t * (t - 1) / 2, 1 - t * t, t * (t + 1) / 2], -1) @ nodes
    values, inside = sample(photo.rgb, px.reshape(-1, 2))
    whole = inside.reshape(*middle.shape[:2], len(offset)).all(axis=2)
    return values.reshape(len(middle), -1, 3), np.asarray(whole)


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
        )
    )
