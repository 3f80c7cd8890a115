"""A small run of the fits' simulated coverage."""

from benchmarks.coverage import fit


def test_intervals_of_fitted_rigs_hold():
    groups = 4000
    for row in fit.rows(groups, seed=4):
        assert row.outside(groups, slack_se=4) == [], row
