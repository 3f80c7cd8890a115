"""Units against their legal definitions, an exact angle table and published rounding examples."""

import contextlib
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groupscan import units
from groupscan.errors import UnitError

POSITIVE = st.floats(1e-3, 1e5)

# tan(angle) times the distance, evaluated outside this project; 1 yd = 36 in, exact definitions.
# Columns: yards, inches per MOA, inches per mrad, mm per MOA, mm per mrad.
ANGLES = [
    (10, 0.10471975807, 0.36000012, 2.65988185506, 9.144003048),
    (18, 0.18849556453, 0.648000216, 4.78778733911, 16.4592054864),
    (20, 0.20943951615, 0.72000024, 5.31976371012, 18.288006096),
    (25, 0.26179939518, 0.9000003, 6.64970463766, 22.86000762),
]


class TestDefinitions:
    """International yard and pound (1959) and SI brochure, appendix."""

    @pytest.mark.parametrize(
        ("convert", "expected"),
        [
            (units.inch_to_mm, 25.4),
            (units.yd_to_m, 0.9144),
            (units.ft_to_m, 0.3048),
            (units.fps_to_mps, 0.3048),
            (units.grain_to_g, 0.06479891),
            (units.lbf_to_newton, 4.4482216152605),
            (units.moa_to_rad, 2.908882086657216e-4),
            (units.mrad_to_rad, 0.001),
        ],
    )
    def test_one_unit(self, convert, expected):
        assert convert(1.0) == pytest.approx(expected, rel=1e-15)

    @pytest.mark.parametrize(
        ("there", "back"),
        [
            (units.inch_to_mm, units.mm_to_inch),
            (units.yd_to_m, units.m_to_yd),
            (units.ft_to_m, units.m_to_ft),
            (units.fps_to_mps, units.mps_to_fps),
            (units.grain_to_g, units.g_to_grain),
            (units.lbf_to_newton, units.newton_to_lbf),
            (units.moa_to_rad, units.to_moa),
            (units.mrad_to_rad, units.to_mrad),
        ],
    )
    @settings(deadline=None)
    @given(value=st.floats(-1e6, 1e6))
    def test_there_and_back(self, there, back, value):
        assert back(there(value)) == pytest.approx(value, rel=1e-14, abs=1e-300)

    def test_7000_grains_are_one_pound(self):
        assert units.grain_to_g(7000) == pytest.approx(453.59237, rel=1e-15)


class TestGearAndAir:
    """NIST Special Publication 811 (2008), appendix B.8; factors printed there in bold are exact.

    Rounded ones have seven digits. Grains per inch is the quotient of its grain and inch.
    """

    @pytest.mark.parametrize(
        ("text", "kind", "value"),
        [
            ("1 lbf", "force", 4.4482216152605),  # pound 0.45359237 kg times 9.80665 m/s2
            ("1 lb", "force", 4.448222),
            ("1kgf", "force", 9.80665),
            ("1 N", "force", 1.0),
            ("1 lb", "mass", 453.59237),
            ("1gr", "mass", 0.06479891),
            ("1 oz", "mass", 28.34952),
            ("1 g", "mass", 1.0),
            ("1 gpi", "mass a length", 0.06479891 / 0.0254),
            ("7000 gr/in", "mass a length", 453.59237 / 0.0254),
            ("1 g/m", "mass a length", 1.0),
            ("1in", "length", 25.4),
            ("1 mph", "speed", 0.44704),
            ("1 km/h", "speed", 0.2777778),
            ("1 knot", "speed", 0.5144444),
            ("1 fps", "speed", 0.3048),
            ("32 °F", "temperature", 0.0),
            ("212F", "temperature", 100.0),
            ("273.15 K", "temperature", 0.0),
            ("-5C", "temperature", -5.0),
            ("1013.25 hPa", "pressure", 101325),
            ("1 inHg", "pressure", 3386.389),
            ("1 kPa", "pressure", 1000),
        ],
    )
    def test_published_factors(self, text, kind, value):
        assert units.parse_quantity(text, kind) == pytest.approx(value, rel=2e-7, abs=1e-12)

    def test_a_bow_and_its_arrow_by_hand(self):
        # 70 lb is 311.376 N; 9.3 grains an inch on 29 inches are 269.7 grains, 17.476 g.
        assert units.parse_quantity("70#", "force") == pytest.approx(311.3755, abs=1e-4)
        shaft = units.parse_quantity("9.3", "mass a length", default_unit="gpi")
        assert shaft * 0.029 * 25.4 == pytest.approx(17.4763, abs=1e-4)

    @pytest.mark.parametrize(
        ("text", "kind", "words"),
        [
            ("70", "force", "has no unit; write it like '60lb'"),
            ("70 mm", "force", "use N, lb or kgf"),
            ("0lb", "force", "more than zero"),
            ("-1g", "mass", "zero or more"),
            ("-300C", "temperature", "more than -273.15"),
            ("nan g", "mass", "not a number"),
            ("1e999 N", "force", "finite"),
            ("1,500 g", "mass", "point for decimals"),
        ],
    )
    def test_refused_with_what_to_write(self, text, kind, words):
        with pytest.raises(UnitError, match=words) as caught:
            units.parse_quantity(text, kind)
        assert repr(text) in str(caught.value)

    def test_nothing_weighs_nothing_and_no_wind_is_still(self):
        assert units.parse_quantity("0gr", "mass") == 0
        assert units.parse_quantity("0 m/s", "speed") == 0

    @pytest.mark.parametrize(
        ("text", "kind"),
        [
            ("70 lb", "force"),
            ("9.3 gpi", "mass a length"),
            ("100 gr", "mass"),
            ("29 in", "length"),
            ("12 °C", "temperature"),
            ("54 °F", "temperature"),
            ("1013 hPa", "pressure"),
            ("3 m/s", "speed"),
        ],
    )
    def test_what_is_read_is_printed_as_it_was_typed(self, text, kind):
        value = units.parse_quantity(text, kind)
        assert units.express(value, kind, units.unit_of(text, kind)) == text


