"""The chart of accounts. An account is opened the first time something is posted to it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from billing.models import LedgerAccount, LedgerKind, Membership
from firings.models import Kiln
from studio.models import Account


@dataclass(frozen=True)
class ChartLine:
    """One account that every studio has: its code, name and kind."""

    code: str
    name: str
    kind: LedgerKind


BANK = ChartLine("1000", "Bank", LedgerKind.ASSET)
CASH = ChartLine("1010", "Cash", LedgerKind.ASSET)
SUPPLIERS = ChartLine("2100", "Owed to suppliers", LedgerKind.LIABILITY)
ELECTRICITY_RECOVERED = ChartLine("4000", "Firing electricity recovered", LedgerKind.INCOME)
CONSUMABLES_AND_HANDLING = ChartLine("4100", "Consumables and handling", LedgerKind.INCOME)
MINIMUM_CHARGES = ChartLine("4110", "Handling by minimum charges", LedgerKind.INCOME)
SURCHARGES = ChartLine("4200", "Guest surcharges", LedgerKind.INCOME)
EMPTY_AREA = ChartLine("5000", "Empty area carried by the studio", LedgerKind.EXPENSE)
FIRINGS_WITHOUT_WARE = ChartLine(
    "5050", "First firings and firings without ware carried by the studio", LedgerKind.EXPENSE
)
FAULTS = ChartLine(
    "5100", "Kiln faults and broken-off firings carried by the studio", LedgerKind.EXPENSE
)
REFUNDS = ChartLine("5120", "Refunds for faults of the kiln", LedgerKind.EXPENSE)
REPLACEMENTS = ChartLine(
    "5150", "Replacements beyond the wear reserve carried by the studio", LedgerKind.EXPENSE
)
ELECTRICITY = ChartLine("5300", "Electricity bills", LedgerKind.EXPENSE)
CREDITS_GIVEN = ChartLine("5200", "Credits given", LedgerKind.EXPENSE)

ALLOWANCES = ChartLine("5310", "Membership allowances given", LedgerKind.EXPENSE)
CREW_CREDITS = ChartLine("5400", "Crew credits", LedgerKind.EXPENSE)

SUBSIDY_PREFIX = "5300"
RECEIVABLE_PREFIX = "1200"
WEAR_RESERVE_PREFIX = "2200"


def open_account(line: ChartLine) -> LedgerAccount:
    """The ledger account of a line of the chart."""
    return LedgerAccount.objects.get_or_create(
        code=line.code, defaults={"name": line.name, "kind": line.kind}
    )[0]


def receivable_of(account: Account) -> LedgerAccount:
    """What the people of a billing account owe the studio."""
    return receivables_of([account])[account.pk]


def receivables_of(accounts: Iterable[Account]) -> dict[int, LedgerAccount]:
    """The receivables of billing accounts by the accounts' keys, in two queries at most."""
    wanted = {account.pk: account for account in accounts}
    found = {row.holder_id: row for row in LedgerAccount.objects.filter(holder__in=wanted)}
    missing = [account for pk, account in wanted.items() if pk not in found]
    if missing:
        # Another process may open the same account meanwhile: theirs is as good as ours.
        LedgerAccount.objects.bulk_create(
            [_receivable(account) for account in missing], ignore_conflicts=True
        )
        return receivables_of(wanted.values())
    return {pk: row for pk, row in found.items() if pk is not None}


def subsidy_account(membership: Membership) -> LedgerAccount:
    """What one subsidy has carried, under its own name."""
    name = f"Subsidy given: {membership.name}"
    line = ChartLine(f"{SUBSIDY_PREFIX}.{membership.pk}", name, LedgerKind.EXPENSE)
    return open_account(line)


def wear_reserve_of(kiln: Kiln) -> LedgerAccount:
    """What members have paid for the wear of a kiln's parts and is kept for their replacement."""
    return LedgerAccount.objects.get_or_create(
        kiln=kiln,
        defaults={
            "code": f"{WEAR_RESERVE_PREFIX}.{kiln.pk}",
            "name": f"Wear reserve of {kiln.name}",
            "kind": LedgerKind.LIABILITY,
        },
    )[0]


def _receivable(account: Account) -> LedgerAccount:
    return LedgerAccount(
        code=f"{RECEIVABLE_PREFIX}.{account.number}",
        name=f"Receivable of {account.name}"[:120],
        kind=LedgerKind.ASSET,
        holder=account,
    )
