"""Round holes on drawn sheets, where each one's place is exact; and what is no hole."""

from collections.abc import Sequence

import cv2
import numpy as np
import pytest

from groupscan.photo.expected import flatten
from groupscan.photo.holes import Hole, find_holes
from groupscan.photo.holes.candidates import find_candidates, solid_spots
from groupscan.photo.holes.lines import without_lines
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import Disc, Sheet, Stroke
from tests.photo.drawn_sheets import Paper, camera_at, photograph, seen, true_plane

SHEET = Sheet(
    id="drawn",
    title="a black disc and lines",
    kind="paper",
    width_mm=260.0,
    height_mm=260.0,
    shapes=(
        Disc(-60.0, 0.0, 40.0, fill="#1b1b1b"),
        Stroke(-120.0, -80.0, 120.0, -80.0, 1.0, "#1b1b1b"),
        Stroke(70.0, -120.0, 70.0, 120.0, 0.6, "#1b1b1b"),
    ),
)
PAPER = np.array([[-100.3, 99.7], [-20.2, 70.4], [30.6, 100.1], [102.5, 60.9], [30.1, -20.8]])
PRINT = np.array([[-75.4, 10.2], [-44.7, -15.1]])
LINES = np.array([[-60.2, -80.4], [20.4, -79.2], [70.3, 20.5], [69.1, -40.6]])
EDGES = np.array([[-20.4, 1.2]])  # half on black, half on paper


def found_in(
    paper: Paper, camera, *, shaft_mm: float | None = None, seed: int = 0, sheet: Sheet = SHEET
) -> list[Hole]:
    plane = true_plane(camera)
    photo = photograph(paper, camera, seed=seed)
    return find_holes(photo, plane, flatten(photo, plane, sheet), shaft_mm=shaft_mm)


def nearest(holes: list[Hole], places: np.ndarray) -> tuple[np.ndarray, list[Hole]]:
    """Offset of the nearest hole to each place, (n, 2) mm, and those holes."""
    at = np.array([[hole.x_mm, hole.y_mm] for hole in holes])
    pick = np.hypot(*(at[None] - places[:, None]).transpose(2, 0, 1)).argmin(axis=1)
    return at[pick] - places, [holes[i] for i in pick]


def camera(tilt: float = 0.0, axis: float = 0.0, roll: float = 0.0, size=(1600, 1400)):
    return camera_at(260.0, size=size, fill=0.9, tilt_deg=tilt, axis_deg=axis, roll_deg=roll)


def test_clean_discs_on_paper_are_placed_to_a_tenth_of_a_millimetre() -> None:
    offsets = []
    for seed, (tilt, axis, roll) in enumerate([(0, 0, 0), (20, 60, 4), (35, 200, -8)]):
        paper = Paper(SHEET, px_per_mm=6.0)
        shift = np.random.default_rng(seed).uniform(-1, 1, PAPER.shape)
        paper.holes(PAPER + shift, 5.6)
        holes = found_in(paper, camera(tilt, axis, roll), seed=seed)
        assert len(holes) == len(PAPER)
        off, matched = nearest(holes, PAPER + shift)
        offsets.append(off)
        assert np.median([h.diameter_mm for h in matched]) == pytest.approx(5.6, abs=0.4)
        for hole in matched:
            assert (hole.cut, hole.state) == ("round", "open")
            assert 0.9 < hole.confidence <= 1.0
        # The same place in the photo.
        px = np.array([[h.x_px, h.y_px] for h in matched])
        mm = np.array([[h.x_mm, h.y_mm] for h in matched])
        np.testing.assert_allclose(px, seen(camera(tilt, axis, roll), mm), atol=0.01)
    assert np.sqrt(np.mean(np.sum(np.vstack(offsets) ** 2, axis=1))) < 0.1


@pytest.mark.parametrize(
    ("places", "bar"), [(PRINT, 0.3), (LINES, 0.2), (EDGES, 0.3)], ids=["print", "line", "edge"]
)
def test_holes_on_print_are_found_in_place(places, bar) -> None:
    paper = Paper(SHEET, px_per_mm=6.0)
    paper.holes(np.vstack([PAPER, places]), 5.6)
    holes = found_in(paper, camera(15, 110, 3))
    assert len(holes) == len(PAPER) + len(places)
    off, _ = nearest(holes, places)
    assert np.sqrt(np.mean(np.sum(off**2, axis=1))) < bar


def test_holes_along_the_edge_of_a_shadow_are_found_in_place() -> None:
    edge = np.array([[10.0, 40.0], [8.2, 61.0], [12.1, 19.0], [9.0, 90.0]])
    paper = Paper(SHEET, px_per_mm=6.0)
    paper.holes(edge, 5.6)
    paper.shade(1.0, 0.0, 10.0, 0.55)
    holes = found_in(paper, camera())
    assert len(holes) == len(edge)
    off, _ = nearest(holes, edge)
    # Half of the rim is lit and half is not: the dimmer half weighs less.
    assert np.hypot(*off.T).max() < 0.4


