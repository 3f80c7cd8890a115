"""A block strip found by itself: rendered faces with a known camera, and pictures without one."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from groupscan.photo.marks import strip
from groupscan.photo.marks.pose import straightened
from groupscan.photo.plane import Plane, fit_plane
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import get_sheet

SIZE = (1200, 900)
FOCAL = 1150.0
FOAM = (96, 118, 150)


@dataclass(frozen=True)
class Scene:
    """A face before a camera, and how it was seen."""

    tilt_deg: tuple[float, float] = (0.0, 0.0)  # about the photo's x and y axes
    turn_deg: float = 0.0  # of the strip on the face
    strip_at: tuple[float, float] = (0.0, -120.0)
    half_height: float = 14.0
    distance: float = 900.0
    k1: float = 0.0
    spots: tuple[tuple[float, float, float], ...] = ()
    ground: tuple[int, int, int] = FOAM
    shade: bool = False
    seed: int = 1
    share: int = field(default=2, repr=False)  # sub-pixels a side

    @property
    def homography(self) -> NDArray[np.float64]:
        """Face mm (y up) to undistorted pixels."""
        a, b = np.radians(self.tilt_deg)
        about_x = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
        about_y = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
        rotation = about_y @ about_x @ np.diag([1.0, -1.0, -1.0])
        inner = np.array([[FOCAL, 0, 599.5], [0, FOCAL, 449.5], [0, 0, 1.0]])
        return inner @ np.column_stack([rotation[:, :2], [0, 0, self.distance]])

    def to_px(self, mm: NDArray[np.float64]) -> NDArray[np.float64]:
        q = np.column_stack([mm, np.ones(len(mm))]) @ self.homography.T
        q = (q[:, :2] / q[:, 2:] - [599.5, 449.5]) / FOCAL
        return q * (1 + self.k1 * (q**2).sum(1, keepdims=True)) * FOCAL + [599.5, 449.5]

    def on_strip(self, mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Face mm of places given along and across the strip, from its middle."""
        t = np.radians(self.turn_deg)
        turn = np.array([[np.cos(t), -np.sin(t)], [np.sin(t), np.cos(t)]])
        return mm @ turn.T + np.array(self.strip_at)

    def photo(self, *, focal: bool = True) -> Photo:
        rng = np.random.default_rng(self.seed)
        n = self.share
        axis_x = (np.arange(SIZE[0] * n) + 0.5) / n - 0.5
        axis_y = (np.arange(SIZE[1] * n) + 0.5) / n - 0.5
        px = np.stack(np.meshgrid(axis_x, axis_y), axis=-1)
        flat = straightened((px - [599.5, 449.5]) / FOCAL, np.array([self.k1])) * FOCAL
        q = np.concatenate([flat + [599.5, 449.5], np.ones_like(flat[..., :1])], axis=-1)
        q = q @ np.linalg.inv(self.homography).T
        mm = q[..., :2] / q[..., 2:]
        # Felted ground with dark lines between its layers, like foam.
        felt = cv2.GaussianBlur(rng.normal(0, 1, SIZE[::-1]), (0, 0), 3) * 60
        level = np.repeat(np.repeat(felt, n, 0), n, 1)
        colour = np.clip(np.array(self.ground) + level[..., None], 0, 255).astype(np.float32)
        colour[np.abs(np.mod(mm[..., 1], 40.0) - 20) < 0.5] = 30
        for x, y, radius in self.spots:
            colour[np.hypot(mm[..., 0] - x, mm[..., 1] - y) < radius] = 225
        t = np.radians(self.turn_deg)
        off = mm - np.array(self.strip_at)
        along = np.cos(t) * off[..., 0] + np.sin(t) * off[..., 1]
        across = np.cos(t) * off[..., 1] - np.sin(t) * off[..., 0]
        bar = (np.abs(along) < 150) & (np.abs(across) < self.half_height)
        block = np.floor((along + 150) / 50).astype(int)
        colour[bar & (block % 2 == 0)] = 36
        colour[bar & (block % 2 == 1)] = 232
        picture = cv2.resize(colour, SIZE, interpolation=cv2.INTER_AREA)
        if self.shade:
            edge = 1 / (1 + np.exp(-(np.arange(SIZE[0]) - 620) / 12.0))
            picture = picture * (0.45 + 0.55 * edge)[None, :, None]
        picture = cv2.GaussianBlur(picture, (0, 0), 0.8) + rng.normal(0, 2, picture.shape)
        rgb = np.clip(np.rint(picture), 0, 255).astype(np.uint8)
        return Photo("scene", rgb, focal_px=FOCAL if focal else None)


