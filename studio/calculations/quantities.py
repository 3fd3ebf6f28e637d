"""Measures at the edges: from what a person uses to what is stored, and back for showing.

Stored: whole mm, mm2, Wh and W; degrees Celsius. A number reaches this module already parsed
(by a localised form field) and its unit comes from a choice: pint's parser never sees text that
a person typed, because it reads "12,5 cm" as 125 cm and "100 C" as coulombs.
"""

from decimal import ROUND_HALF_UP, Decimal
from typing import Any, Literal

import pint
from babel.core import Locale, UnknownLocaleError
from babel.numbers import format_decimal

from studio.calculations.money import round_half_up

LengthUnit = Literal["mm", "cm", "in"]
AreaUnit = Literal["cm2", "in2"]
TemperatureUnit = Literal["C", "F"]

UNITS: pint.UnitRegistry[Any] = pint.UnitRegistry(non_int_type=Decimal)

# Units are looked up once: a lookup costs ten times a conversion.
MM, CM, INCH = UNITS.millimeter, UNITS.centimeter, UNITS.inch
MM2, CM2, INCH2 = MM**2, CM**2, INCH**2
CELSIUS, FAHRENHEIT = UNITS.degree_Celsius, UNITS.degree_Fahrenheit
CELSIUS_PER_HOUR = UNITS.delta_degree_Celsius / UNITS.hour
FAHRENHEIT_PER_HOUR = UNITS.delta_degree_Fahrenheit / UNITS.hour
WH, KWH = UNITS.watt_hour, UNITS.kilowatt_hour
W, KW = UNITS.watt, UNITS.kilowatt

LENGTHS: dict[str, Any] = {"mm": MM, "cm": CM, "in": INCH}
AREAS: dict[str, Any] = {"cm2": CM2, "in2": INCH2}
TEMPERATURES: dict[str, Any] = {"C": CELSIUS, "F": FAHRENHEIT}
RATES: dict[str, Any] = {"C": CELSIUS_PER_HOUR, "F": FAHRENHEIT_PER_HOUR}

# Far finer than any instrument here; cuts the tail that division by 9 or 25.4 leaves.
EXACTNESS = Decimal("0.000001")
NO_BREAK_SPACE = "\N{NO-BREAK SPACE}"


def length_to_mm(number: Decimal, unit: LengthUnit) -> int:
    """Whole millimetres, halves up: 1 in gives 25 (25.4 mm exactly, NIST SP 811 B.8).

    Raises ValueError for a negative or non-finite number, a float, or an unknown unit.
    """
    return round_half_up(_tidy(_convert(_not_negative(number), _unit(unit, LENGTHS), MM)))


def mm_to(length_mm: int | Decimal, unit: LengthUnit) -> Decimal:
    """A stored length in the reader's unit, to a millionth."""
    return _tidy(_convert(_number(length_mm), MM, _unit(unit, LENGTHS)))


def area_to_mm2(number: Decimal, unit: AreaUnit) -> int:
    """Whole mm2, halves up: 1 in2 gives 645 (645.16 mm2, NIST SP 811 B.8).

    Raises ValueError for a negative or non-finite number, a float, or an unknown unit.
    """
    return round_half_up(_tidy(_convert(_not_negative(number), _unit(unit, AREAS), MM2)))


def area_mm2_to(area_mm2: int | Decimal, unit: AreaUnit) -> Decimal:
    """A stored area in the reader's unit, to a millionth (1 in2 = 645.16 mm2, NIST SP 811 B.8)."""
    return _tidy(_convert(_number(area_mm2), MM2, _unit(unit, AREAS)))


def temperature_to_c(number: Decimal, unit: TemperatureUnit) -> Decimal:
    """A point on the scale: C = (F - 32) / 1.8 (NIST SP 811 B.8). Never use it for a difference.

    Raises ValueError below absolute zero.
    """
    temperature_c = _tidy(_convert(_number(number), _unit(unit, TEMPERATURES), CELSIUS))
    if temperature_c < Decimal("-273.15"):
        raise ValueError(f"number {number} {unit} is below absolute zero")
    return temperature_c


def c_to(temperature_c: int | Decimal, unit: TemperatureUnit) -> Decimal:
    """A stored temperature on the reader's scale, to a millionth."""
    return _tidy(_convert(_number(temperature_c), CELSIUS, _unit(unit, TEMPERATURES)))


def rate_to_c_per_h(number: Decimal, unit: TemperatureUnit) -> Decimal:
    """Degrees an hour, a difference: 100 F/h gives 55.555556 C/h, not 37.78."""
    return _tidy(_convert(_number(number), _unit(unit, RATES), CELSIUS_PER_HOUR))


def c_per_h_to(rate_c_per_h: int | Decimal, unit: TemperatureUnit) -> Decimal:
    """A stored rate in the reader's degrees an hour, to a millionth."""
    return _tidy(_convert(_number(rate_c_per_h), CELSIUS_PER_HOUR, _unit(unit, RATES)))


