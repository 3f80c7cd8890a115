"""The renderer of practice photos tells the truth: what it draws is measured in its pictures."""

import math
from dataclasses import replace
from itertools import pairwise

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sample_targets.arrows import arrow_shade, outline_px
from sample_targets.camera import Bend, Camera
from sample_targets.expose import shot_sheet, take_practice
from sample_targets.film import decode
from sample_targets.light import LIGHTS, Lighting, Source, set_light
from sample_targets.marks import Hole
from sample_targets.practice import KINDS, LEVELS, plan_practice
from sample_targets.surface import Curl, hang_paper
from sample_targets.truth import truth_of
from sample_targets.volley import stand_arrow
from sample_targets.wounds import blade_turns

EVEN = Lighting("overcast", (1.0, 1.0, 1.0), noise=0.003)


def grey(rgb):
    """Linear light in 0..255: only there does a blurred edge keep its place at half the step."""
    return decode(rgb).mean(axis=2) * 255


def along(picture, a, b, count=2000):
    """Sample a picture evenly on the line between two pixel positions."""
    points = np.linspace(a, b, count).astype(np.float32)[None]
    return cv2.remap(picture, points[..., 0], points[..., 1], cv2.INTER_LINEAR)[0]


def placed(plan, points_mm):
    return plan.camera.project(plan.bend.lift(np.asarray(points_mm, dtype=float)))


# --------------------------------------------------------------------------------- the plans


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("kind", KINDS)
def test_a_plan_has_its_sheet_and_holes_in_view_and_keeps_to_its_difficulty(kind, level):
    for seed in range(3):
        plan = plan_practice(kind, level, seed=seed, megapixels=3)
        truth = truth_of(plan, photo="x.jpg")
        size = np.array(truth["image_size_px"])
        points = np.array(truth["corners_px"] + [[h["x_px"], h["y_px"]] for h in truth["holes"]])
        # A corner may curl a little out of the place that it has on the flat sheet.
        assert (points > -4).all()
        assert (points < size + 4).all()
        low, high = LEVELS[level].tilt_deg
        assert low - 0.01 <= truth["camera"]["tilt_deg"] <= high + 0.01
        assert truth["sheet"] == kind
        assert truth["difficulty"] == level
        assert plan == plan_practice(kind, level, seed=seed, megapixels=3)
        assert plan != plan_practice(kind, level, seed=seed + 99, megapixels=3)
        if level == "easy":
            states = {(h["state"], h["overlaps"], h["behind_arrow"]) for h in truth["holes"]}
            assert states == {("open", 0, False)}


def test_the_difficulties_have_what_they_are_made_of():
    holes = {
        level: [
            hole
            for kind in KINDS
            for seed in range(6)
            for hole in truth_of(plan_practice(kind, level, seed=seed), photo="x")["holes"]
        ]
        for level in LEVELS
    }
    for level in ("medium", "hard"):
        assert {h["state"] for h in holes[level]} == {"open", "arrow_in", "patched"}
        assert {h["point"] for h in holes[level]} == {"round", "cut2", "cut3", "cut4"}
    assert any(h["behind_arrow"] for h in holes["hard"])
    crowded = {level: np.mean([h["overlaps"] > 0 for h in holes[level]]) for level in LEVELS}
    assert crowded["easy"] == 0 < crowded["medium"] < crowded["hard"]


def test_a_pair_is_one_sheet_in_two_photos():
    before = plan_practice("ring_60", "medium", seed=8, role="before", megapixels=3)
    after = plan_practice("ring_60", "medium", seed=8, role="after", megapixels=3)
    assert set(before.holes) == {hole for hole in after.holes if not hole.new}
    assert any(hole.new for hole in after.holes)
    assert before.stickers == after.stickers
    assert before.camera != after.camera
    assert before.light != after.light


# ---------------------------------------------------------------------------------- the paper

spots = st.floats(-100, 100)


@settings(deadline=None, max_examples=40)
@given(seed=st.integers(0, 10**6), x=spots, y=spots, tilt=st.floats(0, 0.7), axis=st.floats(0, 6.3))
def test_a_ray_meets_the_point_of_the_curled_sheet_that_is_seen_along_it(seed, x, y, tilt, axis):
    bend = hang_paper(np.random.default_rng(seed), np.array([105.0, 145.0]), 5.0)
    eye = Camera(1500, 2000, 1400.0, -0.05, tilt, axis, 0.05, (700.0, 1040.0), 420.0)
    u, v = eye.project(bend.lift(np.array([x, y])))
    assert eye.meet(np.array([u]), np.array([v]), bend)[0] == pytest.approx((x, y), abs=2e-3)


