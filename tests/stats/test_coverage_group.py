"""Simulated coverage of a group's intervals, and that the simulation asks the product itself."""

import math

import numpy as np
import pytest

from benchmarks.coverage.group import AWAY, circle_rows, end_rows, group_shares, rows
from benchmarks.coverage.rows import Row, share_held, table
from groupscan.stats.constants import (
    diagonal_constant,
    extreme_spread_constant,
    mean_radius_constant,
    radial_sd_constant,
    range_constant,
)
from groupscan.stats.group import measure_group
from groupscan.stats.intervals import offset_holds

GROUPS = 1500


@pytest.fixture(scope="module")
def simulated():
    return rows(GROUPS, seed=3)


def test_every_interval_and_rate_keeps_its_band(simulated):
    wrong = [row for row in simulated if row.outside(GROUPS, slack_se=4)]
    assert not wrong, table(wrong, GROUPS)


def test_the_simulation_can_fail():
    """A sigma that is 10 % off, or limits at 90 %, would be seen by so many groups."""
    shares = {what: share for what, _, share in group_shares(*_shots(1.1, 20))}
    row = Row("sigma", "exact", 0.95, {20: shares["sigma"]})
    assert row.outside(GROUPS, slack_se=4) == [20]


def _shots(sigma, n):
    shots = sigma * np.random.default_rng(1).standard_normal((GROUPS, n, 2))
    return shots, shots


@pytest.mark.parametrize("n", [3, 8])
def test_what_is_simulated_is_what_one_group_is_told(n):
    shots = np.random.default_rng(n).standard_normal((60, n, 2))
    measured = [measure_group(group) for group in shots]
    shares = {what: share for what, _, share in group_shares(shots, shots)}

    def told(truth, *estimates):
        return share_held(truth, [e.low for e in estimates], [e.high for e in estimates])

    assert shares["centre x"] == told(0.0, *(g.centre.x for g in measured))
    assert shares["sigma"] == told(1.0, *(g.sigma for g in measured))
    assert shares["sigma x"] == told(1.0, *(g.sigma_x for g in measured))
    assert shares["height ratio"] == told(1.0, *(g.shape.height_ratio for g in measured))
    assert shares["sigma from the spread"] == told(1.0, *(g.sigma_from_spread for g in measured))
    for name in ("extreme_spread", "mean_radius", "figure_of_merit", "diagonal", "width"):
        seen = [getattr(g, name) for g in measured]
        mean = np.mean([e.value for e in seen])
        assert shares[name.replace("_", " ")] == told(mean, *seen)


@pytest.mark.parametrize("n", [3, 6, 20])
def test_holding_agrees_with_the_limits(n):
    shots = np.random.default_rng(n).standard_normal((40, n, 2))
    for away in AWAY:
        truth = away / math.sqrt(n)
        for group in shots:
            offset = measure_group(group, aim_mm=(truth, 0.0)).offset
            sd = math.sqrt(((group - group.mean(axis=0)) ** 2).sum() / (2 * n - 2))
            for asked in (truth, offset.low * 1.001 + 1e-9, offset.high * 0.999):
                inside = offset.low <= asked <= offset.high
                assert bool(offset_holds(offset.value, sd, n, 0.95, asked)) == inside
            assert not offset_holds(offset.value, sd, n, 0.95, offset.high * 1.001)


def test_the_same_seed_gives_the_same_table():
    assert circle_rows(50, seed=2) == circle_rows(50, seed=2)
    assert end_rows(50, seed=2) == end_rows(50, seed=2)
    assert circle_rows(50, seed=2) != circle_rows(50, seed=4)


def test_expected_spreads_of_many_groups_are_their_constants():
    shots = np.random.default_rng(7).standard_normal((2000, 6, 2))
    measured = [measure_group(group) for group in shots[:600]]
    for name, constant in (
        ("extreme_spread", extreme_spread_constant),
        ("mean_radius", mean_radius_constant),
        ("width", range_constant),
        ("diagonal", diagonal_constant),
        ("radial_sd", radial_sd_constant),
    ):
        seen = np.array([getattr(g, name).value for g in measured])
        assert abs(seen.mean() - constant(6)) < 4 * seen.std() / math.sqrt(len(seen))


class TestTable:
    def test_bands(self):
        exact = Row("a", "exact", 0.95, {3: 0.9449, 5: 0.9551, 6: 0.95, 10: math.nan})
        assert exact.outside(100_000) == [3, 5]
        rate = Row("b", "rate", 0.05, {3: 0.0, 5: 0.0513, 6: 0.0515})
        assert rate.outside(100_000) == [6]
        rough = Row("c", "approximate", 0.90, {"x": 0.921, "y": 0.88})
        assert rough.outside(100_000) == ["x"]

    def test_marks_and_dashes(self):
        text = table([Row("thing", "exact", 0.95, {3: math.nan, 20: 0.9})], 1000)
        line = next(line for line in text.splitlines() if line.startswith("thing"))
        assert line.split() == ["thing", "exact", "95.00", "-", "90.00*"]
