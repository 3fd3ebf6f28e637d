"""Forms about memberships, who holds them, consumables, refunds, crew and how long parts last."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms

from billing.actions.consumable_lines import PRICE_MINOR_MAX
from billing.actions.crew_turns import MINUTES_MAX
from billing.actions.life_estimates import COST_MINOR_MAX
from billing.actions.memberships import AMOUNT_MINOR_MAX, AREA_MM2_MAX, NAME_LENGTH_MAX
from billing.actions.refunds import REASON_LENGTH_MAX
from billing.models import ConsumedPer, Membership, MembershipKind
from firings.models import Piece
from studio.models import Person
from studio.pages.unit_fields import AmountField, AreaField, CountField, ReaderForm
from studio.pages.widgets import DayInput

BP_OF_PERCENT = 100


def percent_field(**options: Any) -> forms.DecimalField:
    return forms.DecimalField(
        label="Percentage", min_value=0, max_value=1000, decimal_places=2, **options
    )


def basis_points_of(percent: Decimal | None) -> int:
    """Hundredths of a percent, as they are stored."""
    return int((percent or Decimal(0)) * BP_OF_PERCENT)


class MembershipForm(ReaderForm):
    name = forms.CharField(
        label="Name", max_length=NAME_LENGTH_MAX, help_text="As members read it on statements."
    )
    kind = forms.ChoiceField(
        label="What holding it does", choices=MembershipKind.choices, widget=forms.RadioSelect
    )
    percent = percent_field(
        required=False, help_text="Of a subsidy, a surcharge or a part back for crew."
    )
    amount_minor = AmountField(
        label="Amount",
        required=False,
        max_minor=AMOUNT_MINOR_MAX,
        help_text="Free each month, or credited for a firing or an hour.",
    )
    area_mm2 = AreaField(
        label="Shelf area free each month", required=False, min_mm2=0, max_mm2=AREA_MM2_MAX
    )

    @staticmethod
    def fields_of(cleaned: dict[str, Any]) -> dict[str, Any]:
        """What the actions take."""
        values = {name: value for name, value in cleaned.items() if name != "percent"}
        values["basis_points"] = basis_points_of(cleaned["percent"])
        return {**values, **{name: values[name] or 0 for name in ("amount_minor", "area_mm2")}}


class EditMembershipForm(MembershipForm):
    kind = None
    is_offered = forms.BooleanField(
        label="It is still offered",
        required=False,
        help_text="Accounts that hold it keep it until their last day all the same.",
    )


class GiveMembershipForm(forms.Form):
    membership = forms.ModelChoiceField(
        queryset=Membership.objects.filter(is_offered=True), empty_label="Choose a membership"
    )
    valid_from = forms.DateField(
        label="From", help_text="For firings that start on this day or later.", widget=DayInput
    )
    valid_until = forms.DateField(
        label="Until",
        required=False,
        help_text="The last day. Empty: until further notice.",
        widget=DayInput,
    )


class HoldingForm(forms.Form):
    valid_until = forms.DateField(
        label="Last day",
        required=False,
        help_text="Empty: until further notice. What was charged before stays.",
        widget=DayInput,
    )


class ConsumableForm(ReaderForm):
    name = forms.CharField(label="Name", max_length=NAME_LENGTH_MAX)
    price_minor = AmountField(label="Price", min_minor=1, max_minor=PRICE_MINOR_MAX)
    per = forms.ChoiceField(label="Counted", choices=ConsumedPer.choices, widget=forms.RadioSelect)


class EditConsumableForm(ConsumableForm):
    is_used = forms.BooleanField(label="It is charged", required=False)


class PieceChoice(forms.ModelChoiceField):
    def label_from_instance(self, piece: Piece) -> str:
        outcome = f", {piece.get_outcome_display().lower()}" if piece.outcome else ""
        return f"{piece.name}{outcome}"


class RefundForm(ReaderForm):
    piece = PieceChoice(
        label="Which piece",
        queryset=Piece.objects.none(),
        required=False,
        empty_label="The whole slip",
        help_text="A piece has its part of the charge, by its footprint.",
    )
    percent = percent_field(required=False, help_text="Of what was charged for it.")
    amount_minor = AmountField(
        label="Or an amount", required=False, max_minor=AMOUNT_MINOR_MAX, min_minor=1
    )
    reason = forms.CharField(
        label="Why",
        max_length=REASON_LENGTH_MAX,
        help_text="The people of the account read this on their statement.",
    )

    def __init__(self, *args: Any, pieces: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["piece"].queryset = pieces  # type: ignore[attr-defined]

    @staticmethod
    def fields_of(cleaned: dict[str, Any]) -> dict[str, Any]:
        """What the action takes: either of percentage and amount may be missing."""
        values = {name: value for name, value in cleaned.items() if name != "percent"}
        percent = cleaned["percent"]
        return {**values, "basis_points": None if percent is None else basis_points_of(percent)}


class CrewTurnForm(forms.Form):
    person = forms.ModelChoiceField(
        label="Who", queryset=Person.objects.active(), empty_label="Choose a person"
    )
    minutes = CountField(
        label="Minutes", help_text="0 where only the firing counts.", min_value=0,
        max_value=MINUTES_MAX,
    )  # fmt: skip


class EstimateForm(ReaderForm):
    replacement_cost_minor = AmountField(
        label="Cost of replacing it", help_text="Parts and work.", max_minor=COST_MINOR_MAX
    )
    expected_life = forms.DecimalField(
        label="Expected life",
        min_value=1,
        max_value=100_000,
        decimal_places=2,
        help_text="From when it was fitted, in all.",
    )
    reason = forms.CharField(label="Why", max_length=500, widget=forms.Textarea({"rows": 3}))
