"""Forms about what the bank says: a file, the columns of a table, whose payment a line is."""

from __future__ import annotations

from typing import Any

from django import forms

from billing.calculations.bank_csv import SEVERAL, CsvMapping
from billing.calculations.bank_csv_guess import CsvPreview
from billing.calculations.bank_files import MAX_BANK_FILE_BYTES
from studio.models import Account

UNUSED = "unused"
ROLE_WORDS = (
    (UNUSED, "Not used"),
    ("date", "Day of booking"),
    ("amount", "Amount, minus for money out"),
    ("credit", "Money in"),
    ("debit", "Money out"),
    ("name", "Name of the other side"),
    ("text", "What they wrote"),
    ("reference", "Payment reference"),
    ("currency", "Currency"),
    ("bank_reference", "The bank's own number"),
)
MARK_WORDS = ((",", "Comma: 12,50"), (".", "Point: 12.50"))
ORDER_WORDS = (
    ("iso", "Year first: 2026-03-31"),
    ("day_first", "Day first: 31.03.2026"),
    ("month_first", "Month first: 03/31/2026"),
)


class BankFileForm(forms.Form):
    file = forms.FileField(
        label="Bank file",
        help_text=f"A statement in camt.053 (XML), or CSV; at most {MAX_BANK_FILE_BYTES // 1024**2}"
        " MB. Of CSV you see first how it is understood.",
        widget=forms.ClearableFileInput({"accept": ".xml,.csv,.txt,text/xml,text/csv"}),
        error_messages={"empty": "This file is empty. Choose another one."},
    )


class ColumnsForm(forms.Form):
    """How each column is to be read; `cleaned_data` holds the mapping."""

    date_order = forms.ChoiceField(label="Days are written", choices=ORDER_WORDS)
    decimal_mark = forms.ChoiceField(label="Decimal mark", choices=MARK_WORDS)
    first_line = forms.IntegerField(
        label="First line to read",
        min_value=1,
        max_value=100_000,
        help_text="Lines above it, such as titles, are passed over.",
    )

    def __init__(self, *args: Any, preview: CsvPreview, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.preview = preview
        for name in ("date_order", "decimal_mark", "first_line"):
            self.fields[name].initial = getattr(preview, name)
        for column in preview.columns:
            self.fields[f"role_{column.index}"] = forms.ChoiceField(
                label=f"{column.title} holds", choices=ROLE_WORDS, initial=column.role or UNUSED
            )

    def roles(self) -> list[Any]:
        """The fields of the columns, in their order."""
        return [self[f"role_{column.index}"] for column in self.preview.columns]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        columns = self._columns(cleaned)
        if self.errors:
            return cleaned
        mapping = CsvMapping(
            self.preview.delimiter,
            cleaned["decimal_mark"],
            cleaned["date_order"],
            tuple(columns),
            cleaned["first_line"],
        )
        if mapping.missing:
            self.add_error(None, mapping.missing)
        return {"mapping": mapping}

    def _columns(self, cleaned: dict[str, Any]) -> list[tuple[str, int]]:
        columns = []
        titles: dict[str, str] = {}
        for column in self.preview.columns:
            role = cleaned.get(f"role_{column.index}", UNUSED)
            if role == UNUSED:
                continue
            if role in titles and role not in SEVERAL:
                words = dict(ROLE_WORDS)[role]
                told = f"{words}: the column {titles[role]} holds it already."
                self.add_error(f"role_{column.index}", told)
            columns.append((role, column.index))
            titles.setdefault(role, column.title)
        return columns


class ConfirmLineForm(forms.Form):
    """`confirm_duplicate` is asked for only after the same payment was found."""

    confirm_field = "confirm_duplicate"

    account = forms.ModelChoiceField(
        label="Whose payment it is",
        queryset=Account.objects.order_by("number"),
        empty_label="Choose an account",
    )
    confirm_duplicate = forms.BooleanField(
        label="Yes, the same was really paid twice", required=False
    )


class SetAsideForm(forms.Form):
    reason = forms.CharField(
        label="Why",
        max_length=500,
        help_text="Such as: a fee of the bank, a grant, the electricity bill.",
    )


class BringBackForm(forms.Form):
    reason = forms.CharField(label="Why", max_length=500)
