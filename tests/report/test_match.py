"""Pictures and words of several kinds about one aim, read back from what was drawn."""

import io
import math
import xml.etree.ElementTree as ET

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from groupscan.report.figures import figure_bytes
from groupscan.report.match.figures import draw_match
from groupscan.report.match.looks import draw_looks, looks_scene, looks_sentence, plot_looks
from groupscan.report.match.onscreen import match_key_html, plot_match
from groupscan.report.match.scene import match_scene, offsets_of
from groupscan.report.match.words import (
    match_sentence,
    offset_cells,
    tightness_rows,
    tightness_sentence,
    verdict_sentence,
)
from groupscan.report.palette import SYMBOLS
from groupscan.report.scene import region_outline
from groupscan.stats.intervals import centre_ellipse
from groupscan.stats.moves import what_to_move
from groupscan.stats.offset import compare_with, look_after_each_end
from groupscan.stats.plan import analyse_order, rotate_heads
from groupscan.stats.tightness import compare_builds
from groupscan.telling import retold

HOSTILE = "<img src=x onerror=alert(1)>$\\frac{a}{$"


def shots_of(offsets, n=12, sigma=8.0, seed=2):
    rng = np.random.default_rng(seed)
    return {name: rng.normal(0, sigma, (n, 2)) + at for name, at in offsets.items()}


def scene_of(groups, tolerance_mm=30.0, **more):
    reference, *others = groups
    table = pd.concat(
        [
            pd.DataFrame(xy, columns=["right_mm", "high_mm"]).assign(kind=name, called="end 1")
            for name, xy in groups.items()
        ]
    )
    centres = {
        name: centre_ellipse(xy.mean(axis=0), np.cov(xy, rowvar=False), len(xy), 0.95)
        for name, xy in groups.items()
    }
    found = compare_with(
        groups[reference], {name: groups[name] for name in others}, tolerance_mm=tolerance_mm
    )
    return match_scene(table, centres, offsets_of(found, None), tolerance_mm=tolerance_mm, **more)


@pytest.fixture
def scene():
    return scene_of(shots_of({"field": (5, 5), "broad": (60, -30), "other": (8, 2)}))


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("unit", ["mm", "inch"])
def test_a_millimetre_is_as_wide_as_it_is_high(scene, theme, unit):
    figure = draw_match(scene, theme=theme, unit=unit, caption="One sentence.")
    figure.canvas.draw()
    to_screen = figure.axes[0].transData.transform
    (x0, y0), (x1, _), (_, y1) = to_screen([(0, 0), (100, 0), (0, 100)])
    assert x1 - x0 == pytest.approx(y1 - y0, rel=1e-6)


def test_the_arrow_runs_from_the_references_centre_by_the_offset(scene):
    broad = scene.kinds[1].centre
    (offset, *_) = [one for one in scene.offsets if one.name == "broad"]
    # Without ends the offset is the difference of the means.
    assert scene.tip_mm(offset) == pytest.approx((broad.x_mm, broad.y_mm))
    arrows = [a for a in plot_match(scene).layout.annotations if a.showarrow]
    assert len(arrows) == 2
    assert (arrows[0].ax, arrows[0].ay) == pytest.approx(scene.origin_mm)
    assert (arrows[0].x, arrows[0].y) == pytest.approx((broad.x_mm, broad.y_mm))


def test_the_region_of_the_offset_holds_the_limits_that_the_verdict_is_read_from(scene):
    for offset in scene.offsets:
        region = scene.region_mm(offset) - scene.origin_mm
        nearest = np.hypot(*region.T).min()
        if offset.distance.low > 0:
            assert nearest == pytest.approx(offset.distance.low, rel=1e-3)
        else:
            # The origin lies inside: the outline runs around it.
            turns = np.unwrap(np.arctan2(*region.T[::-1]))
            assert abs(turns[-1] - turns[0]) == pytest.approx(2 * math.pi, rel=1e-6)


