"""Inputs for counts, days and moments, made for a phone and wet hands."""

from __future__ import annotations

from typing import Any

from django import forms


class CountInput(forms.NumberInput):
    """A whole number; the page's script puts a minus and a plus button beside it."""

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        super().__init__({"data-count": "", "inputmode": "numeric", "step": 1, **(attrs or {})})


class DayInput(forms.DateInput):
    """A calendar day."""

    input_type = "date"

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        super().__init__(attrs, format="%Y-%m-%d")


class MomentInput(forms.DateTimeInput):
    """A day and a time of day, in the studio's local time."""

    input_type = "datetime-local"

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        super().__init__(attrs, format="%Y-%m-%dT%H:%M")
