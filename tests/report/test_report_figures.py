"""Pictures are read back: from the axes' own transforms, and from pixels."""

import io
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from PIL import Image

from groupscan.aims import about_aim
from groupscan.report.figures import draw_group, figure_bytes
from groupscan.report.onscreen import key_html, plot_group
from groupscan.report.palette import palette
from groupscan.report.scene import ellipse_outline, group_scene, shown_region
from groupscan.report.shots import group_of_shots
from groupscan.sheets.catalogue import get_sheet
from tests.report.report_tables import shots_table


def scene_of(shots, group, **more):
    return group_scene(shots, group, **{"sheet": get_sheet("ring-40"), **more})


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("sheet", ["ring-40", "one-aim-a4", "inch-grid", "known-length", None])
@pytest.mark.parametrize("unit", ["mm", "inch"])
def test_a_millimetre_is_as_wide_as_it_is_high(shots, group, theme, sheet, unit):
    scene = scene_of(shots, group, sheet=sheet and get_sheet(sheet))
    figure = draw_group(scene, theme=theme, unit=unit, caption="One sentence.")
    figure.canvas.draw()
    to_screen = figure.axes[0].transData.transform
    (x0, y0), (x1, _), (_, y1) = to_screen([(0, 0), (100, 0), (0, 100)])
    assert x1 - x0 == pytest.approx(y1 - y0, rel=1e-6)


def test_the_outer_ring_is_drawn_at_its_true_radius(shots, group):
    """The published 40 cm face: 200 mm, found in the pixels of the picture along one row."""
    scene = scene_of(shots, group, whole_sheet=True)
    figure = draw_group(scene)
    figure.canvas.draw()
    ax = figure.axes[0]
    radii = sorted({patch.get_radius() for patch in ax.patches if hasattr(patch, "get_radius")})
    assert radii[-1] == 200.0
    assert radii[0] == 10.0  # the inner ten of the 40 cm face: 20 mm across


def test_the_sheet_lies_where_the_aim_says(shots, group):
    scene = scene_of(shots, group, sheet=get_sheet("ring-40"), sheet_aim_mm=(15.0, -5.0))
    patch = draw_group(scene).axes[0].patches[0]
    assert patch.center == (-15.0, 5.0)
    assert plot_group(scene).layout.shapes[0].x0 == pytest.approx(-215.0)


def test_everything_measured_is_in_the_window(shots, group):
    left, right, bottom, top = scene_of(shots, group).window_mm
    assert right - left == pytest.approx(top - bottom)
    xy = shots[["right_mm", "high_mm"]].to_numpy()
    assert ((xy > (left, bottom)) & (xy < (right, top))).all()
    assert left < 0 < right
    assert bottom < 0 < top


def test_the_region_drawn_is_the_ellipse_of_the_group(group):
    outline = ellipse_outline(group) - (group.centre.x.value, group.centre.y.value)
    radius = np.hypot(*outline.T)
    assert radius.max() == pytest.approx(group.centre_ellipse.semi_major_mm, rel=1e-3)
    assert radius.min() == pytest.approx(group.centre_ellipse.semi_minor_mm, rel=1e-3)
    u, v = outline[radius.argmax()]
    angle = np.arctan2(v, u) - group.centre_ellipse.angle_rad
    assert np.sin(angle) == pytest.approx(0, abs=0.05)


def test_files_open_and_repeat_to_the_byte(shots, group):
    def both():
        figure = draw_group(scene_of(shots, group))
        return figure_bytes(figure, "png"), figure_bytes(figure, "svg")

    png, svg = both()
    assert both() == (png, svg)
    with Image.open(io.BytesIO(png)) as picture:
        ground = tuple(int(palette().ground[i : i + 2], 16) for i in (1, 3, 5))
        assert picture.convert("RGB").getpixel((2, 2)) == ground
    assert ET.fromstring(svg).tag.endswith("svg")


def test_dollars_and_markup_of_a_user_stay_plain_text(shots, group):
    nasty = shots.assign(arrow="<b>$x_{", head="<a href='//x'>", label="$1")
    scene = scene_of(nasty, group, title="Club $\\frac{")
    figure_bytes(draw_group(scene, caption="$ $"), "png")
    hover = [t for trace in plot_group(scene).data for t in (trace.hovertext or ())]
    assert hover
    assert not any("<b>" in text or "<a" in text for text in hover)


