"""The sample photos and their truth agree, and the renderer that made them tells the truth."""

import io
import json
import math
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageOps

from groupscan.sheets.catalogue import FIDUCIAL_DICTIONARY, get_sheet, load_catalogue
from groupscan.sheets.printable import printable_ids
from sample_targets import make_samples
from sample_targets.camera import Bend, Camera
from sample_targets.make_samples import (
    MIX,
    PRACTICE_SAMPLES,
    SAMPLE_SIZE,
    SAMPLES,
    own_orders,
    random_order,
    random_plan,
)
from sample_targets.practice import KINDS, LEVELS, PracticePlan
from sample_targets.render import plan_photo, take_photo, truth_of
from sample_targets.shrink import encode_jpeg, shrink_picture, shrink_truth

FOLDER = Path(make_samples.__file__).parent
PHOTOS = sorted(FOLDER.glob("*.jpg"))
PRINTED = [photo for photo in PHOTOS if photo.name in SAMPLES]


def read(photo):
    truth = json.loads(photo.with_suffix(".json").read_text(encoding="utf-8"))
    with Image.open(photo) as image:
        return np.asarray(ImageOps.exif_transpose(image).convert("RGB")), truth


def place(truth, points_mm):
    """Put points through the truth's plane and lens, as its own note says."""
    matrix = np.array(truth["mm_to_px"]["homography"])
    seen = np.column_stack([points_mm, np.ones(len(points_mm))]) @ matrix.T
    camera = truth["camera"]
    middle = np.array([camera["cx"], camera["cy"]])
    x = (seen[:, :2] / seen[:, 2:] - middle) / camera["f_px"]
    r2 = (x * x).sum(axis=1, keepdims=True)
    return middle + camera["f_px"] * x * (1 + camera["k1"] * r2)


def detect(rgb):
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, FIDUCIAL_DICTIONARY))
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(dictionary, parameters)
    corners, ids, _ = detector.detectMarkers(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY))
    return {int(k): c.reshape(4, 2) for k, c in zip(ids.reshape(-1), corners, strict=True)}


def test_the_set_is_whole_and_small():
    assert len(PHOTOS) >= 8
    assert len(PRINTED) == len(SAMPLES) >= 5
    assert all(photo.stat().st_size <= 1_200_000 for photo in PHOTOS)
    assert sum(file.stat().st_size for file in FOLDER.iterdir() if file.is_file()) < 12_500_000
    ids = [read(photo)[1]["sheet_id"] for photo in PHOTOS]
    assert set(ids) <= set(load_catalogue())
    assert {"ring-40", "ring-60", "ring-80", "inch-grid", "known-length", "plain-a4"} <= set(ids)


@pytest.mark.parametrize("photo", PHOTOS, ids=lambda photo: photo.stem)
def test_photo_and_truth_agree(photo):
    rgb, truth = read(photo)
    assert truth["photo"] == photo.name
    assert list(rgb.shape[1::-1]) == truth["image_size_px"]
    sheet = get_sheet(truth["sheet_id"])
    if sheet.width_mm:
        assert truth["sheet_size_mm"] == [sheet.width_mm, sheet.height_mm]
    half_w, half_h = np.array(truth["sheet_size_mm"]) / 2
    corners_mm = [(-half_w, half_h), (half_w, half_h), (half_w, -half_h), (-half_w, -half_h)]
    with Image.open(photo) as image:
        assert image.getexif()[0x0112] == truth["exif_orientation"]
    # The bent sheet departs from the plane by no more than the truth says.
    limit = truth["mm_to_px"]["max_deviation_px"] + 0.05
    holes = truth["holes"]
    known = (
        ([(h["x_mm"], h["y_mm"]) for h in holes], [(h["x_px"], h["y_px"]) for h in holes]),
        (truth["aim_points_mm"], truth["aim_points_px"]),
        (corners_mm, truth["corners_px"]),
    )
    for points_mm, points_px in known:
        apart = place(truth, np.array(points_mm)) - np.array(points_px)
        assert np.linalg.norm(apart, axis=1).max() <= limit


