"""Months in addresses: 2026-03 is the month that begins on 1 March 2026."""

from __future__ import annotations

from datetime import date


class MonthInAddress:
    regex = r"(?:19|20)\d\d-(?:0[1-9]|1[0-2])"

    def to_python(self, value: str) -> date:
        return date.fromisoformat(f"{value}-01")

    def to_url(self, value: date) -> str:
        return f"{value:%Y-%m}"
