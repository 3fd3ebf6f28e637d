"""Forms about money that comes in and is given back."""

from __future__ import annotations

from typing import Any

from django import forms

from billing.actions.payments import AMOUNT_MINOR_MAX, REFERENCE_LENGTH_MAX
from billing.models import PaymentMethod
from studio.models import Account
from studio.pages.unit_fields import AmountField, ReaderForm
from studio.pages.widgets import DayInput

WAYS = [("in", "Received from them"), ("out", "Paid back to them")]


class PaymentForm(ReaderForm):
    """`confirm_duplicate` is asked for only after the same payment was found."""

    confirm_field = "confirm_duplicate"

    account = forms.ModelChoiceField(
        label="Account",
        queryset=Account.objects.order_by("number"),
        empty_label="Choose an account",
    )
    way = forms.ChoiceField(label="Which way", choices=WAYS, initial="in", widget=forms.RadioSelect)
    amount_minor = AmountField(label="Amount", min_minor=1, max_minor=AMOUNT_MINOR_MAX)
    received_on = forms.DateField(
        label="Day", help_text="The day the money arrived or left.", widget=DayInput
    )
    method = forms.ChoiceField(
        label="How", choices=PaymentMethod.choices, initial=PaymentMethod.BANK
    )
    reference = forms.CharField(
        label="Reference",
        required=False,
        max_length=REFERENCE_LENGTH_MAX,
        help_text="Such as the number on the bank statement or on the receipt.",
    )
    confirm_duplicate = forms.BooleanField(
        label="Yes, the same was really paid twice", required=False
    )

    @staticmethod
    def fields_of(cleaned: dict[str, Any]) -> dict[str, Any]:
        """What the action takes: money paid back is negative."""
        fields = dict(cleaned)
        if fields.pop("way") == "out":
            fields["amount_minor"] = -fields["amount_minor"]
        return fields


class CreditForm(ReaderForm):
    amount_minor = AmountField(label="Amount", min_minor=1, max_minor=AMOUNT_MINOR_MAX)
    reason = forms.CharField(
        label="Why",
        max_length=150,
        help_text="The people of the account read this on their statement.",
    )


class ReasonForm(forms.Form):
    reason = forms.CharField(
        label="Why",
        max_length=500,
        help_text="Kept in the books for whoever reads them later.",
        widget=forms.Textarea({"rows": 3}),
    )