@pytest.mark.parametrize("photo", PHOTOS, ids=lambda photo: photo.stem)
def test_the_known_length_is_as_long_as_the_truth_says(photo):
    _, truth = read(photo)
    a, b = np.array(truth["known_length"]["ends_px"])
    scale = truth["mm_per_px_at_centre"]
    # The scale at the centre is not that at the ends of a leaning sheet, hence the room.
    lean = math.cos(math.radians(truth["camera"]["tilt_deg"]))
    seen = np.linalg.norm(a - b) * scale
    assert (
        0.8 * lean * truth["known_length"]["mm"] < seen < 1.25 / lean * truth["known_length"]["mm"]
    )


@pytest.mark.parametrize("photo", PRINTED, ids=lambda photo: photo.stem)
def test_the_markers_stand_where_the_truth_says(photo):
    rgb, truth = read(photo)
    sheet = get_sheet(truth["sheet_id"])
    shot = {hole["through_marker"] for hole in truth["holes"]} - {None}
    found = detect(rgb)
    assert {m.marker_id for m in sheet.fiducials} - shot <= set(found)
    for marker in sheet.fiducials:
        if marker.marker_id in found and marker.marker_id not in shot:
            apart = place(truth, marker.corners_mm) - found[marker.marker_id]
            assert np.linalg.norm(apart.mean(axis=0)) < truth["mm_to_px"]["max_deviation_px"] + 0.5


@pytest.mark.parametrize("photo", PRINTED, ids=lambda photo: photo.stem)
def test_open_holes_are_dark_and_patched_ones_are_not(photo):
    rgb, truth = read(photo)
    for hole in truth["holes"]:
        x, y, reach = round(hole["x_px"]), round(hole["y_px"]), round(hole["hole_px"])
        near = rgb[y - reach : y + reach + 1, x - reach : x + reach + 1].max(axis=2)
        middle = np.median(rgb[y - 2 : y + 3, x - 2 : x + 3].max(axis=2))
        if hole["state"] == "open":
            assert middle < 0.45 * np.percentile(near, 90)
        else:
            assert middle > 0.8 * np.percentile(near, 90)


def test_one_marker_is_shot_through_and_one_photo_is_stored_turned():
    truths = [read(photo)[1] for photo in PRINTED]
    assert any(hole["through_marker"] is not None for t in truths for hole in t["holes"])
    assert any(t["exif_orientation"] != 1 for t in truths)
    tilts = [t["camera"]["tilt_deg"] for t in truths]
    assert min(tilts) < 5
    assert max(tilts) > 25


@pytest.mark.parametrize("name", SAMPLES)
def test_the_truth_on_file_is_that_of_the_script(name):
    plan = plan_photo(**({"size": SAMPLE_SIZE} | SAMPLES[name]))
    again = json.loads(json.dumps(truth_of(plan, photo=name)))
    on_file = json.loads((FOLDER / name).with_suffix(".json").read_text(encoding="utf-8"))
    assert again["holes"] == on_file["holes"]
    assert again["mm_to_px"]["homography"] == [
        pytest.approx(row, rel=1e-6, abs=1e-9) for row in on_file["mm_to_px"]["homography"]
    ]


@pytest.mark.parametrize("name", PRACTICE_SAMPLES)
def test_the_truth_of_other_sheets_on_file_is_that_of_the_script(name):
    order = next(order for order in own_orders() if order.name == name)
    again = json.loads(json.dumps(truth_of(order.plan, photo=name)))
    on_file = json.loads((FOLDER / name).with_suffix(".json").read_text(encoding="utf-8"))
    assert [h["state"] for h in again["holes"]] == [h["state"] for h in on_file["holes"]]
    for key in ("x_mm", "y_mm", "x_px", "y_px", "hole_mm"):
        expected = [h[key] for h in on_file["holes"]]
        assert [h[key] for h in again["holes"]] == pytest.approx(expected, abs=0.01)
    assert again["light"] == on_file["light"]


def test_a_pair_is_the_same_face_with_more_holes():
    pairs = {truth["photo"]: truth for _, truth in map(read, PHOTOS) if "pair" in truth}
    assert len(pairs) == 2
    for truth in pairs.values():
        other = pairs[truth["pair"]["other"]]
        assert other["pair"]["other"] == truth["photo"]
        if truth["pair"]["role"] == "before":
            old = {(h["x_mm"], h["y_mm"]) for h in truth["holes"]}
            new = {(h["x_mm"], h["y_mm"]) for h in other["holes"] if not h["new"]}
            assert old == new


# ------------------------------------------------------------------------------- the renderer

