"""How far a new thermocouple may be off.

Source: ASTM E230/E230M-12, tolerances on initial values: the greater of a fixed number of
degrees and a percentage of the temperature. A thermocouple drifts in use; these are for new wire.
"""

from typing import NamedTuple


class Tolerance(NamedTuple):
    """The greater of the two counts: degrees C, or per cent of the temperature in C."""

    fixed_c: float
    percent: float


TOLERANCES: dict[str, Tolerance] = {
    "K standard": Tolerance(2.2, 0.75),
    "K special": Tolerance(1.1, 0.4),
    "R standard": Tolerance(1.5, 0.25),
    "R special": Tolerance(0.6, 0.1),
    "S standard": Tolerance(1.5, 0.25),
    "S special": Tolerance(0.6, 0.1),
}


def thermocouple_tolerance_c(temp_c: float, grade: str = "K standard") -> float:
    """Return the tolerance in C, either way, of a new thermocouple at temp_c.

    The standard ends at 1260 C for type K and 1480 C for types R and S. Above that the same
    percentage is used, for want of a better one, and it is then not the standard's word.
    Raises ValueError for an unknown grade and below 0 C, where other tolerances hold.
    """
    if grade not in TOLERANCES:
        raise ValueError(f"grade {grade!r} is not known; known are {', '.join(TOLERANCES)}")
    if not temp_c >= 0:
        raise ValueError(f"temp_c must be 0 or more, not {temp_c!r}")
    tolerance = TOLERANCES[grade]
    return max(tolerance.fixed_c, temp_c * tolerance.percent / 100)
