"""A statement as an accessible PDF (PDF/UA-1), from its frozen content alone.

The same content gives the same bytes: no clock, no settings, and no fonts of the machine unless a
name needs them. The words and figures are made here; the layout is
`templates/billing/statement.typ`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from itertools import groupby
from pathlib import Path
from typing import Any

from babel import Locale
from babel.dates import format_date

from billing.calculations.way_to_pay import (
    WayToPay,
    qr_svg_document,
    transfer_qr,
    way_to_pay_in,
)
from billing.models import Statement
from studio.calculations.money import format_minor
from studio.calculations.quantities import AreaUnit, format_area
from studio.typesetting import typeset

TEMPLATE = Path(__file__).parent / "templates" / "billing" / "statement.typ"

Content = Mapping[str, Any]


def render_statement_pdf(statement: Statement) -> bytes:
    """The statement's PDF: tagged, titled, in its language, on A4."""
    content = statement.content
    issued_at = datetime.fromisoformat(content["issued_at"])
    return typeset(TEMPLATE, "statement", _page(content), at=issued_at)


def _page(content: Content) -> dict[str, Any]:
    """What the layout shows, as text."""
    show = _Words(content)
    month = date.fromisoformat(content["first_day"])
    lines = content["lines"]
    firing_lines = [line for line in lines if "firing" in line]
    closing_minor = content["totals"]["closing_minor"]
    locale = Locale.parse(show.locale)
    return {
        "language": locale.language,
        "region": _region(locale),
        "title": f"Statement {content['number']} for {show.month(month)}",
        "number": str(content["number"]),
        "studio": content["studio"],
        "account": f"{content['account']['number']}",
        "account_name": content["account"]["name"],
        "month": show.month(month),
        "period": f"{show.day(content['first_day'])} to {show.day(content['last_day'])}",
        "issued_on": show.day(content["issued_on"]),
        "due_on": show.day(content["due_on"]),
        "balance": _balance(content, show),
        "closing": show.money(abs(closing_minor)),
        "is_owed": closing_minor > 0,
        "is_in_credit": closing_minor < 0,
        "charges": [_charge(line, show) for line in firing_lines],
        "charges_total": show.money(sum(line["amount_minor"] for line in firing_lines)),
        "others": [_other(line, show) for line in lines if "firing" not in line],
        "how_to_pay": content["how_to_pay"],
        "pay": _pay(way_to_pay_in(content), show),
        "workings": [*_workings(firing_lines), *_charge_workings(lines)],
    }


def _region(locale: Locale) -> str:
    """The country's two letters (ISO 3166-1); nothing for a wider region such as 001."""
    region = locale.territory or ""
    return region if region.isalpha() else ""


class _Words:
    """Money, areas and days as the statement's language and currency write them."""

    def __init__(self, content: Content) -> None:
        self.currency: str = content["currency"]
        self.language: str = content["language"]
        self.area_unit: AreaUnit = "in2" if content["length_unit"] == "in" else "cm2"
        self.locale = self.language.replace("-", "_")

    def money(self, amount_minor: int) -> str:
        return format_minor(amount_minor, self.currency, self.language)

    def signed(self, amount_minor: int) -> str:
        return f"{'−' if amount_minor < 0 else '+'} {self.money(abs(amount_minor))}"

    def area(self, area_mm2: int) -> str:
        return format_area(area_mm2, self.area_unit, self.language)

    def day(self, iso: str) -> str:
        return format_date(date.fromisoformat(iso), "d MMMM y", locale=self.locale)

    def short_day(self, iso: str) -> str:
        return format_date(date.fromisoformat(iso), "d MMM", locale=self.locale)

    def month(self, first_day: date) -> str:
        return format_date(first_day, "MMMM y", locale=self.locale)


def _balance(content: Content, show: _Words) -> list[list[str]]:
    """The sum from the last balance to this one, as (words, amount)."""
    totals = content["totals"]
    opening_minor = totals["opening_minor"]
    return [
        [
            "In your favour before" if opening_minor < 0 else "Owed before",
            show.money(abs(opening_minor)),
        ],
        ["Charges", show.money(totals["charges_minor"])],
        ["Credits", show.money(-totals["credits_minor"])],
        ["Payments", show.money(-totals["payments_minor"])],
    ]


def _charge(line: Content, show: _Words) -> dict[str, str]:
    return {
        "on": show.short_day(line["on"]),
        "firing": f"{line['stage']} firing {line['firing']}",
        "kiln": line["kiln"],
        "cone": line["cone"],
        "slip": line["slip"],
        "member": line["member"],
        "area": show.area(line["area_mm2"]),
        "share_of": show.area(line["share_of_mm2"]),
        "amount": show.money(line["amount_minor"]),
        "steps": _steps(line, show),
    }


def _steps(line: Content, show: _Words) -> list[list[str]]:
    """What came after the split, as (words, amount); nothing where the split was all."""
    steps = line.get("steps") or []
    if not steps:
        return []
    signs = [(step["text"], step["amount_minor"]) for step in steps]
    return [
        ["Part of the cost", show.money(line["split_minor"])],
        *([text, show.signed(amount_minor)] for text, amount_minor in signs),
    ]


def _pay(way: WayToPay | None, show: _Words) -> dict[str, Any] | None:
    """Bank details and reference, with the code that a bank app scans where there is one."""
    if way is None or not way.amount_minor:
        return None
    code = transfer_qr(way)
    details = {
        "Payee": way.payee_name,
        "IBAN": _unbroken(way.iban_in_groups),
        "BIC": way.bic,
        "Reference": _unbroken(way.reference_in_groups),
        "Amount": show.money(way.amount_minor),
    }
    return {
        "details": [[name, words] for name, words in details.items() if words],
        "qr_svg": "" if code is None else qr_svg_document(code),
        "qr_words": f"Code for a bank app: {show.money(way.amount_minor)} to {way.payee_name}, "
        f"IBAN {way.iban_in_groups}, reference {way.reference_in_groups}",
    }


def _unbroken(groups: str) -> str:
    """On one line: with no-break spaces."""
    return groups.replace(" ", "\u00a0")


KINDS = {"charge": "Charge", "credit": "Credit", "payment": "Payment"}


def _other(line: Content, show: _Words) -> dict[str, str]:
    sign = 1 if line["kind"] == "charge" else -1
    reason = line.get("reason", "")
    return {
        "on": show.short_day(line["on"]),
        "kind": KINDS[line["kind"]],
        "text": line["text"]
        if not reason or reason in line["text"]
        else f"{line['text']} ({reason})",
        "amount": show.money(sign * line["amount_minor"]),
    }


def _workings(firing_lines: Iterable[Content]) -> list[dict[str, Any]]:
    """For each firing: how its cost came about, once, and how each slip's part did."""
    by_entry = sorted(firing_lines, key=lambda line: line["entry"])
    groups = []
    for _, group in groupby(by_entry, key=lambda line: line["entry"]):
        lines = list(group)
        groups.append(
            {
                "title": lines[0]["text"],
                "cost": lines[0]["working"][: -lines[0].get("own_count", 1)],
                "shares": [
                    {
                        "slip": line["slip"],
                        "sentence": " ".join(line["working"][-line.get("own_count", 1) :]),
                    }
                    for line in lines
                ],
            }
        )
    return groups


def _charge_workings(lines: Iterable[Content]) -> list[dict[str, Any]]:
    """How an account's part of a month's shared charges came about."""
    return [
        {"title": line["text"], "cost": line["working"], "shares": []}
        for line in lines
        if "firing" not in line and line.get("working")
    ]
