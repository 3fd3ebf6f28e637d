"""Tariffs: every version, one of them with its picture, add one, take one back."""

from __future__ import annotations

from functools import partial
from typing import Any

from django import forms
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse as address_of
from django.utils import timezone

from billing.actions.tariffs import add_tariff_version, tariff_on, withdraw_tariff_version
from billing.calculations.tariff_documents import from_json
from billing.calculations.tariffs import FlatTariff
from billing.models import FiringCost, TariffVersion
from billing.pages.my_account import today
from billing.pages.tariff_forms import FlatTariffForm, TariffByHoursForm, initial_of
from billing.pages.tariff_picture import picture_of
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import studio_of, units_of

KEEPERS = (Role.TREASURER, Role.MANAGER)


@needs(*KEEPERS)
def tariffs(request: HttpRequest) -> HttpResponse:
    versions = TariffVersion.objects.annotate(costs_count=Count("costs")).order_by("-valid_from")
    now = tariff_on(today(request))
    rows = [(version, from_json(version.rates)) for version in versions]
    context = {
        "rows": [(version, _prices(tariff)) for version, tariff in rows],
        "now": now,
    }
    return render(request, "billing/tariffs.html", context)


@needs(*KEEPERS)
def tariff(request: HttpRequest, pk: int) -> HttpResponse:
    version = get_object_or_404(TariffVersion.objects.select_related("made_by"), pk=pk)
    rates = from_json(version.rates)
    context = {
        "version": version,
        "flat": rates if isinstance(rates, FlatTariff) else None,
        "rates": rates,
        "picture": picture_of(rates),
        "holidays": sorted(getattr(rates, "holidays", ())),
        "costs_count": FiringCost.objects.filter(tariff=version).count(),
    }
    return render(request, "billing/tariff.html", context)


@needs(*KEEPERS)
def add_flat(request: HttpRequest) -> HttpResponse:
    return _add(request, FlatTariffForm, "billing/add_flat_tariff.html", {})


@needs(*KEEPERS)
def add_by_hours(request: HttpRequest) -> HttpResponse:
    """Begins with the newest version by hours: mostly only prices change."""
    newest = TariffVersion.objects.filter(rates__kind="time_of_use").first()
    initial = {"time_zone": studio_of(request).time_zone}
    if newest is not None:
        initial = {"name": newest.name, **initial_of(newest.rates)}
    return _add(request, TariffByHoursForm, "billing/add_tariff_by_hours.html", initial)


@needs(*KEEPERS)
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    version = get_object_or_404(TariffVersion, pk=pk)
    return answer_form(
        request,
        forms.Form,
        "billing/withdraw_tariff.html",
        lambda _: withdraw_tariff_version(by=request.user, at=timezone.now(), version=version),
        context={"version": version},
        done="Taken back.",
        then="billing:tariffs",
    )


def _add(
    request: HttpRequest,
    form: type[FlatTariffForm] | type[TariffByHoursForm],
    template: str,
    initial: dict[str, Any],
) -> HttpResponse:
    return answer_form(
        request,
        partial(form, units=units_of(request)),
        template,
        lambda cleaned: add_tariff_version(
            by=request.user,
            at=timezone.now(),
            name=cleaned["name"],
            valid_from=cleaned["valid_from"],
            rates=form.rates_of(cleaned),
            confirm=cleaned["confirm"],
        ),
        initial={"valid_from": today(request), **initial},
        done="Added. Firings that start from its first day on are priced with it.",
        then=lambda version: address_of("billing:tariff", args=[version.pk]),
    )


def _prices(rates: Any) -> list[tuple[str, Any]]:
    if isinstance(rates, FlatTariff):
        return [("at all hours", rates.price_per_kwh)]
    return [(period.name, period.price_per_kwh) for period in rates.periods]
