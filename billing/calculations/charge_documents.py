"""Fixed charges, demand charges and taxes of a tariff's JSON (format 2)."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from billing.calculations.charges import FixedCharges, Tax
from billing.calculations.demand import DemandCharge, DemandPrice
from billing.calculations.document_fields import (
    Document,
    decimal_in,
    month_day_in,
    objects_in,
    text_in,
)
from billing.calculations.prices import TariffError
from billing.calculations.seasons import YearSpan

if TYPE_CHECKING:
    from billing.calculations.tariffs import Tariff


def fixed_of(document: Document) -> FixedCharges:
    """The fixed charges; none when the document names none."""
    fixed = document.get("fixed")
    if fixed is None:
        return FixedCharges()
    if not isinstance(fixed, Mapping):
        raise TariffError([f"fixed must be an object, not {fixed!r}"])
    per_day, per_month = (
        decimal_in(fixed, key, "fixed charge") if fixed.get(key) is not None else Decimal(0)
        for key in ("per_day", "per_month")
    )
    return FixedCharges(per_day, per_month)


def demand_of(document: Document) -> tuple[DemandCharge, ...]:
    """The demand charges, in the order of the document."""
    return tuple(_demand(charge) for charge in objects_in(document, "demand", required=False))


def taxes_of(document: Document) -> tuple[Tax, ...]:
    """The taxes, in the order of the document."""
    return tuple(_tax(tax) for tax in objects_in(document, "taxes", required=False))


def charges_json(tariff: Tariff) -> dict[str, Any]:
    """What beside energy there is to write; nothing for a tariff without."""
    document: dict[str, Any] = {}
    if tariff.fixed.is_any:
        document["fixed"] = {
            "per_day": str(tariff.fixed.per_day),
            "per_month": str(tariff.fixed.per_month),
        }
    if tariff.demand:
        document["demand"] = [_demand_json(charge) for charge in tariff.demand]
    if tariff.taxes:
        document["taxes"] = [_tax_json(tax) for tax in tariff.taxes]
    return document


def _demand(document: Document) -> DemandCharge:
    name = text_in(document, "name", "a demand charge")
    where = f"demand charge {name!r}"
    periods = document.get("periods") or []
    if not isinstance(periods, list) or not all(isinstance(period, str) for period in periods):
        raise TariffError([f"{where}: periods must be a list of names, not {periods!r}"])
    minutes = document.get("window_minutes")
    if not isinstance(minutes, int) or isinstance(minutes, bool):
        raise TariffError([f"{where}: window_minutes must be 15, 30 or 60, not {minutes!r}"])
    prices = tuple(
        DemandPrice(
            YearSpan(
                text_in(price, "name", f"a price of {where}"),
                month_day_in(price, "first_day", where),
                month_day_in(price, "last_day", where),
            ),
            decimal_in(price, "price_per_kw", where),
        )
        for price in objects_in(document, "prices")
    )
    return DemandCharge(name, minutes, prices, frozenset(periods))


def _demand_json(charge: DemandCharge) -> dict[str, Any]:
    return {
        "name": charge.name,
        "window_minutes": charge.window_minutes,
        "periods": sorted(charge.periods),
        "prices": [
            {
                "name": price.season.name,
                "first_day": str(price.season.first_day),
                "last_day": str(price.season.last_day),
                "price_per_kw": str(price.price_per_kw),
            }
            for price in charge.prices
        ],
    }


def _tax(document: Document) -> Tax:
    name = text_in(document, "name", "a tax")
    where = f"tax {name!r}"
    percent, per_kwh = (
        decimal_in(document, key, where) if document.get(key) is not None else None
        for key in ("percent", "per_kwh")
    )
    return Tax(name, percent, per_kwh)


def _tax_json(tax: Tax) -> dict[str, Any]:
    if tax.per_kwh is not None:
        return {"name": tax.name, "per_kwh": str(tax.per_kwh)}
    return {"name": tax.name, "percent": str(tax.percent)}
