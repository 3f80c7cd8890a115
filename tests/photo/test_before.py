"""What is new since an earlier photo: registration in any pose, and pairs of photos."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from groupscan.errors import MarksError
from groupscan.photo.before.register import Motion, pair_up, register
from groupscan.photo.marks.hand import KnownLength
from groupscan.photo.reading import Photo
from groupscan.photo.scan import Scan, scan_photo
from groupscan.sheets.catalogue import get_sheet
from tests.photo.drawn_sheets import Paper, camera_at, photograph, seen

STICKER_RGB = (232, 228, 214)
OLD = np.array([[-31, 12], [24, -8], [5, 33], [-12, -27], [38, 22], [-40, -15], [14, 8.0]])


def turn_of(degrees: float) -> np.ndarray:
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array([[c, -s], [s, c]])


def spread_out(rng: np.random.Generator, count: int, apart: float = 14.0) -> np.ndarray:
    places: list[np.ndarray] = []
    while len(places) < count:
        new = rng.uniform(-150, 150, 2)
        if all(np.hypot(*(new - old)) > apart for old in places):
            places.append(new)
    return np.array(places)


# ----------------------------------------------------------------------------- the registration


@given(
    seed=st.integers(0, 2**32 - 1),
    old=st.integers(4, 15),
    new=st.integers(0, 6),
    degrees=st.floats(-180.0, 180.0),
    shift=st.tuples(st.floats(-1.5, 1.5), st.floats(-1.5, 1.5)),
)
@example(seed=12, old=7, new=0, degrees=0.75, shift=(0.0, 0.0))  # medians do not turn
@settings(deadline=None, max_examples=25)
def test_rings_are_laid_on_one_another_at_any_turn(seed, old, new, degrees, shift) -> None:
    rng = np.random.default_rng(seed)
    places = spread_out(rng, old + new)
    moved = places @ turn_of(degrees).T + shift + rng.normal(0, 0.3, places.shape)
    motion, _ = register(moved, places[:old], sheet=get_sheet("ring-80"))
    off = (motion.angle_deg - degrees + 180) % 360 - 180
    assert abs(off) < 1.0
    pairs = pair_up(moved, motion(places[:old]))
    assert sorted(map(tuple, pairs.tolist())) == [(i, i) for i in range(old)]


@given(seed=st.integers(0, 2**32 - 1), degrees=st.floats(-180.0, 180.0))
@settings(deadline=None, max_examples=4)
def test_a_length_alone_leaves_turn_shift_and_a_little_scale_open(seed, degrees) -> None:
    rng = np.random.default_rng(seed)
    places = spread_out(rng, 14)
    shift, scale = rng.uniform(-120, 120, 2), rng.uniform(0.985, 1.015)
    moved = scale * places @ turn_of(degrees).T + shift + rng.normal(0, 0.3, places.shape)
    motion, sure = register(moved, places[:10], sheet=get_sheet("known-length"))
    assert sure
    assert motion.scale == pytest.approx(scale, abs=0.006)
    assert np.hypot(*(motion(places) - moved).T).max() < 2.5


def test_fiducials_leave_no_turn_open() -> None:
    old = np.array([[30.0, 0.0], [-30.0, 1.0], [0.0, 30.0], [1.0, -30.0]])
    motion, _ = register(old, old @ turn_of(90).T, sheet=get_sheet("one-aim-letter"))
    assert motion.angle_deg == pytest.approx(0.0, abs=1.0)


def test_a_pattern_that_looks_the_same_turned_is_not_sure() -> None:
    square = 40.0 * np.array([[1.0, 1], [-1, 1], [-1, -1], [1, -1]])
    motion, sure = register(square, square, sheet=get_sheet("ring-40"))
    assert motion.angle_deg == pytest.approx(0.0, abs=0.1)  # as it was: most are not turned
    assert not sure
    # Nor does one hole say much of the turn; many do.
    assert not register(square @ turn_of(33).T, square[:1], sheet=get_sheet("ring-40"))[1]
    assert register(OLD @ turn_of(33).T, OLD, sheet=get_sheet("ring-40"))[1]


def test_a_motion_goes_back() -> None:
    motion = Motion(turn_of(123), np.array([4.0, -7.0]), 1.01)
    np.testing.assert_allclose(motion.back(motion(OLD)), OLD, atol=1e-9)
    assert motion.angle_deg == pytest.approx(123)


def test_a_new_hole_beside_an_old_one_is_the_one_that_is_farther_off() -> None:
    old = np.array([[0.0, 0], [60, 10], [-30, 70], [-50, -50]])
    now = np.vstack([[[0.4, 0.2], [2.9, 0.1]], old[1:]])
    assert pair_up(now, old).tolist() == [[0, 0], [2, 1], [3, 2], [4, 3]]


def test_nothing_pairs_with_nothing() -> None:
    assert pair_up(np.zeros((0, 2)), OLD).shape == (0, 2)
    assert pair_up(OLD, np.zeros((0, 2))).shape == (0, 2)


# --------------------------------------------------------------------------------- drawn pairs


def pair_of(
    sheet_id: str,
    new: np.ndarray,
    *,
    old: np.ndarray = OLD,
    turn_deg: float = 0.0,
    stickers: tuple[int, ...] = (),
    tilts: tuple[float, float] = (17.0, 9.0),
) -> tuple[Photo, Photo, np.ndarray]:
    """Photos before and after, from other sides, and where the new holes are in the later one."""
    sheet = get_sheet(sheet_id)
    first, second = (Paper(sheet) for _ in range(2))
    for paper in (first, second):
        paper.holes(old, 5.4)
    for i in stickers:
        second.disc(*old[i], 20.0, STICKER_RGB)
    second.holes(new, 5.4)
    views = [
        camera_at(sheet.width_mm, size=(1200, 1200), tilt_deg=tilt, axis_deg=axis, roll_deg=roll)
        for tilt, axis, roll in zip(tilts, (40.0, 200.0), (turn_deg + 3.0, -2.0), strict=True)
    ]
    before, after = (
        photograph(p, v, seed=i)
        for i, (p, v) in enumerate(zip((first, second), views, strict=True))
    )
    return before, after, seen(views[1], new)


def farthest_mm(scan: Scan, true_px: np.ndarray) -> float:
    """Largest distance of a found shot from the nearest true one and the other way round."""
    shots = [h for h in scan.holes if h.state != "patched"]
    at = np.array([[h.x_px, h.y_px] for h in shots]).reshape(-1, 2)
    away = np.hypot(*(at[None] - true_px[:, None]).transpose(2, 0, 1))
    return float(max(away.min(axis=0).max(), away.min(axis=1).max())) * scan.scale.mm_per_px


@pytest.mark.parametrize(
    ("sheet_id", "turn_deg"),
    [
        ("ring-40", 0.0),
        ("ring-40", 147.0),
        ("inch-grid", 90.0),
        ("plain-letter", 180.0),
        ("one-aim-letter", 90.0),
    ],
)
def test_only_new_holes_are_reported_however_the_sheet_was_turned(sheet_id, turn_deg) -> None:
    new = np.array([[-22.0, 25.0], [18.0, -34.0]])
    before, after, true_px = pair_of(sheet_id, new, turn_deg=turn_deg)
    scan = scan_photo(after, sheet=sheet_id, before=before)
    assert farthest_mm(scan, true_px) < 0.8
    assert [w for w in scan.warnings if "earlier" in w] == []


@pytest.mark.parametrize("apart_mm", [2.5, 4.5])
def test_a_new_hole_over_an_old_one_counts(apart_mm) -> None:
    new = np.array([OLD[2] + [apart_mm * 0.8, apart_mm * 0.6], [-20.0, 25.0]])
    before, after, true_px = pair_of("ring-40", new)
    assert farthest_mm(scan_photo(after, sheet="ring-40", before=before), true_px) < 0.8


def test_holes_patched_since_are_said_to_be_and_are_no_shots() -> None:
    before, after, true_px = pair_of("plain-letter", np.array([[-22.0, 25.0]]), stickers=(0, 4))
    scan = scan_photo(after, before=before)
    assert farthest_mm(scan, true_px) < 0.8
    patched = np.array([[h.x_mm, h.y_mm] for h in scan.holes if h.state == "patched"])
    away = np.hypot(*(patched[None] - OLD[[0, 4]][:, None]).transpose(2, 0, 1))
    assert patched.shape == (2, 2)
    assert away.min(axis=1).max() < 1.0
    assert "2 of 7 earlier holes have been patched since." in scan.warnings


def test_a_single_old_hole_with_a_new_one_over_it() -> None:
    """The marks, not the one hole, say how the photos lie on one another."""
    new = np.array([[-30.0, 14.5], [22.0, 30.0]])
    before, after, true_px = pair_of("one-aim-letter", new, old=OLD[:1])
    assert farthest_mm(scan_photo(after, before=before), true_px) < 0.8


def test_a_face_without_marks_is_scaled_by_hand_in_both_photos() -> None:
    """A length between two holes gives neither origin nor up: the holes in both photos do."""
    new = np.array([[-22.0, 25.0]])
    before, after, true_px = pair_of("plain-letter", new, turn_deg=90.0, tilts=(0.0, 0.0))
    views = [camera_at(215.9, size=(1200, 1200), roll_deg=roll) for roll in (93.0, -2.0)]
    length = float(np.hypot(*(OLD[4] - OLD[5])))
    marks = [
        KnownLength(length, tuple(tuple(end) for end in seen(view, OLD[[5, 4]])))  # type: ignore[arg-type]
        for view in (views[0], views[1])
    ]
    scan = scan_photo(
        after, sheet="known-length", hand_marks=marks[1], before=before, before_marks=marks[0]
    )
    assert farthest_mm(scan, true_px) < 0.8
    with pytest.raises(MarksError, match="earlier photo"):
        scan_photo(after, sheet="known-length", hand_marks=marks[1], before=before)


# --------------------------------------------------------------------------------- the samples


def new_of_the_pair(samples) -> np.ndarray:
    holes = samples.truth("05_face80_after")["holes"]
    return np.array([[h["x_px"], h["y_px"]] for h in holes if h["new"]])


@pytest.mark.parametrize("quarters", [0, 1])
def test_only_the_new_arrows_of_the_pair_are_reported(samples, quarters) -> None:
    before, after = samples.photo("04_face80_before"), samples.photo("05_face80_after")
    turned = replace(before, rgb=np.ascontiguousarray(np.rot90(before.rgb, quarters)))
    scan = scan_photo(after, sheet="ring-80", before=turned, arrows=3)
    assert len(scan.holes) == 3
    assert [warning for warning in scan.warnings if "arrows" in warning] == []
    assert farthest_mm(scan, new_of_the_pair(samples)) < 1.0
    assert scan.holes == tuple(h for h in samples.scan("05_face80_after").holes if h in scan.holes)


def test_against_itself_nothing_is_new(samples) -> None:
    photo = samples.photo("07_one_aim_square_on")
    scan = scan_photo(photo, before=photo)
    assert scan.holes == ()
    assert any("No holes" in warning for warning in scan.warnings)


def test_the_later_photo_as_the_earlier_one_says_what_is_gone(samples) -> None:
    """Holes do not close: what is not there again must not pass in silence."""
    before, after = samples.photo("05_face80_after"), samples.photo("04_face80_before")
    scan = scan_photo(after, sheet="ring-80", before=before)
    assert [h for h in scan.holes if h.state != "patched"] == []
    assert any(re_said in w for w in scan.warnings for re_said in ("patched since", "not found"))


def test_a_count_that_is_not_that_of_the_new_ones_is_said(samples) -> None:
    before, after = samples.photo("04_face80_before"), samples.photo("05_face80_after")
    scan = scan_photo(after, sheet="ring-80", before=before, arrows=5)
    assert [warning for warning in scan.warnings if "arrows" in warning] != []
