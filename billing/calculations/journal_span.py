"""The entries of a span of days, as they leave the books for other programs."""

from dataclasses import dataclass
from datetime import date

from studio.calculations.money import minor_digits

KINDS = ("asset", "liability", "equity", "income", "expense")


@dataclass(frozen=True)
class SpanAccount:
    """An account of the chart and its balances before the first and after the last entry.

    Debit positive, in minor units. Raises ValueError for an unknown kind.
    """

    code: str
    name: str
    kind: str
    opening_minor: int
    closing_minor: int

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"kind must be one of {', '.join(KINDS)}, not {self.kind!r}")


@dataclass(frozen=True)
class SpanLeg:
    """What an entry does to one account: debit positive, credit negative, in minor units."""

    account_code: str
    amount_minor: int
    text: str = ""


@dataclass(frozen=True)
class SpanEntry:
    """One entry; a reversal names the number and the source of what it reverses.

    `number` is None for an entry that the export itself adds. Raises ValueError for legs that
    do not sum to zero.
    """

    number: int | None
    on: date
    text: str
    source: str
    legs: tuple[SpanLeg, ...]
    reverses_number: int | None = None
    reverses_source: str = ""
    reason: str = ""
    by: str = ""

    def __post_init__(self) -> None:
        if sum(leg.amount_minor for leg in self.legs) != 0:
            raise ValueError(f"legs of {self.source!r} must sum to zero, not be {self.legs}")


@dataclass(frozen=True)
class JournalSpan:
    """All days from `first` to `last`, both included, and every account used until then.

    Raises ValueError for days in the wrong order, a code used twice, opening balances that do
    not sum to zero, and a currency that ISO 4217 gives no minor unit.
    """

    title: str
    currency: str
    first: date
    last: date
    accounts: tuple[SpanAccount, ...]

    def __post_init__(self) -> None:
        minor_digits(self.currency)
        if self.last < self.first:
            raise ValueError(f"last must not lie before first {self.first}, as {self.last} does")
        codes = [account.code for account in self.accounts]
        if len(set(codes)) != len(codes):
            raise ValueError(f"accounts must have a code of their own each, not {codes}")
        if sum(account.opening_minor for account in self.accounts) != 0:
            raise ValueError(f"opening_minor of accounts must sum to zero, not {self.accounts}")

    def opening_entry(self) -> SpanEntry | None:
        """The balances brought forward on the first day; None when all are zero."""
        legs = tuple(
            SpanLeg(account.code, account.opening_minor)
            for account in self.accounts
            if account.opening_minor
        )
        if not legs:
            return None
        return SpanEntry(
            None, self.first, "Balances brought forward", f"opening:{self.first}", legs
        )