angles = st.floats(0, 2 * math.pi)


def camera(tilt, axis, roll, k1):
    return Camera(1500, 2000, 1400.0, k1, tilt, axis, roll, (700.0, 1040.0), 420.0)


@settings(deadline=None, max_examples=50)
@given(
    tilt=st.floats(0, 0.6),
    axis=angles,
    roll=st.floats(-0.3, 0.3),
    k1=st.floats(-0.01, 0.01),
    sag=st.floats(-5, 5),
    direction=angles,
    x=st.floats(-100, 100),
    y=st.floats(-140, 140),
)
def test_a_ray_meets_the_point_that_is_seen_along_it(tilt, axis, roll, k1, sag, direction, x, y):
    bend = Bend(sag, 175.0, direction)
    eye = camera(tilt, axis, roll, k1)
    u, v = eye.project(bend.lift(np.array([x, y])))
    assert eye.meet(np.array([u]), np.array([v]), bend)[0] == pytest.approx((x, y), abs=1e-4)


@given(sag=st.floats(-8, 8), direction=angles, turn=angles)
def test_bending_keeps_lengths_along_the_paper(sag, direction, turn):
    flat = np.linspace(0, 120, 4001)[:, None] * [math.cos(turn), math.sin(turn)]
    bent = Bend(sag, 175.0, direction).lift(flat)
    assert np.linalg.norm(np.diff(bent, axis=0), axis=1).sum() == pytest.approx(120, abs=1e-4)


def test_tilt_is_the_angle_of_a_foreshortened_square():
    """Far away, a square that leans by t is narrower by cos t across the axis of leaning."""
    eye = Camera(1000, 1000, 1e6, 0.0, 0.5, math.pi / 2, 0.0, (499.5, 499.5), 1e6)
    corners = np.array([[-50.0, -50, 0], [50, -50, 0], [50, 50, 0], [-50, 50, 0]])
    width, height = np.ptp(eye.project(corners), axis=0)
    assert width / height == pytest.approx(math.cos(0.5), rel=1e-3)


@pytest.fixture(scope="module")
def small():
    plan = plan_photo(
        "five-aims-a4", seed=5, size=(900, 1200), tilt_deg=20, light="sun", marker_shot=True
    )
    return plan, take_photo(plan)


def test_the_picture_shows_the_markers_where_the_plan_has_them(small):
    plan, rgb = small
    found = detect(rgb)
    assert len(found) >= 7
    for marker in plan.sheet.fiducials:
        if marker.marker_id in found:
            seen = plan.camera.project(plan.bend.lift(marker.corners_mm))
            # Each corner is found inside the true one, bright paper spreading over ink; their mean
            # is where it should be.
            apart = (found[marker.marker_id] - seen).mean(axis=0)
            assert np.linalg.norm(apart) < 0.15


def test_the_same_plan_gives_the_same_picture_and_another_seed_another(small):
    plan, rgb = small
    assert np.array_equal(rgb, take_photo(plan))
    arguments = {"size": (900, 1200), "tilt_deg": 20, "light": "sun", "marker_shot": True}
    assert plan_photo("five-aims-a4", seed=5, **arguments) == plan
    assert plan_photo("five-aims-a4", seed=6, **arguments) != plan


@pytest.mark.parametrize("index", range(12))
def test_random_photos_have_the_whole_sheet_and_every_hole_in_view(index):
    plan = random_plan(7, index)
    truth = truth_of(plan, photo="x.jpg")
    size = np.array(truth["image_size_px"])
    points = truth["corners_px"] + [[h["x_px"], h["y_px"]] for h in truth["holes"]]
    assert (np.array(points) > 0).all()
    assert (np.array(points) < size).all()
    assert plan == random_plan(7, index)
    assert truth["camera"]["tilt_deg"] <= 30


def test_the_script_writes_photos_with_truth(tmp_path, monkeypatch):
    blank = np.full((40, 30, 3), 200, np.uint8)
    monkeypatch.setattr(make_samples, "take_photo", lambda plan: blank)
    monkeypatch.setattr(make_samples, "take_practice", lambda plan: blank)
    make_samples.main(["--out", str(tmp_path), "--count", "11", "--seed", "3"])
    truths = [json.loads(file.read_text(encoding="utf-8")) for file in tmp_path.glob("*.json")]
    assert len(truths) == 11
    assert all((tmp_path / truth["photo"]).is_file() for truth in truths)
    kinds = {truth["sheet"] for truth in truths}
    assert set(KINDS) <= kinds
    assert kinds & set(printable_ids())
    before, after = (t for t in sorted(truths, key=lambda t: t["photo"]) if "pair" in t)
    assert before["pair"] == {"role": "before", "other": after["photo"]}
    assert after["pair"] == {"role": "after", "other": before["photo"]}


