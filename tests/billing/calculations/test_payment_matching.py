"""Whose payment a line of the bank is."""

from __future__ import annotations

import pytest

from billing.calculations.payment_matching import (
    KnownAccount,
    Matcher,
    OpenStatement,
    Proposal,
    are_alike,
    statement_numbers_in,
)
from billing.calculations.payment_references import reference_of

ACCOUNTS = (
    KnownAccount(101, ("Ada Rowan",)),
    KnownAccount(102, ("Sallow household", "Ben Sallow", "Bea Sallow")),
    KnownAccount(103, ("Ada Rowan",)),
)
ASKED = (OpenStatement(7, 101, 579), OpenStatement(8, 102, 1200), OpenStatement(9, 103, 800))
ISSUED = {5: 102, 7: 101, 8: 102, 9: 103}


def proposals(
    amount_minor: int = 579, reference: str = "", text: str = "", counterparty: str = ""
) -> tuple[Proposal, ...]:
    return Matcher(ACCOUNTS, ASKED, ISSUED).proposals(
        amount_minor=amount_minor, reference=reference, text=text, counterparty=counterparty
    )


def told(*found: Proposal) -> list[tuple[int, bool]]:
    return [(one.account_number, one.is_certain) for one in found]


# --- Certain ------------------------------------------------------------------------------------


def test_check_digits_are_certain_even_for_another_amount_and_name() -> None:
    found = proposals(123, reference=reference_of(102), counterparty="Somebody Else")
    assert told(*found) == [(102, True)]
    assert found[0].why == "its payment reference"


def test_reference_may_stand_in_the_words() -> None:
    assert told(*proposals(text=f"March {reference_of(102)}")) == [(102, True)]


def test_a_named_account_or_statement_with_a_second_sign_is_certain() -> None:
    assert told(*proposals(text="account no. 102", counterparty="Bea Sallow")) == [(102, True)]
    assert told(*proposals(1200, text="Statement 8")) == [(102, True)]
    assert told(*proposals(text="102 thanks", counterparty="SALLOW, Ben")) == [(102, True)]


def test_reasons_are_told() -> None:
    (found,) = proposals(1200, text="statement 8", counterparty="Ben Sallow")
    assert found.why == "names statement 8; the amount of statement 8; Ben Sallow is a name of it"


# --- Left to the treasurer ----------------------------------------------------------------------


def test_a_name_alone_says_nothing() -> None:
    assert proposals(123, counterparty="Ada Rowan") == ()


def test_amount_and_name_are_proposed_but_not_certain() -> None:
    assert told(*proposals(579, counterparty="Rowan Ada")) == [(101, False)]


def test_a_named_account_alone_is_proposed_but_not_certain() -> None:
    assert told(*proposals(123, text="account 102")) == [(102, False)]
    assert told(*proposals(123, text="thanks, 102")) == [(102, False)]


def test_an_older_statement_may_be_named() -> None:
    assert told(*proposals(123, text="statement 5", counterparty="Ben Sallow")) == [(102, True)]


def test_signs_that_disagree_leave_both() -> None:
    found = proposals(reference=reference_of(102), text="account 101", counterparty="Ada Rowan")
    assert told(*found) == [(102, False), (101, False)]


def test_weak_signs_give_way_to_strong_ones() -> None:
    found = proposals(579, reference=reference_of(102), counterparty="Ada Rowan")
    assert told(*found) == [(102, True)]


def test_money_out_is_never_certain() -> None:
    assert told(*proposals(-579, reference=reference_of(101))) == [(101, False)]


@pytest.mark.parametrize(
    "text", ["account 999", "RF18539007547034", "1.02", "102/7", "x102", "31.102"]
)
def test_numbers_of_nobody_say_nothing(text: str) -> None:
    assert proposals(123, text=text) == ()


@pytest.mark.parametrize(
    ("name", "other", "alike"),
    [
        ("Ada Rowan", "ROWAN ADA", True),
        ("Zoë Müller", "Zoe Muller", True),
        ("Ada Rowan", "Ada M. Rowan", True),
        ("Ada Rowan", "Ada Rowen", True),
        ("Ada Rowan", "Ben Rowan", False),
        ("Ada Rowan", "Rowan", False),
        ("Ada Rowan", "", False),
        ("", "", False),
    ],
)
def test_names_alike(name: str, other: str, alike: bool) -> None:
    assert are_alike(name, other) is alike


def test_statements_named() -> None:
    assert statement_numbers_in("Statement no. 12", "and statement #13, account 14") == {12, 13}
