"""Pictures of the rig bench: what they show, to scale, and the same on screen and paper."""

import io
import re
from datetime import date

import numpy as np
import pytest
from matplotlib import image

from groupscan.records.preferences import Preferences
from groupscan.report.bench import Reading, chart_key, draw_chart, heat_html, plot_chart
from groupscan.report.bench.arrow import arrow_chart, arrow_sentence
from groupscan.report.bench.compare import compare_chart, history_chart
from groupscan.report.bench.fit import fit_chart, fit_sentence
from groupscan.report.bench.flight import flight_chart, flight_sentence
from groupscan.report.bench.launch import launch_chart, launch_sentence
from groupscan.report.bench.pins import (
    bands_chart,
    chance_chart,
    chances_sentence,
    pins_sentence,
    sight_chart,
)
from groupscan.report.bench.scene import Curve, Dots, Label
from groupscan.report.figures import figure_bytes
from groupscan.report.palette import contrast_ratio, palette
from groupscan.rigs.build import measure_arrow
from groupscan.rigs.chronograph import measure_speed
from groupscan.rigs.fit import fit_groups
from groupscan.rigs.flight import fly, sight_angle
from groupscan.rigs.launch import fit_launch
from groupscan.rigs.parts import ArrowParts, place_parts
from groupscan.rigs.sight import Sight, bands_held, pin_positions

METRIC = Reading(Preferences(mass="g", speed="m/s"))
TRADE = Reading(Preferences(length="in", distance="yd"))
HOSTILE = "<b>Wren</b> $x^2$ _y_"
PARTS = ArrowParts(
    shaft_g_per_m=24.0, cut_mm=720.0, nock_g=0.6, fletching_g=1.2, insert_g=3.0, point_g=8.0,
    mass_g=30.0, balance_mm=440.0,
)  # fmt: skip
SIGHT = Sight(85.344, 0.001, 101.6, 863.6)


def arrow():
    figures = measure_arrow(PARTS, draw_weight_n=266.9, speed_mps=85.0)
    return arrow_chart(figures, place_parts(PARTS), METRIC, title=HOSTILE)


def launch():
    pairs = [(26.0, 88.0), (26.0, 88.3), (29.0, 84.1), (29.0, 84.4)]
    speeds = [
        (mass, measure_speed(np.array([v for m, v in pairs if m == mass]))) for mass in (26.0, 29.0)
    ]
    bow = fit_launch(*np.transpose(pairs))
    return launch_chart(
        pairs, speeds, bow, bow.predict(np.array([27.5])), METRIC, title=HOSTILE
    )  # fmt: skip


def flight():
    angle = float(sight_angle(85.0, 0.001, 20.0, peep_m=0.1))
    flown = fly(85.0, angle, 0.001, np.linspace(2, 60, 30), peep_m=0.1, crosswind_mps=3.0)
    high = 1000 * flown.height_m
    return flight_chart(
        flown, (high - 5, high + 5), [(30.0, high + 40)], METRIC, sighted_m=20.0, title=HOSTILE
    )


def sight():
    at = [18.288, 27.432, 36.576]
    return sight_chart(at, pin_positions(SIGHT, at).tolist(), TRADE, title=HOSTILE)


def bands():
    found = bands_held(SIGHT, [18.288, 27.432], 75.0, nearest_m=5.0, farthest_m=40.0)
    return bands_chart(found, [(33.0, 40.0)], TRADE, range_m=(5.0, 40.0), title=HOSTILE)


def chances():
    at = np.linspace(5, 40, 20)
    share = np.linspace(1, 0.2, 20)
    return chance_chart(
        at, share, share - 0.05, share, ["pin 1"] * 20, [20.0], METRIC, measured=True, title=HOSTILE
    )


def fitted():
    far = np.array([18.288, 27.432, 36.576, 45.72, 54.864])
    high = np.array([0.0, -123.4, -365.7, -729.1, -1216.0])
    fit = fit_groups(far, high, se_mm=0.25 * far, shots=6, peep_mm=(101.6, 2.0))
    groups = [(d, h, 0.25 * d, 6) for d, h in zip(far.tolist(), high.tolist(), strict=True)]
    return groups, fit


def fit():
    return fit_chart(*fitted(), METRIC, title=HOSTILE)


def compared():
    return compare_chart(
        [(HOSTILE, [20.0, 40.0], [15.0, 22.0]), ("Oak", [20.0, 40.0], [16.0, 24.0])],
        METRIC, what="pin below the peep's line", title=HOSTILE,
    )  # fmt: skip


def history():
    return history_chart(
        [(date(2026, 1, 1), 250.0, ""), (date(2026, 3, 1), 270.0, HOSTILE)], METRIC, title=HOSTILE
    )


ALL = [arrow, launch, flight, sight, bands, chances, fit, compared, history]


@pytest.mark.parametrize("made", ALL)
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_both_renderers_draw_every_picture_and_take_names_as_text(made, theme):
    chart = made()
    onscreen = plot_chart(chart, theme=theme).to_json()
    assert "<b>Wren" not in onscreen
    assert "\\u003cb\\u003eWren" not in onscreen
    png = figure_bytes(draw_chart(chart, theme=theme, caption=HOSTILE), "png")
    pixels = image.imread(io.BytesIO(png))
    assert np.ptp(pixels[..., :3].reshape(-1, 3), axis=0).max() > 0.5
    assert "<b>Wren" not in chart_key(chart, theme=theme)


