"""The pictures of reach are read back from both plotting libraries."""

import math
import re

import numpy as np
import pytest

from groupscan.report.figures import figure_bytes
from groupscan.report.reach import (
    curve_distances,
    draw_reach,
    few_words,
    plot_reach,
    reach_key,
    reach_rows,
    reach_scene,
    reach_sentence,
)
from groupscan.stats.reach import measure_reach
from groupscan.units import m_to_yd

HOSTILE = "<img src=q>$x$"


def scene_of(distances, shots=40, mrad=1.5, unit="m", standard=0.9, radius_mm=100, **more):
    away = np.repeat(np.array(distances, dtype=float), shots)
    xy = mrad * away[:, None] * np.random.default_rng(3).standard_normal((len(away), 2))
    reach = measure_reach(
        xy, away, radius_mm=radius_mm, standard=standard, at_m=curve_distances(distances, unit)
    )
    return reach_scene(reach, away, unit=unit, **more)


@pytest.fixture(scope="module")
def scene():
    return scene_of([20, 30], title=HOSTILE)


def test_the_curve_spans_what_the_shots_speak_of_and_no_more(scene):
    assert scene.window_m == pytest.approx((20 / 1.5, 45), rel=1e-6)
    assert not any(math.isnan(point.probability.value) for point in scene.drawn)


def test_all_outside_the_measured_distances_is_shaded_and_named(scene):
    (a, b), (c, d) = scene.shaded_m
    assert (b, c) == (20, 30)
    figure = plot_reach(scene)
    assert [(shape.x0, shape.x1) for shape in figure.layout.shapes] == [(a, b), (c, d)]
    assert sum(note.text == "extrapolated" for note in figure.layout.annotations) == 2
    texts = [text.get_text() for text in draw_reach(scene).axes[0].texts]
    assert texts == ["extrapolated", "extrapolated"]
    assert "extrapolated: nobody shot there" in reach_key(scene)


def test_band_standard_measured_distances_and_reach_are_marked(scene):
    traces = {trace.name: trace for trace in plot_reach(scene).data if trace.name}
    low, value, high = (np.array(plot_reach(scene).data[i].y, dtype=float) for i in (1, 2, 0))
    assert (low <= value).all()
    assert (value <= high).all()
    assert list(traces["measured"].x) == [20, 30]
    assert set(traces["standard"].y) == {90}
    at = traces["rely on"].x[0]
    assert at == scene.reach.reach_m.low
    # On the low edge of the band, where it crosses the standard.
    points = scene.drawn
    edge = np.interp(at, [p.distance_m for p in points], [p.probability.low for p in points])
    assert edge == pytest.approx(0.9, abs=0.005)


def test_yards_are_yards(scene):
    yards = scene_of([20, 30], unit="yd")
    (line,) = [one for one in plot_reach(yards).data if one.name == "rely on"]
    assert line.x[0] == pytest.approx(m_to_yd(scene.reach.reach_m.low))
    assert "distance (yd)" in plot_reach(yards).layout.xaxis.title.text


def test_a_distance_to_rely_on_is_never_rounded_up(scene):
    said = int(re.search(r"Rely on (\d+) m", reach_sentence(scene, "150 mm")).group(1))
    assert said <= scene.reach.reach_m.low < said + 1
    notes = [note.text for note in plot_reach(scene).layout.annotations]
    assert f"<b>rely on {said} m</b>" in notes


def test_what_lies_outside_is_said_to_lie_outside():
    far, near = (scene_of([20], radius_mm=radius) for radius in (150, 62))
    assert "farther out than anything shot" in reach_sentence(far, "300 mm")
    assert "nearer than anything shot" in reach_sentence(near, "124 mm")
    nothing = scene_of([20], radius_mm=10)
    assert "No distance can be relied on yet" in reach_sentence(nothing, "150 mm")
    assert not [one for one in plot_reach(nothing).data if one.name == "rely on"]
    assert "distance to rely on" not in reach_key(nothing)


def test_few_arrows_are_told():
    assert "Only 9 arrows" in few_words(scene_of([20], shots=9))
    assert few_words(scene_of([20], shots=10)) == ""
    assert few_words(scene_of([20, 30], shots=9)) == (
        "Few arrows from 20 m (9), 30 m (9): shoot at least 10 from each distance that matters."
    )


def test_one_shot_draws_no_curve_and_no_crash():
    one = scene_of([20], shots=1)
    assert plot_reach(one).data
    assert figure_bytes(draw_reach(one), "png")


def test_the_rows_are_round_distances_and_those_measured(scene):
    rows = reach_rows(scene)
    at = [row[0] for row in rows]
    assert len(at) == len(set(at))
    assert {"20 m", "30 m"} <= set(at)
    rests_on = {row[0]: row[2] for row in rows}
    assert rests_on["20 m"] == "40 arrows shot from there"
    assert rests_on["45 m"] == "extrapolated"


def test_files_carry_the_caution_and_are_the_same_each_time(scene):
    figure = draw_reach(scene, caption=HOSTILE)
    said = " ".join(text.get_text() for text in figure.texts)
    assert "licence for a shot at game" in said.replace("\n", " ")
    assert figure_bytes(figure, "svg") == figure_bytes(draw_reach(scene, caption=HOSTILE), "svg")


def test_a_title_is_text_and_nothing_else(scene):
    assert "<img" not in plot_reach(scene).to_json().replace("\\u003c", "<")
    assert "img" not in reach_key(scene)
