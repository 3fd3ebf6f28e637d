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
from billing.models import BillingPolicy, SplitPolicy
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