def test_curl_hardly_stretches_the_paper():
    bend = hang_paper(np.random.default_rng(4), np.array([105.0, 145.0]), 5.0)
    for turn in np.linspace(0, math.pi, 7):
        flat = np.linspace(-95, 95, 3001)[:, None] * [math.cos(turn), math.sin(turn)]
        steps = np.diff(bend.lift(flat), axis=0)
        assert np.linalg.norm(steps, axis=1).sum() == pytest.approx(190, rel=3e-3)


def test_slope_is_the_gradient_of_the_height():
    plane = Curl(Bend(0.0, 100.0, 0.0), waves=((0.01, 0.0, 0.0, 2.0),))
    x, y = np.array([0.0, 50.0]), np.array([3.0, -7.0])
    rise_x, rise_y = plane.slope(x, y)
    assert rise_x == pytest.approx(0.02 * np.cos(0.01 * x), abs=1e-4)
    assert rise_y == pytest.approx(0.0, abs=1e-9)


# ---------------------------------------------------------------------------------- the light


@pytest.mark.parametrize("name", LIGHTS)
def test_every_light_can_be_set_and_exposes_white_paper_well(name):
    half = np.array([108.0, 140.0])
    x, y = np.meshgrid(np.linspace(-100, 100, 21), np.linspace(-130, 130, 21))
    for seed in range(4):
        light = set_light(name, np.random.default_rng(seed), half)
        level = light.at(x.astype(np.float32), y.astype(np.float32)).mean(axis=2)
        assert 0.05 < level.min() <= level.max() < 1.6
        assert np.percentile(level, 90) > 0.4


def test_a_light_that_does_not_exist_is_refused():
    with pytest.raises(ValueError, match="moon"):
        set_light("moon", np.random.default_rng(0), np.ones(2))


def test_a_shadow_takes_the_first_source_and_leaves_the_sky():
    sun = Source((0.6, 0.0, 0.8), (0.7, 0.7, 0.7))
    light = Lighting("sun_shadow", (0.3, 0.3, 0.3), (sun,), edge_mm=(0.0, 0.0, 5.0, np.inf))
    x = np.array([[-50.0, 50.0]], np.float32)
    assert light.at(x, 0 * x)[0, :, 1] == pytest.approx([1.0, 0.3])
    assert light.direct_share(-50, 0) == (pytest.approx(0.7), pytest.approx((0.6, 0.0, 0.8)))
    assert light.direct_share(50, 0)[0] == 0
    # Lambert: paper that leans towards the sun until it faces it gets 1 / 0.8 of the flat light.
    lean = np.full_like(x, -0.75), np.zeros_like(x)
    assert light.at(x, 0 * x, slope=lean)[0, 0, 1] == pytest.approx(0.3 + 0.7 / 0.8)


# ------------------------------------------------------------------------- what pictures show


@pytest.fixture(scope="module")
def letter():
    plan = plan_practice("letter", "easy", seed=21, megapixels=3)
    plan = replace(plan, light=EVEN, specks=(), orientation=1)
    return plan, take_practice(plan)


def test_clean_holes_are_dark_where_the_truth_has_them_and_as_large(letter):
    plan, rgb = letter
    picture = grey(rgb)
    off, size = [], []
    for hole in truth_of(plan, photo="x")["holes"]:
        if hole["point"] != "round":
            continue
        reach = round(1.2 * hole["hole_px"])
        x, y = round(hole["x_px"]), round(hole["y_px"])
        part = picture[y - reach : y + reach + 1, x - reach : x + reach + 1]
        paper = np.percentile(part, 90)
        if paper < 150 or np.mean(part < 0.5 * paper) > 0.35:
            continue  # on the mark that was aimed at
        dark = (part < 0.45 * paper).astype(np.uint8)
        _, label, stats, middle = cv2.connectedComponentsWithStats(dark)
        k = label[reach, reach]
        scale = hole["hole_mm"] / hole["hole_px"]
        at = middle[k] - reach + [x - hole["x_px"], y - hole["y_px"]]
        off.append(at * scale)
        size.append(math.sqrt(4 * stats[k, cv2.CC_STAT_AREA] / math.pi) / hole["hole_px"])
    assert len(off) >= 4
    # Flaps move a single centroid by some tenths of a millimetre; half a pixel, 0.08 mm here,
    # would be a mistake.
    assert np.linalg.norm(off, axis=1).max() < 0.6
    assert np.abs(np.median(off, axis=0)).max() < 0.08
    assert np.median(size) == pytest.approx(1, abs=0.08)


