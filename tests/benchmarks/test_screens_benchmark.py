"""The benchmark of the screens: what it makes of its numbers. It needs a browser to run."""

from benchmarks.screens import busy_share, told


def test_a_line_is_judged_by_its_median():
    assert told("edit", [250.0, 900.0, 280.0], 300.0).endswith("met")
    assert told("edit", [250.0, 900.0, 310.0], 300.0).endswith("MISSED")
    assert " 1234 " in told("Season", [10.0], 1000.0, first=1234.0)


def test_nothing_gets_more_than_one_core():
    assert 0 < busy_share() <= 1.05
