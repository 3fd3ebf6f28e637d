"""Forms for the real electricity bill."""

from __future__ import annotations

from django import forms

from billing.actions.utility_bills import (
    AMOUNT_MINOR_MAX,
    ENERGY_WH_MAX,
    REFERENCE_LENGTH_MAX,
)
from billing.models import BillSettlement
from studio.pages.unit_fields import AmountField, EnergyField, ReaderForm
from studio.pages.widgets import DayInput


class UtilityBillForm(ReaderForm):
    first_day = forms.DateField(label="First day", widget=DayInput)
    last_day = forms.DateField(
        label="Last day", help_text="Both days as the bill names them.", widget=DayInput
    )
    billed_on = forms.DateField(label="Date of the bill", widget=DayInput)
    energy_wh = EnergyField(label="Energy billed", max_wh=ENERGY_WH_MAX)
    amount_minor = AmountField(
        label="Amount to pay",
        help_text="With everything: energy, demand, fixed charges, taxes.",
        min_minor=1,
        max_minor=AMOUNT_MINOR_MAX,
    )
    tax_minor = AmountField(
        label="Of which taxes", min_minor=0, max_minor=AMOUNT_MINOR_MAX, initial=0
    )
    reference = forms.CharField(
        label="Number of the bill",
        required=False,
        max_length=REFERENCE_LENGTH_MAX,
        help_text="And where it is kept, such as folder 3.",
    )
    settlement = forms.ChoiceField(
        label="Paid",
        choices=BillSettlement.choices,
        initial=BillSettlement.LATER,
        widget=forms.RadioSelect,
    )


class PaidBillForm(forms.Form):
    paid_on = forms.DateField(label="Paid on", widget=DayInput)
