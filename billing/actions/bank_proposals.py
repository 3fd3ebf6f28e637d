"""What the books propose for the bank's lines: whose payment each is, and what speaks against it.

Worked out when it is looked at, so that a statement issued yesterday counts today.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from billing.actions.bank_lines import SAME_WITHIN
from billing.calculations.payment_matching import (
    KnownAccount,
    Matcher,
    OpenStatement,
    statement_numbers_in,
)
from billing.models import BankLine, MonthClose, Payment, Statement
from studio.models import Account, Person

# Payments by account and amount, each with the file it came from, if it came from one.
Recorded = dict[tuple[int, int], list[tuple[Payment, int | None]]]


@dataclass(frozen=True)
class ProposedAccount:
    """An account a line may belong to, why, and payments that may be the same money."""

    account: Account
    why: str
    is_certain: bool
    same: tuple[Payment, ...]


@dataclass(frozen=True)
class WaitingLine:
    line: BankLine
    proposals: tuple[ProposedAccount, ...]

    @property
    def certain(self) -> ProposedAccount | None:
        """The one account that nobody needs to think about."""
        return next((one for one in self.proposals if one.is_certain), None)


def with_proposals(lines: Sequence[BankLine]) -> list[WaitingLine]:
    """Each line with its proposals, the likeliest first. Five queries, however many lines."""
    accounts = {account.number: account for account in Account.objects.order_by("number")}
    matcher = _matcher(lines, accounts)
    found = {
        line.pk: matcher.proposals(
            amount_minor=line.amount_minor,
            reference=line.reference,
            text=line.text,
            counterparty=line.counterparty,
        )
        for line in lines
    }
    numbers = {one.account_number for proposals in found.values() for one in proposals}
    same = _same_payments(lines, [accounts[number] for number in numbers])
    return [
        WaitingLine(
            line,
            tuple(
                _proposed(accounts[one.account_number], one.why, one.is_certain, line, same)
                for one in found[line.pk]
            ),
        )
        for line in lines
    ]


def _proposed(
    account: Account,
    why: str,
    is_certain: bool,
    line: BankLine,
    recorded: Recorded,
) -> ProposedAccount:
    same = tuple(
        payment
        for payment, from_file in recorded[account.pk, line.amount_minor]
        if abs(payment.received_on - line.booked_on) <= SAME_WITHIN and from_file != line.file_id
    )
    return ProposedAccount(account, why, is_certain and not same, same)


def _matcher(lines: Sequence[BankLine], accounts: dict[int, Account]) -> Matcher:
    names: dict[int, list[str]] = defaultdict(list)
    people = Person.objects.filter(account__isnull=False).order_by("pk")
    for account_id, name in people.values_list("account", "name"):
        names[account_id].append(name)
    known = [
        KnownAccount(account.number, (account.name, *names[account.pk]))
        for account in accounts.values()
    ]
    latest = MonthClose.objects.order_by("-month")[:1]
    asked = Statement.objects.filter(close__in=latest.values("pk"), closing_minor__gt=0)
    statements = [
        OpenStatement(*row)
        for row in asked.order_by("number").values_list(
            "number", "account__number", "closing_minor"
        )
    ]
    named = {number for line in lines for number in statement_numbers_in(line.reference, line.text)}
    issued = Statement.objects.filter(number__in=named).order_by()
    return Matcher(known, statements, dict(issued.values_list("number", "account__number")))


def _same_payments(lines: Sequence[BankLine], accounts: Sequence[Account]) -> Recorded:
    """Payments of these accounts that may be the same money."""
    found: Recorded = defaultdict(list)
    if not lines or not accounts:
        return found
    days = [line.booked_on for line in lines]
    payments = Payment.objects.filter(
        account__in=accounts,
        amount_minor__in={line.amount_minor for line in lines},
        received_on__range=(min(days) - SAME_WITHIN, max(days) + SAME_WITHIN),
        entry__reversed_by=None,
    )
    for payment in payments.select_related("bank_line").order_by("received_on", "pk"):
        line = getattr(payment, "bank_line", None)
        from_file = None if line is None else line.file_id
        found[payment.account_id, payment.amount_minor].append((payment, from_file))
    return found
