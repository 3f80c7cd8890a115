"""The catalogue against published sizes, and users' sheet files, good and bad."""

import pytest

from groupscan.errors import SheetError
from groupscan.sheets.catalogue import (
    get_sheet,
    load_catalogue,
    read_sheet_file,
    sheet_of_marker,
)

# Diameters in cm and the largest width of a line, 2 mm: World Archery ten-zone faces as restated in
# Federation Francaise de Tir a l'Arc, Reglements sportifs et arbitrage, February 2022, II.1
# art. B.2.1.1 to B.2.1.3.
PUBLISHED_CM = {
    "ring-122": [122.0, 109.8, 97.6, 85.4, 73.2, 61.0, 48.8, 36.6, 24.4, 12.2, 6.1],
    "ring-80": [80, 72, 64, 56, 48, 40, 32, 24, 16, 8, 4],
    "ring-60": [60, 54, 48, 42, 36, 30, 24, 18, 12, 6, 3],
    "ring-40": [40, 36, 32, 28, 24, 20, 16, 12, 8, 4, 2],
}
ZONES = ["1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "inner10"]
IDS = {
    "ring-40 ring-60 ring-80 ring-122 plain-letter plain-a4 inch-grid known-length "
    "one-aim-letter one-aim-a4 four-aims-letter four-aims-a4 five-aims-letter five-aims-a4 "
    "plumb-line-letter plumb-line-a4"
}


def hue(colour: str) -> str:
    red, green, blue = (int(colour[k : k + 2], 16) for k in (1, 3, 5))
    if min(red, green, blue) > 200:
        return "white"
    if max(red, green, blue) < 80:
        return "black"
    if red > 200 and green > 200:
        return "yellow"
    return "red" if red > blue else "blue"


@pytest.mark.parametrize("sheet_id", PUBLISHED_CM)
def test_ring_faces_have_the_published_sizes(sheet_id):
    rings = get_sheet(sheet_id).rings
    assert [ring.zone for ring in rings] == ZONES
    assert [2 * ring.radius_mm for ring in rings] == pytest.approx(
        [10 * d for d in PUBLISHED_CM[sheet_id]], abs=1e-9
    )


@pytest.mark.parametrize("sheet_id", PUBLISHED_CM)
def test_ring_faces_have_the_published_colours_and_lines(sheet_id):
    rings = {ring.zone: ring for ring in get_sheet(sheet_id).rings}
    fills = {zone: hue(ring.fill) for zone, ring in rings.items()}
    assert fills == {
        **dict.fromkeys(("1", "2"), "white"),
        **dict.fromkeys(("3", "4"), "black"),
        **dict.fromkeys(("5", "6"), "blue"),
        **dict.fromkeys(("7", "8"), "red"),
        **dict.fromkeys(("9", "10", "inner10"), "yellow"),
    }
    # No line between black and white, nor between blue and black (same source).
    assert {zone for zone, ring in rings.items() if ring.line is None} == {"3", "5"}
    assert hue(rings["4"].line) == "white"
    assert all(ring.line_width_mm <= 2 for ring in rings.values())


def test_paper_sizes():
    # ISO 216:2007 (A4) and ANSI/ASME Y14.1, 8.5 x 11 in of exactly 25.4 mm.
    for sheet in load_catalogue().values():
        if sheet.id.endswith("-a4"):
            assert (sheet.width_mm, sheet.height_mm) == (210, 297)
        if sheet.id.endswith("-letter"):
            assert (sheet.width_mm, sheet.height_mm) == pytest.approx((8.5 * 25.4, 11 * 25.4))


def test_the_catalogue_has_every_sheet_and_no_marker_twice():
    sheets = load_catalogue()
    assert {" ".join(sheets)} == IDS
    markers = [m.marker_id for sheet in sheets.values() for m in sheet.fiducials]
    assert len(markers) == len(set(markers)) == 8 * 8
    assert all(sheet_of_marker(m.marker_id) is s for s in sheets.values() for m in s.fiducials)


def test_two_shot_markers_still_span_the_printed_sheet():
    for sheet in load_catalogue().values():
        for gone in sheet.fiducials:
            for other in sheet.fiducials:
                left = [m for m in sheet.fiducials if m not in (gone, other)]
                xs, ys = [m.x_mm for m in left], [m.y_mm for m in left]
                assert max(xs) - min(xs) > 0.7 * sheet.width_mm
                assert max(ys) - min(ys) > 0.5 * sheet.height_mm


def test_an_unknown_sheet_is_refused_with_the_known_ones():
    with pytest.raises(SheetError, match=r'no sheet is called "ring-79".*ring-80.*TOML'):
        get_sheet("ring-79")


USER_SHEET = """
id = "two-dots"
title = "Two dots on a sack"
kind = "fiducials"
width_mm = 400
height_mm = 300
paper = "#e8dcc0"
aims_mm = [[-80, 0], [80, 10]]
notes = "Sewn on."

[[rings]]
zone = "a"
diameter_mm = 100
fill = "#ffffff"
line = "#202020"
line_width_mm = 1

[[rings]]
zone = "b"
diameter_mm = 50
fill = "#ffcc00"

[[discs]]
x_mm = -80
y_mm = 0
radius_mm = 12
fill = "#cc3300"

[[strokes]]
ends_mm = [[-100, -100], [100, -100]]
width_mm = 2
colour = "#333333"

[[polygons]]
corners_mm = [[0, 0], [10, 0], [0, 10]]
fill = "#00ff00"

[[words]]
x_mm = 0
y_mm = 120
text = "sack"
size_mm = 8
anchor = "middle"

[[writing]]
left_mm = -50
bottom_mm = 100
right_mm = 50
top_mm = 120

[[fiducials]]
marker_id = 500
x_mm = -150
y_mm = 100
side_mm = 40
"""


def test_a_user_sheet(tmp_path):
    path = tmp_path / "sack.toml"
    path.write_text(USER_SHEET, encoding="utf-8")
    sheet = read_sheet_file(path)
    assert (sheet.id, sheet.width_mm, sheet.aims_mm) == (
        "two-dots",
        400,
        ((-80.0, 0.0), (80.0, 10.0)),
    )
    assert [(r.radius_mm, r.line) for r in sheet.rings] == [(50, "#202020"), (25, None)]
    assert sheet.fiducials[0].corners_mm.tolist() == [
        [-170, 120],
        [-130, 120],
        [-130, 80],
        [-170, 80],
    ]
    assert len(sheet.shapes) == 4
    assert sheet.writing[0].top_mm == 120


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('id = "two-dots"', 'id = "Two Dots"', '"id" must be lower-case'),
        ('id = "two-dots"', 'id = "ring-80"', "id of a built-in sheet"),
        ('id = "two-dots"', "", 'the key "id" is missing'),
        ('kind = "fiducials"', 'kind = "holes"', '"kind" must be one of rings'),
        ('kind = "fiducials"', 'kind = "grid"', 'needs "grid_mm"'),
        ("width_mm = 400", "width_mm = -400", '"width_mm" must lie between 0 and 5000'),
        ("width_mm = 400", "width_mm = 0", '"width_mm" must be more than 0'),
        ("width_mm = 400", "width_mm = nan", '"width_mm" must lie between'),
        ("width_mm = 400", "width_mm = true", '"width_mm" must be a number'),
        ("width_mm = 400", 'width_mm = "400"', '"width_mm" must be a number'),
        ("width_mm = 400", "width_mm = 90", "outer ring does not fit"),
        ("height_mm = 300", "hieght_mm = 300", '"height_mm" is missing'),
        ('notes = "Sewn on."', "colour = 3", 'the key "colour" is not known; the keys here are'),
        ('paper = "#e8dcc0"', 'paper = "beige"', "#rrggbb"),
        ("[[-80, 0], [80, 10]]", "[[-80, 0, 1]]", "pairs in mm"),
        ("[[-80, 0], [80, 10]]", "[[-80, 0], [280, 10]]", "aim .280, 10. does not lie"),
        ("diameter_mm = 50", "diameter_mm = 100", "outermost first"),
        ("marker_id = 500", "marker_id = 587", "between 0 and 586"),
        ("x_mm = -150", "x_mm = -185", "marker 500 does not fit"),
        ("top_mm = 120", "top_mm = 90", "bottom less than top"),
        ("[[0, 0], [10, 0], [0, 10]]", "[[0, 0], [10, 0]]", "three or more"),
        ('anchor = "middle"', 'anchor = "centre"', '"anchor" must be one of left'),
        ('id = "two-dots"', 'id = "two-dots', "is not TOML"),
    ],
)
def test_a_faulty_user_sheet_says_what_is_wrong(tmp_path, old, new, message):
    assert USER_SHEET.count(old) >= 1
    path = tmp_path / "sack.toml"
    path.write_text(USER_SHEET.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(SheetError, match=message) as caught:
        read_sheet_file(path)
    assert "sack.toml" in str(caught.value)


def test_a_marker_may_stand_only_once(tmp_path):
    path = tmp_path / "sack.toml"
    marker = USER_SHEET[USER_SHEET.index("[[fiducials]]") :]
    path.write_text(USER_SHEET + marker.replace("-150", "100"), encoding="utf-8")
    with pytest.raises(SheetError, match="only once"):
        read_sheet_file(path)


def test_a_sheet_file_that_cannot_be_read(tmp_path):
    with pytest.raises(SheetError, match="cannot be read"):
        read_sheet_file(tmp_path / "none.toml")
    with pytest.raises(SheetError, match="cannot be read"):
        read_sheet_file(tmp_path)
    (tmp_path / "photo.toml").write_bytes(b"\xff\xd8\xff\xe0")
    with pytest.raises(SheetError, match="not UTF-8"):
        read_sheet_file(tmp_path / "photo.toml")
