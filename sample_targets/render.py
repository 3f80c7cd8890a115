"""Render photos of printed sheets with exact truth; numpy and OpenCV only, seeded.

A photo is planned (`plan_photo`) and then taken (`take_photo`). The plan holds everything that is
true about the photo; the picture is what a phone makes of it: perspective, a bent sheet, light and
shadow, ragged holes, dirt, lens distortion, vignetting, blur, noise, sharpening and 8 bits.

The same plan gives the same picture and the same truth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from groupscan.sheets.artwork import draw_artwork
from groupscan.sheets.catalogue import get_sheet
from groupscan.sheets.shapes import Sheet
from sample_targets.camera import Bend, Camera, best_homography
from sample_targets.marks import (
    Canvas,
    Hole,
    paint_hole,
    paint_patch,
    paint_pin,
    paint_speck,
    write,
)
from sample_targets.scenery import (
    BUTT_HALF_MM,
    BUTT_PX_PER_MM,
    BUTTS,
    LIGHTS,
    ButtKind,
    Light,
    butt_texture,
    far_scene,
    leaf_shadow,
)

Floats = NDArray[np.float64]

__all__ = ["Plan", "plan_photo", "take_photo", "truth_of"]

_PIN_COLOURS = ((0.62, 0.06, 0.05), (0.05, 0.12, 0.5), (0.75, 0.75, 0.72), (0.05, 0.35, 0.12))
_DIAGONAL_35MM = math.hypot(36.0, 24.0)


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
    f_px = focal_eq / _DIAGONAL_35MM * math.hypot(width, height)
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


def take_photo(plan: Plan) -> NDArray[np.uint8]:
    """Take the planned photo.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    (h, w, 3) uint8 array
        RGB, upright.
    """
    rng = np.random.default_rng([plan.seed, 1])
    camera = plan.camera
    canvas = _used_sheet(plan, rng)
    exposure = _Exposure(plan, canvas, rng)
    light = np.empty((camera.height, camera.width, 3), np.float32)
    band = 128
    for top in range(0, camera.height, band):
        bottom = min(camera.height, top + band)
        light[top:bottom] = exposure.band(top, bottom)
    light = cv2.GaussianBlur(light, (0, 0), plan.blur_px)
    noise = plan.light.noise
    grain = rng.standard_normal(light.shape, dtype=np.float32)
    # Shot noise grows with the root of the light; read noise is always there.
    light += grain * np.sqrt(noise**2 * np.maximum(light, 0) + (0.25 * noise) ** 2)
    shown = _encode(np.clip(light, 0, 1))
    # Phones smooth colour noise and sharpen edges.
    shown = 0.5 * shown + 0.5 * cv2.GaussianBlur(shown, (0, 0), 0.7)
    shown += 0.45 * (shown - cv2.GaussianBlur(shown, (0, 0), 1.4))
    return np.round(np.clip(shown, 0, 1) * 255).astype(np.uint8)


def _encode(linear: NDArray[np.float32]) -> NDArray[np.float32]:
    """Linear light to the sRGB curve of IEC 61966-2-1."""
    low = linear * np.float32(12.92)
    high = np.float32(1.055) * np.power(linear, np.float32(1 / 2.4)) - np.float32(0.055)
    return np.where(linear <= 0.0031308, low, high)


def _decode(picture: NDArray[np.uint8]) -> NDArray[np.float32]:
    value = np.arange(256) / 255
    table = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return table.astype(np.float32)[picture]


def _used_sheet(plan: Plan, rng: np.random.Generator) -> Canvas:
    """Return the sheet as it hangs there: printed, written on, pinned, shot and patched."""
    photo_scale = plan.camera.f_px / plan.camera.distance_mm
    scale = max(1.6 * photo_scale, 3.0)
    picture = _decode(draw_artwork(plan.sheet, px_per_mm=scale))
    # Ink is not quite black and paper not quite white; fibres and toner are a little uneven.
    picture = 0.018 + 0.80 * picture
    mottle = cv2.GaussianBlur(rng.normal(0, 1, picture.shape[:2]), (0, 0), 1.2 * scale)
    picture *= (1 + 0.012 * mottle / mottle.std())[..., None].astype(np.float32)
    canvas = Canvas(picture.astype(np.float32), plan.sheet.width_mm, plan.sheet.height_mm, scale)
    for text, box in zip(plan.handwriting, plan.sheet.writing, strict=False):
        write(canvas, text, box.left_mm + 1.0, box.bottom_mm + 3.2, 3.4)
    for x, y, size in plan.specks:
        paint_speck(canvas, x, y, size, rng)
    towards = plan.light.towards_rad
    for hole in plan.holes:
        if not hole.patched:
            paint_hole(canvas, hole, towards, rng)
    for x, y, across in plan.patches:
        paint_patch(canvas, x, y, across, rng)
    colour = _PIN_COLOURS[rng.integers(len(_PIN_COLOURS))]
    for x, y in plan.pins:
        paint_pin(canvas, x, y, colour, towards)
    return canvas


def _spread(node: Floats, places_v: Floats, places_u: Floats) -> NDArray[np.float32]:
    """Interpolate a coarse grid of nodes linearly at rows and columns given in node units."""
    across = np.maximum(0, 1 - abs(places_u[:, None] - np.arange(node.shape[1])))
    first, last = int(places_v[0]), int(places_v[-1]) + 2
    down = np.maximum(0, 1 - abs(places_v[:, None] - np.arange(first, last)))
    return (down @ node[first:last] @ across.T).astype(np.float32)


@dataclass(frozen=True)
class _Rays:
    """Where the rays through a coarse grid of pixels meet a surface.

    The maps are so smooth that linear interpolation between nodes eight pixels apart stays within
    a thousandth of a millimetre.
    """

    x: Floats
    y: Floats

    STEP = 8

    @classmethod
    def cast(cls, camera: Camera, bend: Bend | None, depth_mm: float = 0.0) -> _Rays:
        u = np.arange(-cls.STEP, camera.width + 2 * cls.STEP, cls.STEP, dtype=np.float64)
        v = np.arange(-cls.STEP, camera.height + 2 * cls.STEP, cls.STEP, dtype=np.float64)
        met = camera.meet(*np.meshgrid(u, v), bend, depth_mm=depth_mm)
        return cls(met[..., 0], met[..., 1])

    def at(self, v: Floats, u: Floats) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        places = v / self.STEP + 1, u / self.STEP + 1
        return _spread(self.x, *places), _spread(self.y, *places)


def _mean(values: NDArray[np.float32], fine: int) -> NDArray[np.float32]:
    height, width = values.shape[0] // fine, values.shape[1] // fine
    return cv2.resize(values, (width, height), interpolation=cv2.INTER_AREA)


class _Exposure:
    """The light that reaches the sensor, band by band, from two by two rays a pixel."""

    FINE = 2

    def __init__(self, plan: Plan, canvas: Canvas, rng: np.random.Generator) -> None:
        self.plan, self.canvas = plan, canvas
        self.gap = 3.0 + abs(plan.bend.sag_mm)
        self.on_sheet = _Rays.cast(plan.camera, plan.bend)
        self.on_butt = _Rays.cast(plan.camera, None, self.gap)
        self.butt = butt_texture(plan.butt, rng)
        self.far = far_scene(plan.camera.width, plan.camera.height, rng)
        self.leaves = leaf_shadow(rng)

    def band(self, top: int, bottom: int) -> NDArray[np.float32]:
        camera, light = self.plan.camera, self.plan.light
        u, v = np.arange(camera.width, dtype=float), np.arange(top, bottom, dtype=float)
        step = (np.arange(self.FINE) + 0.5) / self.FINE - 0.5
        fine_u, fine_v = (u[:, None] + step).ravel(), (v[:, None] + step).ravel()
        sheet, cover = self.sheet(*self.on_sheet.at(fine_v, fine_u))
        behind = self.behind(*self.on_butt.at(fine_v, fine_u))
        picture = sheet * self.level(*self.on_sheet.at(v, u))[..., None]
        x, y = self.on_butt.at(v, u)
        behind = behind * self.butt_level(x, y)[..., None]
        edge = 0.86 * BUTT_HALF_MM
        past = (abs(x) > edge) | (abs(y) > edge)
        behind = np.where(past[..., None], self.far[top:bottom], behind)
        picture += (1 - cover)[..., None] * behind
        r2 = ((u - camera.cx) ** 2 + (v[:, None] - camera.cy) ** 2) / camera.f_px**2
        vignette = (1 / (1 + 0.55 * r2) ** 2).astype(np.float32)
        return picture * vignette[..., None] * np.array(light.tint, np.float32)

    def sheet(
        self, x: NDArray[np.float32], y: NDArray[np.float32]
    ) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return the sheet's colour times its cover of each pixel, and the cover."""
        columns, rows = self.canvas.px(x, y)
        seen = cv2.remap(
            self.canvas.picture,
            columns,
            rows,
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        half_w, half_h = self.plan.sheet.width_mm / 2, self.plan.sheet.height_mm / 2
        inside = ((abs(x) <= half_w) & (abs(y) <= half_h)).astype(np.float32)
        return _mean(seen * inside[..., None], self.FINE), _mean(inside, self.FINE)

    def behind(self, x: NDArray[np.float32], y: NDArray[np.float32]) -> NDArray[np.float32]:
        seen = cv2.remap(
            self.butt,
            (x + BUTT_HALF_MM) * BUTT_PX_PER_MM,
            (BUTT_HALF_MM - y) * BUTT_PX_PER_MM,
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REFLECT,
        )
        return _mean(seen, self.FINE)

    def level(self, x: NDArray[np.float32], y: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return the light on the sheet: a bend turns the paper towards the light or away."""
        bend, light = self.plan.bend, self.plan.light
        across = x * math.cos(bend.direction_rad) + y * math.sin(bend.direction_rad)
        slope = -np.sign(bend.sag_mm) * np.sin(across / bend.radius_mm)
        facing = -slope * math.cos(light.towards_rad - bend.direction_rad)
        level = light.at(x, y, self.leaves) * (1 + light.relief * facing)
        return level.astype(np.float32)

    def butt_level(self, x: NDArray[np.float32], y: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return the light on the butt, which lies partly in the sheet's own shadow."""
        light, sheet = self.plan.light, self.plan.sheet
        dx = x + 1.3 * self.gap * math.cos(light.towards_rad)
        dy = y + 1.3 * self.gap * math.sin(light.towards_rad)
        covered = np.maximum(abs(dx) - sheet.width_mm / 2, abs(dy) - sheet.height_mm / 2)
        shade = 0.4 * light.relief / (1 + np.exp(np.clip(covered / 0.7, -40, 40)))
        return (light.at(x, y, self.leaves) * (1 - shade)).astype(np.float32)


def truth_of(plan: Plan, *, photo: str) -> dict[str, Any]:
    """Return everything that is true about a planned photo, ready for JSON.

    Parameters
    ----------
    plan : Plan
    photo : str
        Name of the photo's file.

    Returns
    -------
    dict
        ``README.md`` beside this file says what each key means.
    """
    camera, bend, sheet = plan.camera, plan.bend, plan.sheet

    def px(points: Any) -> list[list[float]]:
        flat = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        return [[round(float(a), 3) for a in p] for p in camera.project(bend.lift(flat))]

    half = np.array([sheet.width_mm, sheet.height_mm]) / 2
    matrix, apart = best_homography(camera, bend, half)
    centre = px([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    sides = np.subtract(centre[1:], centre[0])
    mm_per_px = 1 / math.sqrt(abs(np.linalg.det(sides)))
    if sheet.fiducials:
        upper = sheet.fiducials[0], sheet.fiducials[len(sheet.fiducials) // 2]
        ends = [[m.x_mm, m.y_mm] for m in upper]
        what = "centres of the two upper corner markers"
    else:
        ends = sheet.corners_mm[:2].tolist()
        what = "top edge of the paper"
    return {
        "photo": photo,
        "sheet": sheet.id,
        "sheet_id": sheet.id,
        "sheet_size_mm": [sheet.width_mm, sheet.height_mm],
        "image_size_px": [camera.width, camera.height],
        "exif_orientation": plan.orientation,
        "camera": {
            "focal_eq_mm": plan.focal_eq_mm,
            "f_px": round(camera.f_px, 3),
            "cx": camera.cx,
            "cy": camera.cy,
            "k1": camera.k1,
            "tilt_deg": _tilt_deg(camera),
            "roll_deg": math.degrees(camera.roll_rad),
            "distance_mm": round(camera.distance_mm, 1),
        },
        "corners_px": px(sheet.corners_mm),
        "known_length": {
            "mm": round(float(np.linalg.norm(np.subtract(*ends))), 4),
            "ends_px": px(ends),
            "what": what,
        },
        "aim_points_mm": [list(aim) for aim in sheet.aims_mm],
        "aim_points_px": px(sheet.aims_mm),
        "holes": [_hole_truth(plan, hole, px) for hole in plan.holes],
        "mm_to_px": {
            "note": "undistorted px = homography * (x_mm, y_mm, 1); then with x=(u-cx)/f_px, "
            "y=(v-cy)/f_px, r2=x*x+y*y: px = cx + f_px*x*(1+k1*r2), likewise y. The homography is "
            "the best plane; the sheet is slightly bent, see max_deviation_px. Each x_px, y_px in "
            "this file is exact.",
            "homography": [[float(f"{a:.9g}") for a in line] for line in matrix],
            "max_deviation_px": round(float(apart.max()), 2),
            "rms_deviation_px": round(float(np.sqrt((apart**2).mean())), 2),
        },
        "mm_per_px_at_centre": round(mm_per_px, 4),
        "light": plan.light.name,
        "notes": f"{plan.light.name} light; {plan.butt} butt; sheet bent by "
        f"{abs(bend.sag_mm):.1f} mm; seed {plan.seed}",
        "distractors": {
            "patches_mm": [[round(a, 2) for a in p] for p in plan.patches],
            "pins_mm": [list(p) for p in plan.pins],
            "pin_kind": "pin",
            "specks_mm": [[round(a, 2) for a in p] for p in plan.specks],
            "handwriting": list(plan.handwriting),
        },
    }


def _tilt_deg(camera: Camera) -> float:
    """Angle between the sheet's normal and the optical axis."""
    normal = camera.rotation @ [0.0, 0.0, 1.0]
    return math.degrees(math.acos(min(1.0, abs(float(normal[2])))))


def _hole_truth(plan: Plan, hole: Hole, px: Any) -> dict[str, Any]:
    x, y = hole.x_mm, hole.y_mm
    at, right, up = px([[x, y], [x + 1, y], [x, y + 1]])
    scale = math.sqrt(abs(np.linalg.det(np.subtract([right, up], at))))
    markers = [
        m.marker_id
        for m in plan.sheet.fiducials
        if max(abs(x - m.x_mm), abs(y - m.y_mm)) < m.side_mm / 2
    ]
    return {
        "x_mm": round(x, 3),
        "y_mm": round(y, 3),
        "x_px": at[0],
        "y_px": at[1],
        "point": "round",
        "shaft_mm": hole.shaft_mm,
        "hole_mm": round(hole.hole_mm, 2),
        "hole_px": round(hole.hole_mm * scale, 1),
        "cut_mm": None,
        "state": "patched" if hole.patched else "open",
        "new": False,
        "overlaps": sum(
            other is not hole
            and math.hypot(x - other.x_mm, y - other.y_mm) < (hole.hole_mm + other.hole_mm) / 2
            for other in plan.holes
        ),
        "behind_arrow": False,
        "through_marker": markers[0] if markers else None,
    }
