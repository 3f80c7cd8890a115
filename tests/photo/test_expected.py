"""Expected minus seen, on drawn sheets: paper, print, shadow and holes, and where they lie."""

import numpy as np
import pytest

from groupscan.errors import MarksError
from groupscan.photo.darkness import darkness
from groupscan.photo.expected import Flat, flatten
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import Disc, Sheet, Stroke
from tests.photo.drawn_sheets import Paper, camera_at, photograph, true_plane

#: A black disc of 60 mm on the left, a thin line across the middle of the right half.
SHEET = Sheet(
    id="drawn",
    title="a black disc and a line",
    kind="paper",
    width_mm=200.0,
    height_mm=200.0,
    shapes=(
        Disc(-50.0, 0.0, 30.0, fill="#1b1b1b"),
        Stroke(10.0, 0.0, 90.0, 0.0, 1.0, "#1b1b1b"),
    ),
)
ON_PAPER, ON_PRINT, ON_LINE = (40.0, 60.0), (-55.0, 8.0), (50.0, 0.0)
CAMERA = camera_at(200.0, size=(1000, 800), fill=0.85, tilt_deg=20, axis_deg=50, roll_deg=5)
PLANE = true_plane(CAMERA)


def laid_flat(*, shadow: float = 0.0, noise: float = 1.5) -> tuple[Flat, Photo]:
    paper = Paper(SHEET)
    paper.holes([ON_PAPER, ON_PRINT, ON_LINE], 6.0)
    if shadow:
        paper.shade(1.0, 0.3, 5.0, shadow)
    photo = photograph(paper, CAMERA, noise=noise)
    return flatten(photo, PLANE, SHEET), photo


def around(place: tuple[float, float], low: float, high: float) -> np.ndarray:
    """Places between two distances of one, (n, 2) mm."""
    step = np.arange(-high, high + 0.1, 0.4)
    x, y = (a.ravel() for a in np.meshgrid(step, step))
    ring = (np.hypot(x, y) >= low) & (np.hypot(x, y) <= high)
    return np.column_stack([x[ring], y[ring]]) + place


@pytest.mark.parametrize("place", [ON_PAPER, ON_PRINT, ON_LINE])
@pytest.mark.parametrize("shadow", [0.0, 0.6])
def test_holes_are_dark_and_what_is_around_them_is_not(place, shadow) -> None:
    flat, photo = laid_flat(shadow=shadow)
    inside, weight, _ = darkness(photo, PLANE, flat, around(place, 0.0, 2.2))
    beside, _, noise = darkness(photo, PLANE, flat, around(place, 4.0, 7.0))
    assert inside.mean() > 0.75
    assert abs(np.median(beside)) < 0.12
    assert (weight > 0).all()
    assert (noise > 0).all()


def test_a_hole_is_told_from_paper_better_than_from_print() -> None:
    flat, photo = laid_flat(noise=8.0)
    _, on_paper, paper_noise = darkness(photo, PLANE, flat, around(ON_PAPER, 4.0, 7.0))
    _, on_print, print_noise = darkness(photo, PLANE, flat, around(ON_PRINT, 4.0, 7.0))
    assert on_print.mean() <= on_paper.mean() == pytest.approx(1.0, abs=0.01)
    assert print_noise.mean() > 2 * paper_noise.mean()


def test_noise_is_told_by_grey_level() -> None:
    paper = Paper(SHEET)
    photo = photograph(paper, CAMERA, noise=1.5)
    rng = np.random.default_rng(5)
    dark = photo.rgb.max(axis=2, keepdims=True) < 90
    grain = np.where(dark, rng.normal(0, 6, (*dark.shape[:2], 1)), 0)
    noisy = Photo("noisy", np.clip(photo.rgb + grain, 0, 255).astype(np.uint8))
    flat = flatten(noisy, PLANE, SHEET)
    column, row = np.rint(flat.to_px(np.array([ON_PRINT, ON_PAPER]))).astype(int).T
    in_print, on_paper = flat.noise[np.rint(flat.expected[row, column]).astype(int)]
    assert in_print > 2 * on_paper
    off = (flat.expected - flat.seen)[row[0] - 20 : row[0] + 21, column[0] - 20 : column[0] + 21]
    assert in_print == pytest.approx(np.std(off), rel=0.4)


def test_print_that_is_where_it_should_be_is_not_dark() -> None:
    flat, photo = laid_flat()
    # All of the black disc but its edge and the hole, and all of the line but its ends.
    disc = around((-50.0, 0.0), 0.0, 28.0)
    disc = disc[np.hypot(*(disc - ON_PRINT).T) > 5.0]
    line = np.column_stack([np.arange(14.0, 44.0, 0.3), np.zeros(100)])
    for place in (disc, line):
        dark, weight, _ = darkness(photo, PLANE, flat, place)
        assert abs(np.average(dark, weights=weight)) < 0.2


