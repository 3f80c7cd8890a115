"""A small run of reach's simulated coverage."""

from benchmarks.coverage import reach


def test_intervals_hold_and_reach_is_seldom_too_long():
    groups = 2000
    for row in reach.rows(groups, seed=3):
        assert row.outside(groups, slack_se=4) == [], row
