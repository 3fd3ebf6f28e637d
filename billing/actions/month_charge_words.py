"""How the charges of a month came about, in sentences a member can check with a calculator."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_DOWN, Decimal
from fractions import Fraction

from babel.dates import format_datetime
from babel.numbers import format_decimal

from billing.actions.ledger import day_words
from billing.calculations.bill import BillLine, DemandLine
from billing.calculations.month_sharing import SharingFiring
from billing.calculations.tariffs import Tariff
from billing.calculations.wall_clock import next_month
from billing.models import TariffVersion
from firings.models import Firing
from studio.calculations.money import format_minor, minor_digits
from studio.calculations.quantities import NO_BREAK_SPACE, format_exact
from studio.models import Studio

PLACES = 6
TEXT_LENGTH_MAX = 120


@dataclass(frozen=True)
class ChargeWords:
    """Writes one tariff's charges for the studio's readers."""

    studio: Studio
    tariff: Tariff

    def title(self, name: str, version: TariffVersion, first: date, last: date) -> str:
        """The charge's name; with its days where the tariff changed within the month."""
        is_whole = first.day == 1 and last + timedelta(days=1) == next_month(first)
        days = "" if is_whole else f", {day_words(first)} to {day_words(last)}"
        room = TEXT_LENGTH_MAX - len(days) - 2 - len(name)
        return f"{_upper(name)}, {version.name[:room]}{days}"

    def fixed(self, lines: Sequence[BillLine], amount_minor: int) -> str:
        parts = " + ".join(
            f"{quantity_words(line, self.studio)} × {self.exact(line.price)}" for line in lines
        )
        cost = sum((line.cost for line in lines), Fraction(0))
        return f"Fixed charges: {parts} = {self.money(cost)}{self._taxed(cost, amount_minor)}"

    def demand(self, demand: DemandLine[int], amount_minor: int) -> str:
        name, minutes = _upper(demand.charge.name), demand.charge.window_minutes
        if demand.peak is None:
            return f"{name}: no kiln ran in its hours."
        local = demand.peak.start_at.astimezone(self.tariff.zone or self.studio.zone)
        when = format_datetime(local, "d MMMM y, HH:mm", locale=self.locale)
        cost = demand.line.cost
        return (
            f"{name}: the kilns' highest mean power of {minutes} minutes was "
            f"{self.exact(demand.line.quantity)}{NO_BREAK_SPACE}kW, from {when} on. "
            f"{self.exact(demand.line.quantity)} × {self.exact(demand.line.price)} = "
            f"{self.money(cost)}{self._taxed(cost, amount_minor)}"
        )

    def _taxed(self, cost: Fraction, amount_minor: int) -> str:
        percents = [tax for tax in self.tariff.taxes if tax.percent]
        taxes = "".join(
            f", and {tax.name} {format_exact(tax.percent or Decimal(0), self.studio.language)}"
            f"{NO_BREAK_SPACE}% of it = {self.money(cost * Fraction(tax.percent or 0) / 100)}"
            for tax in percents
        )
        return f"{taxes}; rounded once: {self.amount(amount_minor)}."

    def amount(self, amount_minor: int) -> str:
        return format_minor(amount_minor, self.studio.currency, self.studio.language)

    def money(self, exact: Fraction) -> str:
        return f"{self.exact(exact)} {self.studio.currency}"

    def exact(self, number: Fraction) -> str:
        return exact_words(number, self.studio)

    @property
    def locale(self) -> str:
        return self.studio.language.replace("-", "_")


def exact_words(number: Fraction, studio: Studio) -> str:
    """A number with up to six decimals, cut and marked where it has more."""
    scaled = number * 10**PLACES
    cut = Decimal(int(scaled)).scaleb(-PLACES)
    shown = str(format_decimal(cut, "#,##0.######", locale=studio.language.replace("-", "_")))
    return shown if scaled.denominator == 1 else f"{shown}…"


def quantity_words(line: BillLine, studio: Studio) -> str:
    """How much of what, such as 31 days or 1 month."""
    unit = line.unit.removesuffix("s") if line.quantity == 1 else line.unit
    return f"{exact_words(line.quantity, studio)} {unit}"


def share_by_area_words(
    amount_minor: int,
    own_mm2: int,
    total_mm2: int,
    exact_minor: Fraction,
    carried_minor: int,
    studio: Studio,
) -> str:
    """A fixed charge's way to one account."""
    own, total = cm2_words(own_mm2, studio), cm2_words(total_mm2, studio)
    amount = format_minor(amount_minor, studio.currency, studio.language)
    return (
        f"Your ware took {own} of the {total} charged in all firings of the month: "
        f"{amount} × {own} ÷ {total} = {_result(exact_minor, carried_minor, studio)}"
    )


def share_by_peak_words(
    amount_minor: int,
    parts: Sequence[tuple[Firing, SharingFiring, int, int]],
    total_wh: int,
    exact_minor: Fraction,
    carried_minor: int,
    studio: Studio,
) -> str:
    """A demand charge's way to one account; `parts`: firing, its areas, own area, its Wh."""
    used = "; ".join(
        f"{firing} used {energy_wh}{NO_BREAK_SPACE}Wh, and your ware took "
        f"{cm2_words(own_mm2, studio)} of its {cm2_words(sharing.area_mm2, studio)}"
        for firing, sharing, own_mm2, energy_wh in parts
    )
    formula = " + ".join(
        f"{energy_wh} × {cm2_words(own_mm2, studio)} ÷ {cm2_words(sharing.area_mm2, studio)}"
        for _, sharing, own_mm2, energy_wh in parts
    )
    amount = format_minor(amount_minor, studio.currency, studio.language)
    return (
        f"In these minutes all kilns used {total_wh}{NO_BREAK_SPACE}Wh. {used}: "
        f"{amount} × ({formula}) ÷ {total_wh} = {_result(exact_minor, carried_minor, studio)}"
    )


def cm2_words(area_mm2: int, studio: Studio) -> str:
    """Exact, so that the sum can be repeated."""
    cm2 = Decimal(area_mm2).scaleb(-2).quantize(Decimal("0.01"), ROUND_DOWN)
    locale = studio.language.replace("-", "_")
    return f"{format_decimal(cm2, '#,##0.00', locale=locale)}{NO_BREAK_SPACE}cm²"


def _result(exact_minor: Fraction, carried_minor: int, studio: Studio) -> str:
    exact = exact_minor / 10 ** minor_digits(studio.currency)
    carried = format_minor(carried_minor, studio.currency, studio.language)
    if exact_minor.denominator == 1:
        return f"{carried}."
    if carried_minor > exact_minor:
        return (
            f"{exact_words(exact, studio)}, charged {carried}: what rounding leaves over goes to "
            "the largest fractions, so that all parts add up to the whole."
        )
    return f"{exact_words(exact, studio)}, charged {carried}: the fraction is dropped."


def _upper(name: str) -> str:
    return f"{name[:1].upper()}{name[1:]}"
