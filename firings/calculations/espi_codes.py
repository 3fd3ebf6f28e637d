"""What the numbers in meter data mean: NAESB REQ.21 ESPI, schema v4.0.20231213 (Apache-2.0)."""

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
