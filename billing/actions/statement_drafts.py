"""What the statements of a month will say, gathered for all accounts in a handful of queries."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from operator import itemgetter
from typing import Any, NamedTuple

from django.db.models import Q, QuerySet, Sum

from billing.actions.balances import owed_on
from billing.actions.month_sums import ONE_DAY, MonthSums
from billing.calculations.statements import (
    LineKind,
    StatementTotals,
    statement_sums,
    statement_totals,
)
from billing.calculations.wall_clock import next_month
from billing.models import FiringCost, MonthChargeShare, Posting, Share
from firings.models import Stage
from studio.models import Account


class Holder(NamedTuple):
    """What a statement says of its account."""

    pk: int
    number: int
    name: str


@dataclass
class Draft:
    """One account's month: its lines as JSON, and what they add up to."""

    account: Holder
    opening_minor: int
    lines: list[dict[str, Any]]

    @property
    def is_wanted(self) -> bool:
        """A statement is due for a balance or a movement."""
        return bool(self.opening_minor or self.lines)

    @cached_property
    def totals(self) -> StatementTotals:
        return statement_totals(
            self.opening_minor, [(line["kind"], line["amount_minor"]) for line in self.lines]
        )


def statement_drafts(month: date, ledger: Sequence[MonthSums]) -> list[Draft]:
    """A draft for each account with a balance or a movement, by account number."""
    openings = {sums.holder_id: sums.before_minor for sums in ledger}
    lines: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for account_id, line in [*_firing_lines(month), *_other_lines(month)]:
        lines[account_id].append(line)
    accounts = Account.objects.order_by("number").values_list("pk", "number", "name")
    drafts = [
        Draft(
            Holder(pk, number, name),
            openings.get(pk, 0),
            sorted(lines[pk], key=itemgetter("on", "entry")),
        )
        for pk, number, name in accounts
    ]
    return [draft for draft in drafts if draft.is_wanted]


def month_totals(month: date) -> list[StatementTotals]:
    """What the drafts of a month add up to, summed by the database: for a look at it."""
    openings = {pk: owed_minor for pk, owed_minor in owed_on(month - ONE_DAY).items() if owed_minor}
    moved: dict[int, Counter[LineKind]] = defaultdict(Counter)
    charged = _charged_shares(month).order_by().values_list("account").annotate(Sum("amount_minor"))
    for account_id, charges_minor in charged:
        moved[account_id]["charge"] += charges_minor
    others = _other_postings(month).values_list("account__holder", "entry__source", "amount_minor")
    for account_id, source, amount_minor in others:
        moved[account_id][_kind(source, amount_minor)] += abs(amount_minor)
    return [
        statement_sums(
            openings.get(pk, 0), moved[pk]["charge"], moved[pk]["credit"], moved[pk]["payment"]
        )
        for pk in {*openings, *moved}
    ]


def _charged_shares(month: date) -> QuerySet[Share]:
    return Share.objects.filter(
        cost__entry__posted_at__isnull=False,
        cost__entry__on__gte=month,
        cost__entry__on__lt=next_month(month),
    ).exclude(amount_minor=0, split_minor=0)


def _other_postings(month: date) -> QuerySet[Posting]:
    """Payments, credits and reversals: whatever moved a receivable and is no firing's charge.

    In the entry of a firing's cost only a credit for crew lowers what an account owes.
    """
    return Posting.objects.filter(
        account__holder__isnull=False,
        entry__posted_at__isnull=False,
        entry__on__gte=month,
        entry__on__lt=next_month(month),
    ).filter(Q(entry__firing_cost=None) | Q(amount_minor__lt=0))


def _firing_lines(month: date) -> list[tuple[int, dict[str, Any]]]:
    """One line for each booking that carried part of a firing, with its working in words."""
    firings = _firings(month)
    fields = {
        "slip": "booking__slip",
        "member": "booking__member__name",
        "area_mm2": "area_mm2",
        "split_minor": "split_minor",
        "amount_minor": "amount_minor",
    }
    rows = _charged_shares(month).values_list("account", "cost", "working", *fields.values())
    return [
        (account_id, {**firings[cost_id], **dict(zip(fields, row, strict=True)), **_words(working)})
        for account_id, cost_id, working, *row in rows.order_by("cost__entry", "pk").iterator()
    ]


def _firings(month: date) -> dict[int, dict[str, Any]]:
    """What the lines of one firing's cost have in common, by the cost's key."""
    fields = {
        "entry": "entry",
        "on": "entry__on",
        "source": "entry__source",
        "firing": "firing",
        "stage": "firing__stage",
        "cone": "firing__cone",
        "kiln": "firing__kiln__name",
    }
    costs = FiringCost.objects.filter(entry__on__gte=month, entry__on__lt=next_month(month))
    return {
        pk: _of_firing(dict(zip(fields, row, strict=True)))
        for pk, *row in costs.values_list("pk", *fields.values())
    }


def _of_firing(firing: dict[str, Any]) -> dict[str, Any]:
    stage = Stage(firing["stage"]).label
    return {
        **firing,
        "kind": "charge",
        "on": firing["on"].isoformat(),
        "stage": stage,
        "text": f"{stage} firing {firing['firing']} to cone {firing['cone']} in {firing['kiln']}",
    }


def _words(working: dict[str, Any]) -> dict[str, Any]:
    """What a statement repeats of a share's working."""
    return {
        "working": working["sentences"],
        "own_count": working.get("own_count", 1),  # shares of before there were steps
        "share_of_mm2": working["split"].get("divisor_mm2"),
        "steps": [
            {"text": step["text"], "amount_minor": step["amount_minor"]}
            for step in working.get("steps", ())
        ],
    }


def _other_lines(month: date) -> list[tuple[int, dict[str, Any]]]:
    rows = (
        _other_postings(month)
        .order_by("pk")
        .values_list(
            "account__holder", "entry", "entry__on", "entry__source", "amount_minor", "text",
            "entry__text", "entry__reason",
        )
    )  # fmt: skip
    workings = _charge_workings(month)
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
                **workings.get((account_id, entry), {}),
            },
        )
        for account_id, entry, on, source, amount_minor, text, entry_text, reason in rows
    ]


def _charge_workings(month: date) -> dict[tuple[int, int], dict[str, Any]]:
    """How each account's part of a month's shared charges came about, by account and entry."""
    shares = MonthChargeShare.objects.filter(
        charges__entry__on__gte=month, charges__entry__on__lt=next_month(month)
    ).values_list("account_id", "charges__entry_id", "pk", "working__sentences")
    return {
        (account_id, entry): {"working": sentences, "charge_share": pk}
        for account_id, entry, pk, sentences in shares
    }


def _kind(source: str, amount_minor: int) -> LineKind:
    """A bounced payment is a charge again, a reversed charge a credit."""
    if amount_minor > 0:
        return "charge"
    return "payment" if source.startswith("payment:") else "credit"
