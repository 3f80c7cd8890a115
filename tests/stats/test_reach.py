"""Reach against scipy's distributions, published radii, and the laws that it must keep."""

import json
import math

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from groupscan.errors import StatisticsError
from groupscan.stats.disc import disc_probability, round_disc_probability
from groupscan.stats.reach import CAUTION, measure_reach
from groupscan.stats.reach.growth import fit_growth
from groupscan.stats.reach.landing import elliptical_landing, round_landing
from groupscan.stats.reach.stray import measure_stray

# Radius that holds half, 90, 95, 99 % of shots, sigma_x = 1 and sigma_y = k: by root finding on
# Hoyt's distribution outside this project, two quadratures agreeing to 1e-9; the first column
# agrees with H. L. Harter, "Circular error probabilities", Journal of the American Statistical
# Association 55 (1960) 723-731 (from memory).
ELLIPTICAL = {
    0.1: (0.68198508827, 1.64791160624, 1.96252959676, 2.5777809445),
    0.3: (0.74993512154, 1.67382866353, 1.98419622613, 2.5942091934),
    0.5: (0.87041742824, 1.73707993427, 2.03585872029, 2.63256675502),
    0.8: (1.05769258225, 1.94715810044, 2.23028728565, 2.79069130907),
    1.0: (1.17741002252, 2.14596602629, 2.44774683068, 3.03485425877),
}
SHARES = (0.5, 0.9, 0.95, 0.99)

ONE = np.ones(1)


def shots_at(distance, seed, per_metre=1.5, bias=(0.0, 0.0)):
    """Return shots of a rig whose scatter and bias are proportional to distance."""
    rng = np.random.default_rng(seed)
    distance = np.asarray(distance, float)
    return distance[:, None] * (
        np.array(bias) + per_metre * rng.standard_normal((len(distance), 2))
    )


@pytest.mark.parametrize("ratio", ELLIPTICAL)
def test_disc_holds_the_published_shares_of_elliptical_scatter(ratio):
    scale = np.diag([1.0, ratio**2])
    found = disc_probability(ELLIPTICAL[ratio], np.zeros(2), scale)
    assert found == pytest.approx(SHARES, abs=1e-9)


@pytest.mark.parametrize("away", [0.0, 0.3, 1.0, 2.5, 6.0])
@pytest.mark.parametrize("radius", [0.2, 1.0, 2.146, 5.0])
def test_disc_off_centre_is_scipys_noncentral_chi_square(radius, away):
    expected = scipy.stats.ncx2.cdf(radius**2, 2, max(away, 1e-9) ** 2)
    assert round_disc_probability(radius, away, math.inf) == pytest.approx(expected, abs=1e-10)
    turned = away * np.array([0.6, 0.8])
    assert disc_probability(radius, turned, np.eye(2)) == pytest.approx(expected, abs=1e-10)


def test_disc_of_a_slanted_t_is_the_share_of_scipys_draws():
    scale, mean = np.array([[3.0, 1.2], [1.2, 1.0]]), np.array([1.5, -0.5])
    drawn = scipy.stats.multivariate_t(mean, scale, df=5, seed=8).rvs(400_000)
    inside = (np.hypot(*drawn.T) <= 2.2).mean()
    se = math.sqrt(inside * (1 - inside) / len(drawn))
    assert disc_probability(2.2, mean, scale, 5) == pytest.approx(inside, abs=4 * se)


def test_value_is_the_predictive_share_of_draws_of_scatter_and_centre():
    """Sigma and centre from their posterior, then a shot: the t must hold as many."""
    rng = np.random.default_rng(4)
    n, square, away, radius = 5, 800.0, 6.0, 25.0
    sigma = np.sqrt(square / rng.chisquare(2 * (n - 1), 400_000))
    shot = rng.standard_normal((400_000, 2)) * sigma[:, None] * math.sqrt(1 + 1 / n) + (away, 0.0)
    inside = (np.hypot(*shot.T) <= radius).mean()
    share = round_landing(
        radius, away * ONE, square * ONE, 2 * (n - 1), ONE, ONE / n, ONE, confidence=0.95
    )
    assert share.value == pytest.approx(inside, abs=4 * math.sqrt(0.25 / len(shot)))


