"""The drawn artwork measured with tools other than those that drew it."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groupscan.errors import SheetError
from groupscan.sheets.artwork import artwork_homography, draw_artwork
from groupscan.sheets.catalogue import get_sheet
from groupscan.sheets.shapes import Disc, Polygon, Sheet, Stroke


def linear(values):
    """Invert the transfer curve of IEC 61966-2-1, sRGB."""
    v = np.asarray(values, float) / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def ink(picture):
    """Black ink on white paper: share of each pixel that is covered."""
    return 1 - linear(picture[..., 0])


def blank(*shapes):
    return Sheet(id="x", title="x", kind="paper", width_mm=60, height_mm=40, shapes=shapes)


@settings(deadline=None, max_examples=30)
@given(
    x=st.floats(-10, 10),
    y=st.floats(-5, 5),
    radius=st.floats(1.2, 9),
    scale=st.floats(2, 7),
)
def test_a_disc_has_the_area_and_the_centre_of_a_disc(x, y, radius, scale):
    sheet = blank(Disc(x, y, radius, "#000000"))
    share = ink(draw_artwork(sheet, px_per_mm=scale))
    assert np.sqrt(share.sum() / np.pi) == pytest.approx(radius * scale, abs=0.06)
    rows, columns = np.indices(share.shape)
    seen = (share * columns).sum() / share.sum(), (share * rows).sum() / share.sum()
    u, v, _ = artwork_homography(sheet, px_per_mm=scale) @ [x, y, 1]
    assert seen == pytest.approx((u, v), abs=0.04)


@settings(deadline=None, max_examples=30)
@given(angle=st.floats(0, 2 * np.pi), width=st.floats(0.15, 2), scale=st.floats(2, 7))
def test_a_stroke_keeps_its_weight_at_any_angle_and_width(angle, width, scale):
    dx, dy = 15 * np.cos(angle), 15 * np.sin(angle)
    share = ink(draw_artwork(blank(Stroke(-dx, -dy, dx, dy, width, "#000000")), px_per_mm=scale))
    # A slanted hairline of a third of a pixel may be off by some hundredths, no more.
    assert share.sum() == pytest.approx(30 * width * scale**2, rel=0.08)


def test_a_polygon_with_a_dent_has_its_area():
    corners = ((0.0, 0.0), (10.0, 0.0), (10.0, 8.0), (5.0, 3.0), (0.0, 8.0))
    share = ink(draw_artwork(blank(Polygon(corners, "#000000")), px_per_mm=7.3))
    assert share.sum() == pytest.approx((80 - 25) * 7.3**2, rel=0.002)


@pytest.mark.parametrize("scale", [1.5, 4.0])
def test_rings_stand_at_the_published_radii(scale):
    """Edges of ring-40, found along a diagonal in the drawn picture."""
    sheet = get_sheet("ring-40")
    grey = draw_artwork(sheet, px_per_mm=scale)[..., 0].astype(np.float32)  # the red channel
    radii = np.arange(90, 140, 0.05)
    u, v, _ = artwork_homography(sheet, px_per_mm=scale) @ np.stack(
        [0.6 * radii, 0.8 * radii, np.ones_like(radii)]
    )
    seen = cv2.remap(grey, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR).ravel()
    # The pale line inside the black zone ends at 140 mm; FFTA II.1 art. B.2.1, 28 cm ring.
    bright = radii[seen > seen.max() / 2]
    assert bright.max() == pytest.approx(140, abs=0.5 / scale + 0.05)


def test_lines_lie_inside_the_higher_zone():
    sheet = get_sheet("ring-40")
    picture = draw_artwork(sheet, px_per_mm=10.0)
    ten = next(ring for ring in sheet.rings if ring.zone == "10")
    u0, v0, _ = artwork_homography(sheet, px_per_mm=10.0) @ [0, 0, 1]

    def at(radius_mm):
        return picture[round(v0), round(u0 + 10 * radius_mm)].astype(int)

    assert at(ten.radius_mm - ten.line_width_mm / 2).max() < 60
    assert at(ten.radius_mm + 0.15)[0] > 240
    assert at(ten.radius_mm - ten.line_width_mm - 0.15)[0] > 240


def test_the_grid_is_an_inch():
    sheet = get_sheet("inch-grid")
    row = ink(draw_artwork(sheet, px_per_mm=4.0))[1000 + 50]
    starts = np.flatnonzero((row > 0.2) & (np.roll(row, 1) <= 0.2))
    assert np.diff(starts).mean() == pytest.approx(25.4 * 4, abs=0.1)


def test_no_artwork_without_a_size_or_with_an_absurd_scale():
    with pytest.raises(SheetError, match="no known size"):
        draw_artwork(get_sheet("known-length"), px_per_mm=2)
    for scale in (0, -1, float("nan")):
        with pytest.raises(SheetError, match="more than 0"):
            draw_artwork(get_sheet("ring-40"), px_per_mm=scale)
    for scale in (1e-6, 1e4):
        with pytest.raises(SheetError, match="choose another px_per_mm"):
            draw_artwork(get_sheet("ring-40"), px_per_mm=scale)
