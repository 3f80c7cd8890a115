"""A small run of the simulated power of plans."""

from benchmarks.coverage import plan


def test_plans_reach_the_power_they_state_and_keep_their_rates():
    groups = 4000
    for row in plan.rows(groups, seed=2):
        assert row.outside(groups, slack_se=4) == [], row