def kwh_to_wh(number: Decimal) -> int:
    """Whole watt-hours, halves up. Raises ValueError for a negative number."""
    return round_half_up(_tidy(_convert(_not_negative(number), KWH, WH)))


def wh_to_kwh(energy_wh: int | Decimal) -> Decimal:
    """Kilowatt-hours, exactly for whole watt-hours."""
    return _tidy(_convert(_number(energy_wh), WH, KWH))


def kw_to_w(number: Decimal) -> int:
    """Whole watts, halves up. Raises ValueError for a negative number."""
    return round_half_up(_tidy(_convert(_not_negative(number), KW, W)))


def format_length(length_mm: int | Decimal, unit: LengthUnit, locale: str = "en") -> str:
    """mm to 1, cm to 0.1, in to 0.01: "12.5 cm"."""
    places = {"mm": 0, "cm": 1, "in": 2}
    return _show(mm_to(length_mm, unit), places[unit], unit, locale)


def format_area(area_mm2: int | Decimal, unit: AreaUnit, locale: str = "en") -> str:
    """To 0.1 of the unit: "153.9 cm²"."""
    return _show(area_mm2_to(area_mm2, unit), 1, f"{unit[:2]}²", locale)


def format_temperature(
    temperature_c: int | Decimal, unit: TemperatureUnit, locale: str = "en", digits: int = 0
) -> str:
    """To a whole degree, finer than a type K thermocouple is right: "1222 °C".

    `digits` 1 is for what stands beside a limit, where 52.3 must not read as the 52 it is above.
    """
    return _show(c_to(temperature_c, unit), digits, f"°{unit}", locale)


def format_rate(rate_c_per_h: int | Decimal, unit: TemperatureUnit, locale: str = "en") -> str:
    """To a whole degree an hour: "56 °C/h"."""
    return _show(c_per_h_to(rate_c_per_h, unit), 0, f"°{unit}/h", locale)


def format_energy_wh(energy_wh: int | Decimal, locale: str = "en") -> str:
    """To 0.1 kWh, as fine as a household meter is worth showing: "42.3 kWh"."""
    return _show(wh_to_kwh(energy_wh), 1, "kWh", locale)


def format_exact(number: Decimal, locale: str = "en") -> str:
    """All digits of a number, for sums that somebody checks with a calculator: "1,234.5678".

    Raises ValueError for a non-finite number or an unknown locale.
    """
    return _in_locale(_number(number), "#,##0.####################", locale)


def format_duration(seconds: int) -> str:
    """Hours and minutes, the minute rounded half up: "11 h 05 min"; under an hour "45 min".

    Hours are not turned into days: a cool-down is spoken of as 30 hours. Raises ValueError
    for a negative duration.
    """
    if seconds < 0:
        raise ValueError(f"seconds must not be negative, but is {seconds}")
    hours, minutes = divmod(round_half_up(Decimal(seconds) / 60), 60)
    if hours == 0:
        return f"{minutes}{NO_BREAK_SPACE}min"
    return f"{hours}{NO_BREAK_SPACE}h{NO_BREAK_SPACE}{minutes:02d}{NO_BREAK_SPACE}min"


def _convert(number: Decimal, from_unit: Any, to_unit: Any) -> Decimal:
    converted: Decimal = UNITS.Quantity(number, from_unit).to(to_unit).magnitude
    return converted


def _unit(unit: str, choices: dict[str, Any]) -> Any:
    if unit not in choices:
        raise ValueError(f"unit must be one of {', '.join(choices)}, not {unit!r}")
    return choices[unit]


def _number(number: int | Decimal) -> Decimal:
    if isinstance(number, bool) or not isinstance(number, int | Decimal):
        raise ValueError(f"number must be a Decimal or a whole number, not {number!r}")
    if not Decimal(number).is_finite():
        raise ValueError(f"number must be finite, not {number}")
    return Decimal(number)


def _not_negative(number: int | Decimal) -> Decimal:
    if _number(number) < 0:
        raise ValueError(f"number must not be negative, but is {number}")
    return Decimal(number)


def _tidy(number: Decimal) -> Decimal:
    return number.quantize(EXACTNESS, rounding=ROUND_HALF_UP).normalize() + 0


def _show(number: Decimal, places: int, symbol: str, locale: str) -> str:
    rounded = number.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP) + 0
    pattern = "0" if places == 0 else f"0.{'0' * places}"
    return f"{_in_locale(rounded, pattern, locale)}{NO_BREAK_SPACE}{symbol}"


def _in_locale(number: Decimal, pattern: str, locale: str) -> str:
    try:
        return str(format_decimal(number, pattern, Locale.parse(locale.replace("-", "_"))))
    except (UnknownLocaleError, ValueError) as error:
        raise ValueError(f"locale must be one that CLDR knows, not {locale!r}") from error
