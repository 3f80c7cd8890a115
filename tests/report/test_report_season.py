"""A season's picture, on the screen and on paper, and its words."""

import itertools
import json
import math
import re
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from groupscan.report.figures import figure_bytes
from groupscan.report.palette import palette
from groupscan.report.season import (
    Reading,
    cold_scene,
    draw_cold,
    draw_ends,
    draw_season,
    ends_key,
    ends_scene,
    findings,
    on_one_scale,
    plot_cold,
    plot_ends,
    plot_season,
    progress_words,
    season_key,
    season_scene,
    season_sentence,
    session_names,
    session_rows,
    spark_svg,
    spark_words,
    svg_image,
    within_lines,
    work_on,
)
from groupscan.stats.intervals import Estimate
from groupscan.stats.trend import measure_progress, measure_trend

HOSTILE = "<b>x</b> & $y$"
START = np.datetime64("2026-04-04")


def trend_of(sigmas, *, shots=12, right=None, distance_m=18.0, every=7, seed=1, dated=True):
    """Sessions of three ends with these sigmas, mm, and these centres to the right."""
    rng = np.random.default_rng(seed)
    session = np.repeat(np.arange(len(sigmas)), shots)
    xy = np.asarray(sigmas, float)[session, None] * rng.standard_normal((session.size, 2))
    if right is not None:
        xy[:, 0] += np.asarray(right, float)[session]
    days = START + every * session
    labels = days.astype(str).tolist() if dated else [f"s{i:02}" for i in session]
    end = np.tile(np.repeat(np.arange(3), shots // 3), len(sigmas))
    return measure_trend(xy, labels, end=end, distance_m=distance_m, day=days if dated else None)


def gear(*rows):
    days = [pd.Timestamp(day) for day, _ in rows]
    return pd.DataFrame({"day": days, "what": [what for _, what in rows], "notes": ""})


@pytest.fixture(scope="module")
def changed():
    return trend_of([15] * 10 + [30] * 8, right=[0] * 6 + [40] * 12)


def said(trend, changes=None, **more):
    reading = Reading("mm", 18.0)
    names = session_names(trend.sessions)
    found = findings(trend, measure_progress(trend.sessions), names, reading, gear=changes, **more)
    return season_sentence(found, trend), found


# ---------------------------------------------------------------------------------------- reading


@pytest.mark.parametrize(
    ("reading", "text", "where"),
    [
        (Reading("mm", 20.0), "20 mm (16 to 24)", "mm at 20 m"),
        (Reading("mrad", 20.0), "1.00 mrad (0.80 to 1.20)", "mrad"),
        (Reading("inch", 18.288), "0.72 in (0.58 to 0.86)", "in at 20 yd"),
        (Reading("mm", 20.0, "21.9 yd"), "20 mm (16 to 24)", "mm at 21.9 yd"),
    ],
)
def test_a_milliradian_is_a_thousandth_of_the_distance(reading, text, where):
    estimate = Estimate(0.001, 0.0008, 0.0012)
    assert reading.text(estimate) == text
    assert reading.where == where
    value, _, interval = text.partition(" (")
    assert reading.bare(estimate) == f"{value.split()[0]} ({interval}"


def test_a_season_in_mm_is_read_in_mm():
    reading = Reading("mm", None)
    assert (reading.factor, reading.where) == (1.0, "mm")
    assert reading.side(0, Estimate(-5.0, -9.0, -1.0)) == "5 mm left (1 to 9)"


# ------------------------------------------------------------------------------------------ scene


def test_the_picture_shows_every_session_with_its_interval(changed):
    scene = season_scene(changed, Reading("mm", 18.0))
    sigma = scene.panels[0]
    assert len(scene.names) == len(sigma.value) == 18
    assert ((sigma.low < sigma.value) & (sigma.value < sigma.high)).all()
    assert sigma.value[:10].mean() == pytest.approx(15, rel=0.15)


def test_the_usual_level_starts_anew_after_a_lasting_change(changed):
    sigma, right, _ = season_scene(changed, Reading("mm", 18.0)).panels
    assert sigma.stretches == ((0, 9), (10, 17))
    assert sigma.usual[0] == pytest.approx(15, rel=0.2)
    assert sigma.usual[-1] == pytest.approx(30, rel=0.2)
    assert right.stretches == ((0, 5), (6, 17))
    assert right.usual[0] == pytest.approx(0, abs=8)
    assert right.usual[-1] == pytest.approx(40, abs=8)
    for panel in (sigma, right):
        inside = (panel.usual_low < panel.usual) & (panel.usual < panel.usual_high)
        assert inside.all()


def test_sessions_of_one_day_stand_beside_each_other():
    rng = np.random.default_rng(0)
    labels = np.repeat(["2026-05-01 (4)", "2026-05-01 (5)", "2026-05-08"], 6)
    day = np.repeat(np.array(["2026-05-01", "2026-05-01", "2026-05-08"], "datetime64[D]"), 6)
    trend = measure_trend(rng.normal(size=(18, 2)), labels, day=day, distance_m=18.0)
    scene = season_scene(trend, Reading("mm", 18.0), day_text=lambda d: f"{d:%d.%m.}")
    assert (np.diff(scene.at) > 0).all()
    assert scene.names == ("01.05. (4)", "01.05. (5)", "08.05.")


def test_a_number_that_tells_nothing_here_is_left_out_of_a_name():
    labels = np.repeat(["2026-05-01 (4)", "2026-05-08"], 3)
    day = np.repeat(np.array(["2026-05-01", "2026-05-08"], "datetime64[D]"), 3)
    trend = measure_trend(np.arange(12.0).reshape(6, 2), labels, day=day)
    assert session_names(trend.sessions) == ("2026-05-01", "2026-05-08")


def test_a_wild_interval_does_not_flatten_the_others():
    """Two arrows 20 mm apart: sigma is 10, up to 63 mm (chi-square on 2 df)."""
    rng = np.random.default_rng(2)
    session = np.repeat(np.arange(5), [12, 12, 12, 12, 2])
    xy = np.vstack([10 * rng.normal(size=(48, 2)), [(-10, 0), (10, 0)]])
    trend = measure_trend(xy, session, day=7 * session, distance_m=18.0)
    panel = season_scene(trend, Reading("mm", 18.0)).panels[0]
    assert panel.high[-1] > 60
    assert panel.window[1] < 40


def test_two_seasons_share_their_scales():
    first, second = (trend_of([size] * 5, every=every) for size, every in ((10, 7), (50, 21)))
    reading = Reading("mm", 18.0)
    a, b = on_one_scale([season_scene(one, reading) for one in (first, second)])
    assert a.window == b.window
    assert [p.window for p in a.panels] == [p.window for p in b.panels]
    assert a.panels[0].window[1] > 50


@pytest.mark.parametrize("sessions", [1, 2, 3])
def test_few_sessions_make_a_picture_all_the_same(sessions):
    trend = trend_of([15] * sessions)
    scene = season_scene(trend, Reading("mm", 18.0))
    plot_season(scene)
    assert figure_bytes(draw_season(scene), "png").startswith(b"\x89PNG")
    assert all(math.isfinite(end) for panel in scene.panels for end in panel.window)


@pytest.mark.parametrize("every", [1, 30, 400, 1000])
def test_any_span_of_time_has_an_axis(every):
    scene = season_scene(trend_of([15] * 4, every=every), Reading("mm", 18.0))
    assert figure_bytes(draw_season(scene), "svg")


def test_sessions_without_days_stand_in_their_order():
    scene = season_scene(trend_of([15] * 4, dated=False), Reading("mm", 18.0), gear=gear())
    assert not scene.dated
    assert scene.at.tolist() == [1, 2, 3, 4]
    plot_season(scene)
    draw_season(scene)


# ------------------------------------------------------------------------------ screen and paper


def test_both_pictures_show_the_change_of_gear_by_its_letter(changed):
    scene = season_scene(
        changed, Reading("mm", 18.0), gear=gear(("2026-06-13", HOSTILE)), title=HOSTILE
    )
    spec = json.loads(plot_season(scene).to_json())
    words = [note["text"] for note in spec["layout"]["annotations"]]
    assert "<b>A</b>" in words
    assert HOSTILE not in json.dumps(spec)
    svg = figure_bytes(draw_season(scene, caption=HOSTILE), "svg")
    assert svg == figure_bytes(draw_season(scene, caption=HOSTILE), "svg")


def test_changes_of_gear_on_one_day_share_a_letter(changed):
    days = ("2026-05-16", "2026-05-16", "2026-06-13")
    scene = season_scene(
        changed,
        Reading("mm", 18.0),
        gear=gear(*zip(days, ("rest", "string", "limbs"), strict=True)),
    )
    assert [(m.letter, m.what) for m in scene.marks] == [("A", "rest; string"), ("B", "limbs")]


@pytest.mark.parametrize("every", [1, 2, 9, 40])
def test_no_flag_covers_another_or_leaves_the_picture(changed, every):
    """A phone's picture has 300 px from side to side, a letter 10 of them, a flag 6 more."""
    days = np.arange(START, START + np.timedelta64(119, "D"), every).astype(str)
    scene = season_scene(changed, Reading("mm", 18.0), gear=gear(*((day, "x") for day in days)))
    begin, end = scene.window
    sides = [
        (flag.at - wide / 2, flag.at + wide / 2)
        for flag in scene.flags
        for wide in [(10 * len(flag.text) + 6) * (end - begin) / 300]
    ]
    assert all(a[1] <= b[0] + 1e-9 for a, b in itertools.pairwise(sides))
    assert begin - 1e-9 <= sides[0][0]
    assert sides[-1][1] <= end + 1e-9
    assert [mark for flag in scene.flags for mark in flag.marks] == list(scene.marks)
    assert len(scene.marks) == len(days)
    if every == 40:
        assert [flag.text for flag in scene.flags] == ["A", "B", "C"]


def test_changes_that_share_a_flag_do_not_run_through_the_sessions(changed):
    days = ("2026-04-20", "2026-06-13", "2026-06-14")
    scene = season_scene(changed, Reading("mm", 18.0), gear=gear(*((day, "x") for day in days)))
    assert [flag.text for flag in scene.flags] == ["A", "B–C"]
    shapes = json.loads(plot_season(scene).to_json())["layout"]["shapes"]
    paths = [shape["path"] for shape in shapes if shape.get("type") == "path"]
    feet = [[float(y) for y in re.findall(r"M2026-\d\d-\d\d_00:00,([\d.]+)L", p)] for p in paths]
    assert feet[0] == [0]
    assert len(feet[1]) == 2
    assert min(feet[1]) > 0.95
    lines = [
        len([line for line in ax.lines if line.get_color() == palette().aim])
        for ax in draw_season(scene).axes
    ]
    assert lines == [3, 1, 1]


def test_no_flag_covers_a_title_on_paper(changed):
    days = np.arange(START, START + np.timedelta64(119, "D"), 9).astype(str)
    scene = season_scene(changed, Reading("mm", 18.0), gear=gear(*((day, "x") for day in days)))
    figure = draw_season(replace(scene, title="Ada"))
    figure.canvas.draw()
    ax = figure.axes[0]
    above = ax._left_title.get_window_extent()
    flags = [text.get_window_extent() for text in ax.texts]
    assert flags
    assert not any(above.overlaps(flag) for flag in flags)
    assert figure.bbox.y1 > above.y1
    assert not figure.texts[0].get_window_extent().overlaps(above)


def test_a_picture_for_paper_lists_the_newest_changes_only(changed):
    days = np.arange(START, START + np.timedelta64(100, "D"), 5).astype(str)
    scene = season_scene(changed, Reading("mm", 18.0), gear=gear(*((day, "peep") for day in days)))
    foot = draw_season(scene, caption="the end").texts[-1].get_text().splitlines()
    assert len(foot) == 14
    assert foot[0] == "A–H  Earlier changes of gear"
    assert foot[1].startswith("I ")
    assert foot[-1] == "the end"


def test_nothing_is_said_by_colour_alone(changed):
    """Sessions, alarms and changes differ in their symbol; levels and limits in their dash."""
    spec = json.loads(plot_season(season_scene(changed, Reading("mm", 18.0))).to_json())
    marks = {t["marker"]["symbol"] for t in spec["data"] if "marker" in t}
    assert marks == {"circle", "square-open"}
    dashes = {t["line"].get("dash") for t in spec["data"] if t.get("mode") == "lines"}
    assert dashes == {"dot", "dash"}
    assert "◆" in [note["text"] for note in spec["layout"]["annotations"]]


def test_no_thumb_can_drag_the_picture(changed):
    layout = json.loads(plot_season(season_scene(changed, Reading("mm", 18.0))).to_json())["layout"]
    axes = [value for name, value in layout.items() if name[1:].startswith("axis")]
    assert len(axes) == 6
    assert all(axis["fixedrange"] for axis in axes)


def test_the_key_names_only_what_is_there(changed):
    plain = season_key(season_scene(trend_of([15] * 2), Reading("mm", 18.0)))
    full = season_key(season_scene(changed, Reading("mm", 18.0), gear=gear(("2026-06-13", "x"))))
    for words in ("limits of a usual session", "a lasting change begins", "gear changed"):
        assert words not in plain
        assert words in full


def cold_season(right=0.0, *, sigma=10.0, sessions=14, seed=3):
    """A season at 10 m whose first arrows land so far right."""
    rng = np.random.default_rng(seed)
    session = np.repeat(np.arange(sessions), 12)
    xy = sigma * rng.standard_normal((session.size, 2))
    xy[::12, 0] += right
    return measure_trend(xy, session, day=7 * session, distance_m=10.0)


def test_the_first_arrow_is_drawn_to_scale_beside_the_ring_of_half_the_arrows():
    """Half of a round normal scatter lies within sqrt(2 ln 2) sigma: NIST handbook, Rayleigh."""
    scene = cold_scene(cold_season(8.0), Reading("mm", 10.0))
    assert (scene.x, scene.y) == (pytest.approx(8, abs=9), pytest.approx(0, abs=9))
    assert scene.half == pytest.approx(10 * math.sqrt(2 * math.log(2)), rel=0.12)
    spec = json.loads(plot_cold(scene).to_json())
    assert spec["layout"]["yaxis"]["scaleanchor"] == "x"
    assert spec["layout"]["xaxis"]["range"] == spec["layout"]["yaxis"]["range"]
    assert {t["marker"]["symbol"] for t in spec["data"] if "marker" in t} == {
        "cross-thin", "diamond",
    }  # fmt: skip
    (ax,) = draw_cold(scene).axes
    assert ax.get_aspect() == 1
    assert (ax.get_xlim(), ax.get_ylim()) == ((-scene.reach, scene.reach),) * 2


@pytest.mark.parametrize("sigma", [1.0, 10.0])
@pytest.mark.parametrize("right", [0.0, 3.0, 200.0])
@pytest.mark.parametrize("sessions", [1, 3, 14])
def test_the_first_arrow_and_the_ring_are_always_in_the_picture(sigma, right, sessions):
    scene = cold_scene(cold_season(right, sigma=sigma, sessions=sessions), Reading("mm", 10.0))
    assert max(abs(scene.x), abs(scene.y)) < scene.reach
    assert not scene.half > scene.reach
    assert figure_bytes(draw_cold(scene), "png").startswith(b"\x89PNG")


def test_ends_are_drawn_by_their_number(changed):
    scene = ends_scene(changed, Reading("mm", 18.0))
    assert scene.number == (1, 2, 3)
    assert scene.line is None
    (points,) = json.loads(plot_ends(scene).to_json())["data"]
    assert points["x"] == [1, 2, 3]
    assert "the change from end to end" not in ends_key(scene)


def test_the_line_from_end_to_end_is_drawn_where_the_change_is_clear():
    rng = np.random.default_rng(4)
    session = np.repeat(np.arange(12), 40)
    end = np.tile(np.repeat(np.arange(5), 8), 12)
    xy = 10 * 1.25 ** end[:, None] * rng.standard_normal((480, 2))
    scene = ends_scene(
        measure_trend(xy, session, end=end, day=7 * session, distance_m=10.0), Reading("mm", 10.0)
    )
    assert scene.line == pytest.approx(10 * 1.25 ** np.arange(5), rel=0.1)
    assert "the change from end to end" in ends_key(scene)
    labels = draw_ends(scene).axes[0].get_legend_handles_labels()[1]
    assert "the change from end to end" in labels


def test_without_ends_or_order_there_is_no_small_picture():
    trend = trend_of([15], shots=3)
    assert ends_scene(trend, Reading("mm", 18.0)) is None  # one arrow an end


def test_small_pictures_hold_titles_of_users_as_text():
    trend, reading = trend_of([15] * 6), Reading("mm", 18.0)
    ends = ends_scene(trend, reading, title=HOSTILE)
    cold = cold_scene(trend, reading, title=HOSTILE)
    for figure in (draw_ends(ends, caption=HOSTILE), draw_cold(cold, caption=HOSTILE)):
        assert figure_bytes(figure, "svg").startswith(b"<?xml")
    for plot in (plot_ends(ends), plot_cold(cold)):
        assert "<b>x" not in plot.to_json()


def spark_heights(trend, progress=None):
    """Heights of the small line's points above the dashed level."""
    svg = spark_svg(trend.sessions, progress)
    line = svg.split('points="')[1].split('"')[0]
    level = float(re.search(r'<line .*?y1="([\d.]+)"', svg)[1])
    return [level - float(point.split(",")[1]) for point in line.split()]  # y points down


def test_a_small_line_rises_where_groups_get_wider():
    rising = spark_heights(trend_of(np.geomspace(10, 40, 6), shots=60))
    assert rising == sorted(rising)
    assert rising[0] == pytest.approx(-rising[-1], abs=8)  # about its middle
    flat = spark_heights(trend_of([20] * 6, shots=600))
    assert max(flat) - min(flat) < 12
    assert svg_image("<svg/>", '"x"').count('"x"') == 0


@pytest.mark.parametrize("right", [60, -60])
def test_the_small_line_of_who_drifts_shows_the_centre_from_where_it_began(right):
    """Sigma stays: the line of it would be flat, and say nothing of the word beside it."""
    trend = trend_of([15] * 6, shots=60, right=np.linspace(5, 5 + right, 6))
    progress = measure_progress(trend.sessions)
    assert progress.word == "drifting"
    heights = spark_heights(trend, progress)
    assert np.diff(heights).min() > 0
    assert heights[0] == pytest.approx(0, abs=3)
    assert heights[-1] == pytest.approx(32, abs=3)  # of 44 px, 6 are left free on each side
    assert spark_words(progress) == "how far the centre came"
    steady = trend_of([15] * 6, shots=60)
    assert spark_words(measure_progress(steady.sessions)) == "sigma"


# ------------------------------------------------------------------------------------------ words


def test_the_sentence_names_the_gear_changed_just_before(changed):
    sentence, found = said(
        changed, gear(("2026-05-16", "rest moved"), ("2026-06-13", "new string"))
    )
    assert "from 2026-06-13 on, the first session after “new string”: check what" in sentence
    moved = next(one for one in found if one.kind == "centre")
    assert "“rest moved”" in moved.what
    assert moved.todo == "set the sight anew, unless you undo “rest moved”"


def test_gear_that_was_changed_at_another_time_is_not_blamed(changed):
    sentence, _ = said(changed, gear(("2026-04-18", "new sight")))
    assert "new sight" not in sentence
    assert "look for what changed about then" in sentence


def test_a_tighter_season_is_to_be_kept():
    sentence, _ = said(trend_of([30] * 8 + [15] * 8))
    assert "keep what you changed about then" in sentence


def test_a_drift_is_told_apart_from_a_step():
    trend = trend_of([20] * 5, right=np.linspace(0, 80, 5), shots=36)
    _, found = said(trend)
    (drift,) = [one for one in found if one.kind in ("drift", "centre")]
    assert drift.kind == "drift"
    assert "before you move the sight" in drift.todo


def test_a_quiet_season_is_left_alone():
    sentence, found = said(trend_of([20] * 12, seed=5))
    assert found == []
    assert "leave the rig as it is" in sentence


@pytest.mark.parametrize(("sessions", "words"), [(1, "One session tells"), (3, "3 sessions tell")])
def test_too_few_sessions_say_how_many_are_needed(sessions, words):
    sentence, _ = said(trend_of([20] * sessions))
    assert words in sentence
    assert "4 different days" in sentence


def test_an_order_that_is_not_known_says_nothing_of_the_first_arrow():
    lines = within_lines(trend_of([20] * 4), Reading("mm", 18.0), order_known=False)
    assert "a photo does not tell" in lines[1]


@pytest.mark.parametrize(
    ("ratio", "words"),
    [(1.4, "groups open up by"), (1 / 1.4, "groups tighten by"), (1, "no steady change shows")],
)
def test_what_happens_from_end_to_end_is_said_in_its_direction(ratio, words):
    rng = np.random.default_rng(7)
    session = np.repeat(np.arange(12), 24)
    end = np.tile(np.repeat(np.arange(3), 8), 12)
    xy = 10 * ratio ** end[:, None] * rng.standard_normal((288, 2))
    trend = measure_trend(xy, session, end=end, day=7 * session, distance_m=10.0)
    said, _ = within_lines(trend, Reading("mm", 10.0), order_known=True)
    assert said.startswith(f"From end to end: {words}")
    percent = float(re.search(r"(-?[\d.]+) %", said)[1])
    assert percent == pytest.approx(abs(100 * (ratio - 1)), abs=9)


def test_the_table_has_the_newest_session_first(changed):
    names = session_names(changed.sessions)
    rows = session_rows(changed, names, Reading("mm", 18.0), last=3)
    assert [row[0] for row in rows] == list(reversed(names))[:3]
    assert rows[0][1] == "12"
    assert all(len(row) == 5 for row in rows)


def test_a_break_and_a_slope_of_one_season_are_told_in_one_sentence():
    # The roster tells the slope, the season's picture the break: a coach who reads both wants to
    # know that they are two readings of the same sessions.
    trend = trend_of(np.geomspace(15, 45, 8), shots=36)
    reading, progress = Reading("mm", 18.0), measure_progress(trend.sessions)
    assert len(trend.sigma_changes.changes) >= 1
    found = findings(trend, progress, session_names(trend.sessions), reading)
    assert found[0].kind == "sigma"
    said = found[0].what
    slope = re.search(r"[\d.]+ times \([^)]*\)", progress_words(progress, reading))[0]
    assert slope in said
    one_break = len(trend.sigma_changes.changes) == 1
    assert ("little by little" if one_break else "over the whole season") in said


def test_what_to_work_on_repeats_no_headline(changed):
    progress = measure_progress(changed.sessions)
    found = findings(changed, progress, session_names(changed.sessions), Reading("mm", 18.0))
    headline = season_sentence(found, changed, todo=False)
    first, *others = work_on(found)
    assert headline == found[0].change
    assert found[0].todo not in headline
    assert found[0].what not in first
    assert first.lower().startswith(found[0].todo.lower())
    assert others == [one.sentence for one in found[1:]]
    assert work_on([]) == ("Nothing that these shots show. Go by the goals.",)


def test_progress_tells_what_the_word_rests_on():
    reading = Reading("mm", 18.0)
    wider = measure_progress(trend_of(np.geomspace(15, 45, 6), shots=36).sessions)
    assert "as wide as at the start" in progress_words(wider, reading)
    assert "little by little" in progress_words(wider, reading)
    few = measure_progress(trend_of([20] * 2).sessions)
    assert "four different days" in progress_words(few, reading)


def test_dates_are_written_as_the_reader_likes(changed):
    scene = season_scene(
        changed, Reading("mm", 18.0), day_text=lambda day: f"{day.day} {day:%b %Y}",
        gear=gear(("2026-06-13", "x")),
    )  # fmt: skip
    assert scene.names[0] == "4 Apr 2026"
    assert scene.marks[0].day == "13 Jun 2026"
    assert date(2026, 6, 13).toordinal() - date(1970, 1, 1).toordinal() == scene.marks[0].at
