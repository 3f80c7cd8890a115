"""Blank paper as its own scale, on photos taken by OpenCV's camera."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from groupscan.photo.marks import paper
from groupscan.photo.marks.shape import tell_shape
from groupscan.photo.plane import fit_plane
from groupscan.photo.reading import Photo
from groupscan.sheets.artwork import draw_artwork
from groupscan.sheets.catalogue import get_sheet, read_sheet_file
from tests.photo.sheet_pictures import View, blank, off_mm, photograph, straw

# ANSI/ASME Y14.1 (A) and ISO 216.
LETTER, A4 = (215.9, 279.4), (210.0, 297.0)
PAPERS = {"plain-letter": LETTER, "plain-a4": A4}


def scan(rgb, view, *, focal=True, sheet=None):
    photo = Photo("photo", rgb, focal_px=view.focal_px if focal else None)
    marks = paper.find(photo, sheet=sheet)
    if marks is None:
        return None, None
    return marks, fit_plane(marks, image_size=photo.size, focal_px=photo.focal_px)


@pytest.mark.parametrize(
    ("sheet", "view"),
    [
        ("plain-letter", View(tilt_deg=0.0)),
        ("plain-letter", View(tilt_deg=20.0, about_deg=80.0, k1=0.04)),
        ("plain-letter", View(tilt_deg=33.0, about_deg=-20.0, k1=-0.03, away_mm=480.0)),
        ("plain-a4", View(tilt_deg=12.0, about_deg=140.0, roll_deg=6.0)),
        ("plain-a4", View(tilt_deg=25.0, about_deg=60.0, roll_deg=-12.0, k1=-0.05)),
    ],
)
def test_the_plane_and_the_paper_are_those_photographed(sheet, view):
    marks, plane = scan(photograph(blank(PAPERS[sheet]), PAPERS[sheet], view), view)
    assert marks.sheet == sheet
    assert marks.notes == ()
    off = off_mm(plane, view, PAPERS[sheet])
    assert np.sqrt((off**2).sum(axis=1)).max() < 0.15
    # The pixels of this camera are about 0.42 mm wide on the sheet.
    assert plane.k1 == pytest.approx(view.k1, abs=0.015)


def test_errors_stated_are_those_made():
    ratios = []
    for seed in range(6):
        view = View(tilt_deg=18.0, about_deg=50.0 * seed, k1=0.02)
        _, plane = scan(photograph(blank(LETTER), LETTER, view, seed=seed), view)
        mm = np.array([[0.0, 0.0], [70.0, 90.0], [-60.0, -100.0]])
        off = plane.to_mm(view.see(mm)) - mm
        cov = plane.position_covariance(mm)
        ratios += np.einsum("ni,nij,nj->n", off, np.linalg.inv(cov), off).tolist()
    # Two degrees of freedom: the mean is 2. What is stated may be too much, not too little.
    assert np.mean(ratios) < 4.0


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_a_turned_photo_gives_the_same_places_up_to_the_papers_symmetry(turns):
    view = View(tilt_deg=15.0, about_deg=40.0, roll_deg=2.0)
    rgb = photograph(blank(LETTER), LETTER, view)
    _, upright = scan(rgb, view)
    turned = np.ascontiguousarray(np.rot90(rgb, turns))
    marks, plane = scan(turned, view)
    places = np.array([[0.0, 0.0], [50.0, 80.0], [-90.0, 20.0]])
    px = upright.to_px(places)
    width, height = view.size
    for _ in range(turns):  # anticlockwise: a pixel at x goes to row width - 1 - x
        px = np.column_stack([px[:, 1], width - 1 - px[:, 0]])
        width, height = height, width
    found = plane.to_mm(px)
    error = min(np.abs(found - places).max(), np.abs(found + places).max())
    assert error < 0.15
    assert (turns % 2 == 1) == any("lies on its side" in note for note in marks.notes)


def test_up_is_the_photos_up():
    view = View(tilt_deg=10.0, roll_deg=14.0)
    _, plane = scan(photograph(blank(LETTER), LETTER, view), view)
    low, high = plane.to_px([[0.0, -50.0], [0.0, 50.0]])
    assert high[1] < low[1]


def test_pins_torn_corners_and_a_shadow_do_not_move_the_plane():
    view = View(tilt_deg=20.0, about_deg=70.0, k1=0.02)
    art = blank(LETTER)
    rows, columns = art.shape[:2]
    for x, y in ((12, 12), (columns - 20, 14), (10, rows // 2), (columns // 3, rows - 6)):
        cv2.circle(art, (x, y), 14, (30, 30, 34), -1)
    gone = np.zeros((rows, columns), np.uint8)
    cv2.fillConvexPoly(gone, np.array([[0, 0], [110, 0], [0, 90]]), 1)  # 27 x 22 mm torn off
    cv2.fillConvexPoly(
        gone, np.array([[columns, rows], [columns - 80, rows], [columns, rows - 60]]), 1
    )
    width, height = view.size
    x, y = np.meshgrid(np.arange(width), np.arange(height))
    shade = np.where(y - 0.9 * x > 150, 0.28, 1.0)
    shade = cv2.GaussianBlur(shade, (0, 0), 3.0)
    rgb = photograph(art, LETTER, view, missing=gone > 0, light=shade)
    marks, plane = scan(rgb, view)
    assert marks.sheet == "plain-letter"
    off = off_mm(plane, view, LETTER)
    assert np.sqrt((off**2).sum(axis=1)).max() < 0.3


def test_drawings_and_holes_on_the_paper_do_not_matter():
    view = View(tilt_deg=14.0)
    art = blank(A4)
    cv2.circle(art, (420, 600), 120, (40, 40, 45), -1)
    cv2.line(art, (100, 200), (700, 230), (20, 60, 160), 8)
    for x, y in ((300, 500), (520, 640), (430, 900)):
        cv2.circle(art, (x, y), 13, (18, 16, 15), -1)
    marks, plane = scan(photograph(art, A4, view), view)
    assert marks.sheet == "plain-a4"
    assert np.abs(off_mm(plane, view, A4)).max() < 0.15


def outline_of(view, size_mm):
    half = np.array([[-1.0, 1], [1, 1], [1, -1], [-1, -1]]) * np.array(size_mm) / 2
    return view.see(half)


@pytest.mark.parametrize("told", [True, False])
@pytest.mark.parametrize("sheet", PAPERS)
def test_letter_and_a4_are_told_apart_by_shape(sheet, told):
    papers = [get_sheet(name) for name in PAPERS]
    rng = np.random.default_rng(3)
    for _ in range(30):
        view = View(
            focal_px=float(rng.uniform(900, 1300)),
            tilt_deg=float(rng.uniform(0, 25)),
            about_deg=float(rng.uniform(0, 360)),
        )
        corners = outline_of(view, PAPERS[sheet]) + rng.normal(0, 0.7, (4, 2))
        shapes = tell_shape(
            corners, papers, size=view.size, focal_px=view.focal_px if told else None
        )
        # Without the focal length some tilts leave it open; then the odds must say so.
        if shapes[0].sheet.id != sheet:
            assert not told
            assert shapes[0].log_odds(shapes[1]) < np.log(20.0)


def test_a_size_that_the_shape_leaves_open_is_called_a_guess():
    # Tilted about its own axis: foreshortening by an unknown lens looks like another shape.
    view = View(tilt_deg=28.0, about_deg=0.0, aside_mm=(0.0, 0.0))
    rgb = photograph(blank(LETTER), LETTER, view)
    marks, _ = scan(rgb, view, focal=False)
    assert any("guess" in note for note in marks.notes)
    marks, _ = scan(rgb, view)
    assert (marks.sheet, marks.notes) == ("plain-letter", ())


def test_a_sheet_that_is_named_is_refused_where_its_shape_is_another():
    view = View(tilt_deg=5.0)
    rgb = photograph(blank(A4), A4, view)
    marks, _ = scan(rgb, view, sheet=get_sheet("plain-a4"))
    assert (marks.sheet, marks.notes) == ("plain-a4", ())
    assert scan(rgb, view, sheet=get_sheet("plain-letter"))[0] is None


def test_a_named_sheet_that_another_fits_better_is_doubted():
    view = View(tilt_deg=8.0, about_deg=90.0)
    rgb = photograph(blank(A4), A4, view)
    marks, _ = scan(rgb, view, focal=False, sheet=get_sheet("plain-letter"))
    assert marks.sheet == "plain-letter"
    assert any("plain-a4" in note for note in marks.notes)


def test_paper_of_ones_own(tmp_path):
    file = tmp_path / "card.toml"
    file.write_text(
        'id = "card"\ntitle = "Card"\nkind = "paper"\nwidth_mm = 300\nheight_mm = 200\n', "utf-8"
    )
    card = read_sheet_file(file)
    view = View(tilt_deg=18.0, about_deg=200.0)
    marks, plane = scan(photograph(blank((300, 200)), (300, 200), view), view, sheet=card)
    assert marks.sheet == "card"
    assert np.abs(off_mm(plane, view, (300.0, 200.0))).max() < 0.15


@pytest.mark.parametrize("sheet", ["ring-40", "ring-80", "inch-grid"])
@pytest.mark.parametrize("tilt", [0.0, 28.0])
def test_square_sheets_are_no_blank_paper(sheet, tilt):
    known = get_sheet(sheet)
    size = (known.width_mm, known.height_mm)
    view = View(tilt_deg=tilt, about_deg=10.0, away_mm=1.6 * size[0])
    rgb = photograph(draw_artwork(known, px_per_mm=1200 / size[0]), size, view)
    assert scan(rgb, view)[0] is None
    assert scan(rgb, view, focal=False)[0] is None


@pytest.mark.parametrize("sheet", ["one-aim-letter", "plumb-line-a4", "five-aims-letter"])
def test_printed_sheets_are_no_blank_paper(sheet):
    known = get_sheet(sheet)
    size = (known.width_mm, known.height_mm)
    view = View(tilt_deg=16.0)
    rgb = photograph(draw_artwork(known, px_per_mm=4.0), size, view)
    assert scan(rgb, view)[0] is None


def test_a_bare_butt_is_no_paper():
    view = View()
    ground = straw(view.size, 4)
    rgb = (255 * np.clip(ground, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    assert scan(rgb, view)[0] is None


@pytest.mark.parametrize("named", [False, True])
def test_a_light_board_of_papers_shape_is_not_taken_for_the_paper_on_it(named):
    # Twice A4 each way, so A4 by its shape, and lighter than the wall.
    rgb = np.full((900, 800, 3), 60, np.uint8)
    rgb[100:694, 150:570] = 140
    rgb[220:517, 280:490] = 235
    sheet = get_sheet("plain-a4") if named else None
    marks = paper.find(Photo("photo", rgb, focal_px=900.0), sheet=sheet)
    plane = fit_plane(marks, image_size=(800, 900), focal_px=900.0)
    assert plane.mm_per_px()[0] == pytest.approx(1.0, abs=0.01)


def test_half_a_sheet_in_the_sun_is_no_sheet():
    # Half an A4 is as long for its width as a whole one (ISO 216).
    rgb = np.full((900, 800, 3), 30, np.uint8)
    rgb[100:694, 150:570] = 120
    rgb[397:694, 150:570] = 235
    marks = paper.find(Photo("photo", rgb, focal_px=900.0), sheet=get_sheet("plain-a4"))
    plane = fit_plane(marks, image_size=(800, 900), focal_px=900.0)
    assert plane.mm_per_px()[0] == pytest.approx(0.5, abs=0.005)


def test_brown_board_of_letter_shape_is_no_paper():
    view = View(tilt_deg=8.0)
    art = np.full((1118, 864, 3), (205, 150, 82), np.uint8)
    dark = np.full((view.size[1], view.size[0], 3), 0.02)
    assert scan(photograph(art, LETTER, view, ground=dark), view)[0] is None


def test_an_edge_out_of_the_photo_is_no_outline():
    view = replace(View(tilt_deg=5.0), aside_mm=(120.0, 0.0))
    rgb = photograph(blank(LETTER), LETTER, view)
    assert outline_of(view, LETTER)[:, 0].max() > view.size[0]
    assert scan(rgb, view)[0] is None


def test_other_kinds_of_sheet_are_not_looked_for():
    assert paper.find(Photo("x", blank(LETTER)), sheet=get_sheet("ring-80")) is None
