"""Arrows that still stand in the sheet: shaft, vanes and nock in perspective, and their shadow."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_targets.camera import Camera
from sample_targets.cover import polygon_cover
from sample_targets.light import Source

__all__ = ["Arrow", "arrow_shade", "draw_arrow", "hides", "outline_px"]

Floats = NDArray[np.float64]
Colour = tuple[float, float, float]


@dataclass(frozen=True)
class Arrow:
    """One arrow in the sheet.

    Attributes
    ----------
    foot_mm : (float, float, float)
        Where its axis meets the sheet, in space on sheet axes.
    along : (float, float, float)
        Unit vector from there to the nock.
    length_mm : float
        How far it stands out.
    shaft_mm : float
        Diameter.
    shaft, wrap, nock : colour
        Linear RGB.
    vanes : tuple of colour
    gloss : float
        Strength of the highlight.
    turn_rad : float
        Turn of the vanes about the axis.
    """

    foot_mm: tuple[float, float, float]
    along: tuple[float, float, float]
    length_mm: float
    shaft_mm: float
    shaft: Colour
    wrap: Colour
    nock: Colour
    vanes: tuple[Colour, ...]
    gloss: float
    turn_rad: float

    def axis(self, t_mm: Floats) -> Floats:
        """Return the points, (n, 3) mm, of the axis at distances from the sheet."""
        return np.asarray(self.foot_mm) + np.asarray(t_mm)[:, None] * np.asarray(self.along)

    def frame(self) -> tuple[Floats, Floats]:
        """Return two unit vectors across the axis."""
        along = np.asarray(self.along)
        one = np.cross(along, [0.0, 0.0, 1.0] if abs(along[2]) < 0.9 else [1.0, 0.0, 0.0])
        one /= np.linalg.norm(one)
        return one, np.cross(along, one)


def _edges(arrow: Arrow, camera: Camera, t_mm: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the axis in pixels, the unit vector across it there, and half the width there."""
    points = arrow.axis(t_mm)
    centre = camera.project(points)
    near = camera.project(arrow.axis(t_mm + 0.5)) - camera.project(arrow.axis(t_mm - 0.5))
    across = np.column_stack([-near[:, 1], near[:, 0]])
    across /= np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-12)
    depth = points @ camera.rotation[2] + camera.shift[2]
    return centre, across, camera.f_px * arrow.shaft_mm / 2 / depth


def outline_px(arrow: Arrow, camera: Camera) -> Floats:
    """Return the outline of the shaft in pixels, (n, 2)."""
    centre, across, half = _edges(arrow, camera, np.linspace(0, arrow.length_mm, 40))
    side = across * half[:, None]
    return np.concatenate([centre + side, (centre - side)[::-1]])


def hides(arrow: Arrow, camera: Camera, at_px: Floats) -> bool:
    """Tell whether the shaft or a vane covers a pixel."""
    parts = [outline_px(arrow, camera)] + [camera.project(v) for v in _vanes(arrow)]
    point = (float(at_px[0]), float(at_px[1]))
    return any(cv2.pointPolygonTest(p.astype(np.float32), point, False) >= 0 for p in parts)


def _vanes(arrow: Arrow) -> list[Floats]:
    """Return the outlines of the vanes in space, each (n, 3) mm."""
    one, two = arrow.frame()
    start, end = arrow.length_mm - 78.0, arrow.length_mm - 20.0
    u = np.linspace(0, 1, 14)
    high = 9.5 * np.clip(u / 0.75, 0, 1) ** 0.8 * np.where(u > 0.9, (1 - u) / 0.1 * 0.9 + 0.1, 1)
    found = []
    for k in range(len(arrow.vanes)):
        turn = arrow.turn_rad + 2 * np.pi * k / len(arrow.vanes)
        out = np.cos(turn) * one + np.sin(turn) * two
        root = arrow.axis(start + u * (end - start)) + out * arrow.shaft_mm / 2
        found.append(np.concatenate([root, (root + out * high[:, None])[::-1]]))
    return found


