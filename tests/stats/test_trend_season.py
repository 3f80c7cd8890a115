"""A season's input and sessions: what is read, what is refused, what must not matter."""

import json
import math

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from groupscan.errors import StatisticsError
from groupscan.stats.group import measure_group
from groupscan.stats.trend import measure_sessions, measure_trend, read_season
from groupscan.units import angle_rad

steady = settings(deadline=None, max_examples=40)


def shots_of(seed, n, sigma=10.0):
    return sigma * np.random.default_rng(seed).standard_normal((n, 2))


class TestReading:
    def test_sessions_come_in_the_order_of_their_days(self):
        season = read_season(shots_of(0, 4), ["b", "a", "c", "b"], day=[7, 9, 3, 7])
        assert season.label == ("c", "b", "a")
        assert season.day.tolist() == [3, 7, 9]
        assert season.session.tolist() == [0, 1, 1, 2]

    def test_without_days_by_label_numbers_first(self):
        assert read_season(shots_of(0, 4), [10, 9, 2, 9]).label == ("2", "9", "10")

    def test_the_order_of_shots_within_a_session_is_kept(self):
        xy = np.column_stack([np.arange(6.0), np.zeros(6)])
        season = read_season(xy, [2, 1, 2, 1, 2, 1])
        assert season.at[:, 0].tolist() == [1, 3, 5, 0, 2, 4]

    def test_ends_are_numbered_within_their_session(self):
        season = read_season(shots_of(0, 6), [1, 1, 1, 2, 2, 2], end=[3, 3, 7, 7, 8, 8])
        assert season.end.tolist() == [0, 0, 1, 0, 1, 1]

    def test_distances_become_angles_by_the_units_of_the_house(self):
        season = read_season([(30, -40), (30, 5)], [1, 2], distance_m=[18.0, 50.0])
        assert season.unit == "rad"
        assert season.at[0].tolist() == [angle_rad(30, 18.0), angle_rad(-40, 18.0)]
        assert season.at[1, 1] == angle_rad(5, 50.0)

    def test_dates_of_any_kind(self):
        dates = np.array(["2026-03-01", "2026-03-08", "2026-04-01"], dtype="datetime64[D]")
        for day in (dates, dates.astype(str).tolist(), dates.astype("datetime64[ns]")):
            assert np.diff(read_season(shots_of(0, 3), [1, 2, 3], day=day).day).tolist() == [7, 24]

    @pytest.mark.parametrize(
        ("arguments", "message"),
        [
            ({"xy_mm": [(math.nan, 0), (1, 1)]}, "not finite"),
            ({"xy_mm": []}, "no shots"),
            ({"session": [1]}, "session labels"),
            ({"session": [1, math.nan]}, "session label"),
            ({"end": [1]}, "end labels"),
            ({"distance_m": [18.0]}, "distance_m has shape"),
            ({"distance_m": [18.0, -1.0]}, "not more than zero"),
            ({"distance_m": "far"}, "numbers in m"),
            ({"day": [1]}, "one a shot"),
            ({"day": [1, math.inf]}, "no day"),
            ({"day": ["2026-01-01", "soon"]}, "dates"),
            ({"day": [1, 5], "session": [1, 1]}, "more than a day apart"),
        ],
    )
    def test_what_cannot_be_read_is_refused(self, arguments, message):
        given_ = {"xy_mm": [(0, 0), (1, 1)], "session": [1, 2]} | arguments
        with pytest.raises(StatisticsError, match=message):
            read_season(given_.pop("xy_mm"), given_.pop("session"), **given_)


class TestSessions:
    def test_sigma_is_that_of_the_group(self):
        xy, session = shots_of(1, 30), np.repeat([1, 2, 3], [5, 10, 15])
        sessions = measure_sessions(read_season(xy, session))
        for i in range(3):
            group = measure_group(xy[session == i + 1])
            assert sessions.sigma[i] == pytest.approx(group.sigma.value)
            assert sessions.sigma_low[i] == pytest.approx(group.sigma.low)
            assert sessions.sigma_high[i] == pytest.approx(group.sigma.high)
            assert sessions.centre[i] == pytest.approx((group.centre.x.value, group.centre.y.value))

    def test_weights_add_to_one_and_grow_with_shots(self):
        sessions = measure_sessions(read_season(shots_of(1, 30), np.repeat([1, 2, 3], [5, 10, 15])))
        assert sessions.weight.sum() == pytest.approx(1)
        assert (np.diff(sessions.weight) > 0).all()

    def test_two_distances_in_a_session_are_two_groups_in_angle(self):
        angles = np.random.default_rng(3).normal(0, 1e-3, (20, 2))
        metres = np.repeat([18.0, 50.0], 10)
        high = np.where(metres > 20, 5e-3, 0.0)  # a sight mark that is off at the long distance
        xy = 1000 * metres[:, None] * np.tan(angles + np.column_stack([np.zeros(20), high]))
        sessions = measure_sessions(read_season(xy, np.ones(20, int), distance_m=metres))
        parts = angles.reshape(2, 10, 2)
        square = ((parts - parts.mean(axis=1, keepdims=True)) ** 2).sum()
        assert sessions.df[0] == 36
        assert sessions.square[0] == pytest.approx(square)
        assert any("2 distances" in note for note in sessions.notes)

    def test_scatter_about_ends_leaves_out_their_wander(self):
        rng = np.random.default_rng(2)
        end = np.repeat(np.arange(40), 6)
        xy = rng.standard_normal((240, 2)) + 5 * rng.standard_normal((40, 2))[end]
        season = read_season(xy, np.ones(240, int), end=end)
        within = measure_sessions(season, about="end")
        assert within.sigma_low[0] < 1 < within.sigma_high[0]
        assert measure_sessions(season).sigma_low[0] > 3

    def test_what_says_nothing_keeps_its_row(self):
        xy = [(1, 1), (5, 5), (5, 5), (5, 5), (0, 1), (2, 0)]
        sessions = measure_sessions(read_season(xy, [1, 2, 2, 2, 3, 3]))
        assert np.isfinite(sessions.sigma).tolist() == [False, False, True]
        assert "2 of 3 sessions" in sessions.notes[0]
        assert sessions.to_frame().shape[0] == 3

    def test_intervals_are_chi_square(self):
        sessions = measure_sessions(read_season(shots_of(4, 7), np.ones(7, int), distance_m=18.0))
        quantile = scipy.stats.chi2.ppf([0.975, 0.025], 12)
        limits = np.sqrt(sessions.square[0] / quantile)
        assert (sessions.sigma_low[0], sessions.sigma_high[0]) == pytest.approx(tuple(limits))