def test_light_follows_the_edge_of_a_shadow() -> None:
    flat, _ = laid_flat(shadow=0.6)
    at = np.rint(flat.to_px(np.array([[-60.0, 80.0], [60.0, 80.0]]))).astype(int)
    sunny, shady = flat.light[at[:, 1], at[:, 0]]
    assert shady / sunny == pytest.approx(0.4, abs=0.03)
    few = np.abs(flat.dark[flat.inside]) > 0.4
    # The shadow covers half of the sheet; a line along its edge at most may look dark.
    assert few.mean() < 0.015


def test_light_on_broad_ink_is_that_of_its_own_shade() -> None:
    """A black square drawn on plain paper, half of it in shade: each half has its paper's light."""
    plain = Sheet("plain", "plain", "paper", 200.0, 200.0)
    paper = Paper(plain)
    left, top = paper.px(-35.0, 35.0)
    right, bottom = paper.px(35.0, -35.0)
    paper.picture[int(top) : int(bottom), int(left) : int(right)] = (34, 33, 32)
    paper.shade(1.0, 0.0, 0.0, 0.6)
    flat = flatten(photograph(paper, CAMERA), PLANE, plain)
    x, y = (a.ravel() for a in np.meshgrid([-18.0, 18.0], [-15.0, 0.0, 15.0]))
    column, row = np.rint(flat.to_px(np.column_stack([x, y]))).astype(int).T
    on_ink = flat.light[row, column]
    column, row = np.rint(flat.to_px(np.column_stack([3 * x, y]))).astype(int).T
    assert on_ink == pytest.approx(flat.light[row, column], rel=0.2)


@pytest.mark.parametrize("colour", ["#fbe033", "#2e9bdc", "#e6353c", "#dfe8d0"])
def test_coloured_paper_is_paper(colour) -> None:
    sheet = Sheet("tinted", "tinted", "paper", 200.0, 200.0, paper=colour)
    paper = Paper(sheet)
    paper.holes([ON_PAPER], 6.0)
    photo = photograph(paper, CAMERA)
    flat = flatten(photo, PLANE, sheet)
    inside, _, _ = darkness(photo, PLANE, flat, around(ON_PAPER, 0.0, 2.2))
    beside, _, _ = darkness(photo, PLANE, flat, around(ON_PAPER, 4.0, 7.0))
    assert inside.mean() > 0.8
    assert np.abs(beside).mean() < 0.1


def test_flat_places_are_those_of_the_sheet() -> None:
    flat, _ = laid_flat()
    mm = np.random.default_rng(0).uniform(-100, 100, (50, 2))
    np.testing.assert_allclose(flat.to_mm(flat.to_px(mm)), mm, atol=1e-9)
    # The first pixel is the top left corner, half a pixel in.
    step = 1 / flat.px_per_mm
    np.testing.assert_allclose(flat.to_mm(np.zeros((1, 2)))[0], [step / 2 - 100, 100 - step / 2])
    assert flat.seen.shape == flat.dark.shape == flat.weight.shape == flat.inside.shape
    # The darkest place of the flat picture around the hole on paper is that hole.
    column, row = np.rint(flat.to_px(np.array([ON_PAPER]))[0]).astype(int)
    window = flat.dark[row - 12 : row + 13, column - 12 : column + 13]
    weights = np.clip(window - 0.3, 0, None)
    rows, columns = np.mgrid[-12:13, -12:13]
    off = np.array([(weights * columns).sum(), (weights * rows).sum()]) / weights.sum()
    assert np.hypot(*off) * step < 0.5


def test_what_the_photo_does_not_show_is_marked() -> None:
    camera = camera_at(200.0, size=(1000, 800), fill=0.85, shift_px=(420, 0))
    flat = flatten(photograph(Paper(SHEET), camera), true_plane(camera), SHEET)
    right = flat.to_px(np.array([[80.0, 0.0], [-80.0, 0.0]]))
    out, shown = (flat.inside[int(y), int(x)] for x, y in right)
    assert (bool(out), bool(shown)) == (False, True)
    assert (flat.weight[~flat.inside] == 0).all()


def test_a_sheet_wholly_out_of_the_photo_is_an_error() -> None:
    camera = camera_at(200.0, size=(1000, 800), fill=0.5)
    away = true_plane(camera_at(200.0, size=(1000, 800), fill=0.5, shift_px=(5000, 0)))
    with pytest.raises(MarksError, match="outside the photo"):
        flatten(photograph(Paper(SHEET), camera), away, SHEET)