@pytest.mark.parametrize("diameter", [4.2, 5.6, 7.4, 9.2])
def test_the_diameter_is_that_of_the_hole(diameter) -> None:
    paper = Paper(SHEET, px_per_mm=6.0)
    paper.holes(PAPER, diameter)
    holes = found_in(paper, camera(10, 20))
    assert len(holes) == len(PAPER)
    sizes = [hole.diameter_mm for hole in holes]
    assert sizes == pytest.approx([diameter] * len(sizes), abs=0.5)


def test_a_stated_error_is_not_smaller_than_the_error() -> None:
    paper = Paper(SHEET, px_per_mm=6.0)
    places = np.vstack([PAPER, PRINT, LINES, EDGES])
    paper.holes(places, 5.6)
    holes = found_in(paper, camera(25, 140, 6))
    off, matched = nearest(holes, places)
    se = np.array([hole.se_mm for hole in matched])
    assert (se > 0).all()
    assert (np.abs(off) < 2 * se[:, None]).mean() > 0.95


def test_bare_sheets_have_no_holes() -> None:
    assert found_in(Paper(SHEET), camera(20, 30, 5)) == []
    paper = Paper(SHEET)
    paper.shade(0.7, 0.7, 0.0, 0.6)
    assert found_in(paper, camera(20, 30, 5)) == []


def test_noise_in_dark_print_is_no_hole() -> None:
    # A phone's tone curve lifts noise in the dark: here it is five times that on paper.
    face = Sheet(
        "face", "mostly black", "paper", 260.0, 260.0, shapes=(Disc(0, 0, 120, "#2b2b2b"),)
    )
    paper = Paper(face, px_per_mm=6.0)
    places = np.array([[-118.3, 118.1], [119.2, 117.4], [-50.4, 20.2], [40.3, -60.1]])
    paper.holes(places, 6.4)
    view = camera(10, 30, size=(400, 360))
    photo = photograph(paper, view)
    grain = cv2.GaussianBlur(
        np.random.default_rng(3).normal(0, 40, photo.rgb.shape[:2]), (0, 0), 0.6
    )
    dark = photo.rgb.max(axis=2, keepdims=True) < 100
    rgb = np.clip(photo.rgb + np.where(dark, grain[..., None], 0), 0, 255).astype(np.uint8)
    noisy = Photo("noisy", rgb)
    plane = true_plane(view)
    flat = flatten(noisy, plane, face)
    spots = find_candidates(flat)[:, :2]
    away = np.hypot(*(spots[:, None] - places).transpose(2, 0, 1))
    assert (away.min(axis=0)[:2] < 2.0).all()  # on paper they are plain
    # Of ten thousand places in the black hardly one is so dark by chance.
    assert (away.min(axis=1) > 5.0).sum() <= 2
    holes = find_holes(noisy, plane, flat)
    at = np.array([[hole.x_mm, hole.y_mm] for hole in holes])
    assert (np.hypot(*(at[:, None] - places).transpose(2, 0, 1)).min(axis=1) < 3.0).all()


