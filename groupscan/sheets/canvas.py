"""A picture that shapes in millimetres are painted on, anti-aliased, in linear light."""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from groupscan.sheets.glyphs import font_of_size, marker_cells, text_advances
from groupscan.sheets.shapes import Disc, Fiducial, Polygon, Shape, Sheet, Stroke, Words

__all__ = ["Canvas", "Picture", "artwork_homography"]

Picture: TypeAlias = NDArray[np.uint8]
_Floats: TypeAlias = NDArray[np.float32]

_SUB_ROWS = 16


def artwork_homography(sheet: Sheet, *, px_per_mm: float) -> NDArray[np.float64]:
    """Return the homography from sheet mm to pixels of `draw_artwork`.

    Parameters
    ----------
    sheet : Sheet
    px_per_mm : float

    Returns
    -------
    (3, 3) float array
        Pixel centres at integers, y down.

    Examples
    --------
    >>> from groupscan.sheets.catalogue import get_sheet
    >>> matrix = artwork_homography(get_sheet("plain-a4"), px_per_mm=2.0)
    >>> (matrix @ [-105.0, 148.5, 1.0]).tolist()
    [-0.5, -0.5, 1.0]
    """
    s = px_per_mm
    return np.array(
        [
            [s, 0.0, sheet.width_mm / 2 * s - 0.5],
            [0.0, -s, sheet.height_mm / 2 * s - 0.5],
            [0.0, 0.0, 1.0],
        ]
    )


def _to_linear(value: NDArray[np.float64]) -> NDArray[np.float64]:
    """SRGB in 0..1 to linear light (IEC 61966-2-1)."""
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def _from_linear(value: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.where(value <= 0.0031308, value * 12.92, 1.055 * value ** (1 / 2.4) - 0.055)


_LINEAR = _to_linear(np.arange(256) / 255).astype(np.float32)


def _rgb(colour: str) -> Picture:
    return np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)], dtype=np.uint8)


def _encode(linear: _Floats) -> Picture:
    clipped = np.clip(linear, 0.0, 1.0).astype(np.float64)
    return np.round(_from_linear(clipped) * 255).astype(np.uint8)


def _overlap(count: int, first: int, low: float, high: float) -> _Floats:
    """Share of each of `count` unit pixels, centred at first, first + 1, ..., in [low, high]."""
    centres = np.arange(first, first + count)
    share = np.minimum(centres + 0.5, high) - np.maximum(centres - 0.5, low)
    clipped: _Floats = np.clip(share, 0.0, 1.0).astype(np.float32)
    return clipped


def _disc_cover(distance: _Floats, radius: float) -> _Floats:
    """Cover a disc by a ramp of one pixel at its edge.

    The ramp's own area, pi / 12 square pixels, is taken off the radius, so that a small disc keeps
    its area.
    """
    kept = math.sqrt(max(radius * radius - 1 / 12, 0.0))
    cover: _Floats = np.clip(np.float32(kept + 0.5) - distance, 0.0, 1.0)
    return cover