def test_plotly_keeps_equal_axes_and_draws_nothing_twice(shots, group):
    figure = plot_group(scene_of(shots, group))
    assert figure.layout.yaxis.scaleanchor == "x"
    assert figure.layout.yaxis.scaleratio == 1
    names = [trace.name for trace in figure.data]
    assert len(names) == len(set(names))
    assert {"aim", "group centre", "R50", "R90", "holes found"} <= set(names)


@pytest.mark.parametrize("n", [1, 2, 3])
def test_few_shots_draw_what_is_known_and_no_more(n):
    shots = about_aim(shots_table([(3.0, 4.0), (9.0, -4.0), (1.0, 1.0)][:n]))
    scene = group_scene(shots, group_of_shots(shots))
    names = {trace.name for trace in plot_group(scene).data}
    assert ("R50" in names) == (n > 1)
    assert any(name.startswith("centre,") for name in names) == (n > 2)
    figure_bytes(draw_group(scene), "png")


def test_holes_keep_their_origin_in_shape_and_in_legend():
    table = shots_table([(3.0, 4.0), (9.0, -4.0), (1.0, 1.0)])
    table.loc[1, "auto_x_mm"] += 2
    table.loc[2, ["auto_x_mm", "auto_y_mm"]] = np.nan
    shots = about_aim(table)
    figure = plot_group(group_scene(shots, group_of_shots(shots)))
    symbols = {t.name: t.marker.symbol for t in figure.data if t.name.startswith("holes")}
    assert symbols == {
        "holes found": "circle",
        "holes moved by hand": "diamond",
        "holes added by hand": "square",
    }


def test_the_key_names_what_is_drawn_and_no_more():
    table = shots_table([(3.0, 4.0), (9.0, -4.0)])
    table.loc[1, ["auto_x_mm", "auto_y_mm"]] = np.nan
    shots = about_aim(table.assign(head="<script>"))
    key = key_html(group_scene(shots, group_of_shots(shots)))
    assert "hole found" in key
    assert "hole added by hand" in key
    assert "moved" not in key
    assert "true centre" not in key  # two shots have no region
    assert "script" not in key


def test_a_flagged_flyer_is_ringed_and_named_in_the_key():
    places = [(4, 1), (-3, 5), (0, -6), (60, 20), (-5, -2), (6, -3), (2, 4), (-1, 1)]
    shots = about_aim(shots_table(places))
    scene = group_scene(shots, group_of_shots(shots))
    ring = next(t for t in plot_group(scene).data if t.name == "flagged as a flyer")
    assert (ring.x[0], ring.y[0]) == (60, 20)
    assert "flagged as a flyer" in key_html(scene)
    axes = draw_group(scene).axes[0]
    rings = [line for line in axes.lines if line.get_label() == "flagged as a flyer"]
    assert [line.get_xydata().tolist() for line in rings] == [[[60, 20]]]
    plain = about_aim(shots_table(places[:3] + places[4:]))
    assert "flagged" not in key_html(group_scene(plain, group_of_shots(plain)))


def test_one_hole_is_shown_without_a_centre_over_it():
    shots = about_aim(shots_table([(10.0, -6.0)]))
    scene = group_scene(shots, group_of_shots(shots))
    assert "group centre" not in {trace.name for trace in plot_group(scene).data}
    assert "group centre" not in key_html(scene)
    assert "group centre" not in {line.get_label() for line in draw_group(scene).axes[0].lines}


def test_a_region_that_is_wider_than_the_picture_is_not_painted_over_it():
    """Three shots in a row and a little: Hotelling's region of one degree of freedom."""
    shots = about_aim(shots_table([(28.0, -29.0), (44.0, 0.0), (38.0, -35.0)]))
    scene = group_scene(shots, group_of_shots(shots))
    assert ellipse_outline(scene.group) is not None
    assert shown_region(scene) is None
    assert not any("centre, 95%" in str(trace.name) for trace in plot_group(scene).data)
    assert "where the true centre lies" not in key_html(scene)


def test_each_origin_of_a_hole_is_told_by_shape_and_colour():
    origins = ["found", "moved", "added", "typed"]
    shots = about_aim(shots_table([(0, 0), (9, 0), (0, 9), (9, 9)])).assign(origin=origins)
    figure = plot_group(group_scene(shots, group_of_shots(shots)))
    holes = [trace.marker for trace in figure.data if str(trace.name).startswith("holes ")]
    centre = next(trace.marker for trace in figure.data if trace.name == "group centre")
    assert len({mark.symbol for mark in (*holes, centre)}) == 5
    assert len({mark.color for mark in (*holes, centre)}) == 5
