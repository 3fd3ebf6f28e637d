"""How costs are shared and statements asked for."""

from __future__ import annotations

from functools import partial

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from billing.actions.policy import (
    AMOUNT_MINOR_MAX,
    HOW_TO_PAY_LENGTH_MAX,
    PAYMENT_DAYS_MAX,
    TYPED_LENGTH_MAX,
    edit_billing_policy,
)
from billing.calculations.bank_details import PAYEE_LENGTH_MAX
from billing.calculations.sharing_rules import PERCENT_MAX
from billing.models import BillingPolicy, FixedKind, SplitPolicy
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import units_of
from studio.pages.unit_fields import AmountField, CountField, ReaderForm


class BillingPolicyForm(ReaderForm):
    split_policy = forms.ChoiceField(
        label="Who carries the empty area of a kiln",
        choices=SplitPolicy.choices,
        widget=forms.RadioSelect,
    )
    consumables_per_firing_minor = AmountField(
        label="Consumables of a firing",
        help_text="Kiln wash, cones, stilts: added to the cost of each firing.",
        max_minor=AMOUNT_MINOR_MAX,
    )
    handling_per_firing_minor = AmountField(
        label="Handling of a firing",
        help_text="For loading and watching; 0 where volunteers do it.",
        max_minor=AMOUNT_MINOR_MAX,
    )
    fixed_kind = forms.ChoiceField(
        label="What all slips of a firing carry alike",
        help_text="A kiln must be heated however little stands in it. That part is shared by slip, "
        "the rest by area.",
        choices=FixedKind.choices,
        widget=forms.RadioSelect,
    )
    fixed_percent = CountField(
        label="Percentage of the electricity",
        help_text="Only counts where a percentage is chosen.",
        min_value=0,
        max_value=PERCENT_MAX,
    )
    fixed_estimate_minor = AmountField(
        label="Heating the empty kiln once",
        help_text="Only counts where an estimate is chosen; never more than the electricity cost.",
        max_minor=AMOUNT_MINOR_MAX,
    )
    weighs_height = forms.BooleanField(
        label="Tall layers count for more",
        help_text="Area is multiplied by the height above its shelf: a tall piece takes room from "
        "others. Where it is not known who stood on which layer, area alone counts.",
        required=False,
    )
    minimum_charge_minor = AmountField(
        label="The least a slip is charged",
        help_text="What it adds is the studio's, for handling; nobody else's share is changed. "
        "0 for none.",
        max_minor=AMOUNT_MINOR_MAX,
    )
    payment_days = CountField(
        label="Days to pay",
        help_text="From the day a statement is issued to its due date.",
        max_value=PAYMENT_DAYS_MAX,
    )
    how_to_pay = forms.CharField(
        label="How to pay",
        help_text="Stands on every statement, above the bank details and the reference.",
        required=False,
        max_length=HOW_TO_PAY_LENGTH_MAX,
        widget=forms.Textarea({"rows": 4}),
    )
    payee_name = forms.CharField(
        label="Name of the bank account's holder",
        help_text="As the bank knows it. Needed with an IBAN.",
        required=False,
        max_length=PAYEE_LENGTH_MAX,
    )
    iban = forms.CharField(
        label="IBAN",
        help_text="Where transfers go. With it, statements in euros carry a code that bank apps "
        "scan. Empty where banks know no IBAN.",
        required=False,
        max_length=TYPED_LENGTH_MAX,
        widget=forms.TextInput({"autocomplete": "off", "spellcheck": "false"}),
    )
    bic = forms.CharField(
        label="BIC",
        help_text="Only asked for by banks outside the European Economic Area: the code to scan "
        "needs it there.",
        required=False,
        max_length=TYPED_LENGTH_MAX,
        widget=forms.TextInput({"autocomplete": "off", "spellcheck": "false"}),
    )


@needs(Role.TREASURER, Role.MANAGER)
def policy(request: HttpRequest) -> HttpResponse:
    current = BillingPolicy.current()
    return answer_form(
        request,
        partial(BillingPolicyForm, units=units_of(request)),
        "billing/policy.html",
        lambda cleaned: edit_billing_policy(by=request.user, at=timezone.now(), **cleaned),
        initial={name: getattr(current, name) for name in BillingPolicyForm.base_fields},
        done="Saved. It holds from the next firing and the next close on.",
        then="billing:policy",
    )