SPOTS = ((-150.0, 120.0, 32.0), (150.0, 130.0, 32.0), (-140.0, -20.0, 30.0), (160.0, -30.0, 35.0))


def _plane(photo: Photo) -> Plane:
    marks = strip.find(photo)
    assert marks is not None
    return fit_plane(marks, image_size=photo.size, focal_px=photo.focal_px)


def _stretch(scene: Scene, plane: Plane, mm: NDArray[np.float64]) -> float:
    """Lengths measured over true ones, from the spread of places on the face."""
    seen = plane.to_mm(scene.to_px(mm))
    return float(np.sqrt(np.var(seen, axis=0).sum() / np.var(mm, axis=0).sum()))


FACE = np.array([[x, y] for x in (-160.0, 0, 160) for y in (-130.0, 0, 150)])


@pytest.mark.parametrize(
    ("tilt", "turn"),
    [((0.0, 0.0), 3.0), ((20.0, 5.0), -6.0), ((-18.0, 15.0), 10.0), ((10.0, -25.0), 84.0)],
)
def test_scale_and_tilt_come_from_the_strip_and_round_spots(
    tilt: tuple[float, float], turn: float
) -> None:
    at = (0.0, -120.0) if abs(turn) < 45 else (0.0, 10.0)
    scene = Scene(tilt_deg=tilt, turn_deg=turn, strip_at=at, spots=SPOTS)
    plane = _plane(scene.photo())
    normal = np.cos(np.radians(tilt[0])) * np.cos(np.radians(tilt[1]))
    # Held square on, a tilt below its own standard error cannot be told from none.
    assert plane.tilt_deg == pytest.approx(np.degrees(np.arccos(normal)), abs=3.0)
    assert _stretch(scene, plane, FACE) == pytest.approx(1.0, abs=0.003)


@pytest.mark.parametrize("turn", [25.0, -33.0, 45.0, -60.0])
def test_strip_is_found_however_it_is_turned(turn: float) -> None:
    scene = Scene(tilt_deg=(12.0, 8.0), turn_deg=turn, strip_at=(0.0, 10.0))
    beside = scene.on_strip(np.array([[-120.0, 90.0], [130, 95], [-125, -90], [120, -85]]))
    scene = replace(scene, spots=tuple((x, y, 32.0) for x, y in beside.tolist()))
    assert _stretch(scene, _plane(scene.photo()), FACE) == pytest.approx(1.0, abs=0.004)


def test_strip_length_is_true_through_a_lens_that_bends() -> None:
    scene = Scene(tilt_deg=(15.0, -10.0), k1=0.05, strip_at=(20.0, -170.0), spots=SPOTS)
    plane = _plane(scene.photo())
    ends = scene.to_px(scene.on_strip(np.array([[-150.0, 0], [150.0, 0]])))
    found = plane.to_mm(ends)
    assert np.linalg.norm(found[1] - found[0]) == pytest.approx(300.0, abs=0.3)
    assert plane.k1 == pytest.approx(0.05, abs=0.02)


def test_origin_is_the_strips_middle_and_up_is_the_photos() -> None:
    scene = Scene(tilt_deg=(12.0, 8.0), turn_deg=-8.0, spots=SPOTS)
    plane = _plane(scene.photo())
    middle = scene.to_px(scene.on_strip(np.zeros((1, 2))))
    np.testing.assert_allclose(plane.to_mm(middle), [[0.0, 0.0]], atol=0.2)
    up = plane.to_px(np.array([[0.0, 1.0]]))[0] - plane.to_px(np.array([[0.0, 0.0]]))[0]
    assert np.degrees(np.arctan2(up[0], -up[1])) == pytest.approx(0.0, abs=0.3)


@pytest.mark.parametrize("half_height", [10.0, 20.0])
def test_height_of_the_strip_is_free(half_height: float) -> None:
    scene = Scene(tilt_deg=(18.0, 6.0), half_height=half_height, spots=SPOTS)
    assert _stretch(scene, _plane(scene.photo()), FACE) == pytest.approx(1.0, abs=0.003)


