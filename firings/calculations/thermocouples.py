"""How far a new thermocouple may be off.

Sources: ASTM E230/E230M-12, tolerances on initial values ("standard" and "special"): the greater
of a fixed number of degrees and a percentage of the temperature. IEC 60584-1:2013 ("class 1" and
"class 2"): a fixed number of degrees up to a temperature, then a share of the temperature. A
thermocouple drifts in use; these are for new wire.
"""

from typing import NamedTuple

THERMOCOUPLE_TYPES: tuple[str, ...] = ("K", "R", "S")
THERMOCOUPLE_CLASSES: tuple[str, ...] = ("standard", "special", "class 1", "class 2")


class Tolerance(NamedTuple):
    """fixed_c, or fixed_c + per_c (t - from_c) where that is more; t and all others in C."""

    fixed_c: float
    per_c: float
    from_c: float = 0.0
    offset_c: float = 0.0

    def at(self, temp_c: float) -> float:
        return max(self.fixed_c, self.offset_c + self.per_c * (temp_c - self.from_c))


_NOBLE = {
    "standard": Tolerance(1.5, 0.0025),
    "special": Tolerance(0.6, 0.001),
    "class 1": Tolerance(1.0, 0.003, from_c=1100.0, offset_c=1.0),
    "class 2": Tolerance(1.5, 0.0025),
}
_BY_TYPE = {
    "K": {
        "standard": Tolerance(2.2, 0.0075),
        "special": Tolerance(1.1, 0.004),
        "class 1": Tolerance(1.5, 0.004),
        "class 2": Tolerance(2.5, 0.0075),
    },
    "R": _NOBLE,
    "S": _NOBLE,
}
TOLERANCES: dict[str, Tolerance] = {
    f"{kind} {name}": _BY_TYPE[kind][name]
    for kind in THERMOCOUPLE_TYPES
    for name in THERMOCOUPLE_CLASSES
}


def thermocouple_tolerance_c(temp_c: float, grade: str = "K standard") -> float:
    """Return the tolerance in C, either way, of a new thermocouple at temp_c.

    `grade` is type and class, such as "K standard" or "S class 1". ASTM ends at 1260 C for type K
    and 1480 C for R and S; IEC at 1000 C (K class 1), 1200 C (K class 2) and 1600 C (R, S). Above
    that the same rule is used, for want of a better one, and it is then not the standard's word.
    Raises ValueError for an unknown grade and below 0 C, where other tolerances hold.
    """
    if grade not in TOLERANCES:
        raise ValueError(f"grade {grade!r} is not known; known are {', '.join(TOLERANCES)}")
    if not temp_c >= 0:
        raise ValueError(f"temp_c must be 0 or more, not {temp_c!r}")
    return TOLERANCES[grade].at(temp_c)
