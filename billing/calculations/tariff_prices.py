"""The prices of a tariff one by one: to show them, and to see whether one is a slip."""

from decimal import Decimal

from billing.calculations.tariffs import EnergyPrices, FlatTariff, Tariff
from billing.calculations.tiers import TieredTariff


def energy_prices(energy: EnergyPrices) -> list[tuple[str, Decimal]]:
    """Each period or block with its price for a kWh, in the tariff's order."""
    if isinstance(energy, FlatTariff):
        return [("at all hours", energy.price_per_kwh)]
    if isinstance(energy, TieredTariff):
        return [
            (energy.name_of(position), tier.price_per_kwh)
            for position, tier in enumerate(energy.tiers)
        ]
    return [(row.name, row.price_per_kwh) for row in energy.rows.values()]


def dearest_kwh(tariff: Tariff) -> Decimal:
    """The highest price for a kWh, its taxes by kWh included, percentages left out."""
    by_kwh = sum((tax.per_kwh for tax in tariff.taxes if tax.per_kwh is not None), Decimal(0))
    return max(price for _, price in energy_prices(tariff.energy)) + by_kwh
