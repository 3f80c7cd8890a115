"""Simulated coverage and error rates of arrow by arrow, with fewer groups than the benchmark."""

from benchmarks.coverage.arrows import rows
from benchmarks.coverage.rows import table

GROUPS = 400


def test_every_interval_and_rate_keeps_its_band():
    wrong = [row for row in rows(GROUPS, seed=3) if row.outside(row.fewer or GROUPS, slack_se=4)]
    assert not wrong, table(wrong, GROUPS)


def test_the_same_seed_gives_the_same_table():
    assert rows(20, seed=2) == rows(20, seed=2)
