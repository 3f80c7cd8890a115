"""The printed page, rasterised by another program and measured."""

import re

import cv2
import numpy as np
import pypdfium2
import pytest

from groupscan.errors import SheetError
from groupscan.sheets.artwork import draw_artwork
from groupscan.sheets.catalogue import FIDUCIAL_DICTIONARY, get_sheet, sheet_of_marker
from groupscan.sheets.printable import printable_ids, sheet_pdf, write_sheet_pdf

POINT_MM = 25.4 / 72  # PDF 32000-1:2008, 8.3.2.3: a unit of user space is 1/72 inch.
IDS = printable_ids()


@pytest.fixture(scope="module")
def pages():
    """Every printable sheet: grey picture, and pixels per mm across and down."""
    found = {}
    for sheet_id in IDS:
        page = pypdfium2.PdfDocument(sheet_pdf(get_sheet(sheet_id)))[0]
        width, height = (side * POINT_MM for side in page.get_size())
        picture = page.render(scale=12 * POINT_MM, grayscale=True).to_numpy()
        picture = np.squeeze(picture)
        found[sheet_id] = picture, picture.shape[1] / width, picture.shape[0] / height
    return found


def detect(grey):
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, FIDUCIAL_DICTIONARY))
    detector = cv2.aruco.ArucoDetector(dictionary)
    corners, ids, _ = detector.detectMarkers(grey)
    return {int(k): c.reshape(4, 2) for k, c in zip(ids.reshape(-1), corners, strict=True)}


def runs(dark):
    """Start and end of each run of True."""
    steps = np.diff(np.concatenate([[0], dark.astype(int), [0]]))
    return list(zip(np.flatnonzero(steps == 1), np.flatnonzero(steps == -1), strict=True))


@pytest.mark.parametrize("sheet_id", IDS)
def test_page_size(sheet_id):
    page = pypdfium2.PdfDocument(sheet_pdf(get_sheet(sheet_id)))[0]
    # ISO 216:2007 (A4); ANSI/ASME Y14.1 size A, 8.5 x 11 in.
    size = (210.0, 297.0) if sheet_id.endswith("a4") else (8.5 * 25.4, 11 * 25.4)
    assert [side * POINT_MM for side in page.get_size()] == pytest.approx(size, abs=0.01)


@pytest.mark.parametrize("sheet_id", IDS)
def test_the_check_bar_measures_100_mm(pages, sheet_id):
    grey, across, down = pages[sheet_id]
    foot = grey[-round(36 * down) : -round(27 * down)]
    # The bar's upper edge is the longest dark run at the foot, away from the markers.
    middle = foot[:, round(40 * across) : -round(40 * across)] < 128
    lengths = [max((b - a for a, b in runs(row)), default=0) for row in middle]
    assert max(lengths) / across == pytest.approx(100, abs=0.1)