def test_the_script_refuses_a_sheet_that_does_not_exist(capsys):
    with pytest.raises(SystemExit):
        make_samples.main(["--count", "1", "--sheet", "ring_81"])
    assert "ring_81" in capsys.readouterr().err


def test_one_sheet_and_difficulty_can_be_had_alone_and_all_are_mixed_evenly():
    only = {
        random_order(3, k, sheet="grid", difficulty="hard", megapixels=3).plan.difficulty
        for k in range(4)
    }
    assert only == {"hard"}
    plans = [random_order(3, k, megapixels=3).plan for k in range(3 * len(MIX))]
    seen = {(p.kind, p.difficulty) for p in plans if isinstance(p, PracticePlan)}
    assert {(kind, level) for kind in KINDS for level in LEVELS} <= seen


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_a_turned_photo_is_upright_to_any_viewer(orientation):
    upright = np.zeros((48, 80, 3), np.uint8)
    upright[:16, :16] = 255
    data = encode_jpeg(upright, orientation=orientation, focal_eq_mm=26.0)
    with Image.open(io.BytesIO(data)) as image:
        assert image.getexif().get_ifd(0x8769)[0xA405] == 26  # EXIF 2.32, FocalLengthIn35mmFilm
        shown = np.asarray(ImageOps.exif_transpose(image))
    assert shown.shape == (48, 80, 3)
    assert shown[:12, :12].min() > 200
    assert shown[24:].max() < 60


@pytest.mark.parametrize("factor", [Fraction(3, 4), Fraction(1, 2), Fraction(2, 3)])
def test_a_smaller_photo_carries_its_truth_along(factor):
    """A bright dot, found by its centroid, stands where the smaller truth says."""
    x, y = 131.3, 77.8
    columns, rows = np.meshgrid(np.arange(240), np.arange(120))
    dot = np.exp(-((columns - x) ** 2 + (rows - y) ** 2) / 18) * 250
    picture = np.repeat(np.round(dot).astype(np.uint8)[..., None], 3, axis=2)
    truth = {
        "image_size_px": [240, 120],
        "corners_px": [[0.0, 0.0]],
        "aim_points_px": [[x, y]],
        "known_length": {"mm": 10.0, "ends_px": [[0.0, 0.0], [120.0, 0.0]]},
        "holes": [{"x_px": x, "y_px": y, "hole_px": 12.0}],
        "camera": {"f_px": 200.0, "cx": 119.5, "cy": 59.5},
        "mm_to_px": {
            "homography": [[2.0, 0.0, x], [0.0, -2.0, y], [0.0, 0.0, 1.0]],
            "max_deviation_px": 1.0,
            "rms_deviation_px": 0.5,
        },
        "mm_per_px_at_centre": 0.5,
    }
    small = shrink_truth(truth, factor)
    grey = shrink_picture(picture, factor)[..., 0].astype(float)
    assert list(grey.shape[::-1]) == small["image_size_px"]
    v, u = np.indices(grey.shape)
    seen = (grey * u).sum() / grey.sum(), (grey * v).sum() / grey.sum()
    assert seen == pytest.approx(small["aim_points_px"][0], abs=0.02)
    assert seen == pytest.approx((small["holes"][0]["x_px"], small["holes"][0]["y_px"]), abs=0.02)
    at_origin = np.array(small["mm_to_px"]["homography"])[:2, 2]
    assert seen == pytest.approx(tuple(at_origin), abs=0.02)
    width, height = small["image_size_px"]
    middle = small["camera"]["cx"], small["camera"]["cy"]
    assert middle == pytest.approx(((width - 1) / 2, (height - 1) / 2))
    assert truth["holes"][0]["x_px"] == x


def test_a_factor_that_leaves_half_pixels_is_refused():
    with pytest.raises(ValueError, match="not whole"):
        shrink_truth({"image_size_px": [4032, 3024]}, Fraction(3, 5))
