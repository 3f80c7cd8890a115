"""Amounts in one line: whose unit goes for which number."""

import pytest

from groupscan.errors import UnitError
from groupscan.several import parse_distances, parse_places, parse_several
from groupscan.units import parse_quantity, unit_of


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


@pytest.mark.parametrize(
    ("text", "speeds"),
    [
        ("268 270 267 269 m/s", [268.0, 270.0, 267.0, 269.0]),
        ("85.1 85.4m/s", [85.1, 85.4]),
        ("85,1 85,4", [85.1, 85.4]),
        ("85,1; 85; 85,35 m/s", [85.1, 85.0, 85.35]),
        ("85,1;85,4", [85.1, 85.4]),
        ("85; 86", [85.0, 86.0]),
        ("85,86,87", [85.0, 86.0, 87.0]),
        ("268,270 m/s", [268.0, 270.0]),
    ],
)
def test_spaces_stand_between_plain_numbers_and_commas_for_decimals_beside_them(text, speeds):
    assert parse_several(text, "speed", default_unit="m/s") == speeds


@pytest.mark.parametrize("text", ["20,30 40 yd", "20 30, 40 yd", "20 yd 30", "20 x 30 yd"])
def test_what_stands_between_amounts_is_not_guessed(text):
    with pytest.raises(UnitError, match="not a number"):
        parse_distances(text, default_unit="m")


def test_a_message_shows_the_example_of_what_was_asked_for():
    with pytest.raises(UnitError, match="write it like '279, 281 ft/s'"):
        parse_several("fast", "speed", example="279, 281 ft/s")


@pytest.mark.parametrize(
    ("text", "mm"), [("28,5", 28.5), ("0,125 in", 3.175), ("1,2345", 1.2345), (" 3,25 cm", 32.5)]
)
def test_a_comma_is_for_decimals_where_that_is_plain(text, mm):
    assert parse_quantity(text, "length", default_unit="mm") == pytest.approx(mm)
    assert unit_of("28,5 in", "length") == "in"


@pytest.mark.parametrize("text", ["1,250", "1,250 mm", "1,2,3", ",5"])
def test_a_comma_that_may_part_thousands_is_refused(text):
    with pytest.raises(UnitError, match="a point for decimals"):
        parse_quantity(text, "length", default_unit="mm")
