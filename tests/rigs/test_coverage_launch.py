"""A small run of the launch's simulated coverage."""

from benchmarks.coverage import launch


def test_intervals_of_a_bow_hold():
    groups = 4000
    for row in launch.rows(groups, seed=3):
        assert row.outside(groups, slack_se=4) == [], row