def test_many_shots_leave_the_known_share_and_little_around_it():
    radius, away = 2.2, 1.0
    n = 100_000
    share = round_landing(
        radius, away * ONE, 2.0 * (n - 1) * ONE, 2 * (n - 1), ONE, ONE / n, ONE, confidence=0.95
    )
    known = scipy.stats.ncx2.cdf(radius**2, 2, away**2)
    assert share.value == pytest.approx(known, abs=1e-4)
    assert share.low == pytest.approx(known, abs=0.01)
    assert share.low < known < share.high


def test_ellipse_and_circle_agree_where_scatter_is_round_and_shots_are_many():
    n = 400
    scatter, centre = (n - 1) * np.eye(2)[None], np.array([[0.5, 0.2]])
    ellipse = elliptical_landing(2.146, centre, scatter, n - 1, ONE, ONE / n, ONE, 0.95)
    circle = round_landing(
        2.146, np.hypot(*centre.T), 2.0 * (n - 1) * ONE, 2 * (n - 1), ONE, ONE / n, ONE, 0.95
    )
    assert ellipse.value == pytest.approx(circle.value, abs=2e-3)
    assert ellipse.low == pytest.approx(circle.low, abs=0.02)


def test_growth_recovers_bias_and_scatter_between_distances():
    distance = np.repeat([15.0, 30.0, 45.0], 4000)
    growth = fit_growth(shots_at(distance, 1, bias=(0.5, -0.2)), distance)
    centre, shot, own = growth.at(36.0)
    variance = np.trace(growth.scatter, axis1=1, axis2=2) / (2 * growth.df) * shot
    assert growth.weight @ centre == pytest.approx([18.0, -7.2], abs=1.0)
    assert math.sqrt(growth.weight @ variance) == pytest.approx(54.0, rel=0.02)
    assert (own < 0.001 * shot).all()


def test_scatter_that_grows_with_the_square_is_seen_to():
    rng = np.random.default_rng(2)
    distance = np.repeat([15.0, 30.0, 45.0], 400)
    growth = fit_growth((distance**2 / 30)[:, None] * rng.standard_normal((1200, 2)), distance)
    _, shot, _ = growth.at(60.0)
    variance = np.trace(growth.scatter, axis1=1, axis2=2) / (2 * growth.df) * shot
    assert math.sqrt(growth.weight @ variance) == pytest.approx(120.0, rel=0.1)


def test_reach_of_a_well_known_rig():
    """A circle of 2.146 sigma holds 90 % (Rayleigh): here at 115 mm / (2.146 * 1.5 mm/m)."""
    distance = np.repeat([20.0, 30.0, 40.0], 2000)
    reach = measure_reach(shots_at(distance, 3), distance, radius_mm=115, standard=0.9)
    true = 115 / (2.145966 * 1.5)
    assert reach.reach_m.low < true < reach.reach_m.high
    assert reach.reach_m.value == pytest.approx(true, rel=0.02)
    assert reach.reach_m.low == pytest.approx(true, rel=0.04)
    assert (reach.basis, reach.shape, reach.notes) == ("between", "round", ())


def test_fewer_arrows_mean_less_reach():
    pattern = np.array([(1, 0), (-1, 0), (0, 1), (0, -1)], float)
    lows = [
        measure_reach(np.tile(40 * pattern, (many, 1)), 20.0, radius_mm=150).reach_m.low
        for many in (1, 2, 5, 20)
    ]
    assert lows == sorted(lows)
    assert lows[0] < 0.8 * lows[-1]


def test_a_bias_costs_reach_and_a_higher_standard_too():
    distance = np.repeat([20.0, 30.0], 20)
    centred, biased = shots_at(distance, 5), shots_at(distance, 5, bias=(2.0, 0.0))
    plain = measure_reach(centred, distance, radius_mm=120, standard=0.8).reach_m.low
    assert measure_reach(biased, distance, radius_mm=120, standard=0.8).reach_m.low < plain
    assert measure_reach(centred, distance, radius_mm=120, standard=0.95).reach_m.low < plain


