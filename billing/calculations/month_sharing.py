"""Who carries the charges of a month that no single firing causes.

The rule: a demand charge goes to the firings that ran in the billed window, by the energy each
used in it, and within a firing by charged area; a fixed charge goes by charged area over all of
the month's firings. What ware in a firing that the studio carries would have borne, the studio
bears. Amounts are in minor units and sum exactly, by largest remainder; ties go to the studio
first, then to the lowest account.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm

from billing.calculations.splitting import largest_remainder

# Parties are account numbers; the studio stands for two of its own.
FAULTS = -2
WITHOUT_WARE = -1
STUDIO = (FAULTS, WITHOUT_WARE)


@dataclass(frozen=True)
class SharingFiring:
    """A firing, the charged area of each account in it, and whether the studio carries it."""

    key: int
    area_mm2_of: Mapping[int, int]
    is_fault: bool = False
    is_without_ware: bool = False

    @property
    def area_mm2(self) -> int:
        return sum(self.area_mm2_of.values())

    @property
    def carrier(self) -> int | None:
        """The studio's party when it carries the firing; None when its accounts do."""
        if self.is_fault:
            return FAULTS
        return WITHOUT_WARE if self.is_without_ware or not self.area_mm2 else None


@dataclass(frozen=True)
class Carried:
    """What a party carries of one charge, before rounding and after."""

    exact_minor: Fraction
    amount_minor: int


def share_by_area(amount_minor: int, firings: Sequence[SharingFiring]) -> dict[int, Carried]:
    """A fixed charge over a month's firings; all to the studio when no ware was fired."""
    weights: dict[int, Fraction] = {}
    for firing in firings:
        for account, area_mm2 in firing.area_mm2_of.items():
            party = account if firing.carrier is None else firing.carrier
            weights[party] = weights.get(party, Fraction(0)) + area_mm2
    return _shared(amount_minor, weights)


def share_by_peak(
    amount_minor: int, energy_wh_of: Mapping[int, int], firings: Sequence[SharingFiring]
) -> dict[int, Carried]:
    """A demand charge by the Wh that each firing (by its key) used in the billed window.

    Energy of a firing that is not among `firings` goes to the studio. Raises ValueError for a
    negative energy.
    """
    by_key = {firing.key: firing for firing in firings}
    weights: dict[int, Fraction] = {}
    for key, energy_wh in energy_wh_of.items():
        if energy_wh < 0:
            raise ValueError(f"energy_wh_of {key!r} must not be negative, but is {energy_wh}")
        for party, weight in _parties(by_key.get(key), energy_wh).items():
            weights[party] = weights.get(party, Fraction(0)) + weight
    return _shared(amount_minor, weights)


def _parties(firing: SharingFiring | None, energy_wh: int) -> dict[int, Fraction]:
    if firing is None:
        return {WITHOUT_WARE: Fraction(energy_wh)}
    if firing.carrier is not None:
        return {firing.carrier: Fraction(energy_wh)}
    return {
        account: Fraction(energy_wh * area_mm2, firing.area_mm2)
        for account, area_mm2 in firing.area_mm2_of.items()
    }


def _shared(amount_minor: int, weights: Mapping[int, Fraction]) -> dict[int, Carried]:
    total = sum(weights.values(), Fraction(0))
    if not total:
        return {WITHOUT_WARE: Carried(Fraction(amount_minor), amount_minor)}
    unit = lcm(*(weight.denominator for weight in weights.values()))
    parts = largest_remainder(
        amount_minor, [(party, int(weight * unit)) for party, weight in weights.items()]
    )
    return {
        party: Carried(amount_minor * weight / total, parts[party])
        for party, weight in weights.items()
    }
