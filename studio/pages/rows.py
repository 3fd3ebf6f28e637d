"""A form with repeated rows: the pieces of a booking, the periods of a tariff."""

from __future__ import annotations

import re
from typing import Any, ClassVar, cast

from django import forms
from django.forms.utils import ErrorDict
from django.http import QueryDict

from studio.pages.unit_fields import ReaderForm

ROWS_EACH_TIME = 3


class FormWithRows(ReaderForm):
    """One form and its rows; `cleaned_data["rows"]` holds the rows that were filled in.

    A refusal may name a row's field as `rows-0-height_mm`.
    """

    row_form: ClassVar[type[forms.Form]]
    rows_min = 1
    rows_max = 40
    rows_extra = 2

    def __init__(self, *args: Any, initial: dict[str, Any] | None = None, **kwargs: Any) -> None:
        super().__init__(*args, initial=initial, **kwargs)
        rows_initial = (initial or {}).get("rows") or None
        make_rows = forms.formset_factory(
            self.row_form,
            extra=0 if rows_initial else self.rows_extra,
            min_num=self.rows_min,
            max_num=self.rows_max,
            absolute_max=self.rows_max + 1,
            validate_min=True,
            validate_max=True,
        )
        self.rows = make_rows(
            data=self.data if self.is_bound else None,
            files=self.files if self.is_bound else None,
            prefix=self.add_prefix("rows"),
            initial=rows_initial,
            form_kwargs=self.row_arguments(),
        )

    def row_arguments(self) -> dict[str, Any]:
        """What each row's form is made with."""
        is_reader = issubclass(self.row_form, ReaderForm)
        return {"units": self.units} if is_reader else {}

    def _clean_fields(self) -> None:
        # Here, so that a subclass's clean() finds the rows beside the other fields.
        super()._clean_fields()  # type: ignore[misc]
        if self.rows.is_valid():
            self.cleaned_data["rows"] = [
                # a row that was there before and is left as it was is filled in all the same
                row.cleaned_data
                for row in self.rows.forms
                if row.has_changed() or row.initial
            ]
        else:
            self.add_error(None, "Something in the list below needs to be put right.")

    def put_row_error(self, field: str, message: str) -> bool:
        """Put a refusal's message at the row it names; False if it names none."""
        found = re.fullmatch(r"rows-(\d+)-(\w+)", field)
        if not found or int(found[1]) >= len(self.rows.forms):
            return False
        row = self.rows.forms[int(found[1])]
        if found[2] not in row.fields:
            return False
        row.add_error(found[2], message)
        return True

    def wants_more_rows(self) -> bool:
        """Whether the button for more rows was pressed, in a browser without scripts."""
        return self.is_bound and "more_rows" in self.data

    def add_blank_rows(self) -> None:
        """Show a few more rows, keep what was typed, and say nothing about errors yet."""
        name = f"{self.rows.prefix}-TOTAL_FORMS"
        count = min(self.rows.total_form_count() + ROWS_EACH_TIME, self.rows_max)
        typed = cast("QueryDict", self.data).copy()
        typed[name] = str(count)
        self.data = self.rows.data = typed
        self.rows.__dict__.pop("management_form", None)
        self.rows.__dict__.pop("forms", None)
        _forget_errors(self)
        for row in self.rows.forms:
            _forget_errors(row)
        self.rows._errors = [row.errors for row in self.rows.forms]  # type: ignore[attr-defined]
        self.rows._non_form_errors = self.rows.error_class()  # type: ignore[attr-defined]


def _forget_errors(form: Any) -> None:
    # With errors that are there and empty, Django does not look for errors again.
    form._errors = ErrorDict()
    form.cleaned_data = {}
