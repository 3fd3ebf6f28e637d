"""What a studio sets up about money before its first firing is closed."""

from __future__ import annotations

from collections.abc import Iterable

from billing.models import BillingPolicy, TariffVersion
from studio.pages.first_steps import FirstStep


def billing_first_steps() -> Iterable[FirstStep]:
    yield FirstStep(
        "Add the electricity tariff",
        "From the newest bill. No firing can be closed without one.",
        "billing:tariffs",
        TariffVersion.objects.exists(),
        200,
    )
    yield FirstStep(
        "Decide what a firing costs besides, and how members pay",
        "Consumables, handling, days to pay: they stand on each statement.",
        "billing:policy",
        BillingPolicy.current().says_how_to_pay,
        210,
    )
