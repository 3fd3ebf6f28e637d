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

from billing.actions.tariffs import add_tariff_version, tariff_on, use_of, withdraw_tariff_version
from billing.calculations.tariff_documents import from_json
from billing.calculations.tariff_prices import energy_prices
from billing.calculations.tariffs import FlatTariff
from billing.calculations.tiers import TieredTariff
from billing.models import FiringCost, TariffVersion
from billing.pages.holiday_form import HolidaysForm, holiday_lines
from billing.pages.my_account import today
from billing.pages.tariff_forms import FlatTariffForm, TieredTariffForm, VersionForm
from billing.pages.tariff_hours_form import TariffByHoursForm
from billing.pages.tariff_initial import initial_of
from billing.pages.tariff_look import look_at
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
        "rows": [(version, energy_prices(tariff.energy), tariff) for version, tariff in rows],
        "now": now,
    }
    return render(request, "billing/tariffs.html", context)


@needs(*KEEPERS)
def tariff(request: HttpRequest, pk: int) -> HttpResponse:
    version = get_object_or_404(TariffVersion.objects.select_related("made_by"), pk=pk)
    rates = from_json(version.rates)
    context = {
        "version": version,
        "flat": rates.energy if isinstance(rates.energy, FlatTariff) else None,
        "tiers": energy_prices(rates.energy) if isinstance(rates.energy, TieredTariff) else None,
        "rates": rates,
        "picture": picture_of(rates.energy),
        "holidays": sorted(getattr(rates.energy, "holidays", ())),
        "costs_count": FiringCost.objects.filter(tariff=version).count(),
        "is_used": use_of(version) is not None,
    }
    return render(request, "billing/tariff.html", context)


@needs(*KEEPERS)
def add_flat(request: HttpRequest) -> HttpResponse:
    return _add(request, FlatTariffForm, "billing/add_flat_tariff.html", "flat")


@needs(*KEEPERS)
def add_tiered(request: HttpRequest) -> HttpResponse:
    return _add(request, TieredTariffForm, "billing/add_tiered_tariff.html", "tiered")


@needs(*KEEPERS)
def add_by_hours(request: HttpRequest) -> HttpResponse:
    """The public holidays of a place can be written in before the rest is filled in."""
    asked = HolidaysForm(request.GET if "country" in request.GET else None)
    initial = {"holidays": holiday_lines(asked)} if asked.is_bound and asked.is_valid() else {}
    return _add(
        request,
        TariffByHoursForm,
        "billing/add_tariff_by_hours.html",
        "time_of_use",
        initial=initial,
        context={"holidays_form": asked},
    )


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
    form: type[VersionForm],
    template: str,
    kind: str,
    *,
    initial: dict[str, Any] | None = None,
    context: dict[str, Any] | None = None,
) -> HttpResponse:
    """Begins with the newest version of its kind: mostly only prices change.

    The second button shows what was typed as a picture and prices past firings by it; nothing
    is added then.
    """
    make_form = partial(form, units=units_of(request))
    if "look" in request.POST:
        looked = make_form(data=request.POST)
        look = look_at(looked, form.rates_of) if looked.is_valid() else None  # type: ignore[attr-defined]
        shown = {**(context or {}), "form": looked, "look": look}
        return render(request, template, shown, status=200 if look else 422)
    return answer_form(
        request,
        make_form,
        template,
        lambda cleaned: add_tariff_version(
            by=request.user,
            at=timezone.now(),
            name=cleaned["name"],
            valid_from=cleaned["valid_from"],
            rates=form.rates_of(cleaned),  # type: ignore[attr-defined]
            confirm=cleaned["confirm"],
        ),
        context=context,
        initial={
            "valid_from": today(request),
            "time_zone": studio_of(request).time_zone,
            **_begin_with(kind),
            **(initial or {}),
        },
        done="Added. What is used from its first day on is priced with it.",
        then=lambda version: address_of("billing:tariff", args=[version.pk]),
    )


def _begin_with(kind: str) -> dict[str, Any]:
    newest = TariffVersion.objects.filter(rates__kind=kind).first()
    if newest is None:
        return {}
    begun = {name: value for name, value in initial_of(newest.rates).items() if value != ""}
    return {"name": newest.name, **begun}