class _Brush:
    """Polygons painted on a picture in linear light, anti-aliased."""

    def __init__(self, picture: NDArray[np.float32]) -> None:
        self.picture = picture

    def fill(self, outline: Floats, colour: Floats, cover: float = 1.0) -> None:
        """Fill an outline in pixels with a colour, or mix it in."""
        found = polygon_cover(outline, self.picture.shape[:2])
        if found is not None:
            where, share = found
            share = cover * share[..., None]
            part = self.picture[where]
            self.picture[where] = part * (1 - share) + np.asarray(colour, np.float32) * share


def draw_arrow(
    picture: NDArray[np.float32],
    arrow: Arrow,
    camera: Camera,
    light_at: Callable[[Floats], Floats],
    facing: Callable[[Floats], Floats],
) -> None:
    """Paint an arrow over the picture.

    Parameters
    ----------
    picture : (h, w, 3) array
        Linear light; changed in place.
    arrow : Arrow
    camera : Camera
    light_at : callable
        Light, (3,), that falls on a point in space, (3,) mm.
    facing : callable
        How bright, (n,), surfaces with given normals, (n, 3), are.
    """
    brush = _Brush(picture)
    eye = -camera.shift @ camera.rotation
    one, two = arrow.frame()
    vanes = _vanes(arrow)
    depth = [np.linalg.norm(v.mean(axis=0) - eye) for v in vanes]
    order = np.argsort(depth)[::-1]
    nearest = int(order[-1]) if len(order) else -1
    for k in order[:-1] if len(order) > 1 else []:
        _paint_vane(brush, arrow, camera, vanes[k], k, light_at, facing)
    sheet_tone = _around(picture, camera.project(np.array([arrow.foot_mm]))[0], arrow, camera)
    # The foot fills its hole: the shaft's own round end, seen aslant.
    theta = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    ring = (np.cos(theta)[:, None] * one + np.sin(theta)[:, None] * two) * arrow.shaft_mm / 2
    foot = np.asarray(arrow.foot_mm)
    dark = 0.5 * light_at(foot) * np.asarray(arrow.shaft)
    brush.fill(camera.project(foot + ring), 0.85 * dark + 0.15 * 0.4 * sheet_tone)
    pieces = 48
    t = np.linspace(0, arrow.length_mm, pieces + 1)
    centre, across, half = _edges(arrow, camera, t)
    strips = np.linspace(-1, 1, 10)
    for k in range(pieces):
        mid = float(t[k : k + 2].mean())
        base = np.asarray(_tone(arrow, mid))
        light = light_at(arrow.axis(np.array([mid]))[0])
        look = arrow.axis(np.array([mid]))[0] - eye
        look /= np.linalg.norm(look)
        # Seen nearly end on, a lacquered shaft mirrors the sheet that it stands in.
        grazing = abs(float(look @ np.asarray(arrow.along)))
        mirror = 0.02 + 0.3 * grazing**16
        normals, side = _round(arrow, look, one, two, strips)
        shade = facing(normals)
        fade = mirror * (np.exp(-mid / 180.0) if mid < arrow.length_mm - 110 else 0.0)
        shine = arrow.gloss * np.exp(-(((side - 0.35) / 0.13) ** 2))
        colours = light * (base * shade[:, None] + shine[:, None]) * (1 - fade) + fade * sheet_tone
        # The whole piece first, a little long: smooth edges of strips side by side leak what is
        # under them.
        step = centre[k + 1] - centre[k]
        start = centre[k] - 0.6 * step / max(float(np.linalg.norm(step)), 1e-9)
        brush.fill(_piece(start, centre[k + 1], across, half, k, -1.0, 1.0), colours.mean(axis=0))
        for s, colour in enumerate(colours):
            left, right = float(strips[s]), float(strips[s + 1])
            brush.fill(_piece(start, centre[k + 1], across, half, k, left, right), colour)
    if nearest >= 0:
        _paint_vane(brush, arrow, camera, vanes[nearest], nearest, light_at, facing)


