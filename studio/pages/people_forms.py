"""Forms about people, accounts and the studio."""

from __future__ import annotations

import zoneinfo
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from studio.models import Account, Person, Role, Studio
from studio.pages.widgets import CountInput

NEW_ACCOUNT = "A new account in their name"


def _same_as_studio(choices: list[tuple[str, str]]) -> list[tuple[str, str]]:
    return [("", "As the studio"), *choices]


class JoinForm(forms.Form):
    """What an invited person says about themselves."""

    name = forms.CharField(
        label="Your name", max_length=120, widget=forms.TextInput({"autocomplete": "name"})
    )
    password = forms.CharField(
        label="Choose a password",
        strip=False,
        max_length=200,
        widget=forms.PasswordInput({"autocomplete": "new-password"}),
        help_text="At least 10 characters, not only digits, and no well-known password.",
    )
    password_again = forms.CharField(
        label="The same password again",
        strip=False,
        max_length=200,
        widget=forms.PasswordInput({"autocomplete": "new-password"}),
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        first, again = cleaned.get("password"), cleaned.get("password_again")
        if first and again and first != again:
            self.add_error("password_again", "This is not the same password. Type both again.")
        return cleaned


class RolesForm(forms.Form):
    roles = forms.MultipleChoiceField(
        choices=Role.choices, widget=forms.CheckboxSelectMultiple, label="Roles"
    )


class AccountForm(forms.Form):
    """Which account somebody is charged on."""

    account = forms.ModelChoiceField(
        Account.objects.filter(closed_at=None),
        required=False,
        empty_label=NEW_ACCOUNT,
        label="Account",
        help_text="Choose an account to share it, as a household or a class does.",
    )


class InviteForm(RolesForm, AccountForm):
    email = forms.EmailField(label="E-mail address", max_length=254)
    name = forms.CharField(label="Name", max_length=120)
    field_order = ("name", "email", "roles", "account")


class DeactivateForm(forms.Form):
    why = forms.CharField(
        label="Why", max_length=300, required=False, help_text="Kept in the trail; may be empty."
    )


class NameForm(forms.Form):
    name = forms.CharField(label="Name", max_length=120)


class TokenForm(forms.Form):
    name = forms.CharField(
        label="What the token is for", max_length=80, help_text="Such as: my spreadsheet"
    )


class MyDetailsForm(forms.Form):
    name = forms.CharField(label="Name", max_length=120)
    phone = forms.CharField(
        label="Phone", max_length=40, required=False, widget=forms.TextInput({"type": "tel"})
    )
    length_unit = forms.ChoiceField(
        label="Lengths in",
        required=False,
        choices=_same_as_studio([("cm", "Centimetres"), ("in", "Inches")]),
    )
    temperature_unit = forms.ChoiceField(
        label="Temperatures in",
        required=False,
        choices=_same_as_studio([("C", "Celsius"), ("F", "Fahrenheit")]),
    )

    @staticmethod
    def initial_of(person: Person) -> dict[str, str]:
        return {name: getattr(person, name) for name in MyDetailsForm.base_fields}


def _zones() -> list[tuple[str, str]]:
    return [(zone, zone.replace("_", " ")) for zone in sorted(zoneinfo.available_timezones())]


def _days(label: str, help_text: str) -> forms.IntegerField:
    return forms.IntegerField(
        label=label, help_text=help_text, min_value=1, max_value=365, widget=CountInput
    )


class StudioForm(forms.Form):
    name = forms.CharField(label="Name of the studio", max_length=120)
    address = forms.CharField(
        label="Address", required=False, max_length=500, widget=forms.Textarea({"rows": 3})
    )
    contact_email = forms.EmailField(
        label="Address for questions", required=False, help_text="Stands under each letter."
    )
    time_zone = forms.ChoiceField(label="Time zone", choices=_zones)
    currency = forms.CharField(
        label="Currency",
        max_length=3,
        min_length=3,
        help_text="Three letters of ISO 4217, such as EUR.",
    )
    language = forms.CharField(
        label="Numbers and dates as in",
        max_length=10,
        help_text="A language, such as en or en-GB: it decides how numbers and dates are written.",
    )
    length_unit = forms.ChoiceField(
        label="Lengths in", choices=[("cm", "Centimetres"), ("in", "Inches")]
    )
    temperature_unit = forms.ChoiceField(
        label="Temperatures in", choices=[("C", "Celsius"), ("F", "Fahrenheit")]
    )
    invitation_days = _days("Days an invitation stays open", "Its link stops working afterwards.")
    pick_up_days = _days("Days to collect ware", "Counted from the day it is ready.")
    reminder_days = _days("Days between reminders", "For ware that has not been collected.")

    def clean_currency(self) -> str:
        currency = str(self.cleaned_data["currency"]).upper()
        if not currency.isalpha():
            raise ValidationError("Write the three letters of the currency, such as EUR.")
        return currency

    @staticmethod
    def initial_of(studio: Studio) -> dict[str, Any]:
        return {name: getattr(studio, name) for name in StudioForm.base_fields}
