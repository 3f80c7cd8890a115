"""Amounts in one line: whose unit goes for which number."""

import pytest

from groupscan.errors import UnitError
from groupscan.several import parse_distances, parse_places, parse_several


@pytest.mark.parametrize("text", ["20 yd, 30, 40", "20, 30 yd, 40", "20, 30 yd, 40 m"])
def test_a_bare_number_is_refused_where_nobody_can_tell_its_unit(text):
    with pytest.raises(UnitError, match="give the unit of each, or one at the end for all"):
        parse_distances(text, default_unit="m")
    with pytest.raises(UnitError, match="one at the end"):
        parse_several("279 fps, 281", "speed", default_unit="m/s")


def test_the_unit_at_the_end_or_the_readers_goes_for_bare_numbers():
    assert parse_distances("20, 30 yd", default_unit="m") == pytest.approx([18.288, 27.432])
    assert parse_distances("20 yd, 30 m", default_unit="m") == pytest.approx([18.288, 30.0])
    assert parse_distances("20, 30", default_unit="m") == [20.0, 30.0]


def test_no_length_at_all_needs_no_unit_and_gives_one_where_it_has_one():
    assert parse_places("0, 19 mm, 41 mm", 3, default_unit="in") == [0.0, 19.0, 41.0]
    with pytest.raises(UnitError, match="one at the end"):
        parse_places("0 mm, 19, 41", 3, default_unit="in")