def test_the_paper_s_edges_are_where_the_truth_has_its_corners(letter):
    plan, rgb = letter
    picture = grey(rgb)
    half_w, half_h = plan.sheet.width_mm / 2, plan.sheet.height_mm / 2
    for a, b in (((-1, 0), (-half_w, 20.0)), ((1, 0), (half_w, -30.0)), ((0, 1), (25.0, half_h))):
        ends = placed(plan, [np.array(b) - 4 * np.array(a), np.array(b) + 4 * np.array(a)])
        line = along(picture, *ends)
        # The butt may be lighter or darker than half the paper: the steepest fall is the edge.
        fall = np.gradient(cv2.GaussianBlur(line[None], (0, 0), 60)[0])
        assert abs(np.argmin(fall) - 1000) * 8 / 2000 < 0.25


def test_blades_cut_as_far_as_the_truth_says():
    plan = plan_practice("a4", "medium", seed=5, megapixels=4)
    turn = 0.7
    cut = Hole(30.0, -80.0, 6.0, 5.5, point="cut3", cut_mm=28.0, turn_rad=turn)
    plan = replace(plan, holes=(cut,), light=EVEN, stickers=(), specks=(), arrows=())
    picture = grey(take_practice(plan))
    paper = picture[tuple(np.round(placed(plan, [[75.0, -80.0]])[0][::-1]).astype(int))]
    for k in range(3):
        step = np.array(
            [math.cos(turn + k * 2 * math.pi / 3), math.sin(turn + k * 2 * math.pi / 3)]
        )
        # Across the blade, at 8 mm from the axis: within the cut; at 17 mm: past it.
        aside = np.array([-step[1], step[0]]) * 2.5
        near, past = (
            along(
                picture, *placed(plan, [[30, -80] + r * step - aside, [30, -80] + r * step + aside])
            )
            for r in (8.0, 17.0)
        )
        assert near.min() < 0.65 * paper
        assert past.min() > 0.85 * paper
    assert truth_of(plan, photo="x")["holes"][0]["point"] == "cut3"


def test_heads_have_as_many_blades_as_they_say():
    rng = np.random.default_rng(1)
    assert blade_turns("round", 0.3, rng) == []
    for count in (2, 3, 4):
        turns = blade_turns(f"cut{count}", 0.3, rng)
        steps = [b - a for a, b in pairwise(turns)]
        assert steps == pytest.approx([2 * math.pi / count] * (count - 1), abs=0.2)


def test_the_strip_s_blocks_change_every_fifty_millimetres_of_the_truth():
    plan = plan_practice("butt", "easy", seed=2, megapixels=4)
    plan = replace(plan, light=EVEN, holes=(), specks=())
    picture = grey(take_practice(plan))
    length = truth_of(plan, photo="x")["known_length"]
    assert length["mm"] == 300
    x, y, turn = plan.strip
    for k in range(1, 6):
        at = np.array([x, y]) + (k * 50 - 150) * np.array([math.cos(turn), math.sin(turn)])
        step = 6 * np.array([math.cos(turn), math.sin(turn)])
        line = along(picture, *placed(plan, [at - step, at + step]))
        middle = (line[:200].mean() + line[-200:].mean()) / 2
        crossing = np.argmax(line > middle) if k % 2 else np.argmax(line < middle)
        assert abs(crossing - 1000) * 12 / 2000 < 0.15
    ends = np.array(length["ends_px"])
    assert ends == pytest.approx(
        placed(plan, [[x - 150 * math.cos(turn), y - 150 * math.sin(turn)],
                      [x + 150 * math.cos(turn), y + 150 * math.sin(turn)]]), abs=1e-2)  # fmt: skip


