"""Memberships: the list, and who holds them from when to when."""

from __future__ import annotations

from functools import partial

from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse as address_of
from django.utils import timezone

from billing.actions.memberships import (
    add_membership,
    change_holding,
    edit_membership,
    give_membership,
)
from billing.models import Membership, MembershipHolding
from billing.pages.membership_forms import (
    EditMembershipForm,
    GiveMembershipForm,
    HoldingForm,
    MembershipForm,
)
from billing.pages.my_account import today
from studio.models import Account, Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import units_of

KEEPERS = (Role.TREASURER, Role.MANAGER)


@needs(*KEEPERS)
def memberships(request: HttpRequest) -> HttpResponse:
    day = today(request)
    current = Q(holdings__valid_until=None) | Q(holdings__valid_until__gte=day)
    holdings = MembershipHolding.objects.filter(Q(valid_until=None) | Q(valid_until__gte=day))
    context = {
        "memberships": Membership.objects.annotate(
            holders_count=Count("holdings", filter=current)
        ).order_by("-is_offered", "name"),
        "holdings": holdings.select_related("account", "membership"),
        "today": day,
    }
    return render(request, "billing/memberships.html", context)


@needs(*KEEPERS)
def add(request: HttpRequest) -> HttpResponse:
    return answer_form(
        request,
        partial(MembershipForm, units=units_of(request)),
        "billing/add_membership.html",
        lambda cleaned: add_membership(
            by=request.user, at=timezone.now(), **MembershipForm.fields_of(cleaned)
        ),
        done="Added. Give it to accounts on their pages.",
        then="billing:memberships",
    )


@needs(*KEEPERS)
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    membership = get_object_or_404(Membership, pk=pk)
    return answer_form(
        request,
        partial(EditMembershipForm, units=units_of(request)),
        "billing/edit_membership.html",
        lambda cleaned: edit_membership(
            by=request.user,
            at=timezone.now(),
            membership=membership,
            **EditMembershipForm.fields_of(cleaned),
        ),
        context={"membership": membership},
        initial={
            "name": membership.name,
            "percent": membership.percent or None,
            "amount_minor": membership.amount_minor or None,
            "area_mm2": membership.area_mm2 or None,
            "is_offered": membership.is_offered,
        },
        done="Saved.",
        then="billing:memberships",
    )


@needs(*KEEPERS)
def give(request: HttpRequest, number: int) -> HttpResponse:
    account = get_object_or_404(Account, number=number)
    return answer_form(
        request,
        GiveMembershipForm,
        "billing/give_membership.html",
        lambda cleaned: give_membership(
            by=request.user, at=timezone.now(), account=account, **cleaned
        ),
        context={"account": account},
        initial={"valid_from": today(request)},
        done="Given. It holds for firings that start from its first day on.",
        then=lambda _: address_of("billing:account_lines", args=[number]),
    )


@needs(*KEEPERS)
def holding(request: HttpRequest, pk: int) -> HttpResponse:
    holdings = MembershipHolding.objects.select_related("account", "membership")
    held = get_object_or_404(holdings, pk=pk)
    return answer_form(
        request,
        HoldingForm,
        "billing/holding.html",
        lambda cleaned: change_holding(by=request.user, at=timezone.now(), holding=held, **cleaned),
        context={"holding": held},
        initial={"valid_until": held.valid_until},
        done="Saved.",
        then=lambda _: address_of("billing:account_lines", args=[held.account.number]),
    )
