"""What the numbers in meter data mean: NAESB REQ.21 ESPI, schema v4.0.20231213 (Apache-2.0)."""

from dataclasses import dataclass

ELECTRICITY = 0  # UsagePoint/ServiceCategory/kind
SERVICES = {0: "electricity", 1: "gas", 2: "water", 3: "time", 4: "heat", 5: "refuse"}

# ReadingType/accumulationBehaviour
BULK_REGISTER, CUMULATIVE, DELTA, SUMMATION, INSTANTANEOUS = 1, 3, 4, 9, 12
REGISTERS = (BULK_REGISTER, CUMULATIVE, SUMMATION)
# ReadingType/flowDirection
DELIVERED, NET, REVERSE, TOTAL = 1, 4, 19, 20
# ReadingType/uom
WATT, WATT_HOUR = 38, 72
UNITS = {
    5: "amperes", 29: "volts", 42: "cubic metres", 61: "volt-amperes", 63: "reactive power",
    71: "volt-ampere hours", 73: "reactive energy", 119: "cubic feet", 132: "BTU", 169: "therms",
}  # fmt: skip
# ReadingType/dataQualifier: 12 is normal; a missing one is taken as normal
NORMAL = 12

# IntervalReading/ReadingQuality/quality
VALID = 0
QUALITIES = {
    0: "valid", 7: "edited by hand", 8: "estimated from history", 9: "filled in by a straight line",
    10: "failed checks", 11: "derived", 12: "a forecast", 13: "of mixed quality",
    14: "not validated", 15: "adjusted for weather", 16: "of another quality", 17: "validated",
    18: "verified", 19: "good enough for a bill",
}  # fmt: skip
MEASURED = (0, 14, 17, 18, 19)

# ISO 4217 numbers of currencies that utilities with such files bill in
CURRENCIES = {36: "AUD", 124: "CAD", 554: "NZD", 826: "GBP", 840: "USD", 978: "EUR"}
COST_PLACES = 5  # a cost counts hundred-thousandths of the currency's unit

NTH_WEEKDAY_OFFSET = 1  # operator 2 means the first, 6 the fifth
LAST_WEEKDAY = 7
ON_OR_AFTER = 1
OFF = 0xFFFFFFFF


@dataclass(frozen=True, slots=True)
class ClockChange:
    """When the clocks change each year: `weekday` 1 is Monday, 0 none; `nth` 7 is the last.

    `nth` is None for a fixed day of the month (`day`, or the weekday on or after it).
    """

    month: int
    nth: int | None
    weekday: int
    day: int
    hour: int
    second: int


def read_clock_change(code: str) -> ClockChange | None:
    """The rule in a dstStartRule or dstEndRule; None when daylight saving is off.

    Bits 0-11 seconds, 12-16 hour, 17-19 weekday, 20-24 day, 25-27 operator, 28-31 month. Raises
    ValueError for what is not eight hexadecimal digits or names a month or hour that is none.
    """
    try:
        bits = int(code, 16)
    except ValueError:
        raise ValueError(f"a clock rule is eight hexadecimal digits, got {code!r}") from None
    if bits == OFF:
        return None
    month, operator, hour = bits >> 28, bits >> 25 & 0b111, bits >> 12 & 0b11111
    if len(code) != 8 or not 1 <= month <= 12 or hour > 24:
        raise ValueError(f"the clock rule {code!r} names no month or no hour")
    is_nth = operator > ON_OR_AFTER
    nth = LAST_WEEKDAY if operator == LAST_WEEKDAY else operator - NTH_WEEKDAY_OFFSET
    return ClockChange(
        month=month,
        nth=nth if is_nth else None,
        weekday=bits >> 17 & 0b111,
        day=bits >> 20 & 0b11111,
        hour=hour,
        second=bits & 0xFFF,
    )
