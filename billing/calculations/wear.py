"""Wear of a kiln's parts by units of production, and how much life a firing takes.

A part's cost less its residual is spread over the units of its expected life: firings for a
relay, hours at temperature for elements (IAS 16 paragraphs 56 and 62, units of production).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Any

from studio.calculations.money import round_half_up

# Relative durability of element wire by its alloy, A-1 at 1200 C = 100: Kanthal, Appliance Alloys
# Handbook (catalogue 1-A-4-3, 2003), Table 1. It gives no value of AE at 1300 C.
WIRE_DURABILITY = {
    "a1": {1100: 340, 1200: 100, 1300: 30},
    "af": {1100: 465, 1200: 120, 1300: 30},
    "ae": {1100: 550, 1200: 120},
}
WEIGHT_ONE_C = 1200
# Below about 890 C the extrapolated weight is next to nothing, yet oxide and cycling still work
# on the wire: a floor keeps a bisque from being free. Common practice, no source.
WEIGHT_MIN = Decimal("0.01")
WEIGHT_EXACTNESS = Decimal("0.0001")
UNITS_EXACTNESS = Decimal("0.0001")
KELVIN_AT_0_C = Decimal("273.15")
ABSOLUTE_ZERO_C = -273
SECONDS_PER_HOUR = 3600


@dataclass(frozen=True)
class PartWear:
    """A part as the books know it: money in minor units, life in the units it is charged by.

    `charged_at_estimate_minor` and `units_at_estimate` are what had been charged and used when
    cost or life were last estimated anew: what was left then is spread over the units left then,
    and nothing charged before is touched (IAS 16 paragraph 51, IAS 8: a change of estimate is
    prospective).
    """

    replacement_cost_minor: int
    expected_life_units: Decimal
    charged_so_far_minor: int = 0
    residual_minor: int = 0
    charged_at_estimate_minor: int = 0
    units_at_estimate: Decimal = Decimal(0)

    def __post_init__(self) -> None:
        for name in (
            "replacement_cost_minor",
            "charged_so_far_minor",
            "residual_minor",
            "charged_at_estimate_minor",
        ):
            amount = getattr(self, name)
            if not isinstance(amount, int) or amount < 0:
                raise ValueError(f"{name} must be a whole number, 0 or more, not {amount!r}")
        if self.residual_minor > self.replacement_cost_minor:
            raise ValueError(
                f"residual_minor {self.residual_minor} is more than "
                f"replacement_cost_minor {self.replacement_cost_minor}"
            )
        _check_units("expected_life_units", self.expected_life_units)
        _check_units("units_at_estimate", self.units_at_estimate)
        if self.expected_life_units <= self.units_at_estimate:
            raise ValueError(
                f"expected_life_units must be more than {self.units_at_estimate}, but is "
                f"{self.expected_life_units}"
            )

    @property
    def depreciable_minor(self) -> int:
        """What may be charged over the whole life."""
        return self.replacement_cost_minor - self.residual_minor

    @property
    def spread_minor(self) -> int:
        """What was left to charge when the estimate was made."""
        return max(self.depreciable_minor - self.charged_at_estimate_minor, 0)

    @property
    def spread_units(self) -> Decimal:
        """The units of life that were left then."""
        return self.expected_life_units - self.units_at_estimate

    @property
    def left_to_charge_minor(self) -> int:
        """What may still be charged; 0 once the part has outlived its estimate."""
        return max(self.depreciable_minor - self.charged_so_far_minor, 0)


@dataclass(frozen=True)
class WearCharge:
    """A firing's charge for one part. `working` repeats the sum, as JSON-ready numbers and text."""

    amount_minor: int
    is_capped: bool
    working: dict[str, Any]


def wear_rate(part: PartWear) -> Fraction:
    """Minor units for one unit of life, exactly: (cost - residual) / expected life.

    After a change of estimate: what was left to charge / the units that were left.
    """
    return Fraction(part.spread_minor) / Fraction(part.spread_units)


