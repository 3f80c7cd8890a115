"""A small run of the simulation of a season's intervals and false alarms."""

import numpy as np
import pytest

from benchmarks.coverage import trend
from benchmarks.coverage.rows import Row, table

GROUPS = 2000


@pytest.fixture(scope="module")
def simulated():
    return trend.rows(GROUPS, seed=11)


def test_every_interval_and_rate_keeps_its_band(simulated):
    wrong = [row for row in simulated if row.outside(GROUPS, slack_se=4)]
    assert not wrong, table(wrong, GROUPS)


def test_the_simulation_can_fail():
    """Scores that are a fifth too wide alarm far more often than stated."""
    scores = 1.2 * np.random.default_rng(1).standard_normal((trend.ON_CHART, GROUPS))
    seen = float(trend.alarmed(scores, "EWMA").mean())
    row = Row("too wide", "approximate", 0.166, {"scores": seen})
    assert row.outside(GROUPS, slack_se=4) == ["scores"]
