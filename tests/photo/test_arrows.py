"""Arrows that stand in the sheet, drawn in space before a leaning camera."""

import cv2
import numpy as np
import pytest

from groupscan.photo.arrows import Shaft, add_arrows, find_shafts
from groupscan.photo.expected import flatten
from groupscan.photo.holes import Hole, find_holes
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import Sheet
from sample_targets.camera import Camera
from tests.photo.drawn_sheets import Paper, camera_at, develop, photograph, seen, true_plane

SHEET = Sheet("printed", "nothing on it but shots", "fiducials", 400.0, 400.0)
WIDTH = 6.0
OPEN = np.array([[-120.0, 110.0], [130.0, -120.0], [-60.0, -140.0]])
CAMERA = camera_at(
    400.0, size=(1600, 1400), fill=0.72, tilt_deg=22, axis_deg=20, roll_deg=3, focal=4.0
)


def stand(
    picture: np.ndarray, camera: Camera, foot: tuple[float, float], *, lean=(0.0, 0.0), rgb
) -> None:
    """Paint an arrow of 640 mm whose foot is on the sheet, leaning by a slope each way."""
    along = np.linspace(0.0, 640.0, 120)
    middle = np.column_stack([foot[0] + lean[0] * along, foot[1] + lean[1] * along, along])
    px = camera.project(middle)
    depth = (middle @ camera.rotation.T + camera.shift)[:, 2]
    half = WIDTH / 2 * camera.f_px / depth  # a round shaft is seen as wide from every side
    step = np.gradient(px, axis=0)
    normal = np.column_stack([-step[:, 1], step[:, 0]]) / np.hypot(*step.T)[:, None]
    outline = np.vstack([px + half[:, None] * normal, (px - half[:, None] * normal)[::-1]])
    fixed = np.rint(outline * 16).astype(np.int32)
    cv2.fillPoly(picture, [fixed], rgb, cv2.LINE_AA, 4)


def scan(
    feet, *, leans=((0.0, 0.0),), rgb=(38, 36, 40), camera: Camera = CAMERA, shadows: bool = False
) -> list[Hole]:
    paper = Paper(SHEET, px_per_mm=4.0)
    paper.holes(OPEN, 5.6)
    paper.holes(feet, 1.1 * WIDTH)  # the hole that it made shows around it
    if shadows:
        # A straight shadow of a post, softer and paler than any shaft.
        left, top = paper.px(-190.0, 40.0)
        right, bottom = paper.px(190.0, 33.0)
        paper.picture[int(top) : int(bottom), int(left) : int(right)] *= 0.8
    picture = photograph(paper, camera, noise=0.0, blur_px=0.01).rgb.copy()
    for i, foot in enumerate(feet):
        stand(picture, camera, foot, lean=leans[i % len(leans)], rgb=rgb)
    photo: Photo = develop(picture, np.random.default_rng(0))
    plane = true_plane(camera)
    flat = flatten(photo, plane, SHEET)
    return add_arrows(find_holes(photo, plane, flat), find_shafts(photo, plane, flat), plane)


def places(holes: list[Hole], state: str) -> np.ndarray:
    return np.array([[h.x_mm, h.y_mm] for h in holes if h.state == state]).reshape(-1, 2)


@pytest.mark.parametrize("rgb", [(38, 36, 40), (120, 30, 28)], ids=["carbon", "red"])
@pytest.mark.parametrize("lean", [(0.0, 0.0), (0.05, -0.04)])
def test_a_standing_shaft_is_an_arrow_at_its_foot(rgb, lean) -> None:
    foot = (40.0, 30.0)
    holes = scan([foot], leans=(lean,), rgb=rgb)
    arrows = [hole for hole in holes if hole.state == "arrow"]
    assert len(arrows) == 1
    arrow = arrows[0]
    off = np.hypot(arrow.x_mm - foot[0], arrow.y_mm - foot[1])
    assert off < 2.5
    assert off < 2.5 * np.sqrt(2) * arrow.se_mm
    np.testing.assert_allclose(
        [arrow.x_px, arrow.y_px], seen(CAMERA, [arrow.x_mm, arrow.y_mm])[0], atol=0.01
    )
    # The open holes are still there, and nothing along the shaft became one.
    found = places(holes, "open")
    assert len(found) == len(OPEN)
    away = np.hypot(*(found[None] - OPEN[:, None]).transpose(2, 0, 1)).min(axis=1)
    assert away.max() < 0.3