@pytest.mark.parametrize("made", ALL)
def test_colour_never_speaks_alone(made):
    """Marks of different names differ in kind, dash, symbol or width, not in colour only."""
    looks = {}
    for mark in made().marks:
        if isinstance(mark, Label) or not mark.name:
            continue
        look = (
            type(mark).__name__,
            getattr(mark, "dash", ""),
            getattr(mark, "symbol", ""),
            getattr(mark, "wide", 0.0),
            mark.role if type(mark).__name__ in ("Ribbon", "Stretch") else "",
        )
        looks.setdefault(look, set()).add(mark.name)
    assert all(len(names) == 1 for names in looks.values()), looks


def test_the_sight_is_to_scale_and_pins_go_down_with_distance():
    at = [18.288, 27.432, 36.576]
    chart = sight()
    assert chart.equal
    pins = [mark for mark in chart.marks if isinstance(mark, Dots)]
    heights = [mark.y[0] for mark in pins]
    assert -np.diff(heights) == pytest.approx(np.diff(pin_positions(SIGHT, at)))
    bar = next(mark for mark in chart.marks if isinstance(mark, Curve) and mark.role == "ink")
    assert bar.x[1] - bar.x[0] == pytest.approx(12.7)  # half an inch
    figure = plot_chart(chart)
    assert figure.layout.yaxis.scaleanchor == "x"
    assert figure.layout.yaxis.scaleratio == 1


def test_the_arrow_balances_where_it_was_measured():
    balance = next(m for m in arrow().marks if isinstance(m, Dots) and m.symbol == "triangle-up")
    assert balance.x == [440.0]
    words = arrow_sentence(measure_arrow(PARTS), METRIC, name="Reed")
    assert words.startswith("Reed weighs 30 g on the scale (")
    # ASTM F1435's definition by hand: 100 (440 - 726.35 / 2) / 726.35
    assert "balances 10.6 % front of centre" in words


def test_the_fitted_flight_goes_through_the_groups():
    groups, fit = fitted()
    chart = fit_chart(groups, fit, METRIC)
    curve = next(m for m in chart.marks if isinstance(m, Curve) and m.role == "found")
    for far, high, se, _ in groups:
        assert np.interp(far, curve.x, curve.y) == pytest.approx(high, abs=3 * se)
    assert "cannot tell the drag" in fit_sentence(fit, 5, 5, METRIC)


def test_sentences_say_what_to_do_about_a_hole():
    whole = pins_sentence([20.0], [], 150.0, METRIC, range_m=(10.0, 25.0))
    assert whole.endswith("all the way from 10 m to 25 m.")
    holed = pins_sentence([20.0, 30.0], [(35.0, 40.0)], 150.0, METRIC, range_m=(10.0, 40.0))
    assert "not from 35 m to 40 m: move a pin there" in holed
    far = np.arange(10.0, 50.0, 10.0)
    said = chances_sentence(far, np.array([0.95, 0.5, 0.92, 0.91]), METRIC, basis="60 shots")
    assert "from 10 m to 10 m and 30 m to 40 m" in said
    assert "nowhere" in chances_sentence(far, np.zeros(4), METRIC, basis="60 shots")


def test_the_launch_sentence_says_mean_spread_and_the_other_arrow():
    readings = np.array([88.0, 88.3, 87.7])
    words = launch_sentence([(26.0, measure_speed(readings))], None, METRIC)
    # Mean 88.0; the sample standard deviation of three values 0.3 apart is 0.3.
    assert words.startswith("26 g leaves at 88.0 m/s (")
    assert "0.3 m/s of spread" in words


def test_the_flight_sentence_names_the_side_of_the_wind():
    flown = fly(85.0, 0.02, 0.001, np.array([20.0, 40.0]), crosswind_mps=-3.0)
    words = flight_sentence(flown, METRIC, sighted_m=20.0, slope_rad=0.0, shoot_as_m=40.0)
    assert "to the left" in words


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_shaded_cells_stay_readable_and_escape_what_they_hold(theme):
    rows = [(HOSTILE, ["1", "<i>2"], [1.0, 2.0], [False, True])]
    page = heat_html("a", ["b", "c"], rows, theme=theme, caption=HOSTILE)
    assert "<b>Wren" not in page
    assert "<i>" not in page
    grounds = re.findall(r"<td[^>]*background:(#[0-9a-f]{6})", page)
    assert len(grounds) == 2
    for ground in grounds:
        assert contrast_ratio(palette(theme).ink, ground) >= 4.5
    assert page.count("outline:") == 1


def test_lengths_have_no_more_digits_than_anybody_can_set():
    assert METRIC.words("length", 1.9837) == "2 mm"
    assert TRADE.words("length", 1.9837) == "0.078 in"
    assert METRIC.words("length", float("nan")) == "–"
    assert TRADE.words("force", 311.3755) == "70 lb"
