"""Plan a photo of a sheet: everything that is true about it, drawn from a seed."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from groupscan.sheets.catalogue import get_sheet
from groupscan.sheets.shapes import Sheet
from sample_targets.camera import Bend, Camera
from sample_targets.marks import Hole
from sample_targets.scenery import BUTTS, LIGHTS, ButtKind, Light

__all__ = ["DIAGONAL_35MM", "Plan", "plan_photo"]

DIAGONAL_35MM = math.hypot(36.0, 24.0)


@dataclass(frozen=True)
class Plan:
    """Everything that is true about one photo.

    Attributes
    ----------
    sheet : Sheet
    camera : Camera
    bend : Bend
    light : Light
    holes : tuple of Hole
    specks : tuple of (x_mm, y_mm, size_mm)
    patches : tuple of (x_mm, y_mm, diameter_mm)
    pins : tuple of (x_mm, y_mm)
    butt : {"foam", "straw", "board"}
    handwriting : tuple of str
        One text for each room that the sheet leaves for it.
    blur_px : float
        Standard deviation of the lens's blur.
    focal_eq_mm : float
        Focal length in 35 mm terms.
    orientation : int
        EXIF orientation under which the file is to be stored.
    seed : int
        Seed of everything that is random and not listed: rims, grain, noise.
    """

    sheet: Sheet
    camera: Camera
    bend: Bend
    light: Light
    holes: tuple[Hole, ...]
    specks: tuple[tuple[float, float, float], ...]
    patches: tuple[tuple[float, float, float], ...]
    pins: tuple[tuple[float, float], ...]
    butt: ButtKind
    handwriting: tuple[str, ...]
    blur_px: float
    focal_eq_mm: float
    orientation: int
    seed: int


def plan_photo(
    sheet_id: str,
    *,
    seed: int,
    size: tuple[int, int] = (2448, 3264),
    tilt_deg: float | None = None,
    light: str | None = None,
    butt: ButtKind | None = None,
    shots_per_aim: int | None = None,
    spread_mm: float | None = None,
    marker_shot: bool = False,
    patched: int = 0,
    fill: float | None = None,
    handwriting: tuple[str, ...] = (),
    orientation: int = 1,
) -> Plan:
    """Plan one photo; what is left None is drawn at random from the seed.

    Parameters
    ----------
    sheet_id : str
        Any sheet of the catalogue with a known size.
    seed : int
        Equal seeds and arguments give equal plans.
    size : (int, int)
        Width and height of the upright picture in pixels.
    tilt_deg : float, optional
        Angle between the sheet's normal and the optical axis; by default 0 to 30.
    light : str, optional
        One of `sample_targets.scenery.LIGHTS`.
    butt : str, optional
        One of `sample_targets.scenery.BUTTS`.
    shots_per_aim : int, optional
        Arrows at each aim; by default some 6 to 12 on the sheet.
    spread_mm : float, optional
        Standard deviation of the shots along each axis; by default 6 to 16.
    marker_shot : bool
        Whether one shot goes through a marker.
    patched : int
        Old holes under stickers.
    fill : float, optional
        Share of the picture that the sheet spans; by default 0.6 to 0.85.
    handwriting : tuple of str
        Date, rig and distance as written by hand.
    orientation : int
        EXIF orientation, 1, 3, 6 or 8.

    Returns
    -------
    Plan
    """
    rng = np.random.default_rng(seed)
    sheet = get_sheet(sheet_id)
    focal_eq = float(rng.choice([24.0, 26.0, 28.0, 35.0]))
    tilt = math.radians(rng.uniform(0, 30) if tilt_deg is None else tilt_deg)
    span = rng.uniform(0.6, 0.85) if fill is None else fill
    camera = _place_camera(rng, sheet, size, focal_eq, tilt, span)
    chosen = LIGHTS[str(rng.choice(list(LIGHTS))) if light is None else light]
    chosen = replace(
        chosen,
        towards_rad=chosen.towards_rad + rng.normal(0, 0.3),
        shadow_place_mm=rng.uniform(-0.25, 0.25) * sheet.height_mm,
        shadow_turn_rad=rng.uniform(0.2, 1.3),
        shadow_soft_mm=rng.uniform(2.0, 14.0),
    )
    half = np.array([sheet.width_mm, sheet.height_mm]) / 2
    bend = Bend(
        sag_mm=float(rng.uniform(-1, 1) * 0.011 * half.max()),
        reach_mm=float(np.hypot(*half)),
        direction_rad=float(rng.uniform(0, math.pi)),
    )
    holes = _shoot(rng, sheet, shots_per_aim, spread_mm, marker_shot)
    patches = []
    for _ in range(patched):
        aim = np.array(sheet.aims_mm[rng.integers(len(sheet.aims_mm))])
        x, y = aim + rng.normal(0, 18, 2)
        holes.append(Hole(float(x), float(y), holes[0].shaft_mm, holes[0].shaft_mm * 0.93, True))
        offset = rng.normal(0, 1.0, 2)
        patches.append((float(x + offset[0]), float(y + offset[1]), float(rng.choice([15, 19]))))
    visible = [h for h in holes if h.patched] + [
        h for h in holes if not h.patched and not _under(h, patches)
    ]
    specks = tuple(
        (float(x), float(y), float(rng.uniform(0.4, 1.5)))
        for x, y in rng.uniform(-0.95, 0.95, (rng.integers(3, 14), 2)) * half
    )
    inset = 5.5
    pins = tuple((float(a * (half[0] - inset)), float(b * (half[1] - inset)))
                 for a in (-1, 1) for b in (-1, 1))  # fmt: skip
    return Plan(
        sheet=sheet,
        camera=camera,
        bend=bend,
        light=chosen,
        holes=tuple(visible),
        specks=specks,
        patches=tuple(patches),
        pins=pins,
        butt=BUTTS[rng.integers(len(BUTTS))] if butt is None else butt,
        handwriting=handwriting,
        blur_px=float(rng.uniform(0.6, 1.1)),
        focal_eq_mm=focal_eq,
        orientation=orientation,
        seed=seed,
    )


def _place_camera(
    rng: np.random.Generator,
    sheet: Sheet,
    size: tuple[int, int],
    focal_eq: float,
    tilt: float,
    span: float,
) -> Camera:
    width, height = size
    f_px = focal_eq / DIAGONAL_35MM * math.hypot(width, height)
    distance = f_px * max(sheet.width_mm / (span * width), sheet.height_mm / (span * height))
    room = (1 - span) / 2
    x, y = rng.uniform(-0.5, 0.5, 2) * room
    camera = Camera(
        width=width,
        height=height,
        f_px=f_px,
        k1=float(rng.uniform(-0.006, 0.004)),
        tilt_rad=tilt,
        tilt_axis_rad=float(rng.uniform(0, 2 * math.pi)),
        roll_rad=float(math.radians(np.clip(rng.normal(0, 2.5), -8, 8))),
        centre_px=(float((0.5 + x) * width), float((0.5 + y) * height)),
        distance_mm=distance,
    )
    # The near side of a leaning sheet looms: step back until every corner is in the picture.
    corners = np.column_stack([sheet.corners_mm, np.zeros(4)])
    margin = 0.015 * np.array([width, height])
    while True:
        seen = camera.project(corners)
        if (seen > margin).all() and (seen < np.array([width, height]) - margin).all():
            return camera
        camera = replace(camera, distance_mm=1.03 * camera.distance_mm)


def _shoot(
    rng: np.random.Generator,
    sheet: Sheet,
    shots_per_aim: int | None,
    spread_mm: float | None,
    marker_shot: bool,
) -> list[Hole]:
    shaft = float(np.round(rng.uniform(5.5, 8.0), 1))
    spread = rng.uniform(6, 16) if spread_mm is None else spread_mm
    offset = rng.normal(0, 0.7 * spread, 2)
    reach = np.array([sheet.width_mm, sheet.height_mm]) / 2 - 8.0
    holes: list[Hole] = []
    for aim in sheet.aims_mm:
        count = shots_per_aim or max(2, int(rng.integers(6, 13)) // len(sheet.aims_mm))
        for _ in range(count):
            x, y = np.clip(np.array(aim) + offset + rng.normal(0, spread, 2), -reach, reach)
            opening = float(shaft * rng.uniform(0.88, 0.98))
            holes.append(Hole(float(x), float(y), shaft, opening))
    if marker_shot:
        marker = sheet.fiducials[rng.integers(len(sheet.fiducials))]
        x, y = np.array([marker.x_mm, marker.y_mm]) + rng.uniform(-6, 6, 2)
        holes.append(Hole(float(x), float(y), shaft, float(shaft * rng.uniform(0.88, 0.98))))
    return holes


def _under(hole: Hole, patches: list[tuple[float, float, float]]) -> bool:
    return any(
        math.hypot(hole.x_mm - x, hole.y_mm - y) < (across + hole.hole_mm) / 2
        for x, y, across in patches
    )