def test_long_groups_are_taken_for_ellipses_and_it_is_said():
    distance = np.repeat([20.0, 30.0], 30)
    xy = shots_at(distance, 6) * (0.3, 1.5)
    reach = measure_reach(xy, distance, radius_mm=120)
    assert reach.shape == "elliptical"
    assert any("ellipse" in note for note in reach.notes)
    assert measure_reach(xy, distance, radius_mm=120, shape="round").shape == "round"


def test_what_it_rests_on_is_said_by_distance():
    distance = np.repeat([20.0, 30.0], 10)
    at = [5.0, 14.0, 20.0, 25.0, 30.0, 40.0, 60.0]
    reach = measure_reach(shots_at(distance, 7), distance, radius_mm=100, at_m=at)
    assert [point.basis for point in reach.curve] == [
        "nothing near",
        "extrapolated",
        "measured",
        "between",
        "measured",
        "extrapolated",
        "nothing near",
    ]
    assert math.isnan(reach.curve[0].probability.value)
    assert reach.curve[2].probability.low > reach.curve[3].probability.low


def test_reach_beyond_the_longest_distance_says_extrapolated():
    distance = np.repeat([20.0, 30.0], 60)
    reach = measure_reach(shots_at(distance, 8), distance, radius_mm=140)
    assert reach.basis == "extrapolated"
    assert 30 < reach.reach_m.low < 45
    assert any("extrapolated" in note for note in reach.notes)


def test_reach_that_does_not_end_and_reach_that_never_begins():
    distance = np.repeat([20.0, 30.0], 10)
    wide = measure_reach(shots_at(distance, 9), distance, radius_mm=1000)
    assert wide.reach_m.low == pytest.approx(45.0)
    assert any("still holds at 45" in note for note in wide.notes)
    narrow = measure_reach(shots_at(distance, 9), distance, radius_mm=20)
    assert math.isnan(narrow.reach_m.low)
    assert narrow.basis == "nothing near"
    assert any("At no distance" in note for note in narrow.notes)


def test_a_gap_between_distances_ends_the_search():
    distance = np.repeat([10.0, 60.0], 10)
    reach = measure_reach(shots_at(distance, 10), distance, radius_mm=200)
    assert reach.reach_m.low == pytest.approx(15.0)
    assert any("gap" in note for note in reach.notes)


def test_centres_that_wander_from_day_to_day_are_named():
    rng = np.random.default_rng(11)
    day = np.repeat(np.arange(6), 6)
    xy = 20 * rng.standard_normal((36, 2)) + 40 * rng.standard_normal((6, 2))[day]
    wandering = measure_reach(xy, 20.0, radius_mm=150, group=day.tolist())
    assert any("stray" in note and "allow for it" in note for note in wandering.notes)
    blind = measure_reach(xy, 20.0, radius_mm=150)
    at_20 = [next(p.probability for p in r.curve if p.distance_m == 20) for r in (wandering, blind)]
    assert at_20[0].low < at_20[1].low
    steady = measure_reach(
        20 * rng.standard_normal((36, 2)), 20.0, radius_mm=150, group=day.tolist()
    )
    assert not any("stray" in note for note in steady.notes)


@pytest.mark.parametrize(
    "xy", [[(3.0, 4.0)], [(3.0, 4.0)] * 5, [(3.0, 4.0), (3.0, 4.0)]], ids=["one", "five", "two"]
)
def test_no_scatter_gives_no_limits_and_says_so(xy):
    reach = measure_reach(xy, 20.0, radius_mm=100)
    assert math.isnan(reach.reach_m.low)
    assert all(math.isnan(point.probability.low) for point in reach.curve)
    assert any("scatter" in note for note in reach.notes)


def test_shots_on_a_line_are_measured():
    xy = np.array([(0.0, y) for y in (-40, -20, -5, 10, 30, 45, 60, -50)])
    reach = measure_reach(xy, 20.0, radius_mm=120)
    at = next(point for point in reach.curve if point.distance_m == 20)
    assert 0 < at.probability.low < at.probability.value < at.probability.high <= 1


