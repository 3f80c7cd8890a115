"""What a reader prefers outlives the program, and spoils nothing where the file is odd."""

from datetime import date

import pytest

from groupscan.errors import StoreError
from groupscan.records.preferences import Preferences, read_preferences, save_preferences
from groupscan.units import parse_distance, parse_quantity


def test_what_is_kept_is_read_again(store):
    kept = Preferences(
        length="in", distance="yd", angle="mrad", speed="m/s", mass="g", date_style="3 May 2026",
        remembered={"click_moa": 0.25},
    )  # fmt: skip
    save_preferences(store, kept)
    assert read_preferences(store) == kept


def test_a_store_without_a_file_has_preferences(store):
    assert read_preferences(store) == Preferences()


@pytest.mark.parametrize(
    "text", ["", "{", "[]", "null", '{"length": "parsec", "remembered": 3}', '{"length": ["mm"]}']
)
def test_what_makes_no_sense_is_passed_over(store, text):
    (store.home / "preferences.json").write_text(text, encoding="utf-8")
    assert read_preferences(store) == Preferences()


def test_one_odd_value_spoils_no_other(store):
    text = '{"length": "parsec", "distance": "yd", "later": true}'
    (store.home / "preferences.json").write_text(text, encoding="utf-8")
    assert read_preferences(store) == Preferences(distance="yd")


def test_a_file_that_cannot_be_written_is_told_in_words(store):
    (store.home / "preferences.json").mkdir()
    with pytest.raises(StoreError, match="preferences were not kept"):
        save_preferences(store, Preferences(distance="yd"))


@pytest.mark.parametrize(
    ("style", "text"),
    [("2026-05-03", "2026-05-03"), ("3 May 2026", "3 May 2026"), ("05/03/2026", "05/03/2026")],
)
def test_a_style_is_named_by_the_day_it_writes(style, text):
    assert Preferences(date_style=style).day_text(date(2026, 5, 3)) == text


@pytest.mark.parametrize("unit", ["m", "yd"])
def test_what_is_written_of_a_distance_is_read_back(unit):
    text = Preferences(distance=unit).distance_text(54.864, alone=True)  # 60 yd
    assert parse_distance(text) == pytest.approx(54.864, rel=5e-3)


def test_a_distance_is_also_told_by_the_whole_number_that_it_is_known_by():
    metres, yards = Preferences(distance="m"), Preferences(distance="yd")
    assert metres.distance_text(18.288) == "18.3 m (20 yd)"
    assert (yards.distance_text(18.288), metres.distance_text(18.0)) == ("20 yd", "18 m")
    assert metres.distance_text(18.2) == "18.2 m"


@pytest.mark.parametrize(("unit", "kind"), [("ft/s", "speed"), ("m/s", "speed"), ("gr", "mass")])
def test_a_preferred_unit_is_one_that_is_read(unit, kind):
    assert parse_quantity("12", kind, default_unit=unit) > 0


def test_what_is_not_known_is_written_as_nothing():
    p = Preferences()
    assert {p.length_text(None), p.distance_text(float("nan")), p.day_text(None)} == {""}