class TestLaws:
    def trend(self, xy, seed=0):
        rng = np.random.default_rng(seed)
        session = np.repeat(np.arange(15), 12)
        end = np.tile(np.repeat(np.arange(4), 3), 15)
        return measure_trend(xy, session, end=end, day=session * 5.0 + rng.random())

    def test_turning_and_moving_leaves_sigma_alone(self):
        xy = shots_of(5, 180)
        turned = xy @ np.array([(0.6, -0.8), (0.8, 0.6)]) + (300, -70)
        one, other = self.trend(xy), self.trend(turned)
        assert other.sessions.sigma == pytest.approx(one.sessions.sigma)
        assert other.slope.log_sigma.value == pytest.approx(one.slope.log_sigma.value)
        assert other.sigma_ewma.reach == pytest.approx(one.sigma_ewma.reach, abs=1e-6)
        assert other.fatigue.log_sigma.high == pytest.approx(one.fatigue.log_sigma.high)
        assert other.cold_arrow.offset_p == pytest.approx(one.cold_arrow.offset_p)

    def test_scaling_scales_lengths_and_leaves_the_rest(self):
        xy = shots_of(6, 180)
        one, other = self.trend(xy), self.trend(3 * xy)
        assert other.baseline.sigma.high == pytest.approx(3 * one.baseline.sigma.high)
        assert other.baseline.wander.high == pytest.approx(one.baseline.wander.high)
        assert other.slope.centre_x.low == pytest.approx(3 * one.slope.centre_x.low)
        assert other.centre_cusum.reach == pytest.approx(one.centre_cusum.reach, abs=1e-6)
        assert other.sigma_changes.p == one.sigma_changes.p
        assert other.cold_arrow.scatter_ratio.high == pytest.approx(
            one.cold_arrow.scatter_ratio.high
        )

    def test_the_same_shots_give_the_same_answer(self):
        xy = shots_of(7, 180)
        assert self.trend(xy).to_dict() == self.trend(xy).to_dict()


@st.composite
def seasons(draw):
    n = draw(st.integers(1, 40))
    place = st.integers(-3, 3).map(float) | st.floats(-500, 500).map(lambda v: round(v, 3))
    return {
        "xy_mm": draw(hnp.arrays(float, (n, 2), elements=place)),
        "session": draw(hnp.arrays(int, n, elements=st.integers(0, 12))),
        "end": draw(st.none() | hnp.arrays(int, n, elements=st.integers(0, 4))),
        "distance_m": draw(
            st.none()
            | st.just(18.0)
            | hnp.arrays(float, n, elements=st.sampled_from([18.0, 30.0, 50.0]))
        ),
    }


@steady
@given(seasons(), st.booleans())
def test_no_season_crashes_and_intervals_hold_their_value(given_, dated):
    day = 7.0 * given_["session"] if dated else None
    trend = measure_trend(given_.pop("xy_mm"), given_.pop("session"), day=day, **given_)
    json.dumps(trend.to_dict(), allow_nan=False)
    trend.sessions.to_frame()
    trend.sigma_ewma.to_frame()
    trend.fatigue.to_frame()
    for estimate in (
        trend.baseline.sigma,
        trend.baseline.centre_x,
        trend.slope.log_sigma,
        trend.fatigue.log_sigma,
        trend.fatigue.x,
        trend.cold_arrow.x,
    ):
        assert not estimate.low > estimate.value
        assert not estimate.high < estimate.value


@pytest.mark.parametrize("n", [1, 2, 12])
def test_shots_at_one_place_or_on_one_line_are_named_not_refused(n):
    session = np.repeat(np.arange(6), n)
    same = measure_trend(np.full((6 * n, 2), 7.0), session, day=session)
    assert math.isnan(same.baseline.sigma.value)
    assert same.sigma_changes.notes
    line = np.column_stack([shots_of(1, 6 * n)[:, 0], np.zeros(6 * n)])
    measure_trend(line, session, day=session, distance_m=18.0)
