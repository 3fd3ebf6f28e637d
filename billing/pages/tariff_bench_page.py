"""The test bench: what a past firing, or a month of them, would have cost under other tariffs."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from billing.actions.tariff_bench import (
    BenchResult,
    bench_firing,
    bench_month,
    bench_tariffs,
    firings_with_energy,
)
from billing.models import TariffVersion
from firings.models import Firing
from studio.models import Role, Studio
from studio.pages.access import needs

FIRINGS_OFFERED = 60
INVALID = 422


class BenchForm(forms.Form):
    what = forms.ChoiceField(label="What was fired")
    tariffs = forms.ModelMultipleChoiceField(
        label="Under which tariffs",
        queryset=TariffVersion.objects.all(),
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        zone = Studio.current().zone
        self.firings = {
            str(firing.pk): firing for firing in firings_with_energy()[:FIRINGS_OFFERED]
        }
        started = [firing.started_at.astimezone(zone).date() for firing in self.firings.values()]
        self.months = {f"{day:%Y-%m}": day.replace(day=1) for day in started}
        choose: Any = self.fields["what"]
        choose.choices = [
            (
                "All firings of a month",
                [(key, f"{month:%B %Y}") for key, month in self.months.items()],
            ),
            (
                "One firing",
                [
                    (key, f"{firing} in {firing.kiln}, {day.day} {day:%B %Y}")
                    for (key, firing), day in zip(self.firings.items(), started, strict=True)
                ],
            ),
        ]

    def results(self) -> list[BenchResult]:
        tried = bench_tariffs(list(self.cleaned_data["tariffs"]))
        chosen = self.cleaned_data["what"]
        if chosen in self.months:
            return bench_month(self.months[chosen], tried, timezone.now())
        return bench_firing(self.chosen_firing(), tried, timezone.now())

    def chosen_firing(self) -> Firing:
        found: Firing = self.firings[self.cleaned_data["what"]]
        return found


@needs(Role.TREASURER, Role.MANAGER)
def bench(request: HttpRequest) -> HttpResponse:
    """Asks and answers at one address, so that the answer can be kept as a link."""
    form = BenchForm(request.GET if "what" in request.GET else None)
    if not form.is_bound:
        return render(request, "billing/tariff_bench.html", {"form": form})
    if not form.is_valid():
        return render(request, "billing/tariff_bench.html", {"form": form}, status=INVALID)
    context = {
        "form": form,
        "results": form.results(),
        "is_month": form.cleaned_data["what"] in form.months,
    }
    return render(request, "billing/tariff_bench.html", context)