def test_grid_lines_lie_every_inch_of_the_curled_sheet():
    plan = plan_practice("grid", "hard", seed=3, megapixels=6)
    plan = replace(plan, light=EVEN, holes=(), stickers=(), specks=(), arrows=())
    picture = grey(take_practice(plan))
    off = []
    for k in (-8, -5, 4, 7):
        for y in (-190.5, -114.3, 88.9, 165.1):  # half way between lines
            line = along(picture, *placed(plan, [[k * 25.4 - 4, y], [k * 25.4 + 4, y]]))
            dark = np.clip(np.median(line) - line, 0, None)
            off.append((dark * (np.arange(2000) - 999.5)).sum() / dark.sum() * 8 / 1999)
    assert np.abs(off).max() < 0.3
    assert abs(np.mean(off)) < 0.08


def test_a_ring_s_edge_is_at_its_radius():
    plan = plan_practice("ring_80", "medium", seed=6, megapixels=6)
    plan = replace(plan, light=EVEN, holes=(), stickers=(), specks=(), arrows=())
    picture = grey(take_practice(plan))
    radius = plan.sheet.rings[2].radius_mm  # white outside, black inside
    for turn in np.linspace(0.3, 6.0, 7):
        step = np.array([math.cos(turn), math.sin(turn)])
        line = along(picture, *placed(plan, [(radius - 8) * step, (radius + 8) * step]))
        middle = (line[:200].mean() + line[-200:].mean()) / 2
        assert abs(np.argmax(line > middle) - 1000) * 16 / 2000 < 0.35


def test_a_sticker_hides_the_hole_under_it():
    seeds = (plan_practice("a4", "medium", seed=k, megapixels=3) for k in range(40))
    plan = next(
        p for p in seeds if any(h.patched for h in p.holes) and p.stickers[0].colour[0] > 0.6
    )
    plan = replace(plan, light=EVEN)
    canvas = shot_sheet(plan)
    for hole in (h for h in plan.holes if h.patched):
        u, v = (round(float(a)) for a in canvas.px(hole.x_mm, hole.y_mm))
        assert canvas.picture[v - 3 : v + 4, u - 3 : u + 4].min() > 0.5


# --------------------------------------------------------------------------------- the arrows


@pytest.fixture(scope="module")
def with_arrow():
    plan = plan_practice("ring_60", "medium", seed=11, megapixels=4, light="sun")
    hole = Hole(60.0, -40.0, 6.0, 6.0, arrow=True)
    arrow = stand_arrow(hole, plan.bend.lift(np.array([60.0, -40.0])), np.random.default_rng(5))
    far = replace(plan.camera, distance_mm=max(plan.camera.distance_mm, 1800.0))
    plan = replace(plan, camera=far, holes=(hole,), stickers=(), arrows=(arrow,), specks=())
    return plan, arrow, hole


def test_an_arrow_covers_its_outline_and_throws_its_shadow_where_the_sun_says(with_arrow):
    plan, arrow, hole = with_arrow
    seen, bare = (grey(take_practice(p)) for p in (plan, replace(plan, arrows=(), holes=())))
    changed = abs(seen - bare) > 12
    mask = np.zeros(changed.shape, np.uint8)
    cv2.fillPoly(mask, [np.round(outline_px(arrow, plan.camera)).astype(np.int32)], 1)
    assert changed[mask == 1].mean() > 0.8
    towards = np.array(plan.light.sources[0].towards)
    # A point half way up the shaft throws its shadow where the ray from the sun goes on.
    point = arrow.axis(np.array([250.0]))[0]
    shadow = point[:2] - point[2] * towards[:2] / towards[2]
    share = arrow_shade((arrow,), plan.light.sources[0], *np.float32(shadow).reshape(2, 1, 1))
    assert share[0, 0] < 0.6
    beside = np.float32(shadow + 25 * np.array([-towards[1], towards[0]]))
    assert arrow_shade((arrow,), plan.light.sources[0], *beside.reshape(2, 1, 1))[0, 0] == 1
    state = truth_of(plan, photo="x")["holes"][0]["state"]
    assert state == "arrow_in"
    assert (hole.x_mm, hole.y_mm) == (60.0, -40.0)


def test_a_hole_behind_a_shaft_is_said_to_be_hidden(with_arrow):
    plan, arrow, hole = with_arrow
    at = plan.camera.project(arrow.axis(np.array([120.0])))
    behind = plan.camera.meet(at[:, 0], at[:, 1], plan.bend)[0]
    covered = Hole(float(behind[0]), float(behind[1]), 6.0, 5.5)
    clear = Hole(-120.0, 150.0, 6.0, 5.5)
    truth = truth_of(replace(plan, holes=(hole, covered, clear)), photo="x")
    assert [h["behind_arrow"] for h in truth["holes"]] == [False, True, False]