@pytest.mark.parametrize("ground", [(30, 32, 34), (225, 222, 215)])
def test_strip_is_found_on_dark_and_on_light_ground(ground: tuple[int, int, int]) -> None:
    # On ground like its own blocks the strip's end cannot be told; the length of a block can.
    scene = Scene(ground=ground, turn_deg=4.0)
    plane = _plane(scene.photo())
    blocks = scene.to_px(scene.on_strip(np.array([[-100.0, 0], [100.0, 0]])))
    found = plane.to_mm(blocks)
    assert np.linalg.norm(found[1] - found[0]) == pytest.approx(200.0, abs=0.6)


def test_shadow_across_the_strip_does_not_move_it() -> None:
    scene = Scene(tilt_deg=(15.0, 0.0), spots=SPOTS, shade=True)
    assert _stretch(scene, _plane(scene.photo()), FACE) == pytest.approx(1.0, abs=0.003)


def test_untold_tilt_is_said_and_widens_the_errors() -> None:
    # Far off the strip's perspective is too weak, and without spots nothing else tells.
    alone = Scene(tilt_deg=(15.0, 0.0), distance=2600.0, half_height=12.0)
    marks = strip.find(alone.photo())
    assert marks is not None
    assert any("tilt" in note for note in marks.notes)
    plane = fit_plane(marks, image_size=SIZE, focal_px=FOCAL)
    # Lengths across the strip are wrong by the tilt, and the errors cover that.
    there = np.array([[0.0, 100.0]])
    seen = plane.to_mm(alone.to_px(there + np.array(alone.strip_at)))
    error = float(np.linalg.norm(seen - there))
    se = float(np.sqrt(np.trace(plane.position_covariance(seen)[0])))
    assert error > 0.5
    assert error < 2.5 * se
    # Lengths along the strip do not suffer; those across do, and with them the scale as a whole.
    left, right = plane.position_covariance([[-75.0, 0.0], [75.0, 0.0]])
    assert np.sqrt(left[0, 0] + right[0, 0]) / 150.0 < 0.01
    assert plane.scale_se / plane.mm_per_px()[0] > 0.005


def test_spot_on_another_plane_is_outvoted() -> None:
    # An ellipse that is no circle on the face, as a spot on the block's side would be.
    scene = Scene(tilt_deg=(15.0, 10.0), spots=SPOTS)
    photo = scene.photo()
    rgb = photo.rgb.copy()
    cv2.ellipse(rgb, (1050, 420), (45, 24), 0, 0, 360, (225, 225, 225), cv2.FILLED, cv2.LINE_AA)
    plane = _plane(Photo("odd", rgb, focal_px=FOCAL))
    assert _stretch(scene, plane, FACE) == pytest.approx(1.0, abs=0.006)


def _brick_wall() -> NDArray[np.uint8]:
    rng = np.random.default_rng(5)
    picture = np.full((1200, 1600, 3), 150, np.uint8)
    for row in range(24):
        for column in range(-1, 17):
            x, y = column * 100 + (row % 2) * 50, row * 50
            tone = rng.choice([40, 90, 140, 210])
            cv2.rectangle(picture, (x + 3, y + 3), (x + 96, y + 46), (int(tone),) * 3, cv2.FILLED)
    return picture


def _chessboard() -> NDArray[np.uint8]:
    y, x = np.mgrid[:1200, :1600]
    board = np.where(((x - 300) // 100 + (y - 200) // 100) % 2 == 0, 30, 230).astype(np.uint8)
    board[(x < 300) | (x >= 1300) | (y < 200) | (y >= 1000)] = 128
    return np.repeat(board[..., None], 3, axis=2)


def _five_blocks() -> NDArray[np.uint8]:
    picture = np.full((1200, 1600, 3), 110, np.uint8)
    for k, tone in enumerate((230, 30, 230, 30, 230)):
        picture[600:655, 300 + 100 * k : 400 + 100 * k] = tone
    return picture


def _plain() -> NDArray[np.uint8]:
    noise = np.random.default_rng(3).normal(128, 30, (1200, 1600, 3))
    return np.clip(noise, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("draw", [_brick_wall, _chessboard, _five_blocks, _plain])
def test_other_rows_of_blocks_are_no_strip(draw: object) -> None:
    assert callable(draw)
    assert strip.find(Photo("other", draw())) is None


def test_photo_smaller_than_the_windows_is_no_strip() -> None:
    assert strip.find(Photo("small", np.full((20, 30, 3), 120, np.uint8))) is None


def test_sheets_with_marks_of_their_own_are_left_to_them() -> None:
    photo = Scene().photo()
    assert strip.find(photo, sheet=get_sheet("ring-40")) is None
    assert strip.find(photo, sheet=get_sheet("known-length")) is not None