def test_a_hole_beside_a_seam_is_found_in_place() -> None:
    paper = Paper(SHEET, px_per_mm=6.0)
    beside = np.array([[-90.0, 79.8]])
    paper.holes(np.vstack([PAPER[:4], beside]), 5.2)
    picture = paper.picture
    top = paper.px(0.0, 76.0)[1]
    row = slice(round(top), round(top) + round(2.6 * 6))
    picture[row, : picture.shape[1] // 3] *= 0.3
    view = camera(8, 20)
    off, _ = nearest(found_in(paper, view), beside)
    assert np.hypot(*off[0]) < 0.8
    # Where all that counts is dark enough, the hole stands apart, in its own size.
    spots = solid_spots(flatten(photograph(paper, view), true_plane(view), SHEET))
    near = np.hypot(*(spots[:, :2] - beside).T)
    assert near.min() < 0.5
    assert spots[near.argmin(), 2] == pytest.approx(2.6, abs=0.5)


def test_specks_stickers_and_stains_are_no_shots() -> None:
    rng = np.random.default_rng(4)
    paper = Paper(SHEET, px_per_mm=6.0)
    paper.holes(PAPER, 5.6)
    for x, y in rng.uniform(-125, 125, (40, 2)):
        if np.hypot(*(PAPER - [x, y]).T).min() > 6:
            paper.disc(x, y, rng.uniform(0.5, 1.6), (60, 50, 40))
    paper.disc(0.0, 30.0, 25.0, (236, 232, 226))  # a white sticker of 25 mm
    paper.disc(40.0, 40.0, 25.0, (28, 26, 26))  # a black one
    paper.disc(100.0, -20.0, 19.0, (150, 118, 70))  # a tan one
    paper.disc(-100.0, 60.0, 6.0, (176, 160, 140))  # a stain of a hole's size
    holes = found_in(paper, camera(12, 75, 2))
    off, _ = nearest(holes, PAPER)
    assert np.hypot(*off.T).max() < 0.3
    assert len(holes) == len(PAPER)


BLANK = Sheet("blank", "blank paper", "paper", 260.0, 260.0)
INK = (20, 19, 20)  # nearly as dark as a hole


def draw_line(paper: Paper, points: Sequence[tuple[float, float]], width_mm: float) -> None:
    at = np.rint(16 * np.array([paper.px(*point) for point in points])).astype(np.int32)
    width = round(width_mm * paper.px_per_mm)
    cv2.polylines(paper.picture, [at], False, INK, width, cv2.LINE_AA, 4)


def drawn_marks() -> Paper:
    """Blank paper with a circle and a cross in it, an X, an A, and a line with a dot on it."""
    paper = Paper(BLANK, px_per_mm=6.0)
    turn = np.linspace(0, 2 * np.pi, 73)
    circle = list(zip(-60 + 30 * np.cos(turn), 60 + 30 * np.sin(turn), strict=True))
    draw_line(paper, circle, 2.0)
    for ends in ([(-60, 95), (-60, 25)], [(-95, 60), (-25, 60)]):
        draw_line(paper, ends, 3.0)
    for ends in ([(30, 30), (100, 100)], [(30, 100), (100, 30)]):
        draw_line(paper, ends, 3.0)
    draw_line(paper, [(10, -110), (18, -80), (26, -110)], 3.0)
    draw_line(paper, [(-100, -60), (-30, -60)], 2.0)
    paper.disc(-65.0, -60.0, 5.6, INK)
    return paper


def test_holes_that_drawn_lines_run_into_are_found_and_no_mark_is_one() -> None:
    free = np.array([[0.0, 0.0], [-110.0, 0.0], [110.0, 10.0], [0.0, 110.0]])
    on_lines = np.array([[-38.5, 82.5], [-81.2, 38.0], [50.0, 47.5], [81.0, 83.0]])
    view = camera(10, 30)
    for places in (free, np.vstack([free, on_lines])):
        paper = drawn_marks()
        paper.holes(places, 5.6)
        holes = found_in(paper, view, sheet=BLANK)
        assert len(holes) == len(places)
        off, matched = nearest(holes, places)
        assert len({hole.x_mm for hole in matched}) == len(places)
        assert np.hypot(*off.T).max() < 0.7


def test_lines_are_told_from_holes_by_their_width() -> None:
    places = np.array([[0.0, 0.0], [4.5, 2.0], [-110.0, 0.0]])  # two of them touch
    clean = Paper(BLANK, px_per_mm=6.0)
    clean.holes(places, 5.6)
    view = camera()
    plane = true_plane(view)
    assert without_lines(flatten(photograph(clean, view), plane, BLANK), 2.8) is None
    drawn = drawn_marks()
    drawn.holes(places, 5.6)
    flat = flatten(photograph(drawn, view), plane, BLANK)
    clear = without_lines(flat, 2.8)
    assert clear is not None

    def weight(x: float, y: float) -> float:
        column, row = np.rint(flat.to_px(np.array([[x, y]]))[0]).astype(int)
        return float(clear.weight[row, column])

    assert weight(-30.0, 60.0) == weight(-60.0, 90.0) == weight(-45.0, 60.0) == 0.0
    assert min(weight(*place) for place in places) > 0.9


def test_a_named_shaft_makes_other_sizes_less_sure() -> None:
    paper = Paper(SHEET, px_per_mm=6.0)
    paper.holes(PAPER[:2], 6.5)
    view = camera()
    free, right, wrong = (found_in(paper, view, shaft_mm=d) for d in (None, 7.0, 4.0))
    assert len(free) == len(right) == 2
    assert min(h.confidence for h in right) > 0.9
    assert len(wrong) < 2 or max(h.confidence for h in wrong) < min(h.confidence for h in right)


def test_the_surest_come_first_and_the_bar_is_the_callers() -> None:
    paper = Paper(SHEET, px_per_mm=6.0)
    paper.holes(np.vstack([PAPER, PRINT]), 5.6)
    view = camera(15, 40)
    plane, photo = true_plane(view), photograph(paper, view)
    flat = flatten(photo, plane, SHEET)
    sure = [hole.confidence for hole in find_holes(photo, plane, flat)]
    assert sure == sorted(sure, reverse=True)
    some = find_holes(photo, plane, flat, least_confidence=0.99)
    assert all(hole.confidence >= 0.99 for hole in some)
    assert 0 < len(some) <= len(sure)
