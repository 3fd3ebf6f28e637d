"""April of Ashbank Studio under a tariff with fixed and demand charges, seen on 2 May."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.db import transaction

from billing.actions.price_firing import post_firing_cost
from billing.models import FiringCost, TariffVersion
from firings.models import Firing
from tests.billing.conftest import Books
from tests.billing.scene import AFTER_APRIL, NOON, fire_with_ware, make_kiln

# 15.00 for each month, 10.00 for each kW in half an hour, 10 % tax: all invented, for arithmetic.
CHARGED: dict[str, Any] = {
    "kind": "flat",
    "format": 2,
    "price_per_kwh": "0.20",
    "time_zone": "Europe/Berlin",
    "fixed": {"per_day": "0", "per_month": "15.00"},
    "demand": [
        {
            "name": "Demand",
            "window_minutes": 30,
            "periods": [],
            "prices": [
                {
                    "name": "all year",
                    "first_day": "01-01",
                    "last_day": "12-31",
                    "price_per_kw": "10",
                }
            ],
        }
    ],
    "taxes": [{"name": "VAT", "percent": "10"}],
}
APRIL_10 = datetime(2026, 4, 10, 8, tzinfo=UTC)


def charged_tariff(valid_from: date = date(2026, 4, 1)) -> TariffVersion:
    return TariffVersion.objects.create(
        name="Town works with demand", valid_from=valid_from, rates=CHARGED, made_at=NOON
    )


def hot(start_at: datetime, *parts_wh: int) -> dict[str, Any]:
    """A profile of half hours."""
    half = timedelta(minutes=30)
    profile = [
        [(start_at + n * half).isoformat(), (start_at + (n + 1) * half).isoformat(), wh]
        for n, wh in enumerate(parts_wh)
    ]
    return {"energy_wh": sum(parts_wh), "energy_working": {"profile": profile}}


def price(firing: Firing, books: Books, at: datetime = AFTER_APRIL) -> FiringCost:
    with transaction.atomic():
        return post_firing_cost(firing, books.treasurer, at)


def april(books: Books) -> tuple[Firing, Firing]:
    """Two kilns whose heat overlaps for half an hour: 4 kWh and 2 kWh, so 12 kW together.

    Ada has 300 cm2 of the first firing's 400 and Ben 100; the second is Ben's alone, 200 cm2.
    """
    charged_tariff()
    first = fire_with_ware(
        books.kiln,
        [(books.ada, 30_000), (books.ben, 10_000)],
        started_at=APRIL_10,
        **hot(APRIL_10, 3000, 4000, 1000),
    )
    later = APRIL_10 + timedelta(minutes=30)
    second = fire_with_ware(
        make_kiln("Little Sister"), [(books.ben, 20_000)], started_at=later, **hot(later, 2000, 500)
    )
    price(first, books)
    price(second, books)
    return first, second
