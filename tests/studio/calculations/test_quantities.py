"""Aim: measures survive the way in and out. Source of every factor: NIST SP 811, appendix B.8
(inch 25.4 mm, square inch 645.16 mm2, C = (F - 32) / 1.8, one F degree = 5.555 556 E-01 C degree)
and its prefixes."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from studio.calculations import quantities as q

NBSP = "\N{NO-BREAK SPACE}"


@pytest.mark.parametrize(
    ("number", "unit", "area_mm2"),
    [("1", "in2", 645), ("100", "in2", 64_516), ("12.34", "cm2", 1_234), ("0.005", "cm2", 1)],
)
def test_area_is_stored_in_whole_mm2(number, unit, area_mm2):
    assert q.area_to_mm2(Decimal(number), unit) == area_mm2


@pytest.mark.parametrize(
    ("number", "unit", "length_mm"),
    [
        ("10", "in", 254),
        ("1", "in", 25),  # 25.4
        ("2.5", "in", 64),  # 63.5, the half goes up
        ("12.5", "cm", 125),
        ("12.34", "cm", 123),
        ("0.05", "cm", 1),
        ("37", "mm", 37),
    ],
)
def test_length_is_stored_in_whole_mm(number, unit, length_mm):
    assert q.length_to_mm(Decimal(number), unit) == length_mm


def test_length_and_area_are_shown_in_the_readers_unit():
    assert q.mm_to(254, "in") == 10
    assert q.mm_to(125, "cm") == Decimal("12.5")
    assert q.area_mm2_to(64516, "in2") == 100
    assert q.area_mm2_to(64516, "cm2") == Decimal("645.16")


@given(st.integers(0, 10**5), st.sampled_from(["mm", "cm", "in"]))
def test_length_comes_back_to_the_same_mm(length_mm, unit):
    assert q.length_to_mm(q.mm_to(length_mm, unit), unit) == length_mm


@pytest.mark.parametrize(
    ("temperature_f", "temperature_c"),
    [("2231.6", "1222"), ("-40", "-40"), ("32", "0"), ("212", "100"), ("2232", "1222.222222")],
)
def test_temperature_is_a_point_on_the_scale(temperature_f, temperature_c):
    assert q.temperature_to_c(Decimal(temperature_f), "F") == Decimal(temperature_c)
    assert round(q.c_to(Decimal(temperature_c), "F"), 4) == Decimal(temperature_f)
    assert q.temperature_to_c(Decimal(temperature_c), "C") == Decimal(temperature_c)


def test_rate_is_a_difference():
    # 100 F/h is 55.56 C/h; read as a point on the scale it would be 37.78.
    assert q.rate_to_c_per_h(Decimal(100), "F") == Decimal("55.555556")
    assert q.c_per_h_to(Decimal(100), "F") == 180
    assert q.rate_to_c_per_h(Decimal(60), "C") == 60


def test_energy_and_power_lose_nothing():
    assert q.kwh_to_wh(Decimal("42.3")) == 42300
    assert q.kwh_to_wh(Decimal("0.0005")) == 1
    assert q.wh_to_kwh(42345) == Decimal("42.345")
    assert q.kw_to_w(Decimal("11.52")) == 11520


@pytest.mark.parametrize(
    ("shown", "expected"),
    [
        (q.format_length(125, "cm"), f"12.5{NBSP}cm"),
        (q.format_length(125, "mm"), f"125{NBSP}mm"),
        (q.format_length(125, "in"), f"4.92{NBSP}in"),
        (q.format_length(125, "cm", "de"), f"12,5{NBSP}cm"),
        (q.format_area(15394, "cm2"), f"153.9{NBSP}cm²"),
        (q.format_area(64516, "in2"), f"100.0{NBSP}in²"),
        (q.format_temperature(1222, "C"), f"1222{NBSP}°C"),
        (q.format_temperature(1222, "F"), f"2232{NBSP}°F"),
        (q.format_temperature(Decimal("-0.4"), "C"), f"0{NBSP}°C"),
        (q.format_temperature(Decimal("52.3"), "C", digits=1), f"52.3{NBSP}°C"),
        (q.format_rate(Decimal("55.555556"), "F"), f"100{NBSP}°F/h"),
        (q.format_energy_wh(42250), f"42.3{NBSP}kWh"),
        (q.format_duration(39_900), f"11{NBSP}h{NBSP}05{NBSP}min"),
        (q.format_duration(45 * 60), f"45{NBSP}min"),
        (q.format_duration(3599), f"1{NBSP}h{NBSP}00{NBSP}min"),
        (q.format_duration(36 * 3600), f"36{NBSP}h{NBSP}00{NBSP}min"),
    ],
)
def test_measures_are_shown_to_a_sensible_digit(shown, expected):
    assert shown == expected


@pytest.mark.parametrize(
    ("convert", "message"),
    [
        (lambda: q.length_to_mm(Decimal(-1), "mm"), "number must not be negative, but is -1"),
        (lambda: q.length_to_mm(Decimal(1), "furlong"), "unit must be one of mm, cm, in"),
        (lambda: q.length_to_mm("12,5 cm", "cm"), "number must be a Decimal"),
        (lambda: q.length_to_mm(12.5, "cm"), "number must be a Decimal"),
        (lambda: q.length_to_mm(Decimal("NaN"), "cm"), "number must be finite"),
        (lambda: q.temperature_to_c(Decimal(-500), "F"), "below absolute zero"),
        (lambda: q.c_to(20, "K"), "unit must be one of C, F"),
        (lambda: q.kwh_to_wh(Decimal("-0.1")), "must not be negative"),
        (lambda: q.format_duration(-1), "seconds must not be negative"),
        (lambda: q.format_length(1, "mm", "klingon"), "locale must be one that CLDR knows"),
    ],
)
def test_refuses_what_is_no_measure(convert, message):
    with pytest.raises(ValueError, match=message):
        convert()
