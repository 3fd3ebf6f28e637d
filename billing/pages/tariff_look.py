"""A tariff that is being typed: its picture, and what past firings would have cost by it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.forms import Form
from django.utils import timezone

from billing.actions.tariff_bench import (
    BenchResult,
    bench_month,
    bench_tariffs,
    firings_with_energy,
)
from billing.calculations.prices import TariffError
from billing.calculations.tariff_documents import from_json
from billing.calculations.tariff_prices import energy_prices
from billing.calculations.tariffs import Tariff
from billing.models import TariffVersion
from billing.pages.tariff_picture import TariffPicture, picture_of
from studio.models import Studio


@dataclass(frozen=True)
class Look:
    """What a draft looks like beside the newest version, for the newest month with firings."""

    rates: Tariff
    prices: list[tuple[str, Any]]
    picture: TariffPicture | None
    month: date | None
    results: list[BenchResult]


def look_at(form: Form, rates_of: Callable[[Mapping[str, Any]], dict[str, Any]]) -> Look | None:
    """None when the draft does not fit together: the form then says what is wrong."""
    document = rates_of(form.cleaned_data)
    try:
        rates = from_json(document)
    except TariffError as error:
        for problem in error.problems:
            form.add_error(None, f"{problem[0].upper()}{problem[1:]}.")
        return None
    newest = firings_with_energy().first()
    month = None
    if newest is not None:
        month = newest.started_at.astimezone(Studio.current().zone).date().replace(day=1)
    tried = bench_tariffs(list(TariffVersion.objects.all()[:1]), document)
    return Look(
        rates=rates,
        prices=energy_prices(rates.energy),
        picture=picture_of(rates.energy),
        month=month,
        results=bench_month(month, tried, timezone.now()) if month else [],
    )