def _piece(start, end, across, half, k, left, right) -> Floats:
    """Return the outline of a strip of a piece of shaft, from left to right of its axis."""
    return np.array(
        [
            start + across[k] * half[k] * left,
            start + across[k] * half[k] * right,
            end + across[k + 1] * half[k + 1] * right,
            end + across[k + 1] * half[k + 1] * left,
        ]
    )


def _tone(arrow: Arrow, t_mm: float) -> Colour:
    if t_mm > arrow.length_mm - 17:
        return arrow.nock
    if t_mm > arrow.length_mm - 100:
        return arrow.wrap
    return arrow.shaft


def _round(arrow: Arrow, look, one, two, strips) -> tuple[Floats, Floats]:
    """Return the normals of the strips that face the eye, and where each lies across, -1 to 1."""
    along = np.asarray(arrow.along)
    towards = -(look - (look @ along) * along)
    towards /= max(float(np.linalg.norm(towards)), 1e-9)
    aside = np.cross(along, towards)
    middle = (strips[:-1] + strips[1:]) / 2
    deep = np.sqrt(np.maximum(1 - middle**2, 0))
    return middle[:, None] * aside + deep[:, None] * towards, middle


def _paint_vane(brush, arrow, camera, outline, k, light_at, facing) -> None:
    normal = np.cross(outline[5] - outline[0], outline[-5] - outline[0])
    normal /= max(float(np.linalg.norm(normal)), 1e-9)
    eye = -camera.shift @ camera.rotation
    if normal @ (eye - outline[0]) < 0:
        normal = -normal
    level = 0.35 + 0.65 * float(facing(normal[None])[0])
    light = light_at(outline.mean(axis=0))
    brush.fill(camera.project(outline), light * np.asarray(arrow.vanes[k]) * level, 0.93)


def _around(picture, foot, arrow, camera) -> Floats:
    """Return the mean colour of the sheet round an arrow's foot."""
    half = camera.f_px * arrow.shaft_mm / camera.distance_mm
    reach = max(3, round(3 * half))
    u, v = round(float(foot[0])), round(float(foot[1]))
    part = picture[max(0, v - reach) : v + reach + 1, max(0, u - reach) : u + reach + 1]
    return np.median(part.reshape(-1, 3), axis=0) if part.size else np.zeros(3)


def arrow_shade(
    arrows: tuple[Arrow, ...], source: Source, x: NDArray, y: NDArray
) -> NDArray[np.float32]:
    """Return the share of a source's light that passes the arrows, at points of the sheet."""
    share = np.ones(x.shape, np.float32)
    for arrow in arrows:
        along, towards = np.asarray(arrow.along), np.asarray(source.towards)
        # A point t along the shaft throws its shadow here on the sheet's plane.
        drift = along[:2] - along[2] * towards[:2] / towards[2]
        length = float(np.hypot(*drift))
        if length < 1e-6:
            continue
        dx, dy = x - arrow.foot_mm[0], y - arrow.foot_mm[1]
        ux, uy = drift / length
        t = (dx * ux + dy * uy) / length
        aside = abs(-dx * uy + dy * ux)
        near = (aside < 60) & (t > -3) & (t < arrow.length_mm + 60)
        if not near.any():
            continue
        tn, an = t[near], aside[near]
        half = np.where(tn > arrow.length_mm - 75, 5.5, arrow.shaft_mm / 2)
        # The penumbra is as wide as the source is large, seen from the sheet.
        spread = 0.15 + source.softness * np.maximum(tn, 0) / towards[2]
        cover = np.clip((half - an) / (2 * spread) + 0.5, 0, 1) * np.minimum(1, half / spread)
        ends = np.clip(tn / 1.5 + 1, 0, 1) * np.clip((arrow.length_mm - tn) / 6 + 0.5, 0, 1)
        share[near] *= (1 - np.clip(cover * ends, 0, 1)).astype(np.float32)
    return share
