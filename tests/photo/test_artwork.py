"""Sheets of a user's own, described in TOML, whatever is printed on them."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from groupscan.errors import MarksError
from groupscan.photo.marks import artwork
from groupscan.photo.plane import fit_plane
from groupscan.photo.reading import Photo
from groupscan.photo.scan import scan_photo
from groupscan.sheets.artwork import draw_artwork
from groupscan.sheets.catalogue import Sheet, read_sheet_file
from tests.photo.sheet_pictures import View, photograph

HEAD = """
id = "{name}"
title = "A sheet of my own"
kind = "mixed"
width_mm = {width}
height_mm = {height}
"""
SHEETS = {
    # A frame and two spots; the spots differ, so that the sheet has an up of its own.
    "frame-and-spots": (
        (300, 240),
        """
        rectangles = [{ width_mm = 260, height_mm = 200, line = "#202020", line_width_mm = 3 }]
        discs = [
          { x_mm = -60, y_mm = 20, radius_mm = 35, fill = "#c03028" },
          { x_mm = 70, y_mm = -10, radius_mm = 25, fill = "#3060b0" },
        ]
        """,
    ),
    "three-rings": (
        (260, 260),
        """
        rings = [
          { zone = "1", diameter_mm = 220, fill = "#3a7a48" },
          { zone = "2", diameter_mm = 130, fill = "#f0e8d0", line = "#101010", line_width_mm = 1 },
          { zone = "3", diameter_mm = 50, fill = "#d06a20" },
        ]
        """,
    ),
    "markers-and-circles": (
        (210, 297),
        """
        fiducials = [
          { marker_id = 300, x_mm = -75, y_mm = 115, side_mm = 30 },
          { marker_id = 301, x_mm = 75, y_mm = 115, side_mm = 30 },
        ]
        discs = [
          { x_mm = 0, y_mm = -40, radius_mm = 70, fill = "#f2d020" },
          { x_mm = 0, y_mm = -40, radius_mm = 30, line = "#b02020", line_width_mm = 3 },
        ]
        """,
    ),
    "card": (
        (280, 200),
        """
        rectangles = [{ width_mm = 220, height_mm = 140, fill = "#28406a" }]
        discs = [{ x_mm = 40, y_mm = 0, radius_mm = 45, fill = "#f0f0e8" }]
        """,
    ),
    "grid-and-spot": (
        (400, 300),
        """
        grid_mm = 20
        grid_line = "#707070"
        grid_line_width_mm = 0.6
        discs = [{ x_mm = 60, y_mm = 40, radius_mm = 28, fill = "#c03028" }]
        """,
    ),
    "four-discs": (
        (300, 300),
        """
        discs = [
          { x_mm = -90, y_mm = 90, radius_mm = 30, fill = "#202020" },
          { x_mm = 90, y_mm = 90, radius_mm = 30, fill = "#202020" },
          { x_mm = 90, y_mm = -90, radius_mm = 30, fill = "#202020" },
          { x_mm = -90, y_mm = -90, radius_mm = 20, fill = "#202020" },
        ]
        """,
    ),
}  # fmt: skip


def sheet_of(name: str, folder: Path) -> Sheet:
    (width, height), text = SHEETS[name]
    file = folder / f"{name}.toml"
    lines = "\n".join(line.strip() for line in text.splitlines())
    file.write_text(HEAD.format(name=name, width=width, height=height) + lines)
    return read_sheet_file(file)


def picture(sheet: Sheet, view: View, **more) -> Photo:
    art = draw_artwork(sheet, px_per_mm=5.0)
    return Photo("own", photograph(art, (sheet.width_mm, sheet.height_mm), view, **more))


def errors(sheet: Sheet, view: View, photo: Photo) -> np.ndarray:
    """How far the plane errs over the sheet, mm."""
    marks = artwork.find(photo, sheet=sheet)
    assert marks is not None
    plane = fit_plane(marks, image_size=photo.size, focal_px=photo.focal_px)
    ways = (np.linspace(-0.45, 0.45, 9) * size for size in (sheet.width_mm, sheet.height_mm))
    x, y = np.meshgrid(*ways)
    mm = np.column_stack([x.ravel(), y.ravel()])
    return np.hypot(*(plane.to_mm(view.see(mm)) - mm).T)


@pytest.mark.parametrize("tilt", [(0, 0, 0), (28, 200, -8), (35, 100, 12)])
@pytest.mark.parametrize("name", list(SHEETS))
def test_a_sheet_of_any_mix_is_measured(name, tilt, tmp_path) -> None:
    sheet = sheet_of(name, tmp_path)
    away = 1.35 * max(sheet.width_mm, sheet.height_mm)
    view = View((1280, 1100), 1050.0, tilt[0], tilt[1], tilt[2], away_mm=away)
    if name == "three-rings":  # no way up but the paper's edges and the photo's up
        view = replace(view, roll_deg=min(tilt[2], 8))
    off = errors(sheet, view, picture(sheet, view))
    assert np.sqrt((off**2).mean()) < 0.3
    assert off.max() < 0.7


@pytest.mark.parametrize("roll", [90, 180, -130])
@pytest.mark.parametrize("name", ["frame-and-spots", "card", "grid-and-spot"])
def test_a_sheet_with_an_up_of_its_own_is_read_at_any_rotation(name, roll, tmp_path) -> None:
    sheet = sheet_of(name, tmp_path)
    view = View((1200, 1200), 1050.0, 18, 60, roll, away_mm=1.7 * max(sheet.width_mm, 280))
    assert errors(sheet, view, picture(sheet, view)).max() < 0.5


def test_turned_rings_whose_way_up_is_not_told_say_so(tmp_path) -> None:
    sheet = sheet_of("three-rings", tmp_path)
    # The paper's corners lie beyond the photo, which leaves nothing but the photo's own up.
    view = View(tilt_deg=15.0, about_deg=70.0, roll_deg=40.0)
    corners = view.see(np.asarray(sheet.corners_mm))
    assert ((corners < 0) | (corners > np.array(view.size))).any()
    marks = artwork.find(picture(sheet, view), sheet=sheet)
    assert any("Up is the photo's up" in note for note in marks.notes)
    assert marks.turn_se_rad > 0.02  # a hand holds a phone upright to about 1.5 degrees


def test_holes_shade_and_a_lens_are_borne(tmp_path) -> None:
    sheet = sheet_of("frame-and-spots", tmp_path)
    view = View((1280, 1100), 1050.0, 20, 60, 4, away_mm=420, k1=-0.06)
    art = draw_artwork(sheet, px_per_mm=5.0)
    rng = np.random.default_rng(3)
    for x, y in (rng.random((30, 2)) * [art.shape[1], art.shape[0]]).astype(int):
        cv2.circle(art, (int(x), int(y)), 14, (9, 8, 8), -1)
    shade = np.ones((1100, 1280))
    shade[:, 600:] = 0.4
    size = (sheet.width_mm, sheet.height_mm)
    rgb = photograph(art, size, view, light=cv2.GaussianBlur(shade, (0, 0), 6), noise=6.0)
    assert errors(sheet, view, Photo("shot", rgb)).max() < 0.3


@pytest.mark.parametrize("name", ["three-rings", "card", "four-discs"])
def test_another_sheet_is_not_taken_for_the_one_named(name, tmp_path) -> None:
    seen = sheet_of("frame-and-spots", tmp_path)
    view = View((1000, 900), 800.0, 15, 30, 3, away_mm=400)
    with pytest.raises(MarksError, match=r"recognised|measured|scale"):
        scan_photo(picture(seen, view), sheet=sheet_of(name, tmp_path))


def test_the_whole_scan_reads_a_sheet_of_ones_own(tmp_path) -> None:
    sheet = sheet_of("frame-and-spots", tmp_path)
    view = View((1280, 1100), 1050.0, 15, 30, 3, away_mm=420)
    art = draw_artwork(sheet, px_per_mm=5.0)
    shots = np.array([[-20.0, 30.0], [10.0, -60.0], [0.0, 70.0]])
    for x, y in shots:
        at = ((x + sheet.width_mm / 2) * 5 - 0.5, (sheet.height_mm / 2 - y) * 5 - 0.5)
        cv2.circle(art, (round(at[0]), round(at[1])), 14, (9, 8, 8), -1)
    rgb = photograph(art, (sheet.width_mm, sheet.height_mm), view)
    scan = scan_photo(Photo("own", rgb), sheet=sheet, shaft_mm=6.0)
    found = np.array([[hole.x_mm, hole.y_mm] for hole in scan.holes])
    assert len(found) == len(shots)
    away = np.hypot(*(found[:, None] - shots[None]).transpose(2, 0, 1)).min(axis=0)
    assert away.max() < 0.4
