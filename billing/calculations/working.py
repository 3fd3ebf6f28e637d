"""The working of a charge in words: short sentences that a member can check with a calculator.

Amounts, energies and areas arrive as text already formatted for the studio's readers; what is
decided here is only how a derivation reads.
"""

from collections.abc import Sequence
from dataclasses import dataclass

ENERGY_SOURCES = {
    "meter_register": "read from the electricity meter",
    "interval_meter": "measured by the utility's meter of this kiln, interval by interval",
    "power_samples": "measured by the logger's power samples",
    "duty": "from how long the elements were on, times the kiln's rated power",
    "history": "the usual energy of like firings of this kiln, as none was measured",
    "estimate": "estimated from the hours of heating, as none was measured",
}


@dataclass(frozen=True)
class PeriodWords:
    """Energy of one tariff period: its name and, as text, its energy, price and cost."""

    name: str
    energy: str
    price_per_kwh: str
    cost: str


@dataclass(frozen=True)
class TaxWords:
    """A tax on the energy as text: rate, what it is taken of, and its cost, all exact."""

    name: str
    rate: str
    base: str
    cost: str


@dataclass(frozen=True)
class ShareWords:
    """The figures of one share as text. `quota` is the exact share before rounding.

    `pool` is what is split by area: the whole, or what `fixed` leaves of it. `layers` are the
    products of area and height where the height of layers counts; `weight` and `total_weight`
    then stand in for the areas. `is_all`: no step follows, so this is what is charged.
    """

    pool: str
    area: str
    total_area: str
    percent: str
    quota: str
    amount: str
    rounding: str
    is_of_usable_area: bool
    fixed: str = ""
    bookings: int = 1
    layers: Sequence[str] = ()
    weight: str = ""
    total_weight: str = ""
    is_all: bool = True


def energy_sentence(
    energy: str,
    source: str,
    tariff: str,
    periods: Sequence[PeriodWords],
    amount: str,
    *,
    taxes: Sequence[TaxWords] = (),
    used_before: Sequence[tuple[str, str]] = (),
) -> str:
    """How the electricity came to its amount, period by period, then its taxes.

    Energies, prices and costs of periods must be exact: rounded ones do not multiply.
    `used_before` is what firings priced before had used of a month's blocks, as (month, energy).
    """
    origin = ENERGY_SOURCES.get(source, "as recorded")
    parts = "; ".join(
        f"{period.energy} in “{period.name}” at {period.price_per_kwh} for a kWh = {period.cost}"
        for period in periods
    )
    blocks = "".join(
        f"Firings priced before had used {used} of {month}. " for month, used in used_before
    )
    added = "".join(f"; {tax.name} {tax.rate} of {tax.base} = {tax.cost}" for tax in taxes)
    return (
        f"Electricity: {energy}, {origin}. {blocks}By the tariff {tariff}: {parts}{added}. "
        f"Together, rounded once: {amount}."
    )


@dataclass(frozen=True)
class WearWords:
    """The figures of a part's wear as text. `spread` and `spread_over`: what was left to charge
    and of its life when cost or life were last estimated anew; empty before that."""

    part: str
    cost: str
    life: str
    used: str
    amount: str
    is_capped: bool
    spread: str = ""
    spread_over: str = ""


def wear_sentence(words: WearWords) -> str:
    """How much of a part's cost one firing uses up."""
    sentence = f"{words.part}: replacing costs {words.cost} and is due after {words.life}; "
    if words.spread:
        sentence += (
            f"when that was last estimated, {words.spread} were left to save and "
            f"{words.spread_over} of its life; "
        )
    sentence += f"used {words.used}, so {words.amount}."
    if words.is_capped:
        return f"{sentence} No more than what is left to save for it."
    return sentence


def pool_sentence(parts: Sequence[tuple[str, str]], pool: str) -> str:
    """What the firing cost altogether, from (text, amount) pairs."""
    listed = ", ".join(f"{text[:1].lower()}{text[1:]} {amount}" for text, amount in parts)
    return f"The whole firing cost {pool}: {listed}."


def fixed_sentence(fixed: str, rule: str, bookings: int, rest: str) -> str:
    """What of the pool all bookings carry alike."""
    return (
        f"Of it, {fixed} is for heating the empty kiln ({rule}) and carried by all {bookings} "
        f"slips alike; the other {rest} is split."
    )


def share_sentence(words: ShareWords) -> str:
    """How the pool came down to one booking, to the last cent."""
    of_what = "that the shelves hold" if words.is_of_usable_area else "charged in this firing"
    if words.weight:
        mine, whole = words.weight, words.total_weight
        layers = " + ".join(words.layers)
        took = (
            f"This ware took {words.area}; with the height above its shelf {layers} = {mine} "
            f"of the {whole} {of_what} ({words.percent})"
        )
    else:
        mine, whole = words.area, words.total_area
        took = f"This ware took {mine} of the {whole} {of_what} ({words.percent})"
    fixed = f"{words.fixed} ÷ {words.bookings} + " if words.fixed else ""
    exact = f"{took}: {fixed}{words.pool} × {mine} ÷ {whole} = {words.quota}"
    so = f"charged {words.amount}" if words.is_all else f"so {words.amount}"
    if words.rounding == "exact":
        return f"{exact}."
    if words.rounding == "added":
        return (
            f"{exact}, {so}: what rounding leaves over goes to the largest "
            "fractions, so that all shares add up to the whole."
        )
    return f"{exact}, {so}: the fraction is dropped."


def studio_sentence(reason: str) -> str:
    """Why nobody is charged."""
    return f"The studio carries this cost: {reason}."