@pytest.mark.parametrize("sheet_id", IDS)
def test_the_markers_name_the_sheet(pages, sheet_id):
    found = detect(pages[sheet_id][0])
    assert len(found) == 8
    assert {sheet_of_marker(marker_id).id for marker_id in found} == {sheet_id}
    tens = {marker_id // 10 for marker_id in found}
    assert len(tens) == 1


@pytest.mark.parametrize("sheet_id", IDS)
def test_marker_spacing_and_size(pages, sheet_id):
    grey, across, down = pages[sheet_id]
    found = detect(grey)
    scale = np.array([across, down])
    centres = {k: c.mean(axis=0) / scale for k, c in found.items()}
    markers = get_sheet(sheet_id).fiducials
    for a in markers:
        for b in markers:
            seen = centres[b.marker_id] - centres[a.marker_id]
            assert seen == pytest.approx((b.x_mm - a.x_mm, a.y_mm - b.y_mm), abs=0.1)
        # The black border, measured on the ink itself: the run of dark along its top row of cells.
        x, y = found[a.marker_id].min(axis=0)
        row = grey[round(y + 1.25 * down), max(0, round(x - 3 * across)) : round(x + 25 * across)]
        assert max(b - a for a, b in runs(row < 128)) / across == pytest.approx(20, abs=0.1)


@pytest.mark.parametrize("sheet_id", IDS)
def test_markers_have_a_quiet_zone_and_nothing_leaves_the_printable_area(pages, sheet_id):
    grey, across, down = pages[sheet_id]
    inside = grey[round(10 * down) : -round(10 * down), round(10 * across) : -round(10 * across)]
    assert (grey < 250).sum() == (inside < 250).sum()
    for corners in detect(grey).values():
        (x0, y0), (x1, y1) = corners.min(axis=0), corners.max(axis=0)
        wide = 2.5  # one cell
        ring = grey[
            round(y0 - wide * down) : round(y1 + wide * down) + 1,
            round(x0 - wide * across) : round(x1 + wide * across) + 1,
        ].copy()
        margin = round(wide * across) - 3
        ring[margin:-margin, margin:-margin] = 255
        assert ring.min() > 250


@pytest.mark.parametrize("sheet_id", IDS)
def test_the_print_is_the_expected_artwork(pages, sheet_id):
    grey, _, _ = pages[sheet_id]
    sheet = get_sheet(sheet_id)
    drawn = cv2.cvtColor(draw_artwork(sheet, px_per_mm=12.0), cv2.COLOR_RGB2GRAY)
    size = round(sheet.width_mm * 2), round(sheet.height_mm * 2)
    drawn = cv2.resize(drawn, size, interpolation=cv2.INTER_AREA)
    printed = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    apart = cv2.absdiff(drawn, printed)
    assert apart.max() < 90
    assert (apart > 40).mean() < 0.004
    assert apart.mean() < 1


@pytest.mark.parametrize("sheet_id", IDS)
def test_fills_are_lighter_than_any_hole(sheet_id):
    """No large dark area but the markers: a hole stays visible wherever it falls."""
    sheet = get_sheet(sheet_id)
    grey = cv2.cvtColor(draw_artwork(sheet, px_per_mm=4.0), cv2.COLOR_RGB2GRAY)
    for marker in sheet.fiducials:
        x, y = 4 * (marker.x_mm + sheet.width_mm / 2), 4 * (sheet.height_mm / 2 - marker.y_mm)
        grey[round(y) - 45 : round(y) + 46, round(x) - 45 : round(x) + 46] = 255
    # After closing gaps under 3 mm nothing darker than two thirds of white may remain.
    closed = cv2.morphologyEx(grey, cv2.MORPH_CLOSE, np.ones((13, 13), np.uint8))
    assert closed.min() > 170


def test_room_to_write_and_the_words(pages):
    for sheet_id in IDS:
        document = pypdfium2.PdfDocument(sheet_pdf(get_sheet(sheet_id)))
        text = document[0].get_textpage().get_text_range()
        for word in ("Date", "Rig", "Distance", "100 mm", "backstop", "clear range", sheet_id):
            assert word in text
        grey, across, down = pages[sheet_id]
        sheet = get_sheet(sheet_id)
        assert len(sheet.writing) == 3
        for box in sheet.writing:
            left = (box.left_mm + sheet.width_mm / 2) * across
            right = (box.right_mm + sheet.width_mm / 2) * across
            top = (sheet.height_mm / 2 - box.top_mm) * down
            line = (sheet.height_mm / 2 - box.top_mm + 8) * down
            assert (right - left) / across > 20
            assert grey[round(top) : round(line), round(left) + 6 : round(right) - 6].min() > 250


def test_the_file_asks_for_no_scaling_embeds_its_font_and_repeats_to_the_byte(tmp_path):
    first = write_sheet_pdf("five-aims-a4", tmp_path / "a.pdf").read_bytes()
    second = write_sheet_pdf("five-aims-a4", tmp_path / "b.pdf").read_bytes()
    assert first == second
    # PDF 32000-1:2008, table 150 (viewer preferences) and 9.9 (embedded font programs).
    assert re.search(rb"/PrintScaling\s*/None", first)
    assert b"/FontFile2" in first
    document = pypdfium2.PdfDocument(first)
    assert len(document) == 1
    kinds = {item.type for item in document[0].get_objects()}
    assert pypdfium2.raw.FPDF_PAGEOBJ_IMAGE not in kinds


def test_what_cannot_be_printed_is_refused(tmp_path):
    with pytest.raises(SheetError, match="not a printable one; use one of one-aim-letter"):
        write_sheet_pdf("ring-80", tmp_path / "x.pdf")
    with pytest.raises(SheetError, match="no sheet is called"):
        write_sheet_pdf("two-aims", tmp_path / "x.pdf")
    with pytest.raises(SheetError, match="cannot be written"):
        write_sheet_pdf("one-aim-a4", tmp_path / "none" / "x.pdf")
    assert list(tmp_path.iterdir()) == []
