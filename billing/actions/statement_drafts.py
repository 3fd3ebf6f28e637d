"""What the statements of a month will say, gathered for all accounts in a handful of queries."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db.models import Sum

from billing.actions.ledger import next_month
from billing.calculations.statements import (
    LineKind,
    StatementLine,
    StatementTotals,
    statement_totals,
)
from billing.models import Posting, Share
from firings.models import Stage
from studio.models import Account


@dataclass
class Draft:
    """One account's month: its lines as JSON, and what they add up to."""

    account: Account
    opening_minor: int
    lines: list[dict[str, Any]] = field(default_factory=list)

    @property
    def is_wanted(self) -> bool:
        """A statement is due for a balance or a movement."""
        return bool(self.opening_minor or self.lines)

    @property
    def totals(self) -> StatementTotals:
        return statement_totals(self.opening_minor, [_plain(line) for line in self.lines])


def statement_drafts(month: date) -> list[Draft]:
    """A draft for each account with a balance or a movement, by account number."""
    end = next_month(month)
    openings = _openings(month)
    lines: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for account_id, line in [*_firing_lines(month, end), *_other_lines(month, end)]:
        lines[account_id].append(line)
    drafts = [
        Draft(
            account,
            openings.get(account.pk, 0),
            sorted(lines[account.pk], key=lambda line: (line["on"], line["entry"])),
        )
        for account in Account.objects.order_by("number")
    ]
    return [draft for draft in drafts if draft.is_wanted]


def _openings(month: date) -> dict[int, int]:
    before = Posting.objects.filter(
        account__holder__isnull=False, entry__posted_at__isnull=False, entry__on__lt=month
    )
    return dict(before.order_by().values_list("account__holder").annotate(Sum("amount_minor")))


def _firing_lines(month: date, end: date) -> list[tuple[int, dict[str, Any]]]:
    """One line for each booking that carried part of a firing, with its working in words."""
    shares = Share.objects.filter(
        cost__entry__posted_at__isnull=False, cost__entry__on__gte=month, cost__entry__on__lt=end
    ).exclude(amount_minor=0)
    fields = {
        "account": "account_id",
        "entry": "cost__entry_id",
        "on": "cost__entry__on",
        "source": "cost__entry__source",
        "amount_minor": "amount_minor",
        "area_mm2": "area_mm2",
        "working": "working__sentences",
        "split": "working__split",
        "firing": "cost__firing_id",
        "stage": "cost__firing__stage",
        "cone": "cost__firing__cone",
        "kiln": "cost__firing__kiln__name",
        "slip": "booking__slip",
        "member": "booking__member__name",
    }
    rows = shares.order_by("cost__entry_id", "pk").values_list(*fields.values())
    return [_firing_line(dict(zip(fields, row, strict=True))) for row in rows]


def _firing_line(row: dict[str, Any]) -> tuple[int, dict[str, Any]]:
    account_id = row.pop("account")
    split = row.pop("split")
    stage = Stage(row["stage"]).label
    line = {
        **row,
        "kind": "charge",
        "on": row["on"].isoformat(),
        "stage": stage,
        "text": f"{stage} firing {row['firing']} to cone {row['cone']} in {row['kiln']}",
        "share_of_mm2": split["divisor_mm2"],
    }
    return account_id, line


def _other_lines(month: date, end: date) -> list[tuple[int, dict[str, Any]]]:
    """Payments, credits and reversals: whatever moved a receivable and is no firing's cost."""
    rows = (
        Posting.objects.filter(
            account__holder__isnull=False,
            entry__posted_at__isnull=False,
            entry__on__gte=month,
            entry__on__lt=end,
            entry__firing_cost=None,
        )
        .order_by("pk")
        .values_list(
            "account__holder", "entry", "entry__on", "entry__source", "amount_minor", "text",
            "entry__text", "entry__reason",
        )
    )  # fmt: skip
    return [
        (
            account_id,
            {
                "kind": _kind(source, amount_minor),
                "entry": entry,
                "on": on.isoformat(),
                "source": source,
                "text": text or entry_text,
                "reason": reason,
                "amount_minor": abs(amount_minor),
            },
        )
        for account_id, entry, on, source, amount_minor, text, entry_text, reason in rows
    ]


def _kind(source: str, amount_minor: int) -> LineKind:
    """A bounced payment is a charge again, a reversed charge a credit."""
    if amount_minor > 0:
        return "charge"
    return "payment" if source.startswith("payment:") else "credit"


def _plain(line: dict[str, Any]) -> StatementLine:
    return StatementLine(
        date.fromisoformat(line["on"]),
        line["kind"],
        line["text"],
        line["amount_minor"],
        line["source"],
    )