def test_several_arrows_each_have_their_foot() -> None:
    feet = np.array([[40.0, 60.0], [-70.0, 20.0], [80.0, -60.0]])
    holes = scan([tuple(f) for f in feet], leans=((0.0, 0.0), (0.03, 0.02), (-0.02, 0.03)))
    found = places(holes, "arrow")
    assert len(found) == 3
    away = np.hypot(*(found[None] - feet[:, None]).transpose(2, 0, 1)).min(axis=1)
    assert away.max() < 3.0
    assert len(places(holes, "open")) == len(OPEN)


def test_without_arrows_there_are_none() -> None:
    holes = scan([])
    assert len(places(holes, "arrow")) == 0
    assert len(holes) == len(OPEN)


def test_a_straight_shadow_is_no_arrow() -> None:
    holes = scan([], shadows=True)
    assert len(places(holes, "arrow")) == 0
    assert len(holes) == len(OPEN)


def test_a_hole_at_the_foot_gives_the_arrow_its_place() -> None:
    """The hole is measured better than the end of a shaft: it is kept, and counted once."""
    plane = true_plane(CAMERA)
    paper = Paper(SHEET, px_per_mm=4.0)
    picture = photograph(paper, CAMERA, noise=0.0, blur_px=0.01).rgb.copy()
    stand(picture, CAMERA, (40.0, 30.0), rgb=(38, 36, 40))
    photo = develop(picture, np.random.default_rng(0))
    shafts = find_shafts(photo, plane, flatten(photo, plane, SHEET))
    assert len(shafts) == 1
    at_foot = Hole(40.4, 30.2, 0.3, 0.0, 0.0, 5.5, "round", 0.97, "open")
    on_shaft = shafts[0].foot_mm + 0.5 * (shafts[0].end_mm - shafts[0].foot_mm)
    phantom = Hole(float(on_shaft[0]), float(on_shaft[1]), 0.3, 0, 0, 5.5, "round", 0.6, "open")
    far = Hole(-120.0, 110.0, 0.3, 0.0, 0.0, 5.5, "round", 0.9, "open")
    out = add_arrows([at_foot, phantom, far], shafts, plane)
    assert [(h.x_mm, h.y_mm, h.state) for h in out] == [
        (40.4, 30.2, "arrow"),
        (-120.0, 110.0, "open"),
    ]


def shade(picture: np.ndarray, camera: Camera, foot: tuple[float, float], towards) -> None:
    """Darken the sheet by the shadow of an arrow, a straight band that begins at its foot."""
    end = np.array(foot) + 900.0 * np.array(towards)
    side = WIDTH / 2 * np.array([-towards[1], towards[0]])
    corners = np.array([foot + side, end + side, end - side, foot - side])
    px = camera.project(np.column_stack([corners, np.zeros(4)]))
    mask = np.zeros(picture.shape[:2], np.float32)
    cv2.fillPoly(mask, [np.rint(px * 16).astype(np.int32)], 1.0, cv2.LINE_AA, 4)
    soft = cv2.GaussianBlur(mask, (0, 0), 1.2)[..., None]
    picture[:] = (picture * (1 - 0.45 * soft)).astype(np.uint8)


GROUNDS = {
    "plain paper": ("paper", None),
    "black print": ("fiducials", (28, 28, 30)),
    "blue print": ("fiducials", (40, 130, 190)),
    "grey foam": ("known-length", (120, 118, 112)),
}


@pytest.mark.parametrize("ground", list(GROUNDS))
@pytest.mark.parametrize("shadow", [False, True], ids=["overcast", "sun"])
def test_a_foot_is_found_on_any_ground_beside_its_shadow(ground: str, shadow: bool) -> None:
    """The shadow goes out from the foot at a sharp angle to the shaft's picture."""
    kind, rgb = GROUNDS[ground]
    sheet = Sheet("ground", "one colour about the arrow", kind, 400.0, 400.0)
    foot = (30.0, 20.0)
    paper = Paper(sheet, px_per_mm=4.0)
    if rgb is not None:
        paper.disc(foot[0], foot[1], 90.0, rgb)
    paper.holes([foot], 1.1 * WIDTH)
    picture = photograph(paper, CAMERA, noise=0.0, blur_px=0.01).rgb.copy()
    if shadow:
        shade(picture, CAMERA, foot, (0.95, 0.312))
    # A carbon shaft shines a little: on black print that is all there is to see of it.
    stand(picture, CAMERA, foot, rgb=(78, 80, 86) if ground == "black print" else (38, 36, 40))
    photo = develop(picture, np.random.default_rng(3))
    plane = true_plane(CAMERA)
    flat = flatten(photo, plane, sheet)
    shafts = find_shafts(photo, plane, flat, drawn=kind != "fiducials")
    assert len(shafts) == 1
    off = np.hypot(*(shafts[0].foot_mm - foot))
    assert off < 4.0
    assert off < 3.0 * shafts[0].se_mm