class Canvas:
    """An 8-bit picture that shapes are painted on, one after the other."""

    def __init__(self, sheet: Sheet, width: int, height: int, scale: float) -> None:
        self.scale = scale
        self.picture: Picture = np.empty((height, width, 3), np.uint8)
        self.picture[:] = _rgb(sheet.paper)
        self.matrix = artwork_homography(sheet, px_per_mm=scale)

    def px(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Return the pixel at a point of the sheet."""
        x = self.matrix[0, 0] * x_mm + self.matrix[0, 2]
        y = self.matrix[1, 1] * y_mm + self.matrix[1, 2]
        return float(x), float(y)

    def window(
        self, x0: float, y0: float, x1: float, y1: float
    ) -> tuple[int, int, int, int] | None:
        """Pixels (left, top, width, height) that a shape can touch, cut to the picture."""
        height, width = self.picture.shape[:2]
        left, top = max(0, math.floor(min(x0, x1))), max(0, math.floor(min(y0, y1)))
        right = min(width, math.ceil(max(x0, x1)) + 1)
        bottom = min(height, math.ceil(max(y0, y1)) + 1)
        if left >= right or top >= bottom:
            return None
        return left, top, right - left, bottom - top

    def paint(self, left: int, top: int, cover: _Floats, colour: str) -> None:
        """Lay a colour over the window by covered area, in linear light."""
        height, width = cover.shape
        target = self.picture[top : top + height, left : left + width]
        rgb = _rgb(colour)
        target[cover >= 1.0] = rgb
        edge = (cover > 0.0) & (cover < 1.0)
        share = cover[edge][:, None]
        target[edge] = _encode(_LINEAR[target[edge]] * (1 - share) + _LINEAR[rgb] * share)

    def shape(self, shape: Shape) -> None:
        """Paint any shape."""
        if isinstance(shape, Disc):
            self.disc(shape)
        elif isinstance(shape, Stroke):
            self.stroke(shape)
        elif isinstance(shape, Polygon):
            self.polygon(shape)
        else:
            self.words(shape)

    def rings(self, sheet: Sheet) -> None:
        """Paint all zones at once: their colour depends on the radius alone."""
        fine = 32
        outer = sheet.rings[0].radius_mm * self.scale
        r = np.arange(math.ceil((outer + 2) * fine)) / fine
        profile = np.empty((r.size, 3), np.float32)
        profile[:] = _LINEAR[_rgb(sheet.paper)]
        for ring in sheet.rings:
            edge = ring.radius_mm * self.scale
            layers = [(edge, ring.line)] if ring.line else []
            layers.append((edge - ring.line_width_mm * self.scale, ring.fill))
            for radius, colour in layers:
                share = np.clip(radius - r + 0.5, 0.0, 1.0)[:, None].astype(np.float32)
                profile = profile * (1 - share) + _LINEAR[_rgb(colour)] * share
        # Colours packed in one word each make the look-up several times quicker.
        packed = np.zeros((r.size, 4), np.uint8)
        packed[:, :3] = _encode(profile)
        table = packed.view(np.uint32)[:, 0]
        x, y = self.px(0.0, 0.0)
        height, width = self.picture.shape[:2]
        across = ((np.arange(width) - x) ** 2).astype(np.float32)
        for row in range(height):
            index = (np.sqrt(across + np.float32((row - y) ** 2)) * fine + 0.5).astype(np.int32)
            found = np.take(table, index, mode="clip")
            self.picture[row] = found.view(np.uint8).reshape(width, 4)[:, :3]

    def grid(self, sheet: Sheet, spacing: float) -> None:
        """Paint a square grid with a line through the centre each way."""
        half_w, half_h = sheet.width_mm / 2, sheet.height_mm / 2
        width, colour = sheet.grid_line_width_mm, sheet.grid_line
        for k in range(-int(half_w / spacing), int(half_w / spacing) + 1):
            self.stroke(Stroke(k * spacing, -half_h, k * spacing, half_h, width, colour))
        for k in range(-int(half_h / spacing), int(half_h / spacing) + 1):
            self.stroke(Stroke(-half_w, k * spacing, half_w, k * spacing, width, colour))

    def disc(self, disc: Disc) -> None:
        """Paint a disc, its line inside its edge."""
        x, y = self.px(disc.x_mm, disc.y_mm)
        radius = disc.radius_mm * self.scale
        window = self.window(x - radius - 1, y - radius - 1, x + radius + 1, y + radius + 1)
        if window is None:
            return
        left, top, width, height = window
        across = np.arange(left, left + width, dtype=np.float32) - np.float32(x)
        down = np.arange(top, top + height, dtype=np.float32) - np.float32(y)
        distance = np.hypot(across[None, :], down[:, None])
        inner = radius - (disc.line_width_mm * self.scale if disc.line else 0.0)
        whole = _disc_cover(distance, radius)
        if disc.fill:
            self.paint(left, top, whole, disc.fill)
        if disc.line:
            self.paint(left, top, whole - _disc_cover(distance, inner), disc.line)

    def stroke(self, stroke: Stroke) -> None:
        """Paint a straight line."""
        x0, y0 = self.px(stroke.x0_mm, stroke.y0_mm)
        x1, y1 = self.px(stroke.x1_mm, stroke.y1_mm)
        length = math.hypot(x1 - x0, y1 - y0)
        if length == 0:
            return
        half = stroke.width_mm * self.scale / 2
        reach = half + 1
        window = self.window(
            min(x0, x1) - reach, min(y0, y1) - reach, max(x0, x1) + reach, max(y0, y1) + reach
        )
        if window is None:
            return
        left, top, width, height = window
        ux, uy = (x1 - x0) / length, (y1 - y0) / length
        across = np.arange(left, left + width, dtype=np.float32)[None, :] - np.float32(x0)
        down = np.arange(top, top + height, dtype=np.float32)[:, None] - np.float32(y0)
        along = across * np.float32(ux) + down * np.float32(uy)
        aside = down * np.float32(ux) - across * np.float32(uy)
        cover = np.clip(np.minimum(aside + 0.5, half) - np.maximum(aside - 0.5, -half), 0.0, 1.0)
        cover *= np.clip(np.minimum(along + 0.5, length) - np.maximum(along - 0.5, 0.0), 0.0, 1.0)
        self.paint(left, top, cover.astype(np.float32), stroke.colour)

    def polygon(self, polygon: Polygon) -> None:
        """Paint a polygon."""
        corners = np.array([self.px(x, y) for x, y in polygon.corners_mm])
        (x0, y0), (x1, y1) = corners.min(axis=0) - 1, corners.max(axis=0) + 1
        window = self.window(x0, y0, x1, y1)
        if window is None:
            return
        left, top, width, height = window
        # Green's theorem on fine rows: each edge adds or takes away the area to its right.
        fine_y = top - 0.5 + (np.arange(height * _SUB_ROWS) + 0.5) / _SUB_ROWS
        right_edges = np.arange(left, left + width, dtype=np.float32) + np.float32(0.5)
        cover = np.zeros((height * _SUB_ROWS, width), np.float32)
        for (ax, ay), (bx, by) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            rows = np.flatnonzero((fine_y > min(ay, by)) & (fine_y <= max(ay, by)))
            x = ax + (fine_y[rows] - ay) * (bx - ax) / (by - ay) if rows.size else fine_y[rows]
            share = np.clip(right_edges - x[:, None].astype(np.float32), 0.0, 1.0)
            cover[rows] += share if by > ay else -share
        cover = np.abs(cover.reshape(height, _SUB_ROWS, width).mean(axis=1))
        cover[cover > 1 - 1e-5] = 1.0
        self.paint(left, top, cover, polygon.fill)

    def words(self, words: Words) -> None:
        """Set one line of print at four times the scale, glyph by glyph, then average."""
        from PIL import Image, ImageDraw

        fine = 4
        size = max(1, round(words.size_mm * self.scale * fine))
        advances = text_advances(words.text, bold=words.bold)
        em = words.size_mm * self.scale
        total = sum(advances) * em
        x, y = self.px(words.x_mm, words.y_mm)
        x -= {"left": 0.0, "middle": 0.5, "right": 1.0}[words.anchor] * total
        window = self.window(x - 0.2 * em, y - 1.1 * em, x + total + 0.2 * em, y + 0.4 * em)
        if window is None:
            return
        left, top, width, height = window
        mask = Image.new("L", (width * fine, height * fine))
        pen = ImageDraw.Draw(mask)
        font = font_of_size(size, words.bold)
        base = (y - top + 0.5) * fine
        for character, advance in zip(words.text, advances, strict=True):
            pen.text(((x - left + 0.5) * fine, base), character, fill=255, font=font, anchor="ls")
            x += advance * em
        fractions = np.asarray(mask, np.float32).reshape(height, fine, width, fine) / 255
        self.paint(left, top, fractions.mean(axis=(1, 3)), words.colour)

    def marker(self, marker: Fiducial) -> None:
        """Paint a marker, each cell by its covered area."""
        corners = marker.corners_mm
        x0, y0 = self.px(*corners[0])
        x1, y1 = self.px(*corners[2])
        window = self.window(x0 - 1, y0 - 1, x1 + 1, y1 + 1)
        if window is None:
            return
        left, top, width, height = window
        cells = marker_cells(marker.marker_id)
        count = len(cells)
        xs, ys = np.linspace(x0, x1, count + 1), np.linspace(y0, y1, count + 1)
        columns = np.stack([_overlap(width, left, xs[k], xs[k + 1]) for k in range(count)])
        rows = np.stack([_overlap(height, top, ys[k], ys[k + 1]) for k in range(count)])
        cover = rows.T @ cells.astype(np.float32) @ columns
        cover[cover > 1 - 1e-5] = 1.0
        self.paint(left, top, cover, "#000000")