def test_an_offset_of_a_written_order_has_such_a_region_too():
    order = rotate_heads(["field", "broad"], 6, 4)
    rng = np.random.default_rng(5)
    xy = rng.normal(0, 10, (24, 2)) + [[50.0 * (s.build == "broad"), 0] for s in order.shots]
    (offset,) = offsets_of(None, analyse_order(order, xy, tolerance_mm=20))
    assert offset.verdict == "apart"
    nearest = np.hypot(*region_outline(offset.ellipse).T).min()
    assert nearest == pytest.approx(offset.distance.low, rel=1e-3)


def test_the_tolerance_is_a_circle_about_the_references_centre(scene):
    ring = plot_match(scene).data[0]
    radius = np.hypot(np.array(ring.x) - scene.origin_mm[0], np.array(ring.y) - scene.origin_mm[1])
    assert radius == pytest.approx(np.full(len(radius), 30.0))


def test_inches_move_every_mark_alike(scene):
    mm, inch = plot_match(scene), plot_match(scene, unit="inch")
    for a, b in zip(mm.data, inch.data, strict=True):
        assert np.array(a.x) == pytest.approx(25.4 * np.array(b.x))
    assert mm.layout.yaxis.scaleanchor == "x"


def test_all_that_is_drawn_is_in_the_window_and_close_up_leaves_only_shots_out():
    groups = shots_of({"field": (5, 5), "broad": (60, -30)}, n=12)
    groups["field"][0] = (-400, 0)
    for close_up in (False, True):
        scene = scene_of(groups, close_up=close_up)
        left, right, bottom, top = scene.window_mm
        assert right - left == pytest.approx(top - bottom)
        outlines = [scene.region_mm(one) for one in scene.offsets]
        outlines += [region_outline(kind.centre) for kind in scene.kinds]
        drawn = np.vstack(outlines)
        assert ((drawn > (left, bottom)) & (drawn < (right, top))).all()
        assert (left < -400) is not close_up


def test_kinds_differ_by_symbol_as_well_as_by_colour(scene):
    shots = [trace for trace in plot_match(scene).data if trace.hovertext]
    assert len({trace.marker.symbol for trace in shots}) == 3
    assert len({trace.marker.color for trace in shots}) == 3
    assert [trace.marker.symbol for trace in shots] == [pair[1] for pair in SYMBOLS[:3]]


def test_names_from_users_are_shown_and_never_read_as_markup():
    groups = shots_of({"field": (0, 0), HOSTILE: (40, 0)})
    scene = scene_of(groups, title=HOSTILE)
    figure = plot_match(scene)
    texts = [str(trace.hovertemplate) + "".join(trace.hovertext or ()) for trace in figure.data]
    assert not any("<img" in text for text in texts)
    assert any("&lt;img" in text for text in texts)
    key = match_key_html(scene, tolerance="<b>30</b>")
    assert "<img" not in key
    assert "<b>" not in key
    svg = figure_bytes(draw_match(scene, caption=HOSTILE), "svg")
    ET.fromstring(svg)


def test_files_open_and_repeat_to_the_byte(scene):
    first = figure_bytes(draw_match(scene), "png")
    assert figure_bytes(draw_match(scene), "png") == first
    with Image.open(io.BytesIO(first)) as picture:
        assert picture.size == (1280, 1600)


def test_two_shots_of_each_draw_without_regions():
    scene = scene_of(shots_of({"field": (0, 0), "broad": (40, 0)}, n=2))
    assert region_outline(scene.kinds[0].centre) is None
    draw_match(scene).canvas.draw()
    assert "where a true centre lies" not in match_key_html(scene)


def test_of_very_many_shots_some_are_drawn_and_all_are_counted():
    scene = scene_of(shots_of({"field": (0, 0), "broad": (40, 0)}, n=3000))
    assert scene.kinds[0].count == 3000
    assert 300 <= len(scene.kinds[0].shots_mm) <= 600


def test_a_kind_whose_arrow_ends_elsewhere_is_named(scene):
    assert scene.strays() == ()
    moved = scene.offsets[0]
    from dataclasses import replace

    shifted = replace(moved, x=replace(moved.x, value=moved.x.value + 100))
    assert replace(scene, offsets=(shifted,)).strays() == (moved.name,)


