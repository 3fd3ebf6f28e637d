"""Aim: minor units by ISO 4217, one rounding rule, no cent lost in showing. Sources beside."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from studio.calculations.money import (
    format_minor,
    from_minor,
    minor_digits,
    round_half_up,
    to_minor,
)


# ISO 4217 list A.1, republished June 2024 (datasets/currency-codes). Of those with two digits
# CLDR 45 shows LBP, RSD and ALL with none, and of those with three IQD.
@pytest.mark.parametrize(
    ("digits", "codes"),
    [
        (0, "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF"),
        (2, "EUR USD GBP CAD CHF AUD LBP RSD ALL"),
        (3, "BHD IQD JOD KWD LYD OMR TND"),
        (4, "CLF UYW"),
    ],
)
def test_minor_digits_are_those_of_iso_4217(digits, codes):
    assert {minor_digits(code) for code in codes.split()} == {digits}


# The same list names no minor unit for metals, tests and special units.
NO_MINOR_UNIT = "XAG XAU XBA XBB XBC XBD XDR XPD XPT XSU XTS XUA XXX"


def test_code_without_minor_unit_is_refused():
    for code in NO_MINOR_UNIT.split():
        with pytest.raises(ValueError, match="has no minor unit"):
            minor_digits(code)


@pytest.mark.parametrize("code", ["", "eur", "EURO", "ZZZ", None])
def test_unknown_code_is_refused(code):
    with pytest.raises(ValueError, match="currency must be an ISO 4217 code"):
        minor_digits(code)


def test_to_minor_is_exact():
    assert to_minor(Decimal("12.34"), "EUR") == 1234
    assert to_minor(Decimal("-0.5"), "EUR") == -50
    assert to_minor(Decimal("12.340"), "EUR") == 1234
    assert to_minor(Decimal("1E+3"), "JPY") == 1000
    assert to_minor(Decimal("1.234"), "KWD") == 1234


@pytest.mark.parametrize(
    ("amount", "currency", "message"),
    [
        (Decimal("12.345"), "EUR", r"amount 12.345 has more than the 2 decimals of EUR"),
        (Decimal("0.5"), "JPY", "more than the 0 decimals of JPY"),
        (12.5, "EUR", r"amount must be a finite Decimal, not 12.5"),
        (Decimal("NaN"), "EUR", "amount must be a finite Decimal"),
    ],
)
def test_to_minor_refuses_what_it_would_have_to_round(amount, currency, message):
    with pytest.raises(ValueError, match=message):
        to_minor(amount, currency)


@given(st.integers(-(10**15), 10**15), st.sampled_from(["EUR", "JPY", "KWD", "CLF"]))
def test_from_minor_is_the_way_back(amount_minor, currency):
    assert to_minor(from_minor(amount_minor, currency), currency) == amount_minor


def test_halves_go_away_from_zero():
    # IEEE 754 ties-away (Python ROUND_HALF_UP); cpython issue 69015: of 2.675 a float
    # makes 2.67.
    assert round_half_up(Decimal("267.5")) == 268
    assert round_half_up(Decimal("12.5")) == 13
    assert round_half_up(Decimal("-12.5")) == -13
    assert [round_half_up(Fraction(n, 2)) for n in (-3, -1, 0, 1, 3)] == [-2, -1, 0, 1, 2]


def test_rounding_at_the_line_and_at_the_total_differ():
    # Invoice example (one of developer.wafeq.com, wiki.dolibarr.org, help.zervant.com): 45.30 at
    # 5 % and 33.45 at 10 % give 5.62 by line, 5.61 rounded once.
    taxes = [Decimal("45.30") * Decimal("0.05"), Decimal("33.45") * Decimal("0.10")]
    assert sum(round_half_up(tax * 100) for tax in taxes) == 562
    assert round_half_up(sum(taxes) * 100) == 561


@given(st.fractions())
def test_rounding_is_symmetric_and_never_off_by_more_than_half(exact):
    assert round_half_up(-exact) == -round_half_up(exact)
    assert abs(round_half_up(exact) - exact) <= Fraction(1, 2)


@pytest.mark.parametrize("exact", [0.5, Decimal("Infinity")])
def test_rounding_refuses_floats_and_infinity(exact):
    with pytest.raises(ValueError, match="exact must be a finite"):
        round_half_up(exact)


# Patterns and separators: CLDR, by way of babel.
@pytest.mark.parametrize(
    ("amount_minor", "currency", "locale", "shown"),
    [
        (123456, "EUR", "de", "1.234,56\N{NO-BREAK SPACE}€"),
        (123456, "EUR", "en", "€1,234.56"),
        (-120, "USD", "en-us", "-$1.20"),
        (5, "GBP", "en_GB", "£0.05"),
        (1234, "JPY", "en", "¥1,234"),
        # CLDR shows no decimals here; ISO 4217 has three, and a lost fils would not add up.
        (1234567, "IQD", "de", "1.234,567\N{NO-BREAK SPACE}IQD"),
    ],
)
def test_amount_is_shown_for_the_reader(amount_minor, currency, locale, shown):
    assert format_minor(amount_minor, currency, locale) == shown


def test_showing_refuses_unknown_locale_and_broken_amount():
    with pytest.raises(ValueError, match="locale must be one that CLDR knows"):
        format_minor(1, "EUR", "klingon")
    with pytest.raises(ValueError, match="amount_minor must be a whole number"):
        format_minor(1.5, "EUR")