class TestAngles:
    @pytest.mark.parametrize(("yards", "in_moa", "in_mrad", "mm_moa", "mm_mrad"), ANGLES)
    def test_table(self, yards, in_moa, in_mrad, mm_moa, mm_mrad):
        distance = units.yd_to_m(yards)
        assert units.length_mm(units.moa_to_rad(1), distance) == pytest.approx(mm_moa, rel=1e-10)
        assert units.length_mm(units.mrad_to_rad(1), distance) == pytest.approx(mm_mrad, rel=1e-10)
        moa = units.to_moa(units.angle_rad(units.inch_to_mm(in_moa), distance))
        mrad = units.to_mrad(units.angle_rad(units.inch_to_mm(in_mrad), distance))
        assert moa == pytest.approx(1, rel=1e-9)
        assert mrad == pytest.approx(1, rel=1e-9)

    def test_one_inch_at_twenty_yards(self):
        # atan(1/720), by hand.
        angle = units.angle_rad(25.4, units.parse_distance("20 yd"))
        assert units.to_moa(angle) == pytest.approx(4.774645, abs=5e-7)
        assert units.to_mrad(angle) == pytest.approx(1.388888, abs=5e-7)

    @settings(deadline=None)
    @given(length=st.floats(-1e4, 1e4), distance=st.floats(1, 200))
    def test_sign_and_return(self, length, distance):
        angle = units.angle_rad(length, distance)
        assert units.length_mm(angle, distance) == pytest.approx(length, rel=1e-12, abs=1e-12)
        assert units.angle_rad(-length, distance) == -angle

    @pytest.mark.parametrize("distance", [0.0, -18.0, math.nan, math.inf])
    def test_distance_must_be_positive(self, distance):
        with pytest.raises(UnitError, match="more than zero"):
            units.angle_rad(10.0, distance)


