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
class ShareWords:
    """The figures of one share as text. `quota` is the exact share before rounding."""

    pool: str
    area: str
    total_area: str
    percent: str
    quota: str
    amount: str
    rounding: str
    is_of_usable_area: bool


def energy_sentence(
    energy: str, source: str, tariff: str, periods: Sequence[PeriodWords], amount: str
) -> str:
    """How the electricity came to its amount, period by period.

    Energies, prices and costs of periods must be exact: rounded ones do not multiply.
    """
    origin = ENERGY_SOURCES.get(source, "as recorded")
    parts = "; ".join(
        f"{period.energy} in “{period.name}” at {period.price_per_kwh} for a kWh = {period.cost}"
        for period in periods
    )
    return (
        f"Electricity: {energy}, {origin}. By the tariff {tariff}: {parts}. "
        f"Together, rounded once: {amount}."
    )


def wear_sentence(part: str, cost: str, life: str, used: str, amount: str, is_capped: bool) -> str:
    """How much of a part's cost one firing uses up."""
    sentence = f"{part}: replacing costs {cost} and is due after {life}; used {used}, so {amount}."
    if is_capped:
        return f"{sentence} No more than what is left to save for it."
    return sentence


def pool_sentence(parts: Sequence[tuple[str, str]], pool: str) -> str:
    """What the firing cost altogether, from (text, amount) pairs."""
    listed = ", ".join(f"{text[:1].lower()}{text[1:]} {amount}" for text, amount in parts)
    return f"The whole firing cost {pool}: {listed}."


def share_sentence(words: ShareWords) -> str:
    """How the pool came down to one booking, to the last cent."""
    of_what = "that the shelves hold" if words.is_of_usable_area else "charged in this firing"
    exact = (
        f"This ware took {words.area} of the {words.total_area} {of_what} ({words.percent}): "
        f"{words.pool} × {words.area} ÷ {words.total_area} = {words.quota}"
    )
    if words.rounding == "exact":
        return f"{exact}."
    if words.rounding == "added":
        return (
            f"{exact}, charged {words.amount}: what rounding leaves over goes to the largest "
            "fractions, so that all shares add up to the whole."
        )
    return f"{exact}, charged {words.amount}: the fraction is dropped."


def studio_sentence(reason: str) -> str:
    """Why nobody is charged."""
    return f"The studio carries this cost: {reason}."
