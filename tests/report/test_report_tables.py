"""A group's tables in a terminal 80 columns wide."""

import io

import numpy as np
from rich.console import Console

from groupscan.report.tables import group_tables
from groupscan.stats.group import measure_group

ROUND = [(4, 1), (-3, 5), (0, -6), (-5, -2), (6, -3), (2, 4), (-1, 1)]


def printed(group):
    console = Console(file=io.StringIO(), width=80)
    for table in group_tables(group):
        console.print(table)
    text = console.file.getvalue()
    assert max(map(len, text.splitlines())) <= 80
    assert "nan" not in text
    return text


def row(text, title):
    return next(line for line in text.splitlines() if line.strip().startswith(title))


def test_every_number_has_its_row_and_the_shape_follows():
    text = printed(measure_group(ROUND, distance_m=18.0))
    for title in ("R95", "Width", "Diagonal", "Sigma from the spread", "Height over width"):
        assert row(text, title)
    assert "MOA" in text
    assert "Wander" not in text
    assert "With and without" not in text


def test_several_ends_add_their_rows():
    text = printed(measure_group(ROUND, ends=[1, 1, 1, 1, 2, 2, 2]))
    assert row(text, "Sigma within ends")
    assert row(text, "Wander of the ends")
    assert row(text, "Sigma of any one arrow")


def test_a_flyer_stands_with_and_without():
    text = printed(measure_group([*ROUND, (60, 20)], names=[*"abcdefg", "[red]x"]))
    assert "With and without shot [red]x" in text
    together, apart = row(text.split("With and without")[1], "Extreme spread").split(")")[:2]
    assert float(together.split()[2]) > 60
    assert float(apart.split()[0]) < 15


def test_one_shot_and_a_point_are_shown_without_a_shape():
    assert "Height over width" not in printed(measure_group([(1.0, 2.0)]))
    assert "Height over width" not in printed(measure_group(np.full((4, 2), 3.0)))