def test_caution_and_table_travel_with_the_number():
    reach = measure_reach(shots_at([20.0] * 6, 12), 20.0, radius_mm=100)
    kept = json.loads(json.dumps(reach.to_dict(), allow_nan=False))
    assert kept["caution"] == CAUTION
    assert "licence" in CAUTION
    assert list(reach.to_frame().columns) == ["distance_m", "probability", "low", "high", "basis"]
    assert len(reach.to_frame()) == len(reach.curve)


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"xy_mm": [(1.0, math.nan)]}, "shot 1"),
        ({"xy_mm": []}, "no shots"),
        ({"distance_m": 0.0}, "more than zero"),
        ({"distance_m": [20.0, 30.0]}, "one a shot"),
        ({"distance_m": math.inf}, "kilometre"),
        ({"radius_mm": -1.0}, "radius"),
        ({"standard": 1.0}, "standard"),
        ({"confidence": 0.2}, "confidence"),
        ({"group": [1, 2]}, "group labels"),
    ],
)
def test_bad_input_is_named(changed, message):
    given = {"xy_mm": [(1.0, 2.0)], "distance_m": 20.0, "radius_mm": 100.0} | changed
    with pytest.raises(StatisticsError, match=message):
        measure_reach(**given)


places = st.floats(-500, 500).map(lambda value: round(value, 2))


@settings(deadline=None, max_examples=25)
@given(
    xy=hnp.arrays(float, st.tuples(st.integers(1, 8), st.just(2)), elements=places),
    far=st.sampled_from([20.0, 27.0, 40.0]),
    shape=st.sampled_from(["auto", "round", "elliptical"]),
    turn=st.floats(0, 6),
)
def test_any_shots_give_an_answer_in_order_that_turns_with_nothing(xy, far, shape, turn):
    distance = np.where(np.arange(len(xy)) % 2, far, 20.0)
    reach = measure_reach(xy, distance, radius_mm=100, at_m=[20.0, 25.0], shape=shape)
    for point in reach.curve:
        chance = point.probability
        if not math.isnan(chance.low):
            assert 0 <= chance.low <= chance.high <= 1
        assert math.isnan(chance.value) or 0 <= chance.value <= 1
    rotation = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    turned = measure_reach(xy @ rotation.T, distance, radius_mm=100, at_m=[20.0], shape="round")
    straight = measure_reach(xy, distance, radius_mm=100, at_m=[20.0], shape="round")
    first, second = straight.curve[0].probability, turned.curve[0].probability
    assert (first.value, first.low) == pytest.approx(
        (second.value, second.low), abs=1e-6, nan_ok=True
    )


@settings(deadline=None, max_examples=15)
@given(scale=st.sampled_from([1e-3, 0.1, 10.0]), seed=st.integers(0, 99))
def test_reach_does_not_depend_on_the_unit_of_length(scale, seed):
    distance = np.repeat([20.0, 30.0], 5)
    xy = shots_at(distance, seed)
    plain = measure_reach(xy, distance, radius_mm=120, at_m=[20.0]).reach_m
    scaled = measure_reach(scale * xy, distance, radius_mm=120 * scale, at_m=[20.0]).reach_m
    assert scaled.low == pytest.approx(plain.low, abs=0.05, nan_ok=True)


def test_groups_without_wander_leave_the_reach_nearly_as_it_is():
    distance, group = np.repeat([20.0, 30.0], 60), np.tile(np.arange(12), 10)
    xy = shots_at(distance, 13)
    with_groups = measure_reach(xy, distance, radius_mm=100, group=group.tolist()).reach_m
    without = measure_reach(xy, distance, radius_mm=100).reach_m
    assert with_groups.low == pytest.approx(without.low, rel=0.05)


def test_stray_mean_squares_are_those_of_scipys_one_way_analysis():
    rng = np.random.default_rng(14)
    day = np.repeat(np.arange(5), 4)
    xy = rng.standard_normal((20, 2)) + rng.standard_normal((5, 2))[day]
    at = np.full(20, 20.0)
    stray = measure_stray(fit_growth(xy, at), xy, at, day)
    parts = [[axis[day == d] for d in range(5)] for axis in xy.T]
    within = np.mean([np.mean([part.var(ddof=1) for part in axis]) for axis in parts])
    assert stray.within == pytest.approx(within)
    f = [scipy.stats.f_oneway(*axis).statistic for axis in parts]
    each = [np.mean([part.var(ddof=1) for part in axis]) for axis in parts]
    assert stray.between == pytest.approx(np.mean(np.multiply(f, each)))
