"""Money as whole minor units: how many digits a currency has, reading, rounding, showing.

Accounts are kept with the minor units of ISO 4217; separators and symbols come from CLDR (by
way of babel). The two disagree on digits for some currencies (CLDR shows the Iraqi dinar with
none, ISO 4217 counts three), so digits never come from CLDR.
"""

from copy import copy
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from babel.core import Locale, UnknownLocaleError
from babel.numbers import NumberPattern, is_currency

# ISO 4217 list A.1, as republished in June 2024. Every other current code has two digits.
_CODES_OF_DIGITS = {
    0: "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF",
    3: "BHD IQD JOD KWD LYD OMR TND",
    4: "CLF UYW",
}
_CODES_WITHOUT_MINOR_UNIT = "XAG XAU XBA XBB XBC XBD XDR XPD XPT XSU XTS XUA XXX"
_DIGITS = {code: digits for digits, codes in _CODES_OF_DIGITS.items() for code in codes.split()}
_WITHOUT_MINOR_UNIT = frozenset(_CODES_WITHOUT_MINOR_UNIT.split())


def minor_digits(currency: str) -> int:
    """How many decimals the currency's minor unit has, by ISO 4217 (EUR 2, JPY 0, KWD 3).

    Raises ValueError for a code that is no currency or that has no minor unit (XAU, XXX).
    """
    if currency in _DIGITS:
        return _DIGITS[currency]
    if currency in _WITHOUT_MINOR_UNIT:
        raise ValueError(
            f"currency {currency!r} has no minor unit, so no account can be kept in it"
        )
    if not isinstance(currency, str) or not is_currency(currency):
        raise ValueError(f"currency must be an ISO 4217 code such as 'EUR', not {currency!r}")
    return 2


def round_half_up(exact: Decimal | Fraction | int) -> int:
    """Round to a whole number, halves away from zero, so that -x always rounds to -(x rounded).

    The house rule wherever money or a measure becomes whole. Raises ValueError for a float,
    infinity or NaN.
    """
    if isinstance(exact, float) or (isinstance(exact, Decimal) and not exact.is_finite()):
        raise ValueError(f"exact must be a finite Decimal, Fraction or int, not {exact!r}")
    fraction = Fraction(exact)
    rounded = (2 * abs(fraction.numerator) + fraction.denominator) // (2 * fraction.denominator)
    return -rounded if fraction < 0 else rounded


def to_minor(amount: Decimal, currency: str) -> int:
    """Whole minor units of an amount: Decimal("12.34"), "EUR" gives 1234. Never rounds.

    Raises ValueError for a float, infinity or NaN, and for more decimals than the currency has.
    """
    if not isinstance(amount, Decimal) or not amount.is_finite():
        raise ValueError(f"amount must be a finite Decimal, not {amount!r}")
    digits = minor_digits(currency)
    minor = Fraction(amount) * 10**digits
    if minor.denominator != 1:
        raise ValueError(f"amount {amount} has more than the {digits} decimals of {currency}")
    return int(minor)


def from_minor(amount_minor: int, currency: str) -> Decimal:
    """The amount in whole currency units, exactly: 1234, "EUR" gives Decimal("12.34")."""
    if not isinstance(amount_minor, int):
        raise ValueError(f"amount_minor must be a whole number, not {amount_minor!r}")
    sign = 1 if amount_minor < 0 else 0
    digits = tuple(int(digit) for digit in str(abs(amount_minor)))
    return Decimal((sign, digits, -minor_digits(currency)))


def format_minor(amount_minor: int, currency: str, locale: str = "en") -> str:
    """The amount for a reader of `locale`: 123456, "EUR", "de" gives "1.234,56 €" (no-break space).

    Always all the digits of ISO 4217, so that the lines shown add up to the total shown.
    Raises ValueError for an unknown currency or locale.
    """
    amount = from_minor(amount_minor, currency)
    pattern = _pattern(locale, minor_digits(currency))
    shown: str = pattern.apply(
        amount, _parse_locale(locale), currency=currency, currency_digits=False
    )
    return shown


@lru_cache(maxsize=256)
def _pattern(locale: str, digits: int) -> NumberPattern:
    pattern: NumberPattern = copy(_parse_locale(locale).currency_formats["standard"])
    pattern.frac_prec = (digits, digits)
    return pattern


@lru_cache(maxsize=256)
def _parse_locale(locale: str) -> Locale:
    try:
        return Locale.parse(locale.replace("-", "_"))
    except (UnknownLocaleError, ValueError) as error:
        raise ValueError(
            f"locale must be one that CLDR knows such as 'en', not {locale!r}"
        ) from error