class TestParse:
    @pytest.mark.parametrize(
        ("text", "mm"),
        [
            ("300mm", 300),
            ("11.8in", 299.72),
            ("30 cm", 300),
            (" 0.3 m ", 300),
            ('11.8"', 299.72),
            ("11.8 inches", 299.72),
            ("1ft", 304.8),
            ("1 Yard", 914.4),
            ("3e2 MM", 300),
            (".5in", 12.7),
        ],
    )
    def test_length(self, text, mm):
        assert units.parse_length(text) == pytest.approx(mm, rel=1e-14)

    @pytest.mark.parametrize(
        ("text", "m"), [("40yd", 36.576), ("18 m", 18), ("60ft", 18.288), ("20 Yards", 18.288)]
    )
    def test_distance(self, text, m):
        assert units.parse_distance(text) == pytest.approx(m, rel=1e-14)

    @pytest.mark.parametrize(
        ("text", "size"),
        [
            ("279.4x215.9mm", (279.4, 215.9)),
            ("11x8.5in", (279.4, 215.9)),
            ("11 in X 215.9 mm", (279.4, 215.9)),
            ("29.7cm × 21cm", (297.0, 210.0)),
        ],
    )
    def test_size(self, text, size):
        assert units.parse_size(text) == pytest.approx(size, rel=1e-14)

    def test_a_bare_number_needs_a_default(self):
        assert units.parse_distance("40", default_unit="yd") == pytest.approx(36.576)
        assert units.parse_size("11x8.5", default_unit="in") == pytest.approx((279.4, 215.9))
        for parse, text in (
            (units.parse_length, "300"),
            (units.parse_distance, "40"),
            (units.parse_size, "11x8.5"),
            (units.parse_size, "279.4mmx215.9"),
        ):
            with pytest.raises(UnitError, match="has no unit"):
                parse(text)

    def test_a_written_unit_beats_the_default(self):
        assert units.parse_length("1in", default_unit="mm") == 25.4

    @pytest.mark.parametrize(
        ("text", "reason"),
        [
            ("", "not a number"),
            ("mm", "not a number"),
            ("nan mm", "not a number"),
            ("inf m", "not a number"),
            ("11,800in", "point for decimals"),
            ("1 000 mm", "not a number"),
            ("5 ft 3 in", "not a number"),
            ("40 parsecs", "'parsecs'"),
            ("4 moa", "'moa'"),
            ("0mm", "more than zero"),
            ("-3in", "more than zero"),
            ("1e999mm", "more than zero"),
        ],
    )
    def test_refused_with_the_text_and_the_reason(self, text, reason):
        with pytest.raises(UnitError, match=reason) as caught:
            units.parse_length(text)
        assert repr(text) in str(caught.value)

    @pytest.mark.parametrize("text", ["", "279.4mm", "1x2x3mm", "0x5mm", "axbmm", "5mm x"])
    def test_size_refused(self, text):
        with pytest.raises(UnitError):
            units.parse_size(text)

    @settings(deadline=None)
    @given(value=POSITIVE, unit=st.sampled_from(["mm", "cm", "m", "in", "ft", "yd"]))
    def test_what_is_printed_is_read(self, value, unit):
        assert units.parse_length(f"{value!r} {unit}") == units.parse_length(f"{value!r}{unit}")
        assert units.parse_length(f"{value!r}{unit}") == pytest.approx(
            1000 * units.parse_distance(f"{value!r}{unit}"), rel=1e-14
        )

    @settings(deadline=None)
    @given(st.text(max_size=20))
    def test_any_text_gives_a_length_or_a_unit_error(self, text):
        with contextlib.suppress(UnitError):
            assert units.parse_length(text) > 0


class TestRounding:
    @pytest.mark.parametrize(
        ("value", "error", "printed"),
        [
            # The two examples of the Particle Data Group's Introduction, section "Rounding".
            (0.827, 0.119, "0.83 mm (0.71 to 0.95)"),
            (0.827, 0.367, "0.8 mm (0.5 to 1.2)"),
            # Its third case, 950 to 999: the error counts as 1000 and keeps two digits.
            (14.674, 0.964, "14.7 mm (13.7 to 15.6)"),
            # GUM (JCGM 100:2008) 7.2.6: 10.05762 with 27 milli is 10.058.
            (10.05762, 0.027, "10.058 mm (10.031 to 10.085)"),
        ],
    )
    def test_published_examples(self, value, error, printed):
        assert units.format_estimate(value, value - error, value + error, "mm") == printed

    def test_wide_interval_rounds_to_tens(self):
        assert units.format_estimate(1234.0, 1050.0, 1410.0, "mm") == "1230 mm (1050 to 1410)"

    def test_without_an_interval_three_digits_stand(self):
        assert units.format_estimate(12.3456, math.nan, math.nan, "mm") == "12.3 mm"
        assert units.format_estimate(0.0, math.nan, math.nan, "mm") == "0 mm"

    def test_unknown_is_a_dash_and_no_minus_zero_appears(self):
        assert units.format_estimate(math.nan, math.nan, math.nan, "mm") == "–"
        assert units.format_estimate(-0.001, -2.0, 2.0, "") == "0.0 (-2.0 to 2.0)"

    @settings(deadline=None)
    @given(low=st.floats(-1e4, 1e4), width=st.floats(1e-6, 1e4), share=st.floats(0, 1))
    def test_rounding_moves_nothing_by_a_fifth_of_the_error(self, low, width, share):
        high, value = low + width, low + share * width
        decimals = units.decimals_supported(value, low, high)
        # Half a unit of the last digit, against half the width: 0.5/3.55 at worst.
        assert 0.5 * 10.0**-decimals <= 0.5 / 3.545 * (high - low) / 2
        assert 10.0**-decimals >= (high - low) / 2 / 35.46