def test_the_sentence_says_what_it_means_and_what_to_do(scene):
    broad = next(one for one in scene.offsets if one.name == "broad")
    advice = {"broad": what_to_move(broad.x, broad.y, "apart", compared="head")}
    said = match_sentence(scene.offsets, "field", advice, tolerance="30 mm")
    assert retold(said, {}) == (
        "broad hits low right of field: apart. other hits together with field, within 30 mm. "
        "Move first: the rest up, 0.5 to 1 mm; then shoot both again."
    )
    together = [one for one in scene.offsets if one.name == "other"]
    assert match_sentence(together, "field", {}).endswith("Leave the bow as it is.")


def test_too_few_arrows_move_nothing_and_say_how_many_more():
    scene = scene_of(shots_of({"field": (0, 0), "broad": (12, 0)}, n=4), tolerance_mm=10.0)
    (offset,) = scene.offsets
    assert offset.verdict == "not enough arrows"
    said = match_sentence(scene.offsets, "field", {})
    assert "Move nothing yet." in said
    assert f"About {offset.more.first} more of each" in said
    assert str(offset.more.first) in verdict_sentence(offset, "field")


def test_lengths_are_told_in_the_readers_unit(scene):
    broad = next(one for one in scene.offsets if one.name == "broad")
    assert " mm " in verdict_sentence(broad, "field")
    assert " in " in verdict_sentence(broad, "field", "inch")
    assert offset_cells(broad, "mm")[0].split(" (")[0].endswith("mm right")
    assert offset_cells(broad, "mrad", distance_m=18.0)[1].split(" (")[0].endswith("mrad low")


def test_the_tightest_stands_first_and_the_others_are_held_against_it():
    groups = shots_of({"wide": (0, 0)}, n=40, sigma=20) | shots_of({"tight": (0, 0)}, n=40, sigma=6)
    builds = compare_builds(groups)
    rows = tightness_rows(builds, "mm")
    assert [name for name, *_ in rows] == ["tight", "wide"]
    assert rows[0][2] == "tightest seen"
    assert tightness_sentence(builds) == "tight is tighter than wide."
    ratio = float(rows[1][2].split(" ")[0])
    (pair,) = builds.pairs
    sigmas = dict(zip((pair.first, pair.second), pair.sigma, strict=True))
    assert ratio == pytest.approx(sigmas["wide"] / sigmas["tight"], rel=0.1)


def test_where_no_difference_is_sure_it_says_how_many_more():
    builds = compare_builds(shots_of({"a": (0, 0), "b": (0, 0)}, n=8))
    (pair,) = builds.pairs
    assert f"about {pair.more_arrows} more of each" in tightness_sentence(builds)


def test_one_shot_has_no_spread_to_tell():
    rows = tightness_rows(compare_builds({"a": [(0, 0)], "b": [(0, 0), (1, 2), (3, 1)]}), "mm")
    assert ("a", "cannot be told", "") in rows


@pytest.fixture
def looks():
    groups = shots_of({"field": (0, 0), HOSTILE: (45, 0)}, n=18)
    end = np.repeat(np.arange(1, 7), 3)
    found = look_after_each_end(
        *groups.values(), first_end=end, second_end=end, tolerance_mm=20, looks=6
    )
    return looks_scene(HOSTILE, "field", found, 20.0)


def test_looks_say_when_it_was_settled(looks):
    settled = next(i for i, verdict in enumerate(looks.verdict, 1) if verdict == "apart")
    assert f"was settled after end {settled}, with {6 * settled} arrows: apart" in (
        looks_sentence(looks)
    )


def test_looks_are_drawn_for_screen_and_files(looks):
    figure = plot_looks(looks)
    texts = "".join("".join(trace.hovertext or ()) for trace in figure.data)
    assert "<img" not in texts
    top = figure.layout.yaxis.range[1]
    assert top >= max(looks.distance_mm)
    drawn = draw_looks(looks, theme="dark", unit="inch")
    assert figure_bytes(drawn, "svg").startswith(b"<?xml")
