"""The pictures of numbered arrows are read back from both plotting libraries."""

import io

import numpy as np
import pytest
from PIL import Image

from groupscan.report.figures import figure_bytes
from groupscan.report.palette import SYMBOLS
from groupscan.report.quiver import (
    KINDS,
    arrow_rows,
    draw_quiver,
    history_scene,
    plot_quiver,
    quiver_key,
    quiver_scene,
    quiver_sentence,
    todo_lines,
)
from groupscan.stats.arrows import measure_arrows

HOSTILE = "<img src=q onerror=alert(1)>$x$"


def quiver_of(offsets, ends=10, sigma=6.0, worth_mm=30.0, wide=()):
    rng = np.random.default_rng(4)
    xy, names, end = [], [], []
    for i in range(ends):
        for name, (x, y) in offsets.items():
            scale = 6 if name in wide else 1
            xy.append((x, y) + rng.normal(0, sigma * scale, 2))
            names.append(name)
            end.append(i)
    return measure_arrows(xy, names, ends=end, worth_mm=worth_mm)


@pytest.fixture(scope="module")
def quiver():
    return quiver_of({"1": (0, 0), "2": (2, 1), "3": (0, -2), "4": (50, 20), HOSTILE: (-1, 0)})


def test_flagged_arrows_stand_first_then_the_farthest(quiver):
    scene = quiver_scene(quiver)
    assert scene.marks[0].name == "4"
    away = [mark.away_mm for mark in scene.marks[1:]]
    assert away == sorted(away, reverse=True)


@pytest.mark.parametrize("unit", ["mm", "inch"])
def test_a_millimetre_is_as_wide_as_it_is_high(quiver, unit):
    figure = draw_quiver(quiver_scene(quiver), unit=unit)
    figure.canvas.draw()
    to_screen = figure.axes[0].transData.transform
    (x0, y0), (x1, _), (_, y1) = to_screen([(0, 0), (1, 0), (0, 1)])
    assert x1 - x0 == pytest.approx(y1 - y0, rel=1e-6)
    axis = plot_quiver(quiver_scene(quiver), unit=unit).layout.yaxis
    assert (axis.scaleanchor, axis.scaleratio) == ("x", 1)


def test_marks_and_bars_stand_where_the_numbers_say(quiver):
    figure = plot_quiver(quiver_scene(quiver), unit="inch")
    (trace,) = [one for one in figure.data if one.name == KINDS["apart"]]
    (arrow,) = [one for one in quiver.arrows if one.name == "4"]
    assert trace.x[0] * 25.4 == pytest.approx(arrow.seen_x.value)
    assert (trace.x[0] + trace.error_x.array[0]) * 25.4 == pytest.approx(arrow.seen_x.high)
    assert (trace.y[0] - trace.error_y.arrayminus[0]) * 25.4 == pytest.approx(arrow.seen_y.low)


def test_every_kind_has_a_shape_of_its_own():
    symbols = [plotly for _, plotly in SYMBOLS]
    assert len(set(symbols)) >= len(KINDS)
    quiver = quiver_of(
        {"1": (0, 0), "2": (1, 0), "3": (0, 1), "4": (1, 1), "5": (60, 0), "6": (0, 0)}, wide=("6",)
    )
    scene = quiver_scene(quiver, states={"5": "broken"})
    traces = {one.name: one for one in plot_quiver(scene).data}
    shapes = {name: traces[name].marker.symbol for name in KINDS.values() if name in traces}
    assert shapes[KINDS["apart"]] != shapes[KINDS["scatters"]] != shapes[KINDS["together"]]
    assert traces["out of use"].marker.symbol == "x-thin"
    key = quiver_key(scene)
    for words in (*shapes, "pulled or broken", "95% interval", "the offset that matters"):
        assert words in key


def test_a_name_is_text_and_nothing_else(quiver):
    scene = quiver_scene(quiver, title=HOSTILE)
    picture = plot_quiver(scene).to_json()
    assert "<img" not in picture.replace("\\u003c", "<")
    assert "img" not in quiver_key(scene)
    assert figure_bytes(draw_quiver(scene, caption=HOSTILE), "svg").startswith(b"<?xml")


def test_the_same_arrows_give_the_same_bytes(quiver):
    scene = quiver_scene(quiver)
    first, again = (figure_bytes(draw_quiver(scene, theme="dark"), "png") for _ in range(2))
    assert first == again
    assert Image.open(io.BytesIO(first)).size == (1280, 1540)


def test_names_of_arrows_that_fly_together_do_not_cover_one_another():
    quiver = quiver_of({str(i): (0, 0) for i in range(1, 9)}, sigma=0.5)
    scene = quiver_scene(quiver)
    step = 0.035 * (scene.window_mm[1] - scene.window_mm[0])
    at = np.array(
        [
            (mark.x.value + step * mark.beside[0], mark.y.value + step * mark.beside[1])
            for mark in scene.marks
        ]
    )
    apart = np.linalg.norm(at[:, None] - at[None], axis=-1) + np.eye(len(at)) * 1e9
    assert apart.min() > 0.4 * step


def test_the_sentence_says_what_to_do_with_each_flagged_arrow():
    quiver = quiver_of(
        {"1": (0, 0), "2": (1, 0), "3": (0, 1), "4": (1, 1), "5": (60, 0), "6": (0, 0)}, wide=("6",)
    )
    scene = quiver_scene(quiver)
    said = quiver_sentence(scene, quiver)
    assert said.startswith("Pull arrow 6 and look over shaft")
    assert "turn the nock of arrow 5" in said
    lines = todo_lines(quiver, scene)
    assert [line.split()[1] for line in lines] == ["5", "6"]
    assert "mm right" in lines[0]
    gone = quiver_scene(quiver, states={"5": "pulled", "6": "broken"})
    assert "Arrows 5 and 6 did not fly with the others and are out of use" in quiver_sentence(
        gone, quiver
    )
    assert "It is broken already" in todo_lines(quiver, gone)[1]
    assert "5, pulled" in [row[0] for row in arrow_rows(gone, quiver)]


def test_a_history_is_drawn_at_one_angle(quiver):
    (arrow,) = [one for one in quiver.arrows if one.name == "4"]
    scene = history_scene([(arrow, 20.0), (arrow, 40.0)], at_m=20.0)
    first, second = scene.marks
    assert (first.name, second.name) == ("1", "2")
    assert first.x == arrow.seen_x
    assert second.x.value == pytest.approx(arrow.seen_x.value / 2)
    assert second.x.high == pytest.approx(arrow.seen_x.high / 2)
    assert any(trace.name == "from one to the next" for trace in plot_quiver(scene).data)
