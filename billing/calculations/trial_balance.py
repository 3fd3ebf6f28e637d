"""The trial balance: each account's balance in a debit or a credit column, which must agree."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class TrialPosting:
    """One posting: a positive amount is a debit, a negative one a credit, in minor units."""

    account_code: str
    amount_minor: int


@dataclass(frozen=True)
class TrialBalanceRow:
    """One account's balance, in the column where it stands; the other column is 0."""

    account_code: str
    debit_minor: int
    credit_minor: int


@dataclass(frozen=True)
class TrialBalance:
    """All accounts by code, settled ones included, and the two totals."""

    rows: tuple[TrialBalanceRow, ...]
    debit_total_minor: int
    credit_total_minor: int

    @property
    def is_balanced(self) -> bool:
        """Whether debits equal credits; they do when every entry sums to zero."""
        return self.debit_total_minor == self.credit_total_minor


def trial_balance(postings: Sequence[TrialPosting]) -> TrialBalance:
    """Balance every account that the postings name. Raises ValueError for a broken amount."""
    balance_of: dict[str, int] = {}
    for posting in postings:
        if not isinstance(posting.amount_minor, int):
            raise ValueError(f"amount_minor must be a whole number, not {posting.amount_minor!r}")
        so_far_minor = balance_of.get(posting.account_code, 0)
        balance_of[posting.account_code] = so_far_minor + posting.amount_minor
    rows = tuple(
        TrialBalanceRow(code, max(balance_minor, 0), max(-balance_minor, 0))
        for code, balance_minor in sorted(balance_of.items())
    )
    return TrialBalance(
        rows=rows,
        debit_total_minor=sum(row.debit_minor for row in rows),
        credit_total_minor=sum(row.credit_minor for row in rows),
    )
