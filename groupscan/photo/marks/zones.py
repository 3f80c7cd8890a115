"""Where the edges and dividing lines of a ten-zone face are seen, its plane known roughly."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.errors import MarksError
from groupscan.photo.marks.bands import sample, see_bands
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
    bands = see_bands(photo, plane, zone_mm=zone_mm, rays=rays)
    parts = []
    for feature in features:
        shown = bands.visible[min(int(np.ceil(feature.radius / 2)), 4) - 1]
        px, se = _measure_feature(photo, plane, feature, window, shown, zone_mm, bands.colours)
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


def _measure_feature(
    photo: Photo,
    plane: Plane,
    feature: _Feature,
    window: float,
    shown: NDArray[np.bool_],
    zone_mm: float,
    colours: Floats,
) -> tuple[Floats, Floats]:
    """Where rays from the centre cross a feature, (k, 2) px, and the error along the ray, px.

    Rays are looked along where the face is `shown`, (rays,).
    """
    rays = len(shown)
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
    values, inside = sample(photo.rgb, px)
    profile = values.reshape(rays, count, 3)
    whole = inside.reshape(rays, count).all(axis=1) & shown
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
