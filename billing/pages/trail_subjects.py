"""How the trail names costs, payments, months and tariffs."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from django.urls import reverse

from billing.models import FiringCost, MonthClose, Payment, TariffVersion
from studio.pages.subjects import Subject, register_subjects


def register_trail_subjects() -> None:
    register_subjects("firingcost", _costs)
    register_subjects("payment", _payments)
    register_subjects("monthclose", _months)
    register_subjects("tariffversion", _tariffs)


def _costs(ids: Collection[int]) -> Mapping[int, Subject]:
    costs = FiringCost.objects.filter(pk__in=ids).select_related("firing")
    return {
        cost.pk: Subject(f"cost of {cost.firing}", reverse("billing:cost", args=[cost.pk]))
        for cost in costs
    }


def _payments(ids: Collection[int]) -> Mapping[int, Subject]:
    return {
        payment.pk: Subject(
            f"payment of account {payment.account}",
            reverse("billing:account_lines", args=[payment.account.number]),
        )
        for payment in Payment.objects.filter(pk__in=ids).select_related("account")
    }


def _months(ids: Collection[int]) -> Mapping[int, Subject]:
    return {
        close.pk: Subject(f"close of {close.month:%B %Y}")
        for close in MonthClose.objects.filter(pk__in=ids)
    }


def _tariffs(ids: Collection[int]) -> Mapping[int, Subject]:
    return {
        version.pk: Subject(f"tariff {version.name}", reverse("billing:tariff", args=[version.pk]))
        for version in TariffVersion.objects.filter(pk__in=ids)
    }
