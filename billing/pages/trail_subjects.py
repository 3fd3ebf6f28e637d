"""How the trail names costs, payments, months, charges, bills and tariffs."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from django.urls import reverse

from billing.models import (
    FiringCost,
    MonthCharges,
    MonthClose,
    Payment,
    TariffVersion,
    UtilityBill,
)
from studio.pages.subjects import Subject, register_subjects


def register_trail_subjects() -> None:
    register_subjects("firingcost", _costs)
    register_subjects("payment", _payments)
    register_subjects("monthclose", _months)
    register_subjects("tariffversion", _tariffs)
    register_subjects("monthcharges", _charges)
    register_subjects("utilitybill", _bills)


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


def _charges(ids: Collection[int]) -> Mapping[int, Subject]:
    return {
        charges.pk: Subject(
            f"electricity charges of {charges.month:%B %Y}",
            reverse("billing:month_charges", args=[charges.pk]),
        )
        for charges in MonthCharges.objects.filter(pk__in=ids)
    }


def _bills(ids: Collection[int]) -> Mapping[int, Subject]:
    return {
        bill.pk: Subject(str(bill), reverse("billing:utility_bill", args=[bill.pk]))
        for bill in UtilityBill.objects.filter(pk__in=ids)
    }