def wear_charge(part: PartWear, units: Decimal) -> WearCharge:
    """The charge for `units` of life used: rate * units, halves up to the minor unit.

    Capped so that all charges together never exceed cost - residual: a part that lives longer
    than expected goes on free of charge. Raises ValueError for negative or non-finite units.
    """
    _check_units("units", units)
    uncapped_minor = round_half_up(wear_rate(part) * Fraction(units))
    amount_minor = min(uncapped_minor, part.left_to_charge_minor)
    working = {
        "replacement_cost_minor": part.replacement_cost_minor,
        "residual_minor": part.residual_minor,
        "expected_life_units": str(part.expected_life_units),
        "spread_minor": part.spread_minor,
        "spread_units": str(part.spread_units),
        "units": str(units),
        "uncapped_minor": uncapped_minor,
        "charged_so_far_minor": part.charged_so_far_minor,
        "left_to_charge_minor": part.left_to_charge_minor,
        "amount_minor": amount_minor,
    }
    return WearCharge(amount_minor, amount_minor < uncapped_minor, working)


def flat_units(firings: int = 1) -> Decimal:
    """Units for a part whose life is counted in firings, whatever their heat."""
    if not isinstance(firings, int) or firings < 0:
        raise ValueError(f"firings must be a whole number, 0 or more, not {firings!r}")
    return Decimal(firings)


def element_life_units(
    hot_seconds: Mapping[int, int | float], class_width_c: int, alloy: str = "a1"
) -> Decimal:
    """Element life used, in hours of A-1 wire at 1200 C: time in each class times its weight.

    `hot_seconds` maps the lower bound of a class in C to the seconds spent in it. All classes are
    `class_width_c` wide and weighted at their middle; a width of 0 weights them at their lower
    bound. To four decimals, halves up.

    The log gives the chamber's temperature and the wire is hotter, so the units compare firings
    with each other; the life they count against is learned from replacements.
    Raises ValueError for negative seconds or width, or an unknown alloy.
    """
    if class_width_c < 0:
        raise ValueError(f"class_width_c must not be negative, but is {class_width_c}")
    weighted_seconds = Decimal(0)
    for lower_c, seconds in hot_seconds.items():
        if seconds < 0:
            raise ValueError(f"hot_seconds of {lower_c} C must not be negative, but is {seconds}")
        middle_c = Decimal(lower_c) + Decimal(class_width_c) / 2
        weighted_seconds += element_weight(middle_c, alloy) * Decimal(round(seconds))
    return (weighted_seconds / SECONDS_PER_HOUR).quantize(UNITS_EXACTNESS, ROUND_HALF_UP)


@lru_cache(maxsize=4096)
def element_weight(temperature_c: Decimal, alloy: str = "a1") -> Decimal:
    """How fast element wire wears at a temperature, against A-1 at 1200 C; to four decimals.

    The logarithm of the published durability at 1100, 1200 and 1300 C is taken as linear in 1/T
    with T in kelvin, as for any thermally driven process (Arrhenius). Below and above the
    published values this extrapolates the nearer pair of them (so AE, which has none at 1300 C,
    follows its line from 1100 to 1200 C); the weight never falls below 0.01.
    Raises ValueError at or below absolute zero, and for an unknown alloy.
    """
    if temperature_c <= ABSOLUTE_ZERO_C:
        raise ValueError(f"temperature_c must be above absolute zero, but is {temperature_c}")
    if alloy not in WIRE_DURABILITY:
        raise ValueError(f"alloy must be one of {', '.join(WIRE_DURABILITY)}, not {alloy!r}")
    durability = WIRE_DURABILITY[alloy]
    is_hot = temperature_c > WEIGHT_ONE_C and max(durability) > WEIGHT_ONE_C
    lower_c, upper_c = (1200, 1300) if is_hot else (1100, 1200)
    lower_ln, upper_ln = (Decimal(durability[c]).ln() for c in (lower_c, upper_c))
    lower_inverse, upper_inverse = _inverse_kelvin(lower_c), _inverse_kelvin(upper_c)
    slope = (upper_ln - lower_ln) / (upper_inverse - lower_inverse)
    durability_ln = lower_ln + slope * (_inverse_kelvin(temperature_c) - lower_inverse)
    weight = (Decimal(WIRE_DURABILITY["a1"][WEIGHT_ONE_C]).ln() - durability_ln).exp()
    return max(weight.quantize(WEIGHT_EXACTNESS, ROUND_HALF_UP), WEIGHT_MIN)


def _inverse_kelvin(temperature_c: Decimal | int) -> Decimal:
    return 1 / (Decimal(temperature_c) + KELVIN_AT_0_C)


def _check_units(name: str, units: Decimal) -> None:
    if not isinstance(units, Decimal) or not units.is_finite():
        raise ValueError(f"{name} must be a finite Decimal, not {units!r}")
    if units < 0:
        raise ValueError(f"{name} must not be negative, but is {units}")