def test_seams_of_a_block_are_no_arrows() -> None:
    """Dark lines side by side all over a foam face, whatever their direction to the camera."""
    sheet = Sheet("block", "a layered block", "known-length", 400.0, 400.0)
    paper = Paper(sheet, px_per_mm=4.0)
    paper.picture[:] = (150.0, 145.0, 140.0)
    for y_mm in np.arange(-180.0, 181.0, 30.0):
        top, bottom = (round(paper.px(0.0, y)[1]) for y in (y_mm + 2.2, y_mm - 2.2))
        paper.picture[top:bottom] *= 0.55
    photo = photograph(paper, CAMERA, seed=2)
    plane = true_plane(CAMERA)
    assert find_shafts(photo, plane, flatten(photo, plane, sheet), drawn=True) == []


def test_a_hole_just_beyond_a_foot_stays_a_hole() -> None:
    """It lies on the shaft's own line, with a neck of paper between, as dark as the shaft."""
    foot = np.array([40.0, 30.0])
    axis = find_axis(foot)
    beyond = foot - 10.5 * axis
    paper = Paper(SHEET, px_per_mm=4.0)
    paper.holes([beyond, foot], 5.6)
    picture = photograph(paper, CAMERA, noise=0.0, blur_px=0.01).rgb.copy()
    stand(picture, CAMERA, (40.0, 30.0), rgb=(38, 36, 40))
    photo = develop(picture, np.random.default_rng(4))
    plane = true_plane(CAMERA)
    flat = flatten(photo, plane, SHEET)
    holes = add_arrows(find_holes(photo, plane, flat), find_shafts(photo, plane, flat), plane)
    arrows, found = places(holes, "arrow"), places(holes, "open")
    assert len(arrows) == 1
    assert len(found) == 1
    assert np.hypot(*(arrows[0] - foot)) < 3.0
    assert np.hypot(*(found[0] - beyond)) < 0.5


def find_axis(foot: np.ndarray) -> np.ndarray:
    """Where the picture of a shaft square to the sheet runs from its foot, a unit vector."""
    px = CAMERA.project(np.array([[*foot, 0.0], [*foot, 200.0]]))
    start, end = true_plane(CAMERA).to_mm(px)
    return np.asarray((end - start) / np.hypot(*(end - start)))


def test_a_bar_that_ends_on_the_sheet_without_vanes_is_no_arrow() -> None:
    """Somebody painted it, and it happens to point where a shaft would; nothing is at its end."""
    foot = np.array([40.0, 30.0])
    end = foot + 70.0 * find_axis(foot)
    paper = Paper(SHEET, px_per_mm=4.0)
    ends = [tuple(round(v) for v in paper.px(*place)) for place in (foot, end)]
    cv2.line(paper.picture, ends[0], ends[1], (38.0, 36.0, 40.0), 24)
    photo = photograph(paper, CAMERA, seed=5)
    plane = true_plane(CAMERA)
    assert find_shafts(photo, plane, flatten(photo, plane, SHEET)) == []


def test_what_lies_by_vanes_and_nock_is_no_hole_unless_it_is_clear() -> None:
    shaft = Shaft(
        np.zeros(2), np.array([200.0, 0.0]), 6.0, 30.0, 1.3, np.array([[0.0, 0.0], [200.0, 0.0]])
    )
    by_vanes, beyond, clear = (
        Hole(x, y, 0.3, 0.0, 0.0, 5.5, "round", sure, "open")
        for x, y, sure in ((180.0, 9.0, 0.7), (225.0, -4.0, 0.8), (180.0, -10.0, 0.97))
    )
    out = add_arrows([by_vanes, beyond, clear], [shaft], true_plane(CAMERA))
    assert [(h.x_mm, h.y_mm) for h in out if h.state == "open"] == [(180.0, -10.0)]
