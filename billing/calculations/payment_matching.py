"""Whose payment is it: propose accounts for a line of the bank, each with its reason.

The signs, strongest first: the reference with its check digits (ISO 11649); a statement or account
that the payer names; an amount that some open statement asks for, from somebody of that name.
Only what two things speak for, or the check digits, and nothing speaks against, is certain; the
rest is left to the treasurer.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from difflib import SequenceMatcher

from billing.calculations.payment_references import account_number_in

NAMES_ALIKE_FROM = 0.85
_NAMED = re.compile(
    r"\b(?P<what>statement|account|acct|a/c)\b\.?\s*(?:number|no|nr|#)?\.?\s*[:#]?\s*"
    r"(?P<number>\d{1,9})\b",
    re.IGNORECASE,
)
_NUMBER = re.compile(r"(?<![\w.,/-])\d{2,9}(?![\w/-]|[.,]\d)")


@dataclass(frozen=True, slots=True)
class KnownAccount:
    """A billing account: its number, its name and the names of the people on it."""

    number: int
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OpenStatement:
    """A statement that asks for money and is its account's latest."""

    number: int
    account_number: int
    closing_minor: int


@dataclass(frozen=True, slots=True)
class Proposal:
    """An account a line may belong to, and why."""

    account_number: int
    why: str
    is_certain: bool


@dataclass
class _Signs:
    reference: str = ""
    named: str = ""
    number: str = ""
    amount: str = ""
    name: str = ""

    @property
    def rank(self) -> int:
        """4 for check digits, 3 named, 2 a bare number with another sign, 1 amount and name."""
        if self.reference:
            return 4
        if self.named:
            return 3
        if self.number:
            return 2 if self.amount or self.name else 1
        return 1 if self.amount and self.name else 0

    @property
    def is_strong(self) -> bool:
        has_second = bool(self.amount or self.name)
        return bool(self.reference) or (bool(self.named or self.number) and has_second)

    @property
    def why(self) -> str:
        told = (self.reference, self.named, self.number, self.amount, self.name)
        return "; ".join(sign for sign in told if sign)


@dataclass
class Matcher:
    """Knows the accounts and statements once, for as many lines as there are."""

    accounts: Iterable[KnownAccount]
    statements: Sequence[OpenStatement]
    numbers_of_statements: dict[int, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """`numbers_of_statements`: the account of every statement ever issued, by number."""
        self._by_number = {account.number: account for account in self.accounts}
        self._asked: dict[int, list[OpenStatement]] = {}
        for statement in self.statements:
            self._asked.setdefault(statement.closing_minor, []).append(statement)

    def proposals(
        self, *, amount_minor: int, reference: str, text: str, counterparty: str
    ) -> tuple[Proposal, ...]:
        """Accounts by strength of their signs; none when nothing speaks for anybody.

        Money that left the studio's account is never certain.
        """
        signs: dict[int, _Signs] = {}
        self._by_reference(signs, f"{reference} | {text}")
        self._by_words(signs, f"{reference} | {text}")
        self._by_amount(signs, amount_minor, counterparty)
        for number, found in signs.items():
            if not found.name and self._is_of(number, counterparty):
                found.name = f"{counterparty} is a name of it"
        ranked = sorted(
            ((number, found) for number, found in signs.items() if found.rank),
            key=lambda pair: (-pair[1].rank, pair[0]),
        )
        if any(found.rank >= 2 for _, found in ranked):
            ranked = [pair for pair in ranked if pair[1].rank >= 2]
        is_certain = len(ranked) == 1 and ranked[0][1].is_strong and amount_minor > 0
        return tuple(Proposal(number, found.why, is_certain) for number, found in ranked)

    def _by_reference(self, signs: dict[int, _Signs], words: str) -> None:
        number = account_number_in(words)
        if number is not None and number in self._by_number:
            signs.setdefault(number, _Signs()).reference = "its payment reference"

    def _by_words(self, signs: dict[int, _Signs], words: str) -> None:
        """Statements and accounts named as such, and numbers that happen to be an account's."""
        for match in _NAMED.finditer(words):
            number, is_statement = int(match["number"]), match["what"].lower() == "statement"
            account = self.numbers_of_statements.get(number) if is_statement else number
            if account is not None and account in self._by_number:
                what = "statement" if is_statement else "account"
                signs.setdefault(account, _Signs()).named = f"names {what} {number}"
        for match in _NUMBER.finditer(_NAMED.sub(" ", words)):
            number = int(match[0])
            if number in self._by_number:
                signs.setdefault(number, _Signs()).number = f"holds the number {number}"

    def _by_amount(self, signs: dict[int, _Signs], amount_minor: int, counterparty: str) -> None:
        for statement in self._asked.get(amount_minor, ()):
            number = statement.account_number
            is_of = self._is_of(number, counterparty)
            if is_of or number in signs:
                found = signs.setdefault(number, _Signs())
                found.amount = f"the amount of statement {statement.number}"

    def _is_of(self, number: int, counterparty: str) -> bool:
        account = self._by_number.get(number)
        return account is not None and any(are_alike(name, counterparty) for name in account.names)


def statement_numbers_in(*words: str) -> set[int]:
    """The numbers that are named as a statement's."""
    found = _NAMED.finditer(" | ".join(words))
    return {int(match["number"]) for match in found if match["what"].lower() == "statement"}


def are_alike(name: str, other: str) -> bool:
    """Whether two names are of one person as far as spelling goes.

    Accents, case, order and titles do not count; a name whose every word stands in the other one
    is alike, and so is one that differs by a slip of the pen (ratio 0.85 of difflib).
    """
    ours, theirs = _words(name), _words(other)
    if len(ours) < 2 or len(theirs) < 2:
        return bool(ours) and ours == theirs
    if set(ours) <= set(theirs) or set(theirs) <= set(ours):
        return True
    ratio = SequenceMatcher(None, " ".join(ours), " ".join(theirs), autojunk=False).ratio()
    return ratio >= NAMES_ALIKE_FROM


def _words(name: str) -> list[str]:
    plain = unicodedata.normalize("NFKD", name.casefold())
    plain = "".join(sign for sign in plain if not unicodedata.combining(sign))
    return sorted(set(re.findall(r"\w+", plain)) - {"mr", "mrs", "ms", "dr", "and"})
