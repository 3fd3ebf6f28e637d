"""What an account's statement adds up to, and how old its open items are."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

LineKind = Literal["charge", "credit", "payment"]
LINE_KINDS = ("charge", "credit", "payment")


@dataclass(frozen=True)
class StatementTotals:
    """closing = opening + charges - credits - payments; negative: the studio owes the account."""

    opening_minor: int
    charges_minor: int
    credits_minor: int
    payments_minor: int
    closing_minor: int


def statement_totals(opening_minor: int, lines: Iterable[tuple[LineKind, int]]) -> StatementTotals:
    """Totals of one statement from the kind and amount of each line, in minor units.

    An amount is never negative: its kind says which way it counts. A charge raises what is owed, a
    credit (note) and a payment lower it. A reversed charge is a credit; a payment that bounced is
    a charge. The closing balance opens the next statement. Raises ValueError for an unknown kind
    and an amount below 0.
    Source: closing balance = opening balance + sum of booked entries, as in ISO 20022 camt.053.
    """
    moved_minor = dict.fromkeys(LINE_KINDS, 0)
    for kind, amount_minor in lines:
        if kind not in moved_minor:
            raise ValueError(f"kind must be one of {', '.join(LINE_KINDS)}, not {kind!r}")
        if not isinstance(amount_minor, int) or amount_minor < 0:
            raise ValueError(
                f"amount_minor must be a whole number, 0 or more, not {amount_minor!r}"
            )
        moved_minor[kind] += amount_minor
    return statement_sums(opening_minor, *moved_minor.values())


def statement_sums(
    opening_minor: int, charges_minor: int, credits_minor: int, payments_minor: int
) -> StatementTotals:
    """The same from the sums of each kind, none of them negative."""
    return StatementTotals(
        opening_minor=opening_minor,
        charges_minor=charges_minor,
        credits_minor=credits_minor,
        payments_minor=payments_minor,
        closing_minor=opening_minor + charges_minor - credits_minor - payments_minor,
    )


@dataclass(frozen=True)
class OpenItem:
    """What is still open of one item: owed when positive, a credit not yet used when negative."""

    due_on: date
    amount_minor: int


@dataclass(frozen=True)
class AgedBalance:
    """An account's open items by days past due, in minor units; the buckets sum to the balance."""

    current_minor: int = 0
    days_1_to_30_minor: int = 0
    days_31_to_60_minor: int = 0
    days_61_to_90_minor: int = 0
    over_90_minor: int = 0


def age_balance(open_items: Sequence[OpenItem], on_date: date) -> AgedBalance:
    """Sort open items by days past due on `on_date`; the due date itself is current.

    A credit stands in the bucket of its own date, so a bucket can be negative and the sum is
    always the balance. (The boundaries are common practice, no source.)
    """
    buckets: dict[str, int] = {}
    for item in open_items:
        bucket = _bucket((on_date - item.due_on).days)
        buckets[bucket] = buckets.get(bucket, 0) + item.amount_minor
    return AgedBalance(**buckets)


def _bucket(days_past_due: int) -> str:
    if days_past_due <= 0:
        return "current_minor"
    if days_past_due <= 30:
        return "days_1_to_30_minor"
    if days_past_due <= 60:
        return "days_31_to_60_minor"
    if days_past_due <= 90:
        return "days_61_to_90_minor"
    return "over_90_minor"
