"""A statement on the screen and as a PDF: the same frozen content."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from billing.calculations.way_to_pay import way_to_pay_in
from billing.models import Share, Statement
from billing.pages.pay_card import scan_svg
from billing.statement_pdf import render_statement_pdf
from studio.models import Role
from studio.pages.access import signed_in


@dataclass(frozen=True)
class FiringCharges:
    """What one firing was charged with, booking by booking."""

    text: str
    on: date
    lines: list[dict[str, Any]]

    @property
    def amount_minor(self) -> int:
        return sum(line["amount_minor"] for line in self.lines)


@signed_in
def statement(request: HttpRequest, number: int) -> HttpResponse:
    shown = _seen(request, number)
    content = shown.content
    way = way_to_pay_in(content)
    lines = [{**line, "on": date.fromisoformat(line["on"])} for line in content["lines"]]
    context = {
        "statement": shown,
        "content": content,
        "first_day": date.fromisoformat(content["first_day"]),
        "last_day": date.fromisoformat(content["last_day"]),
        "issued_on": date.fromisoformat(content["issued_on"]),
        "firings": _by_firing(lines, _share_of_line(shown, lines)),
        "other_charges": [_ for _ in lines if _["kind"] == "charge" and "firing" not in _],
        "credits": [line for line in lines if line["kind"] == "credit"],
        "payments": [line for line in lines if line["kind"] == "payment"],
        "is_own": shown.account_id == request.user.account_id,  # type: ignore[union-attr]
        "keeps_books": request.user.has_role(Role.TREASURER, Role.MANAGER),  # type: ignore[union-attr]
        "owed_minor": max(shown.closing_minor, 0),
        "way": way,
        "scan_svg": scan_svg(way),
        "in_credit_minor": max(-shown.closing_minor, 0),
    }
    return render(request, "billing/statement.html", context)


@signed_in
def pdf(request: HttpRequest, number: int) -> HttpResponse:
    answer = HttpResponse(
        render_statement_pdf(_seen(request, number)), content_type="application/pdf"
    )
    answer["Content-Disposition"] = f'attachment; filename="statement-{number}.pdf"'
    return answer


def _seen(request: HttpRequest, number: int) -> Statement:
    seen = Statement.objects.seen_by(request.user)  # type: ignore[arg-type]
    return get_object_or_404(seen.select_related("account", "close"), number=number)


def _by_firing(
    lines: list[dict[str, Any]], share_of: dict[tuple[int, str], int]
) -> list[FiringCharges]:
    charges: dict[int, FiringCharges] = {}
    for line in lines:
        if "firing" not in line:
            continue
        shown = {**line, "share": share_of.get((line["entry"], line["slip"]))}
        group = charges.setdefault(line["entry"], FiringCharges(line["text"], line["on"], []))
        group.lines.append(shown)
    return list(charges.values())


def _share_of_line(shown: Statement, lines: list[dict[str, Any]]) -> dict[tuple[int, str], int]:
    """The page of the whole working, by entry and slip."""
    entries = {line["entry"] for line in lines if "firing" in line}
    shares = Share.objects.filter(account=shown.account_id, cost__entry__in=entries)
    return {
        (entry, slip): pk
        for pk, entry, slip in shares.values_list("pk", "cost__entry", "booking__slip")
    }
